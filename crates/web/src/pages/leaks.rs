//! The leak hunt of a visit: outside first, then inside, then across; each leak with its place, cause, what was done, and the
//! reading that showed it tight again.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use bench::finding::{CircuitFinding, Tightness};
use bench::ladder::Step;
use calc::form::{Fault, Value};
use maud::{Markup, html};
use report::Units;
use report::pieces::tightness;
use store::shapes::{LeakCard, LeakCauseWord, ReadingCard, ShowsWord, SpotCard, WhatCard, WithdrawalCard};
use store::{AsOf, Fact, Item, Reader, Subject};

use super::bench::in_words;
use super::edit::Filling;
use super::visit::no_form;
use super::{blocking, cautions, read, unprocessable, visit_row};
use crate::app::App;
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown::{self, Shown as Found};
use crate::typed::{Typed, number};

const CAUSES: [(&str, LeakCauseWord, &str); 9] = [
    ("not-known", LeakCauseWord::NotKnown, "not known yet"),
    ("seal-left-out", LeakCauseWord::SealLeftOut, "seal left out"),
    ("seal-pinched", LeakCauseWord::SealPinched, "seal pinched"),
    ("seal-wrong-size", LeakCauseWord::SealWrongSize, "seal of the wrong size"),
    ("plug", LeakCauseWord::Plug, "plug"),
    ("fitting", LeakCauseWord::Fitting, "fitting"),
    ("crack", LeakCauseWord::Crack, "crack"),
    ("gland-pitted", LeakCauseWord::GlandPitted, "gland of the seal pitted"),
    ("wall-eaten-through", LeakCauseWord::WallEatenThrough, "wall eaten through"),
];
const SHOWS: [(&str, ShowsWord, &str); 4] = [
    ("outside", ShowsWord::Outside, "outside the mould"),
    ("inside", ShowsWord::Inside, "inside: at the cavity or between plates"),
    ("across", ShowsWord::Across, "in another circuit"),
    ("nothing-outside", ShowsWord::NothingOutside, "looked outside: nothing"),
];
const LABELS: [(&str, &str); 9] = [
    ("circuit", "Circuit"),
    ("shows", "Where it shows"),
    ("place", "The place in words"),
    ("cause", "Cause"),
    ("done", "What was done"),
    ("tight_by", "Tight again by"),
    ("half", "On the drawing of"),
    ("x_mm", "To the right"),
    ("y_mm", "Up"),
];

/// A cause in words.
pub(crate) fn cause_words(cause: LeakCauseWord) -> &'static str {
    CAUSES.iter().find(|(_, known, _)| *known == cause).map_or("", |(.., words)| words)
}

fn shows_words(shows: ShowsWord) -> &'static str {
    SHOWS.iter().find(|(_, known, _)| *known == shows).map_or("", |(.., words)| words)
}

fn label(name: &str) -> Option<String> {
    LABELS.iter().find(|(known, _)| *known == name).map(|(_, words)| (*words).to_owned())
}

/// The leaks that stand on record for a mould, over all visits.
pub(crate) fn leaks_of(reader: &Reader<'_>, mould: &str) -> Result<Vec<(LeakCard, Item)>, Problem> {
    let leak = |item: Item| match &item.fact {
        Fact::Leak(card) => Some((card.clone(), item)),
        _ => None,
    };
    Ok(reader.leaks(mould, AsOf::Now)?.into_iter().filter_map(leak).collect())
}

/// The leaks of one visit.
pub(crate) fn leaks_in(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
) -> Result<Vec<(LeakCard, Item)>, Problem> {
    let mut all = leaks_of(reader, mould)?;
    all.retain(|(card, _)| card.visit == visit);
    Ok(all)
}

struct Shown {
    mould: String,
    visit: String,
    running: bool,
    halves: Vec<String>,
    leaks: Vec<(LeakCard, Item)>,
    /// Leak-downs of the visit: first entry, circuit, words.
    held: Vec<(u64, String, String)>,
    found: Found,
}

fn gather(app: &App, reader: &Reader<'_>, units: Units, mould: &str, visit: &str) -> Result<Shown, Problem> {
    let row = visit_row(reader, mould, visit)?;
    let leak_down = |card: &ReadingCard| matches!(card.what, WhatCard::LeakDown { .. });
    let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
    let held = items.iter().filter_map(|item| match &item.fact {
        Fact::Reading(card) if leak_down(card) => {
            Some((item.root, card.circuit.clone().unwrap_or_default(), in_words(card, units)))
        }
        _ => None,
    });
    Ok(Shown {
        mould: mould.to_owned(),
        visit: visit.to_owned(),
        running: row.outcome.is_none(),
        halves: reader.halves(mould)?,
        leaks: leaks_in(reader, mould, visit)?,
        held: held.collect(),
        found: shown::of(app, reader, mould, visit)?,
    })
}

