//! Visit file, `borewise-visit/1`: its fields, and its conversion to the domain.

use std::collections::BTreeMap;

use bench::mould::{CircuitId, MouldId};
use bench::visit::{
    AirPassage, Charged, CrossWatch, Decay, End, Entry, Flow, FlowReading, HookUp, LeakDown, Others, Rig,
    Treatment, TreatmentKind, Visit, VolumeMethod, VolumeReading, What,
};
use calc::estimate::Uncertain;
use calc::form::{Field, Input, Kind, Preset, Value};
use calc::quantity::{AbsolutePressure, Duration, GaugePressure, Temperature, Volume, VolumeFlow};
use calc::trace::Trace;

use super::{dates, reading, rig};

/// Value of `format`.
pub const FORMAT: &str = "borewise-visit/1";
/// Standard uncertainty of a drained volume where the file gives none.
const DRAINED_UNCERTAINTY_ML: f64 = 2.0;

/// The whole file.
pub static FILE: &[Field] = &[
    Field::required("format", Kind::Choice(&[FORMAT]), "format and version of this file"),
    Field::required("mould", Kind::Text, "mould file, beside this file"),
    Field::required("visit", Kind::Record(VISIT), "the stay on the bench"),
    Field::optional("rig", Kind::TextOr(&rig::RIG), "the rig: its file, or a table"),
    Field::optional(
        "hook_up",
        Kind::List { of: &Kind::Record(HOOK_UP), least: 0 },
        "which circuit was on which port",
    ),
    Field::optional("columns", Kind::Map(&Kind::Text), "what columns hold, for all traces of the visit"),
    Field::optional("reading", Kind::List { of: &reading::READING, least: 0 }, "readings"),
    Field::optional(
        "treatment",
        Kind::List { of: &Kind::Record(reading::TREATMENT), least: 0 },
        "treatments",
    ),
];

static VISIT: &[Field] = &[
    Field::required("started", Kind::Text, "when it began, such as 2026-11-24T08:40:00Z"),
    Field::required("by", Kind::Text, "initials or name"),
];

static HOOK_UP: &[Field] = &[
    Field::required("port", Kind::Count { low: 1, high: 999 }, "port of the rig, from 1"),
    Field::required("circuit", Kind::Text, "circuit"),
    Field::preset(
        "stage",
        Kind::Count { low: 1, high: 99 },
        Preset::Number(1.0),
        "where a mould has more circuits than the rig has ports: which hook-up, from 1",
    ),
];

/// What belongs to a visit beside its own file.
#[derive(Debug)]
pub struct Belongings<'a> {
    /// Name of the visit file.
    pub file: &'a str,
    /// The mould.
    pub mould: MouldId,
    /// The rig.
    pub rig: Rig,
    /// Traces by the path of the reading or watched circuit that names them.
    pub traces: BTreeMap<String, Trace>,
    /// Line in the visit file of each reading and treatment, by its path.
    pub lines: BTreeMap<String, u64>,
}

/// The visit of a file that has been accepted. Readings and treatments come in the order of the file, or of
/// their times when each has one.
///
/// Answers nothing if something is missing that the checks before should have reported.
#[must_use]
pub fn visit(filled: &Value, belongings: Belongings<'_>) -> Option<Visit> {
    let input = Input::checked(filled);
    let about = input.record("visit")?;
    let mut entries = Vec::new();
    for (list, name) in [(input.items("reading"), "reading"), (input.items("treatment"), "treatment")] {
        for (at, item) in list.iter().enumerate() {
            let path = format!("{name}.{at}");
            let line = belongings.lines.get(&path).copied().unwrap_or_default();
            entries.push((line, entry(Input::checked(item), &path, line, &belongings)?));
        }
    }
    entries.sort_by_key(|(line, _)| *line);
    if entries.iter().all(|(_, entry)| entry.at.is_some()) {
        entries.sort_by_key(|(_, entry)| entry.at);
    }
    Some(Visit {
        id: visit_id(belongings.file),
        mould: belongings.mould,
        started: dates::timestamp(about.text("started")).ok()?,
        by: about.text("by").to_owned(),
        hook_ups: input.records("hook_up").map(hook_up).collect(),
        entries: entries.into_iter().map(|(_, entry)| entry).collect(),
        rig: belongings.rig,
    })
}

/// The name of a visit: its file's name without folders and endings.
#[must_use]
pub fn visit_id(file: &str) -> String {
    let name = file.rsplit('/').next().unwrap_or(file);
    let name = name.strip_suffix(".toml").unwrap_or(name);
    name.strip_suffix(".visit").unwrap_or(name).to_owned()
}

fn hook_up(input: Input<'_>) -> HookUp {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked: a whole number, 1 to 999"
    )]
    let port = input.number("port") as u32;
    HookUp { port, circuit: CircuitId(input.text("circuit").to_owned()) }
}

fn entry(input: Input<'_>, path: &str, line: u64, belongings: &Belongings<'_>) -> Option<Entry> {
    let what = if path.starts_with("treatment") {
        What::Treatment(treatment(input)?)
    } else {
        what(input, path, belongings)?
    };
    let at = match input.has("at") {
        true => Some(dates::timestamp(input.text("at")).ok()?),
        false => None,
    };
    Some(Entry {
        place: format!("{}, line {line}", belongings.file),
        at,
        circuit: input.get("circuit").and_then(Value::as_text).map(|id| CircuitId(id.to_owned())),
        what,
    })
}

