//! Runs reference cases and measures how far the answers are off.

use calc::calculators::{self, Calculator};
use calc::form::{Fault, Value};
use serde_json::{Value as Json, json};

use super::{Bounds, Case, Check, Deviation, Expected, Outcome, Point, Spread, Tolerance};
use crate::json::{json_number, to_json};

/// Runs a case.
#[must_use]
pub fn run_case(case: &Case) -> Outcome {
    let Some(calculator) = calculators::find(&case.calculator) else {
        let problem = format!("there is no calculator {}", case.calculator);
        return outcome(case, Findings { problems: vec![problem], ..Findings::default() });
    };
    outcome(case, measure(calculator, &case.check))
}

/// What running a check found.
#[derive(Default)]
struct Findings {
    deviations: Vec<Deviation>,
    spread: Option<Spread>,
    /// Worst share of a sweep's bounds.
    spread_share: Option<f64>,
    problems: Vec<String>,
}

fn measure(calculator: &Calculator, check: &Check) -> Findings {
    match check {
        Check::Values { input, expect } => match answer(calculator, input) {
            Ok(found) => {
                let mut deviations = Vec::new();
                for expected in expect {
                    compare(&expected.path, expected, lookup(&found, &expected.path), &mut deviations);
                }
                Findings { deviations, ..Findings::default() }
            }
            Err(faults) => Findings { problems: vec![refused(&faults)], ..Findings::default() },
        },
        Check::Refusal { input, fields } => refusal(calculator, input, fields),
        Check::Sweep { points, bounds } => sweep(calculator, points, *bounds),
    }
}

fn answer(calculator: &Calculator, input: &Value) -> Result<Value, Vec<Fault>> {
    let answer = calculator.answer(input)?;
    Ok(Value::Record(answer.outputs.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()))
}

fn refused(faults: &[Fault]) -> String {
    let faults: Vec<String> =
        faults.iter().map(|fault| format!("{}: {}", fault.field, fault.problem)).collect();
    format!("the input was refused: {}", faults.join("; "))
}

/// The value under a path; the best value of an estimate where a number is looked for.
fn lookup<'a>(outputs: &'a Value, path: &str) -> &'a Value {
    let step = |value: &'a Value, name: &str| match value {
        Value::List(items) => name.parse::<usize>().ok().and_then(|at| items.get(at)),
        value => value.get(name),
    };
    let found = path.split('.').try_fold(outputs, step).unwrap_or(&Value::Null);
    found.get("coverage").and_then(|_| found.get("value")).unwrap_or(found)
}

/// Compares an expected value, or each of a list, with what was found.
fn compare(path: &str, expected: &Expected, found: &Value, deviations: &mut Vec<Deviation>) {
    if let (Value::List(items), Value::List(list)) = (&expected.value, found)
        && items.len() == list.len()
    {
        for (at, (item, found)) in items.iter().zip(list).enumerate() {
            let path = format!("{path}.{at}");
            let one = Expected { path: path.clone(), value: item.clone(), tolerance: expected.tolerance };
            compare(&path, &one, found, deviations);
        }
        return;
    }
    let share = match (&expected.value, found) {
        (Value::Number(expected_number), Value::Number(number)) => {
            let allowed = match expected.tolerance {
                Tolerance::Relative(relative) => relative * expected_number.abs(),
                Tolerance::Absolute(absolute) => absolute,
            };
            share((number - expected_number).abs(), allowed)
        }
        (expected, found) => share(if expected == found { 0.0 } else { f64::INFINITY }, 0.0),
    };
    let (expected, found) = (expected.value.clone(), found.clone());
    deviations.push(Deviation { what: path.to_owned(), expected, found, share });
}

/// A deviation in shares of what is allowed.
fn share(deviation: f64, allowed: f64) -> f64 {
    if deviation <= 0.0 {
        0.0
    } else if allowed > 0.0 && deviation.is_finite() {
        deviation / allowed
    } else {
        f64::INFINITY
    }
}

