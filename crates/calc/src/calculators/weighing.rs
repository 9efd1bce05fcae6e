//! Calculators: explanations weighed against each other, evidence of simple lines.

use super::statistics::ANY;
use super::{Answer, Calculator, Output};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::infer::weighing::{
    LinearError, LinearModel, Strength, Weighed, WeighingError, linear_evidence, weigh,
};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&MODEL_WEIGHTS, &LINE_EVIDENCE];

static NUMBER: Kind = ANY;

static MODEL_WEIGHTS: Calculator = Calculator {
    name: "model-weights",
    title: "Explanations weighed",
    text: "Bayes' rule on explanations of the same readings: posterior probabilities from the natural logarithms of \
           their evidences and their prior weights, and how strongly the readings speak for the best against the next \
           best (Bayes factor, without the priors).",
    inputs: &[Field::required(
        "models",
        Kind::List {
            of: &Kind::Record(&[
                Field::required("name", Kind::Text, "name"),
                Field::required("log_evidence", ANY, "natural logarithm of the evidence"),
                Field::preset("prior", Kind::NOT_NEGATIVE, Preset::Number(1.0), "prior weight"),
            ]),
            least: 1,
        },
        "explanations; prior weights need not add up to 1",
    )],
    outputs: &[
        Output { name: "models", text: "for each: name, probability" },
        Output { name: "best", text: "name of the most probable" },
        Output { name: "log_evidence", text: "natural logarithm of the evidence of all together" },
        Output {
            name: "log_bayes_factor",
            text: "highest log evidence minus the next; null for a lone explanation",
        },
        Output {
            name: "strength",
            text: "bare-mention, positive, strong, very-strong (limits 3, 20, 150); or null",
        },
    ],
    sources: &["kass-raftery-1995"],
    run: run_weights,
};

fn run_weights(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let models: Vec<(&str, f64, f64)> = input
        .records("models")
        .map(|model| (model.text("name"), model.number("log_evidence"), model.number("prior")))
        .collect();
    let evidences: Vec<f64> = models.iter().map(|model| model.1).collect();
    let priors: Vec<f64> = models.iter().map(|model| model.2).collect();
    let found = weigh(&evidences, &priors).map_err(|error| vec![weighing_fault(&error)])?;
    let names: Vec<&str> = models.iter().map(|model| model.0).collect();
    Ok(weights_answer(&names, &evidences, &found).with("log_evidence", found.log_evidence))
}

/// What `model-weights` and `line-evidence` both say.
fn weights_answer(names: &[&str], evidences: &[f64], found: &Weighed) -> Answer {
    let listed = names.iter().zip(evidences.iter().zip(&found.probabilities)).map(
        |(name, (evidence, probability))| {
            Value::record([
                ("name", Value::from(*name)),
                ("log_evidence", Value::from(*evidence)),
                ("probability", Value::from(*probability)),
            ])
        },
    );
    let mut best: Option<(&str, f64)> = None;
    for (name, probability) in names.iter().zip(&found.probabilities) {
        if best.is_none_or(|(_, most)| *probability > most) {
            best = Some((name, *probability));
        }
    }
    let mut falling = evidences.to_vec();
    falling.sort_by(|a, b| b.total_cmp(a));
    let factor = match falling.as_slice() {
        [first, second, ..] => Some(first - second),
        _ => None,
    };
    Answer::new()
        .with("models", listed.collect::<Vec<Value>>())
        .with("best", best.map(|(name, _)| name))
        .with("log_bayes_factor", factor)
        .with("strength", factor.map(|factor| Strength::of(factor).word()))
}

fn weighing_fault(error: &WeighingError) -> Fault {
    let field = match error {
        WeighingError::Evidence { place, .. } => format!("models.{place}.log_evidence"),
        WeighingError::Prior { place, .. } => format!("models.{place}.prior"),
        WeighingError::Empty | WeighingError::Unequal { .. } | WeighingError::Nothing => "models".to_owned(),
    };
    Fault::new(field, error.to_string(), "give at least one explanation with weight")
}

