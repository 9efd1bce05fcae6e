//! The editor of an instrument, and its calibrations.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use exchange::shapes::date;
use maud::{Markup, html};
use store::shapes::{CalibrationCard, InstrumentCard, WithdrawalCard};
use store::{AsOf, Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::rigs::{today, until};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::calibration::MEASURES;
use crate::entry::mould::name_fault;
use crate::entry::say::{Posted, Say, nothing_changed, reason_missing};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{Page, Place, encoded};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

/// An instrument on record, or none yet.
struct Shown {
    id: Option<String>,
    card: Option<(InstrumentCard, u64)>,
    calibrations: Vec<(CalibrationCard, u64)>,
    rigs: Vec<String>,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, id: Option<&str>) -> Result<Shown, Problem> {
    let rigs = reader.rigs()?;
    let Some(id) = id else {
        return Ok(Shown { id: None, card: None, calibrations: Vec::new(), rigs, past: Vec::new() });
    };
    let about = Subject::instrument(id);
    let (mut card, mut calibrations) = (None, Vec::new());
    for item in reader.items(&about, AsOf::Now)? {
        match item.fact {
            Fact::Instrument(known) => card = Some((known, item.entry.number)),
            Fact::Calibration(known) => calibrations.push((known, item.entry.number)),
            _ => {}
        }
    }
    let card = card.ok_or_else(|| Problem::Missing(format!("There is no instrument {id}.")))?;
    calibrations.sort_by(|(a, _), (b, _)| b.until.cmp(&a.until));
    let past = history(reader, &about, &["instrument", "calibration", "withdrawal"])?;
    Ok(Shown { id: Some(id.to_owned()), card: Some(card), calibrations, rigs, past })
}

fn address(id: Option<&str>) -> String {
    id.map_or_else(|| "/new-instrument".to_owned(), |id| format!("/instruments/{}", encoded(id)))
}

/// The editor of an instrument that is not on record yet.
pub(crate) async fn new(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    show(app, headers, None).await
}

/// The editor of an instrument.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
) -> Response {
    show(app, headers, Some(id)).await
}

async fn show(app: Arc<App>, headers: HeaderMap, id: Option<String>) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, id.as_deref()))?;
        Ok(with(&app, session.as_ref(), &shown, "", &as_it_stands(&shown), &[]).into_response())
    })
    .await
}

fn as_it_stands(shown: &Shown) -> Typed {
    let mut typed = Typed::default();
    if let Some((card, number)) = &shown.card {
        typed.set("rig", card.rig.as_deref().unwrap_or_default());
        typed.set("measures", &card.measures);
        typed.set("known", &number.to_string());
    }
    typed
}

fn label(name: &str) -> Option<String> {
    let words = match name {
        "id" => "Inventory or serial number",
        "measures" => "What it measures",
        "on" => "Calibrated on",
        "until" => "Holds until",
        "by" => "Calibrated by",
        "number" => "Number of its paper",
        "reason" => "Why it changes",
        _ => return None,
    };
    Some(words.to_owned())
}

