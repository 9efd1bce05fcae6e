//! Reading plan files: every fault at once, each with its place.

mod common;

use calc::form::Value;
use link::{Plan, simulate};

const PLAN: &str = r#"
format = "borewise-plan/1"
seed = 9
[mould]
id = "T-9"
name = "test"
[[circuit]]
id = "F1"
half = "fixed"
pieces = [{kind = "bore", diameter_mm = 8, length_mm = 400}, {kind = "elbow", diameter_mm = 8, count = 2}]
truth = {condition = "even-deposit", thickness_mm = 0.4, leak_out_mbar_l_s = 0.5}
[[circuit]]
id = "F2"
half = "fixed"
known = "unknown"
pieces = [{kind = "bore", diameter_mm = 10, length_mm = 400}]
[rig]
pump_curve = [[0, 6.0], [30, 5.0], [90, 0.0]]
supply = [{kind = "hose", diameter_mm = 13, length_mm = 1000}]
return = [{kind = "hose", diameter_mm = 13, length_mm = 1000}]
reference_volume_ml = 1000
[visit]
id = "T-9-1"
started = "2026-11-24T08:40:00Z"
by = "T. Marsh"
[[reading]]
kind = "leak-down"
seconds = 20
[[reading]]
kind = "volume"
circuits = ["F1"]
[[reading]]
kind = "flow"
"#;

fn faults(changes: &[(&str, &str)]) -> Vec<String> {
    let mut text = PLAN.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let found = Plan::from_value(&common::tree(&text)).expect_err("this plan is wrong");
    found.into_iter().map(|fault| fault.field).collect()
}

#[test]
fn a_small_plan_is_read_and_played() {
    let plan = Plan::from_value(&common::tree(PLAN)).unwrap();
    assert_eq!(plan.seed, 9);
    let simulated = simulate(&plan, plan.seed).unwrap();
    assert_eq!(simulated.visit.entries.len(), 5);
    assert!(simulated.mould.circuits[1].pieces.is_empty());
    assert!((simulated.truth.circuits[0].thickness.unwrap().mm() - 0.4).abs() < 1e-12);
}

#[test]
fn faults_of_the_form_come_together() {
    let found =
        faults(&[("length_mm = 400}]", "length_mm = -4}]"), ("half = \"fixed\"\nknown", "halve = 1\nknown")]);
    for field in ["circuit.1.pieces.0.length_mm", "circuit.1.halve", "circuit.1.half"] {
        assert!(found.iter().any(|other| other == field), "{field} in {found:?}");
    }
}

#[test]
fn faults_of_meaning_come_together() {
    let found = faults(&[
        ("thickness_mm = 0.4", "plug_bore_mm = 2"),
        ("id = \"F2\"", "id = \"F1\""),
        ("circuits = [\"F1\"]", "circuits = [\"F7\"]"),
        ("[30, 5.0]", "[30, 7.0]"),
        ("reference_volume_ml = 1000\n", ""),
        ("2026-11-24T08:40:00Z", "yesterday"),
    ]);
    for field in [
        "circuit.0.truth.thickness_mm",
        "circuit.0.truth.plug_bore_mm",
        "circuit.1.id",
        "reading.1.circuits",
        "rig.pump_curve.1",
        "rig.reference_volume_ml",
        "visit.started",
    ] {
        assert!(found.iter().any(|other| other == field), "{field} in {found:?}");
    }
}

#[test]
fn the_truth_can_be_written_down() {
    let plan = Plan::from_value(&common::tree(PLAN)).unwrap();
    let value = simulate(&plan, 4).unwrap().truth.to_value();
    assert_eq!(value.get("seed").and_then(Value::as_number), Some(4.0));
    let circuit = &value.get("circuit").unwrap().items()[0];
    assert_eq!(circuit.get("state").and_then(Value::as_text), Some("even-deposit"));
    assert_eq!(circuit.get("leak_out_mbar_l_s").and_then(Value::as_number), Some(0.5));
    // TOML has no null.
    fn no_null(value: &Value) -> bool {
        match value {
            Value::Null => false,
            Value::List(items) => items.iter().all(no_null),
            Value::Record(fields) => fields.iter().all(|(_, inner)| no_null(inner)),
            _ => true,
        }
    }
    assert!(no_null(&value));
}
