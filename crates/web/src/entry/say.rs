//! Puts on record what somebody says of a thing: new, or in place of what is on record, once for each key.

use calc::form::Fault;
use store::{Blob, Fact, Session as Writing, StoreError, Write};

use crate::app::App;
use crate::problem::Problem;
use crate::session::Session;
use crate::shown;

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

/// Everything that is said at once.
pub(crate) struct Saying<'a> {
    /// Key of the form.
    pub key: &'a str,
    /// When.
    pub now: jiff::Timestamp,
    /// Why; a correction needs it.
    pub reason: &'a str,
    /// What, in order.
    pub what: Vec<Say>,
    /// Bytes that it names.
    pub blobs: Vec<Blob>,
}

impl Saying<'_> {
    /// Records it: all or nothing. Answers its first entry, or what is wrong.
    ///
    /// # Errors
    /// What the record says.
    pub(crate) fn record(self, app: &App, session: &Session) -> Result<Result<u64, Vec<Fault>>, Problem> {
        let written = app.store.together(|writing: &Writing<'_>| {
            let mut write = Write::new(self.key, self.now, session.person.as_str());
            for say in self.what {
                match say.instead_of {
                    Some(number) => write.correct(number, say.fact, self.reason),
                    None if self.reason.is_empty() => write.say(say.fact),
                    None => write.say_because(say.fact, self.reason),
                };
            }
            write.bring(self.blobs);
            Ok::<_, StoreError>(writing.write(&write)?.first)
        });
        match written {
            Ok(number) => Ok(Ok(number)),
            Err(error) => fault(error).map(|fault| Err(vec![fault])),
        }
    }
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
        StoreError::ReasonMissing(_) => {
            Ok(Fault::new("reason", "missing", "a change of what is on record needs its reason"))
        }
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
