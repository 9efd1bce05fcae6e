//! Calculators: tightness, leaks in other terms, filled volume by air, stored energy.

mod equivalents;
mod kind;
mod volume;

use super::decay_input::{decay, read_trace};
use super::{Answer, Calculator, Output};
use crate::air::energy;
use crate::air::leak_down::{
    DecayData, Gauge, LeakDownError, LeakDownInput, LeakDownResult, Verdict, leak_down,
};
use crate::form::{Fault, Field, Input, Kind, Need, Preset, Value};
use crate::quantity::{AbsolutePressure, Duration, LeakRate, Length, PressureDrop, Temperature, Volume};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[
    &LEAK_DOWN,
    &equivalents::LEAK_EQUIVALENTS,
    &equivalents::LEAK_UNITS,
    &kind::LEAK_KIND,
    &volume::TRAPPED_VOLUME,
    &volume::STORED_ENERGY,
];

const ATMOSPHERE: Kind = Kind::Number { low: 0.5, high: 1.2 };
const GAUGE: Kind = Kind::Number { low: -1.2, high: 50.0 };
const VOLUME_ML: Kind = Kind::Number { low: 0.1, high: 1e6 };
const DEGREES: Kind = Kind::Number { low: -20.0, high: 180.0 };

static TRACE: &[Field] = &[
    Field::required(
        "time_s",
        Kind::List { of: &Kind::Number { low: -1e9, high: 1e9 }, least: 3 },
        "time of each sample, from the shutting of the supply on",
    ),
    Field::required(
        "pressure_bar_g",
        Kind::List { of: &Kind::Sample { low: -1.2, high: 50.0 }, least: 3 },
        "gauge pressure of each sample; null where it is missing",
    ),
    Field::optional(
        "temperature_deg_c",
        Kind::List { of: &Kind::Sample { low: -20.0, high: 180.0 }, least: 3 },
        "temperature of the steel (or of the gas) at each sample",
    ),
];

static LEAK_DOWN: Calculator = Calculator {
    name: "leak-down",
    title: "Leak-down: leak rate from a falling pressure",
    text: "Leak rate of a circuit that holds air, at the start pressure and referred to 20 degC, with its interval; \
           settling of freshly compressed air, hoses, drift of temperature and gauge told from the leak as far as the \
           reading allows. Verdict against a limit with guard bands. Isothermal ideal gas, rigid volume.",
    inputs: &[
        Field::required("volume_ml", VOLUME_ML, "volume between the shut valves: circuit, hoses, dead ends"),
        Field::preset(
            "volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(5.0),
            "standard uncertainty of the volume",
        ),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013),
            "pressure of the surrounding air",
        ),
        Field::optional("wall_temperature_deg_c", DEGREES, "temperature of the steel"),
        Field::optional("trace", Kind::Record(TRACE), "logged pressure; or give two readings"),
        Field::optional("start_bar_g", GAUGE, "two readings: pressure when the supply was shut"),
        Field::optional("end_bar_g", GAUGE, "two readings: pressure at the end"),
        Field::optional("seconds", Kind::Number { low: 1.0, high: 86_400.0 }, "two readings: time between"),
        Field::preset(
            "limit_mbar_l_s",
            Kind::Number { low: 1e-6, high: 1e4 },
            Preset::Number(0.1),
            "largest leak that is still called tight",
        ),
        Field::optional("hose_volume_ml", Kind::NOT_NEGATIVE, "part of the volume that lies in hoses"),
        Field::optional("bore_mm", Kind::Number { low: 0.3, high: 130.0 }, "main bore of the circuit"),
        Field::preset(
            "hold_s",
            Kind::Number { low: 0.0, high: 86_400.0 },
            Preset::Number(10.0),
            "time from the beginning of the filling to the shutting of the supply",
        ),
        Field::optional(
            "gauge_uncertainty_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            "standard uncertainty of one reading against the next one of the same gauge (not the calibration); \
             0.001 with a trace, 0.01 with two readings",
        ),
        Field {
            name: "gauge_step_bar",
            text: "smallest step that the gauge shows; recognised from a trace where not given",
            kind: Kind::Number { low: 0.0, high: 10.0 },
            need: Need::Optional,
        },
    ],
    outputs: &[
        Output { name: "leak_rate_mbar_l_s", text: "leak rate at the start pressure, 20 degC" },
        Output {
            name: "detection_limit_mbar_l_s",
            text: "smallest leak that this reading would show for sure",
        },
        Output { name: "settled", text: "whether the air had settled before the end" },
        Output { name: "settled_from_s", text: "from when on it had" },
        Output { name: "verdict", text: "tight, leaks or cannot-tell, with guard bands" },
        Output {
            name: "water_ml_h",
            text: "water lost at the start pressure: low for a crack, high for a hole",
        },
        Output { name: "hole_um", text: "drilled hole that leaks as much (discharge coefficient 0.7)" },
        Output { name: "seconds_needed", text: "time of watching that shows a leak of the limit for sure" },
        Output { name: "rule_of_thumb_mbar_l_s", text: "what '0.2 bar in 20 s' means for this volume" },
        Output {
            name: "uncertainty_shares",
            text: "what makes the leak rate uncertain, shares of the variance",
        },
        Output { name: "best_next_reading", text: "what would tell, if this reading does not" },
    ],
    sources: &[
        "en-13184",
        "en-1779",
        "astm-e2930",
        "jcgm-100",
        "jcgm-106",
        "hagen-poiseuille",
        "white-fluid-mechanics",
    ],
    run: run_leak_down,
};

