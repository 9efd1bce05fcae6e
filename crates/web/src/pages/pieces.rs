//! The editor of a circuit's pieces, in flow order.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Kind, Need, Preset, Value};
use exchange::one_mould::piece_kinds;
use exchange::shapes::pieces_value;
use maud::{Markup, html};
use report::pieces::{capital, exact};
use store::{Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{KNOWN, OnRecord, circuit_said, on_record, pieces_card, pieces_known};
use crate::entry::pieces::{BRANCHES, Row, field, fields_of, list, rows, typed_rows};
use crate::entry::say::{Posted, Say, reason_missing};
use crate::entry::somebody;
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;
use crate::units::unit;

struct Shown {
    on: OnRecord,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, mould: &str, circuit: &str) -> Result<Shown, Problem> {
    let on = on_record(reader, mould)?;
    on.circuit(circuit)?;
    let past = history(reader, &Subject::circuit(mould, circuit), &["pieces"])?;
    Ok(Shown { on, past })
}

fn address(mould: &str, circuit: &str) -> String {
    format!("{}/pieces", layout::circuit(mould, circuit))
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, &mould, &circuit))?;
        let known = shown.on.circuit(&circuit)?;
        let mut typed = Typed::default();
        typed.set("known", pieces_known(known.known));
        let entry = shown.on.entry_of(&circuit, "pieces").map(|item| item.entry.number.to_string());
        typed.set("entry", &entry.unwrap_or_default());
        let rows = rows(&pieces_value(&known.pieces));
        Ok(with(&app, session.as_ref(), &shown, &circuit, &typed, &rows, &[]).into_response())
    })
    .await
}

/// The rows as the fields of a form, numbered anew.
fn numbered(typed: &Typed, rows: &[Row]) -> Typed {
    let mut all = Typed::default();
    for name in ["known", "entry", "reason", "new"] {
        all.set(name, typed.get(name));
    }
    all.set("rows", &rows.len().to_string());
    for (at, row) in rows.iter().enumerate() {
        all.set(&field(at, "kind"), &row.kind);
        all.set(&field(at, "branch"), &row.branch);
        all.set(&field(at, "place"), &(at + 1).to_string());
        for (name, text) in &row.fields {
            all.set(&field(at, name), text);
        }
    }
    all
}

