//! Certificates from the command line: issued once, the same paper from then on, and checked later.
#![cfg(feature = "pdf")]

use std::fs;
use std::path::{Path, PathBuf};

use lopdf::Document;
use serde_json::Value as Json;

use crate::program::{borewise, findings_of, new_folder, plant, shown, visit_of};
use crate::serve::Running;

const MOULD: &str = "AB-146";

/// A record with one mould of the plant, and the name of its visit.
fn recorded(mould: &str) -> (PathBuf, String) {
    let data = new_folder().join("data");
    let ended = borewise(&["record", shown(&plant().0.join(mould)), "--by", "KT", "--data", shown(&data)]);
    assert_eq!(ended.code, 0, "{ended:?}");
    let name = visit_of(mould).file_name().unwrap().to_string_lossy().into_owned();
    (data, name.trim_end_matches(".visit.toml").to_owned())
}

/// Issues the certificate and gives its file.
fn issued(data: &Path, mould: &str, visit: &str, by: &str) -> (PathBuf, String) {
    let file = new_folder().join("certificate.pdf");
    let base = "http://bench.example";
    let more = ["--by", by, "--data", shown(data), "-o", shown(&file), "--base", base];
    let ended = borewise(&[&["certificate", mould, visit][..], &more].concat());
    assert_eq!(ended.code, 0, "{ended:?}");
    (file, ended.out)
}

fn number_in(words: &str) -> String {
    words.split_whitespace().nth(1).unwrap().to_owned()
}

fn text_of(file: &Path) -> String {
    let document = Document::load(file).unwrap();
    let pages: Vec<u32> = document.get_pages().keys().copied().collect();
    packed(&document.extract_text(&pages).unwrap())
}

fn packed(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_whitespace()).collect()
}

fn verified(arguments: &[&str], data: &Path) -> (Json, i32) {
    let ended = borewise(&[&["verify", "--json", "--data", shown(data)][..], arguments].concat());
    (ended.document(), ended.code)
}

#[test]
fn a_certificate_names_every_circuit_and_is_issued_once() {
    let (data, visit) = recorded(MOULD);
    let (first, said) = issued(&data, MOULD, &visit, "KT");
    assert!(said.contains("issued and on record"), "{said}");
    let (again, said_again) = issued(&data, MOULD, &visit, "KT");
    assert!(said_again.contains("printed again"), "{said_again}");
    assert_eq!(fs::read(&first).unwrap(), fs::read(&again).unwrap(), "the same paper");
    let text = text_of(&first);
    let number = number_in(&said);
    for words in ["Not released", "opens only under clamp force", "Certificate of a visit", &number] {
        assert!(text.contains(&packed(words)), "{words} in {text}");
    }
    assert!(text.contains(&format!("http://bench.example/certificates/{number}")));
    let (found, _) = findings_of(MOULD);
    for circuit in found["circuits"].as_array().unwrap() {
        for key in ["id", "reason"] {
            let words = circuit[key].as_str().unwrap();
            assert!(text.contains(&packed(words)), "{words} in {text}");
        }
    }
    let audit = borewise(&["audit", "--data", shown(&data)]);
    assert_eq!(audit.code, 0, "{audit:?}");
}

