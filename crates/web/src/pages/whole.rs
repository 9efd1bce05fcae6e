//! What a visit records of no single circuit: the whole mould, and the rig on a known thing.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use report::Parts;
use report::pieces::moment;
use store::shapes::{ReadingCard, WithdrawalCard};
use store::{AsOf, Fact, Item, Subject};

use super::bench::{field, in_words};
use super::visit::no_form;
use super::{blocking, read, visit_row};
use crate::app::App;
use crate::entry::definitions::Form;
use crate::entry::reading::{Spot, record, running};
use crate::entry::say::{Posted, Say};
use crate::entry::whole::{FILLING, FILLINGS, MOULD, RIG, form, label, understood};
use crate::entry::{key, sender, somebody};
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown;
use crate::typed::Typed;
use crate::units::unit;

/// A form that is answered with what is wrong.
struct Answer<'a> {
    /// Word of the form; of a withdrawal the number of the entry.
    word: &'a str,
    typed: &'a Typed,
    faults: &'a [Fault],
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let spot = Spot { mould, visit, circuit: String::new() };
        Ok(with(&app, session.as_ref(), &spot, None)?.into_response())
    })
    .await
}

fn address(spot: &Spot) -> String {
    format!("{}/whole", layout::visit(&spot.mould, &spot.visit))
}

