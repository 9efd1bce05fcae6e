//! Mould, rig and visit files: what is read from them, and what is said about faulty ones.

use std::collections::BTreeMap;

use bench::mould::{CircuitId, Known, Process};
use bench::visit::{BucketBy, Charged, Decay, FlowReading, Others, RigOn, TreatmentKind, VolumeMethod, What};
use calc::hydraulics::piece::Piece;
use exchange::load::load_mould_from;
use exchange::{FileFaults, Loaded, load_visit_from};

type Files = BTreeMap<String, Vec<u8>>;

const MOULD: &str = r#"
format = "borewise-mould/1"
[mould]
id = "M-214"
name = "Seed-tray lid, 4 cavities"
process = "die-casting"
[[circuit]]
id = "F2"
half = "fixed"
serves = "cavity row A"
metals = ["1.2311"]
seals = ["EPDM"]
sisters = ["F3"]
neighbours = ["F3"]
baseline_flow_factor_m3_h = 0.71
baseline_date = 2025-11-03
pieces = [ {kind = "bore", diameter_mm = 10, length_mm = 420}, {kind = "elbow", diameter_mm = 10, count = 4} ]
known = "drawing"
[[circuit]]
id = "F3"
half = "fixed"
rough_bore_mm = 10
"#;

const VISIT: &str = r#"
format = "borewise-visit/1"
mould = "M-214.mould.toml"
[visit]
started = 2026-11-24T08:40:00Z
by = "A. B."
[rig]
flow_uncertainty_percent = 1.5
pump_curve = [[0, 6.0], [25, 5.1], [50, 0.0]]
reference_volume_ml = 500
[[hook_up]]
port = 1
circuit = "F2"
[[hook_up]]
port = 2
circuit = "F3"
[[reading]]
kind = "leak-down"
circuit = "F2"
trace = "F2-leak.csv"
columns = { "Druck" = "pressure_bar_g" }
[[treatment]]
kind = "rinse"
remark = "mains water"
[[reading]]
kind = "air-passage"
circuit = "F2"
charged = "reservoir"
start_bar_g = 5.0
end_bar_g = 0.1
seconds = 5
[[reading]]
kind = "flow"
circuit = "F2"
others = "open"
flow_l_min = 12.4
pressure_in_bar_g = 1.83
pressure_out_bar_g = 0.0
water_temperature_deg_c = 18.5
[[reading]]
kind = "cross-watch"
circuit = "F2"
trace = "F2-leak.csv"
columns = { "Druck" = "pressure_bar_g" }
watched = [ { circuit = "F3", start_bar_g = 0.0, end_bar_g = 0.3, seconds = 60 } ]
[[reading]]
kind = "volume"
circuit = "F3"
method = "drained"
drained_g = 99.82
water_temperature_deg_c = 20
[[reading]]
kind = "note"
text = "plug looks new"
"#;

fn files(changes: &[(&str, &str)]) -> Files {
    let all = [
        ("M-214.mould.toml", MOULD),
        ("day.visit.toml", VISIT),
        ("F2-leak.csv", "Zeit [s];Druck\n0;6,0\n1;5,9\n"),
    ];
    let mut files: Files =
        all.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect();
    files.extend(changes.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())));
    files
}

fn load(changes: &[(&str, &str)]) -> Result<Loaded, FileFaults> {
    load_visit_from(&files(changes), "day.visit.toml")
}

/// File, line and field of every fault.
fn places(faults: &FileFaults) -> Vec<(&str, u64, &str)> {
    let place = |fault: &exchange::FileFault| fault.place.map_or(0, |place| place.line);
    let name = |file: &str| match file {
        "day.visit.toml" => "visit",
        "M-214.mould.toml" => "mould",
        "B2.rig.toml" => "rig",
        _ => "trace",
    };
    faults.0.iter().map(|fault| (name(&fault.file), place(fault), fault.field.as_str())).collect()
}

