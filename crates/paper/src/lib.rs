//! Paper: the certificate of a visit, the visit sheet, the hook-up sheet and tags, as PDF.
//!
//! Nothing is computed or judged here: papers show what `bench` found, in the words and digits of `report`. What comes in
//! is plain data; nothing is read from a disk, a clock or a network, and the same data gives the same bytes.
//!
//! Every paper is archival and tagged (PDF/A-2a, PDF/UA-1), with its title and language set.

mod certificate;
mod hook_up;
mod parts;
mod press;
mod qr;
mod tags;
mod visit_sheet;

pub use certificate::{Certificate, Instrument, Override, VisitEnd, certificate};
pub use hook_up::{HookUpSheet, HosedPort, hook_up_sheet};
pub use press::PaperError;
pub use tags::{Tag, tags};
pub use visit_sheet::{VisitSheet, visit_sheet};
