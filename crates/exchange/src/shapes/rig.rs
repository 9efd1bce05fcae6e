//! Rig file, `borewise-rig/1`, and the same fields inside a visit file.

use bench::visit::Rig;
use calc::form::{Fault, Field, Input, Kind, Preset, Value};
use calc::quantity::{AbsolutePressure, FlowFactor, GaugePressure, SonicConductance, Volume, VolumeFlow};

use super::{Found, dates, exactly, shortest, sparse, text};

/// Value of `format`.
pub const FORMAT: &str = "borewise-rig/1";

/// The whole file.
pub static FILE: &[Field] = &[
    Field::required("format", Kind::Choice(&[FORMAT]), "format and version of this file"),
    Field::required("rig", RIG, "the bench's water-and-air unit"),
];

/// The rig's table. Uncertainties are standard uncertainties.
pub const RIG: Kind = Kind::Record(FIELDS);

const PAIR: Kind = Kind::List { of: &Kind::Number { low: 0.0, high: 10_000.0 }, least: 2 };

static FIELDS: &[Field] = &[
    Field::optional("name", Kind::Text, "name of the rig"),
    Field::preset("flow_uncertainty_percent", Kind::PERCENT, Preset::Number(2.0), "flow meter"),
    Field::preset(
        "pressure_uncertainty_bar",
        Kind::Number { low: 0.0, high: 10.0 },
        Preset::Number(0.05),
        "each pressure gauge",
    ),
    Field::preset(
        "gauge_step_bar",
        Kind::Number { low: 0.0, high: 10.0 },
        Preset::Number(0.0),
        "smallest step that the gauges show; 0 where a logger writes",
    ),
    Field::preset(
        "temperature_uncertainty_k",
        Kind::Number { low: 0.0, high: 50.0 },
        Preset::Number(1.0),
        "water thermometer",
    ),
    Field::optional("pump_curve", Kind::List { of: &PAIR, least: 2 }, "pump: [l/min, bar], flow rising"),
    Field::optional("fixture_flow_factor_m3_h", Kind::POSITIVE, "hoses and couplings joined without a mould"),
    Field::preset(
        "fixture_uncertainty_percent",
        Kind::PERCENT,
        Preset::Number(3.0),
        "the fixture's flow factor",
    ),
    Field::optional("fixture_volume_ml", Kind::NOT_NEGATIVE, "hoses, couplings and dead ends"),
    Field::optional(
        "fixture_sonic_conductance_dm3_s_bar",
        Kind::POSITIVE,
        "sonic conductance of hoses and couplings",
    ),
    Field::optional("reference_volume_ml", Kind::POSITIVE, "vessel of known volume, for filled volumes"),
    Field::optional("reservoir_volume_ml", Kind::POSITIVE, "air vessel that empties through circuits"),
    Field::preset(
        "atmosphere_bar_abs",
        Kind::Number { low: 0.5, high: 1.2 },
        Preset::Number(1.01325),
        "pressure of the surrounding air",
    ),
    Field::optional("calibrated_until", Kind::Text, "day until which the calibration holds, YYYY-MM-DD"),
    Field::optional("flow_calibrated_until", Kind::Text, "the same of the flow meter alone"),
    Field::optional("pressure_calibrated_until", Kind::Text, "the same of the pressure gauges alone"),
    Field::optional("temperature_calibrated_until", Kind::Text, "the same of the thermometer alone"),
];

/// The dates among the fields.
const DATES: [&str; 4] = [
    "calibrated_until",
    "flow_calibrated_until",
    "pressure_calibrated_until",
    "temperature_calibrated_until",
];

/// What no single field shows: a pump curve that does not fall, an impossible date.
pub fn meaning(rig: &Value, found: &mut Found) {
    let points = rig.get("pump_curve").map(Value::items).unwrap_or_default();
    let mut last: Option<(f64, f64)> = None;
    for (at, point) in points.iter().enumerate() {
        let path = format!("pump_curve.{at}");
        let &[flow, pressure] = point.numbers().as_slice() else {
            let problem = "not a pair of flow and pressure";
            found.fault(Fault::new(path, problem, "give [l/min, bar]").with_value(point.clone()));
            continue;
        };
        if let Some((flow_before, pressure_before)) = last {
            if flow <= flow_before {
                let hint = "order the points by rising flow, each flow once";
                found.fault(Fault::new(format!("{path}.0"), "the flow does not rise", hint).with_value(flow));
            }
            if pressure >= pressure_before {
                let hint =
                    format!("give less than {pressure_before}: a pump gives less pressure at more flow");
                found.fault(
                    Fault::new(format!("{path}.1"), "the pressure does not fall", hint).with_value(pressure),
                );
            }
        }
        last = Some((flow, pressure));
    }
    for name in DATES {
        if let Some(Err(fault)) = text(rig, name).map(dates::date) {
            found.fault(fault.under(name));
        }
    }
}

