//! Papers: certificates that go on record, and what of them still holds.

#[cfg(feature = "pdf")]
mod issue;
#[cfg(feature = "pdf")]
mod printer;
mod verify;

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::output::{Failure, Verdict};
use crate::record::Place;

/// Address of the bench book that QR codes lead to, unless told otherwise.
pub const BASE: &str = "http://127.0.0.1:8470";

/// What certificate, and where it goes.
#[derive(Debug, Args)]
pub struct Wish {
    /// Mould
    mould: String,
    /// Visit
    visit: String,
    #[command(flatten)]
    place: Place,
    /// File for the certificate
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
    /// Who issues it: a short name of the record; the name of the computer's user if not given
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Address of the bench book, for the QR code
    #[arg(long, value_name = "URL", default_value = BASE)]
    base: String,
    /// Name of the plant, for the head of the certificate
    #[arg(long, value_name = "NAME", default_value = "")]
    plant: String,
}

/// Commands of paper.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Issue the certificate of a visit as PDF and put it on record, or print the one that is on record
    Certificate(Wish),
    /// Say whether a certificate is on record and still holds
    Verify {
        /// File of the certificate
        #[arg(required_unless_present = "number", conflicts_with = "number")]
        file: Option<PathBuf>,
        /// Number that is printed on it
        #[arg(long, value_name = "NUMBER")]
        number: Option<String>,
        #[command(flatten)]
        place: Place,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
}

impl Command {
    /// Whether a program listens.
    pub const fn json(&self) -> bool {
        matches!(self, Self::Verify { json: true, .. })
    }
}

/// Runs a command.
pub fn run(command: &Command) -> Result<Verdict, Failure> {
    match command {
        #[cfg(feature = "pdf")]
        Command::Certificate(wish) => issue::run(wish),
        #[cfg(not(feature = "pdf"))]
        Command::Certificate(_) => Err(Failure::could(
            "this program was built without PDF",
            "build it with its feature `pdf`, which is on unless switched off",
        )),
        Command::Verify { file, number, place, json } => {
            verify::run(file.as_deref(), number.as_deref(), &place.file(), *json)
        }
    }
}

/// What prints for the bench book; none in a program without PDF.
#[cfg(feature = "pdf")]
pub fn printer(plant: &str, base: Option<String>) -> Option<Box<dyn web::Printer>> {
    Some(Box::new(printer::Pdf { plant: plant.to_owned(), base }))
}

/// What prints for the bench book; none in a program without PDF.
#[cfg(not(feature = "pdf"))]
pub fn printer(_: &str, _: Option<String>) -> Option<Box<dyn web::Printer>> {
    None
}
