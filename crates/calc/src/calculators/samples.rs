//! Calculators: uncertainty budget, two samples, straight line, platinum thermometer.

use super::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::readings::budget::{BudgetError, Component, Correlation, combine};
use crate::readings::samples::{SamplesError, line_fit, mean_difference, platinum_thermometer};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&UNCERTAINTY_BUDGET, &MEAN_DIFFERENCE, &LINE_FIT, &PLATINUM_THERMOMETER];

const ANY: Kind = Kind::Number { low: -1e12, high: 1e12 };
static NUMBER: Kind = ANY;
const PLACE: Kind = Kind::Count { low: 0, high: 10_000 };

static UNCERTAINTY_BUDGET: Calculator = Calculator {
    name: "uncertainty-budget",
    title: "Uncertainty budget",
    text: "Combines standard uncertainties as the GUM does. The coverage factor is Student's t for the effective \
           degrees of freedom, cut to a whole number.",
    inputs: &[
        Field::required(
            "components",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("standard_uncertainty", Kind::NOT_NEGATIVE, "standard uncertainty"),
                    Field::preset("sensitivity", ANY, Preset::Number(1.0), "change of the result per input"),
                    Field::optional("degrees_of_freedom", Kind::POSITIVE, "degrees of freedom"),
                ]),
                least: 1,
            },
            "lines of the budget",
        ),
        Field::preset(
            "coverage",
            Kind::Number { low: 0.5, high: 0.9999 },
            Preset::Number(0.95),
            "probability that the expanded uncertainty holds the truth",
        ),
        Field::optional(
            "correlations",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("i", PLACE, "place of one line, from 0"),
                    Field::required("j", PLACE, "place of the other line, from 0"),
                    Field::required("r", Kind::Number { low: -1.0, high: 1.0 }, "correlation"),
                ]),
                least: 0,
            },
            "lines that are not independent",
        ),
    ],
    outputs: &[
        Output { name: "standard_uncertainty", text: "combined standard uncertainty" },
        Output { name: "effective_degrees_of_freedom", text: "by Welch and Satterthwaite; null if infinite" },
        Output { name: "coverage_factor", text: "expanded over standard uncertainty" },
        Output { name: "expanded_uncertainty", text: "half of the interval with the wanted coverage" },
    ],
    sources: &["jcgm-100"],
    run: run_budget,
};

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 0 to 10000"
)]
fn place(input: Input<'_>, name: &str) -> usize {
    input.number(name) as usize
}

fn run_budget(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let components: Vec<Component> = input
        .records("components")
        .map(|line| Component {
            standard_uncertainty: line.number("standard_uncertainty"),
            sensitivity: line.number("sensitivity"),
            degrees_of_freedom: line.optional_number("degrees_of_freedom"),
        })
        .collect();
    let correlations: Vec<Correlation> = input
        .records("correlations")
        .map(|pair| Correlation { i: place(pair, "i"), j: place(pair, "j"), r: pair.number("r") })
        .collect();
    let found = combine(&components, &correlations, input.number("coverage"))
        .map_err(|error| vec![budget_fault(&error)])?;
    let answer = Answer::new()
        .with("standard_uncertainty", found.standard_uncertainty)
        .with("effective_degrees_of_freedom", found.effective_degrees_of_freedom)
        .with("coverage_factor", found.coverage_factor)
        .with("expanded_uncertainty", found.expanded_uncertainty);
    Ok(if !correlations.is_empty() && found.effective_degrees_of_freedom.is_some() {
        answer.warn(
            "correlated-degrees",
            "The formula for effective degrees of freedom assumes independent lines; here it is a guide.",
        )
    } else {
        answer
    })
}

fn budget_fault(error: &BudgetError) -> Fault {
    let (field, hint) = match error {
        BudgetError::Empty => ("components".to_owned(), "give at least one"),
        BudgetError::Component { place, quantity, hint, .. } => {
            (format!("components.{place}.{quantity}"), *hint)
        }
        BudgetError::Correlation { place, .. } => {
            (format!("correlations.{place}"), "give each pair of two lines once")
        }
        BudgetError::Contradiction => ("correlations".to_owned(), "check signs and sizes"),
        BudgetError::Coverage { .. } => ("coverage".to_owned(), "give 0.5 to 0.9999"),
    };
    Fault::new(field, error.to_string(), hint)
}