/// The page; `word` says which of its forms is answered.
fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    word: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let here = address(shown.id.as_deref());
    let today = today();
    let content = html! {
        h1 { @match &shown.id { Some(id) => { "Instrument " (id) }, None => "A new instrument" } }
        @if shown.card.is_some() { p.lead { "Its calibration: " (until(shown.calibrations.first().map(|(card, _)| card.until.as_str()), &today)) } }
        @match Session::recording(session) {
            Some(session) => {
                @if shown.card.is_some() { (calibrate(session, &here, word, typed, faults)) }
                (editor(session, shown, &here, word, typed, faults))
            },
            None => (no_form(session, &here)),
        }
        @if !shown.calibrations.is_empty() {
            section aria-labelledby="calibrations" {
                h2 #calibrations { "Calibrations" }
                ul.rows { @for (card, number) in &shown.calibrations { li {
                    (card.on) ", " (until(Some(&card.until), &today)) ", by " (card.by) @if let Some(paper) = &card.number { ", paper " (paper) }
                    @if let Some(session) = Session::recording(session) { (withdrawal(session, &here, *number, word, faults)) }
                } } }
            }
        }
        (versions(&shown.past))
    };
    let trail = [("Rigs".to_owned(), "/rigs".to_owned())];
    let page = Page { title: "Instrument", place: Place::Rigs, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn editor(
    session: &Session,
    shown: &Shown,
    here: &str,
    word: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Markup {
    let standing = as_it_stands(shown);
    let own = word == "instrument";
    let filling = Filling {
        form: "instrument",
        typed: if own { typed } else { &standing },
        faults: if own { faults } else { &[] },
    };
    let mut rigs = vec![(String::new(), "none".to_owned())];
    rigs.extend(shown.rigs.iter().map(|rig| (rig.clone(), rig.clone())));
    let mut measures: Vec<(String, String)> =
        MEASURES.map(|(value, words)| (value.to_owned(), words.to_owned())).to_vec();
    // A word of the plant's own from elsewhere stays to be chosen.
    let known = filling.typed.get("measures");
    if !known.is_empty() && !measures.iter().any(|(value, _)| value == known) {
        measures.push((known.to_owned(), known.to_owned()));
    }
    html! {
        details.form open[shown.card.is_none() || own] {
            summary { @if shown.card.is_none() { "What it is" } @else { "Change what it is" } }
            form.entry method="post" action=(here) novalidate {
                (summary("instrument", filling.faults, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(filling.typed.get("known"));
                div.fields {
                    @if shown.id.is_none() { (filling.line("id", "Inventory or serial number", "", false)) }
                    (filling.choice("measures", "What it measures", "", &measures))
                    (filling.choice("rig", "Rig that it belongs to", "", &rigs))
                }
                @if shown.card.is_some() { (filling.reason()) }
                button type="submit" { "Record the instrument" }
            }
        }
    }
}

fn calibrate(session: &Session, here: &str, word: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let own = word == "calibrated";
    let nothing = Typed::default();
    let filling = Filling {
        form: "calibrated",
        typed: if own { typed } else { &nothing },
        faults: if own { faults } else { &[] },
    };
    html! {
        details.form open[own] {
            summary { "It was calibrated" }
            form.entry method="post" action={ (here) "/calibrated" } novalidate {
                (summary("calibrated", filling.faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    (filling.line("on", "Calibrated on", "YYYY-MM-DD", false))
                    (filling.line("until", "Holds until", "YYYY-MM-DD", false))
                    (filling.line("by", "Calibrated by", "", false))
                    (filling.line("number", "Number of its paper", "", true))
                }
                button type="submit" { "Record the calibration" }
            }
        }
    }
}

fn withdrawal(session: &Session, here: &str, number: u64, word: &str, faults: &[Fault]) -> Markup {
    let form = format!("withdraw-{number}");
    let own = word == form;
    let nothing = Typed::default();
    let filling = Filling { form: &form, typed: &nothing, faults: if own { faults } else { &[] } };
    html! {
        details open[own] {
            summary { "Withdraw" }
            form.entry method="post" action={ (here) "/withdraw" } data-form=(number) novalidate {
                (sealed(session, &fresh_key()))
                input type="hidden" name="entry" value=(number);
                (filling.line("reason", "Why it does not hold", "It stays in the history.", false))
                button type="submit" { "Withdraw this calibration" }
            }
        }
    }
}

/// Takes a new instrument.
pub(crate) async fn enter_new(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, None, &typed, "instrument", instrument)).await
}

/// Takes a change of an instrument.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, Some(&id), &typed, "instrument", instrument)).await
}

/// Takes a calibration.
pub(crate) async fn calibrated(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, Some(&id), &typed, "calibrated", calibration)).await
}

/// Withdraws a calibration.
pub(crate) async fn withdraw(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    let word = format!("withdraw-{}", typed.get("entry"));
    blocking(move || take(&app, &headers, Some(&id), &typed, &word, withdrawn)).await
}