fn treatment(input: Input<'_>) -> Option<Treatment> {
    let kind = match input.text("kind") {
        "blow-out" => TreatmentKind::BlowOut,
        "open" => TreatmentKind::Open,
        "repair" => TreatmentKind::Repair,
        "descale" => TreatmentKind::Descale,
        "neutralise" => TreatmentKind::Neutralise,
        "rinse" => TreatmentKind::Rinse,
        "preserve" => TreatmentKind::Preserve,
        "dry" => TreatmentKind::Dry,
        _ => return None,
    };
    Some(Treatment { kind, remark: input.get("remark").and_then(Value::as_text).map(str::to_owned) })
}

fn bar_g(input: Input<'_>, name: &str) -> Option<GaugePressure> {
    input.optional_number(name).map(GaugePressure::from_bar)
}

fn deg_c(input: Input<'_>, name: &str) -> Option<Temperature> {
    input.optional_number(name).map(Temperature::from_deg_c)
}

/// A logged trace, or two readings by hand.
fn decay(input: Input<'_>, path: &str, belongings: &Belongings<'_>) -> Option<Decay> {
    if let Some(trace) = belongings.traces.get(path) {
        return Some(Decay::Trace(trace.clone()));
    }
    Some(Decay::TwoReadings {
        start: bar_g(input, "start_bar_g")?,
        end: bar_g(input, "end_bar_g")?,
        time: input.optional_number("seconds").map(Duration::from_s)?,
    })
}

fn what(input: Input<'_>, path: &str, belongings: &Belongings<'_>) -> Option<What> {
    Some(match input.text("kind") {
        "leak-down" => What::LeakDown(LeakDown {
            decay: decay(input, path, belongings)?,
            wall_temperature: deg_c(input, "wall_temperature_deg_c"),
            hold: Duration::from_s(input.number("hold_s")),
        }),
        "air-passage" => What::AirPassage(AirPassage {
            charged: charged(input, &belongings.rig)?,
            decay: decay(input, path, belongings)?,
            air_temperature: deg_c(input, "air_temperature_deg_c"),
        }),
        "flow" => What::Flow(flow(input, path, belongings)?),
        "cross-watch" => What::CrossWatch(cross_watch(input, path, belongings)?),
        "volume" => What::Volume(VolumeReading {
            method: volume_method(input, &belongings.rig)?,
            through_fixture: input.flag("through_fixture"),
            from: if input.text("from") == "outlet" { End::Outlet } else { End::Inlet },
        }),
        "rig-check" => What::RigCheck(super::rig_reading::rig_run(input)?),
        "bucket" => What::Bucket(super::rig_reading::bucket_run(input)?),
        "note" => What::Note(input.text("text").to_owned()),
        _ => return None,
    })
}

fn charged(input: Input<'_>, rig: &Rig) -> Option<Charged> {
    if input.text("charged") == "circuit" {
        return Some(Charged::Circuit);
    }
    let volume = input.optional_number("reservoir_volume_ml").map(Volume::from_ml);
    volume.or(rig.reservoir_volume).or(rig.reference_volume).map(Charged::Reservoir)
}

fn flow(input: Input<'_>, path: &str, belongings: &Belongings<'_>) -> Option<Flow> {
    let flow = match belongings.traces.get(path) {
        Some(trace) => FlowReading::Trace(trace.clone()),
        None => FlowReading::Mean(input.optional_number("flow_l_min").map(VolumeFlow::from_l_min)?),
    };
    Some(Flow {
        flow,
        pressure_in: bar_g(input, "pressure_in_bar_g")?,
        pressure_out: bar_g(input, "pressure_out_bar_g")?,
        water_temperature: deg_c(input, "water_temperature_deg_c")?,
        others: if input.text("others") == "open" { Others::Open } else { Others::Closed },
        through_fixture: input.flag("through_fixture"),
    })
}

fn cross_watch(input: Input<'_>, path: &str, belongings: &Belongings<'_>) -> Option<CrossWatch> {
    let mut watched = Vec::new();
    for (at, circuit) in input.records("watched").enumerate() {
        let decay = decay(circuit, &format!("{path}.watched.{at}"), belongings)?;
        watched.push((CircuitId(circuit.text("circuit").to_owned()), decay));
    }
    let mut also_charged = Vec::new();
    for (at, circuit) in input.records("also_charged").enumerate() {
        let decay = decay(circuit, &format!("{path}.also_charged.{at}"), belongings);
        also_charged.push((CircuitId(circuit.text("circuit").to_owned()), decay));
    }
    let open = input.items("open").iter().filter_map(Value::as_text);
    Some(CrossWatch {
        open: open.map(|id| CircuitId(id.to_owned())).collect(),
        charged_decay: decay(input, path, belongings),
        also_charged,
        watched,
    })
}

fn volume_method(input: Input<'_>, rig: &Rig) -> Option<VolumeMethod> {
    if input.text("method") == "air-expansion" {
        let own = input.optional_number("reference_volume_ml").map(Volume::from_ml);
        return Some(VolumeMethod::AirExpansion {
            reference: own.or(rig.reference_volume)?,
            reference_before: bar_g(input, "reference_bar_g")?,
            circuit_before: bar_g(input, "circuit_bar_g").unwrap_or(GaugePressure::from_bar(0.0)),
            joined: bar_g(input, "joined_bar_g")?,
        });
    }
    let weighed = || {
        let temperature = deg_c(input, "water_temperature_deg_c")?;
        let water = calc::water::water(temperature, AbsolutePressure::STANDARD_ATMOSPHERE).ok()?;
        Some(input.optional_number("drained_g")? / water.density_kg_m3 * 1000.0)
    };
    let volume_ml = input.optional_number("drained_ml").or_else(weighed)?;
    let standard = input.optional_number("uncertainty_ml").unwrap_or(DRAINED_UNCERTAINTY_ML);
    Some(VolumeMethod::Drained { volume_ml: Uncertain::new(volume_ml, standard) })
}
