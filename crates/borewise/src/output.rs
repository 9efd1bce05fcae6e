//! How a command ends: its exit code and its last words.

use std::error::Error;
use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

use calc::form::Fault;
use exchange::json::{errors, file_errors};
use exchange::{FileFault, FileFaults};
use serde_json::Value as Json;

/// Faults that are listed for people; the document lists them all.
const SHOWN: usize = 20;

/// A command that ran to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Done (0).
    Done,
    /// Done, and the answer is 'not fit', or a check failed (1).
    No,
}

impl From<Verdict> for ExitCode {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Done => Self::SUCCESS,
            Verdict::No => Self::from(1),
        }
    }
}

/// Whether a command's last words go to people alone, or to a program as well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Listener {
    /// Sentences on standard error.
    People,
    /// Also one JSON document on standard output.
    Program,
}

/// A command that could not do what was asked.
#[derive(Debug)]
pub struct Failure {
    code: u8,
    text: String,
    document: Json,
}

impl Failure {
    const INPUT: u8 = 2;
    const COULD_NOT: u8 = 3;

    /// Bad input (2), nothing written: one fault.
    pub fn input(fault: &Fault) -> Self {
        Self::one(Self::INPUT, fault)
    }

    /// Bad input (2), nothing written: every fault of the files.
    pub fn files(faults: &FileFaults) -> Self {
        Self { code: Self::INPUT, text: listed(&faults.0), document: file_errors(faults) }
    }

    /// Bad input (2), nothing written: a calculator's own list of faults.
    pub fn calculator(text: String, document: Json) -> Self {
        Self { code: Self::INPUT, text, document }
    }

    /// Bad input (2): a command line that cannot be meant, in the words of its reader.
    pub fn usage(text: &str) -> Self {
        let text = text.trim().trim_start_matches("error: ").to_owned();
        let first = text.lines().take_while(|line| !line.is_empty()).map(str::trim);
        let problem = first.collect::<Vec<_>>().join(" ");
        let fault =
            Fault::new("", problem, "borewise --help and borewise calc --help show what can be asked");
        Self { text, ..Self::input(&fault) }
    }

    /// Something that could not be done (3).
    pub fn could(problem: impl Into<String>, hint: &str) -> Self {
        Self::one(Self::COULD_NOT, &Fault::new("", problem, hint))
    }

    /// Something that could not be done to a file (3).
    pub fn file(doing: &str, path: &Path, error: &dyn Error) -> Self {
        let fault = Fault::new("", format!("cannot {doing} {}: {}", path.display(), causes(error)), "");
        Self::one(Self::COULD_NOT, &fault.with_value(path.display().to_string()))
    }

    fn one(code: u8, fault: &Fault) -> Self {
        let text = match fault.hint.as_str() {
            "" => fault.problem.clone(),
            hint => format!("{}; {hint}", fault.problem),
        };
        Self { code, text, document: errors(&[fault]) }
    }

    /// What is wrong, in words.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Says the last words.
    pub fn report(self, listener: Listener) -> ExitCode {
        tell(&self.text);
        if listener == Listener::Program
            && let Err(failure) = print(&format!("{:#}", self.document))
        {
            tell(&failure.text);
            return ExitCode::from(Self::COULD_NOT);
        }
        ExitCode::from(self.code)
    }
}

/// The faults one a line, and how many there are beyond what anybody reads.
fn listed(faults: &[FileFault]) -> String {
    let mut lines: Vec<String> = faults.iter().take(SHOWN).map(ToString::to_string).collect();
    if faults.len() > SHOWN {
        lines.push(format!("and {} more; --json lists them all", faults.len() - SHOWN));
    }
    lines.join("\n")
}

/// An error with the errors behind it.
fn causes(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let _ = write!(text, ": {error}");
        cause = error.source();
    }
    text
}

/// Says something to the person at the terminal; where nobody can be told, there is nobody to tell that either.
pub fn tell(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Prints to standard output; a reader that has gone away is no fault of ours, a full disk is.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let written = writeln!(out, "{}", text.trim_end_matches('\n')).and_then(|()| out.flush());
    match written {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::could(format!("cannot write to standard output: {error}"), ""))
        }
        _ => Ok(()),
    }
}
