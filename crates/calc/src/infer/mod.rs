//! From readings to what is in the bore.

pub mod coarse;
