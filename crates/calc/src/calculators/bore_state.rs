//! Calculator: what is in the bore.

use super::flow_factor::{POINT, point};
use super::hydraulics::{drilled_warnings, fault, read_pieces};
use super::{Answer, Calculator, Output};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::hydraulics::flow_factor::{Fixture, PieceKnowledge, PointUncertainty};
use crate::hydraulics::piece_form::PIECE;
use crate::infer::bore::{
    Bench, BoreError, BoreInput, BoreState, Design, Hoses, Prior, Reading, Seen, Sweep, bore_state,
};
use crate::quantity::FlowFactor;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&BORE_STATE];

const UNCERTAINTY: Kind = Kind::Number { low: 0.0, high: 50.0 };

/// A standard uncertainty with its default.
const fn uncertainty(name: &'static str, default: f64, text: &'static str) -> Field {
    Field::preset(name, UNCERTAINTY, Preset::Number(default), text)
}

static BORE_STATE: Calculator = Calculator {
    name: "bore-state",
    title: "What is in the bore",
    text: "Even deposit, one narrow place, both, a rough wall, or as new: from flow points, and where given from the \
           filled volume, the air passage and the baseline of the circuit. Flow alone tells a deposit from a narrow place \
           hardly better than a coin; the further reading that would tell most is named. Uncertainties are standard ones.",
    inputs: &[
        Field::required(
            "pieces",
            Kind::List { of: &PIECE, least: 1 },
            "pieces of the circuit as new, without hoses of the rig",
        ),
        Field::optional("points", Kind::List { of: &POINT, least: 1 }, "readings of flow and pressure drop"),
        uncertainty("flow_uncertainty_percent", 2.0, "of the flow meter"),
        Field::preset(
            "pressure_uncertainty_bar",
            Kind::Number { low: 0.0, high: 100.0 },
            Preset::Number(0.05),
            "of the difference of both gauges",
        ),
        uncertainty("temperature_uncertainty_k", 1.0, "of the thermometer"),
        Field::optional(
            "fixture_flow_factor_m3_h",
            Kind::POSITIVE,
            "flow factor of hoses and couplings joined without a mould",
        ),
        uncertainty("fixture_uncertainty_percent", 3.0, "of the fixture's flow factor"),
        Field::optional("filled_volume_ml", Kind::POSITIVE, "filled volume of the circuit, hoses removed"),
        uncertainty("volume_uncertainty_percent", 3.0, "of the filled volume"),
        Field::optional(
            "air_sonic_conductance_dm3_s_bar",
            Kind::POSITIVE,
            "sonic conductance of the circuit, hoses removed",
        ),
        uncertainty("air_uncertainty_percent", 6.0, "of the sonic conductance"),
        Field::optional("baseline_flow_factor_m3_h", Kind::POSITIVE, "flow factor of the circuit as new"),
        uncertainty("baseline_uncertainty_percent", 2.0, "of the baseline's flow factor"),
        Field::optional(
            "baseline_points",
            Kind::List { of: &POINT, least: 1 },
            "readings of the circuit as new, with the same kind of instruments and without hoses",
        ),
        Field::optional("baseline_volume_ml", Kind::POSITIVE, "filled volume of the circuit as new"),
        uncertainty("baseline_volume_uncertainty_percent", 2.0, "of the baseline's volume"),
    ],
    outputs: &[
        Output {
            name: "probabilities",
            text: "of as-new, even-deposit, local-plug, mixed, rough, unknown; they add up to 1",
        },
        Output {
            name: "plugged_branch",
            text: "probability that a branch of a split is plugged (part of local-plug and mixed)",
        },
        Output {
            name: "layer_share",
            text: "share of the layer in the extra pressure loss, given that there is one",
        },
        Output { name: "fit", text: "good, or bad: no single picture fits the readings" },
        Output { name: "fit_probability", text: "share of good readings that would fit no better" },
        Output { name: "deposit_thickness_mm", text: "given that there is a layer" },
        Output { name: "plug_bore_mm", text: "hole of the same loss, given that there is a narrow place" },
        Output { name: "deposit_mass_g", text: "given that there is a layer" },
        Output {
            name: "best_next_reading",
            text: "the further reading that would tell most, with minutes and expected information",
        },
        Output { name: "further_readings", text: "all that were weighed" },
    ],
    sources: &["kass-raftery-1995", "shannon-1948", "jcgm-100", "colebrook-1939", "iapws-r12-08"],
    run,
};

