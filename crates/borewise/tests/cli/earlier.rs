//! A circuit's past: from the mould file, and from findings that were written before.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Value as Json, json};

use crate::program::{borewise, circuit, new_folder, shown};

const MOULD: &str = r#"format = "borewise-mould/1"
[mould]
id = "M-214"
[[circuit]]
id = "F3"
baseline_flow_factor_m3_h = 1.03
baseline_filled_volume_ml = 471
known = "measured"
pieces = [{kind = "bore", diameter_mm = 10, length_mm = 6000}]
"#;

/// A visit on a day with this flow at 1 bar: 17.2 l/min is full flow, 11 l/min a layer of half a millimetre or a narrow place.
fn visit(mould: &str, day: &str, flow_l_min: f64) -> PathBuf {
    let folder = new_folder();
    fs::write(folder.join("m.mould.toml"), mould).unwrap();
    let text = format!(
        r#"format = "borewise-visit/1"
mould = "m.mould.toml"
[visit]
started = {day}T08:40:00Z
by = "K. Dale"
[rig]
flow_uncertainty_percent = 1.0
pressure_uncertainty_bar = 0.01
fixture_volume_ml = 100
[[reading]]
kind = "flow"
circuit = "F3"
flow_l_min = {flow_l_min}
pressure_in_bar_g = 1.0
pressure_out_bar_g = 0
water_temperature_deg_c = 20
through_fixture = false
"#
    );
    fs::write(folder.join("v.visit.toml"), text).unwrap();
    folder.join("v.visit.toml")
}

fn judged(visit: &Path, more: &[&str]) -> Json {
    let ended = borewise(&[&["assess", shown(visit), "--json"], more].concat());
    assert!(ended.code <= 1, "{ended:?}");
    ended.document()
}

fn probability(findings: &Json, key: &str, state: &str) -> f64 {
    circuit(findings, "F3")[key][state].as_f64().unwrap()
}

fn text_of(findings: &Json, title: &str) -> String {
    let evidence = circuit(findings, "F3")["evidence"].as_array().unwrap();
    let found = evidence.iter().find(|one| one["title"] == title);
    found.map(|one| one["text"].as_str().unwrap().to_owned()).unwrap_or_default()
}