#[test]
fn a_document_is_known_again_and_a_changed_one_is_not() {
    let (data, visit) = recorded(MOULD);
    let (file, said) = issued(&data, MOULD, &visit, "KT");
    let number = number_in(&said);
    let (known, code) = verified(&[shown(&file)], &data);
    assert_eq!(
        (code, &known["standing"], &known["visit"]),
        (0, &Json::from("holds"), &Json::from(visit.as_str()))
    );
    let capitals = number.to_uppercase().replace('-', " ");
    assert_eq!(verified(&["--number", &capitals], &data).1, 0);
    let words = borewise(&["verify", shown(&file), "--data", shown(&data)]);
    assert!(
        words.out.contains("This very document is on record") && words.out.contains("It holds"),
        "{words:?}"
    );
    let mut bytes = fs::read(&file).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    let altered = new_folder().join("altered.pdf");
    fs::write(&altered, &bytes).unwrap();
    let words = borewise(&["verify", shown(&altered), "--data", shown(&data)]);
    assert_eq!(words.code, 1, "{words:?}");
    assert!(words.out.contains("it was altered or made elsewhere"), "{words:?}");
    fs::write(&altered, "no certificate").unwrap();
    assert_eq!(
        verified(&[shown(&altered)], &data),
        (serde_json::json!({ "on_record": false, "holds": false }), 1)
    );
    assert_eq!(verified(&["--number", "0000-0000-0000"], &data).1, 1);
    let wrong = borewise(&["verify", "--number", "12", "--data", shown(&data)]);
    assert_eq!(wrong.code, 2, "{wrong:?}");
}

#[test]
fn what_is_recorded_later_is_said_and_gives_another_certificate() {
    let (data, visit) = recorded(MOULD);
    let (file, said) = issued(&data, MOULD, &visit, "KT");
    // One more note at the end of the visit file.
    let folder = new_folder();
    for entry in fs::read_dir(plant().0.join(MOULD)).unwrap().map(Result::unwrap) {
        if entry.path().is_file() {
            fs::copy(entry.path(), folder.join(entry.file_name())).unwrap();
        }
    }
    let path = folder.join(visit_of(MOULD).file_name().unwrap());
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, format!("{text}\n[[reading]]\nkind = \"note\"\ntext = \"rust at the gate\"\n")).unwrap();
    let ended = borewise(&["record", shown(&folder), "--by", "KT", "--data", shown(&data)]);
    assert_eq!(ended.code, 0, "{ended:?}");
    let (known, code) = verified(&[shown(&file)], &data);
    assert_eq!(
        (code, &known["standing"], known["since"].as_array().map(Vec::len)),
        (1, &Json::from("changed"), Some(1))
    );
    let (_, said_later) = issued(&data, MOULD, &visit, "KT");
    assert_ne!(number_in(&said), number_in(&said_later));
    let (known, _) = verified(&[shown(&file)], &data);
    assert_eq!(known["later"], serde_json::json!([number_in(&said_later)]));
}

#[test]
fn nothing_is_issued_for_nobody_or_nothing() {
    let (data, visit) = recorded(MOULD);
    let file = new_folder().join("certificate.pdf");
    for (mould, visit, by) in
        [(MOULD, "never", "KT"), ("X-1", visit.as_str(), "KT"), (MOULD, visit.as_str(), "nobody")]
    {
        let arguments = ["certificate", mould, visit, "--by", by, "--data", shown(&data), "-o", shown(&file)];
        let ended = borewise(&arguments);
        assert_eq!(ended.code, 2, "{ended:?}");
        assert!(!file.exists());
    }
    let nowhere = new_folder();
    let ended = borewise(&["verify", "--number", "0000-0000-0000", "--data", shown(&nowhere)]);
    assert_eq!(ended.code, 3, "{ended:?}");
}

#[test]
fn two_programs_print_the_same_bytes() {
    let (data, visit) = recorded(MOULD);
    let pages = [
        format!("/moulds/{MOULD}/visits/{visit}/sheet.pdf"),
        format!("/moulds/{MOULD}/visits/{visit}/hook-up.pdf"),
        format!("/moulds/{MOULD}/tags.pdf"),
    ];
    let printed = || {
        let running = Running::start(&[
            "serve",
            "--data",
            shown(&data),
            "--listen",
            "127.0.0.1:0",
            "--base",
            "http://bench.example",
        ]);
        pages.iter().map(|page| running.body(page)).collect::<Vec<_>>()
    };
    let first = printed();
    assert!(first.iter().all(|bytes| bytes.starts_with(b"%PDF-1.7")));
    assert!(first == printed(), "the same record gives the same bytes");
}
