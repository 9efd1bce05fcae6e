//! Calculator: the leak map of a mould.

use super::decay_input::{decay, read_trace};
use super::{Answer, Calculator, Output};
use crate::air::cross_leak::{
    Circuit, CrossLeakError, CrossLeaks, Gauges, Leaks, NextTest, Path, Seen, Test, cross_leak, naive_plan,
};
use crate::air::leak_down::DecayData;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::quantity::{AbsolutePressure, Duration, GaugePressure, PressureDrop, Volume};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&CROSS_LEAK];

const GAUGE: Kind = Kind::Number { low: -1.2, high: 50.0 };
static WORD: Kind = Kind::Text;
static IDS: Kind = Kind::List { of: &WORD, least: 1 };
const MANY: Kind = Kind::List { of: &WORD, least: 0 };

static CIRCUIT: &[Field] = &[
    Field::required("id", Kind::Text, "name"),
    Field::optional(
        "volume_ml",
        Kind::Number { low: 0.1, high: 1e6 },
        "volume between the shut valves, hoses included; left out if nobody knows",
    ),
    Field::optional(
        "volume_uncertainty_percent",
        Kind::Number { low: 0.0, high: 200.0 },
        "standard uncertainty of the volume; 5 if left out",
    ),
];

static READING: Kind = Kind::Record(&[
    Field::optional(
        "time_s",
        Kind::List { of: &Kind::Number { low: -1e9, high: 1e9 }, least: 3 },
        "logged: time of each sample",
    ),
    Field::optional(
        "pressure_bar_g",
        Kind::List { of: &Kind::Sample { low: -1.2, high: 50.0 }, least: 3 },
        "logged: gauge pressure of each sample; null where it is missing",
    ),
    Field::optional("start_bar_g", GAUGE, "two readings: pressure at the start"),
    Field::optional("end_bar_g", GAUGE, "two readings: pressure at the end"),
    Field::optional("seconds", Kind::Number { low: 1.0, high: 86_400.0 }, "two readings: time between"),
]);

static TEST: &[Field] = &[
    Field::required("charged", Kind::TextOr(&IDS), "the charged circuit, or a list of them"),
    Field::optional(
        "open",
        MANY,
        "circuits that were vented meanwhile; so is every circuit that is named nowhere",
    ),
    Field::optional("watched", MANY, "circuits that were vented, closed and watched"),
    Field::required("traces", Kind::Map(&READING), "what was seen, by the circuit's name"),
    Field::preset(
        "hold_s",
        Kind::Number { low: 0.0, high: 3600.0 },
        Preset::Number(10.0),
        "seconds on supply before the charged circuits were shut off",
    ),
];

static CROSS_LEAK: Calculator = Calculator {
    name: "cross-leak",
    title: "Leak map: who leaks into whom",
    text: "From tests in which some circuits are charged with air and others are closed and watched: every path between \
           circuits and to the outside with its probability and rate, and the test that would tell most. Rates hold at \
           7 bar absolute against the surrounding air, 20 degC; law of a narrow crack; isothermal ideal gas.",
    inputs: &[
        Field::required(
            "circuits",
            Kind::List { of: &Kind::Record(CIRCUIT), least: 1 },
            "circuits of the mould",
        ),
        Field::required(
            "tests",
            Kind::List { of: &Kind::Record(TEST), least: 0 },
            "tests, in any order; none for a first plan",
        ),
        Field::preset(
            "atmosphere_bar_abs",
            Kind::Number { low: 0.5, high: 1.2 },
            Preset::Number(1.013),
            "pressure of the surrounding air",
        ),
        Field::preset(
            "pressure_bar_g",
            Kind::Number { low: 0.2, high: 16.0 },
            Preset::Number(6.0),
            "test pressure of charged circuits that no gauge saw",
        ),
        Field::preset(
            "gauge_uncertainty_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.01),
            "standard uncertainty of one reading by eye against the next one of the same gauge",
        ),
        Field::preset(
            "gauge_step_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.0),
            "smallest step that the gauges show",
        ),
        Field::optional(
            "ports",
            Kind::Count { low: 1, high: 100 },
            "circuits that can be charged or watched at once; all if left out",
        ),
    ],
    outputs: &[
        Output {
            name: "paths",
            text: "each path of at least 5 %: from, to (a circuit or `outside`), rate_mbar_l_s if it is there, \
                   probability, opens_above_bar_g (null unless it opens only above a pressure difference)",
        },
        Output {
            name: "next_test",
            text: "the test that would tell most: charged, watched, open, minutes, expected_bits, why; null when nothing is \
                   left to find",
        },
        Output {
            name: "untested",
            text: "pairs between which no test could have shown a leak of 0.3 mbar·l/s",
        },
        Output { name: "fallback", text: "the plain plan that needs no advice" },
    ],
    sources: &["en-13184", "astm-e2930", "hagen-poiseuille", "mackay-2003", "cover-thomas"],
    run: run_cross_leak,
};

