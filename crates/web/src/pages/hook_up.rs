//! The hook-up of a visit: ports by stage, for the bench and for paper, and the form that records it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, Response};
use bench::ladder::Step;
use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::moment;
use store::shapes::PortCard2;
use store::{AsOf, Entry, Reader, Subject};

use super::visit::no_form;
use super::{Answer, cautions, of_visit, read, visit_row};
use crate::app::App;
use crate::entry::hook_up::{Row, field, ports_of, rows, typed_rows};
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};

/// Empty rows beneath those in use.
const SPARE: usize = 3;

/// What the page shows.
struct Shown {
    mould_name: String,
    circuits: Vec<String>,
    running: bool,
    rig: Option<String>,
    /// Versions of the hook-up, the newest first.
    versions: Vec<(Entry, Vec<PortCard2>)>,
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(at): Path<(String, String)>,
) -> Response {
    of_visit(app, headers, at, with).await
}

fn gather(reader: &Reader<'_>, mould: &str, visit: &str) -> Result<Shown, Problem> {
    let row = visit_row(reader, mould, visit)?;
    let mut versions = Vec::new();
    for entry in reader.history(&Subject::visit(mould, visit), AsOf::Now)? {
        if let Some(ports) = ports_of(&entry.fact()?) {
            versions.push((entry, ports));
        }
    }
    versions.reverse();
    Ok(Shown {
        mould_name: reader.mould(mould, AsOf::Now)?.name,
        circuits: reader.circuits(mould)?.into_iter().map(|row| row.id).collect(),
        running: row.outcome.is_none(),
        rig: row.rig,
        versions,
    })
}

