//! Calculator: what earlier visits let expect of a bore today.

use super::{Answer, Calculator, Output};
use crate::estimate::{Estimate, Uncertain, Z95};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::infer::bore::Prior;
use crate::infer::history::form::{DONE, NAMES, STATE, done, states};
use crate::infer::history::{Done, Earlier, Found, HistoryError, States, past, states_of};
use crate::numeric::math;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&BORE_HISTORY];

static EARLIER: Kind = Kind::Record(&[
    Field::required("days_ago", Kind::Number { low: 0.0, high: 40_000.0 }, "days since then"),
    Field::optional(
        "state",
        STATE,
        "probabilities found; those left out share what is left to 1; none: only something was done",
    ),
    Field::optional("state_before", STATE, "the same before those readings; as of any circuit if left out"),
    Field::optional("deposit_thickness_mm", Kind::POSITIVE, "thickness of the layer, if there was one"),
    Field::preset(
        "deposit_thickness_uncertainty_mm",
        Kind::NOT_NEGATIVE,
        Preset::Number(0.1),
        "its standard uncertainty",
    ),
    Field::optional("done", DONE, "what was done afterwards, in order"),
]);

static BORE_HISTORY: Calculator = Calculator {
    name: "bore-history",
    title: "What earlier visits say of a bore",
    text: "Probabilities of the states of a bore before any reading of today: earlier findings weigh them, what was done \
           moves them, and over the time between deposits grow and narrow places form. A share always stays what is \
           expected of any circuit, so that no past locks the answer. Rates, successes and shares are our own choice.",
    inputs: &[
        Field::required("earlier", Kind::List { of: &EARLIER, least: 1 }, "earlier days, in any order"),
        Field::optional("done_today", DONE, "what has been done today before the readings"),
        Field::optional("any_circuit", STATE, "probabilities for a circuit of which nothing is known"),
    ],
    outputs: &[
        Output { name: "probabilities", text: "of the states today, before any reading" },
        Output { name: "believed", text: "the same if the whole record were believed" },
        Output { name: "fresh_share", text: "share of the probabilities that is that of any circuit" },
        Output {
            name: "layer_mm",
            text: "expected thickness of a layer; null where none was read since the last cleaning",
        },
    ],
    sources: &["rabiner-1989", "norris-1997", "harvey-1989", "kass-raftery-1995"],
    run,
};

/// Probabilities for any circuit: as given, else those of the judgement for a circuit without a split.
fn any_circuit(input: Input<'_>) -> Result<States, Box<Fault>> {
    let usual = states_of(&Prior::default(), false);
    input.get("any_circuit").map_or(Ok(usual), |given| states(given, &usual, "any_circuit"))
}

fn earlier(day: Input<'_>, fresh: &States, field: &str) -> Result<Earlier, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut read = |name: &str| {
        let given = day.get(name)?;
        states(given, fresh, &format!("{field}.{name}")).map_err(|fault| faults.push(*fault)).ok()
    };
    let (seen, before) = (read("state"), read("state_before"));
    let thickness_mm = day
        .optional_number("deposit_thickness_mm")
        .map(|value| Uncertain::new(value, day.number("deposit_thickness_uncertainty_mm")));
    for name in ["state_before", "deposit_thickness_mm"] {
        if day.has(name) && !day.has("state") {
            let problem = "this belongs to a state, and none is given";
            faults.push(Fault::new(format!("{field}.{name}"), problem, "give state, or leave this out"));
        }
    }
    let done = done_in(day, "done", &format!("{field}.done")).map_err(|fault| faults.push(*fault));
    match (done, faults.is_empty()) {
        (Ok(done), true) => Ok(Earlier {
            days_ago: day.number("days_ago"),
            found: seen.map(|states| Found { states, before, thickness_mm }),
            done,
        }),
        _ => Err(faults),
    }
}

fn done_in(input: Input<'_>, name: &str, field: &str) -> Result<Vec<Done>, Box<Fault>> {
    input.get(name).map_or(Ok(Vec::new()), |list| done(list, field))
}

fn run(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut faults = Vec::new();
    let fresh = any_circuit(input).map_err(|fault| faults.push(*fault)).ok();
    let today = done_in(input, "done_today", "done_today").map_err(|fault| faults.push(*fault)).ok();
    let usual = states_of(&Prior::default(), false);
    let mut days = Vec::new();
    for (at, day) in input.records("earlier").enumerate() {
        match earlier(day, fresh.as_ref().unwrap_or(&usual), &format!("earlier.{at}")) {
            Ok(day) => days.push(day),
            Err(found) => faults.extend(found),
        }
    }
    let (Some(fresh), Some(today), true) = (fresh, today, faults.is_empty()) else { return Err(faults) };
    let past = past(&days, &fresh, &today).map_err(|error| {
        let field = match &error {
            HistoryError::Earlier { place, .. } => format!("earlier.{place}"),
            HistoryError::Fresh(_) => "any_circuit".to_owned(),
        };
        vec![Fault::new(field, error.to_string(), "check the numbers of this day")]
    })?;
    let layer = past.layer_ln_mm.map(|(mean, sd)| Estimate {
        value: math::exp(mean),
        low: math::exp(mean - Z95 * sd),
        high: math::exp(mean + Z95 * sd),
        coverage: 0.95,
    });
    Ok(Answer::new()
        .with("probabilities", record(&past.expected))
        .with("believed", record(&past.believed))
        .with("fresh_share", past.fresh_share)
        .with("layer_mm", layer))
}

fn record(states: &States) -> Value {
    Value::record(NAMES.into_iter().zip(states).map(|(name, p)| (name, Value::from(*p))))
}
