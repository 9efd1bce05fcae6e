//! passage
