//! steady
