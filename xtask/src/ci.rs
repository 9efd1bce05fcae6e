//! Everything that has to hold before a change lands, in one order for people and machines.

use std::path::Path;
use std::process::{Command, ExitCode};

/// Name, arguments of cargo, and extra environment of each step.
type Step = (&'static str, &'static [&'static str], &'static [(&'static str, &'static str)]);

const STEPS: &[Step] = &[
    ("format", &["fmt", "--all", "--check"], &[]),
    ("lints", &["clippy", "--workspace", "--all-targets", "--locked", "--", "-D", "warnings"], &[]),
    ("rules", &["xtask", "tidy"], &[]),
    ("tests", &["test", "--workspace", "--locked"], &[]),
    ("outside checks", &["run", "--quiet", "--locked", "-p", "borewise", "--", "check"], &[]),
    ("validation page is the run's own", &["xtask", "validation", "--verify"], &[]),
    ("method pages say what the definitions say", &["xtask", "calculators", "--verify"], &[]),
    ("docs", &["doc", "--workspace", "--no-deps", "--locked", "--quiet"], &[("RUSTDOCFLAGS", "-D warnings")]),
];

/// Runs all steps and stops at the first that fails.
pub fn run(root: &Path) -> ExitCode {
    for (name, arguments, environment) in STEPS {
        println!("== {name}: cargo {}", arguments.join(" "));
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let status =
            Command::new(cargo).args(*arguments).envs(environment.iter().copied()).current_dir(root).status();
        match status {
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
    println!("all {} steps hold", STEPS.len());
    ExitCode::SUCCESS
}
