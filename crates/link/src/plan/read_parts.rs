//! From the tree of values to a plan: rig, visit, readings.

use bench::visit::{End, Others, Rig, TreatmentKind};
use calc::form::{Fault as FormFault, Input, Value};
use calc::quantity::{AbsolutePressure, FlowFactor, GaugePressure, Temperature, Volume, VolumeFlow};

use super::read::{ids, pieces};
use super::{Logger, ReadingKind, ReadingPlan, RigCheckOn, RigPlan, Sampling, VisitPlan};

pub(super) fn others(input: Input<'_>) -> Others {
    if input.text("others") == "open" { Others::Open } else { Others::Closed }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 64"
)]
pub(super) fn rig(input: Input<'_>, faults: &mut Vec<FormFault>) -> RigPlan {
    let input = input.record("rig").unwrap_or(input);
    let text = |name: &str| input.get(name).and_then(Value::as_text).map(str::to_owned);
    let reference_volume = input.optional_number("reference_volume_ml").map(Volume::from_ml);
    RigPlan {
        stated: Rig {
            name: text("name"),
            flow_uncertainty_relative: input.number("flow_uncertainty_percent") / 100.0,
            pressure_uncertainty_bar: input.number("pressure_uncertainty_bar"),
            gauge_step_bar: input.number("gauge_step_bar"),
            temperature_uncertainty_k: input.number("temperature_uncertainty_k"),
            pump_curve: pump_curve(input, faults),
            reference_volume,
            reservoir_volume: input.optional_number("reservoir_volume_ml").map(Volume::from_ml),
            atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
            calibrated_until: text("calibrated_until"),
            ..Rig::default()
        },
        ports: input.number("ports") as usize,
        supply: pieces(input, "supply", "rig", faults),
        back: pieces(input, "return", "rig", faults),
        dead_volume: Volume::from_ml(input.number("dead_volume_ml")),
        fixture_stated: input.flag("fixture_stated"),
        gauges_at_mould: input.text("gauges") == "mould",
    }
}

fn pump_curve(input: Input<'_>, faults: &mut Vec<FormFault>) -> Vec<(VolumeFlow, GaugePressure)> {
    let points: Vec<Vec<f64>> = input.items("pump_curve").iter().map(Value::numbers).collect();
    let mut curve: Vec<(f64, f64)> = Vec::new();
    for (at, point) in points.iter().enumerate() {
        let falls = |before: &(f64, f64), flow: f64, bar: f64| flow > before.0 && bar <= before.1;
        match point.as_slice() {
            [flow, bar] if curve.last().is_none_or(|before| falls(before, *flow, *bar)) => {
                curve.push((*flow, *bar));
            }
            _ => faults.push(FormFault::new(
                format!("rig.pump_curve.{at}"),
                "not a falling curve of pairs",
                "give [flow in l/min, pressure in bar] by rising flow and falling pressure",
            )),
        }
    }
    curve
        .into_iter()
        .map(|(flow, bar)| (VolumeFlow::from_l_min(flow), GaugePressure::from_bar(bar)))
        .collect()
}

pub(super) fn visit(input: Input<'_>, faults: &mut Vec<FormFault>) -> VisitPlan {
    let given = |name: &str| input.record("rig").is_some_and(|rig| rig.has(name));
    let needed =
        |field: &str, word: &str| input.records("reading").any(|reading| reading.text(field) == word);
    let problem = "missing, a reading needs the vessel";
    if needed("method", "air-expansion") && !given("reference_volume_ml") {
        let hint = "give it, or take method = \"drained\"";
        faults.push(FormFault::new("rig.reference_volume_ml", problem, hint));
    } else if needed("charged", "reservoir") && !given("reservoir_volume_ml") && !given("reference_volume_ml")
    {
        let hint = "give it, or take charged = \"circuit\"";
        faults.push(FormFault::new("rig.reservoir_volume_ml", problem, hint));
    }
    let input = input.record("visit").unwrap_or(input);
    let started = input.text("started").parse().unwrap_or_else(|_| {
        let fault = FormFault::new(
            "visit.started",
            "not a time",
            "write it like 2026-11-24T08:40:00Z, with the zone",
        );
        faults.push(fault.with_value(input.text("started")));
        jiff::Timestamp::UNIX_EPOCH
    });
    VisitPlan {
        id: input.text("id").to_owned(),
        started,
        by: input.text("by").to_owned(),
        water: Temperature::from_deg_c(input.number("water_temperature_deg_c")),
        steel: Temperature::from_deg_c(input.number("steel_temperature_deg_c")),
        readings: Vec::new(),
    }
}

