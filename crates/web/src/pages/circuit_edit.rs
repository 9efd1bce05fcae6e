//! The editor of a circuit without its pieces, and the way to take it out of the mould.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::html;
use report::pieces::exact;
use store::shapes::{MarksCard, WithdrawalCard};
use store::{Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{
    FOUND, KNOWN, MARKED, OnRecord, circuit_card, circuit_said, figure, found_text, found_word, known_text,
    line, on_record, typed_marks, words,
};
use crate::entry::say::{Posted, Say, nothing_changed, reason_missing};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

const LABELS: [(&str, &str); 13] = [
    ("half", "Half"),
    ("serves", "What it cools"),
    ("inlet", "Opening IN"),
    ("outlet", "Opening OUT"),
    ("found", "Found by"),
    ("metals", "Metals that the water touches"),
    ("seals", "Seals that it touches"),
    ("rough_bore_mm", "Main bore"),
    ("rough_length_mm", "Length of the path"),
    ("neighbours", "Neighbours in the same steel"),
    ("sisters", "Sisters: the same geometry"),
    ("reason", "Why it changes"),
    ("gone", "Why it is out of use"),
];

fn label(name: &str) -> Option<String> {
    LABELS.iter().find(|(known, _)| *known == name).map(|(_, words)| (*words).to_owned())
}

struct Shown {
    on: OnRecord,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, mould: &str, circuit: &str) -> Result<Shown, Problem> {
    let on = on_record(reader, mould)?;
    on.circuit(circuit)?;
    let past = history(reader, &Subject::circuit(mould, circuit), &["circuit", "marks"])?;
    Ok(Shown { on, past })
}

fn address(mould: &str, circuit: &str) -> String {
    format!("{}/edit", layout::circuit(mould, circuit))
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
        let typed = as_it_stands(&shown.on, &circuit)?;
        Ok(with(&app, session.as_ref(), &shown, &circuit, &typed, &[]).into_response())
    })
    .await
}

