//! Everything that has to hold before a change lands, in one order for people and machines.

use std::path::Path;
use std::process::{Command, ExitCode};

/// Name, arguments of cargo, and extra environment of each step.
type Step = (&'static str, &'static [&'static str], &'static [(&'static str, &'static str)]);

/// Tests that drive the program from outside; they need Python.
const SCRIPTS: &[(&str, &[&str])] =
    &[("whole visits and every page in a browser", &["tests/browser/run.py", "all"])];

const STEPS: &[Step] = &[
    ("format", &["fmt", "--all", "--check"], &[]),
    ("lints", &["clippy", "--workspace", "--all-targets", "--locked", "--", "-D", "warnings"], &[]),
    ("rules", &["xtask", "tidy"], &[]),
    ("tests", &["test", "--workspace", "--locked"], &[]),
    ("outside checks", &["run", "--quiet", "--locked", "-p", "borewise", "--", "check"], &[]),
    ("validation page is the run's own", &["xtask", "validation", "--verify"], &[]),
    ("method pages say what the definitions say", &["xtask", "calculators", "--verify"], &[]),
    ("interface page says what the operations say", &["xtask", "api", "--verify"], &[]),
    ("interface for programs, fuzzed", &["xtask", "fuzz-api"], &[]),
    ("docs", &["doc", "--workspace", "--no-deps", "--locked", "--quiet"], &[("RUSTDOCFLAGS", "-D warnings")]),
];

/// Runs all steps and stops at the first that fails.
pub fn run(root: &Path) -> ExitCode {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let steps = STEPS
        .iter()
        .map(|(name, arguments, environment)| (*name, cargo.as_str(), *arguments, *environment))
        .chain(SCRIPTS.iter().map(|(name, arguments)| (*name, "python3", *arguments, &[][..])));
    for (name, program, arguments, environment) in steps {
        println!("== {name}: {} {}", if program == cargo { "cargo" } else { program }, arguments.join(" "));
        let mut command = Command::new(program);
        command.args(arguments).envs(environment.iter().copied()).current_dir(root);
        match command.status() {
            Ok(status) if status.success() => {}
            Ok(status) => {
                eprintln!("step '{name}' failed: {status}");
                return ExitCode::FAILURE;
            }
            Err(error) => {
                eprintln!("step '{name}' could not start: {error}");
                return ExitCode::FAILURE;
            }
        }
    }
    println!("all {} steps hold", STEPS.len() + SCRIPTS.len());
    ExitCode::SUCCESS
}
