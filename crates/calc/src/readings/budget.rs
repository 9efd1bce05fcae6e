//! budget
