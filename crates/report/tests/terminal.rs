//! The short table: first things first, inside its width, harmless and the same each time.

mod sample;

use bench::finding::{BoreState, CircuitFinding, Findings, NextStep, Passage, Tightness};
use bench::mould::MouldId;
use report::terminal_table;
use unicode_width::UnicodeWidthStr as _;

/// Without the colours that the table itself sets.
fn without_colour(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("\u{1b}[") {
        out.push_str(before);
        let (code, tail) = after.split_once('m').expect("an end of the colour");
        assert!(code.bytes().all(|byte| byte.is_ascii_digit() || byte == b';'), "{code}");
        rest = tail;
    }
    out + rest
}

fn one(circuit: CircuitFinding) -> Findings {
    Findings { circuits: vec![circuit], ..sample::bare_findings() }
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    for findings in [sample::findings(), sample::many(24), sample::long_words(), sample::bare_findings()] {
        for width in [40, 60, 80, 90, 100, 132, 160, 240] {
            for line in terminal_table(&findings, width, false).lines() {
                assert!(line.width() <= width, "{width}: {line}");
                assert_eq!(line, line.trim_end());
            }
        }
    }
}

#[test]
fn headline_comes_first_and_cautions_last() {
    let findings = sample::findings();
    let table = terminal_table(&findings, 100, false);
    assert!(table.starts_with("✗ Not ready for the press: two circuits leak into each other\n"), "{table}");
    let last = table.trim_end().lines().last().expect("lines");
    assert!(last.contains(sample::WASTE), "{last}");
    let place = |what: &str| table.find(what).unwrap_or_else(|| panic!("{what} is missing"));
    assert!(place("Next: Open M1") < place("F1  fixed"));
    assert!(place("M3  moving") < place("Check the hook-up"));
    assert!(place("Check the hook-up") < place("Worth knowing"));
    assert!(place("Worth knowing") < place("Before pressure"));
}

#[test]
fn a_circuit_has_its_findings_on_one_line_of_a_hundred_columns() {
    let table = terminal_table(&sample::findings(), 100, false);
    let line = table.lines().find(|line| line.starts_with("F2")).expect("a line for F2");
    for word in ["fixed", "tight under 0.06", "free", "66 % (61 to 71)", "even deposit, 96 %", "~ descale"] {
        assert!(line.contains(word), "{word}: {line}");
    }
    let line = table.lines().find(|line| line.starts_with("M2")).expect("a line for M2");
    assert!(line.contains("leaks into M3 4.1 ± 0.4") && line.contains("! repair"), "{line}");
    assert!(table.contains("takes a third of the flow. (cautions 2 to 6)"));
}

#[test]
fn columns_stand_below_each_other() {
    let table = terminal_table(&sample::findings(), 100, false);
    let column = |line: &str, word: &str| line.find(word).map(|at| line[..at].width());
    let step_of = |name: &str, word: &str| {
        column(table.lines().find(|line| line.starts_with(name)).expect("a line"), word).expect("the word")
    };
    let first = step_of("F1", "✓ leave");
    assert_eq!(first, step_of("F2", "~ descale"));
    assert_eq!(first, step_of("M1", "» open"));
    assert_eq!(first, step_of("M3", "! repair"));
}

#[test]
fn colour_is_only_added_where_it_is_wanted_and_says_nothing_new() {
    for width in [60, 100, 160] {
        let plain = terminal_table(&sample::findings(), width, false);
        let coloured = terminal_table(&sample::findings(), width, true);
        assert!(!plain.contains('\u{1b}'));
        assert!(coloured.contains("\u{1b}[1;31m"));
        assert_eq!(without_colour(&coloured), plain);
    }
}

