//! Calculators: flow factor of a circuit, and of a valve for a duty.

use super::hydraulics::{DROP_BAR, FLOW_L_MIN, drilled_warnings, fault, read_pieces};
use super::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::hydraulics::flow_factor::{
    Fixture, Flag, FlowFactorError, FlowFactorResult, FlowPoint, Method, PointUncertainty, flow_factor,
};
use crate::hydraulics::piece_form::PIECE;
use crate::hydraulics::valve::{self, Duty};
use crate::quantity::{AbsolutePressure, FlowFactor, PressureDrop, Temperature, VolumeFlow};
use crate::water::TEMPERATURE_RANGE_DEG_C;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&FLOW_FACTOR, &VALVE_COEFFICIENT];

const WATER_DEG_C: Kind = Kind::Number { low: TEMPERATURE_RANGE_DEG_C.0, high: TEMPERATURE_RANGE_DEG_C.1 };
const SINGLE: [&str; 3] = ["flow_l_min", "pressure_drop_bar", "temperature_deg_c"];

/// A reading of flow, drop and temperature.
pub(super) static POINT: Kind = Kind::Record(&[
    Field::required("flow_l_min", FLOW_L_MIN, "flow"),
    Field::required("pressure_drop_bar", DROP_BAR, "pressure drop, hoses and couplings included"),
    Field::required("temperature_deg_c", WATER_DEG_C, "temperature of the water"),
]);

static FLOW_FACTOR: Calculator = Calculator {
    name: "flow-factor",
    title: "Flow factor of a circuit",
    text: "Flow of water of 20 degC at 1 bar through the circuit alone, from one reading or a sweep at any water \
           temperature, with hoses and couplings taken away. The reading is moved along the circuit's own curve: of a \
           typical circuit, or of the pieces with one free loss factor. Uncertainties are standard ones (one sigma).",
    inputs: &[
        Field::optional("flow_l_min", FLOW_L_MIN, "flow; or give points"),
        Field::optional(
            "pressure_drop_bar",
            DROP_BAR,
            "pressure drop, hoses and couplings included; or give points",
        ),
        Field::optional("temperature_deg_c", WATER_DEG_C, "temperature of the water; or give points"),
        Field::optional("points", Kind::List { of: &POINT, least: 1 }, "readings of a sweep"),
        Field::optional(
            "pieces",
            Kind::List { of: &PIECE, least: 1 },
            "pieces of the circuit without the fixture",
        ),
        Field::optional(
            "fixture_flow_factor_m3_h",
            Kind::POSITIVE,
            "flow factor of hoses and couplings joined without a mould",
        ),
        Field::preset(
            "fixture_uncertainty_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(2.0),
            "standard uncertainty of the fixture's flow factor",
        ),
        Field::preset(
            "flow_uncertainty_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(2.0),
            "standard uncertainty of the flow",
        ),
        Field::preset(
            "pressure_uncertainty_bar",
            Kind::Number { low: 0.0, high: 100.0 },
            Preset::Number(0.05),
            "standard uncertainty of the pressure drop",
        ),
        Field::preset(
            "temperature_uncertainty_k",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(1.0),
            "standard uncertainty of the temperature",
        ),
    ],
    outputs: &[
        Output {
            name: "flow_factor_m3_h",
            text: "flow of water of 20 degC at 1 bar through the circuit alone",
        },
        Output { name: "standard_uncertainty_m3_h", text: "its standard uncertainty" },
        Output { name: "exponent", text: "d ln pressure drop / d ln flow at 1 bar" },
        Output { name: "fixture_share", text: "share of the measured drop that is hoses and couplings" },
        Output { name: "method", text: "where the form of the curve came from" },
    ],
    sources: &["iec-60534-2-1", "white-fluid-mechanics", "jcgm-100", "iapws-r7-97", "iapws-r12-08"],
    run: run_flow_factor,
};

