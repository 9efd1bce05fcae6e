//! Chores of the workspace: `cargo xtask tidy` and friends.

mod api;
mod blind;
mod calculators;
mod ci;
mod fields;
mod messages;
mod pictures;
mod plant;
mod record;
mod tidy;
mod validation;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

const HELP: &str = "cargo xtask ci       everything that has to hold, in order\ncargo xtask tidy     the must-never rules and house limits\ncargo xtask validation [--verify]   docs/validation.md from a run of the outside checks\ncargo xtask blind-trial [--visits N] [--only matching|other|safety|next|second|bound]\n                     docs/blind-trials.md: probabilities, intervals and gates against the truth\ncargo xtask calculators [--verify]  docs/methods: calculators.md, and the tables of fields in files.md\ncargo xtask messages FOLDER [LANGUAGE]   texts of saved pages that no message knows\ncargo xtask pictures [--verify]     docs/pictures from visit sheets of the invented plant\ncargo xtask api [--verify]          docs/api.md: what other programs can ask\ncargo xtask fuzz-api                the interface for programs, fuzzed from its own description\ncargo xtask kills [N]                a program that writes into a record is killed N times (500)\ncargo xtask record-load [MOULDS [VISITS]]   size and speed of a record of simulated visits\ncargo xtask plant FOLDER [MOULDS [VISITS]]   files of a large invented plant";

fn main() -> ExitCode {
    let root = workspace_root();
    match std::env::args().nth(1).as_deref() {
        Some("ci") => ci::run(&root),
        Some("tidy") => tidy::run(&root),
        Some("validation") => validation::run(&root, std::env::args().any(|word| word == "--verify")),
        Some("blind-trial") => blind::command(&root, &std::env::args().skip(2).collect::<Vec<_>>()),
        Some("messages") => messages::run(&std::env::args().skip(2).collect::<Vec<_>>()),
        Some("calculators") => calculators::run(&root, std::env::args().any(|word| word == "--verify")),
        Some("api") => api::run(&root, std::env::args().any(|word| word == "--verify")),
        Some("fuzz-api") => api::fuzz(&root),
        Some("kills") => record::kills(&root, std::env::args().nth(2).as_deref()),
        Some("record-load") => record::load(&std::env::args().skip(2).collect::<Vec<_>>()),
        Some("plant") => plant::run(&std::env::args().skip(2).collect::<Vec<_>>()),
        Some("pictures") => pictures::run(&root, std::env::args().any(|word| word == "--verify")),
        _ => {
            eprintln!("{HELP}");
            ExitCode::from(2)
        }
    }
}

/// The folder above this package.
fn workspace_root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().map_or_else(|| PathBuf::from("."), Path::to_path_buf)
}
