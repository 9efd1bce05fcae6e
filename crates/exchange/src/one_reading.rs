//! One reading or treatment by itself, as a page asks for it: the fields and rules of the visit file.

use std::collections::{BTreeMap, BTreeSet};

use bench::mould::{CircuitId, MouldId};
use bench::visit::{Entry, HookUp, Rig};
use calc::form::{self, Fault, Field, Kind, Value};
use calc::trace::Trace;

use crate::csv::{self, Quantity};
use crate::shapes::Found;
use crate::shapes::section;
use crate::shapes::visit::{Belongings, visit};
use crate::shapes::visit_meaning::{Around, TraceUse, TraceWanted, meaning};
use crate::trace_json;

pub use crate::shapes::reading::{READING, TREATMENT};

/// What is known around a reading.
#[derive(Clone, Copy, Debug)]
pub struct Bench<'a> {
    /// The mould.
    pub mould: &'a MouldId,
    /// Its circuits.
    pub circuits: &'a [CircuitId],
    /// The rig.
    pub rig: &'a Rig,
    /// Which circuit is on which port.
    pub hook_ups: &'a [HookUp],
    /// When it is entered.
    pub at: jiff::Timestamp,
}

/// A reading or a treatment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    /// One item of `[[reading]]`.
    Reading,
    /// One item of `[[treatment]]`.
    Treatment,
}

/// What was read of it.
#[derive(Clone, Debug, PartialEq)]
pub struct OneReading {
    /// The entry; its place is empty.
    pub entry: Entry,
    /// What the reader should know.
    pub notices: Vec<String>,
}

static FIELDS: &[Field] = &[
    Field::required("visit", Kind::Record(&[Field::required("started", Kind::Text, "when")]), "the visit"),
    Field::optional("reading", Kind::List { of: &READING, least: 1 }, "the reading"),
    Field::optional("treatment", Kind::List { of: &Kind::Record(TREATMENT), least: 1 }, "the treatment"),
    Field::optional("hook_up", Kind::List { of: &Kind::Map(&Kind::Text), least: 0 }, "hook-up"),
];

/// Reads one item. Where it names a trace, the trace's text is given here in place of a file.
///
/// # Errors
/// Everything that is wrong with it, under the names of its fields.
pub fn read(
    bench: Bench<'_>,
    list: List,
    item: Value,
    trace_text: Option<&str>,
) -> Result<OneReading, Vec<Fault>> {
    read_with(bench, list, item, |_| trace_text)
}

/// The same for an item that may name several traces: `text` gives the text of each by its name.
///
/// # Errors
/// Everything that is wrong with it, under the names of its fields; what is wrong inside a trace under the field that
/// names it.
pub fn read_with<'t>(
    bench: Bench<'_>,
    list: List,
    item: Value,
    text: impl Fn(&str) -> Option<&'t str>,
) -> Result<OneReading, Vec<Fault>> {
    read_by(bench, list, item, |wanted| trace(text(&wanted.name).unwrap_or_default(), wanted, bench.rig))
}

/// Reads one item whose traces stand in it as arrays ([`trace_json::TRACE`]) in place of the names of files.
///
/// # Errors
/// Everything that is wrong with it, under the names of its fields.
pub fn read_with_arrays(bench: Bench<'_>, list: List, mut item: Value) -> Result<OneReading, Vec<Fault>> {
    let (mut traces, mut faults) = (BTreeMap::new(), Vec::new());
    trace_json::taken_out(&mut item, "", &mut traces, &mut faults);
    let named: BTreeSet<String> = faults.iter().map(|fault| fault.field.clone()).collect();
    let read = read_by(bench, list, item, |wanted| match traces.get(&wanted.name) {
        Some(trace) if has(trace, wanted.needed) => Ok((trace.clone(), Vec::new())),
        Some(_) => {
            let column = if wanted.needed == TraceUse::Flow { "flow_l_min" } else { "pressure_bar_g" };
            let field = format!("{}.{column}", wanted.name);
            Err(vec![Fault::new(field, "missing", format!("give {column}: this trace is for it"))])
        }
        // What is wrong with it was said where it was taken out.
        None => Err(Vec::new()),
    });
    match read {
        Ok(read) if faults.is_empty() => Ok(read),
        Ok(_) => Err(faults),
        Err(more) => {
            faults.extend(more.into_iter().filter(|fault| !named.contains(&fault.field)));
            Err(faults)
        }
    }
}

const fn has(trace: &Trace, needed: TraceUse) -> bool {
    match needed {
        TraceUse::Pressure => trace.pressure_bar_g.is_some(),
        TraceUse::Flow => trace.flow_l_min.is_some(),
    }
}