fn run_flow_factor(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut keep = |found: Vec<Fault>| faults.extend(found);
    let points = points(input).map_err(&mut keep).ok();
    let pieces =
        input.has("pieces").then(|| read_pieces(input, "pieces")).transpose().map_err(&mut keep).ok();
    let (Some(points), Some(pieces)) = (points, pieces) else { return Err(faults) };
    let uncertainty = PointUncertainty {
        flow_relative: input.number("flow_uncertainty_percent") / 100.0,
        drop_bar: input.number("pressure_uncertainty_bar"),
        temperature_k: input.number("temperature_uncertainty_k"),
    };
    let fixture = input.optional_number("fixture_flow_factor_m3_h").map(|factor| Fixture {
        flow_factor: FlowFactor::from_m3_h(factor),
        relative_uncertainty: input.number("fixture_uncertainty_percent") / 100.0,
    });
    let answer = match flow_factor(&points, uncertainty, pieces.as_deref(), fixture) {
        Ok(found) => told(&found),
        Err(error @ FlowFactorError::CannotTell { .. }) => Answer::new()
            .with("flow_factor_m3_h", Value::Null)
            .with("standard_uncertainty_m3_h", Value::Null)
            .with("exponent", Value::Null)
            .with("fixture_share", Value::Null)
            .with("method", Value::Null)
            .warn("cannot-tell", capitalised(&error.to_string())),
        Err(error) => return Err(vec![input_fault(error, input.has("points"))]),
    };
    Ok(drilled_warnings(answer, input.items("pieces"), "pieces"))
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().collect::<String>()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

fn points(input: Input<'_>) -> Result<Vec<FlowPoint>, Vec<Fault>> {
    let given = SINGLE.iter().filter(|name| input.has(name));
    if input.has("points") {
        let twice =
            |name: &&str| Fault::new(*name, "given beside points", "give the three single fields or points");
        let faults: Vec<Fault> = given.map(twice).collect();
        return if faults.is_empty() {
            Ok(input.records("points").map(point).collect())
        } else {
            Err(faults)
        };
    }
    let missing = |name: &&str| Fault::new(*name, "missing", "give this, or points instead");
    let faults: Vec<Fault> = SINGLE.iter().filter(|name| !input.has(name)).map(missing).collect();
    if faults.is_empty() { Ok(vec![point(input)]) } else { Err(faults) }
}

/// The reading that [`POINT`] describes.
pub(super) fn point(input: Input<'_>) -> FlowPoint {
    FlowPoint {
        flow: VolumeFlow::from_l_min(input.number("flow_l_min")),
        drop: PressureDrop::from_bar(input.number("pressure_drop_bar")),
        temperature: Temperature::from_deg_c(input.number("temperature_deg_c")),
    }
}

fn input_fault(error: FlowFactorError, sweep: bool) -> Fault {
    match error {
        FlowFactorError::Point { at, range } if sweep => Fault::from(range).under(&format!("points.{at}")),
        FlowFactorError::Point { range, .. } | FlowFactorError::OutOfRange(range) => Fault::from(range),
        FlowFactorError::Pieces(error) => fault(error, "pieces"),
        FlowFactorError::FixtureExceeds { fixture_m3_h, .. } => {
            Fault::new("fixture_flow_factor_m3_h", error.to_string(), "check the flow factor and the units")
                .with_value(fixture_m3_h)
        }
        FlowFactorError::NoPoints | FlowFactorError::NoFit | FlowFactorError::CannotTell { .. } => {
            Fault::new(
                if sweep { "points" } else { "flow_l_min" },
                error.to_string(),
                "check units and sizes",
            )
        }
    }
}

fn told(found: &FlowFactorResult) -> Answer {
    let answer = Answer::new()
        .with("flow_factor_m3_h", found.estimate)
        .with("standard_uncertainty_m3_h", found.flow_factor_m3_h.standard)
        .with("exponent", found.exponent)
        .with("fixture_share", found.fixture_share)
        .with("method", method_word(found.method));
    found.flags.iter().fold(answer, |answer, flag| {
        let (code, text) = flag_words(*flag, found.fixture_share);
        answer.warn(code, text)
    })
}

const fn method_word(method: Method) -> &'static str {
    match method {
        Method::TypicalExponent => "typical-exponent",
        Method::Sweep => "sweep",
        Method::KnownPieces => "known-pieces",
        Method::KnownPiecesSweep => "known-pieces-sweep",
    }
}

