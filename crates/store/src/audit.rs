//! Proves a record whole, or names the first break.

use std::collections::BTreeSet;
use std::fmt;
use std::path::Path;

use rusqlite::{Connection, OptionalExtension as _};

use crate::chain::{Entry, Head};
use crate::digest::Digest;
use crate::error::StoreError;
use crate::{blob, project, read, record, schema};

/// What an audit saw.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Audit {
    /// The end of the history, as far as it is whole.
    pub head: Head,
    /// Entries that hold.
    pub entries: u64,
    /// Writes that hold.
    pub writes: u64,
    /// Blobs that hold.
    pub blobs: u64,
    /// Their size, unpacked.
    pub blob_bytes: u64,
    /// The first thing that is not as it should be; nothing if the record is whole.
    pub first_break: Option<Break>,
}

/// Something in a record that is not as it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Break {
    /// SQLite itself finds the file damaged.
    File(String),
    /// A table or a guard of the history is missing or altered.
    Schema(String),
    /// The entry of this number is missing.
    Gap(u64),
    /// The entry does not follow the one before it.
    Link(u64),
    /// The entry is not what was recorded.
    Altered(u64),
    /// The write that ends before this entry is not all there.
    Half(u64),
    /// The entry cannot be read.
    Unreadable(u64),
    /// The entry cannot follow from those before it.
    Impossible {
        /// The entry.
        number: u64,
        /// Why.
        why: String,
    },
    /// Bytes that an entry names are missing.
    BlobMissing {
        /// The entry.
        number: u64,
        /// The digest.
        digest: Digest,
    },
    /// Bytes are no longer those of their digest.
    BlobAltered(Digest),
    /// A table of the state does not follow from the history.
    State(&'static str),
    /// The history does not hold a place that was written down elsewhere.
    HeadLost(Head),
}

impl fmt::Display for Break {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(text) => write!(f, "the file is damaged: {text}"),
            Self::Schema(name) => write!(f, "the table or guard {name} is missing or altered"),
            Self::Gap(number) => write!(f, "entry {number} is missing"),
            Self::Link(number) => write!(f, "entry {number} does not follow the entry before it"),
            Self::Altered(number) => write!(f, "entry {number} is not what was recorded"),
            Self::Half(number) => write!(f, "entry {number} leaves a write half there"),
            Self::Unreadable(number) => write!(f, "entry {number} cannot be read by this program"),
            Self::Impossible { number, why } => {
                write!(f, "entry {number} cannot follow from those before it: {why}")
            }
            Self::BlobMissing { number, digest } => {
                write!(f, "entry {number} names the bytes {digest}, and they are missing")
            }
            Self::BlobAltered(digest) => write!(f, "the bytes {digest} are not what was recorded"),
            Self::State(table) => write!(f, "the table {table} does not follow from the history"),
            Self::HeadLost(head) => write!(f, "the history does not hold {head}, which was written down"),
        }
    }
}

/// Looks at everything in a record: the file, the tables and their guards, every digest of the history, every write,
/// every blob, and whether the state follows. The places in `written_down` must be in the history: an end that was
/// cut off, or a history that was made anew, shows only against a digest that somebody kept elsewhere.
///
/// # Errors
/// If there is no record to look at.
pub fn audit(path: &Path, written_down: &[Head]) -> Result<Audit, StoreError> {
    if !path.is_file() {
        return Err(StoreError::Missing(path.to_owned()));
    }
    let connection = Connection::open_in_memory()?;
    record::configure(&connection)?;
    let mut audit =
        Audit { head: Head::EMPTY, entries: 0, writes: 0, blobs: 0, blob_bytes: 0, first_break: None };
    let attached = connection.execute("ATTACH ?1 AS record", [path.to_string_lossy()]).map(drop);
    match attached.map_err(Stop::from).and_then(|()| look(&connection, path, written_down, &mut audit)) {
        Ok(()) => Ok(audit),
        Err(Stop::Break(found)) => Ok(Audit { first_break: Some(found), ..audit }),
        Err(Stop::Error(StoreError::Sql(error))) if damaged(&error) => {
            Ok(Audit { first_break: Some(Break::File(error.to_string())), ..audit })
        }
        Err(Stop::Error(error)) => Err(error),
    }
}

/// Why an audit looks no further.
enum Stop {
    Break(Break),
    Error(StoreError),
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Self {
        Self::Error(error)
    }
}
impl From<rusqlite::Error> for Stop {
    fn from(error: rusqlite::Error) -> Self {
        Self::Error(error.into())
    }
}

/// Whether the error speaks of the file rather than of the machine: a damaged page, or a row that holds what no
/// record holds.
fn damaged(error: &rusqlite::Error) -> bool {
    let page = matches!(
        error.sqlite_error_code(),
        Some(rusqlite::ErrorCode::DatabaseCorrupt | rusqlite::ErrorCode::NotADatabase)
    );
    page || matches!(
        error,
        rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::InvalidColumnType(..)
    )
}

fn stop(found: Break) -> Result<(), Stop> {
    Err(Stop::Break(found))
}

