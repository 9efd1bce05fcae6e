//! How people prove who they are, and how they want pages to be: both can be changed and taken away, so they are no part of
//! the history.

use rusqlite::{OptionalExtension as _, params};

use crate::error::StoreError;
use crate::read::Reader;
use crate::record::Store;

/// What somebody is recognised by. Only hashes made for passwords belong here, never the words themselves.
#[derive(Clone, PartialEq, Eq)]
pub struct Credential {
    /// Hash of the password, in the PHC string form.
    pub password_hash: Option<String>,
    /// Hash of the PIN for the shared bench, in the same form.
    pub pin_hash: Option<String>,
    /// When it was set.
    pub changed: jiff::Timestamp,
}

impl std::fmt::Debug for Credential {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Hashes do not belong into logs.
        f.debug_struct("Credential").field("changed", &self.changed).finish_non_exhaustive()
    }
}

impl Store {
    /// Sets what somebody is recognised by, or takes it away.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] if the person is not on record.
    pub fn set_credential(&self, person: &str, credential: Option<&Credential>) -> Result<(), StoreError> {
        self.change(|connection| {
            let there = "SELECT 1 FROM person WHERE id = ?1";
            if !connection.prepare_cached(there)?.exists([person])? {
                return Err(StoreError::Unknown { what: "person", id: person.to_owned() });
            }
            connection.execute("DELETE FROM credential WHERE person = ?1", [person])?;
            if let Some(known) = credential {
                let changed = known.changed.as_microsecond();
                let values = params![person, known.password_hash, known.pin_hash, changed];
                connection.execute("INSERT INTO credential VALUES (?1, ?2, ?3, ?4)", values)?;
            }
            Ok(())
        })
    }

    /// Keeps how somebody wants pages to be.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn set_preference(&self, person: &str, name: &str, value: &str) -> Result<(), StoreError> {
        self.change(|connection| {
            connection
                .execute("INSERT OR REPLACE INTO preference VALUES (?1, ?2, ?3)", [person, name, value])?;
            Ok(())
        })
    }
}

impl Reader<'_> {
    /// How somebody wants pages to be; nothing if that was never said.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn preference(&self, person: &str, name: &str) -> Result<Option<String>, StoreError> {
        let sql = "SELECT value FROM preference WHERE person = ?1 AND name = ?2";
        let found = self.connection.prepare_cached(sql)?.query_row([person, name], |row| row.get(0));
        Ok(found.optional()?)
    }

    /// What somebody is recognised by; nothing if nothing was set.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn credential(&self, person: &str) -> Result<Option<Credential>, StoreError> {
        let sql = "SELECT password_hash, pin_hash, changed_us FROM credential WHERE person = ?1";
        let found = self.connection.prepare_cached(sql)?.query_row([person], |row| {
            Ok(Credential {
                password_hash: row.get(0)?,
                pin_hash: row.get(1)?,
                changed: jiff::Timestamp::from_microsecond(row.get(2)?).unwrap_or_default(),
            })
        });
        Ok(found.optional()?)
    }
}
