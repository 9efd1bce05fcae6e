//! Calculator: the kind of a leak from its rate at several pressures.

use super::ATMOSPHERE;
use crate::air::leak_kind::{
    Kind as LeakLaw, LeakKind, LeakKindError, LeakKindInput, Point, Ratio, leak_kind,
};
use crate::calculators::{Answer, Calculator, Output};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::quantity::{AbsolutePressure, GaugePressure};

const START: Kind = Kind::Number { low: 0.5, high: 50.0 };

static POINT: &[Field] = &[
    Field::required("pressure_bar_g", START, "pressure at which the test began"),
    Field::required(
        "leak_rate_mbar_l_s",
        Kind::Number { low: -1e3, high: 1e5 },
        "leak rate at that pressure, not cut off at zero",
    ),
    Field::required(
        "standard_uncertainty_mbar_l_s",
        Kind::Number { low: 1e-9, high: 1e5 },
        "its standard uncertainty, the volume's part included",
    ),
];

pub(super) static LEAK_KIND: Calculator = Calculator {
    name: "leak-kind",
    title: "Kind of a leak from its rate at two or more pressures",
    text: "Probabilities that a leak is a laminar crack, an orifice, a seat that pressure presses shut, or a crack that \
           pressure pushes open, from leak rates at several start pressures, same direction and nothing changed between. \
           The volume that all rates share drops out. One point alone gives the pressure of the test that would tell.",
    inputs: &[
        Field::required("points", Kind::List { of: &Kind::Record(POINT), least: 1 }, "one for each test"),
        Field::preset(
            "volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(5.0),
            "standard uncertainty of the volume that all rates share",
        ),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013_25),
            "pressure of the surrounding air",
        ),
        Field::optional(
            "water_pressure_bar_g",
            Kind::Number { low: 0.5, high: 45.0 },
            "pressure of the water; the highest test pressure if left out",
        ),
        Field::optional(
            "highest_pressure_bar_g",
            START,
            "highest pressure that may be proposed for a further test; 6, or the highest used",
        ),
    ],
    outputs: &[
        Output { name: "probabilities", text: "probability of each kind; they add up to 1" },
        Output { name: "kind", text: "the kind, from a probability of 0.9 on; or cannot-tell" },
        Output {
            name: "ratio",
            text: "rate at the highest over rate at the lowest pressure, 95 % after Fieller",
        },
        Output { name: "exponent", text: "power of the absolute pressure that gives this ratio" },
        Output { name: "ratio_by_kind", text: "smallest and largest ratio that each kind gives" },
        Output { name: "next_pressure_bar_g", text: "pressure of a further test that would tell most" },
        Output { name: "next_information_bits", text: "expected fall of the doubt by that test" },
        Output { name: "water_ml_h", text: "water lost at the water pressure, kinds taken together" },
    ],
    sources: &[
        "hagen-poiseuille",
        "white-fluid-mechanics",
        "en-1779",
        "fieller-1954",
        "lindley-1956",
        "jcgm-100",
    ],
    run,
};

fn run(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let common = input.number("volume_uncertainty_percent") / 100.0;
    let (mut points, mut faults) = (Vec::new(), Vec::new());
    for (at, item) in input.records("points").enumerate() {
        match point(item, common) {
            Ok(point) => points.push(point),
            Err(fault) => faults.push(fault.under(&format!("points.{at}"))),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let top = points.iter().map(|point| point.pressure.bar()).fold(0.5, f64::max);
    let bar = |name, usual: f64| GaugePressure::from_bar(input.optional_number(name).unwrap_or(usual));
    let given = LeakKindInput {
        points: &points,
        volume_uncertainty_relative: common,
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        water_pressure: bar("water_pressure_bar_g", top.min(45.0)),
        highest: bar("highest_pressure_bar_g", top.max(6.0)),
    };
    leak_kind(&given).map(|found| answer(&found)).map_err(|error| {
        vec![match error {
            LeakKindError::Range(range) => range.into(),
            LeakKindError::NoPoint => Fault::new("points", "empty", "give one point or more"),
        }]
    })
}

/// A point without the part of its uncertainty that the volume brings to all.
fn point(item: Input<'_>, common: f64) -> Result<Point, Fault> {
    let (rate, standard) = (item.number("leak_rate_mbar_l_s"), item.number("standard_uncertainty_mbar_l_s"));
    let shared = common * rate;
    let own = standard * standard - shared * shared;
    if own <= 0.0 {
        let problem = format!("not above the {:.3} that the volume alone brings", shared.abs());
        let hint = "give the whole uncertainty of the rate, or a smaller volume_uncertainty_percent";
        return Err(Fault::new("standard_uncertainty_mbar_l_s", problem, hint).with_value(standard));
    }
    Ok(Point {
        pressure: GaugePressure::from_bar(item.number("pressure_bar_g")),
        rate_mbar_l_s: Uncertain::new(rate, own.sqrt()),
    })
}

fn answer(found: &LeakKind) -> Answer {
    let by_kind = |ratio: &Ratio| {
        Value::record(ratio.by_kind.map(|(kind, low, high)| {
            (kind.word(), Value::record([("low", Value::Number(low)), ("high", Value::Number(high))]))
        }))
    };
    let ratio = found.ratio.as_ref();
    let mut answer = Answer::new()
        .with(
            "probabilities",
            Value::record(found.probabilities.map(|(kind, share)| (kind.word(), Value::Number(share)))),
        )
        .with("kind", found.kind.map_or("cannot-tell", LeakLaw::word))
        .with("ratio", ratio.and_then(|ratio| ratio.value))
        .with("exponent", ratio.and_then(|ratio| ratio.exponent))
        .with("ratio_by_kind", ratio.map(by_kind))
        .with("next_pressure_bar_g", found.next.map(|next| next.pressure.bar()))
        .with("next_information_bits", found.next.map(|next| next.information_bits))
        .with("water_ml_h", found.water_ml_h)
        .warn(
            "priors-are-ours",
            "The probabilities before any reading are our own proposal: crack 0.45, orifice 0.30, seat 0.12, opening \
             crack 0.13.",
        );
    if found.fits_none {
        answer = answer.warn(
            "fits-no-kind",
            "The rates fit none of the kinds: two leaks of different kinds, or a leak that changed between the tests.",
        );
    }
    if found.next.is_some() {
        answer = answer.warn("compressed-air", crate::air::energy::CAUTION);
    }
    answer
}