fn flag_words(flag: Flag, fixture_share: f64) -> (&'static str, String) {
    match flag {
        Flag::FixtureDominates => (
            "fixture-dominates",
            format!(
                "{:.0} % of the measured drop is hoses and couplings: shorter and wider ones would tell more.",
                100.0 * fixture_share
            ),
        ),
        Flag::Transition(count) => (
            "transition",
            format!("{count} of the readings lie between laminar and turbulent flow; measure at a larger flow."),
        ),
        Flag::Laminar(count) => (
            "laminar",
            format!("{count} of the readings are or may be laminar and say little about 1 bar; measure at a larger flow."),
        ),
        Flag::FarFromPoints => (
            "far-from-points",
            "The flow at 1 bar is more than three times beyond the readings; measure nearer to 1 bar.".to_owned(),
        ),
        Flag::PointsDisagree => (
            "points-disagree",
            "The readings do not lie on one curve; the interval was widened. Look for air, flakes or a drifting gauge."
                .to_owned(),
        ),
    }
}

const BAR_ABS: Kind = Kind::Number { low: 1e-6, high: 1e5 };
const FACTOR: Kind = Kind::Number { low: 0.05, high: 1.0 };

static VALVE_COEFFICIENT: Calculator = Calculator {
    name: "valve-coefficient",
    title: "Flow factor for a duty",
    text: "Flow factor Kv that a valve or fitting needs for turbulent flow of a liquid, and whether the liquid boils \
           in its throat.",
    inputs: &[
        Field::required("flow_m3_h", Kind::NOT_NEGATIVE, "flow"),
        Field::required("inlet_bar_abs", BAR_ABS, "pressure before the valve, against vacuum"),
        Field::required("outlet_bar_abs", BAR_ABS, "pressure behind the valve, against vacuum"),
        Field::preset(
            "relative_density",
            Kind::Number { low: 0.01, high: 30.0 },
            Preset::Number(1.0),
            "density over that of water",
        ),
        Field::preset(
            "pressure_recovery_factor",
            FACTOR,
            Preset::Number(1.0),
            "pressure recovery factor FL; with reducers the joint factor FLP",
        ),
        Field::preset(
            "vapour_pressure_bar_abs",
            Kind::Number { low: 0.0, high: 1e5 },
            Preset::Number(0.0),
            "boiling pressure at the inlet temperature, against vacuum",
        ),
        Field::preset(
            "critical_pressure_bar_abs",
            BAR_ABS,
            Preset::Number(220.64),
            "critical pressure of the liquid",
        ),
        Field::preset("piping_geometry_factor", FACTOR, Preset::Number(1.0), "piping geometry factor Fp"),
    ],
    outputs: &[
        Output { name: "flow_factor_m3_h", text: "flow factor Kv" },
        Output { name: "choked", text: "whether the liquid boils in the throat" },
    ],
    sources: &["iec-60534-2-1"],
    run: run_valve_coefficient,
};

