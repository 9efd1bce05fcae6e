//! One write: some entries, recorded together or not at all.

use std::collections::BTreeSet;

use rusqlite::{Connection, OptionalExtension as _, params};

use crate::blob::{self, Blob};
use crate::chain::{Entry, Head};
use crate::digest::Digest;
use crate::error::StoreError;
use crate::fact::{Fact, Subject};
use crate::shapes::Role;
use crate::{project, read};

/// Longest id, key or person's short name, in characters.
const NAME_LIMIT: usize = 200;

/// Entries that are recorded together or not at all.
#[derive(Clone, Debug)]
pub struct Write {
    key: String,
    at: jiff::Timestamp,
    person: String,
    entries: Vec<NewEntry>,
    blobs: Vec<Blob>,
}

/// One entry to be.
#[derive(Clone, Debug)]
struct NewEntry {
    fact: Fact,
    corrects: Option<u64>,
    reason: Option<String>,
}

/// What a write became. Once it is returned, it is on disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Written {
    /// First entry of the write.
    pub first: u64,
    /// Last entry of the write, with its digest.
    pub head: Head,
    /// Whether it had been recorded before under the same key, so that nothing was added now.
    pub repeated: bool,
}

impl Write {
    /// A write without entries. The key is chosen by the caller, once for each thing that somebody wants recorded: a
    /// write that comes again with its key counts once.
    #[must_use]
    pub fn new(key: impl Into<String>, at: jiff::Timestamp, person: impl Into<String>) -> Self {
        Self { key: key.into(), at, person: person.into(), entries: Vec::new(), blobs: Vec::new() }
    }

    /// Adds what somebody says.
    pub fn say(&mut self, fact: Fact) -> &mut Self {
        self.entries.push(NewEntry { fact, corrects: None, reason: None });
        self
    }

    /// Adds what somebody says, with the reason.
    pub fn say_because(&mut self, fact: Fact, reason: impl Into<String>) -> &mut Self {
        self.entries.push(NewEntry { fact, corrects: None, reason: Some(reason.into()) });
        self
    }

    /// Adds what is said in place of an earlier entry, which stays in the history.
    pub fn correct(&mut self, number: u64, fact: Fact, reason: impl Into<String>) -> &mut Self {
        self.entries.push(NewEntry { fact, corrects: Some(number), reason: Some(reason.into()) });
        self
    }

    /// Adds bytes that an entry names by their digest.
    pub fn bring(&mut self, blobs: impl IntoIterator<Item = Blob>) -> &mut Self {
        self.blobs.extend(blobs);
        self
    }

    /// Whether it holds no entry.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// What it would record.
    pub fn facts(&self) -> impl Iterator<Item = &Fact> {
        self.entries.iter().map(|entry| &entry.fact)
    }

    /// Everything that can be refused without looking at the record.
    fn checked(&self) -> Result<Vec<String>, StoreError> {
        if self.entries.is_empty() {
            return Err(StoreError::NothingToWrite);
        }
        name("the key of a write", &self.key)?;
        name("a person", &self.person)?;
        let mut named = BTreeSet::new();
        let mut bodies = Vec::new();
        for entry in &self.entries {
            if let (Some(number), None) =
                (entry.corrects, entry.reason.as_deref().filter(|reason| !reason.trim().is_empty()))
            {
                return Err(StoreError::ReasonMissing(number));
            }
            ids(&entry.fact)?;
            named.extend(entry.fact.blobs());
            bodies.push(body(&entry.fact)?);
        }
        for blob in &self.blobs {
            if !named.contains(&blob.digest()) {
                return Err(StoreError::BlobUnused(blob.digest()));
            }
            if blob.bytes().len() > blob::LIMIT_BYTES {
                let (size_bytes, limit_bytes) = (blob.bytes().len(), blob::LIMIT_BYTES);
                return Err(StoreError::BlobLarge { size_bytes, limit_bytes });
            }
        }
        Ok(bodies)
    }
}

/// Refuses names that people could not tell apart or type.
fn name(what: &'static str, value: &str) -> Result<(), StoreError> {
    let fine = !value.trim().is_empty()
        && value.trim().len() == value.len()
        && value.chars().count() <= NAME_LIMIT
        && !value.chars().any(char::is_control);
    if fine {
        Ok(())
    } else {
        Err(StoreError::BadName { what, value: value.chars().take(NAME_LIMIT).collect() })
    }
}

/// Refuses bad ids of the things that an entry makes.
fn ids(fact: &Fact) -> Result<(), StoreError> {
    match fact {
        Fact::Person(card) => name("the short name of a person", &card.id),
        Fact::Mould(card) => name("the id of a mould", &card.mould),
        Fact::Half(card) => name("the name of a half", &card.half),
        Fact::Circuit(card) => name("the id of a circuit", &card.circuit),
        Fact::Rig(card) => name("the name of a rig", card.rig.as_deref().unwrap_or_default()),
        Fact::Instrument(card) => name("the id of an instrument", &card.instrument),
        Fact::Visit(card) => name("the name of a visit", &card.visit),
        _ => Ok(()),
    }
}

