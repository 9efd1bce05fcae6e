//! Readings of the rig itself in a visit file: on a known thing, and by bucket.

use bench::visit::{BucketBy, BucketRun, Filling, RigOn, RigRun};
use calc::form::{Fault, Field, Input, Kind, Preset, Value};
use calc::quantity::{Duration, FlowFactor, GaugePressure, Temperature, VolumeFlow};

use super::reading::{AT, BAR_G, WATER_DEG_C};
use super::{Found, exactly, number, shortest, sparse, text};

/// Standard uncertainty of a mark in a bucket and of scales where the file says nothing (own choice).
const MARK_L: f64 = 0.1;
const SCALES_KG: f64 = 0.02;

const FLOW: Kind = Kind::Number { low: 0.0, high: 10_000.0 };
const SMALL_FLOW: Kind = Kind::Number { low: 0.001, high: 10_000.0 };
const CAUGHT: Kind = Kind::Number { low: 0.001, high: 100_000.0 };
const FILLING_SECONDS: Kind = Kind::Number { low: 0.1, high: 1e5 };
const UNCERTAIN_BAR: Kind = Kind::Number { low: 0.0, high: 10.0 };
const UNCERTAIN_K: Kind = Kind::Number { low: 0.0, high: 50.0 };

/// Fields of `kind = "rig-check"`.
pub static RIG_CHECK: &[Field] = &[
    AT,
    Field::required(
        "on",
        Kind::Choice(&["fixture", "orifice", "at-rest", "shut-off"]),
        "hoses joined without a mould, an orifice in its place, gauges open to the air, or both gauges on one pressure",
    ),
    Field::optional("flow_l_min", FLOW, "flow meter"),
    Field::optional("pressure_in_bar_g", BAR_G, "inlet gauge"),
    Field::optional("pressure_out_bar_g", BAR_G, "outlet gauge"),
    Field::optional("water_temperature_deg_c", WATER_DEG_C, "rig's thermometer"),
    Field::optional("reference_flow_factor_m3_h", Kind::POSITIVE, "orifice: its flow factor"),
    Field::preset(
        "reference_uncertainty_percent",
        Kind::Number { low: 0.0, high: 50.0 },
        Preset::Number(1.5),
        "orifice: standard uncertainty of its flow factor",
    ),
    Field::optional("reference_pressure_bar_g", BAR_G, "shut-off: a reference gauge on the same pressure"),
    Field::preset(
        "reference_pressure_uncertainty_bar",
        UNCERTAIN_BAR,
        Preset::Number(0.01),
        "standard uncertainty of the reference gauge",
    ),
    Field::optional("reference_temperature_deg_c", WATER_DEG_C, "a reference thermometer in the same water"),
    Field::preset(
        "reference_temperature_uncertainty_k",
        UNCERTAIN_K,
        Preset::Number(0.1),
        "standard uncertainty of the reference thermometer",
    ),
];

const LITRES: Field = Field::optional("collected_l", CAUGHT, "water caught, by mark");
const KILOGRAMS: Field = Field::optional("collected_kg", CAUGHT, "water caught, by weight, bucket taken off");
const TIME: Field = Field::required("seconds", FILLING_SECONDS, "filling time");
const METER: Field = Field::required("meter_flow_l_min", SMALL_FLOW, "what the flow meter showed meanwhile");

/// Fields of `kind = "bucket"`.
pub static BUCKET: &[Field] = &[
    AT,
    LITRES,
    KILOGRAMS,
    TIME,
    METER,
    Field::optional(
        "repeats",
        Kind::List { of: &Kind::Record(&[LITRES, KILOGRAMS, TIME, METER]), least: 0 },
        "further fillings",
    ),
    Field::optional(
        "collected_uncertainty_l",
        Kind::NOT_NEGATIVE,
        "standard uncertainty of the mark; 0.1 if left out",
    ),
    Field::optional("collected_uncertainty_kg", Kind::NOT_NEGATIVE, "of the scales; 0.02 if left out"),
    Field::preset(
        "timing_uncertainty_s",
        Kind::Number { low: 0.0, high: 60.0 },
        Preset::Number(0.3),
        "standard uncertainty of start and stop together",
    ),
    Field::optional(
        "water_temperature_deg_c",
        Kind::Number { low: 0.1, high: 95.0 },
        "water; 20 if left out",
    ),
];

