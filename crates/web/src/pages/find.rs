//! Circuits found by blowing or by watching: which openings belong together, and what they are called from now on.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use bench::ladder::Step;
use bench::mould::Circuit;
use calc::form::Fault;
use maud::{Markup, html};
use store::Fact;
use store::shapes::{CircuitCard, HalfCard, HalfCard2, MarksCard};

use super::edit::Filling;
use super::visit::no_form;
use super::{blocking, cautions, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{
    FOUND, KNOWN, OnRecord, circuit_said, found_word, line, name_fault, next_place, on_record, typed_marks,
    words,
};
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

/// Circuits that the form has room for (own choice); the next page has as many again.
const ROWS: usize = 8;

const COLUMNS: [(&str, &str); 6] = [
    ("half", "Half"),
    ("inlet", "Opening IN"),
    ("outlet", "Opening OUT"),
    ("circuit", "Name"),
    ("found", "Found by"),
    ("serves", "Cools"),
];

fn field(at: usize, name: &str) -> String {
    format!("row-{at}.{name}")
}

fn label(name: &str) -> Option<String> {
    let plain = match name {
        "metals" => Some("Metals"),
        "seals" => Some("Seals"),
        _ => None,
    };
    if let Some(words) = plain {
        return Some(words.to_owned());
    }
    let (at, column) = name.strip_prefix("row-")?.split_once('.')?;
    let (_, words) = COLUMNS.iter().find(|(known, _)| *known == column)?;
    Some(format!("{words}, row {}", at.parse::<usize>().ok()? + 1))
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(mould): Path<String>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let on = read(&app, |reader| on_record(reader, &mould))?;
        let mut typed = Typed::default();
        let first = on.half_names().into_iter().next().unwrap_or_default();
        for at in 0..ROWS {
            typed.set(&field(at, "half"), &first);
            typed.set(&field(at, "found"), "blown");
        }
        Ok(with(&app, session.as_ref(), &on, &typed, &[]).into_response())
    })
    .await
}

fn address(mould: &str) -> String {
    format!("{}/find", layout::mould(mould))
}

fn with(
    app: &App,
    session: Option<&Session>,
    on: &OnRecord,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let id = &on.mould.id.0;
    let (here, filling) = (address(id), Filling { form: "find", typed, faults });
    let content = html! {
        h1 { "Find the circuits of " (id) }
        p.lead { "Blow air into one opening of a half and feel where it comes out: the two are one circuit. Or send water in and watch. Mark both openings, and give the circuit a name." }
        (cautions(Step::BlowOut.cautions().iter().chain(Step::HookUp.cautions())))
        (openings(on, true))
        @match Session::recording(session) {
            Some(session) => form.entry.wide method="post" action=(here) novalidate {
                (summary("find", faults, label))
                (sealed(session, &fresh_key()))
                table.grid {
                    thead { tr { @for (_, heading) in COLUMNS { th scope="col" { (heading) } } } }
                    tbody { @for at in 0..ROWS { (row(at, on, filling)) } }
                }
                p.quiet { "Leave OUT empty where air comes out nowhere: the circuit is blocked, or its other end is not found yet. Rows without a name are left out." }
                fieldset {
                    legend { "For all circuits above" }
                    div.fields {
                        (filling.line("metals", "Metals that the water touches", "Keys of the plant’s materials, a comma between: 1.2311, 1.2738.", true))
                        (filling.choice("known-metals", "How the metals are known", "", &KNOWN))
                        (filling.line("seals", "Seals that it touches", "Such as EPDM or FKM.", true))
                        (filling.choice("known-seals", "How the seals are known", "", &KNOWN))
                    }
                }
                button type="submit" { "Record these circuits" }
            },
            None => (no_form(session, &here)),
        }
        p { a.button href=(layout::mould(id)) { "To the mould" } }
    };
    let trail = [("Moulds".to_owned(), "/moulds".to_owned()), (id.clone(), layout::mould(id))];
    let title = format!("Find the circuits of {id}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn row(at: usize, on: &OnRecord, filling: Filling<'_>) -> Markup {
    let halves: Vec<(String, String)> =
        on.half_names().into_iter().map(|half| (half.clone(), half)).collect();
    html! {
        tr { @for (name, _) in COLUMNS {
            @let name_here = field(at, name);
            @let words = label(&name_here).unwrap_or_default();
            td {
                @match name {
                    "half" => (filling.choice(&name_here, &words, "", &halves)),
                    "found" => (filling.choice(&name_here, &words, "", &FOUND)),
                    _ => (filling.line(&name_here, &words, "", false)),
                }
            }
        } }
    }
}

/// Openings in use by half, as marked: which circuit each belongs to.
fn in_use(on: &OnRecord) -> BTreeMap<(String, String), String> {
    let mut used = BTreeMap::new();
    for circuit in &on.mould.circuits {
        let marks = on.marks(&circuit.id.0);
        for opening in [marks.inlet, marks.outlet].into_iter().flatten() {
            used.insert((circuit.half.clone(), opening), circuit.id.0.clone());
        }
    }
    used
}

/// Openings of a half with their circuits, in the order that people count: 2 before 10.
fn known_openings<'a>(
    used: &'a BTreeMap<(String, String), String>,
    half: &str,
) -> Vec<(&'a String, &'a String)> {
    let mut known: Vec<_> =
        used.iter().filter(|((of, _), _)| of == half).map(|((_, opening), id)| (opening, id)).collect();
    known.sort_by_key(|(opening, _)| (opening.parse::<u32>().unwrap_or(u32::MAX), *opening));
    known
}

