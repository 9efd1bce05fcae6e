//! The visit sheet for screen and paper, and the short table for a terminal.
//!
//! Nothing is computed or judged here: every number, limit and verdict comes out of
//! [`bench::finding::Findings`], and this crate chooses digits, words, shapes and places for it.
//! The same findings give the same bytes.

mod bore_eye;
mod cautions;
mod chart;
mod leak_map;
mod number;
mod outline;
mod pictures;
pub mod pieces;
pub mod plain;
mod plant;
mod sheet;
mod strip;
mod svg;
mod symbol;
mod table;
mod units;
mod words;

pub use outline::{Outline, Pin, PinKind};
pub use plant::{PlantVisit, plant_page};
pub use sheet::{Footer, Parts, STYLE, Way, visit_sheet};
pub use table::terminal_table;
pub use units::Units;