fn codes(findings: &Json) -> Vec<&str> {
    findings["warnings"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect()
}

#[test]
fn what_march_found_counts_in_november() {
    let past = r#"[[circuit.earlier]]
date = 2026-03-04
state = { even-deposit = 0.8 }
deposit_thickness_mm = 0.4
"#;
    let alone = judged(&visit(MOULD, "2026-11-24", 11.0), &[]);
    let with = judged(&visit(&format!("{MOULD}{past}"), "2026-11-24", 11.0), &[]);
    assert_eq!(circuit(&alone, "F3")["state_without_past"], Json::Null);
    assert!(probability(&with, "state", "even-deposit") > probability(&alone, "state", "even-deposit"));
    let without = probability(&with, "state_without_past", "even-deposit");
    assert!((without - probability(&alone, "state", "even-deposit")).abs() < 1e-5);
    let text = text_of(&with, "Earlier visits");
    assert!(text.starts_with("On 4 March 2026: even deposit 80 %, layer 0.40 mm"), "{text}");
    assert!(text.contains("not cleaned since") && text.contains("Without the past"), "{text}");
    assert!(!codes(&with).contains(&"past-disagrees"));
    // Full flow after a sure deposit that nobody took away.
    let sure = past.replace("{ even-deposit = 0.8 }", "{ even-deposit = 0.99 }");
    let full = judged(&visit(&format!("{MOULD}{sure}"), "2026-04-04", 17.2), &[]);
    assert!(codes(&full).contains(&"past-disagrees"), "{full:#}");
    assert!(probability(&full, "state", "as-new") > 0.5, "{full:#}");
}

#[test]
fn findings_of_an_earlier_visit_are_a_past() {
    let first = visit(MOULD, "2026-03-04", 11.0);
    let out = new_folder();
    borewise(&["assess", shown(&first), "--out", shown(&out)]);
    let document = out.join("findings.json");
    let again = visit(MOULD, "2026-11-24", 11.0);
    let with = judged(&again, &["--earlier", shown(&document)]);
    assert!(text_of(&with, "Earlier visits").contains("4 March 2026"), "{with:#}");
    assert_eq!(with["inputs"].as_array().unwrap().last().unwrap()["name"], "findings.json");
    let twice = judged(&again, &["--earlier", shown(&document), shown(&document)]);
    assert!(codes(&twice).contains(&"earlier-twice"));
    assert_eq!(circuit(&twice, "F3")["state"], circuit(&with, "F3")["state"]);
    // What was done afterwards stands in the mould file, on the same day.
    let done = format!("{MOULD}[[circuit.earlier]]\ndate = 2026-03-04\ndone = [\"descaled\"]\n");
    let cleaned = judged(&visit(&done, "2026-11-24", 11.0), &["--earlier", shown(&document)]);
    assert!(text_of(&cleaned, "Earlier visits").contains("afterwards descaled"), "{cleaned:#}");
    // A visit is not its own past.
    let own = judged(&first, &["--earlier", shown(&document)]);
    assert!(codes(&own).contains(&"earlier-is-later"));
    assert_eq!(circuit(&own, "F3")["state_without_past"], Json::Null);
}

#[test]
fn documents_that_are_no_past_are_refused() {
    let first = visit(MOULD, "2026-03-04", 11.0);
    let mut document = judged(&first, &[]);
    let again = visit(MOULD, "2026-11-24", 11.0);
    let refused = |document: &Json| {
        let path = new_folder().join("findings.json");
        fs::write(&path, document.to_string()).unwrap();
        let ended = borewise(&["assess", shown(&again), "--json", "--earlier", shown(&path)]);
        assert_eq!(ended.code, 2, "{ended:?}");
        ended.error_words("field")
    };
    document["mould"] = json!("M-9");
    assert_eq!(refused(&document), ["mould"]);
    document["mould"] = json!("M-214");
    document["started"] = json!("yesterday");
    document["circuits"][0]["state"]["as-new"] = json!(0.9);
    assert_eq!(refused(&document), ["started", "circuits.0.state"]);
    document["format"] = json!("borewise-findings/9");
    assert_eq!(refused(&document), ["format"]);
    assert_eq!(refused(&json!([])), ["format"]);
    let missing = borewise(&["assess", shown(&again), "--earlier", "no-such.json"]);
    assert_eq!(missing.code, 3);
}

#[test]
fn every_fault_of_a_past_is_named_at_once() {
    let past = r#"[[circuit.earlier]]
date = "2026-02-30"
state = { even-deposit = 0.8, rough = 0.9 }
[[circuit.earlier]]
date = 2026-03-04
state_before = { even = 0.2 }
deposit_thickness_mm = -1
done = ["nothing", "descaled"]
[[circuit.earlier]]
date = 2026-03-04
"#;
    let ended = borewise(&["assess", shown(&visit(&format!("{MOULD}{past}"), "2026-11-24", 11.0)), "--json"]);
    assert_eq!(ended.code, 2, "{ended:?}");
    let mut fields = ended.error_words("field");
    fields.sort();
    let at = |rest: &str| format!("circuit.0.earlier.{rest}");
    let mut wanted = vec![
        at("0.date"),
        at("0.state"),
        at("1.state_before.even"),
        at("1.state_before"),
        at("1.state_before"),
        at("1.deposit_thickness_mm"),
        at("1.deposit_thickness_mm"),
        at("1.done"),
        at("2.date"),
        at("2.state"),
    ];
    wanted.sort();
    assert_eq!(fields, wanted, "{:#}", ended.document());
    assert!(ended.errors().iter().all(|error| error["line"].as_u64().is_some()), "{:#}", ended.document());
}
