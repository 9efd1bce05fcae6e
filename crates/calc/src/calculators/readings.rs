//! Calculators: mean of a flow trace, and before against after.

use super::{Answer, Calculator, Output};
use crate::estimate::Uncertain;
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::quantity::Duration;
use crate::readings::compare::{Changed, NO_CHANGE_BELOW_PERCENT, compare};
use crate::readings::steady::{SteadyError, SteadyFlow, steady_flow};
use crate::trace::Trace;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&STEADY_FLOW, &COMPARE];

/// Below this length a trace says little about its own memory.
const SHORT_S: f64 = 30.0;

static STEADY_FLOW: Calculator = Calculator {
    name: "steady-flow",
    title: "Mean of a flow trace",
    text: "Finds the steady part of a flow trace and its mean. Start-up, bubbles and spikes are taken out; the \
           uncertainty knows that neighbouring samples are alike. Record a minute: under 30 s intervals grow wide.",
    inputs: &[
        Field::required(
            "trace",
            Kind::Record(&[
                Field::required(
                    "time_s",
                    Kind::List { of: &Kind::Number { low: -1e9, high: 1e9 }, least: 1 },
                    "time of each sample",
                ),
                Field::required(
                    "flow_l_min",
                    Kind::List { of: &Kind::Sample { low: -1e5, high: 1e5 }, least: 1 },
                    "flow at each sample, null where it is missing",
                ),
            ]),
            "samples",
        ),
        Field::preset(
            "meter_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(2.0),
            "standard uncertainty of the flow meter, of reading",
        ),
        Field::preset(
            "window_s",
            Kind::Number { low: 1.0, high: 3600.0 },
            Preset::Number(10.0),
            "shortest steady part that is accepted",
        ),
    ],
    outputs: &[
        Output { name: "flow_l_min", text: "mean flow, repeatability and meter in the interval" },
        Output { name: "steady", text: "whether the flow was steady" },
        Output { name: "steady_from_s", text: "time from which on the start-up is over" },
        Output { name: "independent_samples", text: "independent samples that would tell as much" },
        Output { name: "outliers", text: "samples left out as disturbed" },
        Output { name: "standard_l_min", text: "standard uncertainty with the meter" },
        Output {
            name: "repeatability_l_min",
            text: "standard uncertainty without the meter, for comparing readings of one meter",
        },
        Output { name: "drift_percent_per_min", text: "drift of the flow" },
    ],
    sources: &["harvey-1989", "pearson-2002"],
    run: run_steady_flow,
};

fn run_steady_flow(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let (time_s, flow) = input
        .record("trace")
        .map(|trace| (trace.numbers("time_s"), trace.numbers("flow_l_min")))
        .unwrap_or_default();
    if time_s.len() != flow.len() {
        let problem = format!("{} flows beside {} times", flow.len(), time_s.len());
        let hint = "give one flow for each time, null where it is missing";
        return Err(vec![Fault::new("trace.flow_l_min", problem, hint)]);
    }
    let start = time_s.first().copied().unwrap_or_default();
    let trace = Trace {
        time_s: time_s.iter().map(|time| time - start).collect(),
        flow_l_min: Some(flow),
        ..Trace::default()
    };
    let window = Duration::from_s(input.number("window_s"));
    let meter = input.number("meter_uncertainty_percent") / 100.0;
    let found = steady_flow(&trace, meter, window).map_err(|error| vec![steady_fault(&error)])?;
    let length = trace.time_s.last().copied().unwrap_or_default();
    Ok(steady_answer(&found, length - found.steady_from_s, start))
}

fn steady_answer(found: &SteadyFlow, stretch_s: f64, start_s: f64) -> Answer {
    let drift_percent = 100.0 * found.drift_l_min_per_min / found.flow.value;
    let mut answer = Answer::new()
        .with("flow_l_min", found.flow)
        .with("steady", found.steady)
        .with("steady_from_s", found.steady_from_s + start_s)
        .with("independent_samples", found.independent_samples)
        .with("outliers", found.outliers as f64)
        .with("standard_l_min", found.standard_l_min)
        .with("repeatability_l_min", found.repeatability_l_min)
        .with("drift_percent_per_min", drift_percent);
    if !found.steady {
        answer = answer.warn(
            "not-steady",
            format!(
                "The flow was not steady (drift {drift_percent:.2} % a minute, {} samples disturbed): let the \
                 circuit run until it is, vent air, and record again.",
                found.outliers
            ),
        );
    }
    if stretch_s < SHORT_S {
        answer = answer.warn(
            "short-trace",
            format!("Only {stretch_s:.0} s were steady; a minute gives a dependable interval."),
        );
    }
    answer
}

fn steady_fault(error: &SteadyError) -> Fault {
    let (field, hint) = match error {
        SteadyError::NoFlowColumn | SteadyError::NoFlow { .. } => {
            ("trace.flow_l_min", "check that water runs and the meter points downstream")
        }
        SteadyError::TooFewSamples { .. } => ("trace.flow_l_min", "record longer or faster"),
        SteadyError::TimesNotRising { .. } => ("trace.time_s", "sort the samples and remove doubles"),
        SteadyError::TooShort { .. } => ("trace.time_s", "record longer, or ask for a shorter window"),
        SteadyError::MeterUncertainty { .. } => ("meter_uncertainty_percent", "give 0 to 100"),
        SteadyError::Window { .. } => ("window_s", "give more than 0"),
    };
    Fault::new(field, error.to_string(), hint)
}