/// The rig of a checked table.
#[must_use]
pub fn rig(input: Input<'_>) -> Rig {
    let pump_curve = input.items("pump_curve").iter().filter_map(|point| match *point.numbers() {
        [flow, pressure] => Some((VolumeFlow::from_l_min(flow), GaugePressure::from_bar(pressure))),
        _ => None,
    });
    let day = |name: &str| input.get(name).and_then(Value::as_text).map(str::to_owned);
    Rig {
        name: input.get("name").and_then(Value::as_text).map(str::to_owned),
        flow_uncertainty_relative: input.number("flow_uncertainty_percent") / 100.0,
        pressure_uncertainty_bar: input.number("pressure_uncertainty_bar"),
        gauge_step_bar: input.number("gauge_step_bar"),
        temperature_uncertainty_k: input.number("temperature_uncertainty_k"),
        pump_curve: pump_curve.collect(),
        fixture_flow_factor: input.optional_number("fixture_flow_factor_m3_h").map(FlowFactor::from_m3_h),
        fixture_uncertainty_relative: input.number("fixture_uncertainty_percent") / 100.0,
        fixture_volume: input.optional_number("fixture_volume_ml").map(Volume::from_ml),
        fixture_sonic_conductance: input
            .optional_number("fixture_sonic_conductance_dm3_s_bar")
            .map(SonicConductance::from_dm3_s_bar),
        reference_volume: input.optional_number("reference_volume_ml").map(Volume::from_ml),
        reservoir_volume: input.optional_number("reservoir_volume_ml").map(Volume::from_ml),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        calibrated_until: day("calibrated_until"),
        flow_calibrated_until: day("flow_calibrated_until"),
        pressure_calibrated_until: day("pressure_calibrated_until"),
        temperature_calibrated_until: day("temperature_calibrated_until"),
    }
}

/// The rig's table as it is written.
#[must_use]
pub fn rig_value(rig: &Rig) -> Value {
    let percent = |relative: f64| {
        Value::Number(shortest(relative * 100.0, |percent| (percent / 100.0).to_bits() == relative.to_bits()))
    };
    let pump = rig.pump_curve.iter().map(|(flow, pressure)| {
        Value::List(vec![
            exactly(*flow, |flow| flow.l_min(), VolumeFlow::from_l_min),
            exactly(*pressure, |pressure| pressure.bar(), GaugePressure::from_bar),
        ])
    });
    let pump: Vec<Value> = pump.collect();
    let volume = |volume: Volume| exactly(volume, |volume| volume.ml(), Volume::from_ml);
    sparse([
        ("name", rig.name.clone().into()),
        ("flow_uncertainty_percent", percent(rig.flow_uncertainty_relative)),
        ("pressure_uncertainty_bar", rig.pressure_uncertainty_bar.into()),
        ("gauge_step_bar", rig.gauge_step_bar.into()),
        ("temperature_uncertainty_k", rig.temperature_uncertainty_k.into()),
        ("pump_curve", if pump.is_empty() { Value::Null } else { Value::List(pump) }),
        ("fixture_flow_factor_m3_h", rig.fixture_flow_factor.map(FlowFactor::m3_h).into()),
        ("fixture_uncertainty_percent", percent(rig.fixture_uncertainty_relative)),
        ("fixture_volume_ml", rig.fixture_volume.map(volume).into()),
        (
            "fixture_sonic_conductance_dm3_s_bar",
            rig.fixture_sonic_conductance
                .map(|sonic| exactly(sonic, |sonic| sonic.dm3_s_bar(), SonicConductance::from_dm3_s_bar))
                .into(),
        ),
        ("reference_volume_ml", rig.reference_volume.map(volume).into()),
        ("reservoir_volume_ml", rig.reservoir_volume.map(volume).into()),
        (
            "atmosphere_bar_abs",
            exactly(rig.atmosphere, |pressure| pressure.bar(), AbsolutePressure::from_bar),
        ),
        ("calibrated_until", rig.calibrated_until.clone().into()),
        ("flow_calibrated_until", rig.flow_calibrated_until.clone().into()),
        ("pressure_calibrated_until", rig.pressure_calibrated_until.clone().into()),
        ("temperature_calibrated_until", rig.temperature_calibrated_until.clone().into()),
    ])
}
