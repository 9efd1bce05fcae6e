//! Calculator: the state of a bore carried from visit to visit.

use super::statistics::{ANY, PROBABILITY};
use super::{Answer, Calculator, Output};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset, Value, Variant};
use crate::infer::mixture::{Normal1, probability_below};
use crate::infer::update::{Change, Growth, UpdateError, carried, observed, treated};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&STATE_UPDATE];

static NUMBER: Kind = ANY;
static STATED: Kind = PROBABILITY;
/// Share of a normal thickness below nothing from which the normal distribution is no fair picture (own choice).
const BELOW_NOTHING: f64 = 0.05;

static STEP: Kind = Kind::Tagged {
    tag: "kind",
    variants: &[
        Variant {
            name: "time",
            text: "days without reading or treatment",
            fields: &[Field::required("days", Kind::Number { low: 0.0, high: 40_000.0 }, "days")],
        },
        Variant {
            name: "treatment",
            text: "a treatment that leads to one state, or changes nothing",
            fields: &[
                Field::required("to", Kind::Text, "state that it leads to"),
                Field::required("success", PROBABILITY, "probability that it does"),
                Field::optional("left_mm", ANY, "thickness that it leaves behind"),
                Field::preset(
                    "left_uncertainty_mm",
                    Kind::NOT_NEGATIVE,
                    Preset::Number(0.0),
                    "its uncertainty",
                ),
            ],
        },
        Variant {
            name: "reading",
            text: "readings of a visit",
            fields: &[
                Field::optional(
                    "log_likelihood",
                    Kind::Map(&NUMBER),
                    "for each state: ln of the readings' density",
                ),
                Field::optional("thickness_mm", ANY, "thickness read"),
                Field::preset(
                    "thickness_uncertainty_mm",
                    Kind::NOT_NEGATIVE,
                    Preset::Number(0.0),
                    "its uncertainty",
                ),
            ],
        },
    ],
};

static STATE_UPDATE: Calculator = Calculator {
    name: "state-update",
    title: "State of a bore from visit to visit",
    text: "Bayes' rule over a history: states turn into each other at constant rates, treatments reset them, readings \
           weigh them. A layer's thickness grows as a random walk with drift whose rate is learnt.",
    inputs: &[
        Field::required("probabilities", Kind::Map(&STATED), "for each state: its probability at the start"),
        Field::optional(
            "changes",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("from", Kind::Text, "state that is left"),
                    Field::required("to", Kind::Text, "state that follows"),
                    Field::required(
                        "rate_per_day",
                        Kind::Number { low: 0.0, high: 1e3 },
                        "share that changes in a day",
                    ),
                ]),
                least: 0,
            },
            "how states turn into each other",
        ),
        Field::optional(
            "thickness",
            Kind::Record(&[
                Field::required("value_mm", ANY, "thickness at the start"),
                Field::required("uncertainty_mm", Kind::NOT_NEGATIVE, "its standard uncertainty"),
                Field::required("rate_mm_per_day", ANY, "rate of growth"),
                Field::required(
                    "rate_uncertainty_mm_per_day",
                    Kind::NOT_NEGATIVE,
                    "its standard uncertainty",
                ),
                Field::preset(
                    "walk_mm_per_root_day",
                    Kind::NOT_NEGATIVE,
                    Preset::Number(0.0),
                    "spread that a day adds",
                ),
            ]),
            "layer that grows",
        ),
        Field::required("steps", Kind::List { of: &STEP, least: 1 }, "what happened, in order"),
    ],
    outputs: &[
        Output { name: "probabilities", text: "for each state: its probability at the end" },
        Output { name: "thickness_mm", text: "thickness at the end; null without one" },
        Output { name: "rate_mm_per_day", text: "rate of growth at the end; null without a thickness" },
        Output { name: "steps", text: "after each step: probabilities, thickness" },
    ],
    sources: &["norris-1997", "harvey-1989", "kass-raftery-1995"],
    run: run_update,
};