/// The form that is answered: the root of a leak, or 0 for a new one.
struct Answer<'a> {
    root: u64,
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
        let shown =
            read(&app, |reader| gather(&app, reader, Session::units_of(session.as_ref()), &mould, &visit))?;
        Ok(with(&app, session.as_ref(), &shown, None).into_response())
    })
    .await
}

fn address(mould: &str, visit: &str) -> String {
    format!("{}/leaks", layout::visit(mould, visit))
}

fn with(app: &App, session: Option<&Session>, shown: &Shown, answer: Option<&Answer<'_>>) -> Html<String> {
    let (mould, visit) = (&shown.mould, &shown.visit);
    let here = address(mould, visit);
    let leaking: Vec<&CircuitFinding> =
        shown.found.findings.circuits.iter().filter(|found| leaks(found)).collect();
    let content = html! {
        h1 { "Leak hunt" }
        @if leaking.is_empty() { p.lead { "No circuit is known to leak." } }
        @else {
            p.lead { "To look for: " @for (at, found) in leaking.iter().enumerate() {
                @if at > 0 { ", " } a href=(layout::bench(mould, visit, &found.id.0)) { (found.id) } " (" (tightness(found)) ")"
            } "." }
        }
        (cautions(Step::FindLeak.cautions()))
        // The order is common practice, no source.
        ol.hunt {
            li { strong { "Outside first." } " Soap water or a leak spray on hose ends and couplings, then fittings, plugs, and the seals that can be seen." }
            li { strong { "Then inside." } " Fill with water if the gate allows it, and look at the cavity and between the plates: seals between insert and plate, cracks." }
            li { strong { "Then across." } " Where everything stays dry, " a href={ (layout::visit(mould, visit)) "/across" } { "charge one circuit and watch the others" } ". A leak across is a wall eaten through until shown otherwise: no acid." }
        }
        section aria-labelledby="found" {
            h2 #found { "Leaks of this visit" }
            p.ways { a.button href={ (layout::visit(mould, visit)) "/photos" } { "Photos of the visit and its leaks" } }
            @if shown.leaks.is_empty() { p { "None is noted yet." } }
            @for (card, item) in &shown.leaks { (one(Session::recording(session).filter(|_| shown.running), shown, card, item, &here, answer)) }
        }
        @match Session::recording(session).filter(|_| shown.running) {
            Some(session) => (new_one(session, shown, &here, &leaking, answer)),
            None if shown.running => (no_form(session, &here)),
            None => p { "This visit has ended." },
        }
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.clone(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
    ];
    let title = format!("Leak hunt, {mould}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn leaks(found: &CircuitFinding) -> bool {
    matches!(found.tightness, Tightness::Leaks | Tightness::LeaksAcross | Tightness::LeaksOut)
}

/// A leak and how far it has come.
fn one(
    session: Option<&Session>,
    shown: &Shown,
    card: &LeakCard,
    item: &Item,
    here: &str,
    answer: Option<&Answer<'_>>,
) -> Markup {
    let own = answer.filter(|answer| answer.root == item.root);
    let standing = typed_of(card);
    let form = format!("leak-{}", item.root);
    let (typed, faults) = own.map_or((&standing, &[][..]), |own| (own.typed, own.faults));
    let by = card.tight_by.map(|root| shown.held.iter().find(|(known, ..)| *known == root));
    html! {
        div.leak {
            p data-as-typed="numbers" {
                strong { (card.circuit) ": " (cause_words(card.cause)) }
                ", " (shows_words(card.shows)) @if !card.place.is_empty() { ": " span translate="no" { (card.place) } }
                span.under {
                    @match &card.done { Some(done) => { "Done: " span translate="no" { (done) } ". " }, None => "Nothing done yet. " }
                    @match by {
                        Some(Some((root, _, words))) => { "Tight again by entry " (root) ": " (words) "." },
                        Some(None) => "The reading that showed it tight again was withdrawn.",
                        None => "Not shown tight again yet.",
                    }
                }
                @if let Some(spot) = &card.spot {
                    span.under { "On the " (spot.half) " half, " (spot.x_mm) " mm right, " (spot.y_mm) " mm up. "
                        a href={ (layout::mould(&shown.mould)) "/halves/" (layout::encoded(&spot.half)) } { "Drawing" } }
                }
                span.under { "Entry " (item.entry.number) ", " (item.entry.person) }
            }
            @if let Some(session) = Session::recording(session) {
                details open[own.is_some()] {
                    summary { "Go on with it" }
                    form.entry method="post" action={ (here) "/" (item.root) } novalidate {
                        (summary(&form, faults, label))
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="known" value=(item.entry.number);
                        (fields(shown, Filling { form: &form, typed, faults }))
                        button type="submit" name="do" value="record" { "Record" }
                        " " button.quiet-button type="submit" name="do" value="withdraw" { "It was no leak" }
                    }
                }
            }
        }
    }
}

fn new_one(
    session: &Session,
    shown: &Shown,
    here: &str,
    leaking: &[&CircuitFinding],
    answer: Option<&Answer<'_>>,
) -> Markup {
    let own = answer.filter(|answer| answer.root == 0);
    let mut first = Typed::default();
    first.set("circuit", leaking.first().map_or("", |found| &found.id.0));
    let (typed, faults) = own.map_or((&first, &[][..]), |own| (own.typed, own.faults));
    html! {
        section aria-labelledby="new" {
            h2 #new { "Note a leak" }
            form.entry method="post" action={ (here) "/0" } novalidate {
                (summary("leak-0", faults, label))
                (sealed(session, &fresh_key()))
                (fields(shown, Filling { form: "leak-0", typed, faults }))
                button type="submit" name="do" value="record" { "Record the leak" }
            }
        }
    }
}

fn fields(shown: &Shown, filling: Filling<'_>) -> Markup {
    let mut circuits = vec![(String::new(), "choose".to_owned())];
    circuits
        .extend(shown.found.findings.circuits.iter().map(|found| (found.id.0.clone(), found.id.0.clone())));
    let mut held = vec![(String::new(), "not yet".to_owned())];
    held.extend(
        shown
            .held
            .iter()
            .map(|(root, circuit, words)| (root.to_string(), format!("{circuit}, entry {root}: {words}"))),
    );
    let mut halves = vec![(String::new(), "none".to_owned())];
    halves.extend(shown.halves.iter().map(|half| (half.clone(), half.clone())));
    let shows: Vec<(&str, &str)> = SHOWS.iter().map(|(value, _, words)| (*value, *words)).collect();
    let causes: Vec<(&str, &str)> = CAUSES.iter().map(|(value, _, words)| (*value, *words)).collect();
    html! {
        div.fields {
            (filling.choice("circuit", "Circuit", "", &circuits))
            (filling.choice("shows", "Where it shows", "", &shows))
            (filling.line("place", "The place in words", "", true))
            (filling.choice("cause", "Cause", "", &causes))
            (filling.line("done", "What was done", "", true))
            (filling.choice("tight_by", "Tight again by", "The leak-down that showed it.", &held))
        }
        details.spot open[filling.typed.given("half").is_some()] {
            summary { "Pin it on the drawing of its half" }
            div.fields {
                (filling.choice("half", "On the drawing of", "Or click its place there, once it is recorded.", &halves))
                (filling.number("x_mm", "To the right", "", true))
                (filling.number("y_mm", "Up", "", true))
            }
        }
    }
}

fn typed_of(card: &LeakCard) -> Typed {
    let mut typed = Typed::default();
    typed.set("circuit", &card.circuit);
    typed.set(
        "shows",
        SHOWS.iter().find(|(_, known, _)| *known == card.shows).map_or("", |(value, ..)| value),
    );
    typed.set("place", &card.place);
    typed.set(
        "cause",
        CAUSES.iter().find(|(_, known, _)| *known == card.cause).map_or("", |(value, ..)| value),
    );
    typed.set("done", card.done.as_deref().unwrap_or_default());
    typed.set("tight_by", &card.tight_by.map(|root| root.to_string()).unwrap_or_default());
    if let Some(spot) = &card.spot {
        typed.set("half", &spot.half);
        typed.set("x_mm", &spot.x_mm.to_string());
        typed.set("y_mm", &spot.y_mm.to_string());
    }
    typed
}

fn card(shown: &Shown, typed: &Typed) -> Result<LeakCard, Vec<Fault>> {
    let mut faults = Vec::new();
    let circuit = typed.get("circuit");
    if !shown.found.findings.circuits.iter().any(|found| found.id.0 == circuit) {
        faults.push(Fault::new("circuit", "not chosen", "choose the circuit that leaks"));
    }
    let shows = SHOWS.iter().find(|(value, ..)| *value == typed.get("shows")).map(|(_, word, _)| *word);
    let cause = CAUSES.iter().find(|(value, ..)| *value == typed.get("cause")).map(|(_, word, _)| *word);
    let tight_by = typed.given("tight_by").and_then(|text| {
        let reading = shown.held.iter().find(|(root, ..)| root.to_string() == text);
        match reading {
            Some((root, of, _)) if of == circuit => Some(*root),
            Some((_, of, _)) => {
                faults.push(Fault::new(
                    "tight_by",
                    format!("this is a reading of {of}"),
                    "choose one of the same circuit",
                ));
                None
            }
            None => {
                faults.push(Fault::new("tight_by", "no such leak-down", "choose one of this visit"));
                None
            }
        }
    });
    let spot = spot(shown, typed).unwrap_or_else(|more| {
        faults.extend(more);
        None
    });
    if !faults.is_empty() {
        return Err(faults);
    }
    Ok(LeakCard {
        mould: shown.mould.clone(),
        visit: shown.visit.clone(),
        circuit: circuit.to_owned(),
        shows: shows.unwrap_or(ShowsWord::Outside),
        place: typed.get("place").to_owned(),
        spot,
        cause: cause.unwrap_or(LeakCauseWord::NotKnown),
        done: typed.given("done").map(str::to_owned),
        tight_by,
    })
}

fn spot(shown: &Shown, typed: &Typed) -> Result<Option<SpotCard>, Vec<Fault>> {
    let one = |name: &str| match typed.given(name).map(number) {
        Some(Value::Number(value)) if value.abs() < 1e5 => Ok(value),
        Some(_) => Err(Fault::new(name, "not a number", "give mm")),
        None => Err(Fault::new(name, "missing", "give mm, or choose no drawing")),
    };
    let Some(half) = typed.given("half") else {
        let stray = ["x_mm", "y_mm"].into_iter().filter(|name| typed.given(name).is_some());
        let faults: Vec<Fault> = stray
            .map(|_| Fault::new("half", "not chosen", "choose the half that it lies on"))
            .take(1)
            .collect();
        return if faults.is_empty() { Ok(None) } else { Err(faults) };
    };
    if !shown.halves.iter().any(|known| known == half) {
        return Err(vec![Fault::new("half", "no such half", "choose one of the list")]);
    }
    match (one("x_mm"), one("y_mm")) {
        (Ok(x_mm), Ok(y_mm)) => Ok(Some(SpotCard { half: half.to_owned(), x_mm, y_mm })),
        (x, y) => Err([x.err(), y.err()].into_iter().flatten().collect()),
    }
}

/// Takes a form: a new leak, or one that goes on.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, root)): Path<(String, String, u64)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, (&mould, &visit), root, &typed)).await
}

fn take(
    app: &App,
    headers: &HeaderMap,
    (mould, visit): (&str, &str),
    root: u64,
    typed: &Typed,
) -> Result<Response, Problem> {
    let here = address(mould, visit);
    let sent = Posted::of(app, headers, typed, here.clone())?;
    let done = || Ok(Redirect::to(&format!("{here}#found")).into_response());
    if sent.before()? {
        return done();
    }
    let shown = read(app, |reader| gather(app, reader, sent.session.units, mould, visit))?;
    let again = |faults: &[Fault]| {
        Ok(unprocessable(with(app, Some(&sent.session), &shown, Some(&Answer { root, typed, faults }))))
    };
    if !shown.running {
        return again(&[Fault::new("", "this visit has ended", "begin a new visit of the mould")]);
    }
    let instead_of = typed.get("known").parse().ok().filter(|_| root > 0);
    let (fact, reason) = if typed.get("do") == "withdraw" && instead_of.is_some() {
        (Fact::Withdrawal(WithdrawalCard { about: Subject::visit(mould, visit) }), "it was no leak")
    } else {
        match card(&shown, typed) {
            Ok(card) => (Fact::Leak(card), if instead_of.is_some() { "gone on with" } else { "" }),
            Err(faults) => return again(&faults),
        }
    };
    match sent.record(reason, vec![Say { fact, instead_of }], Vec::new())? {
        Ok(()) => done(),
        Err(faults) => again(&faults),
    }
}