fn run(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pieces = read_pieces(input, "pieces")?;
    let percent = |name: &str| input.number(name) / 100.0;
    let with = |value: &str, uncertainty: &str| {
        input.optional_number(value).map(|number| Uncertain::relative(number, percent(uncertainty)))
    };
    let instruments = PointUncertainty {
        flow_relative: percent("flow_uncertainty_percent"),
        drop_bar: input.number("pressure_uncertainty_bar"),
        temperature_k: input.number("temperature_uncertainty_k"),
    };
    let hoses = input.optional_number("fixture_flow_factor_m3_h").map_or(Hoses::None, |factor| {
        Hoses::Known(Fixture {
            flow_factor: FlowFactor::from_m3_h(factor),
            relative_uncertainty: percent("fixture_uncertainty_percent"),
        })
    });
    let sweep = input.has("points").then(|| Sweep {
        points: input.records("points").map(point).collect(),
        uncertainty: instruments,
        hoses,
    });
    let own_ml = crate::hydraulics::volume::filled_volume(&pieces).ml();
    let asked = BoreInput {
        designs: vec![Design {
            pieces,
            weight: 1.0,
            knowledge: PieceKnowledge::DRAWING,
            flow_ln: 0.03,
            volume_ln: 0.04,
            air_ln: 0.05,
            by_sisters_m3_h: None,
        }],
        then: Seen {
            flow_factor_m3_h: with("baseline_flow_factor_m3_h", "baseline_uncertainty_percent"),
            volume_ml: with("baseline_volume_ml", "baseline_volume_uncertainty_percent"),
            sweep: input.has("baseline_points").then(|| Sweep {
                points: input.records("baseline_points").map(point).collect(),
                uncertainty: instruments,
                hoses: Hoses::None,
            }),
            ..Seen::default()
        },
        today: Seen {
            sweep,
            flow_factor_m3_h: None,
            volume_ml: with("filled_volume_ml", "volume_uncertainty_percent"),
            sonic_dm3_s_bar: with("air_sonic_conductance_dm3_s_bar", "air_uncertainty_percent"),
        },
        prior: Prior::default(),
        elsewhere: 0.0,
        bench: Some(Bench {
            flow: Some((instruments.flow_relative, instruments.drop_bar)),
            largest_flow_share: 1.0,
            volume_with_hoses_ml: None,
            volume_alone_ml: Some(own_ml * percent("volume_uncertainty_percent").max(0.01)),
            air_relative: Some(percent("air_uncertainty_percent").max(0.01)),
        }),
    };
    match bore_state(&asked) {
        Ok(state) => Ok(drilled_warnings(told(&state), input.items("pieces"), "pieces")),
        Err(BoreError::Pieces(error)) => Err(vec![fault(error, "pieces")]),
        Err(BoreError::OutOfRange(range)) => Err(vec![Fault::from(range)]),
        Err(error @ BoreError::NoDesign) => {
            Err(vec![Fault::new("pieces", error.to_string(), "give the pieces")])
        }
        Err(error @ BoreError::NoReading) => {
            let hint = "give points, filled_volume_ml or air_sonic_conductance_dm3_s_bar";
            Err(vec![Fault::new("points", error.to_string(), hint)])
        }
    }
}

const fn reading_word(reading: Reading) -> &'static str {
    match reading {
        Reading::FullFlow => "full-flow",
        Reading::LowFlow => "low-flow",
        Reading::VolumeWithHoses => "filled-volume-through-hoses",
        Reading::VolumeAlone => "filled-volume",
        Reading::AirPassage => "air-passage",
    }
}

fn told(state: &BoreState) -> Answer {
    let weighed: Vec<Value> = state
        .next
        .iter()
        .map(|worth| {
            Value::record([
                ("reading", Value::from(reading_word(worth.reading))),
                ("minutes", Value::from(f64::from(worth.reading.minutes()))),
                ("expected_information_bits", Value::from(worth.bits)),
                ("probability_of_a_sure_state", Value::from(worth.confident)),
            ])
        })
        .collect();
    let answer = Answer::new()
        .with(
            "probabilities",
            Value::record([
                ("as-new", Value::from(state.as_new)),
                ("even-deposit", Value::from(state.even_deposit)),
                ("local-plug", Value::from(state.local_plug)),
                ("mixed", Value::from(state.mixed)),
                ("rough", Value::from(state.rough)),
                ("unknown", Value::from(state.unknown)),
            ]),
        )
        .with("plugged_branch", state.plugged_branch)
        .with("layer_share", state.layer_share)
        .with("fit", if state.fits() { "good" } else { "bad" })
        .with("fit_probability", state.fit)
        .with("deposit_thickness_mm", state.thickness_mm)
        .with("plug_bore_mm", state.plug_bore_mm)
        .with("deposit_mass_g", state.mass_g)
        .with("best_next_reading", weighed.first().cloned().unwrap_or(Value::Null))
        .with("further_readings", Value::List(weighed));
    if state.fits() {
        return answer;
    }
    answer.warn(
        "does-not-fit",
        "No single picture of the bore fits these readings: patchy scale, pieces that are not as given, or a wrong reading.",
    )
}