fn run_cross_leak(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut faults = Vec::new();
    let names: Vec<&str> = input.records("circuits").map(|circuit| circuit.text("id")).collect();
    for (place, name) in names.iter().enumerate() {
        if names.iter().take(place).any(|earlier| earlier == name) {
            let problem = "another circuit has this name";
            faults.push(
                Fault::new(format!("circuits.{place}.id"), problem, "give each its own").with_value(*name),
            );
        }
    }
    let circuits = input.records("circuits").map(|circuit| Circuit {
        id: circuit.text("id").to_owned(),
        volume: circuit.optional_number("volume_ml").map(Volume::from_ml),
        volume_relative: circuit.optional_number("volume_uncertainty_percent").map(|percent| percent / 100.0),
    });
    let circuits: Vec<Circuit> = circuits.collect();
    let mut tests = Vec::new();
    for (place, record) in input.records("tests").enumerate() {
        match test(record, &names) {
            Ok(test) => tests.push(test),
            Err(found) => {
                faults.extend(found.into_iter().map(|fault| fault.under(&format!("tests.{place}"))));
            }
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let leaks = Leaks {
        circuits,
        tests,
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        pressure: GaugePressure::from_bar(input.number("pressure_bar_g")),
        gauges: Gauges {
            by_eye: PressureDrop::from_bar(input.number("gauge_uncertainty_bar")),
            step: PressureDrop::from_bar(input.number("gauge_step_bar")),
            ..Gauges::default()
        },
        ports: input.optional_number("ports").map(ports),
    };
    let found = cross_leak(&leaks).map_err(|error| vec![fault(&error)])?;
    Ok(warned(answer(&leaks, &found), &leaks, &found))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 100"
)]
fn ports(count: f64) -> usize {
    count as usize
}

fn test(record: Input<'_>, names: &[&str]) -> Result<Test, Vec<Fault>> {
    let mut faults = Vec::new();
    let charged = match record.get("charged").and_then(Value::as_text) {
        Some(one) => vec![(one, "charged".to_owned())],
        None => listed(record, "charged"),
    };
    let mut place = |name: &str, field: String| {
        let found = names.iter().position(|known| *known == name);
        if found.is_none() {
            let fault = Fault::new(field, "no circuit of this name", "check the spelling against `circuits`");
            faults.push(fault.with_value(name));
        }
        found
    };
    let charged: Vec<usize> = charged.into_iter().filter_map(|(name, field)| place(name, field)).collect();
    let watched: Vec<usize> =
        listed(record, "watched").into_iter().filter_map(|(name, field)| place(name, field)).collect();
    let open: Vec<usize> =
        listed(record, "open").into_iter().filter_map(|(name, field)| place(name, field)).collect();
    let readings: Vec<(usize, &str, Input<'_>)> = record
        .record("traces")
        .iter()
        .flat_map(|traces| traces.value().fields())
        .filter_map(|(name, value)| {
            Some((place(name, format!("traces.{name}"))?, name.as_str(), Input::checked(value)))
        })
        .collect();
    let mut seen = Vec::new();
    for (at, name, reading) in readings {
        match (open.contains(&at), self::seen(reading)) {
            (true, _) => faults.push(Fault::new(
                format!("traces.{name}"),
                "this circuit is open",
                "an open circuit has no pressure to watch",
            )),
            (_, Ok(decay)) => seen.push((at, decay)),
            (_, Err(found)) => {
                faults.extend(found.into_iter().map(|fault| fault.under(&format!("traces.{name}"))));
            }
        }
    }
    for at in open.iter().filter(|at| charged.contains(at) || watched.contains(at)) {
        let name = names.get(*at).copied().unwrap_or_default();
        let problem = "this circuit is charged or watched too";
        faults.push(Fault::new("open", problem, "name it once").with_value(name));
    }
    let hold = Duration::from_s(record.number("hold_s"));
    if faults.is_empty() { Ok(Test { charged, watched, seen, hold }) } else { Err(faults) }
}

fn listed<'a>(record: Input<'a>, field: &str) -> Vec<(&'a str, String)> {
    let items = record.items(field).iter().enumerate();
    items.filter_map(|(at, item)| Some((item.as_text()?, format!("{field}.{at}")))).collect()
}

fn seen(reading: Input<'_>) -> Result<Seen, Vec<Fault>> {
    let bare = |fault: Fault| Fault { field: fault.field.trim_start_matches("trace.").to_owned(), ..fault };
    let trace = match (reading.has("time_s"), reading.has("pressure_bar_g")) {
        (true, true) => {
            Some(read_trace(reading).map_err(|faults| faults.into_iter().map(bare).collect::<Vec<_>>())?)
        }
        (true, false) => {
            return Err(vec![Fault::new("pressure_bar_g", "missing", "give one sample for each time")]);
        }
        (false, true) => return Err(vec![Fault::new("time_s", "missing", "give the time of each sample")]),
        (false, false) => None,
    };
    Ok(match decay(reading, trace.as_ref())? {
        DecayData::Trace(trace) => {
            let (times, bars) = trace.pressures().unwrap_or_default();
            Seen::Logged(times, bars)
        }
        DecayData::TwoReadings { start, end, time } => Seen::Twice { start, end, time },
    })
}

fn fault(error: &CrossLeakError) -> Fault {
    let (field, hint) = match error {
        CrossLeakError::Range(range) => return Fault::from(range.clone()),
        CrossLeakError::Circuits { .. } => ("circuits".to_owned(), "split the mould by halves"),
        CrossLeakError::Stranger { test, .. } => (format!("tests.{test}"), "check the names"),
        CrossLeakError::Both { test, .. } => (format!("tests.{test}.watched"), "name a circuit once"),
        CrossLeakError::NothingCharged { test } => (format!("tests.{test}.charged"), "name at least one"),
        CrossLeakError::NoSlope { test, .. } => {
            (format!("tests.{test}.traces"), "give three samples or more with rising times")
        }
    };
    Fault::new(field, error.to_string(), hint)
}

fn name(leaks: &Leaks, place: usize) -> Value {
    Value::from(leaks.circuits.get(place).map_or("", |circuit| circuit.id.as_str()))
}

fn names(leaks: &Leaks, places: &[usize]) -> Value {
    Value::List(places.iter().map(|place| name(leaks, *place)).collect())
}

fn answer(leaks: &Leaks, found: &CrossLeaks) -> Answer {
    let path = |path: &Path| {
        Value::record([
            ("from", name(leaks, path.from)),
            ("to", path.to.map_or(Value::from("outside"), |to| name(leaks, to))),
            ("rate_mbar_l_s", Value::from(path.rate_mbar_l_s)),
            ("probability", Value::from(path.probability)),
            ("opens_above_bar_g", path.opens_above_bar.map_or(Value::Null, Value::from)),
        ])
    };
    let next = |next: &NextTest| {
        Value::record([
            ("charged", names(leaks, &next.charged)),
            ("watched", names(leaks, &next.watched)),
            ("open", names(leaks, &next.open)),
            ("minutes", Value::from(next.minutes)),
            ("expected_bits", Value::from(next.expected_bits)),
            ("why", Value::from(next.why.as_str())),
        ])
    };
    let untested = found.untested.iter().map(|(a, b)| Value::List(vec![name(leaks, *a), name(leaks, *b)]));
    Answer::new()
        .with("paths", Value::List(found.paths.iter().map(path).collect()))
        .with("next_test", found.next_test.as_ref().map_or(Value::Null, next))
        .with("untested", Value::List(untested.collect()))
        .with("fallback", naive_plan(leaks.circuits.len()))
}

fn warned(answer: Answer, leaks: &Leaks, found: &CrossLeaks) -> Answer {
    let unknown: Vec<&str> = leaks
        .circuits
        .iter()
        .filter(|circuit| circuit.volume.is_none())
        .map(|circuit| circuit.id.as_str())
        .collect();
    let mut answer = answer;
    if !unknown.is_empty() {
        answer = answer.warn(
            "volume-unknown",
            format!(
                "The volume of {} is not known: 250 ml within a factor of about 5 is assumed, and rates are as wide.",
                unknown.join(", ")
            ),
        );
    }
    if found.paths.iter().any(|path| path.opens_above_bar.is_some()) {
        answer = answer.warn(
            "opens-above",
            "A path opens only above a pressure difference: a test at a lower pressure would call it tight.",
        );
    }
    if !found.unexplained.is_empty() {
        let ids: Vec<&str> = found
            .unexplained
            .iter()
            .filter_map(|place| leaks.circuits.get(*place).map(|circuit| circuit.id.as_str()))
            .collect();
        answer = answer.warn(
            "unexplained",
            format!(
                "The pressures of {} follow from no set of paths: check volumes and hoses, and test them alone.",
                ids.join(", ")
            ),
        );
    }
    let unseen = leaks
        .tests
        .iter()
        .any(|test| test.charged.iter().any(|place| !test.seen.iter().any(|(other, _)| other == place)));
    if unseen {
        answer = answer.warn(
            "charged-unseen",
            "A charged circuit has no reading of its own: it counts as holding its pressure, and the sender among \
             several charged circuits cannot be told.",
        );
    }
    if leaks.tests.is_empty() {
        return answer;
    }
    answer.warn(
        "compressed-air",
        "Compressed air is stored energy: hoses restrained, nobody in line with plugs, vent before opening.",
    )
}
