//! Visits written by hand: hardly anything known, foreign loggers, treatments, and files full of slips.

use std::fs;
use std::path::PathBuf;

use serde_json::{Value as Json, json};

use crate::program::{borewise, circuit, new_folder, shown};

const MOULD: &str = r#"format = "borewise-mould/1"
[mould]
id = "M-214"
[[circuit]]
id = "F2"
[[circuit]]
id = "F3"
metals = ["1.2311"]
seals = ["EPDM"]
baseline_flow_factor_m3_h = 1.0
known = "measured"
pieces = [{kind = "bore", diameter_mm = 10, length_mm = 420}]
"#;

const HEAD: &str = r#"format = "borewise-visit/1"
mould = "m.mould.toml"
[visit]
started = 2026-11-24T08:40:00Z
by = "K. Dale"
"#;

/// A good leak-down of F3 by hand.
const TIGHT: &str = r#"[[reading]]
kind = "leak-down"
circuit = "F3"
start_bar_g = 6
end_bar_g = 6
seconds = 600
hold_s = 60
"#;

const FLOW: &str = r#"[[reading]]
kind = "flow"
circuit = "F3"
flow_l_min = 23
pressure_in_bar_g = 2
pressure_out_bar_g = 0
water_temperature_deg_c = 18
"#;

const RIG: &str = r#"[rig]
flow_uncertainty_percent = 1.0
pressure_uncertainty_bar = 0.01
fixture_flow_factor_m3_h = 5
fixture_volume_ml = 100
"#;

/// Writes a mould and a visit with these parts, and gives the path of the visit.
fn visit(parts: &[&str]) -> PathBuf {
    let folder = new_folder();
    fs::write(folder.join("m.mould.toml"), MOULD).unwrap();
    let path = folder.join("v.visit.toml");
    fs::write(&path, [&[HEAD], parts].concat().concat()).unwrap();
    path
}

#[track_caller]
fn findings(path: &std::path::Path) -> (Json, i32) {
    let ended = borewise(&["assess", "--json", shown(path)]);
    assert_eq!(ended.err, "", "{ended:?}");
    (ended.document(), ended.code)
}

#[test]
fn two_gauge_readings_are_enough_to_begin() {
    let path = visit(&[
        "[[reading]]\nkind = \"leak-down\"\ncircuit = \"F2\"\nstart_bar_g = 6.0\nend_bar_g = 5.9\nseconds = 60\n",
    ]);
    let (found, code) = findings(&path);
    assert_eq!((found["fit_for_press"].as_str(), code), (Some("cannot-tell"), 0));
    let circuit = circuit(&found, "F2");
    assert_eq!(circuit["tightness"], "cannot-tell");
    assert_eq!(circuit["next_step"], "find-out");
    assert!(circuit["best_next_reading"].as_str().is_some_and(|reading| !reading.is_empty()));
    for gate in ["wet", "descale", "release"] {
        assert_eq!(circuit["gates"][gate]["open"], false, "{gate}");
    }
    assert!(found["warnings"].as_array().unwrap().iter().any(|warning| warning["code"] == "rig-assumed"));
}

#[test]
fn a_leak_that_nobody_can_miss_is_not_fit() {
    let path = visit(&[RIG, &TIGHT.replace("end_bar_g = 6", "end_bar_g = 3")]);
    let (found, code) = findings(&path);
    assert_eq!((found["fit_for_press"].as_str(), code), (Some("no"), 1));
    assert_eq!(circuit(&found, "F3")["gates"]["wet"]["open"], false);
}

#[test]
fn no_reading_at_all_is_a_visit_too() {
    let (found, code) = findings(&visit(&[]));
    assert_eq!((found["fit_for_press"].as_str(), code), (Some("cannot-tell"), 0));
    for circuit in found["circuits"].as_array().unwrap() {
        assert_eq!((&circuit["tightness"], &circuit["passage"]), (&json!("untested"), &json!("untested")));
        assert_eq!(circuit["gates"]["wet"]["open"], false);
    }
}

#[test]
fn readings_before_a_treatment_do_not_count_after_it() {
    let (before, _) = findings(&visit(&[RIG, TIGHT, FLOW]));
    let untouched = circuit(&before, "F3");
    assert_eq!(untouched["tightness"], "tight");
    assert!(untouched["flow_factor_m3_h"].is_object());
    assert_eq!(untouched["gates"]["wet"]["open"], true);
    for kind in ["descale", "repair"] {
        let treatment = format!("[[treatment]]\nkind = \"{kind}\"\ncircuit = \"F3\"\n");
        let (after, _) = findings(&visit(&[RIG, TIGHT, FLOW, &treatment]));
        let treated = circuit(&after, "F3");
        assert_eq!(treated["tightness"], "untested", "{kind}");
        assert!(treated["flow_factor_m3_h"].is_null(), "{kind}");
        assert_eq!(treated["gates"]["wet"]["open"], false, "{kind}");
        assert_eq!(treated["next_step"], "find-out", "{kind}");
    }
    // The same treatment before the readings outdates nothing.
    let treatment = "[[treatment]]\nkind = \"repair\"\ncircuit = \"F3\"\n";
    let (after, _) = findings(&visit(&[RIG, treatment, TIGHT, FLOW]));
    assert_eq!(circuit(&after, "F3")["tightness"], "tight");
}

