//! Calculator: what has drifted on a rig.

use crate::calculators::{Answer, Calculator, Output};
use crate::estimate::{Estimate, Uncertain};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::numeric::math;
use crate::quantity::{FlowFactor, GaugePressure, Temperature, VolumeFlow};
use crate::readings::rig_check::{
    Instrument, InstrumentState, KnownThing, RigCheckError, RigReading, RigState, Stated, Trust, rig_check,
};

const BAR_G: Kind = Kind::Number { low: -1.0, high: 400.0 };
const WATER_DEG_C: Kind = Kind::Number { low: 0.1, high: 180.0 };
const FLOW: Kind = Kind::Number { low: 0.0, high: 10_000.0 };

pub(super) static RIG_CHECK: Calculator = Calculator {
    name: "rig-check",
    title: "What has drifted on the rig",
    text: "From readings on known things (hoses joined, an orifice, a bucket, gauges at rest and at shut-off, reference \
           instruments) the errors of meter, gauges, hoses and thermometer, each with the probability that it is more \
           than was stated; what cannot be told apart, and the reading that would tell.",
    inputs: &[
        Field::preset(
            "flow_uncertainty_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(2.0),
            "stated standard uncertainty of the flow meter",
        ),
        Field::preset(
            "pressure_uncertainty_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.05),
            "of each gauge",
        ),
        Field::preset(
            "gauge_step_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.0),
            "smallest step that the gauges show",
        ),
        Field::preset(
            "temperature_uncertainty_k",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(1.0),
            "of the thermometer",
        ),
        Field::optional(
            "fixture_flow_factor_m3_h",
            Kind::POSITIVE,
            "hoses and couplings joined, as the rig states; an earlier fixture run stands in",
        ),
        Field::preset(
            "fixture_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(3.0),
            "of the fixture's flow factor",
        ),
        Field::required(
            "readings",
            Kind::List { of: &Kind::Record(READING), least: 1 },
            "readings on known things",
        ),
    ],
    outputs: &[
        Output { name: "trust", text: "the rig as a whole: sound, drifted or cannot-tell" },
        Output {
            name: "instruments",
            text: "by name: error (in % for flow-meter, gains and hoses, in bar for zeros, in K), drifted (probability), \
                   trust, checked",
        },
        Output { name: "fit_probability", text: "probability of so bad a fit if all is as stated" },
        Output { name: "inseparable", text: "pairs that these readings cannot tell apart" },
        Output { name: "next_reading", text: "the reading that would tell most; null if none is needed" },
    ],
    sources: &["gelman-bda", "jcgm-106", "iec-60534-2-1"],
    run: run_rig_check,
};

static READING: &[Field] = &[
    Field::required(
        "on",
        Kind::Choice(&["fixture", "orifice", "at-rest", "shut-off", "bucket"]),
        "what the reading was taken on",
    ),
    Field::preset("when", Kind::Choice(&["today", "earlier"]), Preset::Text("today"), "when it was taken"),
    Field::optional("flow_l_min", FLOW, "flow meter"),
    Field::optional("pressure_in_bar_g", BAR_G, "inlet gauge"),
    Field::optional("pressure_out_bar_g", BAR_G, "outlet gauge"),
    Field::optional("water_temperature_deg_c", WATER_DEG_C, "rig's thermometer; 20 if left out"),
    Field::optional("reference_flow_factor_m3_h", Kind::POSITIVE, "orifice: its flow factor"),
    Field::preset(
        "reference_uncertainty_percent",
        Kind::Number { low: 0.0, high: 50.0 },
        Preset::Number(1.5),
        "orifice: standard uncertainty of its flow factor",
    ),
    Field::optional("bucket_flow_l_min", Kind::POSITIVE, "bucket: its flow"),
    Field::optional(
        "bucket_uncertainty_l_min",
        Kind::NOT_NEGATIVE,
        "bucket: standard uncertainty of its flow, the meter's scatter meanwhile included",
    ),
    Field::optional("reference_pressure_bar_g", BAR_G, "reference gauge on the same pressure, at shut-off"),
    Field::preset(
        "reference_pressure_uncertainty_bar",
        Kind::Number { low: 0.0, high: 10.0 },
        Preset::Number(0.01),
        "standard uncertainty of the reference gauge",
    ),
    Field::optional("reference_temperature_deg_c", WATER_DEG_C, "reference thermometer in the same water"),
    Field::preset(
        "reference_temperature_uncertainty_k",
        Kind::Number { low: 0.0, high: 50.0 },
        Preset::Number(0.1),
        "standard uncertainty of the reference thermometer",
    ),
];