#[test]
fn a_whole_visit() {
    let loaded = load(&[]).unwrap_or_else(|faults| panic!("{faults}"));
    assert!(loaded.notices.is_empty(), "{:?}", loaded.notices);
    let mould = &loaded.mould;
    assert_eq!((mould.id.0.as_str(), mould.process), ("M-214", Process::DieCasting));
    let circuit = mould.circuit(&CircuitId("F2".to_owned())).expect("F2");
    assert_eq!((circuit.pieces.len(), circuit.known), (5, Known::Drawing));
    assert!(matches!(circuit.pieces[1], Piece::Elbow { .. }));
    let baseline = circuit.baseline.as_ref().expect("a baseline");
    assert!((baseline.flow_factor_m3_h.standard - 0.0142).abs() < 1e-12);
    assert_eq!(baseline.date.as_deref(), Some("2025-11-03"));
    let visit = &loaded.visit;
    assert_eq!((visit.id.as_str(), visit.by.as_str()), ("day", "A. B."));
    assert!((visit.rig.flow_uncertainty_relative - 0.015).abs() < 1e-15);
    assert_eq!(visit.rig.pump_curve.len(), 3);
    let kinds: Vec<&str> = visit
        .entries
        .iter()
        .map(|entry| match &entry.what {
            What::LeakDown(_) => "leak-down",
            What::AirPassage(_) => "air-passage",
            What::Flow(_) => "flow",
            What::CrossWatch(_) => "cross-watch",
            What::Volume(_) => "volume",
            What::RigCheck(_) => "rig-check",
            What::Bucket(_) => "bucket",
            What::Note(_) => "note",
            What::Treatment(treatment) if treatment.kind == TreatmentKind::Rinse => "rinse",
            What::Treatment(_) => "treatment",
        })
        .collect();
    assert_eq!(kinds, ["leak-down", "rinse", "air-passage", "flow", "cross-watch", "volume", "note"]);
    assert_eq!(visit.entries[0].place, "day.visit.toml, line 17");
    assert_eq!(visit.entries[1].circuit, None);
}

#[test]
fn readings_in_detail() {
    let visit = load(&[]).expect("accepted").visit;
    let [leak, _, passage, flow, cross, volume, _] = visit.entries.as_slice() else {
        panic!("seven entries")
    };
    let What::LeakDown(leak) = &leak.what else { panic!("leak-down") };
    let Decay::Trace(trace) = &leak.decay else { panic!("a trace") };
    assert_eq!(trace.pressure_bar_g, Some(vec![6.0, 5.9]));
    let What::AirPassage(passage) = &passage.what else { panic!("air passage") };
    let Charged::Reservoir(vessel) = passage.charged else { panic!("the rig's vessel") };
    assert!((vessel.ml() - 500.0).abs() < 1e-9);
    let What::Flow(flow) = &flow.what else { panic!("flow") };
    assert_eq!((flow.others, flow.through_fixture), (Others::Open, true));
    assert!(matches!(flow.flow, FlowReading::Mean(mean) if (mean.l_min() - 12.4).abs() < 1e-12));
    let What::CrossWatch(cross) = &cross.what else { panic!("cross-watch") };
    assert!(matches!(cross.charged_decay, Some(Decay::Trace(_))));
    assert_eq!(cross.watched.len(), 1);
    let What::Volume(volume) = &volume.what else { panic!("volume") };
    // Water at 20 degC: 998.2 kg/m3 (IAPWS), so that 99.82 g fill 100 ml.
    let VolumeMethod::Drained { volume_ml } = volume.method else { panic!("drained") };
    assert!((volume_ml.value - 100.0).abs() < 0.005);
    assert!((volume_ml.standard - 2.0).abs() < 1e-12);
}

#[test]
fn times_put_entries_in_order_only_if_all_have_one() {
    let text = VISIT.split("[[reading]]").next().expect("a head").to_owned()
        + "[[reading]]\nkind = \"note\"\ntext = \"second\"\nat = 2026-11-24T10:00:00Z\n\
           [[treatment]]\nkind = \"dry\"\nat = 2026-11-24T09:00:00Z\n";
    let first = |text: &str| {
        let visit = load(&[("day.visit.toml", text)]).unwrap_or_else(|faults| panic!("{faults}")).visit;
        matches!(visit.entries[0].what, What::Treatment(_))
    };
    assert!(first(&text));
    assert!(!first(&text.replace("at = 2026-11-24T09:00:00Z\n", "")));
}

#[test]
fn the_digest_is_that_of_the_checksum_programs() {
    let loaded = load(&[]).expect("accepted");
    // printf 'Zeit [s];Druck\n0;6,0\n1;5,9\n' | sha256sum (GNU coreutils)
    assert_eq!(loaded.inputs[0].name, "F2-leak.csv");
    assert_eq!(loaded.inputs[0].sha256, "030d5285c30187b5eb771ef21169c6074f486ac24293851b6426a696be36f613");
    assert_eq!(loaded.inputs.len(), 3);
    let other = load(&[("F2-leak.csv", "Zeit [s];Druck\n0;6,0\n1;5,8\n")]).expect("accepted");
    assert_ne!(loaded.digest, other.digest);
}

