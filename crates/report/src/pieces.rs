//! Small pieces for pages: numbers, words and signs as the sheet writes them.

use bench::finding::{CircuitFinding, Fitness, Gate, NextStep};
use calc::estimate::Estimate;
use maud::{Markup, html};

use crate::{number, symbol, words};

pub use crate::words::{capital, counted, moment, printable};

/// The bore eye of a circuit.
#[must_use]
pub fn bore_eye(circuit: &CircuitFinding) -> Markup {
    crate::bore_eye::bore_eye(circuit, "eye")
}

/// What the bore looks like, in a few words.
#[must_use]
pub fn bore_in_short(circuit: &CircuitFinding) -> String {
    if circuit.passage == bench::finding::Passage::Blocked {
        return words::passage(circuit.passage).to_owned();
    }
    words::state_in_short(circuit)
}

/// Whether the circuit holds air, in words.
#[must_use]
pub fn tightness(circuit: &CircuitFinding) -> String {
    words::tightness(circuit)
}

/// Whether the mould may go to the press: sign and word.
#[must_use]
pub fn fitness(fitness: Fitness) -> Markup {
    let tone = match fitness {
        Fitness::Yes => "plain",
        Fitness::No => "alarm",
        Fitness::CannotTell => "care",
    };
    html! { span class={ "said step-word " (tone) } { (symbol::fitness(fitness)) (words::capital(words::fitness(fitness))) } }
}

/// What to do next with a circuit: sign and word.
#[must_use]
pub fn next_step(step: NextStep) -> Markup {
    let tone = crate::sheet::step_tone(step);
    html! { span class={ "said step-word " (tone) } { (symbol::next_step(step)) (words::capital(words::next_step(step))) } }
}

/// Whether a step is allowed, with the reason.
#[must_use]
pub fn gate(gate: &Gate) -> Markup {
    html! {
        span class={ "said step-word " (words::gate_tone(gate)) } {
            (symbol::gate(gate.open)) (words::gate(gate))
        }
        @if !gate.reason.is_empty() { span.under { (gate.reason) } }
    }
}

/// Sign of a caution.
#[must_use]
pub fn caution() -> Markup {
    symbol::caution()
}

/// Per cent with its interval: `66 % (61 to 71)`.
#[must_use]
pub fn percent(estimate: &Estimate) -> String {
    number::percent(estimate)
}

/// An estimate in few digits, with its unit if it has one.
#[must_use]
pub fn amount(estimate: &Estimate, unit: &str) -> String {
    if unit.is_empty() { number::estimate(estimate) } else { number::estimate_with_unit(estimate, unit) }
}

/// An exact number in up to four digits, with its unit if it has one.
#[must_use]
pub fn exact(value: f64, unit: &str) -> String {
    let text = number::plain(value);
    if unit.is_empty() { text } else { number::with_unit(&text, unit) }
}
