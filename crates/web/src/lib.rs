//! The bench book: pages for a browser over the record, written by the server and complete without a script.
//! Small scripts of our own keep what was typed and not sent (`assets/drafts.js`), bring in what others record
//! (`assets/live.js`) and let drawings be read point by point (`assets/plots.js`).
//!
//! Nothing is computed or rounded here: pages show what `bench` found, through the pieces of `report`, and what is
//! entered is read by the rules of `exchange` and recorded through `store`. Judging a visit is told from outside
//! ([`Judge`]), because the limits and materials of the plant are wired by the program.
//!
//! - [`App`] holds what the pages need; [`router`] makes the pages of it.
//! - Everything that changes the record is a form with a key of its own, so that sending it twice counts once.
//! - Only names of this very machine are answered, and only forms of these very pages are taken.
//! - Other machines reach the pages only through a [`Beyond`], and then every page asks for a sign-in.

mod access;
mod api;
mod app;
mod entry;
mod forms;
mod guard;
mod language;
mod layout;
mod live;
mod news;
mod pages;
mod picture;
mod printer;
mod problem;
mod secret;
mod sent;
mod serve;
mod session;
mod shown;
pub mod tokens;
mod tries;
mod typed;
mod units;

pub use access::{Beyond, Closed};
pub use api::{description, page as api_page};
pub use app::{App, Judge, JudgeError, router};
pub use printer::{PrintError, Printer};
pub use serve::{Loopback, serve, serve_network};
pub use session::Seal;
