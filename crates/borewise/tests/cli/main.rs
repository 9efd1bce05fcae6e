//! The program as a person or a script meets it: commands, exit codes, files and words.

#![allow(clippy::unwrap_used)]

mod calculators;
mod checks;
mod contract;
mod demo;
mod earlier;
mod golden;
mod language;
mod lone_visits;
mod paper;
mod program;
mod record;
mod serve;
mod token;
mod writing;
