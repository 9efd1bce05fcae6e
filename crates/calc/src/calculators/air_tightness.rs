//! Calculators: tightness, leaks in other terms, filled volume by air, stored energy.

use super::{Answer, Calculator, Output};
use crate::air::energy::{self, stored_energy};
use crate::air::equivalents::{
    AirSide, LeakUnit, bubbles_per_second, capillary, from_unit, hole, to_unit, water_loss,
};
use crate::air::leak_down::{
    DecayData, Gauge, LeakDownError, LeakDownInput, LeakDownResult, Verdict, leak_down,
};
use crate::air::trapped::{Expansion, Fixture, Measurable, TrappedError, by_expansion};
use crate::form::{Fault, Field, Input, Kind, Need, Preset, Value};
use crate::quantity::{
    AbsolutePressure, Duration, GaugePressure, LeakRate, Length, PressureDrop, Temperature,
    TemperatureDifference, Volume,
};
use crate::trace::Trace;

/// The calculators of this file.
pub static ALL: &[&Calculator] =
    &[&LEAK_DOWN, &LEAK_EQUIVALENTS, &LEAK_UNITS, &TRAPPED_VOLUME, &STORED_ENERGY];

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

fn read_trace(record: Input<'_>) -> Result<Trace, Vec<Fault>> {
    let trace = Trace {
        time_s: record.numbers("time_s"),
        pressure_bar_g: Some(record.numbers("pressure_bar_g")),
        temperature_deg_c: record.has("temperature_deg_c").then(|| record.numbers("temperature_deg_c")),
        ..Trace::default()
    };
    let mut faults = Vec::new();
    let columns = [
        ("trace.pressure_bar_g", &trace.pressure_bar_g),
        ("trace.temperature_deg_c", &trace.temperature_deg_c),
    ];
    for (name, column) in columns {
        if let Some(column) = column.as_ref().filter(|column| column.len() != trace.len()) {
            let problem = format!("{} samples, but {} times", column.len(), trace.len());
            faults.push(Fault::new(name, problem, "give one sample for each time; null where it is missing"));
        }
    }
    if let Some(at) = trace.time_s.windows(2).position(|pair| matches!(pair, [a, b] if b <= a)) {
        let problem = format!("time does not rise after sample {at}");
        faults.push(Fault::new("trace.time_s", problem, "give times that rise"));
    }
    if faults.is_empty() { Ok(trace) } else { Err(faults) }
}

