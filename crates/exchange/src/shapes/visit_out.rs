//! A visit as it is written to files: the visit file, and a CSV file for each trace.

use std::collections::BTreeSet;

use bench::mould::CircuitId;
use bench::visit::{
    AirPassage, Charged, CrossWatch, Decay, End, Entry, Flow, FlowReading, HookUp, LeakDown, Others,
    TreatmentKind, Visit, VolumeMethod, VolumeReading, What,
};
use calc::form::Value;
use calc::quantity::{Duration, GaugePressure, Temperature, Volume, VolumeFlow};
use calc::trace::Trace;

use super::visit::FORMAT;
use super::{exactly, rig_value, sparse};
use crate::toml_text::{Section, Sheet};

/// The names of the files beside a visit file.
#[derive(Clone, Copy, Debug)]
pub struct Beside<'a> {
    /// The mould file.
    pub mould: &'a str,
    /// The rig file; the rig is written into the visit file if there is none.
    pub rig: Option<&'a str>,
}

/// The visit file, and the traces with the names under which it finds them.
#[must_use]
pub fn visit_sheet(visit: &Visit, beside: Beside<'_>) -> (Sheet, Vec<(String, Trace)>) {
    let mut head =
        vec![("format".to_owned(), Value::from(FORMAT)), ("mould".to_owned(), Value::from(beside.mould))];
    head.extend(beside.rig.map(|rig| ("rig".to_owned(), Value::from(rig))));
    let about = Value::record([
        ("started", Value::from(visit.started.to_string())),
        ("by", visit.by.as_str().into()),
    ]);
    let mut sections = vec![Section::once("visit", about)];
    if beside.rig.is_none() {
        sections.push(Section::once("rig", rig_value(&visit.rig)));
    }
    sections.extend(hook_ups(&visit.hook_ups));
    let mut traces = Traces::default();
    for (at, entry) in visit.entries.iter().enumerate() {
        traces.prefix = format!("{:02}", at + 1);
        sections.push(section_with(entry, &mut traces));
    }
    (Sheet { head, sections }, traces.files)
}

/// Hook-ups; a port or circuit that comes again begins a further stage.
fn hook_ups(hook_ups: &[HookUp]) -> Vec<Section> {
    let (mut ports, mut circuits) = (BTreeSet::new(), BTreeSet::new());
    let mut stage = 1.0;
    let mut sections = Vec::new();
    for hook_up in hook_ups {
        if ports.contains(&hook_up.port) || circuits.contains(&hook_up.circuit) {
            stage += 1.0;
            ports.clear();
            circuits.clear();
        }
        ports.insert(hook_up.port);
        circuits.insert(&hook_up.circuit);
        let fields = sparse([
            ("port", f64::from(hook_up.port).into()),
            ("circuit", hook_up.circuit.0.as_str().into()),
            ("stage", if stage > 1.0 { stage.into() } else { Value::Null }),
        ]);
        sections.push(Section::repeated("hook_up", fields));
    }
    sections
}

/// Traces gathered under names of their own.
#[derive(Default)]
struct Traces {
    prefix: String,
    files: Vec<(String, Trace)>,
}

impl Traces {
    fn add(&mut self, circuit: Option<&CircuitId>, kind: &str, trace: &Trace) -> Value {
        let plain = |c: char| if c.is_ascii_alphanumeric() || matches!(c, '-' | '_') { c } else { '_' };
        let circuit: String = circuit.map_or("mould", |id| &id.0).chars().map(plain).take(40).collect();
        let stem = format!("{}-{circuit}-{kind}", self.prefix);
        let taken = |name: &str| self.files.iter().any(|(known, _)| known.eq_ignore_ascii_case(name));
        let mut name = format!("{stem}.csv");
        for further in 2.. {
            if !taken(&name) {
                break;
            }
            name = format!("{stem}-{further}.csv");
        }
        self.files.push((name.clone(), trace.clone()));
        name.into()
    }
}

/// One entry as an item of the visit file, and its traces with the names under which it finds them.
pub(crate) fn section(entry: &Entry) -> (Section, Vec<(String, Trace)>) {
    let mut traces = Traces::default();
    let section = section_with(entry, &mut traces);
    (section, traces.files)
}

fn section_with(entry: &Entry, traces: &mut Traces) -> Section {
    let circuit = entry.circuit.as_ref();
    let (list, kind, own) = match &entry.what {
        What::LeakDown(leak) => ("reading", "leak-down", leak_down(leak, circuit, traces)),
        What::AirPassage(passage) => ("reading", "air-passage", air_passage(passage, circuit, traces)),
        What::Flow(reading) => ("reading", "flow", flow(reading, circuit, traces)),
        What::CrossWatch(cross) => ("reading", "cross-watch", cross_watch(cross, circuit, traces)),
        What::Volume(reading) => ("reading", "volume", volume(reading)),
        What::RigCheck(run) => ("reading", "rig-check", super::rig_reading::rig_run_value(run)),
        What::Bucket(run) => ("reading", "bucket", super::rig_reading::bucket_run_value(run)),
        What::Note(text) => ("reading", "note", sparse([("text", text.as_str().into())])),
        What::Treatment(treatment) => (
            "treatment",
            treatment_word(treatment.kind),
            sparse([("remark", treatment.remark.clone().into())]),
        ),
    };
    let common = sparse([
        ("kind", kind.into()),
        ("circuit", circuit.map(|id| id.0.clone()).into()),
        ("at", entry.at.map(|at| at.to_string()).into()),
    ]);
    Section::repeated(list, joined(common, own))
}