/// A reading or treatment with the fields of the visit file, its traces as arrays.
#[must_use]
pub fn written(entry: &Entry) -> (List, Value) {
    let (section, traces) = section(entry);
    let list = if section.name == "treatment" { List::Treatment } else { List::Reading };
    let mut fields = section.fields;
    put_in(&mut fields, &traces);
    (list, fields)
}

/// Puts traces in place of their names.
fn put_in(value: &mut Value, traces: &[(String, Trace)]) {
    match value {
        Value::Record(fields) => {
            for (name, inner) in fields {
                let named = inner.as_text().filter(|_| name == "trace");
                let found = named.and_then(|text| traces.iter().find(|(known, _)| known == text));
                match found {
                    Some((_, trace)) => *inner = trace_json::value(trace),
                    None => put_in(inner, traces),
                }
            }
        }
        Value::List(items) => items.iter_mut().for_each(|item| put_in(item, traces)),
        _ => {}
    }
}

fn read_by(
    bench: Bench<'_>,
    list: List,
    item: Value,
    trace_of: impl Fn(&TraceWanted) -> Result<Read, Vec<Fault>>,
) -> Result<OneReading, Vec<Fault>> {
    let name = if list == List::Reading { "reading" } else { "treatment" };
    let prefix = format!("{name}.0");
    let started = Value::record([("started", Value::from(bench.at.to_string()))]);
    let file = Value::record([("visit", started), (name, Value::List(vec![item]))]);
    let checked = form::check(FIELDS, &file);
    let mut found = Found::default();
    let vessel = bench.rig.reference_volume.is_some();
    let around = Around {
        circuits: Some(bench.circuits.iter().map(|id| id.0.as_str()).collect::<BTreeSet<_>>()),
        reference_volume: Some(vessel),
        reservoir: Some(vessel || bench.rig.reservoir_volume.is_some()),
    };
    let wanted = meaning(&with_hook_ups(file, bench.hook_ups), &around, &mut found);
    let mut faults = checked.as_ref().err().cloned().unwrap_or_default();
    for fault in found.faults {
        if !faults.iter().any(|known| known.field == fault.field) {
            faults.push(fault);
        }
    }
    let mut notices: Vec<String> = found.notices.into_iter().map(|(_, _, text)| text).collect();
    let mut traces = BTreeMap::new();
    let count = wanted.len();
    for wanted in wanted {
        match trace_of(&wanted) {
            Ok((trace, remarks)) => {
                notices.extend(remarks);
                traces.insert(wanted.path, trace);
            }
            Err(more) => faults.extend(more),
        }
    }
    let complete = traces.len() == count;
    let (true, Ok(filled), true) = (faults.is_empty(), checked, complete) else {
        return Err(faults.into_iter().map(|fault| beneath(fault, &prefix)).collect());
    };
    let belongings = Belongings {
        file: "",
        mould: bench.mould.clone(),
        rig: bench.rig.clone(),
        traces,
        lines: BTreeMap::new(),
    };
    let entry = visit(&filled, belongings).and_then(|visit| visit.entries.into_iter().next());
    let strange = || vec![Fault::new("", "the reading does not fit together", "look at every field again")];
    entry
        .map(|entry| OneReading { entry: Entry { place: String::new(), ..entry }, notices })
        .ok_or_else(strange)
}

/// The hook-ups beside the item: a reading of a circuit that was not hooked up is worth a notice.
fn with_hook_ups(file: Value, hook_ups: &[HookUp]) -> Value {
    let item = |hook_up: &HookUp| Value::record([("circuit", Value::from(hook_up.circuit.0.as_str()))]);
    // A circuit that was moved to another port counts once: the stages are told apart by the record, not here.
    let once: BTreeSet<&CircuitId> = hook_ups.iter().map(|hook_up| &hook_up.circuit).collect();
    let items =
        once.iter().filter_map(|id| hook_ups.iter().find(|hook_up| hook_up.circuit == **id)).map(item);
    let mut fields = match file {
        Value::Record(fields) => fields,
        _ => Vec::new(),
    };
    fields.push(("hook_up".to_owned(), Value::List(items.collect())));
    Value::Record(fields)
}

type Read = (Trace, Vec<String>);

fn trace(text: &str, wanted: &TraceWanted, rig: &Rig) -> Result<Read, Vec<Fault>> {
    let options = csv::Wanted {
        columns: wanted.columns.clone(),
        usual_columns: BTreeMap::new(),
        needed: match wanted.needed {
            TraceUse::Pressure => Quantity::Pressure,
            TraceUse::Flow => Quantity::Flow,
        },
        atmosphere: rig.atmosphere,
    };
    match csv::read_trace(&mut text.as_bytes(), &options) {
        Ok((trace, remarks)) => Ok((trace, remarks.into_iter().map(|remark| remark.text).collect())),
        Err(faults) => Err(faults.into_iter().map(|fault| in_trace(fault, &wanted.path)).collect()),
    }
}

