//! Calculators: passage of air, chains of sonic conductances.

use super::decay_input::{decay, read_trace};
use super::{Answer, Calculator, Output};
use crate::air::discharge::{Charged, Discharge, DischargeError, Gauge, Note};
use crate::air::passage::{Evidence, Expected, PassageInput, PassageResult, passage};
use crate::air::sonic::fixture::Fixture;
use crate::air::sonic::line::{self, Drawing};
use crate::air::sonic::{SonicPart, effective_bore, series};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::hydraulics::piece_form;
use crate::hydraulics::volume::filled_volume;
use crate::quantity::{AbsolutePressure, Duration, PressureDrop, SonicConductance, Temperature, Volume};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&AIR_PASSAGE, &SONIC_SERIES];

const CONDUCTANCE: Kind = Kind::Number { low: 1e-6, high: 1e5 };
const GAUGE: Kind = Kind::Number { low: -1.2, high: 50.0 };
const VOLUME_ML: Kind = Kind::Number { low: 1.0, high: 1e5 };
const SMALL_BAR: Kind = Kind::Number { low: 0.0, high: 1.0 };

static TRACE: &[Field] = &[
    Field::required(
        "time_s",
        Kind::List { of: &Kind::Number { low: -1e9, high: 1e9 }, least: 2 },
        "time of each sample, from before the opening if possible",
    ),
    Field::required(
        "pressure_bar_g",
        Kind::List { of: &Kind::Sample { low: -1.2, high: 50.0 }, least: 2 },
        "gauge pressure of each sample; null where it is missing",
    ),
];

static AIR_PASSAGE: Calculator = Calculator {
    name: "air-passage",
    title: "Air passage: how much air a circuit lets through, and whether that is as it should be",
    text: "Sonic conductance (ISO 6358) from a pressure that falls while air is let out, by the heat balance of the \
           emptying vessel between isothermal and adiabatic; hoses taken out; verdict against drawing or clean baseline. \
           Conductances refer to 20 degC, 1 bar and 7 bar absolute in front. A circuit that empties itself, a fall too fast \
           for the logger and two readings give wide intervals or bounds, and say so.",
    inputs: &[
        Field::required(
            "charged",
            Kind::Choice(&["circuit", "reservoir"]),
            "what was charged: the circuit itself, or a vessel that empties through it",
        ),
        Field::required("volume_ml", VOLUME_ML, "volume of what was charged, with its hoses up to the valve"),
        Field::preset(
            "volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(1.0),
            "its standard uncertainty",
        ),
        Field::optional("trace", Kind::Record(TRACE), "logged pressure; or give two readings"),
        Field::optional("start_bar_g", GAUGE, "two readings: pressure before the air was let out"),
        Field::optional("end_bar_g", GAUGE, "two readings: pressure at the end"),
        Field::optional("seconds", Kind::Number { low: 0.001, high: 1e5 }, "two readings: time between"),
        Field::preset(
            "air_temperature_deg_c",
            Kind::Number { low: -20.0, high: 80.0 },
            Preset::Number(20.0),
            "temperature of air and vessel at the start",
        ),
        Field::preset(
            "atmosphere_bar_abs",
            Kind::Number { low: 0.5, high: 1.2 },
            Preset::Number(1.013),
            "pressure of the surrounding air",
        ),
        Field::optional(
            "pieces",
            Kind::List { of: &piece_form::PIECE, least: 1 },
            "the circuit as new, without hoses",
        ),
        Field::preset(
            "pieces_known",
            Kind::Choice(&["drawing", "guessed"]),
            Preset::Text("drawing"),
            "how far the pieces are to be trusted",
        ),
        Field::optional(
            "baseline_sonic_conductance_dm3_s_bar",
            CONDUCTANCE,
            "the circuit's own value when clean, hoses removed; used instead of the pieces",
        ),
        Field::preset(
            "baseline_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(2.0),
            "standard uncertainty of the baseline",
        ),
        Field::optional(
            "fixture_sonic_conductance_dm3_s_bar",
            CONDUCTANCE,
            "hoses and couplings joined together without a mould",
        ),
        Field::preset(
            "fixture_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(3.0),
            "standard uncertainty of that value",
        ),
        Field::optional(
            "circuit_volume_ml",
            VOLUME_ML,
            "reservoir: volume of circuit and hoses behind it; that of the pieces if not given; without both the interval is wider",
        ),
        Field::optional(
            "volume_before_circuit_ml",
            VOLUME_ML,
            "circuit: volume of the hose between gauge and circuit; 15 % of the volume if not given",
        ),
        Field::preset(
            "narrow_below_dm3_s_bar",
            CONDUCTANCE,
            Preset::Number(1.0),
            "conductance below which a circuit is called slow in absolute terms",
        ),
        Field::optional(
            "gauge_noise_bar",
            SMALL_BAR,
            "standard deviation of one sample; from the trace if not given",
        ),
        Field::preset("gauge_step_bar", SMALL_BAR, Preset::Number(0.0), "smallest step that the gauge shows"),
        Field::preset(
            "gauge_zero_uncertainty_bar",
            SMALL_BAR,
            Preset::Number(0.01),
            "standard uncertainty of the gauge's zero",
        ),
        Field::optional(
            "gauge_lag_s",
            Kind::Number { low: 0.0, high: 10.0 },
            "time constant with which the gauge follows; about 0.02 s if not given",
        ),
    ],
    outputs: &[
        Output {
            name: "sonic_conductance_dm3_s_bar",
            text: "sonic conductance of the circuit, hoses removed; null where only a bound is known",
        },
        Output { name: "at_least_dm3_s_bar", text: "lower 95 % bound where no value can be given" },
        Output { name: "at_most_dm3_s_bar", text: "upper 95 % bound where no value can be given" },
        Output { name: "critical_ratio", text: "critical pressure ratio of all that the air went through" },
        Output { name: "effective_bore_mm", text: "bore of the ideal nozzle that lets as much through" },
        Output {
            name: "expected_sonic_conductance_dm3_s_bar",
            text: "what should pass, by baseline or pieces",
        },
        Output { name: "ratio", text: "measured over expected" },
        Output { name: "verdict", text: "free, narrow-by-design, restricted, blocked or cannot-tell" },
        Output { name: "reason", text: "the verdict's reason" },
        Output { name: "best_next_reading", text: "what would tell, if this reading does not" },
        Output { name: "fit", text: "good or bad, if a curve was fitted" },
    ],
    sources: &[
        "iso-6358-1",
        "iso-6358-2",
        "iso-6358-3",
        "iso-8778",
        "crane-tp410",
        "iec-60534-2-1",
        "common-practice",
    ],
    run: run_air_passage,
};

