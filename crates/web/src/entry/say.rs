//! Puts on record what somebody says of a thing: new, or in place of what is on record, once for each key.

use axum::http::HeaderMap;
use calc::form::Fault;
use store::{Blob, Fact, Session as Writing, StoreError, Write};

use super::{key, sender};
use crate::app::App;
use crate::problem::Problem;
use crate::session::Session;
use crate::shown;
use crate::typed::Typed;

/// One thing that is said.
pub(crate) struct Say {
    /// What.
    pub fact: Fact,
    /// Entry that it corrects; that has to be the newest one of its thing.
    pub instead_of: Option<u64>,
}

impl Say {
    /// Something new, or a further version.
    pub(crate) const fn new(fact: Fact) -> Self {
        Self { fact, instead_of: None }
    }
}

/// A form that puts something on record: who sent it, under which key, and when.
pub(crate) struct Posted<'a> {
    app: &'a App,
    /// Who sent it.
    pub session: Session,
    /// Key that counts once.
    pub key: String,
    /// When it came.
    pub now: jiff::Timestamp,
}

impl<'a> Posted<'a> {
    /// A form that somebody who may record has sent; whoever is nobody yet is led back to this page.
    ///
    /// # Errors
    /// Nobody, a viewer, a form of another person, a key that is not ours.
    pub(crate) fn of(
        app: &'a App,
        headers: &HeaderMap,
        typed: &Typed,
        back: String,
    ) -> Result<Self, Problem> {
        let session = sender(app, headers, typed, back)?;
        Ok(Self { app, session, key: key(typed)?, now: jiff::Timestamp::now() })
    }

    /// Whether it was recorded already: sent twice, it counts once.
    ///
    /// # Errors
    /// What the record says.
    pub(crate) fn before(&self) -> Result<bool, Problem> {
        Ok(!self.app.store.read(|reader| reader.written(&self.key))?.is_empty())
    }

    /// Records what it says, with the bytes that it names: all or nothing. Answers what is wrong.
    ///
    /// # Errors
    /// What the record says.
    pub(crate) fn record(
        &self,
        reason: &str,
        what: Vec<Say>,
        blobs: Vec<Blob>,
    ) -> Result<Result<(), Vec<Fault>>, Problem> {
        let written = self.app.store.together(|writing: &Writing<'_>| {
            let mut write = Write::new(self.key.as_str(), self.now, self.session.person.as_str());
            for say in what {
                match say.instead_of {
                    Some(number) => write.correct(number, say.fact, reason),
                    None if reason.is_empty() => write.say(say.fact),
                    None => write.say_because(say.fact, reason),
                };
            }
            write.bring(blobs);
            writing.write(&write)?;
            Ok::<_, StoreError>(())
        });
        match written {
            Ok(()) => Ok(Ok(())),
            Err(error) => fault(error).map(|fault| Err(vec![fault])),
        }
    }

    /// The same of a mould, whose visit on the bench is judged again.
    ///
    /// # Errors
    /// What the record says.
    pub(crate) fn record_of_mould(
        &self,
        mould: &str,
        reason: &str,
        what: Vec<Say>,
    ) -> Result<Result<(), Vec<Fault>>, Problem> {
        let recorded = self.record(reason, what, Vec::new())?;
        if recorded.is_ok() {
            judge_mould(self.app, mould, self.now, &self.session)?;
        }
        Ok(recorded)
    }
}

/// A change of what is on record without its reason.
pub(crate) fn reason_missing(typed: &Typed) -> Option<Fault> {
    typed.given("reason").is_none().then(no_reason)
}

fn no_reason() -> Fault {
    Fault::new("reason", "missing", "a change of what is on record needs its reason")
}

/// A form that says what is on record already.
pub(crate) fn nothing_changed() -> Fault {
    Fault::new("", "nothing is changed", "change something, or leave the page")
}

/// What somebody can put right in the form; everything else ends it.
fn fault(error: StoreError) -> Result<Fault, Problem> {
    match &error {
        StoreError::NotNewest { newest, .. } => Ok(Fault::new(
            "",
            format!("somebody else has changed this meanwhile, in entry {newest}"),
            "look at what stands on record now, and send this again if it still holds",
        )),
        StoreError::KeyReused { .. } => Ok(Fault::new(
            "",
            "this form was recorded already, with other values",
            "to record what stands here now as well, send it again",
        )),
        StoreError::ReasonMissing(_) => Ok(no_reason()),
        StoreError::BadName { what, .. } => {
            let hint = "give up to 200 letters on one line, without blanks at the ends";
            Ok(Fault::new("", format!("this cannot be {what}"), hint))
        }
        _ => Err(error.into()),
    }
}

/// Judges the visit of this mould that is on the bench again, if there is one: what is known of the mould has changed.
pub(crate) fn judge_mould(
    app: &App,
    mould: &str,
    at: jiff::Timestamp,
    session: &Session,
) -> Result<(), Problem> {
    let visits = app.store.read(|reader| reader.visits(Some(mould)))?;
    for row in visits.iter().filter(|row| row.outcome.is_none()) {
        shown::judge_again(app, mould, &row.id, at, &session.person)?;
    }
    Ok(())
}