#[test]
fn every_fault_of_every_file_at_once() {
    let mould = MOULD
        .replace("sisters = [\"F3\"]", "sisters = [\"F9\"]")
        .replace("length_mm = 420", "length_mm = -1")
        .replace("baseline_flow_factor_m3_h = 0.71\n", "")
        .replace("2025-11-03", "\"2025-11-31\"")
        .replace("id = \"F3\"\n", "id = \"F2\"\nsort = 1\n");
    let visit = VISIT
        .replace("[25, 5.1]", "[25, 6.1]")
        .replace("port = 2", "port = 1")
        .replace("circuit = \"F2\"\nothers", "circuit = \"F7\"\nothers")
        .replace("pressure_in_bar_g = 1.83", "pressure_in_bar_g = -0.5")
        .replace("seconds = 5\n", "")
        .replace("kind = \"rinse\"", "kind = \"polish\"")
        .replace("drained_g = 99.82\n", "drained_g = 99.82\ndrained_ml = 100\n");
    let trace = "Zeit [s];Druck\n0;6,0\n1;x\n";
    let faults = load(&[("M-214.mould.toml", &mould), ("day.visit.toml", &visit), ("F2-leak.csv", trace)])
        .expect_err("faulty");
    let found = places(&faults);
    for expected in [
        ("visit", 9, "rig.pump_curve.1.1"),
        ("visit", 15, "hook_up.1.port"),
        ("visit", 16, "hook_up.1.circuit"),
        ("visit", 23, "treatment.0.kind"),
        ("visit", 25, "reading.1.seconds"),
        ("visit", 33, "reading.2.circuit"),
        ("visit", 36, "reading.2.pressure_in_bar_g"),
        ("visit", 49, "reading.4.drained_g"),
        ("mould", 13, "circuit.0.sisters.0"),
        ("mould", 15, "circuit.0.baseline_date"),
        ("mould", 16, "circuit.0.pieces.0.length_mm"),
        ("mould", 19, "circuit.1.id"),
        ("mould", 20, "circuit.1.sort"),
        ("trace", 3, "Druck"),
    ] {
        assert!(found.contains(&expected), "{expected:?} in {found:#?}\n{faults}");
    }
    assert!(faults.0.iter().all(|fault| !fault.hint.is_empty() && !fault.problem.is_empty()));
}

#[test]
fn traces_outside_the_folder_are_refused() {
    for (name, problem) in [
        ("../secret.csv", "leads out of the folder"),
        ("/etc/passwd", "absolute"),
        ("gone.csv", "no such file"),
        ("a\\\\..\\\\b.csv", "leads out"),
        ("", "empty"),
    ] {
        let visit = VISIT.replacen("F2-leak.csv", name, 1);
        let faults = load(&[("day.visit.toml", &visit)]).expect_err(name);
        let fault = faults
            .0
            .iter()
            .find(|fault| fault.problem.contains(problem))
            .unwrap_or_else(|| panic!("{faults}"));
        assert_eq!(
            (fault.field.as_str(), fault.place.map(|place| place.line)),
            ("reading.0.trace", Some(20))
        );
    }
}

#[test]
fn columns_may_be_told_once_for_all_traces() {
    let visit = VISIT
        .replace("columns = { \"Druck\" = \"pressure_bar_g\" }\n", "")
        .replace("[visit]", "[columns]\nDruck = \"pressure_mbar_g\"\nelsewhere = \"ignore\"\n[visit]");
    let loaded = load(&[("day.visit.toml", &visit)]).unwrap_or_else(|faults| panic!("{faults}"));
    let What::LeakDown(leak) = &loaded.visit.entries[0].what else { panic!("leak-down") };
    let Decay::Trace(trace) = &leak.decay else { panic!("a trace") };
    assert!((trace.pressure_bar_g.as_ref().expect("p")[0] - 0.006).abs() < 1e-12);
}

#[test]
fn a_rig_of_its_own_file() {
    let visit = VISIT
        .replace("mould = \"M-214.mould.toml\"", "mould = \"M-214.mould.toml\"\nrig = \"B2.rig.toml\"")
        .replace("[rig]\nflow_uncertainty_percent = 1.5\npump_curve = [[0, 6.0], [25, 5.1], [50, 0.0]]\nreference_volume_ml = 500\n", "");
    let rig = "format = \"borewise-rig/1\"\n[rig]\nname = \"B2\"\nreference_volume_ml = 400\ncalibrated_until = 2027-01-31\n";
    let loaded =
        load(&[("day.visit.toml", &visit), ("B2.rig.toml", rig)]).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(loaded.visit.rig.name.as_deref(), Some("B2"));
    assert_eq!(loaded.inputs.len(), 4);
    let faults =
        load(&[("day.visit.toml", &visit), ("B2.rig.toml", &rig.replace("2027-01-31", "\"2027-02-30\""))])
            .expect_err("no such day");
    assert_eq!(places(&faults), [("rig", 5, "rig.calibrated_until")]);
    let faults = load(&[("day.visit.toml", &visit)]).expect_err("no rig file");
    assert_eq!(places(&faults), [("visit", 4, "rig")]);
}

