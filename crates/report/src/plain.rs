//! Words, numbers and drawings of the sheet for other papers: text without markup, drawings that need no style sheet.

use bench::finding::{CircuitFinding, Fitness, HookUpSlip, NextStep, Passage, RigVerdict, Tightness};
use calc::estimate::Estimate;

use crate::{bore_eye, number, words};

pub use crate::words::{capital, counted, moment, printable};

/// What the classes of a bore eye look like on white paper; the colours are those of the sheet's light scheme.
const EYE_STYLE: &str = ".eye-steel{fill:#d6d4cd}.eye-bore{fill:#fbf8f1}.eye-wall{fill:none;stroke:#1d2227;stroke-width:1.8}\
.eye-guess{stroke-dasharray:3.2 2.8}.eye-deposit{fill:#a9813f;fill-rule:evenodd}.eye-unsure{fill:#e4cf9f;fill-rule:evenodd}\
.eye-best{fill:none;stroke:#1d2227;stroke-width:.9;stroke-dasharray:2 1.6}.eye-rough{fill:none;stroke:#1d2227;stroke-width:1.2}\
.eye-cross{stroke:#1d2227;stroke-width:3;stroke-linecap:round}\
.eye-ask{font-family:\"Libertinus Serif\",serif;font-size:21px;font-weight:700;fill:#1d2227}";

/// The bore eye of a circuit as an SVG file of its own.
#[must_use]
pub fn bore_eye_file(circuit: &CircuitFinding) -> String {
    let drawing = bore_eye::bore_eye(circuit, "eye").into_string();
    let open = drawing.find('>').unwrap_or_default();
    let (head, rest) = drawing.split_at(open);
    let head =
        head.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"48\" height=\"48\"", 1);
    let rest = rest.replacen('>', &format!("><style>{EYE_STYLE}</style>"), 1);
    words::printable(&format!("{head}{rest}"))
}

/// What the bore looks like, in a few words.
#[must_use]
pub fn bore_in_short(circuit: &CircuitFinding) -> String {
    crate::pieces::bore_in_short(circuit)
}

/// Whether the circuit holds air.
#[must_use]
pub fn tightness(circuit: &CircuitFinding) -> String {
    words::tightness(circuit)
}

/// Whether that is a leak.
#[must_use]
pub fn is_leak(tightness: Tightness) -> bool {
    words::is_leak(tightness)
}

/// Whether air passes.
#[must_use]
pub fn passage(passage: Passage) -> &'static str {
    words::passage(passage)
}

/// Whether the mould may go to the press.
#[must_use]
pub fn fitness(fit: Fitness) -> &'static str {
    words::fitness(fit)
}

/// What to do next.
#[must_use]
pub fn next_step(step: NextStep) -> &'static str {
    words::next_step(step)
}

/// What is wrong with hoses.
#[must_use]
pub fn hose_slip(slip: HookUpSlip) -> &'static str {
    words::hose_slip(slip)
}

/// What is known of the rig.
#[must_use]
pub fn rig_verdict(verdict: RigVerdict) -> &'static str {
    words::rig_verdict(verdict)
}

/// Half and what it cools.
#[must_use]
pub fn place_in_mould(circuit: &CircuitFinding) -> String {
    words::place_in_mould(circuit)
}

/// Per cent with its interval.
#[must_use]
pub fn percent(estimate: &Estimate) -> String {
    number::percent(estimate)
}

/// An estimate in few digits with its unit.
#[must_use]
pub fn amount(estimate: &Estimate, unit: &str) -> String {
    number::estimate_with_unit(estimate, unit)
}

/// A probability.
#[must_use]
pub fn probability(value: f64) -> String {
    number::probability(value)
}

/// An exact number in up to four digits, without unit.
#[must_use]
pub fn exact(value: f64) -> String {
    number::plain(value)
}

/// Lowest and highest value in up to three digits with their unit: `5.2 to 6 bar`, or one number where they are the same
/// on paper.
#[must_use]
pub fn span((low, high): (f64, f64), unit: &str) -> String {
    let [low, high] =
        [low, high].map(|value| number::plain(number::at_place(value, -1).parse().unwrap_or(value)));
    if low == high {
        number::with_unit(&low, unit)
    } else {
        number::with_unit(&format!("{low} to {high}"), unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_eye_has_the_colours_of_the_sheet() {
        let colours = EYE_STYLE.split('#').skip(1).filter_map(|rest| rest.get(..6));
        for colour in colours {
            assert!(crate::STYLE.contains(&format!("#{colour};")), "{colour}");
        }
    }

    #[test]
    fn a_span_of_one_value_is_one_value() {
        assert_eq!(span((6.0, 6.02), "bar"), "6\u{202f}bar");
        assert_eq!(span((5.25, 6.0), "bar"), "5.2 to 6\u{202f}bar");
    }
}
