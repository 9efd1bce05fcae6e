//! A trace as arrays, where a program sends it or asks for it in place of a file.

use std::collections::BTreeMap;

use calc::form::{self, Fault, Field, Kind, Value};
use calc::trace::Trace;

use crate::csv::{Quantity, sensible_range};

/// Most samples that are taken; a file's reader averages beyond this.
pub const SAMPLES: usize = 65_536;

const fn samples(quantity: Quantity) -> Kind {
    match quantity {
        Quantity::Pressure => Kind::List { of: &PRESSURE, least: 2 },
        Quantity::Flow => Kind::List { of: &FLOW, least: 2 },
        _ => Kind::List { of: &TEMPERATURE, least: 2 },
    }
}
const fn sample(quantity: Quantity) -> Kind {
    let (low, high) = sensible_range(quantity);
    Kind::Sample { low, high }
}
static PRESSURE: Kind = sample(Quantity::Pressure);
static FLOW: Kind = sample(Quantity::Flow);
static TEMPERATURE: Kind = sample(Quantity::Temperature);
static TIME: Kind = Kind::Number { low: -1e9, high: 1e9 };

/// Columns of a trace, all of one length.
pub static TRACE: Kind = Kind::Record(&[
    Field::required("time_s", Kind::List { of: &TIME, least: 2 }, "time of each sample, rising"),
    Field::optional(
        "pressure_bar_g",
        samples(Quantity::Pressure),
        "pressure; null where a sample is missing",
    ),
    Field::optional("flow_l_min", samples(Quantity::Flow), "flow; null where a sample is missing"),
    Field::optional(
        "temperature_deg_c",
        samples(Quantity::Temperature),
        "temperature; null where a sample is missing",
    ),
]);

/// A trace as a record of columns.
#[must_use]
pub fn value(trace: &Trace) -> Value {
    let list = |numbers: &Vec<f64>| Value::List(numbers.iter().copied().map(Value::from).collect());
    let columns = [
        ("time_s", Some(&trace.time_s)),
        ("pressure_bar_g", trace.pressure_bar_g.as_ref()),
        ("flow_l_min", trace.flow_l_min.as_ref()),
        ("temperature_deg_c", trace.temperature_deg_c.as_ref()),
    ];
    Value::record(columns.into_iter().filter_map(|(name, column)| Some((name, list(column?)))))
}

/// Takes the traces out of a reading: each becomes a name under which it is kept. Faults carry their places.
pub(crate) fn taken_out(
    value: &mut Value,
    path: &str,
    kept: &mut BTreeMap<String, Trace>,
    faults: &mut Vec<Fault>,
) {
    let join = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Record(fields) => {
            for (name, inner) in fields {
                let place = join(name);
                match name.as_str() {
                    "trace" if !matches!(inner, Value::Null) => {
                        match read(inner) {
                            Ok(trace) => drop(kept.insert(place.clone(), trace)),
                            Err(more) => faults.extend(more.into_iter().map(|fault| fault.under(&place))),
                        }
                        *inner = Value::Text(place);
                    }
                    "columns" => {
                        let hint = "leave it out: the arrays of a trace say what they hold";
                        faults.push(Fault::new(place, "unknown field", hint));
                    }
                    _ => taken_out(inner, &place, kept, faults),
                }
            }
        }
        Value::List(items) => {
            for (at, item) in items.iter_mut().enumerate() {
                taken_out(item, &join(&at.to_string()), kept, faults);
            }
        }
        _ => {}
    }
}

/// A trace from its columns.
fn read(value: &Value) -> Result<Trace, Vec<Fault>> {
    static ONE: &[Field] = &[Field::required("trace", Kind::TextOr(&TRACE), "the trace")];
    let checked = form::check(ONE, &Value::record([("trace", value.clone())])).map_err(|faults| {
        let own = |fault: Fault| {
            let field =
                fault.field.strip_prefix("trace").unwrap_or(&fault.field).trim_start_matches('.').to_owned();
            Fault { field, ..fault }
        };
        faults.into_iter().map(own).collect::<Vec<_>>()
    })?;
    let columns = checked.get("trace").unwrap_or(&Value::Null);
    if let Value::Text(_) = columns {
        return Err(vec![Fault::new("", "this is a text", "give the columns of the trace as arrays")]);
    }
    let time_s = columns.get("time_s").map(Value::numbers).unwrap_or_default();
    let mut faults = Vec::new();
    let mut column = |name: &str| {
        let numbers = columns.get(name).filter(|column| !matches!(column, Value::Null))?.numbers();
        if numbers.len() != time_s.len() {
            let problem = format!("{} samples, but {} times", numbers.len(), time_s.len());
            faults.push(Fault::new(
                name,
                problem,
                "give one sample for each time, null where one is missing",
            ));
        }
        // A column without any value is none, as in a file.
        numbers.iter().any(|number| number.is_finite()).then_some(numbers)
    };
    let (pressure_bar_g, flow_l_min, temperature_deg_c) =
        (column("pressure_bar_g"), column("flow_l_min"), column("temperature_deg_c"));
    if let Some(at) = time_s.windows(2).position(|two| matches!(two, [one, next] if next <= one)) {
        let hint = "give the samples in the order of their times, each time once";
        faults.push(Fault::new(format!("time_s.{}", at + 1), "not after the time before it", hint));
    }
    if time_s.len() > SAMPLES {
        faults.push(Fault::new(
            "time_s",
            format!("{} samples", time_s.len()),
            format!("give at most {SAMPLES}"),
        ));
    }
    if faults.is_empty() {
        Ok(Trace { time_s, pressure_bar_g, flow_l_min, temperature_deg_c })
    } else {
        Err(faults)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(numbers: &[f64]) -> Value {
        Value::List(numbers.iter().map(|number| Value::from(*number)).collect())
    }

    #[test]
    fn a_trace_comes_back_and_a_missing_sample_stays_missing() {
        let trace = Trace {
            time_s: vec![0.0, 1.0, 2.5],
            pressure_bar_g: Some(vec![6.0, f64::NAN, 5.98]),
            ..Trace::default()
        };
        let back = read(&value(&trace)).expect("sound");
        assert_eq!(back.time_s, trace.time_s);
        assert!(back.pressure_bar_g.is_some_and(|column| column[1].is_nan() && column[2..] == [5.98]));
        assert_eq!(back.flow_l_min, None);
    }

    #[test]
    fn every_fault_of_a_trace_is_named() {
        let bad = Value::record([
            ("time_s", numbers(&[0.0, 1.0, 1.0])),
            ("pressure_bar_g", numbers(&[6.0, 5.9])),
            ("flow_l_min", numbers(&[1.0, 2.0, 3.0])),
        ]);
        let faults = read(&bad).expect_err("two faults");
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["pressure_bar_g", "time_s.2"]);
        let faults = read(&Value::record([("time_s", numbers(&[0.0])), ("speed", numbers(&[1.0, 2.0]))]))
            .expect_err("two");
        assert_eq!(faults.iter().map(|fault| fault.field.as_str()).collect::<Vec<_>>(), ["speed", "time_s"]);
        assert!(read(&Value::from("F2.csv")).is_err());
    }
}