/// A fault of a line of the trace as a fault of the field that holds it.
fn in_trace(fault: csv::TraceFault, path: &str) -> Fault {
    let line = fault.line.map(|line| format!("line {line}: ")).unwrap_or_default();
    Fault { field: format!("{path}.trace"), problem: format!("{line}{}", fault.fault.problem), ..fault.fault }
}

/// The fault under the item's own name of the field.
fn beneath(fault: Fault, prefix: &str) -> Fault {
    let own = fault.field.strip_prefix(prefix).map(|rest| rest.trim_start_matches('.').to_owned());
    match own {
        Some(field) => Fault { field, ..fault },
        None => fault,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::visit::{Decay, What};

    fn at_the_bench<T>(work: impl FnOnce(Bench<'_>) -> T) -> T {
        let (mould, rig) = (MouldId("M".into()), Rig::default());
        let circuits = [CircuitId("F1".into())];
        let at = "2026-11-24T08:40:00Z".parse().expect("a time");
        work(Bench { mould: &mould, circuits: &circuits, rig: &rig, hook_ups: &[], at })
    }

    fn item(fields: &[(&str, Value)]) -> Value {
        Value::record(fields.iter().map(|(name, value)| (*name, value.clone())))
    }

    #[test]
    fn two_readings_of_a_gauge_are_an_entry() {
        let fields = item(&[
            ("kind", "leak-down".into()),
            ("circuit", "F1".into()),
            ("start_bar_g", 6.0.into()),
            ("end_bar_g", 5.9.into()),
            ("seconds", 60.0.into()),
        ]);
        let read = at_the_bench(|bench| read(bench, List::Reading, fields, None)).expect("sound");
        let What::LeakDown(test) = &read.entry.what else { panic!("a leak-down") };
        let Decay::TwoReadings { start, end, .. } = &test.decay else { panic!("read by hand") };
        assert!((start.bar() - 6.0).abs() < 1e-12 && (end.bar() - 5.9).abs() < 1e-12);
    }

    #[test]
    fn every_fault_is_named_at_its_own_field() {
        let fields = item(&[
            ("kind", "flow".into()),
            ("circuit", "F9".into()),
            ("flow_l_min", "plenty".into()),
            ("pressure_in_bar_g", 900.0.into()),
            ("pressure_out_bar_g", 0.0.into()),
        ]);
        let faults = at_the_bench(|bench| read(bench, List::Reading, fields, None)).expect_err("four faults");
        let mut names: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        names.sort_unstable();
        assert_eq!(names, ["circuit", "flow_l_min", "pressure_in_bar_g", "water_temperature_deg_c"]);
    }

    #[test]
    fn a_pasted_trace_is_read_and_its_faults_are_the_fields() {
        let fields = |trace: &str| {
            item(&[("kind", "leak-down".into()), ("circuit", "F1".into()), ("trace", trace.into())])
        };
        let text = "time_s,pressure_bar_g\n0,6.0\n10,5.99\n20,5.98\n";
        let good = at_the_bench(|bench| read(bench, List::Reading, fields("pasted"), Some(text)));
        assert!(matches!(good.expect("sound").entry.what, What::LeakDown(_)));
        let bad = at_the_bench(|bench| read(bench, List::Reading, fields("pasted"), Some("time_s,x\n0,1\n")));
        assert!(bad.expect_err("no pressure").iter().all(|fault| fault.field == "trace"));
    }

    #[test]
    fn each_trace_of_a_cross_watch_is_its_own() {
        let watched = Value::List(vec![item(&[("circuit", "F1".into()), ("trace", "b".into())])]);
        let fields = item(&[
            ("kind", "cross-watch".into()),
            ("circuit", "F2".into()),
            ("trace", "a".into()),
            ("watched", watched),
        ]);
        let (mould, rig) = (MouldId("M".into()), Rig::default());
        let circuits = [CircuitId("F1".into()), CircuitId("F2".into())];
        let at = "2026-11-24T08:40:00Z".parse().expect("a time");
        let bench = Bench { mould: &mould, circuits: &circuits, rig: &rig, hook_ups: &[], at };
        let good = "time_s,pressure_bar_g\n0,6.0\n10,5.99\n20,5.98\n";
        let texts = |second: &'static str| {
            move |name: &str| match name {
                "a" => Some(good),
                "b" => Some(second),
                _ => None,
            }
        };
        let read = |second| read_with(bench, List::Reading, fields.clone(), texts(second));
        assert!(matches!(read(good).expect("sound").entry.what, What::CrossWatch(_)));
        let faults = read("time_s,x\n0,1\n").expect_err("no pressure");
        assert!(faults.iter().all(|fault| fault.field == "watched.0.trace"), "{faults:?}");
    }
}