fn run_valve_coefficient(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let bar = |name: &str| AbsolutePressure::from_bar(input.number(name));
    let found = valve::size(&Duty {
        flow: VolumeFlow::from_m3_h(input.number("flow_m3_h")),
        inlet: bar("inlet_bar_abs"),
        outlet: bar("outlet_bar_abs"),
        relative_density: input.number("relative_density"),
        vapour_pressure: bar("vapour_pressure_bar_abs"),
        critical_pressure: bar("critical_pressure_bar_abs"),
        pressure_recovery_factor: input.number("pressure_recovery_factor"),
        piping_geometry_factor: input.number("piping_geometry_factor"),
    })
    .map_err(|range| vec![Fault::from(range)])?;
    let answer =
        Answer::new().with("flow_factor_m3_h", found.flow_factor.m3_h()).with("choked", found.choked);
    Ok(if found.choked {
        answer.warn("choked", "The liquid boils in the throat: a lower outlet pressure gives no more flow.")
    } else {
        answer
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(calculator: &Calculator, fields: &[(&'static str, f64)]) -> Result<Answer, Vec<Fault>> {
        calculator.answer(&Value::record(fields.iter().map(|(name, value)| (*name, Value::Number(*value)))))
    }

    fn codes(answer: &Answer) -> Vec<&'static str> {
        answer.warnings.iter().map(|warning| warning.code).collect()
    }

    fn middle(answer: &Answer) -> f64 {
        answer.get("flow_factor_m3_h").unwrap().get("value").unwrap().as_number().unwrap()
    }

    const SINGLE_POINT: [(&str, f64); 3] =
        [("flow_l_min", 12.0), ("pressure_drop_bar", 1.0), ("temperature_deg_c", 20.0)];

    #[test]
    fn twelve_litres_a_minute_at_one_bar() {
        // Definition: 12 l/min = 0.72 m3/h at 1 bar and 20 degC.
        let answer = ask(&FLOW_FACTOR, &SINGLE_POINT).unwrap();
        assert!((middle(&answer) - 0.72).abs() < 1e-4);
        assert_eq!(answer.get("method"), Some(&Value::from("typical-exponent")));
        assert!(codes(&answer).is_empty());
    }

    #[test]
    fn a_sweep_and_its_fixture() {
        // Couplings of 0.65 and a circuit of 0.7825 in a row make 0.5 (1/Kv^2 add; identity).
        let point = |flow: f64| {
            let bar = (flow * 0.06 / 0.5) * (flow * 0.06 / 0.5);
            Value::record(SINGLE.into_iter().zip([flow, bar, 20.0].map(Value::Number)))
        };
        let input = Value::record([
            ("points", Value::List([6.0, 9.0, 12.0, 15.0].map(point).to_vec())),
            ("fixture_flow_factor_m3_h", Value::Number(0.65)),
            ("flow_uncertainty_percent", Value::Number(0.5)),
            ("pressure_uncertainty_bar", Value::Number(0.002)),
        ]);
        let answer = FLOW_FACTOR.answer(&input).unwrap();
        assert!((middle(&answer) / 0.782_508 - 1.0).abs() < 0.003, "{}", middle(&answer));
        assert_eq!(codes(&answer), ["fixture-dominates"]);
    }

    #[test]
    fn cannot_tell_behind_a_tight_fixture() {
        let mut fields = SINGLE_POINT.to_vec();
        fields.push(("fixture_flow_factor_m3_h", 0.73));
        let answer = ask(&FLOW_FACTOR, &fields).unwrap();
        assert_eq!(codes(&answer), ["cannot-tell"]);
        assert_eq!(answer.get("flow_factor_m3_h"), Some(&Value::Null));
        assert!(answer.warnings[0].text.contains("larger flow"), "{}", answer.warnings[0].text);
        // A fixture that would lose far more than was measured is a wrong input, not a doubt.
        fields.truncate(3);
        fields.push(("fixture_flow_factor_m3_h", 0.5));
        assert_eq!(ask(&FLOW_FACTOR, &fields).unwrap_err()[0].field, "fixture_flow_factor_m3_h");
    }

    #[test]
    fn names_the_faulty_field() {
        let field = |fields: &[(&'static str, f64)]| ask(&FLOW_FACTOR, fields).unwrap_err()[0].field.clone();
        assert_eq!(field(&SINGLE_POINT[..2]), "temperature_deg_c");
        assert_eq!(field(&[("flow_l_min", 0.0), SINGLE_POINT[1], SINGLE_POINT[2]]), "flow_l_min");
        let outlet = [("flow_m3_h", 1.0), ("inlet_bar_abs", 2.0), ("outlet_bar_abs", 3.0)];
        assert_eq!(ask(&VALVE_COEFFICIENT, &outlet).unwrap_err()[0].field, "outlet_bar_abs");
    }

    #[test]
    fn valve_example_of_the_standard() {
        // IEC 60534-2-1, example 2: choked, Kv 238.
        let answer = ask(
            &VALVE_COEFFICIENT,
            &[
                ("flow_m3_h", 360.0),
                ("inlet_bar_abs", 6.8),
                ("outlet_bar_abs", 2.2),
                ("relative_density", 0.9654),
                ("pressure_recovery_factor", 0.6),
                ("vapour_pressure_bar_abs", 0.701),
                ("critical_pressure_bar_abs", 221.2),
            ],
        )
        .unwrap();
        let factor = answer.get("flow_factor_m3_h").unwrap().as_number().unwrap();
        assert!((factor / 238.0 - 1.0).abs() < 0.002);
        assert_eq!(answer.get("choked"), Some(&Value::Flag(true)));
        assert_eq!(codes(&answer), ["choked"]);
    }
}
