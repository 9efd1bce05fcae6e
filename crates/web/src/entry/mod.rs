//! What is entered: read, answered at its field, recorded once, and judged.

pub(crate) mod across;
pub(crate) mod calibration;
pub(crate) mod definitions;
pub(crate) mod hook_up;
pub(crate) mod mould;
pub(crate) mod pieces;
pub(crate) mod reading;
pub(crate) mod say;
pub(crate) mod visit;
pub(crate) mod whole;

use axum::http::HeaderMap;
use store::{Fact, Reader};

use crate::app::App;
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;

/// Letters of a form's key.
const KEY_LETTERS: usize = 32;

/// Who sent a form, if somebody of the record did.
pub(crate) fn somebody(app: &App, headers: &HeaderMap) -> Result<Option<Session>, Problem> {
    let Some(session) = app.seal.session(headers, jiff::Timestamp::now()) else { return Ok(None) };
    let people = app.store.read(|reader| reader.people())?;
    Ok(people.iter().any(|person| person.id == session.person && person.active).then_some(session))
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

/// Whether a form of this key was recorded already: sent twice, it counts once.
pub(crate) fn sent_before(app: &App, key: &str) -> Result<bool, Problem> {
    Ok(!app.store.read(|reader| reader.written(key))?.is_empty())
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
    Ok(session)
}

/// First entry that this key became, with what it says.
pub(crate) fn recorded(reader: &Reader<'_>, key: &str) -> Result<Option<(u64, Fact)>, store::StoreError> {
    match reader.written(key)?.into_iter().next() {
        Some(entry) => Ok(Some((entry.number, entry.fact()?))),
        None => Ok(None),
    }
}
