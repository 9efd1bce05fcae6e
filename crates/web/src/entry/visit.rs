//! A visit: begun, hooked up, ended.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use bench::visit::Rig;
use calc::form::Fault;
use store::shapes::{OutcomeWord, RigCard, VisitCard, VisitEndCard};
use store::{AsOf, Fact, Reader, Session as Writing, StoreError, Subject, Write};

use super::calibration::with_instruments;
use super::{key, recorded, sender};
use crate::app::App;
use crate::pages::{self, Answer};
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;
use crate::{layout, shown};

/// Begins a visit of a mould.
pub(crate) async fn begin(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(mould): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    pages::blocking(move || {
        let session = sender(&app, &headers, &typed, layout::mould(&mould))?;
        let (key, now) = (key(&typed)?, jiff::Timestamp::now());
        let visit = app.store.together(|writing: &Writing<'_>| {
            let reader = writing.reader();
            if let Some((_, Fact::Visit(card))) = recorded(&reader, &key)? {
                return Ok::<_, Problem>(card.visit);
            }
            let card = VisitCard {
                visit: free_name(&reader, &mould, now)?,
                started: now,
                by: session.person.clone(),
                rig: rig(&reader, typed.get("rig"))?,
                mould: mould.clone(),
            };
            let visit = card.visit.clone();
            let mut write = Write::new(key.as_str(), now, session.person.as_str());
            write.say(Fact::Visit(card));
            writing.write(&write)?;
            Ok(visit)
        })?;
        shown::judge_again(&app, &mould, &visit, now, &session.person)?;
        Ok(Redirect::to(&layout::visit(&mould, &visit)).into_response())
    })
    .await
}

/// The day, and a number where the day is taken.
pub(crate) fn free_name(
    reader: &Reader<'_>,
    mould: &str,
    now: jiff::Timestamp,
) -> Result<String, StoreError> {
    let day = now.strftime("%Y-%m-%d").to_string();
    let taken = reader.visits(Some(mould))?;
    let free = |name: &String| !taken.iter().any(|row| row.id == *name);
    let numbered = (2..).map(|number: u32| format!("{day}-{number}"));
    Ok(std::iter::once(day.clone()).chain(numbered).find(free).unwrap_or(day))
}

/// The rig of this name as it stands; one without a name has the usual uncertainties.
pub(crate) fn rig(reader: &Reader<'_>, name: &str) -> Result<RigCard, StoreError> {
    if name.is_empty() {
        return Ok(RigCard::of(&Rig::default()));
    }
    let items = reader.items(&Subject::rig(name), AsOf::Now)?;
    let card = items.into_iter().find_map(|item| match item.fact {
        Fact::Rig(card) => Some(card),
        _ => None,
    });
    let card = card.ok_or_else(|| StoreError::Unknown { what: "rig", id: name.to_owned() })?;
    Ok(with_instruments(card, &reader.instruments()?))
}

/// Ends a visit: back to the press, or held.
pub(crate) async fn end(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    pages::blocking(move || take_end(&app, &headers, &mould, &visit, &typed)).await
}

fn take_end(
    app: &App,
    headers: &HeaderMap,
    mould: &str,
    visit: &str,
    typed: &Typed,
) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, layout::visit(mould, visit))?;
    let remark = typed.given("remark").map(str::to_owned);
    let outcome = match (typed.get("outcome"), &remark) {
        ("release", _) => OutcomeWord::Release,
        ("hold", Some(_)) => OutcomeWord::Hold,
        ("hold", None) => {
            let fault = Fault::new("remark", "a mould that is held needs a reason", "say what is missing");
            return answered(app, &session, mould, visit, typed, &[fault]);
        }
        _ => {
            let fault = Fault::new("outcome", "not chosen", "choose how the visit ends");
            return answered(app, &session, mould, visit, typed, &[fault]);
        }
    };
    if outcome == OutcomeWord::Release {
        let shut = pages::read(app, |reader| {
            let found = shown::of(app, reader, mould, visit)?.findings;
            let shut = found.circuits.iter().filter(|circuit| !circuit.gates.release.open);
            Ok(shut.map(|circuit| circuit.id.0.clone()).collect::<Vec<_>>())
        })?;
        if !shut.is_empty() {
            let problem = format!("the gate ‘release’ is shut for {}", shut.join(", "));
            let hint = "the table of gates says why; hold the mould, or take the readings that are missing";
            return answered(app, &session, mould, visit, typed, &[Fault::new("outcome", problem, hint)]);
        }
    }
    let at = jiff::Timestamp::now();
    let card = VisitEndCard { mould: mould.to_owned(), visit: visit.to_owned(), at, outcome, remark };
    end_of(app, &session, mould, visit, typed, Fact::VisitEnd(card))
}

/// The visit's page again, with what was typed and what is wrong.
fn answered(
    app: &App,
    session: &Session,
    mould: &str,
    visit: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Result<Response, Problem> {
    let answer = Answer { typed, faults };
    let page = pages::visit::with(app, Some(session), mould, visit, Some(&answer))?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// Records what is said of a visit, judges it again, and leads back to it.
fn end_of(
    app: &App,
    session: &Session,
    mould: &str,
    visit: &str,
    typed: &Typed,
    fact: Fact,
) -> Result<Response, Problem> {
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        if recorded(&reader, &key)?.is_none() {
            running(&reader, mould, visit)?;
            let mut write = Write::new(key.as_str(), now, session.person.as_str());
            write.say(fact);
            writing.write(&write)?;
        }
        Ok::<_, Problem>(())
    })?;
    shown::judge_again(app, mould, visit, now, &session.person)?;
    Ok(Redirect::to(&layout::visit(mould, visit)).into_response())
}

/// A visit that has ended stays as it is.
pub(crate) fn running(reader: &Reader<'_>, mould: &str, visit: &str) -> Result<(), StoreError> {
    let unknown = |what| Err(StoreError::Unknown { what, id: visit.to_owned() });
    match reader.visits(Some(mould))?.iter().find(|row| row.id == visit) {
        Some(row) if row.outcome.is_none() => Ok(()),
        Some(_) => unknown("visit on the bench"),
        None => unknown("visit"),
    }
}
