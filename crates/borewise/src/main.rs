//! The one binary: commands for the bench. Everything is wired here and computed elsewhere.

mod assess;
mod calculator;
mod check;
mod demo;
mod output;
mod simulate;
mod tables;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Judges the cooling circuits of injection moulds and die-casting dies from bench readings.
#[derive(Debug, Parser)]
#[command(name = "borewise", version, max_term_width = 100)]
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
    },
    /// One calculator, JSON in, JSON out
    Calc {
        /// List all calculators
        #[arg(long)]
        list: bool,
        /// Print the JSON schema of this calculator's input
        #[arg(long, value_name = "NAME")]
        schema: Option<String>,
        /// Calculator
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
    /// Make the invented plant, judge every visit of it, and show the sheets
    Demo {
        /// Folder for the plant
        #[arg(long, value_name = "DIR", default_value = "demo-out")]
        data: PathBuf,
        /// Do not open a browser
        #[arg(long)]
        no_open: bool,
    },
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.command {
        Command::Assess { visit, json, out } => assess::run(&visit, json, out.as_deref()),
        Command::Calc { list: true, .. } => calculator::list(),
        Command::Calc { schema: Some(name), .. } => calculator::schema(&name),
        Command::Calc { name: Some(name), file, .. } => calculator::run(&name, file.as_deref()),
        Command::Calc { .. } => Err(output::Failure::input("name a calculator, or use --list")),
        Command::Check { topic, json } => check::run(topic.as_deref(), json),
        Command::Simulate { plan, out } => simulate::run(&plan, &out),
        Command::Demo { data, no_open } => demo::run(&data, no_open),
    };
    match done {
        Ok(verdict) => verdict.into(),
        Err(failure) => failure.report(),
    }
}
