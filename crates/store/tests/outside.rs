//! The chain against something that is not ours: digests computed by Python's hashlib, the whole record read by
//! Python's sqlite3, and SQLite's own check of the file.

#![allow(clippy::unwrap_used)]

mod common;

use std::path::Path;
use std::process::Command;

use common::{Folder, at, opened, simulated, take_in, whole};
use store::shapes::NoteCard;
use store::{Digest, Entry, Fact, Head, Subject, Write};

/// Digests of `chain/chain.json`, which `chain/generate.py` wrote with hashlib (reference-library).
#[test]
fn the_rule_gives_the_digests_that_hashlib_gives() {
    let entries: Vec<serde_json::Value> = serde_json::from_str(include_str!("chain/chain.json")).unwrap();
    assert!(entries.len() >= 6);
    for entry in &entries {
        let text = |name: &str| entry[name].as_str().unwrap_or_default().to_owned();
        let number = |name: &str| entry[name].as_u64();
        let ours = Entry {
            number: number("number").unwrap(),
            at_us: entry["at_us"].as_i64().unwrap(),
            person: text("person"),
            kind: text("kind"),
            subject: text("subject"),
            write_key: text("write_key"),
            part: number("part").unwrap().try_into().unwrap(),
            parts: number("parts").unwrap().try_into().unwrap(),
            corrects: number("corrects"),
            reason: entry["reason"].as_str().map(str::to_owned),
            body: text("body"),
            previous: Digest::from_hex(&text("previous")).unwrap(),
            hash: Digest::from_hex(&text("hash")).unwrap(),
        };
        assert_eq!(ours.seal(), ours.hash, "entry {}", ours.number);
    }
}

/// Runs the script of the method book; nothing where Python is not there.
fn python(record: &Path, kept: &[Head]) -> Option<(bool, String)> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/methods/verify_record.py");
    let kept = kept.iter().map(ToString::to_string);
    let ended = Command::new("python3").arg("-B").arg(script).arg(record).args(kept).output();
    let Ok(ended) = ended else {
        eprintln!("python3 is not on this machine: the record was not read by another program");
        return None;
    };
    let said = [ended.stdout, ended.stderr].concat();
    Some((ended.status.success(), String::from_utf8(said).unwrap().trim().to_owned()))
}

#[test]
fn python_reads_the_same_history() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    for seed in 30..33 {
        let (mut mould, mut visit) = simulated(seed);
        mould.id.0 = format!("Ü/{seed}");
        visit.mould = mould.id.clone();
        take_in(&store, &mould, &visit, None);
        mould.name = "renamed".to_owned();
        take_in(&store, &mould, &visit, Some("Schreibfehler"));
    }
    let head = store.read(|reader| reader.head()).unwrap();
    drop(store);
    whole(&folder.record());
    if let Some((fine, said)) = python(&folder.record(), &[head]) {
        assert!(fine && said == head.to_string(), "{said}");
        let lost = Head { hash: Digest::of(b"another"), ..head };
        assert!(!python(&folder.record(), &[lost]).unwrap().0);
        let raw = rusqlite::Connection::open(folder.record()).unwrap();
        raw.execute_batch("DROP TRIGGER entry_no_update; UPDATE entry SET person = 'x' WHERE number = 7")
            .unwrap();
        drop(raw);
        let (fine, said) = python(&folder.record(), &[]).unwrap();
        assert!(!fine && said.contains("entry 7 is not what was recorded"), "{said}");
    }
}

#[test]
fn sqlite_finds_nothing_wrong_with_the_file() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(31);
    take_in(&store, &mould, &visit, None);
    let mut write = Write::new("n", at(9), "kt");
    write.say(Fact::Note(NoteCard { about: Subject::mould(&mould.id.0), text: "x".to_owned() }));
    store.write(&write).unwrap();
    let raw = rusqlite::Connection::open(folder.record()).unwrap();
    let asked = |pragma: &str| raw.query_row(pragma, [], |row| row.get::<_, String>(0));
    assert_eq!(asked("PRAGMA integrity_check").unwrap(), "ok");
    assert_eq!(asked("PRAGMA journal_mode").unwrap(), "wal");
    assert!(asked("PRAGMA foreign_key_check").is_err(), "no row is loose");
}
