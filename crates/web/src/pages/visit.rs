//! A visit: the most important sentence, the ladder, the circuits, the gates.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, Response};
use bench::finding::Findings;
use bench::ladder::{Rung, State as Standing, ladder};
use bench::mould::CircuitId;
use maud::{Markup, html};
use report::Parts;
use report::pieces::{caution, moment};
use store::read::VisitRow;
use store::shapes::PortCard2;
use store::{AsOf, Subject};

use super::{Answer, of_visit, read, visit_row};
use crate::app::App;
use crate::entry::{READS_ONLY, hook_up::ports_of};
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown::{self, Shown};

/// The page of a visit.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(at): Path<(String, String)>,
) -> Response {
    of_visit(app, headers, at, with).await
}

/// The same, with an answer to a form.
pub(crate) fn with(
    app: &App,
    session: Option<&Session>,
    mould: &str,
    visit: &str,
    answer: Option<&Answer<'_>>,
) -> Result<Html<String>, Problem> {
    let (stay, row, shown, ports, issued) = read(app, |reader| {
        let stay = reader.visit(mould, visit, AsOf::Now)?;
        let row = visit_row(reader, mould, visit)?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        let ports = items.iter().find_map(|item| ports_of(&item.fact));
        let issued = reader.certificates(mould, visit)?;
        Ok((stay, row, shown::of(app, reader, mould, visit)?, ports, issued))
    })?;
    let findings = &shown.findings;
    let way = |index: usize| {
        let id = findings.circuits.get(index).map_or("", |circuit| circuit.id.0.as_str());
        layout::bench(mould, visit, id)
    };
    let parts = Parts::new(findings, &way);
    let [hoses, rig, warnings] = parts.doubts();
    let [limits, legend] = parts.limits_and_legend();
    let content = html! {
        (about(&row, findings, &shown))
        (parts.verdict())
        section aria-labelledby="ladder" {
            h2 #ladder { "Steps" }
            ol.ladder { @for rung in &ladder(&stay, findings) { (step(rung, mould, visit)) } }
        }
        (ways(mould, visit, ports.as_deref()))
        (parts.circuits()) (parts.gates()) (hoses) (parts.leaks()) (rig) (warnings)
        @if row.outcome.is_none() { (end(session, mould, visit, answer)) }
        details.quiet-part { summary { "Limits used, and how to read this page" } (limits) (legend) }
        (super::paper::of_visit(app, session, mould, visit, &issued))
    };
    let trail = [("Moulds".to_owned(), "/moulds".to_owned()), (mould.to_owned(), layout::mould(mould))];
    let title = format!("{mould}, visit {visit}");
    let here = layout::visit(mould, visit);
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

fn about(row: &VisitRow, findings: &Findings, shown: &Shown) -> Markup {
    html! {
        p.about {
            strong { (findings.mould) } " " (findings.mould_name) " · visit " (row.id) " · begun " (moment(row.started)) " by " (row.by)
            " · rig " (findings.rig.as_deref().unwrap_or("not named"))
            @match row.outcome.as_deref() {
                Some("release") => " · released",
                Some(_) => " · held",
                None => {},
            }
            @if shown.entry.is_none() { " · what was found is not on record yet" }
        }
    }
}

fn names(ids: &[&CircuitId], mould: &str, visit: &str) -> Markup {
    html! {
        @for id in ids { a.chip href=(layout::bench(mould, visit, &id.0)) { (id) } " " }
    }
}

/// One step: where it stands, for which circuits it is to be done, and which gate shuts it for which.
fn step(rung: &Rung, mould: &str, visit: &str) -> Markup {
    let to_do: Vec<&CircuitId> = rung.in_state(&Standing::ToDo).collect();
    let done: Vec<&CircuitId> = rung.in_state(&Standing::Done).collect();
    let shut: Vec<(&CircuitId, &str)> = rung.shut().collect();
    let release = rung.step == bench::ladder::Step::Release;
    let (class, word) = match (to_do.is_empty(), shut.is_empty(), done.is_empty()) {
        (true, true, true) => ("rest", "not needed"),
        (true, true, false) => ("done", "done"),
        (true, false, _) => ("shut", "not allowed yet"),
        (false, ..) if release && shut.is_empty() => ("to-do", "allowed"),
        (false, ..) => ("to-do", "to do"),
    };
    html! {
        li class=(class) {
            details {
                summary {
                    span.step-name { (rung.step.title()) }
                    span.step-state { (word) }
                    span.step-counts {
                        @if class == "to-do" && !release { (to_do.len()) " of " (rung.circuits.len()) }
                        @if !shut.is_empty() { @if class == "to-do" && !release { ", " } (shut.len()) " shut" }
                    }
                }
                p { (rung.step.what_to_do()) }
                @if !to_do.is_empty() { p { span.label { @if release { "Allowed " } @else { "To do " } } (names(&to_do, mould, visit)) } }
                @if !done.is_empty() { p { span.label { "Done " } (names(&done, mould, visit)) } }
                @if !shut.is_empty() {
                    ul.shut-list { @for (id, reason) in shut { li { a.chip href=(layout::bench(mould, visit, &id.0)) { (id) } " " (reason) } } }
                }
                div.cautions {
                    p.cautions-head { (caution()) "Cautions" }
                    ul { @for text in rung.step.cautions() { li { (text) } } }
                }
            }
        }
    }
}

/// The ways to what a visit records beside the readings of its circuits.
fn ways(mould: &str, visit: &str, ports: Option<&[PortCard2]>) -> Markup {
    let to = |page: &str| format!("{}/{page}", layout::visit(mould, visit));
    html! {
        section aria-labelledby="hook-up" {
            h2 #hook-up { "Hook-up" }
            @match ports {
                Some(ports) => p { (report::pieces::counted(ports.len(), "port is", "ports are")) " in use: " @for (at, on) in ports.iter().enumerate() {
                    @if at > 0 { ", " } (on.port) " on " (on.circuits.iter().map(|one| one.circuit.as_str()).collect::<Vec<_>>().join(" → "))
                } "." },
                None => p { "Not noted yet. Which hose went where is the commonest mistake: look twice." },
            }
            p.ways {
                a.button href=(to("hook-up")) { "Hook-up, also for paper" } " "
                a.button href=(to("leaks")) { "Leak hunt" } " "
                a.button href=(to("across")) { "Charge one, watch the others" } " "
                a.button href=(to("whole")) { "Whole mould and rig" } " "
                a.button href=(to("photos")) { "Photos" }
            }
        }
    }
}

fn end(session: Option<&Session>, mould: &str, visit: &str, answer: Option<&Answer<'_>>) -> Markup {
    let faults = answer.map_or(&[][..], |answer| answer.faults);
    let value = |name: &str| answer.map_or("", |answer| answer.typed.get(name));
    let choices =
        [("", "choose"), ("hold", "hold: something is missing"), ("release", "release: back to the press")];
    let outcome = Field {
        form: "end",
        name: "outcome",
        label: "How it ends",
        help: "",
        unit: "",
        optional: false,
        control: Control::Choice(choices.map(|(value, words)| (value.to_owned(), words.to_owned())).to_vec()),
        value: value("outcome"),
    };
    let remark = Field {
        form: "end",
        name: "remark",
        label: "What is missing, or what else is to be said",
        help: "A mould that is held needs a reason.",
        unit: "",
        optional: false,
        control: Control::Line,
        value: value("remark"),
    };
    let label = |name: &str| match name {
        "outcome" => Some("How it ends".to_owned()),
        "remark" => Some("Remark".to_owned()),
        _ => None,
    };
    html! {
        @if let Some(session) = Session::recording(session) {
            section aria-labelledby="end" {
                h2 #end { "End of the visit" }
                form.entry method="post" action={ (layout::visit(mould, visit)) "/end" } novalidate {
                    (summary("end", faults, label))
                    (sealed(session, &fresh_key()))
                    (outcome.html(faults)) (remark.html(faults))
                    button type="submit" { "End the visit" }
                }
            }
        }
    }
}

/// What stands where a form would, for somebody who may not record: a viewer, or nobody known.
pub(crate) fn no_form(session: Option<&Session>, here: &str) -> Markup {
    if session.is_some() {
        return html! { p.quiet { (READS_ONLY) } };
    }
    say_who(here)
}

/// The way to say who is at the bench.
pub(crate) fn say_who(here: &str) -> Markup {
    html! { p { a.button href={ "/who?next=" (layout::encoded(here)) } { "Say who you are, to enter something" } } }
}