fn with(
    app: &App,
    session: Option<&Session>,
    spot: &Spot,
    answer: Option<&Answer<'_>>,
) -> Result<Html<String>, Problem> {
    let Spot { mould, visit, .. } = spot;
    let (items, open, shown) = read(app, |reader| {
        let row = visit_row(reader, mould, visit)?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        Ok((items, row.outcome.is_none(), shown::of(app, reader, mould, visit)?))
    })?;
    let readings: Vec<(&Item, &ReadingCard)> = items
        .iter()
        .filter_map(|item| match &item.fact {
            Fact::Reading(card) if card.circuit.is_none() => Some((item, card)),
            _ => None,
        })
        .collect();
    let way = |_: usize| String::new();
    let parts = Parts::new(&shown.findings, &way);
    let [_, rig, _] = parts.doubts();
    let here = address(spot);
    let content = html! {
        h1 { "Whole mould and rig" }
        @match Session::recording(session).filter(|_| open) {
            Some(session) => {
                section aria-labelledby="whole" {
                    h2 #whole { "The whole mould" }
                    @for form in MOULD { (form_of(session, &here, form, answer)) }
                }
                section aria-labelledby="rig-check" {
                    h2 #rig-check { "The rig on a known thing" }
                    p { "A reading on something that is known shows whether a gauge or the flow meter is off, and what the hoses take." }
                    @for form in RIG { (form_of(session, &here, form, answer)) }
                }
            },
            None if open => (no_form(session, &here)),
            None => p { "This visit has ended." },
        }
        (rig)
        section aria-labelledby="readings" {
            h2 #readings { "On record in this visit" }
            @if readings.is_empty() { p { "Nothing yet." } }
            ol.record { @for (item, card) in &readings { li {
                p {
                    strong data-as-typed="numbers" { (in_words(card, Session::units_of(session))) }
                    span.under { "entry " (item.entry.number) ", " (item.entry.person) @if let Some(at) = card.at { ", " (moment(at)) } }
                }
                @if let Some(session) = Session::recording(session).filter(|_| open) { (withdrawal(session, &here, item.entry.number, answer)) }
            } } }
        }
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.clone(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
    ];
    let title = format!("Whole mould and rig, {mould}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

fn form_of(session: &Session, here: &str, form: &'static Form, answer: Option<&Answer<'_>>) -> Markup {
    let own = answer.filter(|answer| answer.word == form.word);
    let nothing = Typed::default();
    let (typed, faults) = own.map_or((&nothing, &[][..]), |own| (own.typed, own.faults));
    html! {
        details.form open[own.is_some()] {
            summary { (form.title) }
            form.entry method="post" novalidate action={ (here) "/enter/" (form.word) } {
                (summary(form.word, faults, |name| label(form, name)))
                p { (form.intro) }
                @if let Some(step) = form.step { ul.small-cautions { @for text in step.cautions() { li { (text) } } } }
                (sealed(session, &fresh_key()))
                div.fields { @for asked in form.fields { (field(form, asked, typed, session).html(faults)) } }
                @if form.word == "bucket" { (fillings(form, typed, session, faults)) }
                button type="submit" { "Record" }
            }
        }
    }
}

/// Room for further fillings of the bucket.
fn fillings(form: &'static Form, typed: &Typed, session: &Session, faults: &[Fault]) -> Markup {
    let cell = |at: usize, name: &str| {
        let name = format!("repeats.{at}.{name}");
        let (label, value) = (label(form, &name).unwrap_or_default(), typed.get(&name));
        Field {
            form: form.word,
            name: &name,
            label: &label,
            help: "",
            unit: "",
            optional: false,
            control: Control::Number,
            value,
        }
        .html(faults)
    };
    html! {
        table.grid {
            caption { "Further fillings" }
            thead { tr { th scope="col" { "Filling" } @for name in FILLING {
                th scope="col" { (form.label(name).unwrap_or_default()) span.unit { ", " (session.units.shown(unit(name))) } }
            } } }
            tbody { @for at in 0..FILLINGS { tr {
                th scope="row" { (at + 2) }
                @for name in FILLING { td { (cell(at, name)) } }
            } } }
        }
    }
}

fn withdrawal(session: &Session, here: &str, number: u64, answer: Option<&Answer<'_>>) -> Markup {
    let word = number.to_string();
    let own = answer.filter(|answer| answer.word == word);
    let form = format!("withdraw-{number}");
    let reason = Field {
        form: &form,
        name: "reason",
        label: "Why it does not hold",
        help: "It stays in the history, with this reason; it no longer counts.",
        unit: "",
        optional: false,
        control: Control::Line,
        value: "",
    };
    html! {
        details open[own.is_some()] {
            summary { "Withdraw" }
            form.entry method="post" novalidate action={ (here) "/withdraw/" (number) } {
                (sealed(session, &fresh_key()))
                (reason.html(own.map_or(&[][..], |own| own.faults)))
                button type="submit" { "Withdraw" }
            }
        }
    }
}

/// Takes a form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, word)): Path<(String, String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit: String::new() }, Typed::new(pairs));
    blocking(move || take(&app, &headers, &spot, &word, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, spot: &Spot, word: &str, typed: &Typed) -> Result<Response, Problem> {
    let form = form(word).ok_or_else(|| Problem::Missing(format!("There is no form {word}.")))?;
    let session = sender(app, headers, typed, address(spot))?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let again = |faults: &[Fault]| {
        let page = with(app, Some(&session), spot, Some(&Answer { word, typed, faults }))?;
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    };
    let read = match understood(app, spot, form, typed, session.units, now)? {
        Ok(read) => read,
        Err(faults) => return again(&faults),
    };
    if record(app, spot, &session, &key, &read, false, now)?.is_none() {
        return again(&[Fault::new(
            "",
            "this form was recorded already, with other values",
            "send it again to record these too",
        )]);
    }
    shown::judge_again(app, &spot.mould, &spot.visit, now, &session.person)?;
    Ok(Redirect::to(&format!("{}#readings", address(spot))).into_response())
}

/// Withdraws one of the readings of this page.
pub(crate) async fn withdraw(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, number)): Path<(String, String, u64)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit: String::new() }, Typed::new(pairs));
    blocking(move || take_back(&app, &headers, &spot, number, &typed)).await
}

fn take_back(
    app: &App,
    headers: &HeaderMap,
    spot: &Spot,
    number: u64,
    typed: &Typed,
) -> Result<Response, Problem> {
    let (sent, word) = (Posted::of(app, headers, typed, address(spot))?, number.to_string());
    let about = Subject::visit(&spot.mould, &spot.visit);
    let entry = app.store.read(|reader| {
        running(reader, spot)?;
        reader.entry(number)
    })?;
    let own = entry.subject == about.as_str()
        && matches!(entry.fact()?, Fact::Reading(card) if card.circuit.is_none());
    if !own {
        return Err(Problem::Missing("This reading is not among those of the whole mould.".into()));
    }
    let say = Say { fact: Fact::Withdrawal(WithdrawalCard { about }), instead_of: Some(number) };
    if let Err(faults) = sent.record(typed.get("reason"), vec![say], Vec::new())? {
        let answer = Answer { word: &word, typed, faults: &faults };
        let page = with(app, Some(&sent.session), spot, Some(&answer))?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    shown::judge_again(app, &spot.mould, &spot.visit, sent.now, &sent.session.person)?;
    Ok(Redirect::to(&format!("{}#readings", address(spot))).into_response())
}
