//! equivalents
