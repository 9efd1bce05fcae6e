//! Calculators: scores of stated probabilities, share of k in n, mixture of normals, information expected of a reading.

use super::{Answer, Calculator, Output};
use crate::estimate::Estimate;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::infer::information::{Node, expected_confident, expected_information};
use crate::infer::mixture::{Normal1, central, mean_and_sd, quantile, shortest};
use crate::infer::proportion::{MOST_TRIALS, ShareInterval, share};
use crate::infer::scoring::{Bin, ScoringError, forecasts, score};
use crate::numeric::math;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&CALIBRATION, &PROPORTION, &MIXTURE_QUANTILE, &EXPECTED_INFORMATION];

/// A probability, ends included.
pub(super) const PROBABILITY: Kind = Kind::Number { low: 0.0, high: 1.0 };
/// A probability that an interval or a quantile can have.
const INSIDE: Kind = Kind::Number { low: 1e-9, high: 0.999_999_999 };
/// Any number.
pub(super) const ANY: Kind = Kind::Number { low: -1e12, high: 1e12 };
static STATED: Kind = PROBABILITY;
static HAPPENED: Kind = Kind::Flag;
static WANTED: Kind = INSIDE;

static CALIBRATION: Calculator = Calculator {
    name: "calibration",
    title: "Scores of stated probabilities",
    text: "How good probabilities were, once it is known what happened: calibration by equally wide bins, Brier score \
           and its parts (brier = reliability - resolution + uncertainty + within_bins), log score in natural \
           logarithms.",
    inputs: &[
        Field::required("probabilities", Kind::List { of: &STATED, least: 1 }, "stated probabilities"),
        Field::required("happened", Kind::List { of: &HAPPENED, least: 1 }, "for each, whether it happened"),
        Field::preset("bins", Kind::Count { low: 1, high: 1000 }, Preset::Number(10.0), "number of bins"),
    ],
    outputs: &[
        Output {
            name: "expected_calibration_error",
            text: "mean distance of share and probability over the bins",
        },
        Output { name: "largest_calibration_error", text: "largest such distance of any bin" },
        Output {
            name: "error_if_right",
            text: "expected calibration error that finite counts alone would make",
        },
        Output { name: "brier", text: "mean squared distance of probability and outcome" },
        Output { name: "reliability", text: "part of it that better calibration would remove" },
        Output { name: "resolution", text: "part gained by telling cases apart" },
        Output { name: "uncertainty", text: "part that lies in the outcomes" },
        Output { name: "within_bins", text: "part left because probabilities within a bin differ" },
        Output {
            name: "log_score",
            text: "mean of -ln of the probability given to what happened; null if infinite",
        },
        Output {
            name: "bins",
            text: "bins with a forecast: range, count, happened, mean probability, share (95 %)",
        },
    ],
    sources: &["naeini-2015", "brier-1950", "murphy-1973", "stephenson-2008", "gneiting-raftery-2007"],
    run: run_calibration,
};

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 1000"
)]
fn run_calibration(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let happened: Vec<bool> =
        input.items("happened").iter().map(|item| item.as_flag().unwrap_or_default()).collect();
    let fault = |error: ScoringError| vec![scoring_fault(&error)];
    let pairs = forecasts(&input.numbers("probabilities"), &happened).map_err(fault)?;
    let found = score(&pairs, input.number("bins") as usize).map_err(fault)?;
    let answer = Answer::new()
        .with("expected_calibration_error", found.expected_calibration_error)
        .with("largest_calibration_error", found.largest_calibration_error)
        .with("error_if_right", found.error_if_right)
        .with("brier", found.brier)
        .with("reliability", found.reliability)
        .with("resolution", found.resolution)
        .with("uncertainty", found.uncertainty)
        .with("within_bins", found.within_bins)
        .with("log_score", found.log_score)
        .with("bins", found.bins.iter().map(bin_record).collect::<Vec<Value>>());
    Ok(if found.log_score.is_finite() {
        answer
    } else {
        answer.warn(
            "called-impossible",
            "Something happened that was given no probability: the log score is infinite.",
        )
    })
}

fn bin_record(bin: &Bin) -> Value {
    Value::record([
        ("from", Value::from(bin.from)),
        ("to", Value::from(bin.to)),
        ("count", Value::from(bin.count as f64)),
        ("happened", Value::from(bin.happened as f64)),
        ("mean_probability", Value::from(bin.mean_probability)),
        ("share", Value::from(bin.share)),
    ])
}

