//! losses
