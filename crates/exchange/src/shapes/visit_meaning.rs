//! What no single field of a visit file shows: circuits that do not exist, half a pair of readings, two of one.

use std::collections::{BTreeMap, BTreeSet};

use calc::form::{Fault, Value};

use super::mould::unknown_circuit;
use super::{Found, dates, number, text, texts};

/// What a trace is for: which column it must have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TraceUse {
    /// A pressure that falls.
    Pressure,
    /// A flow.
    Flow,
}

/// A trace that a visit file names.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceWanted {
    /// Path of the reading or watched circuit that names it.
    pub path: String,
    /// Name of the file.
    pub name: String,
    /// What its columns hold, where the visit file says so.
    pub columns: BTreeMap<String, String>,
    /// Which column it must have.
    pub needed: TraceUse,
}

/// What is known of the files that a visit file names.
#[derive(Debug, Default)]
pub struct Around<'a> {
    /// Ids of the mould's circuits; nothing if the mould file could not be read.
    pub circuits: Option<BTreeSet<&'a str>>,
    /// Whether the rig has a vessel of known volume; nothing if the rig's file could not be read.
    pub reference_volume: Option<bool>,
    /// Whether the rig has a vessel that can empty through a circuit; nothing if the rig's file could not be read.
    pub reservoir: Option<bool>,
}

/// Checks the meaning; answers the traces that the readings name.
///
/// Works on a value that the check of fields may have refused, so that all faults are reported together.
pub fn meaning(file: &Value, around: &Around<'_>, found: &mut Found) -> Vec<TraceWanted> {
    let mut wanted = Vec::new();
    let started = file.get("visit").and_then(|visit| text(visit, "started"));
    moment(started, "visit.started", found);
    hook_ups(file, around, found);
    for list in ["reading", "treatment"] {
        for (at, item) in file.get(list).map(Value::items).unwrap_or_default().iter().enumerate() {
            let path = format!("{list}.{at}");
            moment(text(item, "at"), &format!("{path}.at"), found);
            known_circuit(item, &path, around, found);
            if list == "reading" {
                reading(item, &path, around, found, &mut wanted);
                not_hooked_up(file, item, &path, found);
            }
        }
    }
    early_entries(file, started, found);
    wanted
}

fn moment(moment: Option<&str>, path: &str, found: &mut Found) {
    if let Some(Err(fault)) = moment.map(dates::timestamp) {
        found.fault(fault.under(path));
    }
}

/// Times before the visit began are likely slips of the pen, but prove nothing.
fn early_entries(file: &Value, started: Option<&str>, found: &mut Found) {
    let Some(Ok(started)) = started.map(dates::timestamp) else { return };
    for list in ["reading", "treatment"] {
        for (at, item) in file.get(list).map(Value::items).unwrap_or_default().iter().enumerate() {
            if let Some(Ok(moment)) = text(item, "at").map(dates::timestamp)
                && moment < started
            {
                let text = format!("this {list} is dated before the visit began");
                found.notice("before-start", format!("{list}.{at}.at"), text);
            }
        }
    }
}

fn check_id(id: Option<&str>, path: String, around: &Around<'_>, found: &mut Found) {
    if let (Some(id), Some(ids)) = (id, &around.circuits)
        && !ids.contains(id)
    {
        found.fault(unknown_circuit(path, id, ids));
    }
}

fn known_circuit(item: &Value, path: &str, around: &Around<'_>, found: &mut Found) {
    check_id(text(item, "circuit"), format!("{path}.circuit"), around, found);
}

fn hook_ups(file: &Value, around: &Around<'_>, found: &mut Found) {
    let mut ports = BTreeSet::new();
    let mut circuits = BTreeSet::new();
    for (at, hook_up) in file.get("hook_up").map(Value::items).unwrap_or_default().iter().enumerate() {
        let path = format!("hook_up.{at}");
        known_circuit(hook_up, &path, around, found);
        let stage = number(hook_up, "stage").unwrap_or(1.0).to_bits();
        let hint = "each port and each circuit once; give `stage` where hoses were moved to further circuits";
        if let Some(port) = number(hook_up, "port")
            && !ports.insert((stage, port.to_bits()))
        {
            let fault = Fault::new("port", "this port is hooked up twice", hint);
            found.fault(fault.with_value(port).under(&path));
        }
        if let Some(circuit) = text(hook_up, "circuit")
            && !circuits.insert((stage, circuit))
        {
            let fault = Fault::new("circuit", "this circuit is hooked up twice", hint);
            found.fault(fault.with_value(circuit).under(&path));
        }
    }
}