fn samples_fault(error: &SamplesError) -> Fault {
    let field = match error {
        SamplesError::TooFew { name, .. }
        | SamplesError::NotFinite { name, .. }
        | SamplesError::NoSpread { name } => name.split(' ').next().unwrap_or(name),
        SamplesError::Unequal { .. } => "y",
    };
    let hint = match error {
        SamplesError::NoSpread { .. } => "give readings that differ",
        SamplesError::Unequal { .. } => "give one y for each x",
        SamplesError::TooFew { .. } | SamplesError::NotFinite { .. } => "give more readings",
    };
    Fault::new(field, error.to_string(), hint)
}

static MEAN_DIFFERENCE: Calculator = Calculator {
    name: "mean-difference",
    title: "Difference of two means",
    text: "Welch's test on two samples that may scatter differently; first mean minus second. Repeat readings have \
           to be independent: replug and start again between them.",
    inputs: &[
        Field::required("first", Kind::List { of: &NUMBER, least: 2 }, "first sample"),
        Field::required("second", Kind::List { of: &NUMBER, least: 2 }, "second sample"),
    ],
    outputs: &[
        Output { name: "difference", text: "first mean minus second mean" },
        Output { name: "standard_uncertainty", text: "standard uncertainty of the difference" },
        Output { name: "t", text: "difference over its standard uncertainty" },
        Output { name: "degrees_of_freedom", text: "effective degrees of freedom" },
        Output { name: "p_value", text: "probability of so large a difference if the true means are equal" },
        Output { name: "mean_first", text: "mean of the first sample" },
        Output { name: "mean_second", text: "mean of the second sample" },
        Output { name: "sd_first", text: "standard deviation of the first sample" },
        Output { name: "sd_second", text: "standard deviation of the second sample" },
    ],
    sources: &["welch-1947", "nist-ehandbook"],
    run: run_mean_difference,
};

fn run_mean_difference(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let found = mean_difference(&input.numbers("first"), &input.numbers("second"))
        .map_err(|error| vec![samples_fault(&error)])?;
    Ok(Answer::new()
        .with("difference", found.difference)
        .with("standard_uncertainty", found.standard_uncertainty)
        .with("t", found.t)
        .with("degrees_of_freedom", found.degrees_of_freedom)
        .with("p_value", found.p_value)
        .with("mean_first", found.mean_first)
        .with("mean_second", found.mean_second)
        .with("sd_first", found.sd_first)
        .with("sd_second", found.sd_second))
}

static LINE_FIT: Calculator = Calculator {
    name: "line-fit",
    title: "Straight line",
    text: "Ordinary least squares with standard errors: x exact, y with equal independent errors.",
    inputs: &[
        Field::required("x", Kind::List { of: &NUMBER, least: 3 }, "places"),
        Field::required("y", Kind::List { of: &NUMBER, least: 3 }, "readings"),
    ],
    outputs: &[
        Output { name: "intercept", text: "y at x = 0" },
        Output { name: "slope", text: "rise of y per x" },
        Output { name: "intercept_standard_error", text: "standard error of the intercept" },
        Output { name: "slope_standard_error", text: "standard error of the slope" },
        Output { name: "residual_sd", text: "standard deviation of the readings around the line" },
    ],
    sources: &["nist-ehandbook", "nist-strd"],
    run: run_line_fit,
};

fn run_line_fit(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let found =
        line_fit(&input.numbers("x"), &input.numbers("y")).map_err(|error| vec![samples_fault(&error)])?;
    Ok(Answer::new()
        .with("intercept", found.intercept)
        .with("slope", found.slope)
        .with("intercept_standard_error", found.intercept_standard_error)
        .with("slope_standard_error", found.slope_standard_error)
        .with("residual_sd", found.residual_sd))
}