fn refusal(calculator: &Calculator, input: &Value, fields: &[String]) -> Findings {
    let faults = match answer(calculator, input) {
        Ok(_) => {
            let problem = "the input was accepted, but has to be refused".to_owned();
            return Findings { problems: vec![problem], ..Findings::default() };
        }
        Err(faults) => faults,
    };
    let named = |field: &String| {
        faults.iter().any(|fault| {
            let rest = fault.field.strip_prefix(field.as_str());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
        })
    };
    let found: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
    let deviation = |field: &String| Deviation {
        what: field.clone(),
        expected: Value::from("refused"),
        found: if named(field) { Value::from("refused") } else { Value::from(found.join(", ")) },
        share: if named(field) { 0.0 } else { f64::INFINITY },
    };
    Findings { deviations: fields.iter().map(deviation).collect(), ..Findings::default() }
}

fn sweep(calculator: &Calculator, points: &[Point], bounds: Bounds) -> Findings {
    let widest = [bounds.max, bounds.p99, bounds.median].into_iter().flatten().next().unwrap_or_default();
    let mut deviations = Vec::new();
    let mut problems = Vec::new();
    let mut sizes = Vec::new();
    for point in points {
        let found = match answer(calculator, &point.input) {
            Ok(found) => found,
            Err(faults) => {
                problems.push(format!("line {}: {}", point.line, refused(&faults)));
                continue;
            }
        };
        for (path, expected) in &point.expect {
            let found = lookup(&found, path);
            let size = relative(expected, found);
            sizes.push(size);
            deviations.push(Deviation {
                what: format!("{path}, line {}", point.line),
                expected: expected.clone(),
                found: found.clone(),
                share: share(size, widest),
            });
        }
    }
    let spread = spread(sizes);
    let shares = [(spread.median, bounds.median), (spread.p99, bounds.p99), (spread.max, bounds.max)];
    let spread_share =
        shares.into_iter().filter_map(|(size, bound)| Some(share(size, bound?))).fold(0.0, f64::max);
    Findings { deviations, spread: Some(spread), spread_share: Some(spread_share), problems }
}

/// Relative deviation; of an expected zero, everything but zero is infinitely far off.
fn relative(expected: &Value, found: &Value) -> f64 {
    match (expected, found) {
        (Value::Number(expected), Value::Number(found)) => share((found - expected).abs(), expected.abs()),
        (expected, found) if expected == found => 0.0,
        _ => f64::INFINITY,
    }
}

fn spread(mut sizes: Vec<f64>) -> Spread {
    sizes.sort_by(f64::total_cmp);
    let last = sizes.len().saturating_sub(1);
    let at = |place: usize| sizes.get(place.min(last)).copied().unwrap_or(f64::INFINITY);
    // The smallest value that at least 99 % of the values do not exceed.
    let p99 = (sizes.len() * 99).div_ceil(100).saturating_sub(1);
    let middle = sizes.len() / 2;
    let median = if sizes.len().is_multiple_of(2) {
        f64::midpoint(at(middle.saturating_sub(1)), at(middle))
    } else {
        at(middle)
    };
    Spread { median, p99: at(p99), max: at(last) }
}

fn outcome(case: &Case, found: Findings) -> Outcome {
    let Findings { mut deviations, spread, spread_share, problems } = found;
    deviations.sort_by(|one, other| other.share.total_cmp(&one.share));
    let single = deviations.first().map_or(f64::INFINITY, |worst| worst.share);
    let worst = if problems.is_empty() { spread_share.unwrap_or(single) } else { f64::INFINITY };
    Outcome {
        topic: case.topic.clone(),
        title: case.title.clone(),
        kind: case.kind,
        source: case.source.clone(),
        place: case.place.clone(),
        because: case.because.clone(),
        memory: case.memory,
        calculator: case.calculator.clone(),
        points: deviations.len(),
        worst,
        deviations,
        spread,
        problems,
        passed: worst <= 1.0,
    }
}