/// Names of the states with what is known of them.
struct Known<'a> {
    names: Vec<&'a str>,
    probabilities: Vec<f64>,
    changes: Vec<Change>,
    growth: Option<Growth>,
    walk_mm_per_root_day: f64,
}

impl Known<'_> {
    fn place(&self, name: &str, field: String) -> Result<usize, Vec<Fault>> {
        self.names.iter().position(|known| *known == name).ok_or_else(|| {
            let hint = format!("give one of: {}", self.names.join(", "));
            vec![Fault::new(field, format!("there is no state {name}"), hint)]
        })
    }

    fn record(&self) -> Value {
        Value::record(self.names.iter().zip(&self.probabilities).map(|(name, p)| (*name, Value::from(*p))))
    }

    fn thickness(&self) -> Value {
        self.growth.map(|growth| growth.thickness_mm.estimate()).into()
    }
}

fn update_fault(field: String) -> impl Fn(UpdateError) -> Vec<Fault> {
    move |error| vec![Fault::new(field.clone(), error.to_string(), "check the numbers of this step")]
}

fn start(input: Input<'_>) -> Result<Known<'_>, Vec<Fault>> {
    let stated = input.get("probabilities").map(Value::fields).unwrap_or_default();
    let mut known = Known {
        names: stated.iter().map(|(name, _)| name.as_str()).collect(),
        probabilities: stated.iter().map(|(_, p)| p.as_number().unwrap_or(f64::NAN)).collect(),
        changes: Vec::new(),
        growth: None,
        walk_mm_per_root_day: 0.0,
    };
    if (known.probabilities.iter().sum::<f64>() - 1.0).abs() > 1e-6 {
        let text = "the probabilities do not add up to 1";
        return Err(vec![Fault::new("probabilities", text, "give one for each state, together 1")]);
    }
    for (at, change) in input.records("changes").enumerate() {
        let from = known.place(change.text("from"), format!("changes.{at}.from"))?;
        let to = known.place(change.text("to"), format!("changes.{at}.to"))?;
        known.changes.push(Change { from, to, rate_per_day: change.number("rate_per_day") });
    }
    if let Some(layer) = input.record("thickness") {
        let pair = |value, uncertainty| Uncertain::new(layer.number(value), layer.number(uncertainty));
        let growth = Growth::new(
            pair("value_mm", "uncertainty_mm"),
            pair("rate_mm_per_day", "rate_uncertainty_mm_per_day"),
        );
        known.growth = Some(growth.map_err(update_fault("thickness".to_owned()))?);
        known.walk_mm_per_root_day = layer.number("walk_mm_per_root_day");
    }
    Ok(known)
}

/// One step of the history.
fn take(known: &mut Known<'_>, step: Input<'_>, at: usize) -> Result<(), Vec<Fault>> {
    let fault = update_fault(format!("steps.{at}"));
    let pair = |value: f64, uncertainty| Uncertain::new(value, step.number(uncertainty));
    match step.text("kind") {
        "time" => {
            let days = step.number("days");
            known.probabilities = carried(&known.probabilities, &known.changes, days).map_err(&fault)?;
            let walk = known.walk_mm_per_root_day;
            known.growth =
                known.growth.map(|growth| growth.carried(days, walk)).transpose().map_err(fault)?;
        }
        "treatment" => {
            let to = known.place(step.text("to"), format!("steps.{at}.to"))?;
            let success = vec![step.number("success"); known.names.len()];
            known.probabilities = treated(&known.probabilities, to, &success).map_err(&fault)?;
            if let (Some(growth), Some(left)) = (known.growth, step.optional_number("left_mm")) {
                known.growth = Some(growth.treated(pair(left, "left_uncertainty_mm")).map_err(fault)?);
            }
        }
        _ => {
            if let Some(given) = step.get("log_likelihood") {
                known.probabilities = weighed(known, given, at)?;
            }
            if let (Some(growth), Some(read)) = (known.growth, step.optional_number("thickness_mm")) {
                known.growth = Some(growth.observed(pair(read, "thickness_uncertainty_mm")).map_err(fault)?);
            }
        }
    }
    Ok(())
}

/// Probabilities after a reading; every state needs its likelihood, and no other name may stand there.
fn weighed(known: &Known<'_>, given: &Value, at: usize) -> Result<Vec<f64>, Vec<Fault>> {
    let field = format!("steps.{at}.log_likelihood");
    for (name, _) in given.fields() {
        known.place(name, format!("{field}.{name}"))?;
    }
    let logs: Option<Vec<f64>> =
        known.names.iter().map(|name| given.get(name).and_then(Value::as_number)).collect();
    let logs = logs.ok_or_else(|| {
        vec![Fault::new(field.clone(), "a state has no likelihood", "give one for each state")]
    })?;
    observed(&known.probabilities, &logs).map_err(update_fault(field))
}

fn run_update(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut known = start(input)?;
    let mut steps = Vec::new();
    for (at, step) in input.records("steps").enumerate() {
        take(&mut known, step, at)?;
        steps.push(Value::record([("probabilities", known.record()), ("thickness_mm", known.thickness())]));
    }
    let below_nothing = known.growth.and_then(|growth| {
        let Uncertain { value, standard } = growth.thickness_mm;
        probability_below(&[Normal1 { weight: 1.0, mean: value, sd: standard }], 0.0)
    });
    let answer = Answer::new()
        .with("probabilities", known.record())
        .with("thickness_mm", known.thickness())
        .with("rate_mm_per_day", known.growth.map(|growth| growth.rate_mm_per_day.estimate()))
        .with("steps", steps);
    Ok(if below_nothing.is_some_and(|share| share > BELOW_NOTHING) {
        answer.warn(
            "thickness-near-nothing",
            "Part of the thickness's distribution lies below nothing; the layer may not be there at all.",
        )
    } else {
        answer
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(fields: &[(&str, Value)]) -> Value {
        Value::record(fields.iter().cloned())
    }

    fn history(steps: Vec<Value>) -> Value {
        record(&[
            ("probabilities", record(&[("as-new", 0.5.into()), ("rough", 0.5.into())])),
            ("steps", steps.into()),
        ])
    }

    #[test]
    fn names_that_are_not_states_are_faults() {
        let to = record(&[("kind", "treatment".into()), ("to", "gold".into()), ("success", 1.0.into())]);
        assert_eq!(STATE_UPDATE.answer(&history(vec![to])).unwrap_err()[0].field, "steps.0.to");
        let likely = |names: &[&str]| {
            let inner = Value::record(names.iter().map(|name| (*name, Value::Number(-1.0))));
            record(&[("kind", "reading".into()), ("log_likelihood", inner)])
        };
        let faults = STATE_UPDATE.answer(&history(vec![likely(&["as-new", "gold"])])).unwrap_err();
        assert_eq!(faults[0].field, "steps.0.log_likelihood.gold");
        let faults = STATE_UPDATE.answer(&history(vec![likely(&["as-new"])])).unwrap_err();
        assert_eq!(faults[0].field, "steps.0.log_likelihood");
    }

    #[test]
    fn a_thickness_around_nothing_is_said() {
        let mut input = history(vec![record(&[("kind", "time".into()), ("days", 1.0.into())])]);
        let layer = record(&[
            ("value_mm", 0.01.into()),
            ("uncertainty_mm", 0.1.into()),
            ("rate_mm_per_day", 0.0.into()),
            ("rate_uncertainty_mm_per_day", 0.0.into()),
        ]);
        if let Value::Record(fields) = &mut input {
            fields.push(("thickness".to_owned(), layer));
        }
        assert_eq!(STATE_UPDATE.answer(&input).unwrap().warnings[0].code, "thickness-near-nothing");
    }
}
