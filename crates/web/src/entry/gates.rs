//! A gate opened or shut against its rule, and such a decision taken back.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use bench::finding::{Gate, GateName};
use calc::form::Fault;
use store::shapes::{OverrideCard, Role, WithdrawalCard};
use store::{AsOf, Fact, Session as Writing, Subject, Write};

use super::reading::{Spot, running};
use super::{key, recorded, sender};
use crate::app::App;
use crate::pages::{self, gates::Deciding};
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;
use crate::{layout, shown};

/// Fewest letters of a reason (own choice): one word is none.
const REASON: usize = 10;

fn lead(app: &App, headers: &HeaderMap, spot: &Spot, typed: &Typed) -> Result<Session, Problem> {
    let session = sender(app, headers, typed, address(spot))?;
    if session.role.overrides() {
        return Ok(session);
    }
    Err(Problem::Forbidden(format!(
        "{} is on record as {}; overriding a gate takes {}.",
        session.person,
        session.role.words(),
        Role::Lead.or_more()
    )))
}

fn address(spot: &Spot) -> String {
    format!("{}/gates", layout::bench(&spot.mould, &spot.visit, &spot.circuit))
}

fn gate_of(word: &str) -> Result<GateName, Problem> {
    GateName::of(word).ok_or_else(|| Problem::Missing(format!("There is no gate {word}.")))
}

/// Opens or shuts a gate against the rule.
pub(crate) async fn decide(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit, gate)): Path<(String, String, String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit }, Typed::new(pairs));
    pages::blocking(move || take(&app, &headers, &spot, gate_of(&gate)?, &typed)).await
}

fn take(
    app: &App,
    headers: &HeaderMap,
    spot: &Spot,
    name: GateName,
    typed: &Typed,
) -> Result<Response, Problem> {
    let session = lead(app, headers, spot, typed)?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let Spot { mould, visit, circuit } = spot;
    if app.store.read(|reader| recorded(reader, &key))?.is_some() {
        return Ok(Redirect::to(&address(spot)).into_response());
    }
    let gate = pages::read(app, |reader| {
        let found = shown::of(app, reader, mould, visit)?.findings;
        let found = found.circuits.iter().find(|found| found.id.0 == *circuit);
        let found =
            found.ok_or_else(|| Problem::Missing(format!("Mould {mould} has no circuit {circuit}.")))?;
        Ok(found.gates.get(name).clone())
    })?;
    let (because, open) = (typed.get("because"), typed.get("open") == "yes");
    if let Some(fault) = fault(&gate, open, because, typed.get("seen")) {
        let faults = [fault];
        let deciding = Deciding { gate: name, because, faults: &faults };
        let page = pages::gates::with(app, Some(&session), spot, Some(&deciding))?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let card = OverrideCard {
        mould: mould.clone(),
        visit: visit.clone(),
        circuit: circuit.clone(),
        gate: name.word().to_owned(),
        open,
        because: because.to_owned(),
        against: gate.obstacles.iter().map(|word| (*word).to_owned()).collect(),
    };
    app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        if recorded(&reader, &key)?.is_none() {
            running(&reader, spot)?;
            let mut write = Write::new(key.as_str(), now, session.person.as_str());
            write.say(Fact::Override(card));
            writing.write(&write)?;
        }
        Ok::<_, Problem>(())
    })?;
    shown::judge_again(app, mould, visit, now, &session.person)?;
    Ok(Redirect::to(&address(spot)).into_response())
}

/// Why a gate is not decided so.
pub(crate) fn fault(gate: &Gate, open: bool, because: &str, seen: &str) -> Option<Fault> {
    if let Some(firm) = gate.firm.filter(|_| open) {
        return Some(Fault::new("", "this gate cannot be overridden", firm));
    }
    if gate.open == open {
        return Some(Fault::new("", "the gate stands like that already", "look at it again"));
    }
    if open && seen != gate.obstacles.join(" ") {
        // Somebody recorded something meanwhile; nobody signs for what they have not seen.
        let hint = "read what shuts the gate now, and decide again";
        return Some(Fault::new("", "more became known since this page was opened", hint));
    }
    if because.chars().filter(|letter| letter.is_alphanumeric()).count() < REASON {
        return Some(Fault::new("because", "a reason is needed", "say why it is right here, in a sentence"));
    }
    None
}

/// Takes a decision back: the rule decides again.
pub(crate) async fn take_back(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit, gate)): Path<(String, String, String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit }, Typed::new(pairs));
    pages::blocking(move || withdraw(&app, &headers, &spot, gate_of(&gate)?, &typed)).await
}

fn withdraw(
    app: &App,
    headers: &HeaderMap,
    spot: &Spot,
    name: GateName,
    typed: &Typed,
) -> Result<Response, Problem> {
    let session = lead(app, headers, spot, typed)?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let number: u64 = typed.get("entry").parse().unwrap_or_default();
    let about = Subject::visit(&spot.mould, &spot.visit);
    app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        if recorded(&reader, &key)?.is_some() {
            return Ok::<_, Problem>(());
        }
        running(&reader, spot)?;
        let own = reader.items(&about, AsOf::Now)?.into_iter().any(|item| {
            item.entry.number == number
                && matches!(&item.fact, Fact::Override(card) if card.circuit == spot.circuit && card.gate == name.word())
        });
        if !own {
            return Err(Problem::Missing("This decision does not stand any more.".into()));
        }
        let mut write = Write::new(key.as_str(), now, session.person.as_str());
        let card = WithdrawalCard { about: about.clone() };
        write.correct(number, Fact::Withdrawal(card), "the override was taken back");
        writing.write(&write)?;
        Ok(())
    })?;
    shown::judge_again(app, &spot.mould, &spot.visit, now, &session.person)?;
    Ok(Redirect::to(&address(spot)).into_response())
}