/// The same, with an answer to its form.
pub(crate) fn with(
    app: &App,
    session: Option<&Session>,
    mould: &str,
    visit: &str,
    answer: Option<&Answer<'_>>,
) -> Result<Html<String>, Problem> {
    let shown = read(app, |reader| gather(reader, mould, visit))?;
    let here = format!("{}/hook-up", layout::visit(mould, visit));
    let content = html! {
        h1 { "Hook-up of " (mould) ", visit " (visit) }
        p.about { (shown.mould_name) " · rig " (shown.rig.as_deref().unwrap_or("not named")) }
        (cautions(Step::HookUp.cautions()))
        @match shown.versions.first() {
            Some((entry, ports)) => {
                (stages(ports))
                p.quiet data-as-typed="numbers" { "Entry " (entry.number) ", " (entry.person) ", " (moment(entry.at())) @if let Some(reason) = &entry.reason { ": " span translate="no" { (reason) } } }
            },
            None => p.lead { "Nothing is hooked up yet." },
        }
        @if shown.running {
            @match Session::recording(session) {
                Some(session) => (form(session, &shown, &here, answer)),
                None => (no_form(session, &here)),
            }
        }
        (earlier(&shown.versions))
    };
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.to_owned(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
    ];
    let title = format!("Hook-up of {mould}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

/// The hook-up as tables, one for each stage.
pub(crate) fn stages(ports: &[PortCard2]) -> Markup {
    let mut numbers: Vec<u32> = ports.iter().map(|on| on.stage).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let end = |reversed: bool, supply: bool| if reversed == supply { "OUT" } else { "IN" };
    html! {
        @for stage in &numbers {
            @let title = format!("stage-{stage}");
            section.stage aria-labelledby=(title) {
                h2 id=(title) { @if numbers.len() > 1 { "Stage " (stage) } @else { "Ports" } }
                table.list role="table" aria-labelledby=(title) {
                    thead role="rowgroup" { tr role="row" {
                        @for heading in ["Port", "Supply to", "Jumper", "Return from"] { th role="columnheader" scope="col" { (heading) } }
                    } }
                    tbody role="rowgroup" { @for on in ports.iter().filter(|on| on.stage == *stage) { tr role="row" {
                        th.name role="rowheader" scope="row" { (on.port) }
                        td role="cell" data-label="Supply to" { @if let Some(first) = on.circuits.first() {
                            strong { (first.circuit) " " (end(first.reversed, true)) } @if first.reversed { span.under { "against the flow" } }
                        } }
                        td role="cell" data-label="Jumper" {
                            @for (from, to) in on.circuits.iter().zip(on.circuits.iter().skip(1)) {
                                span.jumper { (from.circuit) " " (end(from.reversed, false)) " → " (to.circuit) " " (end(to.reversed, true)) }
                            }
                            @if on.circuits.len() < 2 { "none" }
                        }
                        td role="cell" data-label="Return from" { @if let Some(last) = on.circuits.last() {
                            strong { (last.circuit) " " (end(last.reversed, false)) }
                        } }
                    } } }
                }
            }
        }
        @if ports.iter().any(|on| on.circuits.len() > 1) {
            p { "What is read through a jumper belongs to all of its circuits together, not to one of them: test each by itself." }
        }
    }
}

fn earlier(versions: &[(Entry, Vec<PortCard2>)]) -> Markup {
    html! {
        @if versions.len() > 1 {
            details.quiet-part {
                summary { "Earlier versions" }
                @for (entry, ports) in versions.iter().skip(1) {
                    p data-as-typed="numbers" { strong { "Entry " (entry.number) } ", " (entry.person) ", " (moment(entry.at())) @if let Some(reason) = &entry.reason { ": " span translate="no" { (reason) } } }
                    ul { @for on in ports { li {
                        "Stage " (on.stage) ", port " (on.port) ": "
                        @for (at, one) in on.circuits.iter().enumerate() { @if at > 0 { " → " } (one.circuit) @if one.reversed { " against the flow" } }
                    } } }
                }
            }
        }
    }
}

/// Rows to begin with: what is on record, else a row for each circuit.
fn first_rows(shown: &Shown) -> Vec<Row> {
    let mut all = shown.versions.first().map_or_else(
        || {
            let row = |id: &String| Row { circuit: id.clone(), ..Row::default() };
            shown.circuits.iter().map(row).collect()
        },
        |(_, ports)| rows(ports),
    );
    all.extend(core::iter::repeat_n(Row::default(), SPARE));
    all
}

const COLUMNS: [(&str, &str); 5] = [
    ("circuit", "Circuit"),
    ("port", "Port"),
    ("after", "Fed from"),
    ("direction", "Direction"),
    ("stage", "Stage"),
];

fn form(session: &Session, shown: &Shown, here: &str, answer: Option<&Answer<'_>>) -> Markup {
    let rows = answer.map_or_else(|| first_rows(shown), |answer| typed_rows(answer.typed));
    let faults = answer.map_or(&[][..], |answer| answer.faults);
    let known = shown.versions.first().map(|(entry, _)| entry.number.to_string()).unwrap_or_default();
    let reason = Field {
        form: "hook-up",
        name: "reason",
        label: "Why it changed",
        help: "",
        unit: "",
        optional: true,
        control: Control::Line,
        value: answer.map_or("", |answer| answer.typed.get("reason")),
    };
    html! {
        section.form-part aria-labelledby="change" {
            h2 #change { @if shown.versions.is_empty() { "What hangs where" } @else { "Change it" } }
            form.entry.wide method="post" action=(here) novalidate {
                (summary("hook-up", faults, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(known);
                input type="hidden" name="rows" value=(rows.len());
                p.quiet {
                    "A row without port and jumper counts as not connected. Hoses that are moved later in the visit are a further stage. "
                    "Which hose went where is the commonest mistake: look twice."
                }
                table.grid {
                    thead { tr { @for (_, heading) in COLUMNS { th scope="col" { (heading) } } } }
                    tbody { @for (at, row) in rows.iter().enumerate() { (form_row(at, row, &shown.circuits, faults)) } }
                }
                @if !shown.versions.is_empty() { (reason.html(faults)) }
                button type="submit" { "Record the hook-up" }
            }
        }
    }
}

fn form_row(at: usize, row: &Row, circuits: &[String], faults: &[Fault]) -> Markup {
    let choices = |none: &str, words: fn(&str) -> String| {
        let all = circuits.iter().map(|id| (id.clone(), words(id)));
        Control::Choice(core::iter::once((String::new(), none.to_owned())).chain(all).collect())
    };
    let direction = [("", "supply to IN"), ("reversed", "supply to OUT")];
    let direction = direction.map(|(value, words)| (value.to_owned(), words.to_owned())).to_vec();
    let cell = |name: &str, control: Control, value: &str| {
        let (name, heading) = (
            field(at, name),
            COLUMNS.iter().find(|(known, _)| *known == name).map_or("", |(_, words)| words),
        );
        let label = format!("{heading}, row {}", at + 1);
        let place = Field {
            form: "hook-up",
            name: &name,
            label: &label,
            help: "",
            unit: "",
            optional: false,
            control,
            value,
        };
        html! { td { (place.html(faults)) } }
    };
    html! {
        tr {
            (cell("circuit", choices("choose", str::to_owned), &row.circuit))
            (cell("port", Control::Number, &row.port))
            (cell("after", choices("the rig", |id| format!("jumper from {id}")), &row.after))
            (cell("direction", Control::Choice(direction), if row.reversed { "reversed" } else { "" }))
            (cell("stage", Control::Number, if row.stage.is_empty() { "1" } else { &row.stage }))
        }
    }
}

fn label(name: &str) -> Option<String> {
    if name == "reason" {
        return Some("Why it changed".to_owned());
    }
    let (row, column) = name.strip_prefix("row-")?.split_once('.')?;
    let (_, words) = COLUMNS.iter().find(|(known, _)| *known == column)?;
    Some(format!("{words}, row {}", row.parse::<usize>().ok()? + 1))
}
