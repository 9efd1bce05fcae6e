//! Air in circuits: tightness, filled volume by expansion, passage.

pub mod cross_leak;
pub mod discharge;
pub mod energy;
pub mod equivalents;
pub mod gas;
pub mod leak_down;
pub mod leak_kind;
pub mod passage;
pub mod rise;
pub mod sonic;
pub mod trapped;
