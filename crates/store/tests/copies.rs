//! Copies of a record that is in use, and what is put in its place.

#![allow(clippy::unwrap_used)]

mod common;

use std::sync::atomic::{AtomicBool, Ordering};

use common::{Folder, at, opened, simulated, take_in, whole};
use store::copy::{InPlace, backup, restore};
use store::shapes::NoteCard;
use store::{Fact, Store, StoreError, Subject, Write};

fn note(store: &Store, number: u32) {
    let mut write = Write::new(format!("note-{number}"), at(i64::from(number)), "kt");
    let about = Subject::person("kt");
    write.say(Fact::Note(NoteCard { about, text: format!("note {number}") }));
    store.write(&write).unwrap();
}

#[test]
fn a_backup_is_taken_while_people_write_and_comes_back() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(2);
    take_in(&store, &mould, &visit, None);
    let done = AtomicBool::new(false);
    let copies = std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut number = 0;
            while !done.load(Ordering::Relaxed) {
                note(&store, number);
                number += 1;
            }
        });
        let copies: Vec<_> = (0..5)
            .map(|at| backup(&folder.record(), &folder.0.join(format!("copy-{at}.sqlite"))).unwrap())
            .collect();
        done.store(true, Ordering::Relaxed);
        copies
    });
    let kept: Vec<_> = copies.iter().map(|copied| copied.audit.head).collect();
    let seen = store::audit::audit(&folder.record(), &kept).unwrap();
    assert_eq!(seen.first_break, None, "every copy ends at a place of the history");
    for copied in &copies {
        assert_eq!(whole(&copied.path), copied.audit.entries);
        let bytes = std::fs::read(&copied.path).unwrap();
        assert_eq!(store::Digest::of(&bytes), copied.digest);
        let beside = std::fs::read_to_string(format!("{}.sha256", copied.path.display())).unwrap();
        let name = copied.path.file_name().unwrap().to_str().unwrap();
        assert_eq!(beside, format!("{}  {name}\n", copied.digest));
    }
    let names =
        std::fs::read_dir(&folder.0).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap());
    assert!(names.into_iter().all(|name| !name.contains(".part-")), "no draft is left");

    let other = folder.0.join("elsewhere/record.sqlite");
    let (restored, aside) = restore(&copies[0].path, &other, InPlace::Refuse).unwrap();
    assert_eq!((restored.audit.head, aside), (copies[0].audit.head, None));
    let again = Store::open(&other).unwrap();
    let id = mould.id.0.as_str();
    assert_eq!(again.read(|reader| reader.mould(id, store::AsOf::Now)).unwrap(), mould);
    note(&again, 1_000_000);
    whole(&other);
}

#[test]
fn a_record_in_place_is_refused_or_set_aside_never_lost() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let copy = folder.0.join("copy.sqlite");
    let copied = backup(&folder.record(), &copy).unwrap();
    assert!(matches!(backup(&folder.record(), &copy), Err(StoreError::Exists(_))));
    note(&store, 1);
    let newer = store.read(|reader| reader.head()).unwrap();
    drop(store);
    assert!(matches!(restore(&copy, &folder.record(), InPlace::Refuse), Err(StoreError::Exists(_))));
    let (restored, aside) = restore(&copy, &folder.record(), InPlace::SetAside(at(0))).unwrap();
    assert_eq!(restored.audit.head, copied.audit.head);
    let aside = Store::open(&aside.unwrap()).unwrap();
    assert_eq!(aside.read(|reader| reader.head()).unwrap(), newer);
    whole(&folder.record());
}

#[test]
fn a_log_that_lost_its_record_is_not_read_into_another_one() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let copy = folder.0.join("copy.sqlite");
    backup(&folder.record(), &copy).unwrap();
    note(&store, 1);
    // The record is taken away while its log is there; what is restored must not take that log for its own.
    let log = folder.0.join("record.sqlite-wal");
    assert!(log.exists());
    std::fs::remove_file(folder.record()).unwrap();
    let refused = restore(&copy, &folder.record(), InPlace::SetAside(at(0)));
    assert!(matches!(&refused, Err(StoreError::Exists(path)) if *path == log), "{refused:?}");
    drop(store);
    for ending in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{ending}", folder.record().display()));
    }
    restore(&copy, &folder.record(), InPlace::Refuse).unwrap();
    assert_eq!(whole(&folder.record()), 2);
}

#[test]
fn a_spoilt_backup_is_not_restored() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(2);
    take_in(&store, &mould, &visit, None);
    let before = store.read(|reader| reader.head()).unwrap();
    let copy = folder.0.join("copy.sqlite");
    backup(&folder.record(), &copy).unwrap();
    let raw = rusqlite::Connection::open(&copy).unwrap();
    raw.execute_batch("DROP TRIGGER entry_no_update; UPDATE entry SET person = 'x' WHERE number = 2")
        .unwrap();
    drop(raw);
    let restored = restore(&copy, &folder.record(), InPlace::SetAside(at(0)));
    assert!(matches!(restored, Err(StoreError::DigestDiffers(_))), "{restored:?}");
    std::fs::remove_file(folder.0.join("copy.sqlite.sha256")).unwrap();
    let restored = restore(&copy, &folder.record(), InPlace::SetAside(at(0)));
    assert!(matches!(restored, Err(StoreError::NotWhole { .. })), "{restored:?}");
    assert_eq!(store.read(|reader| reader.head()).unwrap(), before, "the record in place is untouched");
    let missing = restore(&folder.0.join("none"), &folder.record(), InPlace::SetAside(at(0)));
    assert!(matches!(missing, Err(StoreError::Missing(_))));
}
