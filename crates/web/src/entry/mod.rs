//! What is entered: read, answered at its field, recorded once, and judged.

pub(crate) mod across;
pub(crate) mod calibration;
pub(crate) mod definitions;
pub(crate) mod gates;
pub(crate) mod hook_up;
pub(crate) mod mould;
pub(crate) mod pieces;
pub(crate) mod question;
pub(crate) mod reading;
pub(crate) mod say;
pub(crate) mod visit;
pub(crate) mod whole;

use axum::http::HeaderMap;
use report::Units;
use store::shapes::Person;
use store::{Fact, Reader, StoreError};

use crate::app::App;
use crate::problem::Problem;
use crate::session::{Claim, How, Session};
use crate::typed::Typed;

/// Under which name the units of a person are kept.
pub(crate) const UNITS: &str = "units";

/// Said to a viewer.
pub(crate) const READS_ONLY: &str =
    "You are on record as a viewer: you see everything and record nothing. An administrator can change that.";

/// Letters of a form's key.
const KEY_LETTERS: usize = 32;

/// Who sent a form, if somebody of the record did.
pub(crate) fn somebody(app: &App, headers: &HeaderMap) -> Result<Option<Session>, Problem> {
    let Some(claim) = app.seal.claim(headers, jiff::Timestamp::now()) else { return Ok(None) };
    if app.access.asks_for_proof() && claim.how == How::Name {
        return Ok(None);
    }
    app.store
        .read(|reader| {
            let Some(person) = still_good(reader, &claim)? else { return Ok(None) };
            let units = reader.preference(&person.id, UNITS)?.unwrap_or_default();
            let (role, units, head) = (person.role, Units::of(&units), reader.head()?.number);
            Ok(Some(Session { person: person.id, role, token: claim.token, units, head }))
        })
        .map_err(Problem::from)
}

/// The person of a cookie, unless they have left, or their password or PIN was changed since.
pub(crate) fn still_good(reader: &Reader<'_>, claim: &Claim) -> Result<Option<Person>, StoreError> {
    let Some(person) = reader.people()?.into_iter().find(|person| person.id == claim.person) else {
        return Ok(None);
    };
    let changed = reader.credential(&person.id)?.map_or(i64::MIN, |known| known.changed.as_microsecond());
    Ok((person.active && claim.since_us >= changed).then_some(person))
}

/// The key of a form as the record is to know it; it must look like one that we gave.
pub(crate) fn key(typed: &Typed) -> Result<String, Problem> {
    let key = typed.get("key");
    let ours = key.len() == KEY_LETTERS && key.bytes().all(|letter| letter.is_ascii_hexdigit());
    if ours {
        Ok(format!("page-{key}"))
    } else {
        Err(Problem::Refused("This form is not one of these pages.".into()))
    }
}

/// Refuses a form that was made for somebody else, or before the person changed.
pub(crate) fn made_for(session: &Session, typed: &Typed) -> Result<(), Problem> {
    if session.made(typed.get("token")) {
        return Ok(());
    }
    let text = "The person at the bench has changed since this page was opened. Go back, reload the page, and send it again.";
    Err(Problem::Refused(text.into()))
}

/// Who sent a form that changes something; whoever is nobody yet is asked, and led back to this page.
pub(crate) fn sender(
    app: &App,
    headers: &HeaderMap,
    typed: &Typed,
    back: String,
) -> Result<Session, Problem> {
    let session = somebody(app, headers)?.ok_or(Problem::Who(back))?;
    made_for(&session, typed)?;
    if !session.role.records() {
        return Err(Problem::Forbidden(READS_ONLY.into()));
    }
    Ok(session)
}

/// First entry that this key became, with what it says.
pub(crate) fn recorded(reader: &Reader<'_>, key: &str) -> Result<Option<(u64, Fact)>, store::StoreError> {
    match reader.written(key)?.into_iter().next() {
        Some(entry) => Ok(Some((entry.number, entry.fact()?))),
        None => Ok(None),
    }
}
