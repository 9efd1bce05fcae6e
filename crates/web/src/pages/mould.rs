//! A mould: its circuits, how they stood at each visit, their baselines, its visits.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse as _, Response};
use bench::finding::Findings;
use bench::mould::{Circuit, Known, Mould};
use maud::{Markup, html};
use report::Parts;
use report::pieces::{amount, fitness, moment};
use store::read::VisitRow;

use super::find::openings;
use super::half::{Drawn, drawn};
use super::over_time::{eyes, visits};
use super::visit::no_form;
use super::{blocking, read};
use crate::app::App;
use crate::entry::mould::{OnRecord, known_text, on_record};
use crate::entry::somebody;
use crate::forms::{Control, Place as Field, sealed};
use crate::layout::{self, Page, Place};
use crate::session::{Session, fresh_key};

/// The page of a mould.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let (on, halves, found, rigs) = read(&app, |reader| {
            let on = on_record(reader, &id)?;
            let halves =
                on.half_names().iter().map(|half| drawn(reader, &id, half)).collect::<Result<Vec<_>, _>>()?;
            Ok((on, halves, visits(&app, reader, &id)?, reader.rigs()?))
        })?;
        let content = html! {
            (content(session.as_ref(), &on, &halves, &found, &rigs))
            (super::paper::of_mould(&app, &id))
        };
        let trail = [("Moulds".to_owned(), "/moulds".to_owned())];
        let here = layout::mould(&id);
        let page = Page { title: &id, place: Place::Moulds, here: &here, trail: &trail };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}

fn content(
    session: Option<&Session>,
    on: &OnRecord,
    halves: &[Drawn],
    found: &[Arc<Findings>],
    rigs: &[String],
) -> Markup {
    let (mould, rows) = (&on.mould, on.visits.as_slice());
    let running = rows.iter().find(|row| row.outcome.is_none());
    html! {
        h1 { (mould.id) " · " (mould.name) }
        @match found.last() {
            Some(newest) => (state(mould, newest)),
            None => p.lead { "This mould has not been on the bench yet." },
        }
        @if let Some(row) = running {
            p { a.button.strong href=(layout::visit(&row.mould, &row.id)) { "Go on with visit " (row.id) } }
        }
        @if found.len() > 1 {
            section aria-labelledby="over-time" {
                h2 #over-time { "The bores over time" }
                div.timelines { @for circuit in &mould.circuits {
                    div.timeline { h3 { a href=(layout::circuit(&mould.id.0, &circuit.id.0)) { (circuit.id) } } (eyes(found, &mould.id.0, &circuit.id)) }
                } }
            }
        }
        (outlines(&mould.id.0, halves))
        (known_of(on))
        (visit_list(rows))
        @if running.is_none() && !mould.circuits.is_empty() { (begin(session, mould, rigs)) }
    }
}

/// How the mould stood at its newest visit.
fn state(mould: &Mould, newest: &Findings) -> Markup {
    let way = |index: usize| {
        let id = newest.circuits.get(index).map_or("", |circuit| circuit.id.0.as_str());
        layout::circuit(&mould.id.0, id)
    };
    let parts = Parts::new(newest, &way);
    html! {
        p.lead { (newest.headline) }
        p { "Fit for the press: " (fitness(newest.fit_for_press)) span.under { "visit " (newest.visit) ", " (moment(newest.started)) } }
        (parts.circuits())
    }
}

/// The halves as they are drawn.
fn outlines(mould: &str, halves: &[Drawn]) -> Markup {
    html! {
        section aria-labelledby="halves" {
            h2 #halves { "Halves" }
            div.halves { @for half in halves {
                @let way = format!("{}/halves/{}", layout::mould(mould), layout::encoded(&half.half));
                div {
                    h3 { a href=(way) { (half.half) } }
                    @match half.drawing() {
                        Some(drawing) => div.drawing { (drawing.drawing(&format!("{mould}, {}", half.half))) },
                        None => p.quiet { "No outline yet. " a href=(way) { "Give its size" } },
                    }
                }
            } }
        }
    }
}

/// How a fact is known, behind it.
fn mark(on: &OnRecord, circuit: &Circuit, name: &str) -> Markup {
    let marks = on.marks(&circuit.id.0);
    html! { @if let Some(word) = marks.known.get(name) { " (" (known_text(*word)) ")" } }
}