type Understood = Result<Say, Vec<Fault>>;

fn missing(typed: &Typed, name: &str, hint: &str) -> Option<Fault> {
    typed.given(name).is_none().then(|| Fault::new(name, "missing", hint))
}

fn instrument(shown: &Shown, typed: &Typed) -> Understood {
    let mut faults = Vec::new();
    let id = shown.id.as_deref().unwrap_or_else(|| typed.get("id"));
    if shown.id.is_none() {
        faults.extend(name_fault("id", id));
    } else {
        faults.extend(reason_missing(typed));
    }
    faults.extend(missing(typed, "measures", "choose what it measures"));
    let rig = typed.given("rig").map(str::to_owned);
    let card = InstrumentCard { instrument: id.to_owned(), rig, measures: typed.get("measures").to_owned() };
    if faults.is_empty() && shown.card.as_ref().is_some_and(|(known, _)| *known == card) {
        faults.push(nothing_changed());
    }
    let instead_of = typed.get("known").parse().ok().filter(|_| shown.card.is_some());
    if faults.is_empty() { Ok(Say { fact: Fact::Instrument(card), instead_of }) } else { Err(faults) }
}

fn calibration(shown: &Shown, typed: &Typed) -> Understood {
    let mut faults: Vec<Fault> = missing(typed, "by", "say who calibrated it").into_iter().collect();
    let mut day = |name: &str| match typed.given(name).map(date) {
        Some(Ok(day)) => Some(day),
        Some(Err(fault)) => {
            faults.push(fault.under(name));
            None
        }
        None => {
            faults.push(Fault::new(name, "missing", "give a day as YYYY-MM-DD"));
            None
        }
    };
    if let (Some(on), Some(until)) = (day("on"), day("until"))
        && until < on
    {
        faults.push(Fault::new("until", "before the day of the calibration", "are the two exchanged?"));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let text = |name: &str| typed.get(name).to_owned();
    Ok(Say::new(Fact::Calibration(CalibrationCard {
        instrument: shown.id.clone().unwrap_or_default(),
        on: text("on"),
        until: text("until"),
        by: text("by"),
        number: typed.given("number").map(str::to_owned),
    })))
}

fn withdrawn(shown: &Shown, typed: &Typed) -> Understood {
    let faults: Vec<Fault> = missing(typed, "reason", "say why it does not hold").into_iter().collect();
    if !faults.is_empty() {
        return Err(faults);
    }
    let number = shown.calibrations.iter().find(|(_, number)| number.to_string() == typed.get("entry"));
    let (_, number) =
        number.ok_or_else(|| vec![Fault::new("", "this calibration is not here any more", "look again")])?;
    let about = Subject::instrument(shown.id.as_deref().unwrap_or_default());
    Ok(Say { fact: Fact::Withdrawal(WithdrawalCard { about }), instead_of: Some(*number) })
}

fn take(
    app: &App,
    headers: &HeaderMap,
    id: Option<&str>,
    typed: &Typed,
    word: &str,
    understood: impl FnOnce(&Shown, &Typed) -> Understood,
) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, address(id))?;
    let done = || Ok(Redirect::to(&address(Some(id.unwrap_or_else(|| typed.get("id"))))).into_response());
    if sent.before()? {
        return done();
    }
    let (shown, known) = read(app, |reader| Ok((gather(reader, id)?, reader.instruments()?)))?;
    let again =
        |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, word, typed, faults)));
    if id.is_none() && known.iter().any(|row| row.id == typed.get("id")) {
        return again(&[Fault::new(
            "id",
            "this instrument is on record already",
            "open it from the list of rigs",
        )]);
    }
    let say = match understood(&shown, typed) {
        Ok(say) => say,
        Err(faults) => return again(&faults),
    };
    match sent.record(typed.get("reason"), vec![say], Vec::new())? {
        Ok(()) => done(),
        Err(faults) => again(&faults),
    }
}