fn not_hooked_up(file: &Value, item: &Value, path: &str, found: &mut Found) {
    let hook_ups = file.get("hook_up").map(Value::items).unwrap_or_default();
    let Some(circuit) = text(item, "circuit").filter(|_| text(item, "kind") != Some("note")) else { return };
    if !hook_ups.is_empty() && !hook_ups.iter().any(|hook_up| text(hook_up, "circuit") == Some(circuit)) {
        let text = format!("circuit {circuit} has a reading but was not hooked up");
        found.notice("not-hooked-up", format!("{path}.circuit"), text);
    }
}

fn reading(item: &Value, path: &str, around: &Around<'_>, found: &mut Found, wanted: &mut Vec<TraceWanted>) {
    let pressure = |record: &Value, path: &str, wanted: &mut Vec<TraceWanted>| {
        wanted.extend(trace_wanted(record, path, TraceUse::Pressure));
    };
    match text(item, "kind") {
        Some("leak-down") => {
            pressure(item, path, wanted);
            trace_or_pair(item, path, true, found);
        }
        Some("air-passage") => {
            pressure(item, path, wanted);
            trace_or_pair(item, path, true, found);
            let reservoir = text(item, "charged") == Some("reservoir");
            if reservoir && item.get("reservoir_volume_ml").is_none() && around.reservoir == Some(false) {
                let hint = "give reservoir_volume_ml here or in the rig's table";
                found.fault(Fault::new("reservoir_volume_ml", "missing", hint).under(path));
            }
            if !reservoir && item.get("reservoir_volume_ml").is_some() {
                let hint = "give charged = \"reservoir\", or leave this out";
                let problem = "given, but the circuit itself was charged";
                found.fault(Fault::new("reservoir_volume_ml", problem, hint).under(path));
            }
        }
        Some("flow") => {
            wanted.extend(trace_wanted(item, path, TraceUse::Flow));
            flow(item, path, found);
        }
        Some("cross-watch") => {
            pressure(item, path, wanted);
            trace_or_pair(item, path, false, found);
            for (at, watched) in item.get("watched").map(Value::items).unwrap_or_default().iter().enumerate()
            {
                let path = format!("{path}.watched.{at}");
                pressure(watched, &path, wanted);
                trace_or_pair(watched, &path, true, found);
            }
            let also = item.get("also_charged").map(Value::items).unwrap_or_default();
            for (at, charged) in also.iter().enumerate() {
                let path = format!("{path}.also_charged.{at}");
                pressure(charged, &path, wanted);
                trace_or_pair(charged, &path, false, found);
            }
            cross_watch(item, path, around, found);
        }
        Some("volume") => volume(item, path, around, found),
        Some("rig-check") => super::rig_reading::rig_check_meaning(item, path, found),
        Some("bucket") => super::rig_reading::bucket_meaning(item, path, found),
        _ => {}
    }
}

fn trace_wanted(record: &Value, path: &str, needed: TraceUse) -> Option<TraceWanted> {
    let name = text(record, "trace")?.to_owned();
    Some(TraceWanted { path: path.to_owned(), name, columns: columns(record), needed })
}

/// The `columns` table of a reading or of the whole file.
#[must_use]
pub fn columns(record: &Value) -> BTreeMap<String, String> {
    let columns = record.get("columns").map(Value::fields).unwrap_or_default();
    columns.iter().filter_map(|(name, role)| Some((name.clone(), role.as_text()?.to_owned()))).collect()
}

/// A trace, or start, end and time between: one of the two, and the second one whole.
fn trace_or_pair(record: &Value, path: &str, required: bool, found: &mut Found) {
    const PAIR: [&str; 3] = ["start_bar_g", "end_bar_g", "seconds"];
    let missing: Vec<&str> = PAIR.into_iter().filter(|name| record.get(name).is_none()).collect();
    let hint = "give trace, or start_bar_g, end_bar_g and seconds";
    let mut fault = |field: &str, problem: &str| found.fault(Fault::new(field, problem, hint).under(path));
    match (record.get("trace").is_some(), missing.as_slice()) {
        (true, [_, _, _]) | (false, []) => {}
        (true, _) => fault("trace", "given beside readings by hand"),
        (false, [_, _, _]) => {
            if required {
                fault("trace", "neither a trace nor readings by hand");
            }
        }
        (false, missing) => missing.iter().for_each(|name| fault(name, "missing")),
    }
    if record.get("columns").is_some() && record.get("trace").is_none() {
        found.fault(
            Fault::new("columns", "given without a trace", "give trace, or leave this out").under(path),
        );
    }
}