fn scoring_fault(error: &ScoringError) -> Fault {
    let (field, hint) = match error {
        ScoringError::Empty => ("probabilities".to_owned(), "give at least one"),
        ScoringError::Probability { place, .. } => (format!("probabilities.{place}"), "give 0 to 1"),
        ScoringError::Unequal { .. } => ("happened".to_owned(), "give one for each probability"),
        ScoringError::Bins { .. } => ("bins".to_owned(), "give 1 to 1000"),
    };
    Fault::new(field, error.to_string(), hint)
}

static PROPORTION: Calculator = Calculator {
    name: "proportion",
    title: "Share of k in n",
    text: "A share with its interval. Clopper and Pearson hold the truth at least as often as stated; Wilson and \
           Jeffreys about as often, and are narrower.",
    inputs: &[
        Field::required("hits", Kind::Count { low: 0, high: 100_000 }, "how many it was"),
        Field::required("trials", Kind::Count { low: 1, high: 100_000 }, "out of how many, independent"),
        Field::preset(
            "coverage",
            Kind::Number { low: 0.5, high: 0.9999 },
            Preset::Number(0.95),
            "probability that the interval holds the truth",
        ),
        Field::preset(
            "interval",
            Kind::Choice(&["clopper-pearson", "wilson", "jeffreys"]),
            Preset::Text("clopper-pearson"),
            "how the interval is made",
        ),
    ],
    outputs: &[Output { name: "share", text: "hits over trials" }],
    sources: &["clopper-pearson-1934", "wilson-1927", "brown-2001"],
    run: run_proportion,
};

fn run_proportion(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let kind = match input.text("interval") {
        "wilson" => ShareInterval::Wilson,
        "jeffreys" => ShareInterval::Jeffreys,
        _ => ShareInterval::ClopperPearson,
    };
    let trials = input.number("trials").min(MOST_TRIALS);
    let found = share(input.number("hits"), trials, input.number("coverage"), kind)
        .map_err(|range| vec![Fault::from(range)])?;
    Ok(Answer::new().with("share", found))
}

static MIXTURE_QUANTILE: Calculator = Calculator {
    name: "mixture-quantile",
    title: "Mixture of normal distributions",
    text: "Mean, spread, quantiles and intervals of a quantity that is one of several normal distributions, each with \
           a weight.",
    inputs: &[
        Field::required(
            "parts",
            Kind::List {
                of: &Kind::Record(&[
                    Field::preset("weight", Kind::NOT_NEGATIVE, Preset::Number(1.0), "weight"),
                    Field::required("mean", ANY, "mean"),
                    Field::required("sd", Kind::NOT_NEGATIVE, "standard deviation; 0 for a single point"),
                ]),
                least: 1,
            },
            "normal distributions; weights need not add up to 1",
        ),
        Field::optional("probabilities", Kind::List { of: &WANTED, least: 0 }, "quantiles that are wanted"),
        Field::preset("coverage", INSIDE, Preset::Number(0.95), "probability of the intervals"),
    ],
    outputs: &[
        Output { name: "mean", text: "mean" },
        Output { name: "sd", text: "standard deviation" },
        Output { name: "quantiles", text: "values not exceeded with the probabilities asked for" },
        Output {
            name: "central",
            text: "median, with equal probability left on either side of the interval",
        },
        Output { name: "shortest_low", text: "lower end of the shortest interval with this probability" },
        Output { name: "shortest_high", text: "upper end of that interval" },
    ],
    sources: &["own-arithmetic", "brent-1973"],
    run: run_mixture,
};

fn run_mixture(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let parts: Vec<Normal1> = input
        .records("parts")
        .map(|part| Normal1 {
            weight: part.number("weight"),
            mean: part.number("mean"),
            sd: part.number("sd"),
        })
        .collect();
    let coverage = input.number("coverage");
    let found = || {
        let quantiles: Option<Vec<Value>> =
            input.numbers("probabilities").iter().map(|p| quantile(&parts, *p).map(Value::from)).collect();
        let (value, low, high) = central(&parts, coverage)?;
        let (mean, sd) = mean_and_sd(&parts)?;
        let (shortest_low, shortest_high) = shortest(&parts, coverage)?;
        Some(
            Answer::new()
                .with("mean", mean)
                .with("sd", sd)
                .with("quantiles", quantiles?)
                .with("central", Estimate { value, low, high, coverage })
                .with("shortest_low", shortest_low)
                .with("shortest_high", shortest_high),
        )
    };
    found().ok_or_else(|| {
        vec![Fault::new("parts", "no part has any weight", "give at least one weight above 0")]
    })
}

