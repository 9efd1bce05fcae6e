//! t
use bench::finding::Findings;
/// t
pub fn terminal_table(_f: &Findings, _w: usize, _c: bool) -> String { String::new() }