fn flow(item: &Value, path: &str, found: &mut Found) {
    match (item.get("trace").is_some(), item.get("flow_l_min").is_some()) {
        (true, true) => {
            let hint = "give flow_l_min or trace, not both";
            found.fault(Fault::new("flow_l_min", "given beside a trace", hint).under(path));
        }
        (false, false) => {
            found.fault(Fault::new("flow_l_min", "missing", "give flow_l_min, or a trace").under(path));
        }
        _ => {}
    }
    if item.get("columns").is_some() && item.get("trace").is_none() {
        found.fault(
            Fault::new("columns", "given without a trace", "give trace, or leave this out").under(path),
        );
    }
    let flows = number(item, "flow_l_min").unwrap_or(1.0) > 0.0;
    if let (Some(inlet), Some(outlet)) =
        (number(item, "pressure_in_bar_g"), number(item, "pressure_out_bar_g"))
        && flows
        && inlet <= outlet
    {
        let problem = format!("not above pressure_out_bar_g = {outlet}, yet water flows");
        let hint = "are inlet and outlet exchanged?";
        found.fault(Fault::new("pressure_in_bar_g", problem, hint).with_value(inlet).under(path));
    }
}

fn cross_watch(item: &Value, path: &str, around: &Around<'_>, found: &mut Found) {
    let also = item.get("also_charged").map(Value::items).unwrap_or_default();
    let charged: Vec<&str> =
        text(item, "circuit").into_iter().chain(also.iter().filter_map(|one| text(one, "circuit"))).collect();
    for (at, record) in also.iter().enumerate() {
        let place = format!("{path}.also_charged.{at}");
        known_circuit(record, &place, around, found);
        if let Some(id) =
            text(record, "circuit").filter(|id| charged.iter().filter(|one| *one == id).count() > 1)
        {
            let fault = Fault::new("circuit", "charged twice", "give each circuit once");
            found.fault(fault.with_value(id).under(&place));
        }
    }
    for (at, open) in texts(item, "open") {
        let place = format!("{path}.open.{at}");
        check_id(Some(open), place.clone(), around, found);
        if charged.contains(&open) {
            let hint = "a circuit cannot be charged and open";
            found.fault(Fault::new(place, "this is a charged circuit", hint).with_value(open));
        }
    }
    let watched = item.get("watched").map(Value::items).unwrap_or_default();
    for (at, record) in watched.iter().enumerate() {
        let place = format!("{path}.watched.{at}");
        known_circuit(record, &place, around, found);
        let Some(id) = text(record, "circuit") else { continue };
        let mut fault = |problem: &str, hint: &str| {
            found.fault(Fault::new("circuit", problem, hint).with_value(id).under(&place));
        };
        if charged.contains(&id) {
            fault("this is a charged circuit", "put its trace on the reading itself, or under also_charged");
        }
        if texts(item, "open").any(|(_, open)| open == id) {
            fault("this circuit was open", "an open circuit has no pressure to watch");
        }
        if watched.iter().take(at).any(|earlier| text(earlier, "circuit") == Some(id)) {
            fault("watched twice", "give each circuit once");
        }
    }
}

fn volume(item: &Value, path: &str, around: &Around<'_>, found: &mut Found) {
    const AIR: [&str; 4] = ["reference_volume_ml", "reference_bar_g", "circuit_bar_g", "joined_bar_g"];
    const DRAINED: [&str; 4] = ["drained_ml", "drained_g", "water_temperature_deg_c", "uncertainty_ml"];
    let given = |name: &str| item.get(name).is_some();
    let mut fault = |field: &str, problem: &str, hint: &str| {
        found.fault(Fault::new(field, problem, hint).under(path));
    };
    let (method, strange) = match text(item, "method") {
        Some("air-expansion") => ("air-expansion", DRAINED),
        Some("drained") => ("drained", AIR),
        _ => return,
    };
    for name in strange.into_iter().filter(|name| given(name)) {
        fault(name, &format!("does not belong to method {method}"), "leave it out, or change the method");
    }
    if method == "drained" {
        match (given("drained_ml"), given("drained_g"), given("water_temperature_deg_c")) {
            (true, true, _) => fault("drained_g", "given beside drained_ml", "give one of the two"),
            (false, false, _) => fault("drained_ml", "missing", "give drained_ml, or drained_g"),
            (false, true, false) => {
                fault("water_temperature_deg_c", "missing", "weighed water needs it for its density");
            }
            _ => {}
        }
        return;
    }
    for name in ["reference_bar_g", "joined_bar_g"].into_iter().filter(|name| !given(name)) {
        fault(name, "missing", "air expansion needs the pressures before and after joining");
    }
    if !given("reference_volume_ml") && around.reference_volume == Some(false) {
        fault("reference_volume_ml", "missing", "give it here, or reference_volume_ml of the rig");
    }
    let circuit = number(item, "circuit_bar_g").unwrap_or(0.0);
    if let (Some(before), Some(joined)) = (number(item, "reference_bar_g"), number(item, "joined_bar_g")) {
        let between = if before > circuit { circuit < joined && joined < before } else { false };
        if !between {
            let problem = format!("not between the circuit's {circuit} and the known volume's {before}");
            fault("joined_bar_g", &problem, "joined air settles between the two pressures before");
        }
    }
}
