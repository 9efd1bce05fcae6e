//! `borewise calc`: one calculator, JSON in, JSON out.

use std::io::{self, IsTerminal, Read};
use std::path::Path;

use calc::calculators::{Calculator, all, find};
use calc::form::Fault;
use exchange::json::{self, Reply};
use exchange::schema;

use crate::files;
use crate::output::{Failure, Verdict, print, tell};

/// Largest input that is read; a trace of an hour at 100 samples a second takes about a tenth of it.
const INPUT_LIMIT_BYTES: u64 = 64 << 20;

/// Lists all calculators.
pub fn list() -> Result<Verdict, Failure> {
    let calculators = all();
    let width = calculators.iter().map(|calculator| calculator.name.len()).max().unwrap_or_default();
    let lines =
        calculators.iter().map(|calculator| format!("{:width$}  {}", calculator.name, calculator.title));
    print(&lines.collect::<Vec<_>>().join("\n"))?;
    Ok(Verdict::Done)
}

/// Prints the JSON schema of a calculator's input.
pub fn schema(name: &str) -> Result<Verdict, Failure> {
    print(&format!("{:#}", schema::schema(known(name)?)))?;
    Ok(Verdict::Done)
}

/// Runs a calculator over a file or standard input.
pub fn run(name: &str, file: Option<&Path>) -> Result<Verdict, Failure> {
    let calculator = known(name)?;
    let text = input(name, file.filter(|path| *path != Path::new("-")))?;
    match json::reply(calculator, &text) {
        Reply::Answer(document) => {
            print(&format!("{document:#}"))?;
            Ok(Verdict::Done)
        }
        Reply::Errors(document) => {
            let text = match document["errors"].as_array().map_or(0, Vec::len) {
                1 => format!("{name}: the input has a fault; the document names it"),
                count => format!("{name}: the input has {count} faults; the document names them"),
            };
            Err(Failure::calculator(text, document))
        }
    }
}

fn known(name: &str) -> Result<&'static Calculator, Failure> {
    find(name).ok_or_else(|| {
        let names = all().iter().map(|calculator| calculator.name).collect::<Vec<_>>().join(", ");
        let problem = format!("no calculator is named {name}");
        Failure::input(&Fault::new("calculator", problem, format!("one of: {names}")).with_value(name))
    })
}

fn input(name: &str, file: Option<&Path>) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    let read = match file {
        Some(path) => {
            std::fs::File::open(path).and_then(|open| open.take(INPUT_LIMIT_BYTES).read_to_end(&mut bytes))
        }
        None => {
            if io::stdin().is_terminal() {
                tell(&format!(
                    "{name}: waiting for one JSON object and an end of file (Ctrl-D, or Ctrl-Z on Windows); \
                     borewise calc --schema {name} shows its fields"
                ));
            }
            io::stdin().lock().take(INPUT_LIMIT_BYTES).read_to_end(&mut bytes)
        }
    };
    let shown = file.unwrap_or_else(|| Path::new("standard input"));
    match read {
        Ok(bytes) if bytes as u64 >= INPUT_LIMIT_BYTES => {
            let problem = format!("{} is larger than {} MiB", shown.display(), INPUT_LIMIT_BYTES >> 20);
            Err(Failure::input(&Fault::new("", problem, "give fewer samples")))
        }
        Ok(_) => String::from_utf8(bytes).map_err(|_| {
            let problem = format!("{} is not UTF-8 text", shown.display());
            Failure::input(&Fault::new("", problem, "save it as UTF-8"))
        }),
        Err(error) => Err(files::unreadable(shown, &error)),
    }
}
