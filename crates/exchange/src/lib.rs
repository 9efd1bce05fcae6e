//! Files in and out: mould, rig and visit files, traces of any logger, JSON of calculators and findings, and the
//! reference cases.
//!
//! Readers take their bytes from a [`source::Source`], report every fault at once with file, line and field, and
//! never panic, whatever the bytes.

pub mod csv;
pub mod earlier;
pub mod fault;
pub mod findings_json;
pub mod intake;
pub mod json;
pub mod load;
pub mod mould_json;
pub mod mould_list;
pub mod one_mould;
pub mod one_reading;
pub mod one_rig;
pub mod one_table;
pub mod reference;
pub mod schema;
pub mod shapes;
pub mod source;
pub mod tables;
pub mod toml_text;
pub mod toml_tree;
pub mod trace_json;
pub mod write;

pub use fault::{FileFault, FileFaults, Notice};
pub use load::{Loaded, load_visit, load_visit_from};