fn as_it_stands(on: &OnRecord, id: &str) -> Result<Typed, Problem> {
    let (circuit, marks) = (on.circuit(id)?, on.marks(id));
    let mut typed = Typed::default();
    let ids =
        |ids: &[bench::mould::CircuitId]| ids.iter().map(|id| id.0.as_str()).collect::<Vec<_>>().join(", ");
    let mm = |length: Option<calc::quantity::Length>| {
        length.map(|length| exact(length.mm(), "")).unwrap_or_default()
    };
    for (name, text) in [
        ("half", circuit.half.clone()),
        ("serves", circuit.serves.clone().unwrap_or_default()),
        ("metals", circuit.metals.join(", ")),
        ("seals", circuit.seals.join(", ")),
        ("sisters", ids(&circuit.sisters)),
        ("neighbours", ids(&circuit.neighbours)),
        ("rough_bore_mm", mm(circuit.rough_bore)),
        ("rough_length_mm", mm(circuit.rough_length)),
        ("inlet", marks.inlet.unwrap_or_default()),
        ("outlet", marks.outlet.unwrap_or_default()),
        ("found", found_text(marks.found).to_owned()),
    ] {
        typed.set(name, &text);
    }
    for (name, word) in marks.known {
        typed.set(&format!("known-{name}"), known_text(word));
    }
    for kind in ["circuit", "marks"] {
        let number = on.entry_of(id, kind).map(|item| item.entry.number.to_string()).unwrap_or_default();
        typed.set(&format!("entry-{kind}"), &number);
    }
    Ok(typed)
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    circuit: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let id = &shown.on.mould.id.0;
    let (here, filling) = (address(id, circuit), Filling { form: "circuit", typed, faults });
    let halves: Vec<(String, String)> =
        shown.on.half_names().into_iter().map(|half| (half.clone(), half)).collect();
    let known = |name: &str| {
        let words = MARKED.iter().find(|(known, _)| *known == name).map_or("", |(_, words)| words);
        filling.choice(&format!("known-{name}"), &format!("{words}: how known"), "", &KNOWN)
    };
    let words = |name: &str| label(name).unwrap_or_default();
    let gone = faults.iter().any(|fault| fault.field == "gone");
    let line = |name: &str, help: &str| filling.line(name, &words(name), help, true);
    let content = html! {
        h1 { "Circuit " (circuit) " of " (id) }
        @match Session::recording(session) {
            Some(session) => {
                form.entry method="post" action=(here) novalidate {
                    (summary("circuit", if gone { &[] } else { faults }, label))
                    (sealed(session, &fresh_key()))
                    @for kind in ["entry-circuit", "entry-marks"] { input type="hidden" name=(kind) value=(typed.get(kind)); }
                    div.fields {
                        (filling.choice("half", &words("half"), "", &halves))
                        (line("serves", ""))
                        (line("inlet", "As marked on the half.")) (line("outlet", ""))
                        (filling.choice("found", &words("found"), "", &FOUND))
                    }
                    div.fields.pairs {
                        (line("metals", "Keys of the plant’s materials, a comma between. An unknown metal keeps acid out.")) (known("metals"))
                        (line("seals", "A comma between.")) (known("seals"))
                        (filling.number("rough_bore_mm", &words("rough_bore_mm"), "Where the pieces are not known.", true))
                        (filling.number("rough_length_mm", &words("rough_length_mm"), "", true))
                        (known("size"))
                        (line("sisters", "A comma between."))
                        (line("neighbours", "A leak across goes into one of these.")) (known("neighbours"))
                    }
                    (filling.reason())
                    button type="submit" { "Record the change" }
                }
                details.form.apart open[gone] {
                    summary { "Take it out of the mould" }
                    form.entry method="post" action={ (here) "/gone" } novalidate {
                        (summary("circuit", if gone { faults } else { &[] }, label))
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="entry-circuit" value=(typed.get("entry-circuit"));
                        p { "For a circuit that is plugged for good, or never was one. What was recorded of it stays in the history." }
                        (filling.line("gone", "Why it is out of use", "", false))
                        button type="submit" { "Take it out" }
                    }
                }
            },
            None => (no_form(session, &here)),
        }
        p.ways {
            a.button href={ (layout::circuit(id, circuit)) "/pieces" } { "Its pieces" } " "
            a.button href={ (layout::circuit(id, circuit)) "/baseline" } { "Its baseline" }
        }
        (versions(&shown.past))
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (id.clone(), layout::mould(id)),
        (circuit.to_owned(), layout::circuit(id, circuit)),
    ];
    let title = format!("Edit {id} {circuit}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
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
    let on = &shown.on;
    let again =
        |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, id, typed, faults)));
    let said = [
        ("half", line(typed, "half")),
        ("serves", line(typed, "serves")),
        ("metals", words(typed.get("metals"))),
        ("seals", words(typed.get("seals"))),
        ("sisters", words(typed.get("sisters"))),
        ("neighbours", words(typed.get("neighbours"))),
        ("rough_bore_mm", figure(typed, "rough_bore_mm")),
        ("rough_length_mm", figure(typed, "rough_length_mm")),
    ];
    let mut faults = Vec::new();
    let mut what = Vec::new();
    let entry = |kind: &str| typed.get(&format!("entry-{kind}")).parse().ok();
    match circuit_said(&on.mould, id, &said) {
        Ok(circuit) if circuit != *on.circuit(id)? => {
            let fact = Fact::Circuit(circuit_card(on, &circuit));
            what.push(Say { fact, instead_of: entry("circuit") });
        }
        Ok(_) => {}
        Err(more) => faults.extend(more),
    }
    let marks = MarksCard {
        mould: mould.to_owned(),
        circuit: id.to_owned(),
        found: found_word(typed.get("found")),
        inlet: typed.given("inlet").map(str::to_owned),
        outlet: typed.given("outlet").map(str::to_owned),
        known: typed_marks(typed),
    };
    if marks != on.marks(id) {
        what.push(Say { fact: Fact::Marks(marks), instead_of: entry("marks") });
    }
    faults.extend(reason_missing(typed));
    if faults.is_empty() && what.is_empty() {
        faults.push(nothing_changed());
    }
    if !faults.is_empty() {
        return again(&faults);
    }
    match sent.record_of_mould(mould, typed.get("reason"), what)? {
        Ok(()) => Ok(Redirect::to(&layout::circuit(mould, id)).into_response()),
        Err(faults) => again(&faults),
    }
}

/// Takes a circuit out of the mould.
pub(crate) async fn gone(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take_out(&app, &headers, &mould, &circuit, &typed)).await
}

fn take_out(
    app: &App,
    headers: &HeaderMap,
    mould: &str,
    id: &str,
    typed: &Typed,
) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, address(mould, id))?;
    let to_mould = || Ok(Redirect::to(&layout::mould(mould)).into_response());
    if sent.before()? {
        return to_mould();
    }
    let shown = read(app, |reader| gather(reader, mould, id))?;
    let again = |faults: &[Fault]| {
        let mut standing = as_it_stands(&shown.on, id)?;
        standing.set("gone", typed.get("gone"));
        Ok(unprocessable(with(app, Some(&sent.session), &shown, id, &standing, faults)))
    };
    let Some(reason) = typed.given("gone") else {
        return again(&[Fault::new("gone", "missing", "say why it is out of use")]);
    };
    let about = Subject::circuit(mould, id);
    let say = Say {
        fact: Fact::Withdrawal(WithdrawalCard { about }),
        instead_of: typed.get("entry-circuit").parse().ok(),
    };
    match sent.record_of_mould(mould, reason, vec![say])? {
        Ok(()) => to_mould(),
        Err(faults) => again(&faults),
    }
}
