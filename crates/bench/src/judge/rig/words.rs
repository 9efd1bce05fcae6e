//! What is known of the rig, in words.

use calc::readings::rig_check::{Instrument, InstrumentState, NextReading, RigState, Trust};

use super::shown;
use crate::finding::{Warning, sentence};
use crate::rig::MovedAlike;

/// What to do first where nothing of the rig was checked.
pub(super) const FIRST_CHECK: &str = "Join the hoses without the mould and read flow and both gauges; catch the water in a bucket beside the meter";

/// The further reading, as a phrase that begins a sentence.
pub(super) fn next(reading: NextReading) -> String {
    sentence(reading.text()).trim_end_matches('.').to_owned()
}

/// A signed number as 'so much too much' or 'too little'.
pub(super) fn too_much(percent: f64, digits: usize) -> String {
    let word = if percent < 0.0 { "too little" } else { "too much" };
    format!("{:.digits$} % {word}", percent.abs())
}

/// The first sentence of a rig that drifted.
pub(super) fn drifted(state: &RigState, corrected: bool) -> String {
    let names: Vec<&str> = state
        .instruments
        .iter()
        .filter(|one| one.trust() == Trust::Drifted)
        .map(|one| one.instrument.name())
        .collect();
    let who = if names.is_empty() {
        format!("Something on the rig is not as its file states (readings like these: {})", chance(state))
    } else {
        format!("Not as the rig's file states: {}", names.join(", "))
    };
    let then = if corrected {
        "the flows of this visit were corrected"
    } else {
        "the flows of this visit count with a wider uncertainty"
    };
    format!("{who}; {then}.")
}

fn chance(state: &RigState) -> String {
    if state.fit_probability < 0.001 {
        "less than one in a thousand".to_owned()
    } else {
        format!("{:.1} %", 100.0 * state.fit_probability)
    }
}

/// Everything worth a sentence.
pub(super) fn sentences(
    state: Option<&RigState>,
    correction: Option<(f64, f64)>,
    alike: Option<&MovedAlike>,
) -> Vec<String> {
    let mut said = Vec::new();
    for one in state.iter().flat_map(|state| &state.instruments).filter(|one| one.checked) {
        said.extend(about(one));
    }
    if let Some(state) = state {
        let named = state.instruments.iter().any(|one| one.trust() == Trust::Drifted);
        if state.trust == Trust::Drifted && !named {
            said.push(drifted(state, false));
        }
        let open = |instrument: Instrument| state.of(instrument).is_some_and(|one| one.drifted > 0.2);
        let pairs: Vec<String> = state
            .inseparable
            .iter()
            .filter(|(a, b)| open(*a) || open(*b))
            .map(|(a, b)| format!("{} from {}", a.name(), b.name()))
            .collect();
        if !pairs.is_empty() {
            said.push(format!("These readings cannot tell {}.", pairs.join(", ")));
        }
    }
    if let Some((factor, _)) = correction {
        said.push(format!(
            "Fixture run and bucket agree on the meter: the flows of this visit were divided by {factor:.3}."
        ));
    }
    said.extend(alike.map(all_alike));
    said
}

/// One error, where it is known to be more or to be no more than was stated.
fn about(one: &InstrumentState) -> Option<String> {
    let (unit, error) = shown(one);
    let digits = if unit == "bar" { 3 } else { 1 };
    let range = format!("({:.digits$} to {:.digits$} {unit})", error.low, error.high);
    let name = sentence(one.instrument.name());
    let name = name.trim_end_matches('.');
    match (one.trust(), one.instrument) {
        (Trust::CannotTell, _) => None,
        (Trust::Sound, Instrument::Meter) => {
            Some(format!("{name} as stated: error {:.digits$} {unit} {range}.", error.value))
        }
        (Trust::Sound, Instrument::Hoses) => {
            Some(format!("{name} as stated: flow factor off by {:.digits$} {unit} {range}.", error.value))
        }
        (Trust::Sound, _) => None,
        (Trust::Drifted, Instrument::Meter) => {
            Some(format!("{name} shows {} {range}, more than its file states.", too_much(error.value, 1)))
        }
        (Trust::Drifted, Instrument::Hoses) => {
            let less = if error.value < 0.0 { "less" } else { "more" };
            Some(format!(
                "{name} let {:.1} % {less} through than the rig's file states {range}.",
                error.value.abs()
            ))
        }
        (Trust::Drifted, _) => Some(format!(
            "{name} is off by {:.digits$} {unit} {range}, more than its file states.",
            error.value
        )),
    }
}

fn all_alike(alike: &MovedAlike) -> String {
    format!(
        "{} circuits moved alike, by {:+.1} % against their baselines ({:+.1} to {:+.1} %): the rig with a probability of {:.0} %.",
        alike.circuits.len(),
        alike.flow_percent.value - 100.0,
        alike.flow_percent.low - 100.0,
        alike.flow_percent.high - 100.0,
        100.0 * alike.probability
    )
}

/// One warning for each circuit that moved with the others.
pub(super) fn alike_warnings(alike: &MovedAlike) -> Vec<Warning> {
    let text = format!(
        "all {} circuits moved alike: check the rig (fixture run or bucket) before treating",
        alike.circuits.len()
    );
    alike.circuits.iter().map(|id| Warning::about(id, "moved-alike", text.clone())).collect()
}