/// How many openings each half has, and which are known; of every half, or of those that something is known of.
pub(crate) fn openings(on: &OnRecord, every: bool) -> Markup {
    let used = in_use(on);
    let told = |half: &HalfCard2| half.openings.is_some() || used.keys().any(|(of, _)| *of == half.half);
    html! {
        ul.rows { @for (half, _) in on.halves.iter().filter(|(half, _)| every || told(half)) {
            @let known = known_openings(&used, &half.half);
            li {
                strong { (half.half) } ": "
                @match half.openings {
                    Some(count) => {
                        (report::pieces::counted(usize::try_from(count).unwrap_or_default(), "opening", "openings"))
                        ", " (known.len()) " told"
                        @let left = usize::try_from(count).unwrap_or_default().saturating_sub(known.len());
                        @if left > 0 { ", " (left) " not yet" }
                        @if usize::try_from(count).unwrap_or_default() < known.len() { ", more than were counted: count again" }
                    },
                    None => { "openings not counted, " (known.len()) " told" },
                }
                @if !known.is_empty() { span.under { @for (at, (opening, id)) in known.iter().enumerate() { @if at > 0 { ", " } (opening) ": " (id) } } }
            }
        } }
    }
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
    let on = read(app, |reader| on_record(reader, mould))?;
    if sent.before()? {
        return Ok(Redirect::to(&layout::mould(mould)).into_response());
    }
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &on, typed, faults)));
    let found = match understood(&on, typed) {
        Ok(found) => found,
        Err(faults) => return again(&faults),
    };
    let mut what = Vec::new();
    let first = next_place(&on);
    for (place, (circuit, marks)) in (first..).zip(found) {
        if !on.half_names().contains(&circuit.half) {
            what.push(Say::new(Fact::Half(HalfCard { mould: mould.to_owned(), half: circuit.half.clone() })));
        }
        what.push(Say::new(Fact::Circuit(CircuitCard::of(&on.mould, place, &circuit))));
        what.push(Say::new(Fact::Marks(marks)));
    }
    match sent.record_of_mould(mould, "", what)? {
        Ok(()) => Ok(Redirect::to(&layout::mould(mould)).into_response()),
        Err(faults) => again(&faults),
    }
}

/// The circuits that were typed, or everything that is wrong with them.
fn understood(on: &OnRecord, typed: &Typed) -> Result<Vec<(Circuit, MarksCard)>, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut found = Vec::new();
    let mut names: BTreeSet<String> = on.mould.circuits.iter().map(|circuit| circuit.id.0.clone()).collect();
    let mut used = in_use(on);
    for at in 0..ROWS {
        let text = |name: &str| typed.get(&field(at, name));
        let (name, ends) = (text("circuit"), [("inlet", text("inlet")), ("outlet", text("outlet"))]);
        if name.is_empty() && ends.iter().all(|(_, end)| end.is_empty()) {
            continue;
        }
        faults.extend(name_fault(&field(at, "circuit"), name));
        if !name.is_empty() && !names.insert(name.to_owned()) {
            let hint = "give each circuit its own name";
            faults.push(Fault::new(field(at, "circuit"), format!("{name} is taken"), hint));
        }
        for (end, opening) in ends.iter().filter(|(_, opening)| !opening.is_empty()) {
            let place = (text("half").to_owned(), (*opening).to_owned());
            if let Some(other) = used.insert(place, name.to_owned()) {
                let problem = format!("opening {opening} belongs to {other} already");
                faults.push(Fault::new(field(at, end), problem, "blow again, or correct the other circuit"));
            }
        }
        let said = [
            ("half", line(typed, &field(at, "half"))),
            ("serves", line(typed, &field(at, "serves"))),
            ("metals", words(typed.get("metals"))),
            ("seals", words(typed.get("seals"))),
        ];
        let end = |end: &str| Some(end.to_owned()).filter(|end| !end.is_empty());
        match circuit_said(&on.mould, name, &said) {
            Ok(circuit) => {
                let known = typed_marks(typed);
                let (inlet, outlet) = (end(text("inlet")), end(text("outlet")));
                let (mould, id) = (on.mould.id.0.clone(), name.to_owned());
                found.push((
                    circuit,
                    MarksCard { mould, circuit: id, found: found_word(text("found")), inlet, outlet, known },
                ));
            }
            Err(more) => faults.extend(more.into_iter().filter(|fault| fault.field != "id").map(|fault| {
                let own = matches!(fault.field.as_str(), "half" | "serves");
                Fault { field: if own { field(at, &fault.field) } else { fault.field.clone() }, ..fault }
            })),
        }
    }
    if found.is_empty() && faults.is_empty() {
        faults.push(Fault::new(field(0, "circuit"), "no circuit is named", "name at least one"));
    }
    if faults.is_empty() { Ok(found) } else { Err(faults) }
}
