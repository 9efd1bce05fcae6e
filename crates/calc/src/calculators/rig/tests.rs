//! Faults are named, answers come in the stated units.

use super::bucket::BUCKET_CHECK;
use super::check::RIG_CHECK;
use crate::form::Value;

fn record(fields: &[(&str, f64)]) -> Value {
    Value::record(fields.iter().map(|(name, number)| (*name, Value::Number(*number))))
}

#[test]
fn a_bucket_answers_and_names_its_faults() {
    let answer = BUCKET_CHECK.answer(&record(&[("mass_kg", 5.0), ("time_s", 30.0)])).unwrap();
    // ISO 4185: 1.05e-3 for steel weights.
    let buoyancy = answer.get("buoyancy_factor").unwrap().as_number().unwrap();
    assert!((buoyancy - 1.00105).abs() < 1e-5);
    assert_eq!(answer.get("meter_off"), Some(&Value::Null));
    let fault = |value: &Value| BUCKET_CHECK.answer(value).unwrap_err()[0].field.clone();
    assert_eq!(fault(&record(&[("time_s", 30.0)])), "mass_kg");
    assert_eq!(fault(&record(&[("volume_l", 5.0)])), "time_s");
    assert_eq!(fault(&record(&[("mass_kg", 5.0), ("volume_l", 5.0), ("time_s", 9.0)])), "volume_l");
    let mixed = [record(&[("mass_kg", 5.0), ("time_s", 9.0)]), record(&[("volume_l", 5.0), ("time_s", 9.0)])];
    assert_eq!(fault(&Value::record([("runs", Value::List(mixed.to_vec()))])), "runs.1");
    let beside = [("runs", Value::List(mixed.to_vec())), ("time_s", Value::Number(3.0))];
    assert_eq!(fault(&Value::record(beside)), "time_s");
}

#[test]
fn a_rig_check_answers_in_per_cent() {
    let mut bucket = vec![("on".to_owned(), Value::from("bucket"))];
    let numbers = [("flow_l_min", 11.0), ("bucket_flow_l_min", 10.0), ("bucket_uncertainty_l_min", 0.05)];
    bucket.extend(numbers.map(|(name, number)| (name.to_owned(), Value::Number(number))));
    let ask = |reading: Value| RIG_CHECK.answer(&Value::record([("readings", Value::List(vec![reading]))]));
    let answer = ask(Value::Record(bucket.clone())).unwrap();
    assert_eq!(answer.get("trust"), Some(&Value::from("drifted")));
    let meter = answer.get("instruments").unwrap().get("flow-meter").unwrap();
    let percent = meter.get("error").unwrap().get("value").unwrap().as_number().unwrap();
    assert!((percent - 10.0).abs() < 0.5, "{percent}");
    bucket.retain(|(name, _)| name != "bucket_flow_l_min");
    assert_eq!(ask(Value::Record(bucket)).unwrap_err()[0].field, "readings.0.bucket_flow_l_min");
}
