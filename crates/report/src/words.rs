//! The words for what was found: one word for one thing.

use bench::finding::{
    BoreState, CircuitFinding, Fitness, Gate, HookUpSlip, NextStep, Passage, RigVerdict, Tightness,
};
use bench::mould::CircuitId;

use crate::number::{self, NARROW};

/// Probability from which on a state is taken as known for a drawing; below, a question mark is added.
pub(crate) const RATHER_SURE: f64 = 0.8;

/// Yes, no or cannot tell, as the answer to 'fit for the press?'.
pub(crate) fn fitness(fitness: Fitness) -> &'static str {
    match fitness {
        Fitness::Yes => "yes",
        Fitness::No => "no",
        Fitness::CannotTell => "cannot tell",
    }
}

/// Whether the circuit holds air, with where it leaks to.
pub(crate) fn rig_verdict(verdict: RigVerdict) -> &'static str {
    match verdict {
        RigVerdict::Fit => "as stated",
        RigVerdict::Drifted => "drifted",
        RigVerdict::CannotTell => "cannot tell",
    }
}

pub(crate) fn tightness(circuit: &CircuitFinding) -> String {
    match circuit.tightness {
        Tightness::Tight => "tight".into(),
        Tightness::LeaksOut => "leaks out".into(),
        Tightness::LeaksAcross if circuit.across_to.is_empty() => "leaks across".into(),
        Tightness::LeaksAcross => format!("leaks into {}", ids(&circuit.across_to)),
        Tightness::Leaks => "leaks, where to is not known".into(),
        Tightness::CannotTell => "cannot tell".into(),
        Tightness::Untested => "not tested".into(),
    }
}

/// Whether the finding is a leak.
pub(crate) fn is_leak(tightness: Tightness) -> bool {
    matches!(tightness, Tightness::LeaksOut | Tightness::LeaksAcross | Tightness::Leaks)
}

/// Whether air passes.
pub(crate) fn passage(passage: Passage) -> &'static str {
    match passage {
        Passage::Free => "free",
        Passage::NarrowByDesign => "narrow by design",
        Passage::Restricted => "restricted",
        Passage::Blocked => "blocked",
        Passage::CannotTell => "cannot tell",
        Passage::Untested => "not tested",
    }
}

/// What the bore looks like.
pub(crate) fn bore_state(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "as new",
        BoreState::EvenDeposit => "even deposit",
        BoreState::LocalPlug => "local plug",
        BoreState::Mixed => "deposit and plug",
        BoreState::Rough => "rough",
        BoreState::Unknown => "not known",
    }
}

/// The most probable state, the first of equals. Readings that fit no picture leave the odds of before, which say nothing
/// of this circuit.
pub(crate) fn likeliest(circuit: &CircuitFinding) -> Option<(BoreState, f64)> {
    if circuit.state_fits == Some(false) {
        return None;
    }
    let mut best: Option<(BoreState, f64)> = None;
    for (&state, &probability) in &circuit.state {
        if probability.is_finite() && best.is_none_or(|(_, so_far)| probability > so_far) {
            best = Some((state, probability));
        }
    }
    best
}

/// The state in a few words: `even deposit, 97 %`.
pub(crate) fn state_in_short(circuit: &CircuitFinding) -> String {
    match likeliest(circuit) {
        None | Some((BoreState::Unknown, _)) => bore_state(BoreState::Unknown).into(),
        Some((state, probability)) => format!("{}, {}", bore_state(state), number::probability(probability)),
    }
}

/// What to do next.
pub(crate) fn next_step(step: NextStep) -> &'static str {
    match step {
        NextStep::Leave => "leave",
        NextStep::FindOut => "find out",
        NextStep::Open => "open",
        NextStep::Repair => "repair",
        NextStep::Descale => "descale",
        NextStep::Retire => "retire",
    }
}

/// What is wrong with hoses, in a few words.
pub(crate) fn hose_slip(slip: HookUpSlip) -> &'static str {
    match slip {
        HookUpSlip::Exchanged => "hoses exchanged",
        HookUpSlip::Missing => "hose missing",
        HookUpSlip::Doubled => "two on one port",
        HookUpSlip::Bridged => "returns exchanged",
        HookUpSlip::Reversed => "supply and return exchanged",
    }
}

/// Whether a step may be done.
pub(crate) fn gate(gate: &Gate) -> &'static str {
    match (gate.open, gate.overridden.is_some()) {
        (true, true) => "allowed by override",
        (false, true) => "shut by override",
        (true, false) => "allowed",
        (false, false) => "not allowed",
    }
}

/// Tone of a gate: what stands against its rule asks for care.
pub(crate) fn gate_tone(gate: &Gate) -> &'static str {
    match (gate.open, gate.overridden.is_some()) {
        (true, true) => "care",
        (true, false) => "plain",
        (false, _) => "alarm",
    }
}

/// Half and what it cools: `fixed · cavity row A`.
pub(crate) fn place_in_mould(circuit: &CircuitFinding) -> String {
    match &circuit.serves {
        Some(serves) if circuit.half.is_empty() => serves.clone(),
        Some(serves) => format!("{} · {serves}", circuit.half),
        None => circuit.half.clone(),
    }
}

/// `F2, F3`.
pub(crate) fn ids(ids: &[CircuitId]) -> String {
    ids.iter().map(|id| id.0.as_str()).collect::<Vec<_>>().join(", ")
}

/// A word at the beginning of a line.
#[must_use]
pub fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `1 circuit`, `2 circuits`.
#[must_use]
pub fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count}{NARROW}{}", if count == 1 { one } else { many })
}

/// A moment: `24 Nov 2026, 08:40 UTC`.
#[must_use]
pub fn moment(at: jiff::Timestamp) -> String {
    at.strftime("%-d %b %Y, %H:%M UTC").to_string()
}

/// The same text with a sign in place of every letter that may not reach a page; lines stay.
#[must_use]
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|letter| if is_printable(letter) || letter == '\n' { letter } else { '\u{fffd}' })
        .collect()
}

/// Whether a character may reach a page, a paper or a terminal.
///
/// Control characters can move a terminal's cursor and are no XML; direction marks can make a text read as
/// another one.
pub(crate) fn is_printable(letter: char) -> bool {
    let turns_direction =
        matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}');
    let no_xml = matches!(letter, '\u{fffe}' | '\u{ffff}');
    !letter.is_control() && !turns_direction && !no_xml
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_written_in_full() {
        let at: jiff::Timestamp = "2026-11-04T08:05:00Z".parse().expect("a valid time");
        assert_eq!(moment(at), "4 Nov 2026, 08:05 UTC");
    }

    #[test]
    fn control_and_direction_characters_are_not_printable() {
        assert!("F2 Ω 水 é\u{202f}%".chars().all(is_printable));
        for letter in ['\u{1b}', '\0', '\u{7f}', '\u{9b}', '\u{202e}', '\u{2066}', '\u{ffff}'] {
            assert!(!is_printable(letter), "{letter:?}");
        }
    }

    #[test]
    fn capitals_and_counts() {
        assert_eq!(capital("find out"), "Find out");
        assert_eq!(capital(""), "");
        assert_eq!(counted(1, "port", "ports"), "1\u{202f}port");
    }
}
