//! The page on the interface for programs, and its fuzz test.

use std::fs;
use std::path::Path;
use std::process::{Command, ExitCode};

const PAGE: &str = "docs/api.md";
const BEGIN: &str = "<!-- operations: begin -->\n";
const END: &str = "<!-- operations: end -->";

/// Writes the table of operations into its page, or with `verify` compares it with the one that is there.
pub fn run(root: &Path, verify: bool) -> ExitCode {
    let path = root.join(PAGE);
    let made = fs::read_to_string(&path)
        .map_err(|error| format!("{PAGE}: {error}"))
        .and_then(|there| filled(&there).map(|new| (there, new)));
    let done = match made {
        Ok((there, new)) if there == new => {
            println!("{PAGE} says what the operations say");
            Ok(())
        }
        Ok(_) if verify => Err(format!("{PAGE} differs from the operations: run `cargo xtask api`")),
        Ok((_, new)) => fs::write(&path, new).map_err(|error| format!("cannot write {PAGE}: {error}")),
        Err(text) => Err(text),
    };
    ended(done)
}

fn filled(there: &str) -> Result<String, String> {
    let missing = || format!("{PAGE} lacks the lines around its table");
    let (before, rest) = there.split_once(BEGIN).ok_or_else(missing)?;
    let (_, after) = rest.split_once(END).ok_or_else(missing)?;
    Ok(format!("{before}{BEGIN}{}{END}{after}", web::api_page()))
}

/// Starts the bench book on a throw-away record of the demo plant and fuzzes its interface for programs.
pub fn fuzz(root: &Path) -> ExitCode {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo).args(["build", "--locked", "-p", "borewise"]).current_dir(root).status();
    if !built.is_ok_and(|status| status.success()) {
        return ended(Err("borewise could not be built".to_owned()));
    }
    let status = Command::new("python3").arg("tests/api/fuzz.py").current_dir(root).status();
    ended(match status {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("the fuzz test failed: {status}")),
        Err(error) => Err(format!("python3 could not be started, and the fuzz test needs it: {error}")),
    })
}

fn ended(done: Result<(), String>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(text) => {
            eprintln!("{text}");
            ExitCode::FAILURE
        }
    }
}
