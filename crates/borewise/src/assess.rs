//! `borewise assess`: one visit from its files.

use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};

use bench::finding::{Findings, Fitness, Warning};
use exchange::earlier::{read_findings, take_up};
use exchange::findings_json::{Origin, document};
use exchange::intake::{InputFile, digest_of};
use exchange::source::Source;
use exchange::write::{Existing, NewFile};
use exchange::{FileFaults, Loaded, load_visit_from};

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
pub fn run(visit: &Path, earlier: &[PathBuf], as_json: bool, out: Option<&Path>) -> Result<Verdict, Failure> {
    let (folder, name) = files::beside(visit, "a visit")?;
    let judged = judge_after(&folder, &name, earlier)?;
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
    judge_after(source, visit, &[])
}

/// Loads and judges a visit; the past of its circuits is in the mould file and in the findings of earlier visits.
fn judge_after(source: &dyn Source, visit: &str, earlier: &[PathBuf]) -> Result<Judged, Failure> {
    let mut loaded = load_visit_from(source, visit).map_err(|faults| Failure::files(&faults))?;
    take_up_earlier(&mut loaded, earlier)?;
    let mut findings = bench::judge::assess(&loaded.mould, &loaded.visit, &tables::shipped()?);
    findings.warnings.extend(notices(&loaded));
    let origin = Origin { program: PROGRAM, digest: &loaded.digest, inputs: &loaded.inputs };
    let json = format!("{:#}", document(&findings, origin));
    let footer = report::Footer { program_version: PROGRAM, digest: &loaded.digest, printed_at: None };
    let sheet = report::visit_sheet(&findings, &footer);
    Ok(Judged { findings, json, sheet })
}

/// Reads the findings of earlier visits into the past of the mould's circuits; all that is wrong with them is named.
fn take_up_earlier(loaded: &mut Loaded, earlier: &[PathBuf]) -> Result<(), Failure> {
    let (mut documents, mut faults) = (Vec::new(), Vec::new());
    for path in earlier {
        let bytes = std::fs::read(path).map_err(|error| files::unreadable(path, &error))?;
        match read_findings(&path.display().to_string(), &bytes) {
            Ok(document) => documents.push(document),
            Err(found) => faults.extend(found.0),
        }
    }
    let taken = take_up(&mut loaded.mould, &loaded.visit, &documents);
    let notices = match taken {
        Ok(notices) if faults.is_empty() => notices,
        Ok(_) => return Err(Failure::files(&FileFaults(faults))),
        Err(strangers) => {
            faults.extend(strangers.0);
            return Err(Failure::files(&FileFaults(faults)));
        }
    };
    if !documents.is_empty() {
        loaded.notices.extend(notices);
        // Where a file lies says nothing of what was found: the name alone keeps findings the same on any machine.
        loaded.inputs.extend(documents.into_iter().zip(earlier).map(|(document, path)| {
            let name =
                path.file_name().map_or(document.input.name, |name| name.to_string_lossy().into_owned());
            InputFile { name, ..document.input }
        }));
        loaded.digest = digest_of(&loaded.inputs);
    }
    Ok(())
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
