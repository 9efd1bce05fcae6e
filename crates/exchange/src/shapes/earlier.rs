//! A circuit's past in a mould file: `[[circuit.earlier]]`.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::{Earlier, EarlierFound};
use calc::estimate::Uncertain;
use calc::form::{Fault, Field, Input, Kind, Value};
use calc::infer::bore::Prior;
use calc::infer::history::form::{self, DONE, NAMES, STATE};
use calc::infer::history::states_of;

use super::{Found, dates, number, sparse, text};

/// Standard uncertainty of a thickness where the file gives none, relative.
const THICKNESS_RELATIVE: f64 = 0.25;

/// One day.
pub static EARLIER: &[Field] = &[
    Field::required("date", Kind::Text, "day, YYYY-MM-DD"),
    Field::optional("visit", Kind::Text, "name of the visit"),
    Field::optional(
        "state",
        STATE,
        "probabilities found, 0 to 1; states left out share what is left; none if only something was done",
    ),
    Field::optional(
        "state_before",
        STATE,
        "the same before the readings of that day (`state_before` of its findings); as of any circuit if left out",
    ),
    Field::optional("deposit_thickness_mm", Kind::POSITIVE, "thickness of the layer, if there was one"),
    Field::optional(
        "deposit_thickness_uncertainty_mm",
        Kind::POSITIVE,
        "its standard uncertainty; a quarter of it if left out",
    ),
    Field::optional("done", DONE, "what was done after the readings, in order; nothing if left out"),
    Field::optional("remark", Kind::Text, "with what it was treated, or anything else, in own words"),
];

/// What no single field shows; works on a value that the check of fields may have refused.
pub fn meaning(circuit: &Value, path: &str, found: &mut Found) {
    let days = circuit.get("earlier").map(Value::items).unwrap_or_default();
    for (at, day) in days.iter().enumerate() {
        let path = format!("{path}.earlier.{at}");
        if let Some(Err(fault)) = text(day, "date").map(dates::date) {
            found.fault(fault.under("date").under(&path));
        }
        let any = states_of(&Prior::default(), false);
        for name in ["state", "state_before"] {
            let record = day.get(name).filter(|record| matches!(record, Value::Record(_)));
            if let Some(Err(fault)) = record.map(|record| form::states(record, &any, name)) {
                found.fault(fault.under(&path));
            }
        }
        if let Some(Err(fault)) = day.get("done").map(|list| form::done(list, "done")) {
            found.fault(fault.under(&path));
        }
        belongings(day, &path, found);
        let same = |other: &&Value| text(other, "date") == text(day, "date") && text(day, "date").is_some();
        if days.iter().take(at).any(|other| same(&other)) {
            let hint = "put what was found and what was done that day into one entry";
            let fault = Fault::new("date", "another entry of this circuit has this day", hint);
            found.fault(fault.with_value(text(day, "date").unwrap_or_default()).under(&path));
        }
    }
}

fn belongings(day: &Value, path: &str, found: &mut Found) {
    let given = |name: &str| day.get(name).is_some();
    let needs = [
        ("state_before", "state"),
        ("deposit_thickness_mm", "state"),
        ("deposit_thickness_uncertainty_mm", "deposit_thickness_mm"),
    ];
    for (name, value) in needs {
        if given(name) && !given(value) {
            let problem = format!("{value} is missing, and this belongs to it");
            found.fault(Fault::new(name, problem, format!("give {value}, or leave this out")).under(path));
        }
    }
    let done = day.get("done").map(Value::items).unwrap_or_default();
    if !given("state") && done.iter().all(|word| word.as_text() == Some("nothing")) {
        let hint = "give state, or done, or leave this day out";
        found.fault(Fault::new("state", "nothing was found and nothing done on this day", hint).under(path));
    }
}

/// The past of a circuit whose file [`meaning`] has accepted.
pub fn earlier(circuit: Input<'_>) -> Vec<Earlier> {
    circuit.records("earlier").filter_map(day).collect()
}

fn day(input: Input<'_>) -> Option<Earlier> {
    let record = input.value();
    let words = |name: &str| text(record, name).map(str::to_owned);
    let thickness_mm = number(record, "deposit_thickness_mm").map(|thickness| {
        let given = number(record, "deposit_thickness_uncertainty_mm");
        Uncertain::new(thickness, given.unwrap_or(THICKNESS_RELATIVE * thickness))
    });
    Some(Earlier {
        date: dates::date(text(record, "date")?).ok()?,
        visit: words("visit"),
        found: record.get("state").map(|state| EarlierFound {
            state: named(state),
            before: record.get("state_before").map(named).unwrap_or_default(),
            thickness_mm,
        }),
        done: record.get("done").and_then(|list| form::done(list, "done").ok()).unwrap_or_default(),
        remark: words("remark"),
    })
}

/// Probabilities by state, of those that are named.
pub(crate) fn named(record: &Value) -> BTreeMap<BoreState, f64> {
    let named = BoreState::ALL.into_iter().zip(form::named(record));
    named.filter_map(|(state, probability)| Some((state, probability?))).collect()
}

/// The past as it is written.
pub(crate) fn earlier_value(days: &[Earlier]) -> Value {
    if days.is_empty() { Value::Null } else { Value::List(days.iter().map(day_value).collect()) }
}

fn day_value(day: &Earlier) -> Value {
    let states = |named: &BTreeMap<BoreState, f64>| {
        let words = BoreState::ALL.into_iter().zip(NAMES);
        let fields: Vec<(&str, Value)> =
            words.filter_map(|(state, name)| Some((name, Value::Number(*named.get(&state)?)))).collect();
        if fields.is_empty() { Value::Null } else { Value::record(fields) }
    };
    let found = day.found.as_ref();
    let thickness = found.and_then(|found| found.thickness_mm);
    let done: Vec<Value> = day.done.iter().map(|done| done.word().into()).collect();
    sparse([
        ("date", day.date.to_string().into()),
        ("visit", day.visit.clone().into()),
        ("state", found.map_or(Value::Null, |found| states(&found.state))),
        ("state_before", found.map_or(Value::Null, |found| states(&found.before))),
        ("deposit_thickness_mm", thickness.map(|layer| layer.value).into()),
        ("deposit_thickness_uncertainty_mm", thickness.map(|layer| layer.standard).into()),
        ("done", if done.is_empty() { Value::Null } else { done.into() }),
        ("remark", day.remark.clone().into()),
    ])
}