const READING: Kind = Kind::Record(&[
    Field::required("value", Kind::Number { low: -1e12, high: 1e12 }, "value"),
    Field::required("standard_uncertainty", Kind::NOT_NEGATIVE, "standard uncertainty, same unit"),
]);

static COMPARE: Calculator = Calculator {
    name: "compare",
    title: "Before against after",
    text: "Whether a reading has changed. 'yes' if the 95 % interval of the difference leaves out zero; 'no' if it \
           holds zero and stays within 5 % of the first reading; 'cannot-tell' otherwise. With one meter for both, its \
           calibration is common: leave it out of both uncertainties, or give the correlation.",
    inputs: &[
        Field::required("before", READING, "first reading"),
        Field::required("after", READING, "second reading"),
        Field::preset(
            "correlation",
            Kind::Number { low: -1.0, high: 1.0 },
            Preset::Number(0.0),
            "correlation of the two errors",
        ),
    ],
    outputs: &[
        Output { name: "ratio", text: "second reading divided by the first" },
        Output { name: "difference", text: "second reading minus the first" },
        Output { name: "changed", text: "yes, no or cannot-tell" },
        Output {
            name: "smallest_provable_change_percent",
            text: "smallest change that these uncertainties can prove, of the first reading",
        },
    ],
    sources: &["jcgm-100", "fieller-1954"],
    run: run_compare,
};

fn run_compare(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let reading = |name: &str| {
        input.record(name).map_or(Uncertain::new(f64::NAN, f64::NAN), |record| {
            Uncertain::new(record.number("value"), record.number("standard_uncertainty"))
        })
    };
    let found = compare(reading("before"), reading("after"), input.number("correlation"))
        .map_err(|range| vec![Fault::from(range)])?;
    let answer = Answer::new()
        .with("ratio", found.ratio)
        .with("difference", found.difference)
        .with("changed", found.changed.word())
        .with("smallest_provable_change_percent", found.smallest_provable_change_percent);
    Ok(match found.changed {
        Changed::CannotTell => answer.warn(
            "cannot-tell",
            format!(
                "The interval holds both no change and one of {NO_CHANGE_BELOW_PERCENT:.0} %; less than {:.1} % \
                 cannot be proved. Longer or repeated readings would tell.",
                found.smallest_provable_change_percent
            ),
        ),
        Changed::Yes | Changed::No => answer,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::Value;
    use crate::numeric::math;

    fn flow_trace(samples: usize, flow: impl Fn(f64) -> f64) -> Value {
        let times: Vec<f64> = (0..samples).map(|place| 100.0 + place as f64 * 0.1).collect();
        let list = |numbers: &mut dyn Iterator<Item = f64>| Value::List(numbers.map(Value::from).collect());
        Value::record([
            ("time_s", list(&mut times.iter().copied())),
            ("flow_l_min", list(&mut times.iter().map(|time| flow(time - 100.0)))),
        ])
    }

    #[test]
    fn a_trace_with_start_up_and_gaps() {
        let flow = |time: f64| {
            if (20.0..21.0).contains(&time) {
                return f64::NAN;
            }
            9.0 - 3.0 * math::exp(-time / 1.5) + 0.02 * math::sin(17.0 * time)
        };
        let answer = STEADY_FLOW.answer(&Value::record([("trace", flow_trace(600, flow))])).unwrap();
        let mean = answer.get("flow_l_min").unwrap().get("value").unwrap().as_number().unwrap();
        assert!((mean - 9.0).abs() < 0.01, "{mean}");
        assert_eq!(answer.get("steady"), Some(&Value::Flag(true)));
        assert!(answer.get("steady_from_s").unwrap().as_number().unwrap() > 101.0);
        assert!(answer.warnings.is_empty(), "{:?}", answer.warnings);
    }

    #[test]
    fn faults_name_their_field() {
        let unequal = Value::record([(
            "trace",
            Value::record([
                ("time_s", Value::List(vec![Value::Number(0.0), Value::Number(0.1)])),
                ("flow_l_min", Value::List(vec![Value::Number(1.0)])),
            ]),
        )]);
        assert_eq!(STEADY_FLOW.answer(&unequal).unwrap_err()[0].field, "trace.flow_l_min");
        let short = Value::record([("trace", flow_trace(60, |_| 5.0))]);
        assert_eq!(STEADY_FLOW.answer(&short).unwrap_err()[0].field, "trace.time_s");
        let idle = Value::record([("trace", flow_trace(600, |_| 0.0))]);
        assert_eq!(STEADY_FLOW.answer(&idle).unwrap_err()[0].field, "trace.flow_l_min");
    }

    #[test]
    fn compare_says_when_it_cannot_tell() {
        let reading = |value: f64, u: f64| {
            Value::record([("value", Value::Number(value)), ("standard_uncertainty", Value::Number(u))])
        };
        let ask = |after: Value| {
            COMPARE.answer(&Value::record([("before", reading(6.0, 0.3)), ("after", after)])).unwrap()
        };
        let coarse = ask(reading(6.3, 0.3));
        assert_eq!(coarse.get("changed"), Some(&Value::from("cannot-tell")));
        assert_eq!(coarse.warnings[0].code, "cannot-tell");
        assert_eq!(ask(reading(8.0, 0.3)).get("changed"), Some(&Value::from("yes")));
    }
}
