//! How a command ends: its exit code and its last words.

use std::io::{self, Write};
use std::process::ExitCode;

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

/// A command that could not do what was asked.
#[derive(Debug)]
pub enum Failure {
    /// Bad input (2): nothing was written.
    Input {
        /// What is wrong, for people.
        text: String,
        /// The same as one JSON document, where a program is listening.
        json: Option<String>,
    },
    /// Could not (3): a file, the terminal.
    Could {
        /// What was tried, and why it failed.
        text: String,
    },
}

impl Failure {
    /// Bad input, in words.
    pub fn input(text: impl Into<String>) -> Self {
        Self::Input { text: text.into(), json: None }
    }

    /// Something that could not be done to a file.
    pub fn file(doing: &str, path: &std::path::Path, error: &io::Error) -> Self {
        Self::Could { text: format!("cannot {doing} {}: {error}", path.display()) }
    }

    /// Prints the last words; a JSON document goes to standard output.
    pub fn report(self) -> ExitCode {
        match self {
            Self::Input { text, json } => {
                eprintln!("{text}");
                if let Some(json) = json
                    && print(&json).is_err()
                {
                    return ExitCode::from(3);
                }
                ExitCode::from(2)
            }
            Self::Could { text } => {
                eprintln!("{text}");
                ExitCode::from(3)
            }
        }
    }
}

/// Prints to standard output; a reader that has gone away is no fault of ours, a full disk is.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let written = writeln!(out, "{}", text.trim_end_matches('\n')).and_then(|()| out.flush());
    match written {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::Could { text: format!("cannot write to standard output: {error}") })
        }
        _ => Ok(()),
    }
}
