//! What a person reads on the terminal, kept word by word.
//!
//! After a wanted change: `UPDATE_GOLDEN=1 cargo test -p borewise golden`, and read the difference before it goes in.

use std::fmt::Write as _;
use std::path::Path;

use crate::program::{borewise, shown, visit_of};

/// Compares a text with the file of this name, or writes it there when asked.
#[track_caller]
fn is_golden(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(name);
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&path, text).unwrap();
        return;
    }
    let golden = std::fs::read_to_string(&path).unwrap_or_default().replace("\r\n", "\n");
    assert!(golden == text, "{} differs (- kept, + now):\n{}", path.display(), difference(&golden, text));
}

/// Lines that differ, with one line around them; lines are matched over the longest common sequence.
fn difference(kept: &str, now: &str) -> String {
    let (kept, now): (Vec<&str>, Vec<&str>) = (kept.lines().collect(), now.lines().collect());
    let mut common = vec![vec![0_usize; now.len() + 1]; kept.len() + 1];
    for at in (0..kept.len()).rev() {
        for other in (0..now.len()).rev() {
            common[at][other] = if kept[at] == now[other] {
                common[at + 1][other + 1] + 1
            } else {
                common[at + 1][other].max(common[at][other + 1])
            };
        }
    }
    let (mut at, mut other, mut text) = (0, 0, String::new());
    while at < kept.len() || other < now.len() {
        if at < kept.len() && other < now.len() && kept[at] == now[other] {
            (at, other) = (at + 1, other + 1);
        } else if other < now.len() && (at == kept.len() || common[at][other + 1] >= common[at + 1][other]) {
            let _ = writeln!(text, "{:>4} + {}", other + 1, now[other]);
            other += 1;
        } else {
            let _ = writeln!(text, "{:>4} - {}", at + 1, kept[at]);
            at += 1;
        }
    }
    text
}

#[test]
fn a_difference_shows_the_lines_that_changed() {
    assert_eq!(difference("a\nb\nc\n", "a\nB\nc\nd\n"), "   2 + B\n   2 - b\n   4 + d\n");
    assert_eq!(difference("same\n", "same\n"), "");
}

/// The die is the smallest visit that shows a leak, a deposit, and flows that nobody can explain yet.
#[test]
fn the_table_of_the_die() {
    let ended = borewise(&["assess", shown(&visit_of("AB-D03"))]);
    assert_eq!((ended.code, ended.err.as_str()), (1, ""));
    is_golden("AB-D03.txt", &ended.out);
}

/// Gauges, a watch and a bucket, and a mould without papers.
#[test]
fn the_table_of_a_mould_without_papers() {
    let ended = borewise(&["assess", shown(&visit_of("AB-146"))]);
    assert_eq!((ended.code, ended.err.as_str()), (1, ""));
    is_golden("AB-146.txt", &ended.out);
}