/// Worst points that a report lists of each case.
const LISTED: usize = 5;

/// Outcomes as a JSON document, worst first.
#[must_use]
pub fn report(outcomes: &[Outcome]) -> Json {
    let mut order: Vec<&Outcome> = outcomes.iter().collect();
    order.sort_by(|one, other| other.worst.total_cmp(&one.worst));
    let cases: Vec<Json> = order.into_iter().map(outcome_json).collect();
    let passed = outcomes.iter().filter(|outcome| outcome.passed).count();
    json!({"passed": passed, "failed": outcomes.len() - passed, "cases": cases})
}

fn outcome_json(outcome: &Outcome) -> Json {
    let spread = outcome.spread.map(|spread| {
        json!({"median": json_number(spread.median), "p99": json_number(spread.p99), "max": json_number(spread.max)})
    });
    let deviations: Vec<Json> = outcome
        .deviations
        .iter()
        .take(LISTED)
        .map(|deviation| {
            json!({"what": deviation.what, "expected": to_json(&deviation.expected), "found": to_json(&deviation.found),
                "share": json_number(deviation.share)})
        })
        .collect();
    json!({
        "topic": outcome.topic,
        "title": outcome.title,
        "kind": outcome.kind.word(),
        "source": outcome.source,
        "place": outcome.place,
        "because": outcome.because,
        "memory": outcome.memory,
        "calculator": outcome.calculator,
        "points": outcome.points,
        "worst": json_number(outcome.worst),
        "passed": outcome.passed,
        "spread": spread,
        "worst_points": deviations,
        "problems": outcome.problems,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::load_cases;
    use calc::calculators::Answer;
    use calc::estimate::Estimate;
    use calc::form::{Field, Kind};
    use std::collections::BTreeMap;

    static SQUARE: Calculator = Calculator {
        name: "square",
        title: "Square",
        text: "The square of a number.",
        inputs: &[Field::required("x", Kind::NOT_NEGATIVE, "number")],
        outputs: &[],
        sources: &[],
        run: |input| {
            let square = input.number("x") * input.number("x");
            Ok(Answer::new()
                .with("square", square)
                .with("list", vec![Value::Number(1.0), Value::record([("y", Value::Number(square))])])
                .with("word", "even")
                .with("guess", Estimate::normal(square, 0.1)))
        },
    };

    const TEXT: &str = r#"
topic = "squares"
[[case]]
title = "four values"
kind = "identity"
source = "own-arithmetic"
place = "3 x 3"
calculator = "square"
input = { x = 3 }
expect = { square = 9.09, "list.1.y" = 9.0, word = "even", guess = 8.9 }
tolerance = { square = { relative = 0.02 }, guess = { absolute = 0.2 }, "list.1.y" = { absolute = 0 } }
because = "test"
[[case]]
title = "refused"
kind = "identity"
source = "own-arithmetic"
place = "negative"
calculator = "square"
input_file = "minus.json"
refuse = ["x"]
[[sweep]]
title = "many"
kind = "identity"
source = "own-arithmetic"
place = "n x n"
calculator = "square"
file = "many.csv"
inputs = ["x"]
expect = ["square", "guess.value"]
bounds = { median = 0.0, p99 = 0.1, max = 0.1 }
because = "test"
"#;

    fn cases(changes: &[(&str, &str)]) -> Result<Vec<Case>, crate::FileFaults> {
        let text = changes.iter().fold(TEXT.to_owned(), |text, (from, to)| text.replace(from, to));
        let files: BTreeMap<String, Vec<u8>> = [
            ("squares/a.toml", text.as_str()),
            ("squares/minus.json", "{\"x\": -1}"),
            ("squares/many.csv", "x,square,guess.value\n1,1,1\n2,4,4\n3,9,10\n"),
        ]
        .map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()))
        .into();
        load_cases(&files, &["squares/a.toml".to_owned()])
    }

    fn outcomes(changes: &[(&str, &str)]) -> Vec<Outcome> {
        let cases = cases(changes).unwrap_or_else(|faults| panic!("{faults}"));
        cases.iter().map(|case| outcome(case, measure(&SQUARE, &case.check))).collect()
    }

    #[test]
    fn deviations_are_measured_in_shares_of_the_tolerance() {
        let all = outcomes(&[]);
        let [values, refusal, sweep] = all.as_slice() else { panic!("three cases") };
        assert_eq!((values.points, values.passed), (4, true));
        // 0.09 of an allowed 0.02 x 9.09, and 0.1 of an allowed 0.2.
        assert!((values.worst - 0.1 / 0.2).abs() < 1e-9);
        assert_eq!(values.deviations[1].what, "square");
        assert!((values.deviations[1].share - 0.09 / (0.02 * 9.09)).abs() < 1e-9);
        assert!(refusal.passed && sweep.passed);
        let spread = sweep.spread.unwrap();
        assert!((spread.max - 0.1).abs() < 1e-12 && spread.median == 0.0);
        assert_eq!(sweep.deviations[0].what, "guess.value, line 4");
        assert_eq!(report(&all)["failed"], 0);
    }

    #[test]
    fn what_is_off_fails() {
        for (from, to, failing) in [
            ("relative = 0.02", "relative = 0.009", 0),
            ("word = \"even\"", "word = \"odd\"", 0),
            ("\"list.1.y\" = 9.0", "\"list.1.z\" = 9.0", 0),
            ("refuse = [\"x\"]", "refuse = [\"y\"]", 1),
            ("max = 0.1", "max = 0.09", 2),
            ("p99 = 0.1", "p99 = 0.09", 2),
            ("inputs = [\"x\"]", "inputs = [\"square\"]", 2),
        ] {
            let changes =
                [(from, to), ("\"list.1.z\" = { absolute = 0 }", "\"list.1.z\" = { absolute = 1 }")];
            let changes =
                if from.contains("list") { vec![("list.1.y", "list.1.z")] } else { changes[..1].to_vec() };
            let failed: Vec<usize> = outcomes(&changes)
                .iter()
                .enumerate()
                .filter(|(_, one)| !one.passed)
                .map(|(at, _)| at)
                .collect();
            assert_eq!(failed, [failing], "{from}");
        }
        let unknown = run_case(&cases(&[("\"square\"\ninput", "\"cube\"\ninput")]).unwrap()[0]);
        assert!(!unknown.passed && unknown.problems[0].contains("no calculator"));
    }

    #[test]
    fn faulty_cases_are_named() {
        for (from, to, field) in [
            ("topic = \"squares\"", "topic = \"cubes\"", "topic"),
            ("title = \"refused\"", "title = \"four values\"", "case.1.title"),
            (
                "kind = \"identity\"\nsource = \"own-arithmetic\"\nplace = \"3",
                "kind = \"proof\"\nsource = \"o\"\nplace = \"3",
                "case.0.kind",
            ),
            ("minus.json", "gone.json", "case.1.input_file"),
            ("minus.json", "../../x.json", "case.1.input_file"),
            ("square = { relative = 0.02 }, ", "", "case.0.tolerance"),
            ("because = \"test\"\n[[case]]", "[[case]]", "case.0.because"),
            ("[\"x\"]\nexpect", "[\"z\"]\nexpect", "sweep.0.file"),
            ("input_file =", "inputs_file =", "case.1.inputs_file"),
        ] {
            let faults = cases(&[(from, to)]).expect_err(from);
            assert!(
                faults.0.iter().any(|fault| fault.field == field && fault.place.is_some()),
                "{from}: {faults}"
            );
        }
    }
}
