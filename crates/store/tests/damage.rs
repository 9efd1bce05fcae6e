//! Damage of every kind is found, and the first break is named.

#![allow(clippy::unwrap_used)]

mod common;

use std::path::Path;

use common::{Folder, at, opened, simulated, take_in, whole};
use store::audit::{Break, audit};
use store::shapes::NoteCard;
use store::{Fact, Head, Store, StoreError, Subject, Write};

const GUARDS: [&str; 6] = [
    "entry_only_next",
    "entry_no_update",
    "entry_no_delete",
    "blob_only_new",
    "blob_no_update",
    "blob_no_delete",
];

/// A record with some dozens of entries.
fn filled(folder: &Folder) {
    let store = opened(&folder.record());
    let (mould, visit) = simulated(11);
    take_in(&store, &mould, &visit, None);
    let mut write = Write::new("note", at(500), "kt");
    let about = Subject::mould(&mould.id.0);
    write.say(Fact::Note(NoteCard { about, text: "drips".to_owned() }));
    store.write(&write).unwrap();
}

/// Does something to a record that its guards would refuse, and puts the guards back.
fn behind_its_back(path: &Path, sql: &str) {
    let raw = rusqlite::Connection::open(path).unwrap();
    raw.execute_batch("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON").unwrap();
    let guards: Vec<String> = GUARDS
        .iter()
        .map(|name| {
            let text = "SELECT sql FROM sqlite_schema WHERE name = ?1";
            raw.query_row(text, [name], |row| row.get::<_, String>(0)).unwrap()
        })
        .collect();
    GUARDS.iter().for_each(|name| raw.execute_batch(&format!("DROP TRIGGER {name}")).unwrap());
    raw.execute_batch(sql).unwrap();
    guards.iter().for_each(|guard| raw.execute_batch(guard).unwrap());
}

fn first_break(path: &Path) -> Option<Break> {
    audit(path, &[]).unwrap().first_break
}

