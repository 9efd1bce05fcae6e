//! Readings reduced to values with honest uncertainties.

pub mod bucket;
pub mod budget;
pub mod common_factor;
pub mod compare;
pub mod rig_check;
pub mod samples;
pub mod steady;