/// What a rig check of this kind needs, and what does not go with it.
pub fn rig_check_meaning(item: &Value, path: &str, found: &mut Found) {
    let given = |name: &str| item.get(name).is_some();
    let mut fault = |field: &str, problem: String, hint: &str| {
        found.fault(Fault::new(field, problem, hint).under(path));
    };
    let Some(on) = text(item, "on") else { return };
    let flows = matches!(on, "fixture" | "orifice");
    let mut needed: Vec<&str> = Vec::new();
    if flows {
        needed.extend(["flow_l_min", "pressure_in_bar_g", "pressure_out_bar_g"]);
    }
    if on == "orifice" {
        needed.push("reference_flow_factor_m3_h");
    }
    let referred =
        given("reference_pressure_bar_g") && (given("pressure_in_bar_g") || given("pressure_out_bar_g"));
    if on == "shut-off" && !referred {
        needed.extend(["pressure_in_bar_g", "pressure_out_bar_g"]);
    }
    for name in needed.into_iter().filter(|name| !given(name)) {
        fault(name, format!("missing, on = \"{on}\" needs it"), "give it");
    }
    let pressures = given("pressure_in_bar_g") || given("pressure_out_bar_g");
    if on == "at-rest" && !pressures && !given("reference_temperature_deg_c") {
        let hint = "give a gauge, or both";
        fault("pressure_in_bar_g", "missing, and pressure_out_bar_g too".to_owned(), hint);
    }
    for (name, wanted) in
        [("reference_flow_factor_m3_h", "orifice"), ("reference_pressure_bar_g", "shut-off")]
    {
        if given(name) && on != wanted {
            fault(name, format!("does not go with on = \"{on}\""), "leave it out, or change on");
        }
    }
    if given("reference_temperature_deg_c") && !given("water_temperature_deg_c") {
        let hint = "give what the rig's thermometer shows beside the reference";
        fault("water_temperature_deg_c", "missing".to_owned(), hint);
    }
    let drop = number(item, "pressure_in_bar_g").zip(number(item, "pressure_out_bar_g"));
    if let Some((inlet, outlet)) = drop.filter(|(inlet, outlet)| flows && inlet <= outlet) {
        let problem = format!("{inlet} is not above pressure_out_bar_g = {outlet}, yet water flows");
        fault("pressure_in_bar_g", problem, "are inlet and outlet exchanged?");
    }
}

/// By weight or by mark, all fillings the same way.
pub fn bucket_meaning(item: &Value, path: &str, found: &mut Found) {
    let one = |record: &Value| (record.get("collected_l").is_some(), record.get("collected_kg").is_some());
    let first = one(item);
    let repeats = item.get("repeats").map(Value::items).unwrap_or_default();
    let all = core::iter::once((path.to_owned(), item))
        .chain(repeats.iter().enumerate().map(|(at, repeat)| (format!("{path}.repeats.{at}"), repeat)));
    for (path, record) in all {
        let (field, problem) = match one(record) {
            (true, true) => ("collected_kg", "given beside collected_l"),
            (false, false) => ("collected_l", "missing"),
            other if other != first => (
                if other.0 { "collected_l" } else { "collected_kg" },
                "measured otherwise than the first filling",
            ),
            _ => continue,
        };
        let hint = "give collected_l or collected_kg, the same for all fillings";
        found.fault(Fault::new(field, problem, hint).under(&path));
    }
    let strange = match first {
        (true, false) => "collected_uncertainty_kg",
        (false, true) => "collected_uncertainty_l",
        _ => return,
    };
    if item.get(strange).is_some() {
        let hint = "give the uncertainty in the unit of what was caught";
        found.fault(Fault::new(strange, "does not go with how it was measured", hint).under(path));
    }
}

fn bar_g(input: Input<'_>, name: &str) -> Option<GaugePressure> {
    input.optional_number(name).map(GaugePressure::from_bar)
}

fn deg_c(input: Input<'_>, name: &str) -> Option<Temperature> {
    input.optional_number(name).map(Temperature::from_deg_c)
}

/// The reading of a checked record.
pub(super) fn rig_run(input: Input<'_>) -> Option<RigRun> {
    let on = match input.text("on") {
        "fixture" => RigOn::Fixture,
        "orifice" => RigOn::Orifice {
            flow_factor: input.optional_number("reference_flow_factor_m3_h").map(FlowFactor::from_m3_h)?,
            relative: input.number("reference_uncertainty_percent") / 100.0,
        },
        "at-rest" => RigOn::AtRest,
        "shut-off" => RigOn::ShutOff,
        _ => return None,
    };
    Some(RigRun {
        on,
        flow: input.optional_number("flow_l_min").map(VolumeFlow::from_l_min),
        pressure_in: bar_g(input, "pressure_in_bar_g"),
        pressure_out: bar_g(input, "pressure_out_bar_g"),
        water_temperature: deg_c(input, "water_temperature_deg_c"),
        reference_pressure: bar_g(input, "reference_pressure_bar_g")
            .map(|known| (known, input.number("reference_pressure_uncertainty_bar"))),
        reference_temperature: deg_c(input, "reference_temperature_deg_c")
            .map(|known| (known, input.number("reference_temperature_uncertainty_k"))),
    })
}