#[test]
fn a_measured_flow_that_tells_nothing_is_not_called_unmeasured() {
    // Hoses take all of the drop: their flow factor of 5 m3/h passes 83 l/min at 1 bar.
    let drowned =
        FLOW.replace("flow_l_min = 23", "flow_l_min = 80").replace("in_bar_g = 2", "in_bar_g = 0.93");
    let (found, _) = findings(&visit(&[RIG, TIGHT, &drowned]));
    let drowned = circuit(&found, "F3");
    assert!(drowned["flow_factor_m3_h"].is_null(), "{drowned:#}");
    assert!(drowned["reason"].as_str().unwrap().starts_with("Flow measured, but"), "{}", drowned["reason"]);
    assert!(drowned["gates"]["release"]["reason"].as_str().unwrap().contains("flow measured, but"));
    let (found, _) = findings(&visit(&[RIG, TIGHT]));
    assert!(
        circuit(&found, "F3")["gates"]["release"]["reason"].as_str().unwrap().contains("flow not measured")
    );
}

#[test]
fn a_metal_that_no_table_knows_keeps_acid_out() {
    let path = visit(&[RIG, TIGHT, FLOW]);
    assert_eq!(circuit(&findings(&path).0, "F3")["gates"]["descale"]["open"], true);
    for (known, unknown) in
        [("\"1.2311\"", "\"unobtainium\""), ("\"EPDM\"", "\"cheese\""), ("[\"1.2311\"]", "[]")]
    {
        let mould = MOULD.replace(known, unknown);
        assert_ne!(mould, MOULD);
        fs::write(path.with_file_name("m.mould.toml"), mould).unwrap();
        let (found, _) = findings(&path);
        let gate = &circuit(&found, "F3")["gates"]["descale"];
        assert_eq!(gate["open"], false, "{unknown}");
        let named = unknown.trim_matches(['"', '[', ']']);
        assert!(gate["reason"].as_str().unwrap().contains(named), "{gate}");
    }
}

#[test]
fn flows_with_all_circuits_open_are_not_held_against_a_baseline_taken_alone() {
    let (found, _) = findings(&visit(&[
        RIG,
        TIGHT,
        &FLOW.replace("kind = \"flow\"", "kind = \"flow\"\nothers = \"open\""),
    ]));
    let warnings = found["warnings"].as_array().unwrap();
    let told = warnings.iter().any(|warning| {
        warning["circuit"] == "F3" && warning["text"].as_str().unwrap().contains("not taken the same way")
    });
    assert!(told, "{warnings:?}");
}

#[test]
fn a_foreign_logger_tells_the_same_as_our_own_form() {
    let reading = "[[reading]]\nkind = \"leak-down\"\ncircuit = \"F3\"\ntrace = \"t.csv\"\nwall_temperature_deg_c = 20\n";
    let path = visit(&[RIG, reading]);
    let bar_g = |second: u32| 6.0 - 0.002 * f64::from(second);
    let own: String = (0..120).map(|second| format!("{second},{:.5}\n", bar_g(second))).collect();
    fs::write(path.with_file_name("t.csv"), format!("time_s,pressure_bar_g\n{own}")).unwrap();
    let (ours, _) = findings(&path);
    // Clock times, semicolons, decimal commas, psi, a mark of byte order, carriage returns.
    // 1 bar is 14.503774 psi: NIST SP 811, table B.9, psi to pascal.
    let foreign: String = (0..120)
        .map(|second| {
            let psi = format!("{:.4}", bar_g(second) * 14.503_774).replace('.', ",");
            format!("24.11.2026;08:{:02}:{:02};{psi}\r\n", 41 + second / 60, second % 60)
        })
        .collect();
    let text = format!("\u{feff}Date;Time;Pressure (psig)\r\n{foreign}");
    fs::write(path.with_file_name("t.csv"), text).unwrap();
    let (theirs, _) = findings(&path);
    let rate = |found: &Json| circuit(found, "F3")["leak_rate_mbar_l_s"]["value"].as_f64().unwrap();
    assert!((rate(&ours) / rate(&theirs) - 1.0).abs() < 0.001, "{} and {}", rate(&ours), rate(&theirs));
    assert_eq!(circuit(&ours, "F3")["tightness"], circuit(&theirs, "F3")["tightness"]);
    assert_ne!(ours["digest"], theirs["digest"]);
}