fn run_leak_down(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let trace = input.record("trace").map(read_trace).transpose()?;
    let decay = decay(input, trace.as_ref())?;
    let given = LeakDownInput {
        volume: Volume::from_ml(input.number("volume_ml")),
        volume_uncertainty_relative: input.number("volume_uncertainty_percent") / 100.0,
        hose_volume: input.optional_number("hose_volume_ml").map(Volume::from_ml),
        bore: input.optional_number("bore_mm").map(Length::from_mm),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        wall_temperature: input.optional_number("wall_temperature_deg_c").map(Temperature::from_deg_c),
        hold: Duration::from_s(input.number("hold_s")),
        gauge: gauge(input, &decay),
        limit: LeakRate::from_mbar_l_s(input.number("limit_mbar_l_s")),
        decay,
    };
    leak_down(&given)
        .map(|result| leak_down_answer(&result))
        .map_err(|error| vec![leak_down_fault(&error, input)])
}

fn gauge(input: Input<'_>, decay: &DecayData<'_>) -> Gauge {
    let usual = match decay {
        DecayData::Trace(_) => Gauge::logger(),
        DecayData::TwoReadings { .. } => Gauge::by_eye(),
    };
    let bar = |name, usual| input.optional_number(name).map_or(usual, PressureDrop::from_bar);
    Gauge {
        standard_uncertainty: bar("gauge_uncertainty_bar", usual.standard_uncertainty),
        step: bar("gauge_step_bar", usual.step),
        ..usual
    }
}

fn leak_down_answer(result: &LeakDownResult) -> Answer {
    let shares = result.budget.iter().map(|(cause, share)| (cause.word(), Value::Number(*share)));
    let mut answer = Answer::new()
        .with("leak_rate_mbar_l_s", result.leak_rate)
        .with("detection_limit_mbar_l_s", result.detection_limit.mbar_l_s())
        .with("settled", result.settled)
        .with("settled_from_s", result.settled_from_s)
        .with("verdict", verdict_word(result.verdict))
        .with("water_ml_h", result.water_ml_h)
        .with("hole_um", result.hole_um)
        .with("seconds_needed", result.seconds_needed.map(Duration::s))
        .with("rule_of_thumb_mbar_l_s", result.rule_of_thumb.leak_rate.mbar_l_s())
        .with("uncertainty_shares", Value::record(shares))
        .with("best_next_reading", result.best_next_reading)
        .warn(
            "water-is-a-range",
            "water_ml_h is a range at the start pressure: the low end takes the leak for a long narrow crack, the high \
             end for a short hole; one pressure cannot tell which.",
        );
    for note in &result.notes {
        answer = answer.warn(note.code(), note.text());
    }
    if result.best_next_reading.is_some() {
        answer = answer.warn("compressed-air", energy::CAUTION);
    }
    answer
}

const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Tight => "tight",
        Verdict::Leaks => "leaks",
        Verdict::CannotTell => "cannot-tell",
    }
}

fn leak_down_fault(error: &LeakDownError, input: Input<'_>) -> Fault {
    let traced = input.has("trace");
    let field = match error {
        LeakDownError::Range(range) => return range.clone().into(),
        LeakDownError::NoPressure | LeakDownError::NoFit => "trace.pressure_bar_g",
        LeakDownError::TooFewSamples { .. } | LeakDownError::TooShort { .. } => "trace.time_s",
        LeakDownError::StartTooLow { .. } | LeakDownError::Rises { .. } if traced => "trace.pressure_bar_g",
        LeakDownError::StartTooLow { .. } => "start_bar_g",
        LeakDownError::Rises { .. } => "end_bar_g",
        LeakDownError::HoseLargerThanVolume { .. } => "hose_volume_ml",
    };
    let fault = in_words(field, &error.to_string());
    input.optional_number(field).map_or(fault.clone(), |number| fault.with_value(number))
}

/// A fault from an error's sentence `problem: hint`.
fn in_words(field: &str, sentence: &str) -> Fault {
    let (problem, hint) = sentence.split_once(": ").unwrap_or((sentence, "check the reading"));
    Fault::new(field, problem, hint)
}

#[cfg(test)]
mod tests;
