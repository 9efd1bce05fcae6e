//! samples
