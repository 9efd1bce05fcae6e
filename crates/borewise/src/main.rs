//! Borewise.
fn main() {}
