//! The commands of the record: take in, audit, backup, restore, export.

mod copies;
mod export;
pub mod findings;
mod list;
mod sources;
pub mod take_in;

use std::error::Error as _;
use std::path::{Path, PathBuf};

use calc::form::Fault;
use clap::{Args, Subcommand};
use store::{Head, StoreError};

use crate::output::{Failure, Verdict};

/// File of the record in its folder.
const FILE: &str = "record.sqlite";

/// Where the record is.
#[derive(Debug, Args)]
pub struct Place {
    /// Folder of the record
    #[arg(long, value_name = "DIR", default_value = "borewise-data")]
    data: PathBuf,
}

impl Place {
    /// The record's file.
    pub fn file(&self) -> PathBuf {
        self.data.join(FILE)
    }

    /// Its folder.
    pub fn folder(&self) -> &Path {
        &self.data
    }

    /// The record in this folder.
    pub const fn of(data: PathBuf) -> Self {
        Self { data }
    }
}

/// What to take in, and how.
#[derive(Debug, Args)]
pub struct TakeIn {
    /// Mould, visit, rig, limits and materials files, folders of moulds and visits, or a spreadsheet of moulds
    /// (CSV, XLSX)
    #[arg(required = true)]
    files: Vec<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// Who records: a short name, such as initials; the name of the computer's user if not given
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Why readings that are on record otherwise are corrected
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Show what was understood and what would be recorded, and record nothing
    #[arg(long)]
    dry_run: bool,
    /// Take a spreadsheet's column for this: HEADER=MEANING, or LETTERS= for a column not to be used
    #[arg(long, value_name = "HEADER=MEANING")]
    column: Vec<String>,
    /// Sheet of a workbook
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// Do not judge the visits
    #[arg(long)]
    without_findings: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
}

/// Commands of the record.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Take moulds and visits into the record; what is on record already is left alone
    Record(TakeIn),
    /// Prove the record whole, or name the first break
    Audit {
        #[command(flatten)]
        place: Place,
        /// A place of the history that was written down, NUMBER:DIGEST, which must be in it
        #[arg(long, value_name = "HEAD")]
        kept: Vec<String>,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Copy the record while it is in use, and verify the copy
    Backup {
        /// File of the copy; its digest is put beside it
        to: PathBuf,
        #[command(flatten)]
        place: Place,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Verify a backup and make it the record
    Restore {
        /// File of the backup
        from: PathBuf,
        #[command(flatten)]
        place: Place,
        /// Set the record that is there aside
        #[arg(long)]
        replace: bool,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Give everything away: history as JSON, tables as CSV, moulds and visits as files, photos and documents
    Export {
        /// Folder that is made for it
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        #[command(flatten)]
        place: Place,
    },
}

impl Command {
    /// Whether a program listens.
    pub const fn json(&self) -> bool {
        match self {
            Self::Record(TakeIn { json, .. })
            | Self::Audit { json, .. }
            | Self::Backup { json, .. }
            | Self::Restore { json, .. } => *json,
            Self::Export { .. } => false,
        }
    }
}

/// Runs a command.
pub fn run(command: &Command) -> Result<Verdict, Failure> {
    match command {
        Command::Record(wish) => take_in::run(wish),
        Command::Audit { place, kept, json } => copies::audit(&place.file(), &heads(kept)?, *json),
        Command::Backup { to, place, json } => copies::backup(&place.file(), to, *json),
        Command::Restore { from, place, replace, json } => {
            copies::restore(from, &place.file(), *replace, *json)
        }
        Command::Export { out, place } => export::run(&place.file(), out),
    }
}

fn heads(texts: &[String]) -> Result<Vec<Head>, Failure> {
    let head = |text: &String| {
        Head::parse(text).ok_or_else(|| {
            let hint = "write NUMBER:DIGEST, as audit and backup print it";
            Failure::input(&Fault::new("kept", "not a place of a history", hint).with_value(text.as_str()))
        })
    };
    texts.iter().map(head).collect()
}

/// What the store says, as a command ends with it: bad input for what somebody gave, otherwise something that could
/// not be done.
pub fn failed(path: &Path, error: &StoreError) -> Failure {
    let mut problem = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        problem = format!("{problem}: {inner}");
        cause = inner.source();
    }
    match error {
        StoreError::Sql(_) | StoreError::Unreadable { .. } => Failure::could(
            format!("{}: {problem}", path.display()),
            "borewise audit tells whether it is whole",
        ),
        StoreError::Missing(_) => {
            Failure::could(problem, "borewise record makes one; --data names its folder")
        }
        StoreError::Disk { .. }
        | StoreError::Exists(_)
        | StoreError::Foreign(_)
        | StoreError::TooNew { .. }
        | StoreError::NotWhole { .. }
        | StoreError::CopyDiffers(_)
        | StoreError::DigestDiffers(_)
        | StoreError::BlobBroken(_)
        | StoreError::BlobMissing(_) => Failure::could(problem, ""),
        _ => Failure::input(&Fault::new("", problem, "")),
    }
}