#[test]
fn every_answer_has_its_word() {
    let circuit = sample::bare_circuit("A1");
    let states = [
        BoreState::AsNew,
        BoreState::EvenDeposit,
        BoreState::LocalPlug,
        BoreState::Mixed,
        BoreState::Rough,
        BoreState::Unknown,
    ];
    let words = [
        "as new, 90",
        "even deposit, 90",
        "local plug, 90",
        "deposit and plug, 90",
        "rough, 90",
        "not known",
    ];
    for (state, word) in states.into_iter().zip(words) {
        let given = one(CircuitFinding { state: [(state, 0.9)].into(), ..circuit.clone() });
        assert!(terminal_table(&given, 100, false).contains(word), "{word}");
    }
    let tightness = [
        (Tightness::Tight, "tight"),
        (Tightness::LeaksOut, "leaks out"),
        (Tightness::LeaksAcross, "leaks across"),
        (Tightness::Leaks, "leaks"),
        (Tightness::CannotTell, "cannot tell"),
        (Tightness::Untested, "not tested"),
    ];
    for (tightness, word) in tightness {
        let given = one(CircuitFinding { tightness, ..circuit.clone() });
        assert!(terminal_table(&given, 100, false).contains(word), "{word}");
    }
    let passages = [
        (Passage::Free, "free"),
        (Passage::NarrowByDesign, "narrow by design"),
        (Passage::Restricted, "restricted"),
        (Passage::Blocked, "blocked"),
        (Passage::CannotTell, "cannot tell"),
        (Passage::Untested, "not tested"),
    ];
    for (passage, word) in passages {
        let given = one(CircuitFinding { passage, ..circuit.clone() });
        assert!(terminal_table(&given, 100, false).contains(word), "{word}");
    }
    let steps = [
        (NextStep::Leave, "✓ leave"),
        (NextStep::FindOut, "? find out"),
        (NextStep::Open, "» open"),
        (NextStep::Repair, "! repair"),
        (NextStep::Descale, "~ descale"),
        (NextStep::Retire, "✗ retire"),
    ];
    for (next_step, word) in steps {
        let given = one(CircuitFinding { next_step, ..circuit.clone() });
        assert!(terminal_table(&given, 100, false).contains(word), "{word}");
    }
}

#[test]
fn the_widest_answers_still_stand_in_columns_at_a_hundred() {
    let circuits = sample::findings().circuits;
    let widest = CircuitFinding {
        passage: Passage::NarrowByDesign,
        state: [(BoreState::Mixed, 0.97)].into(),
        half: "moving plate, upper slide".into(),
        ..circuits[4].clone()
    };
    let table = terminal_table(&one(widest), 100, false);
    let line = table.lines().find(|line| line.starts_with("M2")).expect("a line for M2");
    for word in ["moving …", "leaks into M3 4.1 ± 0.4", "narrow by design", "deposit and plug", "! repair"]
    {
        assert!(line.contains(word), "{word}: {line}");
    }
}

#[test]
fn user_words_cannot_move_the_cursor_or_break_the_lines() {
    let mut findings = sample::findings();
    let bad = "\u{1b}[2J\u{1b}]0;x\u{7}\r\n\u{202e}\u{9b}31m水\tX";
    findings.headline = bad.into();
    findings.mould = MouldId(bad.into());
    findings.mould_name = bad.into();
    findings.next = bad.into();
    findings.because = vec![bad.into()];
    for circuit in &mut findings.circuits {
        circuit.id.0 = bad.repeat(20);
        circuit.half = bad.into();
        circuit.reason = bad.repeat(30);
        circuit.across_to = vec![bench::mould::CircuitId(bad.into())];
    }
    for width in [0, 40, 100] {
        let table = terminal_table(&findings, width, false);
        assert!(table.chars().all(|letter| letter == '\n' || !letter.is_control()));
        assert!(!table.contains('\u{202e}'));
        assert!(table.lines().all(|line| line.width() <= width.max(40)));
    }
}

#[test]
fn the_same_findings_give_the_same_lines() {
    assert_eq!(terminal_table(&sample::many(24), 100, true), terminal_table(&sample::many(24), 100, true));
}
