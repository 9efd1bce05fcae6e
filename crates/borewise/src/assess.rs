//! `borewise assess`: one visit from its files.

use std::io::{self, IsTerminal};
use std::path::Path;

use bench::finding::{Findings, Fitness, Warning};
use exchange::findings_json::{Origin, document};
use exchange::source::Source;
use exchange::write::{Existing, NewFile};
use exchange::{Loaded, load_visit_from};

use crate::files;
use crate::output::{Failure, Verdict, print};
use crate::tables;

/// What this program calls itself in everything that it puts out.
pub const PROGRAM: &str = concat!("borewise ", env!("CARGO_PKG_VERSION"));

/// File name of the visit sheet.
pub const SHEET: &str = "visit-sheet.html";
/// Columns of what is no terminal.
const COLUMNS: usize = 100;

/// A judged visit, with the documents made of it.
pub struct Judged {
    /// The findings.
    pub findings: Findings,
    /// The same as one JSON document.
    pub json: String,
    /// The same as a visit sheet in HTML.
    pub sheet: String,
}

impl Judged {
    /// Findings and visit sheet as files.
    pub fn files(&self) -> [NewFile; 2] {
        let file = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
        [file("findings.json", &self.json), file(SHEET, &self.sheet)]
    }
}

/// Judges a visit and prints or writes what was found.
pub fn run(visit: &Path, as_json: bool, out: Option<&Path>) -> Result<Verdict, Failure> {
    let (folder, name) = files::beside(visit, "a visit")?;
    let judged = judge(&folder, &name)?;
    if let Some(folder) = out {
        files::write(folder, &judged.files(), Existing::Replace)?;
    }
    if as_json {
        print(&judged.json)?;
    } else {
        let color = io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        print(&report::terminal_table(&judged.findings, terminal_width(), color))?;
    }
    Ok(if judged.findings.fit_for_press == Fitness::No { Verdict::No } else { Verdict::Done })
}

/// Loads and judges a visit.
pub fn judge(source: &dyn Source, visit: &str) -> Result<Judged, Failure> {
    let loaded = load_visit_from(source, visit).map_err(|faults| Failure::files(&faults))?;
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

/// Columns to print in: what the shell says, else the terminal.
fn terminal_width() -> usize {
    let told = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let seen = || terminal_size::terminal_size_of(io::stdout()).map(|(width, _)| usize::from(width.0));
    told.or_else(seen).unwrap_or(COLUMNS)
}