/// Every slip in a set of files, with the line it stands on.
#[test]
fn every_slip_is_named_at_once_with_its_line() {
    let visit = r#"format = "borewise-visit/1"
mould = "m.mould.toml"
rig = "none.rig.toml"
[visit]
started = 2026-11-24
by = "K. Dale"
[[reading]]
kind = "leakdown"
circuit = "F2"
[[reading]]
kind = "flow"
circuit = "Z9"
flow_l_min = -3
pressure_in_psi = 30
pressure_in_bar_g = "1,8"
pressure_out_bar_g = 0
water_temperature_deg_c = 368
[[reading]]
kind = "leak-down"
circuit = "F2"
trace = "none.csv"
[[reading]]
kind = "leak-down"
circuit = "F2"
trace = "no-unit.csv"
[[reading]]
kind = "leak-down"
circuit = "F2"
trace = "word.csv"
"#;
    let folder = new_folder();
    let path = folder.join("v.visit.toml");
    fs::write(&path, visit).unwrap();
    fs::write(folder.join("m.mould.toml"), MOULD.replace("known = \"measured\"", "knwon = \"measured\""))
        .unwrap();
    fs::write(folder.join("no-unit.csv"), "time;pressure\n0;6,0\n1;5,9\n").unwrap();
    fs::write(folder.join("word.csv"), "time_s,pressure_bar_g\n0,6.0\n1,six\n2,5.9\n").unwrap();
    let out = folder.join("out");
    let ended = borewise(&["assess", "--json", shown(&path), "--out", shown(&out)]);
    assert_eq!(ended.code, 2);
    assert!(!out.exists());
    let expected = [
        ("v.visit.toml", Some(3), "rig"),
        ("v.visit.toml", Some(5), "visit.started"),
        ("v.visit.toml", Some(8), "reading.0.kind"),
        ("v.visit.toml", Some(12), "reading.1.circuit"),
        ("v.visit.toml", Some(13), "reading.1.flow_l_min"),
        ("v.visit.toml", Some(14), "reading.1.pressure_in_psi"),
        ("v.visit.toml", Some(15), "reading.1.pressure_in_bar_g"),
        ("v.visit.toml", Some(17), "reading.1.water_temperature_deg_c"),
        ("v.visit.toml", Some(21), "reading.2.trace"),
        ("m.mould.toml", Some(11), "circuit.1.knwon"),
        ("no-unit.csv", Some(1), "pressure"),
        ("word.csv", Some(3), "pressure_bar_g"),
    ];
    let errors = ended.errors();
    let found: Vec<(&str, Option<u64>, &str)> = errors
        .iter()
        .map(|error| {
            (error["file"].as_str().unwrap(), error["line"].as_u64(), error["field"].as_str().unwrap())
        })
        .collect();
    assert_eq!(found, expected, "{}", ended.err);
    for error in &errors {
        assert!(
            !error["problem"].as_str().unwrap().is_empty() && !error["hint"].as_str().unwrap().is_empty()
        );
        // People read the same places.
        let place = format!("{}, line {}, ", error["file"].as_str().unwrap(), error["line"]);
        assert!(ended.err.contains(&place), "{place} is not among\n{}", ended.err);
    }
    assert_eq!(errors[7]["value"], 368);
    assert_eq!(errors[9]["hint"], "did you mean known?");
    // A number in another unit must not just be moved to the right name.
    assert_eq!(errors[5]["hint"], "give it as pressure_in_bar_g, in that unit");

    // Without --json people get their sentences, and a pipe gets nothing.
    let spoken = borewise(&["assess", shown(&path)]);
    assert_eq!((spoken.code, spoken.out.as_str(), &spoken.err), (2, "", &ended.err));
}

#[test]
fn a_page_of_faults_is_cut_for_people_only() {
    let folder = new_folder();
    let path = folder.join("trace.csv");
    fs::write(&path, "0;6,0\n".repeat(60)).unwrap();
    let ended = borewise(&["assess", "--json", shown(&path)]);
    let count = ended.errors().len();
    assert!(ended.code == 2 && count >= 60, "{count} errors");
    assert_eq!(ended.err.lines().count(), 21);
    assert!(
        ended.err.ends_with(&format!("and {} more; --json lists them all\n", count - 20)),
        "{}",
        ended.err
    );
}

#[test]
fn what_is_no_visit_file() {
    let folder = new_folder();
    for (name, bytes) in [
        ("empty.toml", &b""[..]),
        ("words.toml", b"this is no visit\n"),
        ("noise.toml", b"\x00\xff\xfe\x80 = 1\n"),
        ("mould.toml", MOULD.as_bytes()),
        ("deep.toml", &[b"x = ", &[b'['; 50_000][..]].concat()),
    ] {
        let path = folder.join(name);
        fs::write(&path, bytes).unwrap();
        let ended = borewise(&["assess", "--json", shown(&path)]);
        assert_eq!(ended.code, 2, "{name}: {ended:?}");
        assert!(!ended.errors().is_empty(), "{name}");
        assert!(ended.errors().iter().all(|error| error["file"] == *name), "{name}: {ended:?}");
    }
    for path in [folder.join("none.toml"), folder.clone()] {
        let ended = borewise(&["assess", "--json", shown(&path)]);
        assert_eq!((ended.code, ended.errors().len()), (3, 1), "{ended:?}");
        let ended = borewise(&["assess", shown(&path)]);
        assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{ended:?}");
        assert!(ended.err.contains(shown(&path)), "{ended:?}");
    }
    assert_eq!(borewise(&["assess", "-"]).code, 2);
}