static PLATINUM_THERMOMETER: Calculator = Calculator {
    name: "platinum-thermometer",
    title: "Platinum thermometer",
    text: "Temperature from the resistance of a platinum sensor by IEC 60751, -200 to 850 degC, with the tolerances \
           of classes A and B (wire-wound sensors; null where the class does not reach).",
    inputs: &[
        Field::required("resistance_ohm", Kind::POSITIVE, "resistance without leads"),
        Field::preset(
            "nominal_ohm",
            Kind::Number { low: 1.0, high: 10_000.0 },
            Preset::Number(100.0),
            "resistance at 0 degC",
        ),
    ],
    outputs: &[
        Output { name: "temperature_deg_c", text: "temperature" },
        Output { name: "class_a_tolerance_k", text: "tolerance of class A, either way" },
        Output { name: "class_b_tolerance_k", text: "tolerance of class B, either way" },
    ],
    sources: &["iec-60751"],
    run: run_platinum,
};

fn run_platinum(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let found = platinum_thermometer(input.number("resistance_ohm"), input.number("nominal_ohm"))
        .map_err(|range| vec![Fault::from(range)])?;
    Ok(Answer::new()
        .with("temperature_deg_c", found.temperature.deg_c())
        .with("class_a_tolerance_k", found.class_a_tolerance_k)
        .with("class_b_tolerance_k", found.class_b_tolerance_k))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::Value;

    fn number(answer: &Answer, name: &str) -> f64 {
        answer.get(name).unwrap().as_number().unwrap()
    }

    fn numbers(numbers: &[f64]) -> Value {
        Value::List(numbers.iter().map(|number| Value::Number(*number)).collect())
    }

    #[test]
    fn budget_with_places_that_do_not_exist() {
        let line = Value::record([("standard_uncertainty", Value::Number(1.0))]);
        let pair =
            Value::record([("i", Value::Number(0.0)), ("j", Value::Number(7.0)), ("r", Value::Number(0.5))]);
        let bad = Value::record([
            ("components", Value::List(vec![line.clone(), line.clone()])),
            ("correlations", Value::List(vec![pair])),
        ]);
        assert_eq!(UNCERTAINTY_BUDGET.answer(&bad).unwrap_err()[0].field, "correlations.0");
        let good = Value::record([("components", Value::List(vec![line.clone(), line]))]);
        let answer = UNCERTAINTY_BUDGET.answer(&good).unwrap();
        assert!((number(&answer, "standard_uncertainty") - 2.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(answer.get("effective_degrees_of_freedom"), Some(&Value::Null));
    }

    #[test]
    fn means_lines_and_sensors_answer() {
        let two =
            Value::record([("first", numbers(&[1.0, 2.0, 3.0])), ("second", numbers(&[4.0, 5.0, 6.0]))]);
        // By hand: means 2 and 5, variances 1 and 1, t = -3 / sqrt(2/3), 4 degrees.
        let answer = MEAN_DIFFERENCE.answer(&two).unwrap();
        assert!((number(&answer, "t") + 3.0 / (2.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        assert!((number(&answer, "degrees_of_freedom") - 4.0).abs() < 1e-12);
        let line = Value::record([("x", numbers(&[0.0, 1.0, 2.0])), ("y", numbers(&[1.0, 3.0, 5.0]))]);
        assert!((number(&LINE_FIT.answer(&line).unwrap(), "slope") - 2.0).abs() < 1e-12);
        let unequal =
            Value::record([("x", numbers(&[0.0, 1.0, 2.0])), ("y", numbers(&[1.0, 3.0, 5.0, 7.0]))]);
        assert_eq!(LINE_FIT.answer(&unequal).unwrap_err()[0].field, "y");
        let sensor = Value::record([("resistance_ohm", Value::Number(109.73))]);
        // IEC 60751, table 1: 109.73 ohm at 25 degC.
        let answer = PLATINUM_THERMOMETER.answer(&sensor).unwrap();
        assert!((number(&answer, "temperature_deg_c") - 25.0).abs() < 0.015);
    }
}
