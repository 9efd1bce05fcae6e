//! Mathematics that the science stands on. Numbers here are pure numbers.

pub mod math;
pub mod root;
pub mod stats;
