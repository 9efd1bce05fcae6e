//! A record in a folder of its own, and things to record in it.

#![allow(dead_code, clippy::unwrap_used, reason = "each test takes what it needs")]

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use bench::mould::Mould;
use bench::visit::Visit;
use jiff::Timestamp;
use store::shapes::{Person, Role};
use store::{Fact, Store, Write, Written};

/// A folder that is gone when the test is over.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("borewise-store-{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn record(&self) -> PathBuf {
        self.0.join("record.sqlite")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

pub fn at(second: i64) -> Timestamp {
    Timestamp::from_second(1_790_000_000 + second).unwrap()
}

pub fn person(id: &str, role: Role) -> Fact {
    Fact::Person(Person { id: id.to_owned(), name: format!("{id} of the bench"), role, active: true })
}

/// A record with a technician `kt` and a lead `lead`.
pub fn opened(path: &Path) -> Store {
    let store = Store::open_or_create(path).unwrap();
    let mut write = Write::new("people", at(0), "lead");
    write.say(person("lead", Role::Lead)).say(person("kt", Role::Technician));
    store.write(&write).unwrap();
    store
}

/// A simulated mould and visit.
pub fn simulated(seed: u64) -> (Mould, Visit) {
    let plan = link::random_plan(seed, &link::Invention::default());
    let played = link::simulate(&plan, seed).unwrap();
    (played.mould, played.visit)
}

/// Takes in a mould and then a visit; nothing where nothing is new.
pub fn take_in(store: &Store, mould: &Mould, visit: &Visit, reason: Option<&str>) -> Vec<Written> {
    let one = store.read(|reader| {
        let taken = reader.take_in_mould(mould)?;
        if taken.is_nothing() { Ok(None) } else { taken.write(reader, at(10), "kt", reason).map(Some) }
    });
    let mut written: Vec<Written> = one.unwrap().iter().map(|write| store.write(write).unwrap()).collect();
    let two = store.read(|reader| {
        let taken = reader.take_in_visit(visit)?;
        if taken.is_nothing() { Ok(None) } else { taken.write(reader, at(20), "kt", reason).map(Some) }
    });
    written.extend(two.unwrap().iter().map(|write| store.write(write).unwrap()));
    written
}

/// The record is whole; gives the number of its entries.
pub fn whole(path: &Path) -> u64 {
    let seen = store::audit::audit(path, &[]).unwrap();
    assert_eq!(seen.first_break, None);
    seen.entries
}
