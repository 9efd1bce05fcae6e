//! Calculators: hoses against the hook-up list, and the two parts it is made of.

use super::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::infer::assignment::{Assignments, MOST, weigh};
use crate::infer::hook_up::{
    DeadEnd, HookUp, LnValue, Passes, Port, Quantities, Quantity, SlipPrior, exponnorm, hook_up, would_tell,
};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&HOOK_UP_CHECK, &ASSIGNMENT, &FOULING_DENSITY];

const UNCERTAINTY: Kind = Kind::Number { low: 0.0, high: 500.0 };
const LN_LIKELIHOOD: Kind = Kind::Number { low: -1e6, high: 1e6 };
const PROBABILITY: Kind = Kind::Number { low: 0.0, high: 1.0 };

static MEASURED: &[Field] = &[
    Field::optional("flow_factor_m3_h", Kind::POSITIVE, "flow factor, hoses and couplings taken out"),
    Field::preset(
        "flow_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(2.0),
        "standard, of the flow factor",
    ),
    Field::optional(
        "filled_volume_ml",
        Kind::Number { low: -1e5, high: 1e6 },
        "filled volume, hoses taken out; may be negative where nothing passes",
    ),
    Field::preset(
        "volume_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(3.0),
        "standard, of the filled volume",
    ),
    Field::preset(
        "volume_uncertainty_ml",
        Kind::Number { low: 0.0, high: 1e5 },
        Preset::Number(3.0),
        "standard, of a filled volume where nothing passes",
    ),
    Field::preset(
        "hose_back_ml",
        Kind::Number { low: 0.0, high: 1e5 },
        Preset::Number(0.0),
        "hose at the other end in the volume taken out; 0 without hoses",
    ),
    Field::optional(
        "air_sonic_conductance_dm3_s_bar",
        Kind::POSITIVE,
        "sonic conductance, hoses and couplings taken out",
    ),
    Field::preset(
        "air_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(6.0),
        "standard, of the sonic conductance",
    ),
    Field::preset(
        "passes",
        Kind::Choice(&["yes", "no", "gone", "not-told"]),
        Preset::Text("not-told"),
        "whether anything got through: yes, no, or charged air was gone at once although all was shut",
    ),
    Field::optional(
        "outlet_above_inlet_bar",
        Kind::Number { low: -1000.0, high: 1000.0 },
        "outlet less inlet while water flows, by gauges at the circuit",
    ),
    Field::preset(
        "pressure_uncertainty_bar",
        Kind::Number { low: 1e-6, high: 100.0 },
        Preset::Number(0.07),
        "standard, of that difference",
    ),
];

static EXPECTED: &[Field] = &[
    Field::optional("flow_factor_m3_h", Kind::POSITIVE, "flow factor as new"),
    Field::preset(
        "flow_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(3.0),
        "standard, of the flow factor",
    ),
    Field::optional("filled_volume_ml", Kind::POSITIVE, "filled volume as new"),
    Field::preset(
        "volume_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(4.0),
        "standard, of the filled volume",
    ),
    Field::optional("air_sonic_conductance_dm3_s_bar", Kind::POSITIVE, "sonic conductance as new"),
    Field::preset(
        "air_uncertainty_percent",
        UNCERTAINTY,
        Preset::Number(10.0),
        "standard, of the sonic conductance",
    ),
    Field::preset(
        "by_sisters",
        Kind::Flag,
        Preset::Flag(false),
        "whether this is what sister circuits show today, which may be the fouled ones",
    ),
];

static HOOK_UP_CHECK: Calculator = Calculator {
    name: "hook-up-check",
    title: "Hoses against the hook-up list",
    text: "Circuits that hang on the rig at the same time: hoses exchanged, on nothing, two circuits on one port, returns \
           exchanged, supply and return exchanged. Every reading is held against every circuit; a circuit may have lost \
           flow, air and a little volume by fouling and gains nothing. Reversed hoses show only by gauges at the circuit. \
           Priors and spreads are our own choice.",
    inputs: &[
        Field::required(
            "circuits",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("id", Kind::Text, "id of the circuit that the list has on the port"),
                    Field::optional("measured", Kind::Record(MEASURED), "what was measured through the port"),
                    Field::optional("expected", Kind::Record(EXPECTED), "what is expected of the circuit"),
                ]),
                least: 1,
            },
            "circuits of one hook-up, up to 40",
        ),
        Field::preset("least_probability", PROBABILITY, Preset::Number(0.5), "doubts from here on are given"),
    ],
    outputs: &[
        Output {
            name: "doubts",
            text: "for each: kind (exchanged, missing, doubled, bridged, reversed), circuits, probability, text, settled_by",
        },
        Output {
            name: "assignment",
            text: "for each listed id: the circuit most probably on its port, by exchanges alone",
        },
        Output {
            name: "elsewhere",
            text: "for each: id, probability that its hose is not where the list has it",
        },
        Output { name: "as_listed", text: "probability that every hose is where the list has it" },
        Output {
            name: "next_reading",
            text: "the quantity, not yet read, that would tell the two most doubtful circuits apart: flow, volume, air; or null",
        },
        Output { name: "exact", text: "whether all permutations were summed (up to 8 circuits)" },
    ],
    sources: &["kuhn-1955", "own-arithmetic"],
    run: run_hook_up,
};