fn decay<'a>(input: Input<'_>, trace: Option<&'a Trace>) -> Result<DecayData<'a>, Vec<Fault>> {
    let names = ["start_bar_g", "end_bar_g", "seconds"];
    let readings = names.map(|name| input.optional_number(name));
    match (trace, readings) {
        (Some(trace), [None, None, None]) => Ok(DecayData::Trace(trace)),
        (Some(_), _) => Err(vec![Fault::new(
            "trace",
            "given together with two readings",
            "give the trace or the two readings",
        )]),
        (None, [Some(start), Some(end), Some(seconds)]) => Ok(DecayData::TwoReadings {
            start: GaugePressure::from_bar(start),
            end: GaugePressure::from_bar(end),
            time: Duration::from_s(seconds),
        }),
        (None, [None, None, None]) => {
            Err(vec![Fault::new("trace", "missing", "give a trace, or start_bar_g, end_bar_g and seconds")])
        }
        (None, readings) => Err(names
            .iter()
            .zip(readings)
            .filter(|(_, reading)| reading.is_none())
            .map(|(name, _)| {
                Fault::new(*name, "missing", "two readings need start_bar_g, end_bar_g and seconds")
            })
            .collect()),
    }
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
        .with("best_next_reading", result.best_next_reading.clone())
        .warn(
            "water-is-a-range",
            "water_ml_h is a range at the start pressure: the low end takes the leak for a long narrow crack, the high \
             end for a short hole; one pressure cannot tell which.",
        );
    for note in &result.notes {
        answer = answer.warn(note.code(), note.text());
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

static LEAK_EQUIVALENTS: Calculator = Calculator {
    name: "leak-equivalents",
    title: "A leak of air as water and as a hole",
    text: "Water that a leak measured with air would lose, through a narrow crack (laminar capillary) and through a short \
           hole (same discharge coefficient for air and water), and the hole or capillary that leaks as much.",
    inputs: &[
        Field::required(
            "leak_rate_mbar_l_s",
            Kind::Number { low: 0.0, high: 1e6 },
            "leak rate at the test pressure, 20 degC",
        ),
        Field::required("pressure_bar_g", Kind::Number { low: 0.05, high: 50.0 }, "test pressure of the air"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013_25),
            "pressure of the surrounding air",
        ),
        Field::preset(
            "temperature_deg_c",
            Kind::Number { low: 0.1, high: 95.0 },
            Preset::Number(20.0),
            "temperature of air and water",
        ),
        Field::optional(
            "water_pressure_bar_g",
            Kind::Number { low: 0.0, high: 45.0 },
            "pressure of the water; the test pressure if left out",
        ),
        Field::preset(
            "capillary_length_mm",
            Kind::Number { low: 0.01, high: 1000.0 },
            Preset::Number(10.0),
            "length of the capillary",
        ),
    ],
    outputs: &[
        Output { name: "water_ml_h_capillary", text: "water lost through a capillary, laminar" },
        Output { name: "water_ml_h_orifice", text: "water lost through a hole" },
        Output { name: "hole_um", text: "diameter of the hole, nozzle flow, discharge coefficient 0.7" },
        Output { name: "capillary_um", text: "diameter of the capillary of the given length" },
    ],
    sources: &["hagen-poiseuille", "white-fluid-mechanics", "en-1779", "iapws-r12-08", "iso-2533"],
    run: run_leak_equivalents,
};

fn run_leak_equivalents(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let leak = LeakRate::from_mbar_l_s(input.number("leak_rate_mbar_l_s"));
    let air = AirSide {
        pressure: GaugePressure::from_bar(input.number("pressure_bar_g")),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        temperature: Temperature::from_deg_c(input.number("temperature_deg_c")),
    };
    let water_pressure =
        input.optional_number("water_pressure_bar_g").map_or(air.pressure, GaugePressure::from_bar);
    let fault = |range: crate::limits::OutOfRange| vec![Fault::from(range)];
    let water = water_loss(leak, air, water_pressure).map_err(fault)?;
    let length = Length::from_mm(input.number("capillary_length_mm"));
    Ok(Answer::new()
        .with("water_ml_h_capillary", water.capillary.m3_h() * 1e6)
        .with("water_ml_h_orifice", water.orifice.m3_h() * 1e6)
        .with("hole_um", hole(leak, air).map_err(fault)?.um())
        .with("capillary_um", capillary(leak, air, length).map_err(fault)?.um())
        .warn(
            "model-not-known",
            "One pressure cannot tell a crack from a hole: the truth lies between the two. Very small leaks may be held \
             shut by surface tension or dry up unseen.",
        ))
}

static LEAK_UNITS: Calculator = Calculator {
    name: "leak-units",
    title: "Units of leak rates",
    text: "One leak rate in the units in use. Pressure times volume per time counts at one temperature: published tables of \
           units mean 0 degC, this program's own leak rates 20 degC, which is worth 7 % in cubic centimetres.",
    inputs: &[
        Field::required("value", Kind::Number { low: 0.0, high: 1e12 }, "leak rate"),
        Field::required(
            "unit",
            Kind::Choice(&[
                "mbar_l_s",
                "pa_m3_s",
                "atm_cm3_s",
                "atm_cm3_min_0c",
                "atm_cm3_min_20c",
                "torr_l_s",
                "cm3_min_0c",
            ]),
            "unit of the value; cm3 are at 1 atm and the named temperature",
        ),
        Field::preset(
            "reference_temperature_deg_c",
            Kind::Number { low: -50.0, high: 100.0 },
            Preset::Number(0.0),
            "temperature at which pressure times volume counts: 0 as in published tables, 20 for a leak rate of this program",
        ),
    ],
    outputs: &[
        Output { name: "mbar_l_s", text: "millibar litre per second" },
        Output { name: "pa_m3_s", text: "pascal cubic metre per second" },
        Output {
            name: "atm_cm3_s",
            text: "cubic centimetre at 1 atm and the reference temperature, per second",
        },
        Output { name: "cm3_min_0c", text: "cubic centimetre at 1 atm and 0 degC, per minute" },
        Output { name: "cm3_min_20c", text: "cubic centimetre at 1 atm and 20 degC, per minute" },
        Output { name: "torr_l_s", text: "torr litre per second" },
        Output { name: "bubbles_2mm_per_s", text: "bubbles of 2 mm per second, at 1 atm" },
    ],
    sources: &["nist-sp-811", "liwo-leak-rate", "leak-guidelines"],
    run: run_leak_units,
};

fn run_leak_units(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let reference = Temperature::from_deg_c(input.number("reference_temperature_deg_c"));
    let unit = match input.text("unit") {
        "pa_m3_s" => LeakUnit::PaM3S,
        "atm_cm3_s" => LeakUnit::AtmCm3S,
        "atm_cm3_min_0c" | "cm3_min_0c" => LeakUnit::AtmCm3Min0C,
        "atm_cm3_min_20c" => LeakUnit::AtmCm3Min20C,
        "torr_l_s" => LeakUnit::TorrLS,
        _ => LeakUnit::MbarLS,
    };
    let leak = from_unit(input.number("value"), unit, reference);
    let outputs = [
        ("mbar_l_s", LeakUnit::MbarLS),
        ("pa_m3_s", LeakUnit::PaM3S),
        ("atm_cm3_s", LeakUnit::AtmCm3S),
        ("cm3_min_0c", LeakUnit::AtmCm3Min0C),
        ("cm3_min_20c", LeakUnit::AtmCm3Min20C),
        ("torr_l_s", LeakUnit::TorrLS),
    ];
    let answer = outputs
        .iter()
        .fold(Answer::new(), |answer, (name, unit)| answer.with(name, to_unit(leak, *unit, reference)));
    let answer = answer.with("bubbles_2mm_per_s", bubbles_per_second(leak, Length::from_mm(2.0)));
    Ok(answer.warn(
        "reference-temperature",
        format!(
            "Pressure times volume was taken at {} degC. Leak rates of this program count at 20 degC: give \
             reference_temperature_deg_c = 20 for them.",
            reference.deg_c().round()
        ),
    ))
}

static TRAPPED_VOLUME: Calculator = Calculator {
    name: "trapped-volume",
    title: "Filled volume by air expansion",
    text: "Volume of a circuit from the pressures before and after air of a known volume was let into it; no wetting. \
           Ideal gas, same temperature before and long after; one gauge for all readings, so that its gain and zero cancel.",
    inputs: &[
        Field::required("reference_volume_ml", VOLUME_ML, "known volume, up to the valve"),
        Field::required("reference_bar_g", GAUGE, "pressure in the known volume before"),
        Field::preset("circuit_bar_g", GAUGE, Preset::Number(0.0), "pressure in the circuit before"),
        Field::required("joined_bar_g", GAUGE, "pressure in both, half a minute after they were joined"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013),
            "pressure of the surrounding air",
        ),
        Field::preset(
            "pressure_repeatability_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.01),
            "standard uncertainty of one reading against another of the same gauge",
        ),
        Field::preset(
            "reference_volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(0.5),
            "standard uncertainty of the known volume",
        ),
        Field::preset(
            "temperature_difference_k",
            Kind::Number { low: 0.0, high: 100.0 },
            Preset::Number(1.0),
            "standard uncertainty of the difference between the two temperatures",
        ),
        Field::optional(
            "fixture_volume_ml",
            Kind::NOT_NEGATIVE,
            "hoses and dead ends between valve and circuit, to be taken off",
        ),
        Field::preset(
            "fixture_volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(4.0),
            "standard uncertainty of the fixture's volume",
        ),
    ],
    outputs: &[
        Output { name: "volume_ml", text: "volume of the circuit, fixture taken off" },
        Output { name: "with_fixture_ml", text: "volume with the fixture" },
        Output {
            name: "measurable",
            text: "yes, coarse (above 10 %), or behind-fixture (not measurable behind this hose)",
        },
    ],
    sources: &["en-13184", "jcgm-100"],
    run: run_trapped_volume,
};

