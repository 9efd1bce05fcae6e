//! The mould bench as plain data, and the judgement over its readings.
//!
//! Data here knows nothing of files, pages or stores. Numbers that are not a [`calc::quantity`] type end in
//! their unit.

pub mod account;
mod baseline;
pub mod finding;
pub mod judge;
pub mod ladder;
pub mod limits;
pub mod mould;
pub mod overrides;
pub mod picture;
pub mod plausible;
pub mod rig;
pub mod visit;
pub mod working;
