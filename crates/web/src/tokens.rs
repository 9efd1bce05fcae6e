//! Tokens by which other programs reach the record: made for a person who answers for them, shown once, kept as a digest.
//!
//! A token is 32 random bytes, so that SHA-256 alone is enough to keep it: nobody tries 2^256 tokens, and a hash that is slow
//! on purpose, as passwords need it because people choose them, would only make every request slow.

use calc::form::Fault;
use store::shapes::{NoteCard, Person, Role};
use store::{Digest, Fact, Session as Writing, Store, StoreError, Subject, Token, Write};

use crate::access::looks_after;
use crate::entry::recorded;
use crate::session::{hex, random};

/// Longest name, in letters (own choice).
const NAME_LETTERS: usize = 40;
/// What every token begins with, so that people and programs that look for secrets know it when they see it.
const BEGINNING: &str = "borewise-";

/// A token that somebody wants made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Name, of letters, digits, hyphens and full stops; never given twice.
    pub name: String,
    /// What its bearer may do at most.
    pub role: Role,
    /// Short name of the person who answers for it.
    pub person: String,
}

/// Why no token was made or revoked.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// What is wrong with what was wanted.
    #[error("{}", .0.iter().map(|fault| format!("{}: {}; {}", fault.field, fault.problem, fault.hint)).collect::<Vec<_>>().join("\n"))]
    Faults(Vec<Fault>),
    /// It is for others to do.
    #[error("{0}")]
    Forbidden(String),
    /// The same form made a token before, which cannot be shown again.
    #[error("this token was made before and cannot be shown again; revoke it and make another one")]
    MadeBefore,
    /// The record.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// The digest by which a token is recognised.
pub(crate) fn digest(token: &str) -> Digest {
    Digest::of(token.as_bytes())
}

/// A key for the write of a command, which is sent once.
#[must_use]
pub fn command_key() -> String {
    format!("command-{}", crate::session::fresh_key())
}

/// Makes a token and tells it, once and never again. That it was made goes on record; the token does not.
///
/// # Errors
/// Everything that is wrong with what is wanted; somebody who does not look after the people; what the record says.
pub fn make(
    store: &Store,
    by: &str,
    wanted: &Wanted,
    key: &str,
    now: jiff::Timestamp,
) -> Result<String, TokenError> {
    let token = format!("{BEGINNING}{}", hex(&random()));
    store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        let people = reader.people()?;
        must_look_after(&people, by)?;
        if recorded(&reader, key)?.is_some() {
            return Err(TokenError::MadeBefore);
        }
        let taken = reader.tokens()?.iter().any(|known| known.name == wanted.name);
        let faults = faults(&people, wanted, taken);
        if !faults.is_empty() {
            return Err(TokenError::Faults(faults));
        }
        let text =
            format!("The token {} was made: its bearer records as {}.", wanted.name, wanted.role.words());
        let text = if wanted.role.records() {
            text
        } else {
            format!("The token {} was made: its bearer reads.", wanted.name)
        };
        note(writing, key, now, by, &wanted.person, text)?;
        let kept = Token {
            name: wanted.name.clone(),
            role: wanted.role,
            person: wanted.person.clone(),
            made: now,
            made_by: by.to_owned(),
            revoked: None,
        };
        writing.add_token(&kept, digest(&token))?;
        Ok(())
    })?;
    Ok(token)
}

/// Revokes a token: it counts no more at once. What it recorded stays.
///
/// # Errors
/// Somebody who neither looks after the people nor answers for the token; a token that is not there; what the record says.
pub fn revoke(
    store: &Store,
    by: &str,
    name: &str,
    key: &str,
    now: jiff::Timestamp,
) -> Result<(), TokenError> {
    store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        let known = reader.tokens()?.into_iter().find(|token| token.name == name);
        let known = known.ok_or_else(|| StoreError::Unknown { what: "token", id: name.to_owned() })?;
        if known.person != by {
            must_look_after(&reader.people()?, by)?;
        }
        if recorded(&reader, key)?.is_some() || known.revoked.is_some() {
            return Ok(());
        }
        note(writing, key, now, by, &known.person, format!("The token {name} was revoked."))?;
        writing.revoke_token(name, now, by)?;
        Ok(())
    })
}

fn must_look_after(people: &[Person], by: &str) -> Result<(), TokenError> {
    let person = people.iter().find(|person| person.id == by && person.active);
    match person {
        Some(person) if looks_after(people, person.role) => Ok(()),
        Some(person) => Err(TokenError::Forbidden(format!(
            "Only an administrator makes and revokes tokens. {by} is on record as {}.",
            person.role.words()
        ))),
        None => Err(TokenError::Forbidden(format!("Nobody is on record as {by}."))),
    }
}

fn note(
    writing: &Writing<'_>,
    key: &str,
    now: jiff::Timestamp,
    by: &str,
    about: &str,
    text: String,
) -> Result<(), StoreError> {
    let mut write = Write::new(key, now, by);
    write.say(Fact::Note(NoteCard { about: Subject::person(about), text }));
    writing.write(&write).map(drop)
}

/// How much a role may do, from least to most.
pub(crate) fn rank(role: Role) -> usize {
    Role::ALL.iter().position(|known| *known == role).unwrap_or_default()
}

fn faults(people: &[Person], wanted: &Wanted, taken: bool) -> Vec<Fault> {
    let mut faults = Vec::new();
    let letter = |letter: char| letter.is_ascii_alphanumeric() || "-.".contains(letter);
    if wanted.name.is_empty() {
        faults.push(Fault::new(
            "token_name",
            "missing",
            "say which program it is for, such as press-gateway",
        ));
    } else if wanted.name.len() > NAME_LETTERS || !wanted.name.chars().all(letter) {
        let hint = format!("give up to {NAME_LETTERS} plain letters, digits, hyphens and full stops");
        faults
            .push(Fault::new("token_name", "not a name for a token", hint).with_value(wanted.name.as_str()));
    } else if taken {
        let hint = "take another one: a name is never given twice, so that the record stays clear";
        faults.push(
            Fault::new("token_name", "the name was given before", hint).with_value(wanted.name.as_str()),
        );
    }
    let person = people.iter().find(|person| person.active && person.id == wanted.person);
    match person {
        None => {
            let hint = "give the short name of somebody on record who answers for it";
            faults.push(
                Fault::new("person", "nobody is here under this name", hint)
                    .with_value(wanted.person.as_str()),
            );
        }
        Some(_) if wanted.role == Role::Administrator => {
            let hint = "people and tokens are looked after on the page People alone";
            faults.push(Fault::new("role", "a token is no administrator", hint));
        }
        Some(person) if rank(wanted.role) > rank(person.role) => {
            let problem = format!("{} is on record as {}", person.id, person.role.words());
            faults.push(Fault::new("role", problem, "a token may do no more than who answers for it"));
        }
        Some(_) => {}
    }
    faults
}