fn run_trapped_volume(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pressure = |name| GaugePressure::from_bar(input.number(name));
    let reading = Expansion {
        reference: Volume::from_ml(input.number("reference_volume_ml")),
        reference_uncertainty_relative: input.number("reference_volume_uncertainty_percent") / 100.0,
        reference_before: pressure("reference_bar_g"),
        circuit_before: pressure("circuit_bar_g"),
        joined: pressure("joined_bar_g"),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        repeatability: PressureDrop::from_bar(input.number("pressure_repeatability_bar")),
        temperature_difference: TemperatureDifference::from_k(input.number("temperature_difference_k")),
        fixture: input.optional_number("fixture_volume_ml").map(|ml| Fixture {
            volume: Volume::from_ml(ml),
            uncertainty_relative: input.number("fixture_volume_uncertainty_percent") / 100.0,
        }),
    };
    let found = by_expansion(&reading).map_err(|error| match error {
        TrappedError::Range(range) => vec![Fault::from(range)],
        TrappedError::NoDifference { .. } => {
            vec![in_words("reference_bar_g", &error.to_string()).with_value(input.number("reference_bar_g"))]
        }
        TrappedError::NotBetween { joined_bar_g } => {
            vec![in_words("joined_bar_g", &error.to_string()).with_value(joined_bar_g)]
        }
    })?;
    let answer = Answer::new()
        .with("volume_ml", found.volume_ml.estimate())
        .with("with_fixture_ml", found.with_fixture_ml.estimate());
    Ok(match found.measurable {
        Measurable::Yes => answer.with("measurable", "yes"),
        Measurable::Coarse => answer.with("measurable", "coarse").warn(
            "coarse",
            "Uncertainty above 10 %: use a vessel of about the circuit's volume, a finer gauge, or shorter hoses.",
        ),
        Measurable::BehindFixture => answer.with("measurable", "behind-fixture").warn(
            "behind-fixture",
            "Not measurable behind this hose: the uncertainty is as large as the circuit. Use short adapters, or measure \
             the hoses joined to each other.",
        ),
    })
}

static STORED_ENERGY: Calculator = Calculator {
    name: "stored-energy",
    title: "Energy in compressed air",
    text: "Work that compressed air gives off when it is let go: isentropic expansion to the surrounding air.",
    inputs: &[
        Field::required("volume_ml", Kind::Number { low: 0.0, high: 1e6 }, "volume under pressure"),
        Field::required("pressure_bar_g", Kind::Number { low: 0.0, high: 50.0 }, "gauge pressure"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013_25),
            "pressure of the surrounding air",
        ),
    ],
    outputs: &[Output { name: "energy_j", text: "stored energy" }],
    sources: &["asme-pcc-2", "hse-gs4"],
    run: |input| {
        let energy = stored_energy(
            Volume::from_ml(input.number("volume_ml")),
            GaugePressure::from_bar(input.number("pressure_bar_g")),
            AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        )
        .map_err(|range| vec![Fault::from(range)])?;
        Ok(Answer::new().with("energy_j", energy.j()).warn("compressed-air", energy::CAUTION))
    },
};

#[cfg(test)]
mod tests;
