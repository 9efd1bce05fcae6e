//! The record's file: one connection that writes, others that read.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use crate::error::StoreError;
use crate::read::Reader;
use crate::write::{self, Write, Written};
use crate::{disk, schema};

/// How long a connection waits for another one that writes.
const PATIENCE: Duration = Duration::from_secs(20);
/// Readers that are kept open while nobody reads.
const IDLE_READERS: usize = 8;

/// The record. It may be shared between threads; several programs may have the same file open.
pub struct Store {
    path: PathBuf,
    writer: Mutex<Connection>,
    idle: Mutex<Vec<Connection>>,
}

impl Store {
    /// Opens the record, and brings it up to this program's version if it is older.
    ///
    /// # Errors
    /// [`StoreError::Missing`], [`StoreError::Foreign`], [`StoreError::TooNew`], or what the disk says.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if !path.is_file() {
            return Err(StoreError::Missing(path.to_owned()));
        }
        Self::open_or_create(path)
    }

    /// Opens the record, or makes an empty one where there is none.
    ///
    /// # Errors
    /// As [`Store::open`], without [`StoreError::Missing`].
    pub fn open_or_create(path: &Path) -> Result<Self, StoreError> {
        let folder = disk::folder_of(path);
        std::fs::create_dir_all(folder).map_err(disk::failed("make the folder", folder))?;
        let new = !path.exists();
        let mut writer = Connection::open(path)?;
        configure(&writer)?;
        if let Some(Err(())) = schema::found(&writer)? {
            return Err(StoreError::Foreign(path.to_owned()));
        }
        writer.pragma_update(None, "journal_mode", "WAL")?;
        bring_up(&mut writer, path)?;
        if new {
            disk::sync_folder(folder)?;
            disk::sync_folder(disk::folder_of(folder))?;
        }
        Ok(Self { path: path.to_owned(), writer: Mutex::new(writer), idle: Mutex::new(Vec::new()) })
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Records a write: all of its entries or none. When this returns, they are on disk.
    ///
    /// # Errors
    /// Whatever is wrong with the write; nothing was recorded then.
    pub fn write(&self, write: &Write) -> Result<Written, StoreError> {
        self.change(|connection| write::add(connection, write))
    }

    /// Empties the state and projects the whole history again.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn rebuild(&self) -> Result<(), StoreError> {
        self.change(schema::rebuild)
    }

    /// Several writes, recorded together or not at all; each sees what those before it said. Nobody else can write
    /// meanwhile, so the work should be short. When this returns, everything is on disk.
    ///
    /// # Errors
    /// What the work says, or [`StoreError::Sql`]; nothing was recorded then.
    pub fn together<T, E: From<StoreError>>(
        &self,
        work: impl FnOnce(&Session<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        let transaction = begin(&mut writer)?;
        let done = work(&Session { connection: &transaction })?;
        transaction.commit().map_err(StoreError::from)?;
        Ok(done)
    }

    /// As [`Store::together`], and nothing of it is kept: shows what would happen.
    ///
    /// # Errors
    /// What the work says, or [`StoreError::Sql`].
    pub fn rehearse<T, E: From<StoreError>>(
        &self,
        work: impl FnOnce(&Session<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let mut writer = self.writer.lock().unwrap_or_else(PoisonError::into_inner);
        let transaction = begin(&mut writer)?;
        // Dropped at the end, which rolls back.
        work(&Session { connection: &transaction })
    }

    /// As [`Store::rehearse`], with a record that holds nothing and is nowhere.
    ///
    /// # Errors
    /// What the work says, or [`StoreError::Sql`].
    pub fn rehearse_anew<T, E: From<StoreError>>(
        work: impl FnOnce(&Session<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let connection = Connection::open_in_memory().map_err(StoreError::from)?;
        schema::bring_up(&connection)?;
        work(&Session { connection: &connection })
    }

    pub(crate) fn change<T>(
        &self,
        work: impl FnOnce(&Connection) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.together(|session| work(session.connection))
    }

    /// Reads: everything that is asked inside is of one moment.
    ///
    /// # Errors
    /// What the work says, or [`StoreError::Sql`].
    pub fn read<T>(&self, work: impl FnOnce(&Reader<'_>) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut connection = match idle {
            Some(connection) => connection,
            None => reader(&self.path)?,
        };
        let transaction = connection.transaction()?;
        let done = work(&Reader { connection: &transaction })?;
        transaction.finish()?;
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < IDLE_READERS {
            idle.push(connection);
        }
        Ok(done)
    }
}

/// A look at the record that may also write; see [`Store::together`].
pub struct Session<'c> {
    pub(crate) connection: &'c Connection,
}

impl Session<'_> {
    /// The record with everything that was written in this session.
    #[must_use]
    pub const fn reader(&self) -> Reader<'_> {
        Reader { connection: self.connection }
    }

    /// Adds a write; it counts once the session has ended well.
    ///
    /// # Errors
    /// Whatever is wrong with the write.
    pub fn write(&self, write: &Write) -> Result<Written, StoreError> {
        write::add(self.connection, write)
    }
}

/// A transaction that writes. A writer that panicked has rolled back, so its connection is as good as before.
fn begin(writer: &mut Connection) -> Result<rusqlite::Transaction<'_>, StoreError> {
    Ok(writer.transaction_with_behavior(TransactionBehavior::Immediate)?)
}

fn bring_up(writer: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let transaction = writer.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Asked again inside the transaction: another program may have been here meanwhile.
    match schema::found(&transaction)? {
        Some(Err(())) => return Err(StoreError::Foreign(path.to_owned())),
        Some(Ok(found)) if found > schema::version() => {
            return Err(StoreError::TooNew { found, known: schema::version() });
        }
        _ => schema::bring_up(&transaction)?,
    }
    Ok(transaction.commit()?)
}

/// A connection that only reads.
pub(crate) fn reader(path: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    configure(&connection)?;
    Ok(connection)
}

/// What every connection to a record promises. What is committed is flushed to the disk before the commit returns.
pub(crate) fn configure(connection: &Connection) -> Result<(), StoreError> {
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "fullfsync", true)?;
    connection.pragma_update(None, "checkpoint_fullfsync", true)?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "trusted_schema", false)?;
    connection.set_prepared_statement_cache_capacity(100);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_connection_promises_is_so() {
        let folder = std::env::temp_dir().join(format!("borewise-promises-{}", std::process::id()));
        let store = Store::open_or_create(&folder.join("record.sqlite")).unwrap();
        let writer = store.writer.lock().unwrap();
        let asked = |pragma: &str| -> String {
            writer
                .pragma_query_value(None, pragma, |row| row.get::<_, rusqlite::types::Value>(0))
                .map(|value| format!("{value:?}"))
                .unwrap()
        };
        assert_eq!(asked("journal_mode"), "Text(\"wal\")");
        assert_eq!(asked("synchronous"), "Integer(2)");
        assert_eq!(asked("foreign_keys"), "Integer(1)");
        assert_eq!(asked("busy_timeout"), "Integer(20000)");
        drop(writer);
        let refused = store
            .read(|reader| Ok(reader.connection.execute("DELETE FROM entry", []).unwrap_err().to_string()));
        assert!(refused.unwrap().contains("readonly"));
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
