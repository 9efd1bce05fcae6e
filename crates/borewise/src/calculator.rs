//! `borewise calc`: one calculator, JSON in, JSON out.

use std::io::Read;
use std::path::Path;

use calc::calculators::{Calculator, all, find};
use exchange::json::{self, Reply};
use exchange::schema;

use crate::output::{Failure, Verdict, print};

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
    print(&pretty(&schema::schema(known(name)?)))?;
    Ok(Verdict::Done)
}

/// Runs a calculator over a file or standard input.
pub fn run(name: &str, file: Option<&Path>) -> Result<Verdict, Failure> {
    let calculator = known(name)?;
    let text = input(file.filter(|path| *path != Path::new("-")))?;
    match json::reply(calculator, &text) {
        Reply::Answer(document) => {
            print(&pretty(&document))?;
            Ok(Verdict::Done)
        }
        Reply::Errors(document) => Err(Failure::Input {
            text: format!("{name}: the input has faults; see the document"),
            json: Some(pretty(&document)),
        }),
    }
}

fn pretty(document: &serde_json::Value) -> String {
    format!("{document:#}")
}

fn known(name: &str) -> Result<&'static Calculator, Failure> {
    find(name).ok_or_else(|| {
        let names = all().iter().map(|calculator| calculator.name).collect::<Vec<_>>().join(", ");
        Failure::input(format!("no calculator is named {name}; known: {names}"))
    })
}

fn input(file: Option<&Path>) -> Result<String, Failure> {
    let mut text = String::new();
    let read = match file {
        Some(path) => {
            std::fs::File::open(path).and_then(|open| open.take(INPUT_LIMIT_BYTES).read_to_string(&mut text))
        }
        None => std::io::stdin().lock().take(INPUT_LIMIT_BYTES).read_to_string(&mut text),
    };
    let shown = file.unwrap_or_else(|| Path::new("standard input"));
    match read {
        Ok(bytes) if bytes as u64 >= INPUT_LIMIT_BYTES => {
            Err(Failure::input(format!("{}: more than {} MiB", shown.display(), INPUT_LIMIT_BYTES >> 20)))
        }
        Ok(_) => Ok(text),
        Err(error) if error.kind() == std::io::ErrorKind::InvalidData => {
            Err(Failure::input(format!("{}: not UTF-8 text", shown.display())))
        }
        Err(error) => Err(Failure::file("read", shown, &error)),
    }
}
