//! What is timed, and on what.

mod assess;
mod bore;
mod circuit;
mod cross;
mod leak;
mod network;
mod trace;

use std::error::Error;
use std::fs;
use std::path::Path;

use serde_json::{Map, Value, json};

use crate::timing::{self, Effort, Seconds};

/// Whatever keeps a kernel from being timed.
pub type Fault = Box<dyn Error>;

/// Names of all kernels, in the order of the report.
pub const ALL: [&str; 11] = [
    "circuit-3",
    "circuit-16",
    "network-10",
    "network-100",
    "network-1000",
    "leak-600",
    "bore-state",
    "cross-12",
    "trace-50",
    "trace-200",
    "assess-24",
];

/// Megabytes of the two long traces.
pub const TRACES_MB: [u64; 2] = [50, 200];

/// A timed kernel.
#[derive(Debug)]
pub struct Measured {
    seconds: Seconds,
    answer: f64,
    more: Map<String, Value>,
}

impl Measured {
    fn new(seconds: Seconds, answer: f64) -> Self {
        Self { seconds, answer, more: Map::new() }
    }

    fn with(mut self, name: &str, value: impl Into<Value>) -> Self {
        self.more.insert(name.to_owned(), value.into());
        self
    }

    /// Median seconds of a call, and the answer that a peer has to give too.
    #[cfg(test)]
    pub const fn numbers(&self) -> (f64, f64) {
        (self.seconds.median, self.answer)
    }

    /// As JSON.
    #[must_use]
    pub fn document(&self) -> Value {
        json!({
            "median_s": self.seconds.median,
            "least_s": self.seconds.least,
            "most_s": self.seconds.most,
            "calls": self.seconds.calls,
            "processor_s": self.seconds.processor,
            "peak_mb": timing::peak_mb(),
            "answer": self.answer,
            "more": self.more,
        })
    }
}

/// Writes every input into a folder; the long traces get so many megabytes.
pub fn make(folder: &Path, traces_mb: &[u64]) -> Result<(), Fault> {
    fs::create_dir_all(folder)?;
    let write = |name: &str, document: &Value| fs::write(folder.join(name), document.to_string());
    write("circuit-3.json", &circuit::document(&circuit::three())?)?;
    write("circuit-16.json", &circuit::document(&circuit::sixteen())?)?;
    let large = network::large().to_string();
    let mut waters = Map::new();
    for (name, text) in network::SHIPPED.into_iter().chain([(network::LARGE, large.as_str())]) {
        fs::write(folder.join(name), text)?;
        waters.insert(name.to_owned(), network::water_of(&serde_json::from_str(text)?)?);
    }
    write("water.json", &Value::from(waters))?;
    write(leak::FILE, &leak::document())?;
    write(bore::FILE, &bore::document()?)?;
    write(cross::FILE, &cross::document())?;
    for megabytes in traces_mb {
        trace::write(&folder.join(trace::file(*megabytes)), *megabytes)?;
    }
    assess::write(&folder.join(assess::FOLDER))
}

/// Times one kernel on the inputs of a folder; `data` is the folder of limits and materials.
pub fn measure(name: &str, inputs: &Path, data: &Path, effort: Effort) -> Result<Measured, Fault> {
    match name.split_once('-') {
        Some(("circuit", "3")) => circuit::measure(&circuit::three(), effort),
        Some(("circuit", "16")) => circuit::measure(&circuit::sixteen(), effort),
        Some(("network", pipes)) => network::measure(&inputs.join(format!("grid-{pipes}.json")), effort),
        Some(("cross", "12")) => cross::measure(inputs, effort),
        Some(("leak", "600")) => leak::measure(inputs, effort),
        Some(("bore", "state")) => bore::measure(inputs, effort),
        Some(("trace", megabytes)) => {
            let effort = if megabytes == "200" { Effort::ONCE } else { effort };
            trace::measure(&inputs.join(trace::file(megabytes.parse()?)), effort)
        }
        Some(("assess", "24")) => assess::measure(&inputs.join(assess::FOLDER), data, effort),
        _ => Err(format!("no kernel '{name}'; there are: {}", ALL.join(", ")).into()),
    }
}

fn read_json(path: &Path) -> Result<Value, Fault> {
    let text = fs::read_to_string(path)
        .map_err(|error| format!("{}: {error}; run `benches make` first", path.display()))?;
    Ok(serde_json::from_str(&text)?)
}
