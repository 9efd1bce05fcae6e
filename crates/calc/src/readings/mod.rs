//! Readings reduced to values with honest uncertainties.

pub mod budget;
pub mod compare;
pub mod samples;
pub mod steady;