pub(super) fn readings(input: Input<'_>) -> Vec<ReadingPlan> {
    input
        .records("reading")
        .map(|reading| ReadingPlan {
            circuits: reading.has("circuits").then(|| ids(reading, "circuits")),
            logger: match reading.text("logger") {
                "foreign" => Logger::Foreign,
                "hand" => Logger::Hand,
                _ => Logger::Own,
            },
            what: what(reading),
        })
        .collect()
}

fn sampling(input: Input<'_>) -> Sampling {
    Sampling { rate_hz: input.number("rate_hz"), seconds: input.number("seconds") }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 20"
)]
fn what(input: Input<'_>) -> ReadingKind {
    let pressure = || GaugePressure::from_bar(input.number("pressure_bar_g"));
    match input.text("kind") {
        "leak-down" => ReadingKind::LeakDown {
            pressure: pressure(),
            sampling: sampling(input),
            hold_s: input.number("hold_s"),
            together: input.flag("together"),
        },
        "air-passage" => ReadingKind::AirPassage {
            from_reservoir: input.text("charged") != "circuit",
            pressure: pressure(),
            sampling: sampling(input),
        },
        "flow" => ReadingKind::Flow {
            shares: if input.has("shares") { input.numbers("shares") } else { vec![1.0] },
            others: others(input),
            sampling: input.flag("trace").then(|| sampling(input)),
        },
        "cross-watch" => ReadingKind::CrossWatch {
            together: input.flag("together"),
            pressure: pressure(),
            sampling: sampling(input),
        },
        "volume" => ReadingKind::Volume {
            by_air: input.text("method") != "drained",
            through_fixture: input.flag("through_fixture"),
            from: if input.text("from") == "outlet" { End::Outlet } else { End::Inlet },
        },
        "rig-check" => ReadingKind::RigCheck {
            on: match input.text("on") {
                "orifice" => RigCheckOn::Orifice {
                    flow_factor: FlowFactor::from_m3_h(input.number("reference_flow_factor_m3_h")),
                    relative: input.number("reference_uncertainty_percent") / 100.0,
                },
                "at-rest" => RigCheckOn::AtRest,
                "shut-off" => RigCheckOn::ShutOff,
                _ => RigCheckOn::Fixture,
            },
        },
        "bucket" => ReadingKind::Bucket {
            seconds: input.number("seconds"),
            fillings: input.number("fillings") as usize,
        },
        "treatment" => ReadingKind::Treatment {
            kind: treatment(input.text("what")),
            remark: input.get("remark").and_then(Value::as_text).map(str::to_owned),
        },
        _ => ReadingKind::Note(input.text("text").to_owned()),
    }
}

fn treatment(word: &str) -> TreatmentKind {
    match word {
        "open" => TreatmentKind::Open,
        "repair" => TreatmentKind::Repair,
        "descale" => TreatmentKind::Descale,
        "neutralise" => TreatmentKind::Neutralise,
        "rinse" => TreatmentKind::Rinse,
        "preserve" => TreatmentKind::Preserve,
        "dry" => TreatmentKind::Dry,
        _ => TreatmentKind::BlowOut,
    }
}