fn run_air_passage(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let trace = input.record("trace").map(read_trace).transpose()?;
    let decay = decay(input, trace.as_ref())?;
    let (expected, piece_volume) = expected(input)?;
    let volume = Volume::from_ml(input.number("volume_ml"));
    let charged = match input.text("charged") {
        "circuit" => Charged::Circuit { volume },
        _ => Charged::Reservoir { volume },
    };
    let circuit_volume = input.optional_number("circuit_volume_ml").map(Volume::from_ml).or(piece_volume);
    let bar = PressureDrop::from_bar;
    let discharge = Discharge {
        charged,
        volume_standard: (input.number("volume_uncertainty_percent") / 100.0).min(0.5),
        circuit_volume,
        volume_before_circuit: input.optional_number("volume_before_circuit_ml").map(Volume::from_ml),
        decay,
        gauge: Gauge {
            noise: input.optional_number("gauge_noise_bar").map(bar),
            step: bar(input.number("gauge_step_bar")),
            zero: bar(input.number("gauge_zero_uncertainty_bar")),
            lag: input.optional_number("gauge_lag_s").map(Duration::from_s),
        },
        air_temperature: Temperature::from_deg_c(input.number("air_temperature_deg_c")),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
    };
    let dm3 = SonicConductance::from_dm3_s_bar;
    let fixture = input.optional_number("fixture_sonic_conductance_dm3_s_bar").map(|conductance| {
        Fixture::on_both_sides(dm3(conductance), input.number("fixture_uncertainty_percent") / 100.0)
    });
    let given = PassageInput {
        discharge,
        fixture,
        expected,
        narrow_below: dm3(input.number("narrow_below_dm3_s_bar")),
    };
    passage(&given).map(|result| passage_answer(&result)).map_err(|error| vec![discharge_fault(error, input)])
}

/// Baseline before pieces; the pieces' volume counts either way.
fn expected(input: Input<'_>) -> Result<(Option<Expected>, Option<Volume>), Vec<Fault>> {
    let baseline = input.optional_number("baseline_sonic_conductance_dm3_s_bar").map(|value| {
        Expected::of_baseline(Uncertain::relative(
            value,
            input.number("baseline_uncertainty_percent") / 100.0,
        ))
    });
    let Some(list) = input.get("pieces") else { return Ok((baseline, None)) };
    let pieces = piece_form::pieces(list)
        .map_err(|faults| faults.into_iter().map(|fault| fault.under("pieces")).collect::<Vec<_>>())?;
    let drawing = if input.text("pieces_known") == "guessed" { Drawing::Poor } else { Drawing::Good };
    let line = line::conductance(&pieces, Temperature::from_deg_c(20.0)).map_err(|error| {
        vec![Fault::new("pieces", error.to_string(), "check diameters, lengths and roughness")]
    })?;
    Ok((Some(baseline.unwrap_or_else(|| Expected::of_pieces(&line, drawing))), Some(filled_volume(&pieces))))
}

