//! The editor of a mould: its name, what it is for, whose it is, and its halves.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::html;
use store::shapes::MouldCard;
use store::{Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::take_in::{HALVES, PROCESSES, half_field, half_label, halves, process, read_halves};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{OnRecord, known_text, name_fault, on_record};
use crate::entry::say::{Posted, Say, nothing_changed, reason_missing};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

struct Shown {
    on: OnRecord,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, mould: &str) -> Result<Shown, Problem> {
    let on = on_record(reader, mould)?;
    let mut past = history(reader, &Subject::mould(mould), &["mould"])?;
    for half in on.half_names() {
        past.extend(history(reader, &Subject::half(mould, &half), &["half"])?);
    }
    past.sort_by_key(|entry| core::cmp::Reverse(entry.number));
    Ok(Shown { on, past })
}

fn address(mould: &str) -> String {
    format!("{}/edit", layout::mould(mould))
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(mould): Path<String>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, &mould))?;
        let typed = as_it_stands(&shown.on);
        Ok(with(&app, session.as_ref(), &shown, &typed, &[]).into_response())
    })
    .await
}

fn as_it_stands(on: &OnRecord) -> Typed {
    let mut typed = Typed::default();
    typed.set("name", &on.card.name);
    typed.set("owner", on.card.owner.as_deref().unwrap_or_default());
    let process = if on.card.process == store::shapes::ProcessWord::DieCasting { 1 } else { 0 };
    typed.set("process", PROCESSES.get(process).map_or("", |(value, _)| value));
    typed.set("known", &on.number.to_string());
    for (at, (half, number)) in on.halves.iter().enumerate() {
        typed.set(&half_field(at, "name"), &half.half);
        typed.set(
            &half_field(at, "openings"),
            &half.openings.map(|count| count.to_string()).unwrap_or_default(),
        );
        typed.set(&half_field(at, "known"), known_text(half.known));
        typed.set(&half_field(at, "entry"), &number.to_string());
    }
    typed
}

fn rows(on: &OnRecord) -> usize {
    HALVES.max(on.halves.len() + 2)
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let id = &shown.on.mould.id.0;
    let (here, filling) = (address(id), Filling { form: "mould", typed, faults });
    let label = |name: &str| match name {
        "name" => Some("What it makes".to_owned()),
        "owner" => Some("Whose tool it is".to_owned()),
        "reason" => Some("Why it changes".to_owned()),
        _ => half_label(name),
    };
    let content = html! {
        h1 { "Mould " (id) }
        @match Session::recording(session) {
            Some(session) => form.entry method="post" action=(here) novalidate {
                (summary("mould", faults, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(typed.get("known"));
                @for at in 0..shown.on.halves.len() {
                    @let name = half_field(at, "entry");
                    input type="hidden" name=(name) value=(typed.get(&name));
                }
                div.fields {
                    (filling.line("name", "What it makes", "", false))
                    (filling.choice("process", "What it is for", "", &PROCESSES))
                    (filling.line("owner", "Whose tool it is", "If it belongs to another company.", true))
                }
                (halves(filling, rows(&shown.on)))
                p.quiet { "A half that has a name keeps it: circuits rest on it." }
                (filling.reason())
                button type="submit" { "Record the change" }
            },
            None => (no_form(session, &here)),
        }
        (versions(&shown.past))
    };
    let trail = [("Moulds".to_owned(), "/moulds".to_owned()), (id.clone(), layout::mould(id))];
    let title = format!("Edit mould {id}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

/// Takes the form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(mould): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &mould, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, mould: &str, typed: &Typed) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, address(mould))?;
    if sent.before()? {
        return Ok(Redirect::to(&layout::mould(mould)).into_response());
    }
    let shown = read(app, |reader| gather(reader, mould))?;
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, typed, faults)));
    let mut faults: Vec<Fault> = name_fault("name", typed.get("name")).into_iter().collect();
    let card = MouldCard {
        mould: mould.to_owned(),
        name: typed.get("name").to_owned(),
        process: process(typed),
        owner: typed.given("owner").map(str::to_owned),
    };
    let mut what = Vec::new();
    if card != shown.on.card {
        what.push(Say { fact: Fact::Mould(card), instead_of: typed.get("known").parse().ok() });
    }
    let on = &shown.on;
    for (at, half) in read_halves(mould, typed, rows(on), &mut faults) {
        match on.halves.get(at) {
            Some((known, _)) if known.half != half.half => {
                let hint = format!("leave {} as it is, and add another one beneath", known.half);
                faults.push(Fault::new(half_field(at, "name"), "a half keeps its name", hint));
            }
            Some((known, _)) if *known == half => {}
            Some(_) => {
                let instead_of = typed.get(&half_field(at, "entry")).parse().ok();
                what.push(Say { fact: Fact::Half2(half), instead_of });
            }
            None => what.push(Say::new(Fact::Half2(half))),
        }
    }
    faults.extend(reason_missing(typed));
    if faults.is_empty() && what.is_empty() {
        faults.push(nothing_changed());
    }
    if !faults.is_empty() {
        return again(&faults);
    }
    match sent.record_of_mould(mould, typed.get("reason"), what)? {
        Ok(()) => Ok(Redirect::to(&layout::mould(mould)).into_response()),
        Err(faults) => again(&faults),
    }
}
