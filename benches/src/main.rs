//! Times the kernels and prints one JSON document. `benches/run.py` runs it beside the peers; see `docs/speed.md`.
//!
//! `benches make INPUTS` writes the inputs; `benches run INPUTS [KERNEL..]` times all kernels, or some. Both are run
//! from the root of the repository.

mod kernels;
mod timing;

use std::path::Path;
use std::process::ExitCode;

use kernels::{ALL, Fault, TRACES_MB};
use serde_json::{Map, json};
use timing::Effort;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match words.as_slice() {
        ["make", inputs] => kernels::make(Path::new(inputs), &TRACES_MB),
        ["run", inputs] => run(Path::new(inputs), &ALL),
        ["run", inputs, some @ ..] => run(Path::new(inputs), some),
        _ => Err("say `make INPUTS`, or `run INPUTS [KERNEL..]`".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("{fault}");
            ExitCode::FAILURE
        }
    }
}

fn run(inputs: &Path, names: &[&str]) -> Result<(), Fault> {
    let mut list = Map::new();
    for name in names {
        let measured = kernels::measure(name, inputs, Path::new("data"), Effort::FULL)?;
        list.insert((*name).to_owned(), measured.document());
    }
    println!("{}", json!({"program": concat!("benches ", env!("CARGO_PKG_VERSION")), "kernels": list}));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every kernel runs once on its inputs, the long traces cut down to a megabyte.
    #[test]
    fn every_kernel_runs() {
        let folder = std::env::temp_dir().join(format!("benches-smoke-{}", std::process::id()));
        kernels::make(&folder, &[1]).unwrap();
        let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../data");
        for name in ALL {
            let name = if name.starts_with("trace") { "trace-1" } else { name };
            let (median_s, answer) = kernels::measure(name, &folder, &data, Effort::ONCE).unwrap().numbers();
            assert!(median_s > 0.0 && median_s.is_finite(), "{name}: {median_s} s");
            assert!(answer > 0.0 && answer.is_finite(), "{name}: {answer}");
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
