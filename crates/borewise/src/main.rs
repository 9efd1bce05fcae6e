//! The one binary: commands for the bench. Everything is wired here and computed elsewhere.

mod assess;
mod calculator;
mod check;
mod demo;
mod files;
mod output;
mod paper;
mod record;
mod serve;
mod simulate;
mod tables;
mod token;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use output::{Failure, Listener};

/// The exit codes, for the foot of the help.
const EXIT_CODES: &str = "Exit codes: 0 done; 1 done, and the answer is 'not fit for the press' or a check failed; \
2 bad input, nothing written; 3 could not (a file, the disk).";

/// Judges the cooling circuits of injection moulds and die-casting dies from bench readings.
#[derive(Debug, Parser)]
#[command(name = "borewise", version, max_term_width = 100, after_help = EXIT_CODES)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Judge one visit from its files: table on the terminal, JSON, visit sheet
    Assess {
        /// Visit file; mould file, rig file and traces lie beside it
        visit: PathBuf,
        /// Print the findings as one JSON document instead of the table
        #[arg(long)]
        json: bool,
        /// Folder for findings.json and visit-sheet.html
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Findings of earlier visits of this mould (findings.json): they become its circuits' past
        #[arg(long, value_name = "FILE", num_args = 1..)]
        earlier: Vec<PathBuf>,
    },
    /// One calculator, JSON in, JSON out
    Calc {
        /// List all calculators
        #[arg(long, conflicts_with_all = ["schema", "name"])]
        list: bool,
        /// Print the JSON schema of this calculator's input
        #[arg(long, value_name = "NAME", conflicts_with = "name")]
        schema: Option<String>,
        /// Calculator
        #[arg(required_unless_present_any = ["list", "schema"])]
        name: Option<String>,
        /// Input file; - or nothing for standard input
        file: Option<PathBuf>,
    },
    /// Compare with outside references: published values, other programs, identities
    Check {
        /// Only this topic
        #[arg(long)]
        topic: Option<String>,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Write a visit (mould, visit, traces, and the hidden truth apart) from the virtual rig
    Simulate {
        /// Plan file
        plan: PathBuf,
        /// Folder for the visit
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
    #[command(flatten)]
    Record(record::Command),
    #[command(flatten)]
    Paper(paper::Command),
    /// Tokens by which other programs reach the record: make, list, revoke
    #[command(subcommand)]
    Token(token::Command),
    /// Print the description of the interface for programs (OpenAPI 3.1)
    Openapi,
    /// Show the bench book in a browser: moulds, visits and circuits on record, forms for readings, calculators
    Serve {
        #[command(flatten)]
        place: record::Place,
        /// Address and port to listen at; one that other machines reach needs a password for everybody who may write
        #[arg(long, value_name = "ADDR", default_value = serve::ADDRESS)]
        listen: std::net::SocketAddr,
        /// Name under which other machines know this one; may be given several times
        #[arg(long, value_name = "NAME")]
        host: Vec<String>,
        /// Address of the bench book that QR codes on paper lead to; that of the page that asked, if not given
        #[arg(long, value_name = "URL")]
        base: Option<String>,
    },
    /// Make the invented plant, judge every visit of it, and show it in the bench book
    Demo {
        /// Folder for the plant
        #[arg(long, value_name = "DIR", default_value = "demo-out")]
        data: PathBuf,
        /// Write the plant and its sheets and end, without bench book and browser
        #[arg(long)]
        no_open: bool,
    },
}

impl Command {
    /// Who listens to the last words.
    const fn listener(&self) -> Listener {
        match self {
            Self::Calc { .. } | Self::Assess { json: true, .. } | Self::Check { json: true, .. } => {
                Listener::Program
            }
            Self::Record(command) if command.json() => Listener::Program,
            Self::Paper(command) if command.json() => Listener::Program,
            Self::Token(command) if command.json() => Listener::Program,
            _ => Listener::People,
        }
    }

    fn run(self) -> Result<output::Verdict, Failure> {
        match self {
            Self::Assess { visit, json, out, earlier } => assess::run(&visit, &earlier, json, out.as_deref()),
            Self::Calc { schema: Some(name), .. } => calculator::schema(&name),
            Self::Calc { name: Some(name), file, .. } => calculator::run(&name, file.as_deref()),
            Self::Calc { .. } => calculator::list(),
            Self::Check { topic, json } => check::run(topic.as_deref(), json),
            Self::Simulate { plan, out } => simulate::run(&plan, &out),
            Self::Record(command) => record::run(&command),
            Self::Paper(command) => paper::run(&command),
            Self::Token(command) => token::run(&command),
            Self::Openapi => token::openapi(),
            Self::Serve { place, listen, host, base } => serve::run(&place, listen, &host, base),
            Self::Demo { data, no_open } => demo::run(&data, no_open),
        }
    }
}

fn main() -> ExitCode {
    let command = match Arguments::try_parse() {
        Ok(arguments) => arguments.command,
        Err(error) => return usage(&error),
    };
    let listener = command.listener();
    std::panic::set_hook(Box::new(|fault| output::tell(&fault.to_string())));
    match guarded(|| command.run()) {
        Ok(verdict) => verdict.into(),
        Err(failure) => failure.report(listener),
    }
}

/// Runs a command; a fault of our own ends like any other thing that could not be done.
fn guarded(
    run: impl FnOnce() -> Result<output::Verdict, Failure> + std::panic::UnwindSafe,
) -> Result<output::Verdict, Failure> {
    std::panic::catch_unwind(run).unwrap_or_else(|_| {
        let hint = "please report it together with the files that led here";
        Err(Failure::could("this is a fault of Borewise itself", hint))
    })
}

/// Ends with the help that was asked for, or with what is wrong with the command line.
fn usage(error: &clap::Error) -> ExitCode {
    if !error.use_stderr() {
        return match error.print() {
            Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => ExitCode::from(3),
            _ => ExitCode::SUCCESS,
        };
    }
    let mut arguments = std::env::args_os().skip(1);
    let listener = if arguments.any(|argument| argument == "--json" || argument == "calc") {
        Listener::Program
    } else {
        Listener::People
    };
    Failure::usage(&error.render().to_string()).report(listener)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_of_our_own_ends_like_a_failure() {
        let done = guarded(|| Ok(output::Verdict::No));
        assert!(matches!(done, Ok(output::Verdict::No)));
        std::panic::set_hook(Box::new(|_| {}));
        let failed = guarded(|| panic!("a fault"));
        let code = failed.map_err(|failure| failure.report(Listener::People));
        assert_eq!(code.unwrap_err(), ExitCode::from(3));
    }
}