static EXPECTED_INFORMATION: Calculator = Calculator {
    name: "expected-information",
    title: "What a further reading may tell",
    text: "Before a reading is taken: the information about the class that it may be expected to bring, and how likely \
           it is to make one class probable enough. Each node is a possible state of things with the reading that it \
           would give, normally distributed.",
    inputs: &[
        Field::required(
            "nodes",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("class", Kind::Text, "class to which the state belongs"),
                    Field::preset("weight", Kind::NOT_NEGATIVE, Preset::Number(1.0), "weight today"),
                    Field::required("mean", ANY, "reading that the state would give"),
                    Field::required("sd", Kind::POSITIVE, "its standard deviation"),
                ]),
                least: 1,
            },
            "possible states; weights need not add up to 1",
        ),
        Field::preset(
            "threshold",
            PROBABILITY,
            Preset::Number(0.95),
            "probability from which a class counts as known",
        ),
    ],
    outputs: &[
        Output { name: "information_bits", text: "information about the class expected of the reading" },
        Output { name: "class_entropy_bits", text: "information that is missing about the class today" },
        Output {
            name: "confident_probability",
            text: "probability that some class then reaches the threshold",
        },
    ],
    sources: &["cover-thomas-2006"],
    run: run_information,
};

fn run_information(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let mut classes: Vec<&str> = Vec::new();
    let mut weights: Vec<f64> = Vec::new();
    let mut nodes: Vec<Node> = Vec::new();
    for node in input.records("nodes") {
        let name = node.text("class");
        let class = classes.iter().position(|known| *known == name).unwrap_or_else(|| {
            classes.push(name);
            weights.push(0.0);
            classes.len() - 1
        });
        if let Some(weight) = weights.get_mut(class) {
            *weight += node.number("weight");
        }
        nodes.push((class, node.number("weight"), node.number("mean"), node.number("sd")));
    }
    let total: f64 = weights.iter().sum();
    if total <= 0.0 {
        return Err(vec![Fault::new("nodes", "no node has any weight", "give at least one weight above 0")]);
    }
    let entropy: f64 = weights
        .iter()
        .map(|weight| weight / total)
        .filter(|p| *p > 0.0)
        .map(|p| -p * math::ln(p))
        .sum::<f64>()
        / core::f64::consts::LN_2;
    Ok(Answer::new()
        .with("information_bits", expected_information(&nodes, classes.len()))
        .with("class_entropy_bits", entropy.max(0.0))
        .with("confident_probability", expected_confident(&nodes, classes.len(), input.number("threshold"))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(numbers: &[f64]) -> Value {
        Value::List(numbers.iter().map(|number| Value::Number(*number)).collect())
    }

    fn part(fields: &[(&str, Value)]) -> Value {
        Value::record(fields.iter().cloned())
    }

    #[test]
    fn something_called_impossible_is_said() {
        let input = Value::record([
            ("probabilities", numbers(&[0.0, 0.5])),
            ("happened", Value::List(vec![Value::Flag(true), Value::Flag(false)])),
        ]);
        let answer = CALIBRATION.answer(&input).unwrap();
        assert_eq!(answer.get("log_score"), Some(&Value::Null));
        assert_eq!(answer.warnings[0].code, "called-impossible");
    }

    #[test]
    fn no_weight_is_a_fault() {
        let nothing = part(&[("weight", 0.0.into()), ("mean", 1.0.into()), ("sd", 1.0.into())]);
        let faults =
            MIXTURE_QUANTILE.answer(&Value::record([("parts", Value::List(vec![nothing]))])).unwrap_err();
        assert_eq!(faults[0].field, "parts");
        let node =
            part(&[("class", "a".into()), ("weight", 0.0.into()), ("mean", 1.0.into()), ("sd", 1.0.into())]);
        let faults =
            EXPECTED_INFORMATION.answer(&Value::record([("nodes", Value::List(vec![node]))])).unwrap_err();
        assert_eq!(faults[0].field, "nodes");
    }

    #[test]
    fn more_hits_than_trials_names_the_hits() {
        let faults =
            PROPORTION.answer(&Value::record([("hits", 3.0), ("trials", 2.0)].map(|(k, v)| (k, v.into()))));
        assert_eq!(faults.unwrap_err()[0].field, "hits");
    }
}