/// The canonical bytes of a fact: fields in the order of the shape, no spaces, shortest numbers.
fn body(fact: &Fact) -> Result<String, StoreError> {
    let unwritable =
        || StoreError::Unwritable { kind: fact.kind(), subject: fact.subject().as_str().to_owned() };
    let body = serde_json::to_string(fact).map_err(|_| unwritable())?;
    // JSON has no infinity and no not-a-number: they would come back as nothing.
    let back: Fact = serde_json::from_str(&body).map_err(|_| unwritable())?;
    if back == *fact { Ok(body) } else { Err(unwritable()) }
}

/// The kind that an entry carries: treatments are told apart from readings.
fn kind(fact: &Fact) -> &'static str {
    match fact {
        Fact::Reading(card) if card.what.word() == "treatment" => "treatment",
        _ => fact.kind(),
    }
}

/// Adds a write at the end of the history, inside the caller's transaction.
pub(crate) fn add(tx: &Connection, write: &Write) -> Result<Written, StoreError> {
    let bodies = write.checked()?;
    if let Some(written) = repeated(tx, write, &bodies)? {
        return Ok(written);
    }
    let mut head = read::head(tx)?;
    let first = head.number + 1;
    keep(tx, &write.blobs)?;
    let parts = u32::try_from(write.entries.len()).unwrap_or(u32::MAX);
    for ((part, new), body) in (1..).zip(&write.entries).zip(bodies) {
        let mut entry = Entry {
            number: head.number + 1,
            at_us: write.at.as_microsecond(),
            person: write.person.clone(),
            kind: kind(&new.fact).to_owned(),
            subject: new.fact.subject().as_str().to_owned(),
            write_key: write.key.clone(),
            part,
            parts,
            corrects: new.corrects,
            reason: new.reason.clone().filter(|reason| !reason.is_empty()),
            body,
            previous: head.hash,
            hash: Digest::NOTHING,
        };
        entry.hash = entry.seal();
        blobs_are_here(tx, &new.fact)?;
        project::project(tx, &entry, &new.fact)?;
        insert(tx, &entry)?;
        head = Head { number: entry.number, hash: entry.hash };
    }
    signed(tx, write)?;
    Ok(Written { first, head, repeated: false })
}

/// Refuses a write of somebody who is not here, or who only reads; words about oneself stay allowed.
fn signed(tx: &Connection, write: &Write) -> Result<(), StoreError> {
    let role = "SELECT role FROM person WHERE id = ?1 AND active = 1";
    let role: Option<String> =
        tx.prepare_cached(role)?.query_row([&write.person], |row| row.get(0)).optional()?;
    let Some(role) = role else {
        return Err(StoreError::Unknown { what: "active person", id: write.person.clone() });
    };
    let found = project::role_of(&role).unwrap_or(Role::Viewer);
    let own = Subject::person(&write.person);
    if found == Role::Viewer && !write.facts().all(|fact| fact.subject() == own) {
        return Err(StoreError::Role { person: write.person.clone(), found, needed: Role::Technician });
    }
    Ok(())
}

fn insert(tx: &Connection, entry: &Entry) -> Result<(), StoreError> {
    let sql = "INSERT INTO entry VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)";
    tx.prepare_cached(sql)?.execute(params![
        entry.number,
        entry.at_us,
        entry.person,
        entry.kind,
        entry.subject,
        entry.write_key,
        entry.part,
        entry.parts,
        entry.corrects,
        entry.reason,
        entry.body,
        entry.previous.0,
        entry.hash.0,
    ])?;
    Ok(())
}

/// The write of this key, if it is on record; an error if it said something else.
fn repeated(tx: &Connection, write: &Write, bodies: &[String]) -> Result<Option<Written>, StoreError> {
    let mut statement = tx.prepare_cached("SELECT * FROM entry WHERE write_key = ?1 ORDER BY part")?;
    let there: Vec<Entry> = statement.query_map([&write.key], read::entry_of)?.collect::<Result<_, _>>()?;
    let (Some(first), Some(last)) = (there.first(), there.last()) else { return Ok(None) };
    let same = there.len() == bodies.len()
        && there.iter().zip(&write.entries).zip(bodies).all(|((there, new), body)| {
            there.person == write.person
                && there.body == *body
                && there.corrects == new.corrects
                && there.reason.as_deref().unwrap_or_default() == new.reason.as_deref().unwrap_or_default()
        });
    if !same {
        return Err(StoreError::KeyReused { key: write.key.clone(), first: first.number });
    }
    let head = Head { number: last.number, hash: last.hash };
    Ok(Some(Written { first: first.number, head, repeated: true }))
}

fn keep(tx: &Connection, blobs: &[Blob]) -> Result<(), StoreError> {
    let mut insert = tx.prepare_cached(
        "INSERT INTO blob SELECT ?1, ?2, ?3, ?4 WHERE NOT EXISTS (SELECT 1 FROM blob WHERE digest = ?1)",
    )?;
    for blob in blobs {
        let (packing, bytes) = blob.kept();
        insert.execute(params![blob.digest().0, blob.bytes().len(), packing, bytes])?;
    }
    Ok(())
}

fn blobs_are_here(tx: &Connection, fact: &Fact) -> Result<(), StoreError> {
    for digest in fact.blobs() {
        if !tx.prepare_cached("SELECT 1 FROM blob WHERE digest = ?1")?.exists([digest.0])? {
            return Err(StoreError::BlobMissing(digest));
        }
    }
    Ok(())
}