fn run_hook_up(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let circuits: Vec<(&str, Port)> =
        input.records("circuits").map(|circuit| (circuit.text("id"), port(circuit))).collect();
    let mut faults = Vec::new();
    for (place, (id, _)) in circuits.iter().enumerate() {
        if circuits.iter().take(place).any(|(other, _)| other == id) {
            let fault =
                Fault::new(format!("circuits.{place}.id"), "this id stands twice", "name each circuit once");
            faults.push(fault.with_value(*id));
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let ports: Vec<Port> = circuits.iter().map(|(_, port)| *port).collect();
    let names: Vec<&str> = circuits.iter().map(|(id, _)| *id).collect();
    let found =
        hook_up(&ports, &SlipPrior::ORDINARY, input.number("least_probability")).map_err(|error| {
            vec![Fault::new("circuits", error.to_string(), format!("give 1 to {MOST} circuits"))]
        })?;
    Ok(hook_up_answer(&found, &ports, &names))
}

fn port(circuit: Input<'_>) -> Port {
    let mut port = Port::default();
    let value = |input: Input<'_>, name: &str, percent: &str| {
        LnValue::of(input.optional_number(name)?, input.number(percent) / 100.0)
    };
    let quantities = |input: Input<'_>| Quantities {
        flow: value(input, "flow_factor_m3_h", "flow_uncertainty_percent"),
        volume: value(input, "filled_volume_ml", "volume_uncertainty_percent"),
        air: value(input, "air_sonic_conductance_dm3_s_bar", "air_uncertainty_percent"),
    };
    if let Some(measured) = circuit.record("measured") {
        port.measured = quantities(measured);
        port.passes = match measured.text("passes") {
            "yes" => Passes::Yes,
            "no" => Passes::No,
            "gone" => Passes::Gone,
            _ => Passes::NotTold,
        };
        if port.passes == Passes::No {
            port.measured.volume = None;
        }
        port.dead_end = measured.optional_number("filled_volume_ml").map(|filled_ml| DeadEnd {
            filled_ml,
            standard_ml: measured.number("volume_uncertainty_ml"),
            back_ml: measured.number("hose_back_ml"),
        });
        port.backwards = measured
            .optional_number("outlet_above_inlet_bar")
            .map(|bar| bar / measured.number("pressure_uncertainty_bar"));
    }
    if let Some(expected) = circuit.record("expected") {
        port.expected = quantities(expected);
        port.by_sisters = expected.flag("by_sisters");
    }
    port
}

fn hook_up_answer(found: &HookUp, ports: &[Port], names: &[&str]) -> Answer {
    let name = |place: &usize| Value::from(names.get(*place).copied().unwrap_or_default());
    let doubts = found.doubts.iter().map(|doubt| {
        Value::record([
            ("kind", Value::from(doubt.slip.word())),
            ("circuits", Value::List(doubt.ports.iter().map(name).collect())),
            ("probability", Value::from(doubt.probability)),
            ("text", Value::from(doubt.text(names))),
            ("settled_by", Value::from(doubt.settled_by(names))),
        ])
    });
    let elsewhere = found.elsewhere.iter().enumerate().map(|(place, probability)| {
        Value::record([("id", name(&place)), ("probability", Value::from(*probability))])
    });
    Answer::new()
        .with("doubts", Value::List(doubts.collect()))
        .with("assignment", Value::List(found.assignment.iter().map(name).collect()))
        .with("elsewhere", Value::List(elsewhere.collect()))
        .with("as_listed", found.as_listed)
        .with("next_reading", next_reading(found, ports).map_or(Value::Null, Value::from))
        .with("exact", found.exact)
}

