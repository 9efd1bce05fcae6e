//! Tables of the file: the history, grown by steps that are only ever added, and the state, which is rebuilt from it
//! whenever its shape changes.

use rusqlite::{Connection, OptionalExtension as _};

use crate::error::StoreError;
use crate::{project, read};

/// Steps that make the history's tables; a step that was released is never changed.
const STEPS: &[&str] = &[
    include_str!("sql/history-1.sql"),
    include_str!("sql/history-2.sql"),
    include_str!("sql/history-3.sql"),
    include_str!("sql/history-4.sql"),
];
const STATE: &str = include_str!("sql/state.sql");
/// Changes whenever the tables of the state, or what is projected into them, change.
const STATE_VERSION: i64 = 1;
/// Tables of the state, in an order in which they can be removed.
pub(crate) const STATE_TABLES: [&str; 13] = [
    "circuit_finding",
    "finding",
    "reading",
    "visit",
    "calibration",
    "instrument",
    "rig",
    "circuit",
    "half",
    "mould",
    "person",
    "item",
    "state",
];
/// Marks the file as one of ours: `BORW`.
const APPLICATION: i64 = 0x424F_5257;

/// The version that this program writes.
pub(crate) fn version() -> u32 {
    u32::try_from(STEPS.len()).unwrap_or(u32::MAX)
}

/// Whether the file is a record, and of which version; nothing for an empty file.
pub(crate) fn found(connection: &Connection) -> Result<Option<Result<u32, ()>>, StoreError> {
    let application: i64 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if application == APPLICATION {
        let version: u32 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
        return Ok(Some(Ok(version)));
    }
    Ok((application != 0 || tables != 0).then_some(Err(())))
}

/// Brings the tables up to this program's version, inside the caller's transaction.
pub(crate) fn bring_up(connection: &Connection) -> Result<(), StoreError> {
    bring_to(connection, version())?;
    let state_there: bool = connection.query_row(
        "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'state'",
        [],
        |row| Ok(row.get::<_, i64>(0)? > 0),
    )?;
    let right = state_there
        && connection
            .query_row("SELECT version FROM state", [], |row| row.get::<_, i64>(0))
            .optional()?
            .is_some_and(|version| version == STATE_VERSION);
    if right { Ok(()) } else { rebuild(connection) }
}

/// Makes the history's tables of this version out of those of any earlier one.
pub(crate) fn bring_to(connection: &Connection, version: u32) -> Result<(), StoreError> {
    let have: u32 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    for (step, number) in STEPS.iter().zip(1..=version) {
        if number > have {
            connection.execute_batch(step)?;
            connection.pragma_update(None, "user_version", number)?;
        }
    }
    connection.pragma_update(None, "application_id", APPLICATION)?;
    Ok(())
}

/// Empties the state and projects the whole history again.
pub(crate) fn rebuild(connection: &Connection) -> Result<(), StoreError> {
    for table in STATE_TABLES {
        connection.execute_batch(&format!("DROP TABLE IF EXISTS {table}"))?;
    }
    make_state(connection)?;
    let mut statement = connection.prepare("SELECT * FROM entry ORDER BY number")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let entry = read::entry_of(row)?;
        project::project(connection, &entry, &entry.fact()?)?;
    }
    Ok(())
}

/// Makes the tables of the state, empty.
pub(crate) fn make_state(connection: &Connection) -> Result<(), StoreError> {
    connection.execute_batch(STATE)?;
    connection.execute("INSERT INTO state VALUES (1, ?1, 0)", [STATE_VERSION])?;
    Ok(())
}

/// Name and text of everything in the schema, in order, for comparing two files.
pub(crate) fn texts(connection: &Connection, of: &str) -> Result<Vec<(String, String)>, StoreError> {
    let sql = format!("SELECT name, coalesce(sql, '') FROM {of}.sqlite_schema ORDER BY name");
    let mut statement = connection.prepare(&sql)?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shapes::{Person, Role};
    use crate::{Fact, Store, Write};

    fn tables(connection: &Connection) -> Vec<(String, String)> {
        texts(connection, "main").unwrap()
    }

    fn rows(connection: &Connection) -> Vec<String> {
        let rows_of = |table: &&str| {
            let mut statement = connection.prepare(&format!("SELECT * FROM {table}")).unwrap();
            let columns = statement.column_count();
            let rows = statement.query_map([], |row| {
                let cells = (0..columns).map(|at| row.get::<_, rusqlite::types::Value>(at).unwrap());
                Ok(format!("{table} {:?}", cells.collect::<Vec<_>>()))
            });
            rows.unwrap().map(Result::unwrap).collect::<Vec<_>>()
        };
        STATE_TABLES.iter().flat_map(rows_of).collect()
    }

    fn some_entries() -> Write {
        let mut write = Write::new("people", jiff::Timestamp::UNIX_EPOCH, "kt");
        for id in ["kt", "lead"] {
            let (id, name) = (id.to_owned(), "a name".to_owned());
            write.say(Fact::Person(Person { id, name, role: Role::Lead, active: true }));
        }
        write
    }

    /// A record as the program of an earlier version left it.
    fn left_by(version: u32, with_state: bool) -> Connection {
        let connection = Connection::open_in_memory().unwrap();
        bring_to(&connection, version).unwrap();
        if version > 0 {
            make_state(&connection).unwrap();
            crate::write::add(&connection, &some_entries()).unwrap();
            if !with_state {
                STATE_TABLES.iter().for_each(|table| {
                    connection.execute_batch(&format!("DROP TABLE {table}")).unwrap();
                });
            }
        }
        connection
    }

    #[test]
    fn a_migrated_record_equals_a_fresh_one_from_every_earlier_version() {
        let fresh = Connection::open_in_memory().unwrap();
        bring_up(&fresh).unwrap();
        let expected = tables(&fresh);
        crate::write::add(&fresh, &some_entries()).unwrap();
        assert!(expected.len() > 20, "{expected:?}");
        for version in 0..=self::version() {
            for with_state in [true, false] {
                let migrated = left_by(version, with_state);
                bring_up(&migrated).unwrap();
                assert_eq!(tables(&migrated), expected, "from version {version}");
                if version > 0 {
                    assert_eq!(rows(&migrated), rows(&fresh), "from version {version}");
                }
                let before = rows(&migrated);
                bring_up(&migrated).unwrap();
                assert_eq!((tables(&migrated), rows(&migrated)), (expected.clone(), before), "twice is once");
            }
        }
    }

    #[test]
    fn a_state_of_another_shape_is_made_anew() {
        let connection = left_by(version(), true);
        let right = rows(&connection);
        connection.execute_batch("UPDATE state SET version = 0; UPDATE person SET name = 'old'").unwrap();
        bring_up(&connection).unwrap();
        assert_eq!(rows(&connection), right);
    }

    #[test]
    fn a_record_of_a_later_program_is_left_alone() {
        let folder = std::env::temp_dir().join(format!("borewise-later-{}", std::process::id()));
        let path = folder.join("record.sqlite");
        drop(Store::open_or_create(&path).unwrap());
        Connection::open(&path).unwrap().pragma_update(None, "user_version", version() + 1).unwrap();
        let refused = Store::open(&path).map(drop);
        assert!(matches!(refused, Err(StoreError::TooNew { .. })), "{refused:?}");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
