//! One circuit charged, others watched: the table to enter it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, Response};
use bench::ladder::Step;
use calc::form::Fault;
use maud::{Markup, html};
use report::Parts;
use report::pieces::tightness;

use super::visit::no_form;
use super::{Answer, cautions, of_visit, read, visit_row};
use crate::app::App;
use crate::entry::across::{NUMBERS, PARTS, field};
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::sent::FILE;
use crate::session::{Session, fresh_key};
use crate::shown;
use crate::typed::Typed;
use crate::units::unit;

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(at): Path<(String, String)>,
) -> Response {
    of_visit(app, headers, at, with).await
}

/// The same, with an answer to its form.
pub(crate) fn with(
    app: &App,
    session: Option<&Session>,
    mould: &str,
    visit: &str,
    answer: Option<&Answer<'_>>,
) -> Result<Html<String>, Problem> {
    let (running, shown) = read(app, |reader| {
        let row = visit_row(reader, mould, visit)?;
        Ok((row.outcome.is_none(), shown::of(app, reader, mould, visit)?))
    })?;
    let here = format!("{}/across", layout::visit(mould, visit));
    let way = |_: usize| String::new();
    let parts = Parts::new(&shown.findings, &way);
    let circuits: Vec<(String, String)> =
        shown.findings.circuits.iter().map(|found| (found.id.0.clone(), tightness(found))).collect();
    let content = html! {
        h1 { "Charge one, watch the others" }
        p.lead { "Where the outside stays dry, a leak may go into a neighbour. Charge one circuit with air, shut all others, and read every gauge at the start and again later." }
        (cautions(Step::FindLeak.cautions()))
        @match (running, Session::recording(session)) {
            (true, Some(session)) => (form(session, &circuits, &here, answer)),
            (true, None) => (no_form(session, &here)),
            (false, _) => p { "This visit has ended." },
        }
        (parts.leaks())
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.to_owned(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
    ];
    let title = format!("Across, {mould}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

const HEADINGS: [(&str, &str); 5] = [
    ("part", "What it did"),
    ("start_bar_g", "Start"),
    ("end_bar_g", "Later"),
    ("seconds", "Own time"),
    ("trace", "Logger’s file"),
];

fn form(session: &Session, circuits: &[(String, String)], here: &str, answer: Option<&Answer<'_>>) -> Markup {
    let nothing = Typed::default();
    let (typed, faults) = answer.map_or((&nothing, &[][..]), |answer| (answer.typed, answer.faults));
    let plain = |name: &'static str, label: &'static str, help: &'static str, control: Control| {
        let (unit, optional) = (session.units.shown(unit(name)), name != "seconds");
        Field { form: "across", name, label, help, unit, optional, control, value: typed.get(name) }
            .html(faults)
    };
    let label = |name: &str| {
        match name {
            "seconds" => return Some("Time between the two".to_owned()),
            "columns" => return Some("What the loggers’ columns hold".to_owned()),
            "at" => return Some("Taken at".to_owned()),
            _ => {}
        }
        let (row, column) = name.strip_prefix("row-")?.split_once('.')?;
        let (circuit, _) = circuits.get(row.parse::<usize>().ok()?)?;
        let (_, words) = HEADINGS.iter().find(|(known, _)| *known == column)?;
        Some(format!("{circuit}: {words}"))
    };
    html! {
        form.entry.wide method="post" enctype="multipart/form-data" action=(here) novalidate {
            (summary("across", faults, label))
            (sealed(session, &fresh_key()))
            div.fields {
                (plain("seconds", "Time between the two", "For all circuits that have no time of their own.", Control::Number))
                (plain("at", "Taken at, if not just now", "Day and time in UTC, such as 2026-11-24 08:40.", Control::Line))
            }
            table.grid {
                thead { tr { th scope="col" { "Circuit" } @for (name, heading) in HEADINGS {
                    th scope="col" { (heading) @if !unit(name).is_empty() { span.unit { ", " (session.units.shown(unit(name))) } } }
                } } }
                tbody { @for (at, (id, held)) in circuits.iter().enumerate() { (row(at, id, held, typed, faults)) } }
            }
            (plain("columns", "What the loggers’ columns hold", "Only where their names do not say it. One a line: the name, =, and time_s, clock, pressure_bar_g or ignore.", Control::Lines))
            p.quiet { "The gauge of the charged circuit may be left out; each watched one needs its two readings, or the file that a logger wrote." }
            button type="submit" { "Record" }
        }
    }
}

fn row(at: usize, id: &str, held: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let place = |name: &str, control: Control| {
        let heading = HEADINGS.iter().find(|(known, _)| *known == name).map_or("", |(_, words)| words);
        let (name, label) = (field(at, name), format!("{id}: {heading}"));
        let value = typed.get(&name);
        Field {
            form: "across",
            name: &name,
            label: &label,
            help: "",
            unit: "",
            optional: false,
            control,
            value,
        }
        .html(faults)
    };
    let parts = PARTS.map(|(value, words)| (value.to_owned(), words.to_owned())).to_vec();
    let pasted = field(at, "trace");
    let kept = typed.given(&pasted).is_some() || faults.iter().any(|fault| fault.field == pasted);
    html! {
        tr {
            th scope="row" { (id) span.under { (held) } }
            td { (place("part", Control::Choice(parts))) }
            @for name in NUMBERS { td { (place(name, Control::Number)) } }
            td {
                input.file type="file" name={ (pasted) (FILE) } accept=".csv,.txt,text/csv,text/plain" aria-label={ (id) ": logger’s file" };
                details.paste open[kept] { summary { "or paste its lines" } (place("trace", Control::Lines)) }
            }
        }
    }
}
