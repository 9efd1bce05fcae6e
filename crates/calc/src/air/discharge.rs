//! Falling pressure.
pub mod model;