fn reading(input: Input<'_>) -> Result<RigReading, Fault> {
    let needed = |name: &str| {
        input.optional_number(name).ok_or_else(|| {
            let problem = format!("missing, {} needs it", input.text("on"));
            Fault::new(name, problem, "give it, or change on")
        })
    };
    let bar = |name: &str| input.optional_number(name).map(GaugePressure::from_bar);
    let deg_c = |name: &str| input.optional_number(name).map(Temperature::from_deg_c);
    let on = match input.text("on") {
        "fixture" => KnownThing::Fixture,
        "orifice" => KnownThing::Orifice {
            flow_factor: FlowFactor::from_m3_h(needed("reference_flow_factor_m3_h")?),
            relative: input.number("reference_uncertainty_percent") / 100.0,
        },
        "at-rest" => KnownThing::AtRest,
        "shut-off" => KnownThing::ShutOff,
        _ => KnownThing::Bucket {
            flow_l_min: Uncertain::new(needed("bucket_flow_l_min")?, needed("bucket_uncertainty_l_min")?),
        },
    };
    Ok(RigReading {
        on,
        earlier: input.text("when") == "earlier",
        flow: input.optional_number("flow_l_min").map(VolumeFlow::from_l_min),
        pressure_in: bar("pressure_in_bar_g"),
        pressure_out: bar("pressure_out_bar_g"),
        water_temperature: deg_c("water_temperature_deg_c"),
        reference_pressure: bar("reference_pressure_bar_g")
            .map(|known| (known, input.number("reference_pressure_uncertainty_bar"))),
        reference_temperature: deg_c("reference_temperature_deg_c")
            .map(|known| (known, input.number("reference_temperature_uncertainty_k"))),
    })
}

fn run_rig_check(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut readings = Vec::new();
    let mut faults = Vec::new();
    for (place, record) in input.records("readings").enumerate() {
        match reading(record) {
            Ok(reading) => readings.push(reading),
            Err(fault) => faults.push(fault.under(&format!("readings.{place}"))),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let stated = Stated {
        flow_relative: input.number("flow_uncertainty_percent") / 100.0,
        pressure_bar: input.number("pressure_uncertainty_bar"),
        gauge_step_bar: input.number("gauge_step_bar"),
        temperature_k: input.number("temperature_uncertainty_k"),
        fixture: input.optional_number("fixture_flow_factor_m3_h").map(|factor| {
            (FlowFactor::from_m3_h(factor), input.number("fixture_uncertainty_percent") / 100.0)
        }),
    };
    rig_check(&stated, &readings).map(|found| answer(&found)).map_err(|error| vec![fault(error)])
}

fn fault(error: RigCheckError) -> Fault {
    let text = error.to_string();
    match error {
        RigCheckError::Nothing => Fault::new("readings", text, "give a reading of today on a known thing"),
        RigCheckError::Missing { place, .. } => {
            Fault::new(format!("readings.{place}"), text, "give what this kind of reading needs")
        }
        RigCheckError::NoDrop { place, .. } => {
            let hint = "are inlet and outlet exchanged?";
            Fault::new(format!("readings.{place}.pressure_in_bar_g"), text, hint)
        }
        RigCheckError::Range(range) => Fault::from(range),
    }
}

/// The error in the unit of the results.
pub(super) fn shown(state: &InstrumentState) -> Estimate {
    let percent = |ln: f64| 100.0 * math::exp_m1(ln);
    match state.instrument {
        Instrument::Meter | Instrument::Hoses => Estimate {
            value: percent(state.error.value),
            low: percent(state.error.low),
            high: percent(state.error.high),
            ..state.error
        },
        Instrument::InletGain | Instrument::OutletGain => state.error.scaled(100.0),
        Instrument::InletZero | Instrument::OutletZero | Instrument::Thermometer => state.error,
    }
}

fn answer(found: &RigState) -> Answer {
    let instruments = found.instruments.iter().map(|state| {
        let record = Value::record([
            ("error", Value::from(shown(state))),
            ("drifted", Value::from(state.drifted)),
            ("trust", Value::from(state.trust().word())),
            ("checked", Value::from(state.checked)),
        ]);
        (state.instrument.word(), record)
    });
    let pairs = found
        .inseparable
        .iter()
        .map(|(a, b)| Value::List(vec![Value::from(a.word()), Value::from(b.word())]));
    let answer = Answer::new()
        .with("trust", found.trust.word())
        .with("instruments", Value::record(instruments))
        .with("fit_probability", found.fit_probability)
        .with("inseparable", Value::List(pairs.collect()))
        .with("next_reading", found.next_reading.map(|next| next.word()));
    match (found.trust, found.next_reading) {
        (Trust::Drifted | Trust::CannotTell, Some(next)) => {
            answer.warn("open-question", format!("To tell more, {}.", next.text()))
        }
        _ => answer,
    }
}
