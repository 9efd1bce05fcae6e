//! Tokens by which other programs reach the record, and what those programs were answered. Both stand beside the history.

use rusqlite::{OptionalExtension as _, Row, params};

use crate::digest::Digest;
use crate::error::StoreError;
use crate::project::{role_of, role_word};
use crate::read::Reader;
use crate::record::Session;
use crate::shapes::Role;

/// A token as it is kept. The token itself is kept nowhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// Name, never given twice.
    pub name: String,
    /// What its bearer may do at most.
    pub role: Role,
    /// Short name of the person who answers for it.
    pub person: String,
    /// When it was made.
    pub made: jiff::Timestamp,
    /// By whom.
    pub made_by: String,
    /// When and by whom it was revoked.
    pub revoked: Option<(jiff::Timestamp, String)>,
}

/// What another program was answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answered {
    /// Digest of what it asked.
    pub asked: Digest,
    /// Status of the answer.
    pub status: u16,
    /// The answer.
    pub body: String,
}

fn moment(us: i64) -> jiff::Timestamp {
    jiff::Timestamp::from_microsecond(us).unwrap_or_default()
}

fn token(row: &Row<'_>) -> rusqlite::Result<Token> {
    let (role, revoked_us): (String, Option<i64>) = (row.get("role")?, row.get("revoked_us")?);
    let revoked_by: Option<String> = row.get("revoked_by")?;
    Ok(Token {
        name: row.get("name")?,
        role: role_of(&role).unwrap_or(Role::Viewer),
        person: row.get("person")?,
        made: moment(row.get("made_us")?),
        made_by: row.get("made_by")?,
        revoked: revoked_us.map(|us| (moment(us), revoked_by.unwrap_or_default())),
    })
}

impl Session<'_> {
    /// Keeps a token, of which only the digest is told.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`] where the name was given before; [`StoreError::Unknown`] where the person is not on record.
    pub fn add_token(&self, token: &Token, digest: Digest) -> Result<(), StoreError> {
        let there = |sql: &str, value: &str| self.connection.prepare_cached(sql)?.exists([value]);
        if !there("SELECT 1 FROM person WHERE id = ?1 AND active = 1", &token.person)? {
            return Err(StoreError::Unknown { what: "active person", id: token.person.clone() });
        }
        if there("SELECT 1 FROM token WHERE name = ?1", &token.name)? {
            return Err(StoreError::NameTaken(token.name.clone()));
        }
        let made = token.made.as_microsecond();
        let values = params![token.name, digest.0, role_word(token.role), token.person, made, token.made_by];
        self.connection.execute("INSERT INTO token VALUES (?1, ?2, ?3, ?4, ?5, ?6, NULL, NULL)", values)?;
        Ok(())
    }

    /// Revokes a token; one that was revoked before stays as it is.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] where there is none of this name.
    pub fn revoke_token(&self, name: &str, at: jiff::Timestamp, by: &str) -> Result<(), StoreError> {
        if !self.connection.prepare_cached("SELECT 1 FROM token WHERE name = ?1")?.exists([name])? {
            return Err(StoreError::Unknown { what: "token", id: name.to_owned() });
        }
        let sql = "UPDATE token SET revoked_us = ?2, revoked_by = ?3 WHERE name = ?1 AND revoked_us IS NULL";
        self.connection.execute(sql, params![name, at.as_microsecond(), by])?;
        Ok(())
    }

    /// Keeps what another program was answered, with what it had recorded.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn keep_answer(&self, write_key: &str, answered: &Answered) -> Result<(), StoreError> {
        let values = params![write_key, answered.asked.0, answered.status, answered.body];
        self.connection.execute("INSERT INTO answer VALUES (?1, ?2, ?3, ?4)", values)?;
        Ok(())
    }
}

impl Reader<'_> {
    /// The token with this digest, revoked or not.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn token(&self, digest: Digest) -> Result<Option<Token>, StoreError> {
        let sql = "SELECT * FROM token WHERE digest = ?1";
        Ok(self.connection.prepare_cached(sql)?.query_row([digest.0], token).optional()?)
    }

    /// All tokens, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn tokens(&self) -> Result<Vec<Token>, StoreError> {
        let sql = "SELECT * FROM token ORDER BY made_us DESC, name";
        let mut statement = self.connection.prepare_cached(sql)?;
        Ok(statement.query_map([], token)?.collect::<Result<_, _>>()?)
    }

    /// What another program was answered under this key.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn answered(&self, write_key: &str) -> Result<Option<Answered>, StoreError> {
        let sql = "SELECT asked, status, body FROM answer WHERE write_key = ?1";
        let found = self.connection.prepare_cached(sql)?.query_row([write_key], |row| {
            Ok(Answered { asked: Digest(row.get(0)?), status: row.get(1)?, body: row.get(2)? })
        });
        Ok(found.optional()?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shapes::Person;
    use crate::{Fact, Store, Write};

    #[test]
    fn a_token_is_found_by_its_digest_and_its_name_is_given_once() {
        let at = jiff::Timestamp::UNIX_EPOCH;
        Store::rehearse_anew(|session: &Session<'_>| {
            let mut write = Write::new("person", at, "KD");
            let name = "Kim Dale".to_owned();
            write.say(Fact::Person(Person { id: "KD".into(), name, role: Role::Lead, active: true }));
            session.write(&write)?;
            let (made_by, digest) = ("KD".to_owned(), Digest::of(b"secret"));
            let token = Token {
                name: "gateway".into(),
                role: Role::Technician,
                person: "KD".into(),
                made: at,
                made_by,
                revoked: None,
            };
            session.add_token(&token, digest)?;
            assert_eq!(session.reader().token(digest)?, Some(token.clone()));
            assert_eq!(session.reader().token(Digest::of(b"other"))?, None);
            let again = session.add_token(&token, Digest::of(b"other"));
            assert!(matches!(again, Err(StoreError::NameTaken(_))), "{again:?}");
            let stranger =
                session.add_token(&Token { person: "XX".into(), ..token.clone() }, Digest::of(b"x"));
            assert!(matches!(stranger, Err(StoreError::Unknown { .. })), "{stranger:?}");
            session.revoke_token("gateway", at, "KD")?;
            let revoked = session.reader().token(digest)?.and_then(|token| token.revoked);
            assert_eq!(revoked, Some((at, "KD".to_owned())));
            assert!(matches!(session.revoke_token("none", at, "KD"), Err(StoreError::Unknown { .. })));
            let answered = Answered { asked: digest, status: 201, body: "{}".into() };
            session.keep_answer("token:gateway:1", &answered)?;
            assert_eq!(session.reader().answered("token:gateway:1")?, Some(answered));
            Ok::<_, StoreError>(())
        })
        .unwrap();
    }
}