/// What is done, and whether a break is the one that must be named.
type Case = (&'static str, fn(&Break) -> bool);

#[test]
fn every_alteration_is_named() {
    let cases: [Case; 16] = [
        ("UPDATE entry SET person = 'other' WHERE number = 5", |b| *b == Break::Altered(5)),
        ("UPDATE entry SET at_us = at_us + 1 WHERE number = 5", |b| *b == Break::Altered(5)),
        ("UPDATE entry SET body = replace(body, '\"fixed\"', '\"moving\"') WHERE number = 4", |b| {
            *b == Break::Altered(4)
        }),
        ("UPDATE entry SET body = body || ' ' WHERE number = 7", |b| *b == Break::Altered(7)),
        ("UPDATE entry SET reason = 'so' WHERE number = 6", |b| *b == Break::Altered(6)),
        ("UPDATE entry SET kind = 'note' WHERE number = 6", |b| *b == Break::Altered(6)),
        ("UPDATE entry SET write_key = 'x' WHERE number = 2", |b| *b == Break::Altered(2)),
        ("UPDATE entry SET hash = zeroblob(32) WHERE number = 8", |b| *b == Break::Altered(8)),
        ("UPDATE entry SET previous = zeroblob(32) WHERE number = 8", |b| *b == Break::Link(8)),
        ("DELETE FROM entry WHERE number = 9", |b| *b == Break::Gap(9)),
        ("DELETE FROM entry WHERE number = 1", |b| *b == Break::Gap(1)),
        ("UPDATE entry SET number = -4 WHERE number = 4", |b| matches!(b, Break::File(_))),
        ("DELETE FROM blob WHERE rowid = 1", |b| matches!(b, Break::BlobMissing { .. })),
        ("UPDATE blob SET bytes = x'0011' WHERE rowid = 2", |b| matches!(b, Break::BlobAltered(_))),
        ("UPDATE mould SET name = 'x'", |b| *b == Break::State("mould")),
        ("DELETE FROM reading WHERE place = 0", |b| *b == Break::State("reading")),
    ];
    for (sql, right) in cases {
        let folder = Folder::new();
        filled(&folder);
        behind_its_back(&folder.record(), sql);
        let found = first_break(&folder.record()).unwrap_or_else(|| panic!("not noticed: {sql}"));
        assert!(right(&found), "{sql}: {found}");
    }
}

#[test]
fn a_missing_guard_is_named() {
    let folder = Folder::new();
    filled(&folder);
    let raw = rusqlite::Connection::open(folder.record()).unwrap();
    raw.execute_batch("DROP TRIGGER entry_no_delete").unwrap();
    drop(raw);
    assert_eq!(first_break(&folder.record()), Some(Break::Schema("entry_no_delete".to_owned())));
}

#[test]
fn an_end_that_was_cut_off_shows_against_a_digest_kept_elsewhere() {
    let folder = Folder::new();
    filled(&folder);
    let kept = Store::open(&folder.record()).unwrap().read(|reader| reader.head()).unwrap();
    assert_eq!(audit(&folder.record(), &[kept, Head::EMPTY]).unwrap().first_break, None);
    // The last write and its note taken away with all their traces in the state: the chain alone cannot know.
    let last = kept.number;
    behind_its_back(
        &folder.record(),
        &format!(
            "DELETE FROM entry WHERE number = {last}; DELETE FROM item WHERE root = {last}; \
             UPDATE state SET known_to = {last} - 1"
        ),
    );
    whole(&folder.record());
    let seen = audit(&folder.record(), &[kept]).unwrap();
    assert_eq!(seen.first_break, Some(Break::HeadLost(kept)));
    assert_eq!(Head::parse(&kept.to_string()), Some(kept));
}

#[test]
fn a_write_that_is_half_there_is_named() {
    let folder = Folder::new();
    filled(&folder);
    let store = Store::open(&folder.record()).unwrap();
    let mut write = Write::new("three notes", at(600), "kt");
    let about = store.read(|reader| Ok(Subject::mould(&reader.moulds()?[0].id))).unwrap();
    for text in ["a", "b", "c"] {
        write.say(Fact::Note(NoteCard { about: about.clone(), text: text.to_owned() }));
    }
    let last = store.write(&write).unwrap().head.number;
    drop(store);
    behind_its_back(
        &folder.record(),
        &format!(
            "DELETE FROM entry WHERE number = {last}; DELETE FROM item WHERE root = {last}; \
             UPDATE state SET known_to = {last} - 1"
        ),
    );
    assert_eq!(first_break(&folder.record()), Some(Break::Half(last - 1)));
}

#[test]
fn bytes_that_flip_on_the_disk_are_noticed() {
    let folder = Folder::new();
    filled(&folder);
    let sound = std::fs::read(folder.record()).unwrap();
    let whole_before = audit(&folder.record(), &[]).unwrap();
    let mut noticed = 0;
    let mut tried = 0;
    for at in (100..sound.len()).step_by(sound.len() / 150) {
        let mut spoilt = sound.clone();
        spoilt[at] ^= 0x40;
        std::fs::write(folder.record(), &spoilt).unwrap();
        tried += 1;
        // A byte that no table uses may flip unseen; then everything that is on record is still as it was.
        match audit(&folder.record(), &[whole_before.head]) {
            Ok(seen) if seen.first_break.is_none() => assert_eq!(seen, whole_before, "byte {at}"),
            Ok(_) | Err(_) => noticed += 1,
        }
    }
    assert!(noticed * 2 > tried, "{noticed} of {tried} flipped bytes were noticed");
}

#[test]
fn what_is_no_record_is_said_to_be_none() {
    let folder = Folder::new();
    assert!(matches!(audit(&folder.record(), &[]), Err(StoreError::Missing(_))));
    assert!(matches!(Store::open(&folder.record()), Err(StoreError::Missing(_))));
    let other = folder.0.join("other.sqlite");
    rusqlite::Connection::open(&other).unwrap().execute_batch("CREATE TABLE mine (x)").unwrap();
    assert!(matches!(Store::open_or_create(&other), Err(StoreError::Foreign(_))));
    assert!(matches!(audit(&other, &[]), Err(StoreError::Foreign(_))));
    let text = folder.0.join("text");
    std::fs::write(&text, "no database at all, and long enough to hold the head of one ".repeat(20)).unwrap();
    assert!(matches!(audit(&text, &[]).map(|seen| seen.first_break), Ok(Some(Break::File(_)))));
    assert!(Store::open(&text).is_err());
}
