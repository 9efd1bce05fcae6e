//! The record from the command line: taken in once, proved whole, copied, given away, and never changed unasked.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value as Json;

use crate::demo::MOULDS;
use crate::program::{Ended, borewise, files_below, findings_of, new_folder, plant, shown, visit_of};

/// Runs `record` without judging, signed by a name.
#[track_caller]
fn record(data: &Path, more: &[&str]) -> Ended {
    let arguments = ["record", "--data", shown(data), "--by", "kt", "--json", "--without-findings"];
    borewise(&[&arguments, more].concat())
}

#[track_caller]
fn head(data: &Path) -> String {
    let ended = borewise(&["audit", "--data", shown(data), "--json"]);
    assert_eq!(ended.code, 0, "{ended:?}");
    ended.document()["head"].as_str().unwrap().to_owned()
}

/// A copy of the files of a mould of the demo plant, without sheet and findings.
fn copy_of(mould: &str) -> PathBuf {
    let folder = new_folder();
    let from = plant().0.join(mould);
    for name in files_below(&from).iter().filter(|name| !name.contains('/')) {
        fs::copy(from.join(name), folder.join(name)).unwrap();
    }
    folder
}

/// Changes a text in the only file of this ending.
fn change(folder: &Path, ending: &str, from: &str, to: &str) -> PathBuf {
    let name = files_below(folder).into_iter().find(|name| name.ends_with(ending)).unwrap();
    let text = fs::read_to_string(folder.join(&name)).unwrap();
    assert!(text.contains(from), "{name} holds {from}");
    fs::write(folder.join(&name), text.replacen(from, to, 1)).unwrap();
    folder.join(name)
}