/// What is known of each circuit: baseline, pieces, metals.
fn known_of(on: &OnRecord) -> Markup {
    let mould = &on.mould;
    let own = layout::mould(&mould.id.0);
    html! {
        section aria-labelledby="known" {
            h2 #known { "What is known of the circuits" }
            @if mould.circuits.is_empty() { p { "None is found yet. Blow into the openings, or send water in and watch." } }
            p.ways {
                a.button href={ (own) "/find" } { "Find circuits" } " "
                a.button href={ (own) "/edit" } { "Edit the mould" }
            }
            (openings(on, false))
            table.list role="table" aria-labelledby="known" {
                thead role="rowgroup" { tr role="row" {
                    @for heading in ["Circuit", "Baseline", "Geometry", "Metals and seals"] { th role="columnheader" scope="col" { (heading) } }
                } }
                tbody role="rowgroup" { @for circuit in &mould.circuits { tr role="row" {
                    th.name role="rowheader" scope="row" {
                        a href=(layout::circuit(&mould.id.0, &circuit.id.0)) { (circuit.id) }
                        span.under { (circuit.half) @if let Some(serves) = &circuit.serves { " · " (serves) } }
                    }
                    td role="cell" data-label="Baseline" { (baseline(circuit)) }
                    td role="cell" data-label="Geometry" { (geometry(circuit)) }
                    td role="cell" data-label="Metals" {
                        @if circuit.metals.is_empty() { "metals not known" } @else { (circuit.metals.join(", ")) (mark(on, circuit, "metals")) }
                        span.under { @if circuit.seals.is_empty() { "seals not known" } @else { (circuit.seals.join(", ")) (mark(on, circuit, "seals")) } }
                    }
                } } }
            }
        }
    }
}

/// The baseline of a circuit.
pub(crate) fn baseline(circuit: &Circuit) -> Markup {
    html! {
        @match &circuit.baseline {
            Some(known) => {
                (amount(&known.flow_factor_m3_h.estimate(), "m³/h"))
                @if let Some(date) = &known.date { span.under { "of " (date) } }
            },
            None => "none yet",
        }
    }
}

/// How far the pieces of a circuit are to be trusted.
pub(crate) fn geometry(circuit: &Circuit) -> Markup {
    let word = match circuit.known {
        Known::Drawing => "from a drawing",
        Known::Measured => "measured",
        Known::Guessed => "guessed",
        Known::Unknown => "not known how well",
    };
    html! {
        @match circuit.pieces.len() {
            0 => "not known",
            1 => { "1 piece, " (word) },
            count => { (count) " pieces, " (word) },
        }
    }
}

fn visit_list(rows: &[VisitRow]) -> Markup {
    html! {
        section aria-labelledby="visits" {
            h2 #visits { "Visits" }
            @if rows.is_empty() { p { "None yet." } }
            ul.rows { @for row in rows { li {
                a.way href=(layout::visit(&row.mould, &row.id)) { (row.id) }
                " " (moment(row.started)) ", " (row.by)
                span.under {
                    (report::pieces::counted(usize::try_from(row.readings).unwrap_or_default(), "entry", "entries"))
                    @match row.outcome.as_deref() { Some("release") => ", released", Some(_) => ", held", None => ", on the bench" }
                }
            } } }
        }
    }
}

fn begin(session: Option<&Session>, mould: &Mould, rigs: &[String]) -> Markup {
    let mut choices: Vec<(String, String)> = rigs.iter().map(|rig| (rig.clone(), rig.clone())).collect();
    choices.push((String::new(), "another one: the usual uncertainties are taken".to_owned()));
    let first = choices.first().map(|(value, _)| value.clone()).unwrap_or_default();
    let rig = Field {
        form: "begin",
        name: "rig",
        label: "Rig",
        help: "",
        unit: "",
        optional: false,
        control: Control::Choice(choices),
        value: &first,
    };
    html! {
        section aria-labelledby="begin" {
            h2 #begin { "Take it to the bench" }
            @match Session::recording(session) {
                Some(session) => form.entry method="post" action={ (layout::mould(&mould.id.0)) "/visits" } {
                    (sealed(session, &fresh_key()))
                    (rig.html(&[]))
                    button type="submit" { "Begin a visit" }
                },
                None => (no_form(session, &layout::mould(&mould.id.0))),
            }
        }
    }
}
