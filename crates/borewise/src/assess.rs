//! `borewise assess`: one visit from its files.

use std::io::IsTerminal;
use std::path::Path;

use bench::finding::{Findings, Fitness, Warning};
use exchange::findings_json::{Origin, document};
use exchange::write::{Existing, write_all};
use exchange::{Loaded, json, load_visit};

use crate::output::{Failure, Verdict, print};
use crate::tables;

/// What this program calls itself in everything that it puts out.
pub const PROGRAM: &str = concat!("borewise ", env!("CARGO_PKG_VERSION"));

/// A judged visit, with the documents made of it.
pub struct Judged {
    /// The findings.
    pub findings: Findings,
    /// The same as one JSON document.
    pub json: String,
    /// The same as a visit sheet in HTML.
    pub sheet: String,
}

/// Judges a visit and prints or writes what was found.
pub fn run(visit: &Path, as_json: bool, out: Option<&Path>) -> Result<Verdict, Failure> {
    let judged = judge(visit)?;
    if let Some(folder) = out {
        write(folder, &judged)?;
    }
    if as_json {
        print(&judged.json)?;
    } else {
        let color = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        print(&report::terminal_table(&judged.findings, terminal_width(), color))?;
    }
    Ok(if judged.findings.fit_for_press == Fitness::No { Verdict::No } else { Verdict::Done })
}

/// Loads and judges a visit.
pub fn judge(visit: &Path) -> Result<Judged, Failure> {
    let loaded = load_visit(visit).map_err(|faults| Failure::Input {
        text: faults.to_string(),
        json: Some(format!("{:#}", json::file_errors(&faults))),
    })?;
    let mut findings = bench::judge::assess(&loaded.mould, &loaded.visit, &tables::shipped()?);
    findings.warnings.extend(notices(&loaded));
    let origin = Origin { program: PROGRAM, digest: &loaded.digest, inputs: &loaded.inputs };
    let json = format!("{:#}", document(&findings, origin));
    let footer = report::Footer { program_version: PROGRAM, digest: &loaded.digest, printed_at: None };
    let sheet = report::visit_sheet(&findings, &footer);
    Ok(Judged { findings, json, sheet })
}

/// What was noticed while the files were read, among the warnings.
fn notices(loaded: &Loaded) -> impl Iterator<Item = Warning> + '_ {
    loaded.notices.iter().map(|notice| Warning { code: notice.code, circuit: None, text: notice.to_string() })
}

/// Columns of the terminal, where the shell says so.
fn terminal_width() -> usize {
    std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).unwrap_or(100)
}

/// Writes findings and visit sheet into a folder, both or neither.
pub fn write(folder: &Path, judged: &Judged) -> Result<(), Failure> {
    let file = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
    let files = [file("findings.json", &judged.json), file("visit-sheet.html", &judged.sheet)];
    write_all(folder, &files, Existing::Replace).map_err(|error| Failure::Could { text: error.to_string() })
}