#[test]
fn the_plant_is_taken_in_once_and_comes_back_the_same() {
    let data = new_folder().join("data");
    let ended = record(&data, &[shown(&plant().0)]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{ended:?}");
    let files = ended.document()["files"].as_array().unwrap().clone();
    assert_eq!(files.len(), 2 * MOULDS.len(), "a mould file and a visit file each");
    let end = head(&data);
    let again = record(&data, &[shown(&plant().0), shown(&visit_of("AB-101"))]);
    assert_eq!(again.code, 0, "{again:?}");
    for file in again.document()["files"].as_array().unwrap() {
        assert_eq!(
            (&file["new"], file["changed"].as_array().map(Vec::len)),
            (&Json::from(0), Some(0)),
            "{file}"
        );
    }
    assert_eq!(head(&data), end, "twice changes nothing");

    let out = new_folder().join("all");
    let ended = borewise(&["export", "--data", shown(&data), "--out", shown(&out)]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{ended:?}");
    let lines = fs::read_to_string(out.join("history.jsonl")).unwrap();
    let last: Json = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    assert_eq!(end, format!("{}:{}", last["number"], last["hash"].as_str().unwrap()));
    let readings = fs::read_to_string(out.join("entries/reading.csv")).unwrap();
    assert!(readings.lines().next().unwrap().contains("what.pressure_in_bar_g"));
    // What was given away is taken in elsewhere, and given away from there it is the same.
    let other = new_folder().join("data");
    assert_eq!(record(&other, &[shown(&out.join("moulds"))]).code, 0);
    let second = new_folder().join("all");
    assert_eq!(borewise(&["export", "--data", shown(&other), "--out", shown(&second)]).code, 0);
    let texts = |root: &Path| -> BTreeMap<String, String> {
        let root = root.join("moulds");
        files_below(&root)
            .into_iter()
            .map(|name| (name.clone(), fs::read_to_string(root.join(name)).unwrap()))
            .collect()
    };
    let (first, second) = (texts(&out), texts(&second));
    assert!(first.len() > 50, "{}", first.len());
    assert_eq!(first.keys().collect::<Vec<_>>(), second.keys().collect::<Vec<_>>());
    for (name, text) in &first {
        assert_eq!(Some(text), second.get(name), "{name}");
    }
    let refused = borewise(&["export", "--data", shown(&data), "--out", shown(&out)]);
    assert_eq!(refused.code, 2, "a folder that is there is left alone: {refused:?}");
}

#[test]
fn a_finding_on_record_is_the_finding_of_the_files() {
    for mould in ["AB-101", "AB-146"] {
        let data = new_folder().join("data");
        let visit = visit_of(mould);
        let arguments = ["record", shown(&visit), "--data", shown(&data), "--by", "kt"];
        let ended = borewise(&arguments);
        assert_eq!(ended.code, 0, "{ended:?}");
        assert!(ended.out.contains("found: "), "{ended:?}");
        let end = head(&data);
        let again = borewise(&arguments);
        assert!(!again.out.contains("found: "), "the same is judged once: {again:?}");
        assert_eq!(head(&data), end);
        let out = new_folder().join("all");
        assert_eq!(borewise(&["export", "--data", shown(&data), "--out", shown(&out)]).code, 0);
        let findings = files_below(&out.join("findings"));
        let [name] = findings.as_slice() else { panic!("one finding: {findings:?}") };
        let kept: Json = serde_json::from_slice(&fs::read(out.join("findings").join(name)).unwrap()).unwrap();
        let (assessed, _) = findings_of(mould);
        for field in [
            "format",
            "method",
            "mould",
            "visit",
            "started",
            "by",
            "rig",
            "fit_for_press",
            "headline",
            "because",
            "next",
            "circuits",
            "hook_up_doubts",
            "limits",
            "cautions",
            "leak_map",
            "rig_check",
        ] {
            assert_eq!(kept[field], assessed[field], "{mould}: {field}");
        }
    }
}

#[test]
fn what_an_earlier_visit_found_is_the_past_of_the_next() {
    let first = copy_of("AB-139");
    let second = copy_of("AB-139");
    let visit = change(&second, ".visit.toml", "started = 2026-12-01", "started = 2027-02-01");
    let later = visit.with_file_name("later.visit.toml");
    fs::rename(&visit, &later).unwrap();
    let found = first.join("out");
    let name = files_below(&first).into_iter().find(|name| name.ends_with(".visit.toml")).unwrap();
    borewise(&["assess", shown(&first.join(name)), "--out", shown(&found)]);
    let assessed =
        borewise(&["assess", "--json", shown(&later), "--earlier", shown(&found.join("findings.json"))]);
    let (assessed, alone) = (assessed.document(), findings_of("AB-139").0);
    assert_ne!(assessed["circuits"], alone["circuits"], "the past moves something");
    let data = new_folder().join("data");
    // The later one comes first on the command line and is judged last all the same.
    let arguments = ["record", shown(&second), shown(&first), "--data", shown(&data), "--by", "kt"];
    assert_eq!(borewise(&arguments).code, 0);
    let end = head(&data);
    borewise(&arguments);
    assert_eq!(head(&data), end, "and twice changes nothing");
    let out = new_folder().join("all");
    assert_eq!(borewise(&["export", "--data", shown(&data), "--out", shown(&out)]).code, 0);
    let kept: Vec<Json> = files_below(&out.join("findings"))
        .iter()
        .map(|name| serde_json::from_slice(&fs::read(out.join("findings").join(name)).unwrap()).unwrap())
        .collect();
    assert_eq!(kept.len(), 2);
    let of = |name: &str| kept.iter().find(|finding| finding["visit"] == name).unwrap();
    assert_eq!(of("later")["circuits"], assessed["circuits"]);
    assert_eq!(of(alone["visit"].as_str().unwrap())["circuits"], alone["circuits"]);
}

#[test]
fn all_faults_are_named_at_once_and_nothing_is_recorded() {
    let good = copy_of("AB-101");
    let bad = copy_of("AB-146");
    let visit = change(&bad, ".visit.toml", "kind = \"flow\"", "kind = \"flaw\"");
    let mould = change(&bad, ".mould.toml", "half =", "haft =");
    let data = new_folder().join("data");
    let ended = record(&data, &[shown(&good), shown(&bad)]);
    assert_eq!(ended.code, 2, "{ended:?}");
    let files = ended.error_words("file");
    assert!(files.iter().any(|file| file == shown(&visit)), "{files:?}");
    assert!(files.iter().any(|file| file == shown(&mould)), "{files:?}");
    assert!(!data.exists(), "nothing was recorded");
    let empty = new_folder();
    let ended = record(&data, &[shown(&empty), shown(&bad.join("none.toml"))]);
    assert_eq!(ended.code, 3, "{ended:?}");
    assert_eq!(record(&data, &[shown(&empty)]).code, 2);
}

#[test]
fn a_reading_that_was_wrong_is_corrected_with_a_reason_only() {
    let folder = copy_of("AB-146");
    let data = new_folder().join("data");
    let recorded = record(&data, &[shown(&folder)]);
    assert_eq!(recorded.code, 0, "{recorded:?}");
    let end = head(&data);
    let old = copy_of("AB-146");
    change(&folder, ".visit.toml", "pressure_in_bar_g = ", "pressure_in_bar_g = 1");
    let refused = record(&data, &[shown(&folder)]);
    assert_eq!(refused.code, 2, "{refused:?}");
    assert!(refused.error_words("hint").iter().all(|hint| hint.contains("--reason")), "{refused:?}");
    assert_eq!(head(&data), end);
    let dry = record(&data, &["--reason", "misread gauge", "--dry-run", shown(&folder)]);
    assert_eq!((dry.code, head(&data)), (0, end.clone()), "{dry:?}");
    let corrected = record(&data, &["--reason", "misread gauge", shown(&folder)]);
    assert_eq!(corrected.code, 0, "{corrected:?}");
    let changed: usize = corrected.document()["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| file["changed"].as_array().unwrap().len())
        .sum();
    assert_eq!(changed, 1, "{corrected:?}");
    let kept = borewise(&["audit", "--data", shown(&data), "--kept", &end]);
    assert_eq!(kept.code, 0, "the old end is still in the history: {kept:?}");
    let newest = head(&data);
    let outdated = record(&data, &[shown(&old)]);
    assert_eq!(
        (outdated.code, head(&data)),
        (0, newest),
        "an old file does not undo a correction: {outdated:?}"
    );
    assert!(outdated.out.contains("left_as_newer"));
}

const LIST: &str = "Tool no.;Description;Cooling circuit;Side;Bore [mm];Remarks\n\
    AB-201;Label stake;F1;fixed half;8,5;new\nAB-201;;F2;fixed half;8,5;\nAB-202;Hose clip;1;slide;10;\n";

#[test]
fn a_spreadsheet_is_shown_before_it_counts() {
    let folder = new_folder();
    let list = folder.join("moulds.csv");
    fs::write(&list, LIST).unwrap();
    let data = folder.join("data");
    let dry = borewise(&["record", shown(&list), "--data", shown(&data), "--by", "kt", "--dry-run"]);
    assert_eq!(dry.code, 0, "{dry:?}");
    for part in [
        "A  Tool no.",
        "mould (such as AB-201)",
        "bore in mm (such as 8,5)",
        "Remarks",
        "not used",
        "2 moulds, 3 circuits",
        "dry run",
    ] {
        assert!(dry.out.contains(part), "{part}: {}", dry.out);
    }
    assert!(!data.exists(), "a dry run leaves nothing");
    let taken = record(&data, &[shown(&list)]);
    assert_eq!(taken.code, 0, "{taken:?}");
    assert_eq!(taken.document()["files"][0]["understood"]["columns"][4]["taken_for"], "bore_mm");
    let end = head(&data);
    assert_eq!(record(&data, &[shown(&list)]).code, 0);
    assert_eq!(head(&data), end);

    // A poorer sheet takes nothing away, and a richer one adds.
    fs::write(&list, "mould,circuit,serves\nAB-201,F2,row B\nAB-201,F3,\n").unwrap();
    let poorer = record(&data, &[shown(&list)]);
    assert_eq!(poorer.document()["files"][0]["changed"].as_array().map(Vec::len), Some(1), "{poorer:?}");
    let out = folder.join("all");
    assert_eq!(borewise(&["export", "--data", shown(&data), "--out", shown(&out)]).code, 0);
    let mould = fs::read_to_string(out.join("moulds/AB-201/AB-201.mould.toml")).unwrap();
    for part in
        ["Label stake", "rough_bore_mm = 8.5", "half = \"fixed\"", "serves = \"row B\"", "id = \"F3\""]
    {
        assert!(mould.contains(part), "{part}: {mould}");
    }
    assert_eq!(mould.matches("[[circuit]]").count(), 3);
    let end = head(&data);

    fs::write(&list, format!("{LIST}AB-203;;F1;fixed;wide;\nAB-203;;F1;fixed;-3;\n")).unwrap();
    let bad = record(&data, &[shown(&list)]);
    assert_eq!((bad.code, bad.errors().len()), (2, 3), "{bad:?}");
    assert_eq!(bad.document()["lists"][0]["understood"]["header_row"], 1);
    let fields = bad.error_words("field");
    assert!(fields.iter().any(|field| field == "E5 Bore [mm]"), "{fields:?}");
    assert_eq!(head(&data), end);
    let told = record(&data, &["--column", "Remarks=serves", "--column", "Bore [mm]=", shown(&list)]);
    assert_eq!((told.code, told.errors().len()), (2, 1), "only the circuit named twice is left: {told:?}");
    assert_eq!(record(&data, &["--column", "Remarks=colour", shown(&list)]).code, 2);
}

#[test]
fn the_plants_own_limits_decide_and_old_findings_stay() {
    let folder = new_folder();
    let data = folder.join("data");
    let visit = visit_of("AB-101");
    let judged = ["record", shown(&visit), "--data", shown(&data), "--by", "kt"];
    assert!(borewise(&judged).out.contains("found: "));
    let limits = folder.join("limits.toml");
    let shipped = fs::read_to_string(crate::program::data().join("limits/default.toml")).unwrap();
    let strict = shipped.replacen("value = 90\n", "value = 99.9\n", 1);
    assert_ne!(strict, shipped);
    fs::write(&limits, strict).unwrap();
    assert_eq!(record(&data, &[shown(&limits)]).code, 0);
    assert!(borewise(&judged).out.contains("found: "), "other limits are other inputs");
    let out = folder.join("all");
    assert_eq!(borewise(&["export", "--data", shown(&data), "--out", shown(&out)]).code, 0);
    let fits: Vec<Json> = files_below(&out.join("findings"))
        .iter()
        .map(|name| {
            serde_json::from_slice::<Json>(&fs::read(out.join("findings").join(name)).unwrap()).unwrap()
        })
        .map(|finding| finding["fit_for_press"].clone())
        .collect();
    assert_eq!(fits.len(), 2);
    assert!(fits.contains(&Json::from("yes")), "the first finding stays as it was: {fits:?}");
    assert!(!fits.iter().all(|fit| fit == "yes"), "99.9 % is more than the tray has: {fits:?}");
    fs::write(&limits, "format = \"borewise-limits/1\"\n").unwrap();
    assert_eq!(record(&data, &[shown(&limits)]).code, 2);
}

#[test]
fn a_backup_is_verified_and_restored_beside_what_is_there() {
    let folder = new_folder();
    let data = folder.join("data");
    assert_eq!(record(&data, &[shown(&visit_of("AB-101"))]).code, 0);
    let end = head(&data);
    let copy = folder.join("copy.sqlite");
    let ended = borewise(&["backup", shown(&copy), "--data", shown(&data), "--json"]);
    assert_eq!(
        (ended.code, ended.document()["audit"]["head"].as_str()),
        (0, Some(end.as_str())),
        "{ended:?}"
    );
    assert_eq!(
        borewise(&["backup", shown(&copy), "--data", shown(&data)]).code,
        3,
        "nothing is written over"
    );
    assert_eq!(record(&data, &[shown(&visit_of("AB-146"))]).code, 0);
    let newer = head(&data);
    assert_eq!(borewise(&["restore", shown(&copy), "--data", shown(&data)]).code, 3);
    assert_eq!(head(&data), newer);
    let ended = borewise(&["restore", shown(&copy), "--data", shown(&data), "--replace", "--json"]);
    assert_eq!(ended.code, 0, "{ended:?}");
    assert_eq!(head(&data), end);
    let aside = PathBuf::from(ended.document()["set_aside"].as_str().unwrap());
    assert!(aside.is_file());
    let lost = borewise(&["audit", "--data", shown(&data), "--kept", &newer]);
    assert_eq!(lost.code, 1, "{lost:?}");
    assert!(lost.out.contains("was written down"), "{lost:?}");
    // One byte of the copy is not what it was.
    let mut bytes = fs::read(&copy).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 1;
    fs::write(&copy, bytes).unwrap();
    let spoilt = borewise(&["restore", shown(&copy), "--data", shown(&data), "--replace"]);
    assert_eq!((spoilt.code, head(&data)), (3, end), "{spoilt:?}");
}

/// A full disk, played by a limit on the size of files.
#[test]
#[cfg(unix)]
fn a_full_disk_loses_nothing_and_work_goes_on() {
    let data = new_folder().join("data");
    assert_eq!(record(&data, &[shown(&visit_of("AB-101"))]).code, 0);
    let end = head(&data);
    let plant = shown(&plant().0);
    let more = ["record", plant, "--data", shown(&data), "--by", "kt", "--without-findings"];
    let blocks = fs::metadata(data.join("record.sqlite")).unwrap().len() / 512 + 200;
    let limited = std::process::Command::new("sh")
        .arg("-c")
        .arg(format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\""))
        .arg(env!("CARGO_BIN_EXE_borewise"))
        .args(more)
        .output()
        .unwrap();
    assert_eq!(limited.status.code(), Some(3), "{limited:?}");
    assert_eq!(head(&data), end, "nothing of it was recorded, and the record is whole");
    let ended = borewise(&more);
    assert_eq!(ended.code, 0, "{ended:?}");
    assert_ne!(head(&data), end);
}

#[test]
fn what_is_not_there_or_not_meant_is_said_in_words() {
    let folder = new_folder();
    let data = folder.join("data");
    for arguments in [&["audit"][..], &["backup", "x"], &["restore", "x"], &["export", "--out", "x"]] {
        let ended = borewise(&[arguments, &["--data", shown(&data)]].concat());
        assert_eq!(ended.code, 3, "{ended:?}");
        assert!(ended.err.contains("no record"), "{ended:?}");
    }
    let ended = borewise(&["audit", "--data", shown(&data), "--kept", "12", "--json"]);
    assert_eq!((ended.code, ended.errors().len()), (2, 1), "{ended:?}");
    let text = folder.join("remarks.md");
    fs::write(&text, "x").unwrap();
    assert_eq!(record(&data, &[shown(&text)]).code, 2);
    fs::create_dir_all(&data).unwrap();
    fs::write(data.join("record.sqlite"), "not a database at all".repeat(100)).unwrap();
    let ended = record(&data, &[shown(&visit_of("AB-101"))]);
    assert_eq!(ended.code, 3, "{ended:?}");
    let ended = borewise(&["audit", "--data", shown(&data)]);
    assert_eq!(ended.code, 1, "{ended:?}");
}