fn label(typed: &Typed, name: &str) -> Option<String> {
    match name {
        "reason" => return Some("Why it changes".to_owned()),
        "known" => return Some("How the pieces are known".to_owned()),
        _ => {}
    }
    let (at, inner) = name.strip_prefix("piece-")?.split_once('.')?;
    let at: usize = at.parse().ok()?;
    let kind = typed.get(&field(at, "kind"));
    let words = match inner {
        "branch" => "branch",
        "place" => "place",
        "kind" => "kind",
        _ => fields_of(kind).iter().find(|known| known.name == inner)?.text,
    };
    Some(format!("Piece {}, {kind}: {words}", at + 1))
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    circuit: &str,
    typed: &Typed,
    rows: &[Row],
    faults: &[Fault],
) -> Html<String> {
    let id = &shown.on.mould.id.0;
    let here = address(id, circuit);
    // A page that answers a form is newer than what a browser has kept of it.
    let answered = typed.given("do").is_some();
    let typed = numbered(typed, rows);
    let filling = Filling { form: "pieces", typed: &typed, faults };
    let kinds: Vec<(&str, String)> = piece_kinds()
        .iter()
        .filter(|one| one.name != "split")
        .map(|one| (one.name, format!("{}: {}", one.name, one.text)))
        .collect();
    let content = html! {
        h1 { "Pieces of " (circuit) ", " (id) }
        p.lead { "From IN to OUT in the order in which the water meets them, as new. What is not known may be guessed, and is marked so." }
        @match Session::recording(session) {
            Some(session) => form.entry.wide method="post" action=(here) data-answer=[answered.then_some("")] novalidate {
                (summary("pieces", faults, |name| label(&typed, name)))
                (sealed(session, &fresh_key()))
                input type="hidden" name="rows" value=(rows.len());
                input type="hidden" name="entry" value=(typed.get("entry"));
                @if rows.is_empty() { p { "No pieces are known yet." } }
                @for (at, row) in rows.iter().enumerate() { (piece(at, row, filling)) }
                fieldset.add {
                    legend { "One more piece" }
                    (filling.choice("new", "Kind", "It is added at the end; its place can be changed.", &kinds))
                    // The Enter key sends the first button of a form: that is the one that changes nothing.
                    button.quiet-button type="submit" name="do" value="order" { "Put all in order" }
                    " " button.quiet-button type="submit" name="do" value="add" { "Add it" }
                }
                p.quiet { "Parallel branches: give the pieces of the first branch the letter A, those of the second B, one after the other." }
                div.fields {
                    (filling.choice("known", "How the pieces are known", "", &KNOWN))
                    (filling.reason())
                }
                button type="submit" name="do" value="record" { "Record the pieces" }
            },
            None => (no_form(session, &here)),
        }
        (versions(&shown.past))
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (id.clone(), layout::mould(id)),
        (circuit.to_owned(), layout::circuit(id, circuit)),
    ];
    let title = format!("Pieces of {id} {circuit}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

/// One piece: its place, its branch, and the fields of its kind.
fn piece(at: usize, row: &Row, filling: Filling<'_>) -> Markup {
    let mut branches = vec![("", "main path")];
    branches.extend(BRANCHES.map(|letter| (letter, letter)));
    let go = field(at, "go");
    html! {
        fieldset.piece {
            legend { (at + 1) ". " (row.kind) @if !row.branch.is_empty() { ", branch " (row.branch) } }
            input type="hidden" name=(field(at, "kind")) value=(row.kind);
            div.fields.small {
                @for known in fields_of(&row.kind) { (one(at, known, filling)) }
                (filling.choice(&field(at, "branch"), "Branch", "", &branches))
                (filling.number(&field(at, "place"), "Place", "", false))
                div.field.check { label { input type="checkbox" name=(go) value="yes"; " Take it out" } }
            }
        }
    }
}

fn one(at: usize, known: &'static calc::form::Field, filling: Filling<'_>) -> Markup {
    let name = field(at, known.name);
    let control = match known.kind {
        Kind::Choice(words) => {
            Control::Choice(words.iter().map(|word| ((*word).to_owned(), (*word).to_owned())).collect())
        }
        Kind::List { .. } => Control::Lines,
        Kind::Text => Control::Line,
        _ => Control::Number,
    };
    let usual = match &known.need {
        Need::Default(Preset::Number(value)) => format!("{} if left out.", exact(*value, "")),
        _ => String::new(),
    };
    let (label, help, unit) = match known.name {
        "plug_thread" => ("Or its thread".to_owned(), "NPT 1/4, G 1/4".to_owned(), ""),
        "loss_k" => ("Loss number".to_owned(), "Where known better.".to_owned(), ""),
        "count" => ("How many".to_owned(), "In a row.".to_owned(), ""),
        "roughness_um" => ("Roughness".to_owned(), usual, unit(known.name)),
        "discharge_coefficient" => (capital(known.text), usual, ""),
        "flow_factor_m3_h" => ("Flow factor Kv".to_owned(), usual, unit(known.name)),
        name => (capital(known.text), usual, unit(name)),
    };
    let value = filling.typed.get(&name);
    Field {
        form: filling.form,
        name: &name,
        label: &label,
        help: &help,
        unit,
        optional: false,
        control,
        value,
    }
    .html(filling.faults)
}

/// Takes the form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &mould, &circuit, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, mould: &str, id: &str, typed: &Typed) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, address(mould, id))?;
    if sent.before()? {
        return Ok(Redirect::to(&layout::circuit(mould, id)).into_response());
    }
    let shown = read(app, |reader| gather(reader, mould, id))?;
    let mut rows = typed_rows(typed);
    if typed.get("do") != "record" {
        if typed.get("do") == "add" {
            rows.push(Row { kind: typed.get("new").to_owned(), ..Row::default() });
        }
        return Ok(with(app, Some(&sent.session), &shown, id, typed, &rows, &[]).into_response());
    }
    // The page shows the rows numbered anew, and faults are named at what it shows.
    for (at, row) in rows.iter_mut().enumerate() {
        row.from = at;
    }
    let again = |faults: &[Fault]| {
        Ok(unprocessable(with(app, Some(&sent.session), &shown, id, typed, &rows, faults)))
    };
    let mut faults = Vec::new();
    let circuit = match list(&rows) {
        Ok(list) => {
            let known = typed.given("known").unwrap_or("unknown");
            let said = [("pieces", Some(list.value.clone())), ("known", Some(Value::from(known)))];
            let read = circuit_said(&shown.on.mould, id, &said);
            read.map_err(|more| faults.extend(more.into_iter().map(|fault| list.in_form(fault)))).ok()
        }
        Err(more) => {
            faults.extend(more);
            None
        }
    };
    faults.extend(reason_missing(typed).filter(|_| !shown.past.is_empty()));
    let Some(circuit) = circuit.filter(|_| faults.is_empty()) else { return again(&faults) };
    let instead_of = typed.get("entry").parse().ok();
    let say = Say { fact: Fact::Pieces(pieces_card(&shown.on.mould, &circuit)), instead_of };
    match sent.record_of_mould(mould, typed.get("reason"), vec![say])? {
        Ok(()) => Ok(Redirect::to(&layout::circuit(mould, id)).into_response()),
        Err(faults) => again(&faults),
    }
}