fn joined(first: Value, second: Value) -> Value {
    match (first, second) {
        (Value::Record(mut first), Value::Record(second)) => {
            first.extend(second);
            Value::Record(first)
        }
        (first, _) => first,
    }
}

fn treatment_word(kind: TreatmentKind) -> &'static str {
    match kind {
        TreatmentKind::BlowOut => "blow-out",
        TreatmentKind::Open => "open",
        TreatmentKind::Repair => "repair",
        TreatmentKind::Descale => "descale",
        TreatmentKind::Neutralise => "neutralise",
        TreatmentKind::Rinse => "rinse",
        TreatmentKind::Preserve => "preserve",
        TreatmentKind::Dry => "dry",
    }
}

fn bar_g(pressure: GaugePressure) -> Value {
    exactly(pressure, |pressure| pressure.bar(), GaugePressure::from_bar)
}

fn deg_c(temperature: Option<Temperature>) -> Value {
    temperature.map(|known| exactly(known, |known| known.deg_c(), Temperature::from_deg_c)).into()
}

fn ml(volume: Volume) -> Value {
    exactly(volume, |volume| volume.ml(), Volume::from_ml)
}

fn decay(decay: &Decay, circuit: Option<&CircuitId>, kind: &str, traces: &mut Traces) -> Value {
    match decay {
        Decay::Trace(trace) => sparse([("trace", traces.add(circuit, kind, trace))]),
        Decay::TwoReadings { start, end, time } => sparse([
            ("start_bar_g", bar_g(*start)),
            ("end_bar_g", bar_g(*end)),
            ("seconds", exactly(*time, |time| time.s(), Duration::from_s)),
        ]),
    }
}

fn leak_down(leak: &LeakDown, circuit: Option<&CircuitId>, traces: &mut Traces) -> Value {
    let own = sparse([
        ("wall_temperature_deg_c", deg_c(leak.wall_temperature)),
        ("hold_s", exactly(leak.hold, |hold| hold.s(), Duration::from_s)),
    ]);
    joined(decay(&leak.decay, circuit, "leak-down", traces), own)
}

fn air_passage(passage: &AirPassage, circuit: Option<&CircuitId>, traces: &mut Traces) -> Value {
    let (charged, volume) = match passage.charged {
        Charged::Circuit => ("circuit", Value::Null),
        Charged::Reservoir(volume) => ("reservoir", ml(volume)),
    };
    let own = sparse([
        ("charged", charged.into()),
        ("reservoir_volume_ml", volume),
        ("air_temperature_deg_c", deg_c(passage.air_temperature)),
    ]);
    joined(own, decay(&passage.decay, circuit, "air-passage", traces))
}

fn flow(flow: &Flow, circuit: Option<&CircuitId>, traces: &mut Traces) -> Value {
    let reading = match &flow.flow {
        FlowReading::Mean(mean) => {
            ("flow_l_min", exactly(*mean, |mean| mean.l_min(), VolumeFlow::from_l_min))
        }
        FlowReading::Trace(trace) => ("trace", traces.add(circuit, "flow", trace)),
    };
    sparse([
        reading,
        ("pressure_in_bar_g", bar_g(flow.pressure_in)),
        ("pressure_out_bar_g", bar_g(flow.pressure_out)),
        ("water_temperature_deg_c", deg_c(Some(flow.water_temperature))),
        ("others", if flow.others == Others::Open { "open".into() } else { "closed".into() }),
        ("through_fixture", flow.through_fixture.into()),
    ])
}

fn cross_watch(cross: &CrossWatch, circuit: Option<&CircuitId>, traces: &mut Traces) -> Value {
    let open: Vec<Value> = cross.open.iter().map(|id| id.0.as_str().into()).collect();
    let mut watched = Vec::new();
    for (id, seen) in &cross.watched {
        let name = sparse([("circuit", id.0.as_str().into())]);
        watched.push(joined(name, decay(seen, Some(id), "watched", traces)));
    }
    let also = cross.also_charged.iter().map(|(id, decay_seen)| {
        let name = sparse([("circuit", id.0.as_str().into())]);
        match decay_seen {
            Some(seen) => joined(name, decay(seen, Some(id), "charged", traces)),
            None => name,
        }
    });
    let also: Vec<Value> = also.collect();
    let own = sparse([
        ("also_charged", if also.is_empty() { Value::Null } else { Value::List(also) }),
        ("open", if open.is_empty() { Value::Null } else { Value::List(open) }),
        ("watched", Value::List(watched)),
    ]);
    match &cross.charged_decay {
        Some(charged) => joined(own, decay(charged, circuit, "charged", traces)),
        None => own,
    }
}

fn volume(reading: &VolumeReading) -> Value {
    let own = match reading.method {
        VolumeMethod::AirExpansion { reference, reference_before, circuit_before, joined } => sparse([
            ("method", "air-expansion".into()),
            ("reference_volume_ml", ml(reference)),
            ("reference_bar_g", bar_g(reference_before)),
            ("circuit_bar_g", bar_g(circuit_before)),
            ("joined_bar_g", bar_g(joined)),
        ]),
        VolumeMethod::Drained { volume_ml } => sparse([
            ("method", "drained".into()),
            ("drained_ml", volume_ml.value.into()),
            ("uncertainty_ml", volume_ml.standard.into()),
        ]),
    };
    let from = (reading.from == End::Outlet).then_some("outlet");
    joined(own, sparse([("through_fixture", reading.through_fixture.into()), ("from", from.into())]))
}
