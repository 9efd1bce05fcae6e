//! The demo plant: what a first user sees, and what must never be advised.

use serde_json::Value as Json;

use crate::program::{borewise, circuit, files_below, findings_of, new_folder, plant, shown, visit_of};

/// The moulds of the invented plant.
pub const MOULDS: [&str; 8] =
    ["AB-101", "AB-114", "AB-120", "AB-127", "AB-133", "AB-139", "AB-146", "AB-D03"];

#[test]
fn one_command_makes_the_plant_with_a_sheet_for_every_mould() {
    let (folder, ended) = plant();
    assert_eq!(ended.err, "");
    let index = std::fs::read_to_string(folder.join("index.html")).unwrap();
    for mould in MOULDS {
        let files = files_below(&folder.join(mould));
        assert!(ended.out.contains(mould), "{}", ended.out);
        assert!(index.contains(&format!("href=\"{mould}/visit-sheet.html\"")), "{mould} is not in the index");
        for name in ["findings.json", "visit-sheet.html", "rig.rig.toml"] {
            assert!(files.iter().any(|file| file == name), "{mould} lacks {name}");
        }
        // The truth lies apart, so that nobody reads it by mistake.
        let truth: Vec<_> = files.iter().filter(|file| file.contains("truth")).collect();
        assert!(matches!(truth.as_slice(), [one] if one.starts_with("truth/")), "{mould}: {truth:?}");
    }
    let left = std::fs::read_dir(folder.parent().unwrap()).unwrap().count();
    assert_eq!(left, 1, "a draft was left beside the plant");
}

#[test]
fn the_tray_is_ready_and_the_others_are_not() {
    for mould in MOULDS {
        let (findings, code) = findings_of(mould);
        let (fit, expected) = if mould == "AB-101" { ("yes", 0) } else { ("no", 1) };
        assert_eq!((findings["fit_for_press"].as_str(), code), (Some(fit), expected), "{mould}");
    }
}

#[test]
fn a_blocked_circuit_gets_neither_water_nor_acid() {
    let (findings, _) = findings_of("AB-120");
    let blocked = circuit(&findings, "M2");
    assert_eq!(blocked["passage"], "blocked");
    assert_eq!(blocked["gates"]["wet"]["open"], false);
    assert_eq!(blocked["gates"]["descale"]["open"], false);
    assert_eq!(blocked["gates"]["release"]["open"], false);
    assert_eq!(blocked["next_step"], "open");
    assert!(blocked["gates"]["wet"]["reason"].as_str().unwrap().contains("blocked"));
}

#[test]
fn a_circuit_that_leaks_across_gets_no_acid_though_it_is_scaled() {
    let (findings, _) = findings_of("AB-127");
    for (id, other) in [("M3", "M4"), ("M4", "M3")] {
        let found = circuit(&findings, id);
        assert_eq!(found["tightness"], "leaks-across", "{id}");
        assert_eq!(found["across_to"], serde_json::json!([other]), "{id}");
        assert_eq!(found["gates"]["descale"]["open"], false, "{id}");
        assert_eq!(found["gates"]["wet"]["open"], false, "{id}");
        assert_eq!(found["next_step"], "repair", "{id}");
    }
    // The outside leak is small, and a leak all the same.
    for id in ["F4", "F6"] {
        assert_eq!(circuit(&findings, id)["tightness"], "leaks-out", "{id}");
        assert_eq!(circuit(&findings, id)["gates"]["wet"]["open"], false, "{id}");
    }
}

#[test]
fn in_the_whole_plant_no_gate_is_open_that_safety_keeps_shut() {
    for mould in MOULDS {
        let (findings, _) = findings_of(mould);
        for found in findings["circuits"].as_array().unwrap() {
            let place = format!("{mould} {}", found["id"]);
            let open = |gate: &str| found["gates"][gate]["open"].as_bool().unwrap();
            if found["tightness"] != "tight" || found["passage"] == "blocked" {
                assert!(!open("wet") && !open("descale") && !open("release"), "{place}: {found:#}");
            }
            assert!(open("wet") || !open("descale"), "{place}: acid without water");
            assert!(found["next_step"] != "descale" || open("descale"), "{place}: advised against the gate");
            assert!(found["next_step"] != "leave" || found["tightness"] == "tight", "{place}");
            for gate in ["wet", "descale", "release"] {
                let reason = found["gates"][gate]["reason"].as_str().unwrap();
                assert!(!reason.trim().is_empty(), "{place}: the {gate} gate gives no reason");
            }
        }
    }
}

#[test]
fn exchanged_hoses_are_doubted() {
    let (findings, _) = findings_of("AB-133");
    let doubts = findings["hook_up_doubts"].as_array().unwrap();
    assert_eq!(doubts.len(), 1, "{doubts:?}");
    assert_eq!(doubts[0]["circuits"], serde_json::json!(["T1", "T2"]));
}

#[test]
fn judging_twice_gives_the_same_bytes() {
    for mould in ["AB-101", "AB-139"] {
        let folders = [new_folder().join("once"), new_folder().join("twice")];
        let runs = folders
            .each_ref()
            .map(|folder| borewise(&["assess", shown(&visit_of(mould)), "--json", "--out", shown(folder)]));
        assert_eq!(runs[0].out, runs[1].out, "{mould}");
        for name in ["findings.json", "visit-sheet.html"] {
            let [once, twice] = folders.each_ref().map(|folder| std::fs::read(folder.join(name)).unwrap());
            let made_by_demo = std::fs::read(plant().0.join(mould).join(name)).unwrap();
            assert!(!once.is_empty());
            assert_eq!(once, twice, "{mould}: {name}");
            assert_eq!(once, made_by_demo, "{mould}: {name} of the demo");
        }
        assert_eq!(files_below(&folders[0]), ["findings.json", "visit-sheet.html"]);
        // What is printed is what is written.
        let written: Json =
            serde_json::from_slice(&std::fs::read(folders[0].join("findings.json")).unwrap()).unwrap();
        assert_eq!(written, runs[0].document(), "{mould}");
    }
}
