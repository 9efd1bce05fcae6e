//! A visit: begun, hooked up, ended.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use bench::visit::Rig;
use calc::form::{Fault, Value};
use store::shapes::{HookUpCard, OutcomeWord, PortCard, RigCard, VisitCard, VisitEndCard};
use store::{AsOf, Fact, Reader, Session as Writing, StoreError, Subject, Write};

use super::{key, recorded, sender};
use crate::app::App;
use crate::pages::{self, visit::Answer};
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::{Typed, number};
use crate::{layout, shown};

/// Highest number of a port.
const LAST_PORT: u32 = 999;

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
fn free_name(reader: &Reader<'_>, mould: &str, now: jiff::Timestamp) -> Result<String, StoreError> {
    let day = now.strftime("%Y-%m-%d").to_string();
    let taken = reader.visits(Some(mould))?;
    let free = |name: &String| !taken.iter().any(|row| row.id == *name);
    let numbered = (2..).map(|number: u32| format!("{day}-{number}"));
    Ok(std::iter::once(day.clone()).chain(numbered).find(free).unwrap_or(day))
}

/// The rig of this name as it stands; one without a name has the usual uncertainties.
fn rig(reader: &Reader<'_>, name: &str) -> Result<RigCard, StoreError> {
    if name.is_empty() {
        return Ok(RigCard::of(&Rig::default()));
    }
    let items = reader.items(&Subject::rig(name), AsOf::Now)?;
    let card = items.into_iter().find_map(|item| match item.fact {
        Fact::Rig(card) => Some(card),
        _ => None,
    });
    card.ok_or_else(|| StoreError::Unknown { what: "rig", id: name.to_owned() })
}

/// Notes which circuit is on which port.
pub(crate) async fn hook_up(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    pages::blocking(move || take_hook_up(&app, &headers, &mould, &visit, &typed)).await
}

fn take_hook_up(
    app: &App,
    headers: &HeaderMap,
    mould: &str,
    visit: &str,
    typed: &Typed,
) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, layout::visit(mould, visit))?;
    let circuits = app.store.read(|reader| {
        running(reader, mould, visit)?;
        reader.circuits(mould)
    })?;
    let ids: Vec<String> = circuits.into_iter().map(|row| row.id).collect();
    let ports = match ports(&ids, typed) {
        Ok(ports) => ports,
        Err(faults) => return answered(app, &session, mould, visit, typed, &faults),
    };
    let card = HookUpCard { mould: mould.to_owned(), visit: visit.to_owned(), ports };
    end_of(app, &session, mould, visit, typed, Fact::HookUp(card))
}

/// The port of each circuit that has one, in the order of the ports.
fn ports(circuits: &[String], typed: &Typed) -> Result<Vec<PortCard>, Vec<Fault>> {
    let (mut faults, mut ports) = (Vec::new(), BTreeMap::new());
    for (at, circuit) in circuits.iter().enumerate() {
        let field = port_field(at);
        let Some(text) = typed.given(&field) else { continue };
        let Some(port) = port(text) else {
            faults.push(Fault::new(field, "not the number of a port", format!("give 1 to {LAST_PORT}")));
            continue;
        };
        if let Some(other) = ports.insert(port, circuit.clone()) {
            let hint = "each port takes one circuit at a time";
            faults.push(Fault::new(field, format!("port {port} has circuit {other} already"), hint));
        }
    }
    if faults.is_empty() && ports.is_empty() {
        faults.push(Fault::new(port_field(0), "no port is given", "give the port of at least one circuit"));
    }
    let card = |(port, circuit)| PortCard { port, circuit };
    if faults.is_empty() { Ok(ports.into_iter().map(card).collect()) } else { Err(faults) }
}

fn port(text: &str) -> Option<u32> {
    let Value::Number(value) = number(text) else { return None };
    (1..=LAST_PORT).find(|port| (f64::from(*port) - value).abs() < f64::EPSILON)
}

/// Name of the field for the port of this circuit, by its place in the mould.
pub(crate) fn port_field(at: usize) -> String {
    format!("port-{at}")
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
fn running(reader: &Reader<'_>, mould: &str, visit: &str) -> Result<(), StoreError> {
    let unknown = |what| Err(StoreError::Unknown { what, id: visit.to_owned() });
    match reader.visits(Some(mould))?.iter().find(|row| row.id == visit) {
        Some(row) if row.outcome.is_none() => Ok(()),
        Some(_) => unknown("visit on the bench"),
        None => unknown("visit"),
    }
}