static LINE_EVIDENCE: Calculator = Calculator {
    name: "line-evidence",
    title: "Constant, line, or line through the origin",
    text: "Which of three simple laws explains readings best: exact evidences with known normal noise and normal \
           priors of intercept and slope; the three laws are equally likely at first. Wide priors cost a law with \
           more freedom more.",
    inputs: &[
        Field::required("x", Kind::List { of: &NUMBER, least: 1 }, "places"),
        Field::required("y", Kind::List { of: &NUMBER, least: 1 }, "readings"),
        Field::required("noise_sd", Kind::POSITIVE, "standard deviation of each reading"),
        Field::preset("intercept_mean", ANY, Preset::Number(0.0), "prior mean of y at x = 0"),
        Field::required("intercept_sd", Kind::POSITIVE, "prior standard deviation of y at x = 0"),
        Field::preset("slope_mean", ANY, Preset::Number(0.0), "prior mean of the rise of y per x"),
        Field::required("slope_sd", Kind::POSITIVE, "prior standard deviation of the rise of y per x"),
    ],
    outputs: &[
        Output { name: "models", text: "constant, line, through-origin: name, log evidence, probability" },
        Output { name: "best", text: "name of the most probable" },
        Output { name: "log_bayes_factor", text: "highest log evidence minus the next" },
        Output { name: "strength", text: "bare-mention, positive, strong, very-strong (limits 3, 20, 150)" },
        Output { name: "intercept", text: "y at x = 0 under the line, after the readings" },
        Output { name: "slope", text: "rise of y per x under the line, after the readings" },
    ],
    sources: &["bishop-2006", "kass-raftery-1995"],
    run: run_line_evidence,
};

fn run_line_evidence(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let (x, y) = (input.numbers("x"), input.numbers("y"));
    if x.len() != y.len() {
        let text = format!("x has {} numbers, y has {}", x.len(), y.len());
        return Err(vec![Fault::new("y", text, "give one y for each x")]);
    }
    let noise = vec![input.number("noise_sd"); y.len()];
    let intercept = Uncertain::new(input.number("intercept_mean"), input.number("intercept_sd"));
    let slope = Uncertain::new(input.number("slope_mean"), input.number("slope_sd"));
    let fit = |row: &dyn Fn(f64) -> Vec<f64>, prior: Vec<Uncertain>| {
        let model = LinearModel { rows: x.iter().map(|x| row(*x)).collect(), prior };
        linear_evidence(&model, &y, &noise).map_err(|error| vec![linear_fault(&error)])
    };
    let constant = fit(&|_| vec![1.0], vec![intercept])?;
    let line = fit(&|x| vec![1.0, x], vec![intercept, slope])?;
    let origin = fit(&|x| vec![x], vec![slope])?;
    let evidences = [constant.log_evidence, line.log_evidence, origin.log_evidence];
    let found = weigh(&evidences, &[1.0; 3]).map_err(|error| vec![weighing_fault(&error)])?;
    let coefficient = |place: usize| line.coefficients.get(place).map(Uncertain::estimate);
    Ok(weights_answer(&["constant", "line", "through-origin"], &evidences, &found)
        .with("intercept", coefficient(0))
        .with("slope", coefficient(1)))
}

fn linear_fault(error: &LinearError) -> Fault {
    let (field, hint) = match error {
        LinearError::Empty | LinearError::Shape | LinearError::NotFinite => ("y", "give one y for each x"),
        LinearError::Spread { .. } => ("noise_sd", "give spreads above 0"),
        LinearError::Singular => ("noise_sd", "give noise and priors of more similar size"),
    };
    Fault::new(field, error.to_string(), hint)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(fields: &[(&str, Value)]) -> Value {
        Value::record(fields.iter().cloned())
    }

    #[test]
    fn a_lone_explanation_has_no_rival() {
        let model = record(&[("name", "a".into()), ("log_evidence", Value::Number(-3.0))]);
        let answer = MODEL_WEIGHTS.answer(&record(&[("models", vec![model].into())])).unwrap();
        assert_eq!(answer.get("log_bayes_factor"), Some(&Value::Null));
        assert_eq!(answer.get("best"), Some(&Value::from("a")));
    }
}
