//! Pure science of cooling circuits: no files, no clock, no randomness, no printing.
//!
//! Everything a caller passes in or gets back carries its unit, either as a type of
//! [`quantity`] or at the end of its name. Formulas name a source key of `data/sources.bib`.

pub mod air;
pub mod calculators;
pub mod estimate;
pub mod form;
pub mod hydraulics;
pub mod infer;
pub mod limits;
pub mod numeric;
pub mod quantity;
pub mod readings;
pub mod trace;
pub mod water;
