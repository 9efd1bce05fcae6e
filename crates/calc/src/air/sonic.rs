//! sonic
