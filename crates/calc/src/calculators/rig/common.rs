//! Calculator: many things that moved by one factor.

use crate::calculators::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::numeric::math;
use crate::readings::common_factor::{Belief, Moved, common_factor, drift};

/// How far a drift goes, in stated uncertainties, and at least.
const DRIFT_STATED: f64 = 5.0;
const LEAST_DRIFT: f64 = 0.05;

pub(super) static COMMON_FACTOR: Calculator = Calculator {
    name: "common-factor",
    title: "Many that moved alike",
    text: "The robust common factor (Huber) of several ratios of today over earlier, and the probability that an \
           instrument common to all has drifted, against the story that each changed by itself or that one water fouled all \
           alike. Weights of the stories are our own proposal.",
    inputs: &[
        Field::required(
            "moved",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("ratio", Kind::Number { low: 1e-6, high: 1e6 }, "today over earlier"),
                    Field::required(
                        "uncertainty_percent",
                        Kind::Number { low: 1e-4, high: 100.0 },
                        "standard uncertainty of the ratio without what all have in common",
                    ),
                    Field::preset(
                        "follows",
                        Kind::Number { low: 1e-3, high: 1e3 },
                        Preset::Number(1.0),
                        "how strongly it follows the common factor",
                    ),
                ]),
                least: 3,
            },
            "the things",
        ),
        Field::preset(
            "common_uncertainty_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(2.0),
            "stated standard uncertainty of the common instrument",
        ),
        Field::preset(
            "drift_probability",
            Kind::Number { low: 0.0, high: 1.0 },
            Preset::Number(0.05),
            "probability of a drift before these readings",
        ),
    ],
    outputs: &[
        Output { name: "factor", text: "common factor" },
        Output { name: "ln_factor", text: "its logarithm" },
        Output { name: "standard_ln", text: "standard error of the logarithm" },
        Output { name: "scatter", text: "scatter around it, in the things' own uncertainties" },
        Output { name: "drifted", text: "probability that the common instrument has drifted" },
        Output { name: "drift_factor", text: "the common factor if it has" },
    ],
    sources: &["huber-1981", "gelman-bda"],
    run,
};

fn run(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let things: Vec<Moved> = input
        .records("moved")
        .map(|record| Moved {
            ln_ratio: math::ln(record.number("ratio")),
            standard_ln: record.number("uncertainty_percent") / 100.0,
            follows: record.number("follows"),
        })
        .collect();
    let stated = input.number("common_uncertainty_percent") / 100.0;
    let probability = input.number("drift_probability");
    let beliefs = [
        Belief { weight: 1.0 - probability, mean_ln: 0.0, standard_ln: stated, drifted: false },
        Belief {
            weight: probability,
            mean_ln: 0.0,
            standard_ln: (DRIFT_STATED * stated).max(LEAST_DRIFT),
            drifted: true,
        },
    ];
    let wrong = |range| vec![Fault::from(range)];
    let found = common_factor(&things).map_err(wrong)?;
    let drifted = drift(&things, &beliefs).map_err(wrong)?;
    Ok(Answer::new()
        .with("factor", found.factor())
        .with("ln_factor", found.ln_factor)
        .with("standard_ln", found.standard_ln)
        .with("scatter", found.scatter)
        .with("drifted", drifted.probability)
        .with("drift_factor", drifted.factor()))
}