/// For the two circuits whose hoses are most probably elsewhere.
fn next_reading(found: &HookUp, ports: &[Port]) -> Option<&'static str> {
    let mut order: Vec<usize> = (0..ports.len()).collect();
    let probability = |place: &usize| found.elsewhere.get(*place).copied().unwrap_or_default();
    order.sort_by(|a, b| probability(b).total_cmp(&probability(a)));
    let (first, second) = (order.first()?, order.get(1)?);
    let (quantity, _) = would_tell(ports.get(*first)?, ports.get(*second)?)?;
    Some(match quantity {
        Quantity::Flow => "flow",
        Quantity::Volume => "volume",
        Quantity::Air => "air",
    })
}

static ASSIGNMENT: Calculator = Calculator {
    name: "assignment",
    title: "Which is which",
    text: "The permutation with the largest sum of log-likelihoods, and the probability of each thing in each place. Row: \
           what was measured; column: the thing that may be there. Up to 8 things all permutations are summed; beyond, \
           those within a swap or a ring of three of the list or of the best.",
    inputs: &[
        Field::required(
            "log_likelihood",
            Kind::List { of: &Kind::List { of: &LN_LIKELIHOOD, least: 1 }, least: 1 },
            "square matrix of natural logarithms, up to 40 rows",
        ),
        Field::preset(
            "prior_misplaced",
            Kind::Number { low: 1e-12, high: 1.0 },
            Preset::Number(1.0),
            "prior weight for each thing that is not in its own place; 1: all permutations alike",
        ),
    ],
    outputs: &[
        Output {
            name: "best",
            text: "for each row the column, from 0, of the best permutation, prior counted",
        },
        Output { name: "best_log", text: "its log-likelihood and log-prior" },
        Output {
            name: "log_total",
            text: "natural logarithm of the sum over permutations of likelihood times prior",
        },
        Output { name: "as_listed", text: "probability that each thing is in its own place" },
        Output { name: "shares", text: "probability of each column in each row" },
        Output { name: "exact", text: "whether all permutations were summed" },
    ],
    sources: &["kuhn-1955", "own-arithmetic"],
    run: run_assignment,
};

fn run_assignment(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let matrix: Vec<Vec<f64>> = input.items("log_likelihood").iter().map(Value::numbers).collect();
    let prior = crate::numeric::math::ln(input.number("prior_misplaced"));
    let found = weigh(&matrix, prior).map_err(|error| {
        vec![Fault::new("log_likelihood", error.to_string(), "give a square matrix, up to 40 rows")]
    })?;
    Ok(assignment_answer(&found))
}

fn assignment_answer(found: &Assignments) -> Answer {
    let row = |row: &Vec<f64>| Value::List(row.iter().copied().map(Value::from).collect());
    Answer::new()
        .with("best", Value::List(found.best.iter().map(|column| Value::from(*column as f64)).collect()))
        .with("best_log", found.best_ln)
        .with("log_total", found.total_ln)
        .with("as_listed", found.as_listed)
        .with("shares", Value::List(found.shares.iter().map(row).collect()))
        .with("exact", found.exact)
}

static FOULING_DENSITY: Calculator = Calculator {
    name: "fouling-density",
    title: "How probable a loss is in a fouled circuit",
    text: "Density of the loss ln(as new / measured) of a circuit whose fouling takes an exponential loss and whose reading \
           and expectation scatter normally: an exponentially modified normal distribution, one of the parts of the \
           hook-up check.",
    inputs: &[
        Field::required("loss_ln", Kind::Number { low: -50.0, high: 50.0 }, "ln(as new / measured)"),
        Field::required(
            "standard_ln",
            Kind::Number { low: 1e-4, high: 10.0 },
            "standard uncertainty of reading and expectation, of the logarithm",
        ),
        Field::preset(
            "mean_loss_ln",
            Kind::Number { low: 1e-3, high: 10.0 },
            Preset::Number(0.6),
            "mean loss",
        ),
    ],
    outputs: &[Output { name: "density", text: "density per unit of the logarithm" }],
    sources: &["own-arithmetic"],
    run: run_density,
};

fn run_density(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let density =
        exponnorm(input.number("loss_ln"), input.number("standard_ln"), input.number("mean_loss_ln"));
    Ok(Answer::new().with("density", density))
}