#[test]
fn a_visit_without_a_rig_says_what_it_assumes() {
    let visit = VISIT
        .replace("[rig]\nflow_uncertainty_percent = 1.5\npump_curve = [[0, 6.0], [25, 5.1], [50, 0.0]]\nreference_volume_ml = 500\n", "")
        .replace("charged = \"reservoir\"\n", "");
    let loaded = load(&[("day.visit.toml", &visit)]).unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(loaded.notices.iter().map(|notice| notice.code).collect::<Vec<_>>(), ["rig-assumed"]);
}

#[test]
fn broken_texts_name_their_lines() {
    let faults = load(&[("M-214.mould.toml", "format = \n[mould]\nid = M-214\n")]).expect_err("broken");
    assert_eq!(
        places(&faults).iter().map(|place| (place.0, place.1)).collect::<Vec<_>>(),
        [("mould", 1), ("mould", 3)]
    );
    let mut files = files(&[]);
    files.insert("M-214.mould.toml".to_owned(), b"a = 1\nb = \"\xFF\"\n".to_vec());
    let faults = load_visit_from(&files, "day.visit.toml").expect_err("not UTF-8");
    assert_eq!(places(&faults), [("mould", 2, "")]);
    let missing = load_visit_from(&Files::new(), "day.visit.toml").expect_err("missing");
    assert_eq!(missing.0.len(), 1);
}

#[test]
fn a_mould_alone() {
    let (mould, notices) = load_mould_from(&files(&[]), "M-214.mould.toml").expect("accepted");
    assert_eq!(mould.circuits.len(), 2);
    assert!(notices.is_empty());
    let untrusted = MOULD.replace("known = \"drawing\"\n", "");
    let (_, notices) = load_mould_from(&files(&[("m", &untrusted)]), "m").expect("accepted");
    assert_eq!(notices.iter().map(|notice| notice.code).collect::<Vec<_>>(), ["pieces-not-trusted"]);
}

const RIG_READINGS: &str = r#"
[[reading]]
kind = "rig-check"
on = "orifice"
flow_l_min = 11.5
pressure_in_bar_g = 3.1
pressure_out_bar_g = 0.1
reference_flow_factor_m3_h = 0.4
[[reading]]
kind = "rig-check"
on = "shut-off"
pressure_in_bar_g = 5.02
reference_pressure_bar_g = 5.0
[[reading]]
kind = "bucket"
collected_kg = 19.5
seconds = 100
meter_flow_l_min = 11.7
repeats = [{collected_kg = 19.6, seconds = 100.2, meter_flow_l_min = 11.7}]
"#;

#[test]
fn the_rig_has_readings_of_its_own() {
    let text = format!("{}{RIG_READINGS}", VISIT);
    let visit = load(&[("day.visit.toml", &text)]).expect("accepted").visit;
    let [orifice, shut_off, bucket] = &visit.entries[visit.entries.len() - 3..] else { panic!("three") };
    let What::RigCheck(run) = &orifice.what else { panic!("an orifice") };
    let RigOn::Orifice { flow_factor, relative } = run.on else { panic!("an orifice") };
    assert!((flow_factor.m3_h() - 0.4).abs() < 1e-12 && (relative - 0.015).abs() < 1e-12);
    assert_eq!(orifice.circuit, None);
    let What::RigCheck(run) = &shut_off.what else { panic!("shut off") };
    assert!((run.reference_pressure.expect("a reference").1 - 0.01).abs() < 1e-12);
    let What::Bucket(run) = &bucket.what else { panic!("a bucket") };
    assert_eq!((run.by, run.fillings.len()), (BucketBy::Weight, 2));
    assert!((run.timing_uncertainty.s() - 0.3).abs() < 1e-12);
}

#[test]
fn half_a_reading_of_the_rig_is_refused() {
    let refuse = |from: &str, to: &str| {
        assert!(RIG_READINGS.contains(from), "{from}");
        let text = format!("{VISIT}{}", RIG_READINGS.replacen(from, to, 1));
        let faults = load(&[("day.visit.toml", &text)]).expect_err("refused");
        faults.0.iter().map(|fault| fault.field.clone()).collect::<Vec<_>>()
    };
    assert_eq!(refuse("reference_flow_factor_m3_h = 0.4\n", "").len(), 1);
    assert!(refuse("\"orifice\"", "\"fixture\"")[0].ends_with("reference_flow_factor_m3_h"));
    assert!(refuse("pressure_in_bar_g = 3.1", "pressure_in_bar_g = 0.05")[0].ends_with("pressure_in_bar_g"));
    assert_eq!(refuse("reference_pressure_bar_g = 5.0", "").len(), 1);
    assert!(refuse("[{collected_kg", "[{collected_l")[0].ends_with("repeats.0.collected_l"));
    assert!(!refuse("collected_kg = 19.5", "collected_kg = 19.5\ncollected_l = 19").is_empty());
    assert!(refuse("\nseconds = 100", "\ncollected_uncertainty_l = 0.1\nseconds = 100").len() == 1);
}