fn passage_answer(result: &PassageResult) -> Answer {
    let bound = |least: bool| match result.evidence {
        Evidence::AtLeast(bound) if least => Some(Value::Number(bound)),
        Evidence::AtMost(bound) if !least => Some(Value::Number(bound)),
        _ => None,
    };
    let fit = result.fit.map(|fit| Value::from(if fit.good { "good" } else { "bad" }));
    let mut answer = Answer::new()
        .with("sonic_conductance_dm3_s_bar", result.sonic_conductance)
        .with("at_least_dm3_s_bar", bound(true))
        .with("at_most_dm3_s_bar", bound(false))
        .with("critical_ratio", result.critical_ratio)
        .with("effective_bore_mm", result.effective_bore_mm)
        .with("expected_sonic_conductance_dm3_s_bar", result.expected)
        .with("ratio", result.ratio)
        .with("verdict", result.verdict.word())
        .with("reason", result.reason.clone())
        .with("best_next_reading", result.would_tell.clone())
        .with("fit", fit);
    for note in &result.notes {
        answer = answer.warn(code(*note), note.text());
    }
    answer
}

const fn code(note: Note) -> &'static str {
    match note {
        Note::CriticalRatioAssumed => "critical-ratio-assumed",
        Note::NoSampleBeforeOpening => "no-sample-before-opening",
        Note::FewSamples => "few-samples",
        Note::PoorFit => "poor-fit",
        Note::CircuitVolume => "circuit-volume",
        Note::OwnVolume => "own-volume",
        Note::TwoReadings => "two-readings",
    }
}

fn discharge_fault(error: DischargeError, input: Input<'_>) -> Fault {
    let traced = input.has("trace");
    match error {
        DischargeError::OutOfRange(range) if traced && range.quantity == "start_bar_g" => {
            Fault { field: "trace.pressure_bar_g".to_owned(), ..range.into() }
        }
        DischargeError::OutOfRange(range) => range.into(),
        DischargeError::Trace => {
            Fault::new("trace", error.to_string(), "give the pressure from before the opening on")
        }
        DischargeError::Rising { .. } => {
            let field = if traced { "trace.pressure_bar_g" } else { "end_bar_g" };
            Fault::new(field, error.to_string(), "give the reading of the air being let out")
        }
    }
}

static PART: &[Field] = &[
    Field::required("sonic_conductance_dm3_s_bar", CONDUCTANCE, "sonic conductance of the part"),
    Field::required(
        "critical_ratio",
        Kind::Number { low: 0.0, high: 0.9 },
        "critical pressure ratio of the part",
    ),
];

static SONIC_SERIES: Calculator = Calculator {
    name: "sonic-series",
    title: "Sonic conductance of parts in a row",
    text: "Parts in flow order as one part (ISO 6358-3 sense, elliptic flow function): two parts in closed form, more by \
           the pressures between them. The order counts.",
    inputs: &[Field::required(
        "parts",
        Kind::List { of: &Kind::Record(PART), least: 1 },
        "parts in flow order",
    )],
    outputs: &[
        Output { name: "sonic_conductance_dm3_s_bar", text: "sonic conductance of the chain" },
        Output { name: "critical_ratio", text: "outlet over inlet pressure at which the chain just chokes" },
        Output { name: "effective_bore_mm", text: "bore of the ideal nozzle that lets as much through" },
    ],
    sources: &["iso-6358-1", "iso-6358-3"],
    run: run_sonic_series,
};

fn run_sonic_series(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut parts = Vec::new();
    let mut faults = Vec::new();
    for (place, part) in input.records("parts").enumerate() {
        let conductance = SonicConductance::from_dm3_s_bar(part.number("sonic_conductance_dm3_s_bar"));
        match SonicPart::new(conductance, part.number("critical_ratio")) {
            Ok(part) => parts.push(part),
            Err(range) => faults.push(Fault::from(range).under(&format!("parts.{place}"))),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let whole = series(&parts)
        .map_err(|error| vec![Fault::new("parts", error.to_string(), "give the parts in flow order")])?;
    Ok(Answer::new()
        .with("sonic_conductance_dm3_s_bar", whole.conductance().dm3_s_bar())
        .with("critical_ratio", whole.critical_ratio())
        .with("effective_bore_mm", effective_bore(whole.conductance()).mm()))
}
