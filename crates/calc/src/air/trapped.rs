//! trapped