fn look(audit_by: &Connection, path: &Path, written_down: &[Head], audit: &mut Audit) -> Result<(), Stop> {
    // One transaction, so that a record that is written to meanwhile is seen at one moment.
    let moment = audit_by.unchecked_transaction()?;
    file(&moment)?;
    let application: i64 = moment.query_row("PRAGMA record.application_id", [], |row| row.get(0))?;
    let version: u32 = moment.query_row("PRAGMA record.user_version", [], |row| row.get(0))?;
    if application == 0 && version == 0 {
        return Err(StoreError::Foreign(path.to_owned()).into());
    }
    if version > schema::version() {
        return Err(StoreError::TooNew { found: version, known: schema::version() }.into());
    }
    guards(&moment, version)?;
    blobs(&moment, audit)?;
    history(&moment, audit)?;
    for head in written_down {
        let sql = "SELECT hash FROM record.entry WHERE number = ?1";
        let hash: Option<[u8; 32]> = moment.query_row(sql, [head.number], |row| row.get(0)).optional()?;
        if *head != Head::EMPTY && hash.map(Digest) != Some(head.hash) {
            return stop(Break::HeadLost(*head));
        }
    }
    if version == schema::version() { state(&moment) } else { Ok(()) }
}

/// SQLite's own look at pages, indices and constraints.
fn file(moment: &Connection) -> Result<(), Stop> {
    let said: String = moment.query_row("PRAGMA record.integrity_check(1)", [], |row| row.get(0))?;
    if said != "ok" {
        return stop(Break::File(said));
    }
    let mut statement = moment.prepare("PRAGMA record.foreign_key_check")?;
    let loose: Option<String> = statement.query_row([], |row| row.get(0)).optional()?;
    loose.map_or(Ok(()), |table| stop(Break::File(format!("a row of {table} names one that is not there"))))
}

/// The tables of the history and the triggers that guard them are those of their version.
fn guards(moment: &Connection, version: u32) -> Result<(), Stop> {
    let fresh = Connection::open_in_memory()?;
    schema::bring_to(&fresh, version)?;
    let there: BTreeSet<(String, String)> = schema::texts(moment, "record")?.into_iter().collect();
    for text in schema::texts(&fresh, "main")? {
        if !there.contains(&text) {
            return stop(Break::Schema(text.0));
        }
    }
    Ok(())
}

fn blobs(moment: &Connection, audit: &mut Audit) -> Result<(), Stop> {
    let mut statement =
        moment.prepare("SELECT digest, packing, bytes, size_bytes FROM record.blob ORDER BY rowid")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let digest = Digest(row.get(0)?);
        let packing: String = row.get(1)?;
        let size: u64 = row.get(3)?;
        match blob::unpacked(digest, &packing, row.get(2)?) {
            Some(bytes) if bytes.len() as u64 == size => {
                audit.blobs += 1;
                audit.blob_bytes += size;
            }
            _ => return stop(Break::BlobAltered(digest)),
        }
    }
    Ok(())
}

/// Every entry follows the one before, carries its digest, belongs to a whole write, and follows from the rest.
fn history(moment: &Connection, audit: &mut Audit) -> Result<(), Stop> {
    schema::make_state(moment)?;
    let mut statement = moment.prepare("SELECT * FROM record.entry ORDER BY number")?;
    let mut rows = statement.query([])?;
    // The write that is being read: its key, and how many of its parts are still to come.
    let mut open: Option<(String, u32)> = None;
    while let Some(row) = rows.next()? {
        let entry = read::entry_of(row)?;
        if entry.number != audit.head.number + 1 {
            return stop(Break::Gap(audit.head.number + 1));
        }
        if entry.previous != audit.head.hash {
            return stop(Break::Link(entry.number));
        }
        if entry.seal() != entry.hash {
            return stop(Break::Altered(entry.number));
        }
        let left = match &open {
            None if entry.part == 1 => entry.parts - 1,
            Some((key, left)) if *key == entry.write_key && *left == entry.parts - entry.part + 1 => left - 1,
            _ => return stop(Break::Half(entry.number)),
        };
        follows(moment, &entry)?;
        audit.head = Head { number: entry.number, hash: entry.hash };
        audit.entries += 1;
        audit.writes += u64::from(left == 0);
        open = (left > 0).then_some((entry.write_key, left));
    }
    if open.is_some() { stop(Break::Half(audit.head.number)) } else { Ok(()) }
}

/// The entry can be read, its bytes are there, and what it says fits what is known by then.
fn follows(moment: &Connection, entry: &Entry) -> Result<(), Stop> {
    let number = entry.number;
    let Ok(fact) = entry.fact() else { return stop(Break::Unreadable(number)) };
    if fact.subject().as_str() != entry.subject {
        return stop(Break::Impossible { number, why: "its subject is not that of its body".to_owned() });
    }
    for digest in fact.blobs() {
        if !moment.prepare_cached("SELECT 1 FROM record.blob WHERE digest = ?1")?.exists([digest.0])? {
            return stop(Break::BlobMissing { number, digest });
        }
    }
    match project::project(moment, entry, &fact) {
        Err(StoreError::Sql(error)) if damaged(&error) => Err(Stop::Error(error.into())),
        Err(error) => stop(Break::Impossible { number, why: error.to_string() }),
        Ok(()) => Ok(()),
    }
}

/// The state in the file is the one that the history gives.
fn state(moment: &Connection) -> Result<(), Stop> {
    for table in schema::STATE_TABLES {
        let differ = format!(
            "SELECT EXISTS (SELECT * FROM main.{table} EXCEPT SELECT * FROM record.{table}) \
             OR EXISTS (SELECT * FROM record.{table} EXCEPT SELECT * FROM main.{table})"
        );
        match moment.query_row(&differ, [], |row| row.get::<_, bool>(0)) {
            Ok(false) => {}
            Err(error) if damaged(&error) => return Err(error.into()),
            Ok(true) | Err(_) => return stop(Break::State(table)),
        }
    }
    Ok(())
}