/// The reading of a checked record.
pub(super) fn bucket_run(input: Input<'_>) -> Option<BucketRun> {
    let by = if input.has("collected_kg") { BucketBy::Weight } else { BucketBy::Mark };
    let (caught, uncertainty, usual) = match by {
        BucketBy::Weight => ("collected_kg", "collected_uncertainty_kg", SCALES_KG),
        BucketBy::Mark => ("collected_l", "collected_uncertainty_l", MARK_L),
    };
    let filling = |record: Input<'_>| {
        Some(Filling {
            caught_l_or_kg: record.optional_number(caught)?,
            time: Duration::from_s(record.number("seconds")),
            meter: VolumeFlow::from_l_min(record.number("meter_flow_l_min")),
        })
    };
    let fillings = core::iter::once(input).chain(input.records("repeats")).map(filling);
    Some(BucketRun {
        by,
        fillings: fillings.collect::<Option<_>>()?,
        caught_uncertainty_l_or_kg: input.optional_number(uncertainty).unwrap_or(usual),
        timing_uncertainty: Duration::from_s(input.number("timing_uncertainty_s")),
        water_temperature: deg_c(input, "water_temperature_deg_c"),
    })
}

fn bar_value(pressure: Option<GaugePressure>) -> Value {
    pressure.map(|known| exactly(known, |known| known.bar(), GaugePressure::from_bar)).into()
}

fn deg_c_value(temperature: Option<Temperature>) -> Value {
    temperature.map(|known| exactly(known, |known| known.deg_c(), Temperature::from_deg_c)).into()
}

fn flow_value(flow: VolumeFlow) -> Value {
    exactly(flow, |flow| flow.l_min(), VolumeFlow::from_l_min)
}

/// The reading as it is written.
pub(super) fn rig_run_value(run: &RigRun) -> Value {
    let percent = |relative: f64| {
        shortest(relative * 100.0, |percent| (percent / 100.0).to_bits() == relative.to_bits())
    };
    let (on, orifice) = match run.on {
        RigOn::Fixture => ("fixture", None),
        RigOn::Orifice { flow_factor, relative } => {
            ("orifice", Some((flow_factor.m3_h(), percent(relative))))
        }
        RigOn::AtRest => ("at-rest", None),
        RigOn::ShutOff => ("shut-off", None),
    };
    sparse([
        ("on", on.into()),
        ("flow_l_min", run.flow.map(flow_value).into()),
        ("pressure_in_bar_g", bar_value(run.pressure_in)),
        ("pressure_out_bar_g", bar_value(run.pressure_out)),
        ("water_temperature_deg_c", deg_c_value(run.water_temperature)),
        ("reference_flow_factor_m3_h", orifice.map(|known| known.0).into()),
        ("reference_uncertainty_percent", orifice.map(|known| known.1).into()),
        ("reference_pressure_bar_g", bar_value(run.reference_pressure.map(|known| known.0))),
        ("reference_pressure_uncertainty_bar", run.reference_pressure.map(|known| known.1).into()),
        ("reference_temperature_deg_c", deg_c_value(run.reference_temperature.map(|known| known.0))),
        ("reference_temperature_uncertainty_k", run.reference_temperature.map(|known| known.1).into()),
    ])
}

/// The reading as it is written; one without a filling becomes one that nobody accepts.
pub(super) fn bucket_run_value(run: &BucketRun) -> Value {
    let (caught, uncertainty) = match run.by {
        BucketBy::Weight => ("collected_kg", "collected_uncertainty_kg"),
        BucketBy::Mark => ("collected_l", "collected_uncertainty_l"),
    };
    let filling = |filling: &Filling| {
        vec![
            (caught.to_owned(), filling.caught_l_or_kg.into()),
            ("seconds".to_owned(), exactly(filling.time, |time| time.s(), Duration::from_s)),
            ("meter_flow_l_min".to_owned(), flow_value(filling.meter)),
        ]
    };
    let mut fields = run.fillings.first().map(filling).unwrap_or_default();
    let repeats: Vec<Value> =
        run.fillings.iter().skip(1).map(|repeat| Value::Record(filling(repeat))).collect();
    if !repeats.is_empty() {
        fields.push(("repeats".to_owned(), Value::List(repeats)));
    }
    fields.push((uncertainty.to_owned(), run.caught_uncertainty_l_or_kg.into()));
    fields.push((
        "timing_uncertainty_s".to_owned(),
        exactly(run.timing_uncertainty, |time| time.s(), Duration::from_s),
    ));
    if let Some(water) = run.water_temperature {
        fields.push(("water_temperature_deg_c".to_owned(), deg_c_value(Some(water))));
    }
    Value::Record(fields)
}
