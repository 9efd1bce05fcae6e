//! A mould that nobody has papers of: taken in by what is stamped on it and how many openings each half has.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::extract::{Form as Body, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use store::Fact;
use store::shapes::{HalfCard2, KnownWord, MouldCard, ProcessWord};

use super::edit::Filling;
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{KNOWN, count, known_word, name_fault};
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

const HERE: &str = "/take-in";
/// Halves, plates and slides that the form has room for (own choice); more are added on the mould's own page.
pub(crate) const HALVES: usize = 6;
/// Most openings of a half (own choice).
pub(crate) const OPENINGS: u32 = 200;
/// What a tool is for: value and words.
pub(crate) const PROCESSES: [(&str, &str); 2] =
    [("injection-moulding", "injection moulding"), ("die-casting", "die-casting")];

/// The page.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let mut typed = Typed::default();
        for (at, half) in ["fixed", "moving"].into_iter().enumerate() {
            typed.set(&half_field(at, "name"), half);
            typed.set(&half_field(at, "known"), "measured");
        }
        Ok(with(&app, session.as_ref(), &typed, &[]).into_response())
    })
    .await
}

/// Name of a field of a half.
pub(crate) fn half_field(at: usize, name: &str) -> String {
    format!("half-{at}.{name}")
}

fn label(name: &str) -> Option<String> {
    let words = match name {
        "id" => "Id".to_owned(),
        "name" => "What it makes".to_owned(),
        "owner" => "Whose tool it is".to_owned(),
        _ => return half_label(name),
    };
    Some(words)
}

/// What a field of a half is called.
pub(crate) fn half_label(name: &str) -> Option<String> {
    let (at, field) = name.strip_prefix("half-")?.split_once('.')?;
    let words = match field {
        "name" => "name",
        "openings" => "openings",
        _ => "how known",
    };
    Some(format!("Half {}, {words}", at.parse::<usize>().ok()? + 1))
}

/// The table of halves.
pub(crate) fn halves(filling: Filling<'_>, rows: usize) -> Markup {
    html! {
        table.grid.narrow {
            thead { tr { @for heading in ["Half, plate or slide", "Openings for water", "How known"] { th scope="col" { (heading) } } } }
            tbody { @for at in 0..rows { tr {
                @for name in ["name", "openings"] {
                    @let name = half_field(at, name);
                    @let label = half_label(&name).unwrap_or_default();
                    td { @if name.ends_with("openings") { (filling.number(&name, &label, "", false)) } @else { (filling.line(&name, &label, "", false)) } }
                }
                @let known = half_field(at, "known");
                td { (filling.choice(&known, &half_label(&known).unwrap_or_default(), "", &KNOWN)) }
            } } }
        }
    }
}

fn with(app: &App, session: Option<&Session>, typed: &Typed, faults: &[Fault]) -> Html<String> {
    let filling = Filling { form: "take-in", typed, faults };
    let content = html! {
        h1 { "Take in a mould without papers" }
        p.lead { "Begin with what is stamped on it and what can be counted. Its circuits are found next, by blowing or by watching; everything can be put right later." }
        @match Session::recording(session) {
            Some(session) => form.entry method="post" action=(HERE) novalidate {
                (summary("take-in", faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    (filling.line("id", "Id", "As stamped or tagged.", false))
                    (filling.line("name", "What it makes", "", true))
                    (filling.choice("process", "What it is for", "", &PROCESSES))
                    (filling.line("owner", "Whose tool it is", "If it belongs to another company.", true))
                }
                (halves(filling, HALVES))
                button type="submit" { "Take it in" }
            },
            None => (no_form(session, HERE)),
        }
    };
    let trail = [("Moulds".to_owned(), "/moulds".to_owned())];
    let page = Page { title: "Take in a mould", place: Place::Moulds, here: HERE, trail: &trail };
    page.html(app, session, &content)
}

/// Takes the form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, typed: &Typed) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, HERE.to_owned())?;
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), typed, faults)));
    let (moulds, before) = (read(app, |reader| Ok(reader.moulds()?))?, sent.before()?);
    let mut faults = Vec::new();
    let id = typed.get("id");
    faults.extend(name_fault("id", id));
    if !before && moulds.iter().any(|row| row.id == id) {
        faults.push(Fault::new(
            "id",
            format!("mould {id} is on record already"),
            "open it from the list of moulds",
        ));
    }
    let mould = MouldCard {
        mould: id.to_owned(),
        name: typed.given("name").unwrap_or("not named").to_owned(),
        process: process(typed),
        owner: typed.given("owner").map(str::to_owned),
    };
    let halves = read_halves(id, typed, HALVES, &mut faults);
    if halves.is_empty() && faults.is_empty() {
        faults.push(Fault::new(
            half_field(0, "name"),
            "no half is named",
            "name at least one, such as fixed",
        ));
    }
    if !faults.is_empty() {
        return again(&faults);
    }
    let mut what = vec![Say::new(Fact::Mould(mould))];
    what.extend(halves.into_iter().map(|(_, card)| Say::new(Fact::Half2(card))));
    match sent.record("", what, Vec::new())? {
        Ok(()) => Ok(Redirect::to(&format!("{}/find", layout::mould(id))).into_response()),
        Err(faults) => again(&faults),
    }
}

/// What it is for, as typed.
pub(crate) fn process(typed: &Typed) -> ProcessWord {
    if typed.get("process") == "die-casting" {
        ProcessWord::DieCasting
    } else {
        ProcessWord::InjectionMoulding
    }
}

/// The halves that were typed, with their rows.
pub(crate) fn read_halves(
    mould: &str,
    typed: &Typed,
    rows: usize,
    faults: &mut Vec<Fault>,
) -> Vec<(usize, HalfCard2)> {
    let (mut halves, mut names) = (Vec::new(), BTreeSet::new());
    for at in 0..rows {
        let (name, openings) = (half_field(at, "name"), half_field(at, "openings"));
        let half = typed.get(&name).to_owned();
        if half.is_empty() && typed.given(&openings).is_none() {
            continue;
        }
        faults.extend(name_fault(&name, &half));
        if !names.insert(half.clone()) {
            faults.push(Fault::new(
                name.as_str(),
                format!("{half} stands here twice"),
                "give each its own name",
            ));
        }
        let openings = count(typed, &openings, OPENINGS).unwrap_or_else(|fault| {
            faults.push(fault);
            None
        });
        let known = match openings {
            Some(_) => known_word(typed.get(&half_field(at, "known"))),
            None => KnownWord::Unknown,
        };
        halves.push((at, HalfCard2 { mould: mould.to_owned(), half, openings, known }));
    }
    halves
}
