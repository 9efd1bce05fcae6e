//! Writes the sheet of an invented visit to the file that is named, or to standard output, and the short table
//! to standard error.

#[path = "../tests/sample/mod.rs"]
mod sample;

use std::io::Write as _;

use report::{Footer, terminal_table, visit_sheet};

fn main() -> std::io::Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let findings = match arguments.get(1).map(String::as_str) {
        Some("many") => sample::many(24),
        Some("long") => sample::long_words(),
        Some("bare") => sample::bare_findings(),
        _ => sample::findings(),
    };
    let printed_at = "2026-11-24T10:05:00Z".parse().ok();
    let footer = Footer { program_version: "0.1.0", digest: "sha-256 5f1c…90aa", printed_at };
    let page = visit_sheet(&findings, &footer);
    writeln!(std::io::stderr(), "{}", terminal_table(&findings, 100, false))?;
    match arguments.first().map(String::as_str) {
        Some(file) if file != "-" => std::fs::write(file, page),
        _ => std::io::stdout().write_all(page.as_bytes()),
    }
}
