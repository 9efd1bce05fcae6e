//! The baseline of a circuit: set from a visit that earned it, or typed from a paper.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use bench::mould::{Baseline, CircuitId};
use calc::form::{Fault, Value};
use maud::{Markup, html};
use report::pieces::{amount, moment};
use store::{AsOf, Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::mould::baseline;
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{OnRecord, baseline_card, circuit_said, figure, line, on_record};
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown;
use crate::typed::Typed;

/// Fields that are typed, all of the mould file: name, words, help, whether it is a number.
const FIELDS: [(&str, &str, &str, bool); 7] = [
    ("baseline_flow_factor_m3_h", "Flow factor", "Hoses removed.", true),
    ("baseline_uncertainty_percent", "Its standard uncertainty", "2 % if left out.", true),
    ("baseline_date", "Day that earned it", "YYYY-MM-DD", false),
    ("baseline_filled_volume_ml", "Filled volume", "Hoses removed.", true),
    (
        "baseline_filled_volume_uncertainty_percent",
        "Standard uncertainty of the volume",
        "5 % if left out.",
        true,
    ),
    ("baseline_sonic_conductance_dm3_s_bar", "Sonic conductance", "Hoses removed.", true),
    (
        "baseline_sonic_conductance_uncertainty_percent",
        "Standard uncertainty of the conductance",
        "5 % if left out.",
        true,
    ),
];

/// A visit that measured a flow, and the baseline it would give.
struct Earned {
    visit: String,
    started: jiff::Timestamp,
    baseline: Baseline,
}

struct Shown {
    on: OnRecord,
    past: Vec<Entry>,
    earned: Vec<Earned>,
}

fn gather(app: &App, reader: &Reader<'_>, mould: &str, circuit: &str) -> Result<Shown, Problem> {
    let on = on_record(reader, mould)?;
    on.circuit(circuit)?;
    let past = history(reader, &Subject::circuit(mould, circuit), &["baseline"])?;
    let mut earned = Vec::new();
    for row in &on.visits {
        let findings = shown::of(app, reader, mould, &row.id)?.findings;
        let id = CircuitId(circuit.to_owned());
        let Some(found) = findings.circuits.iter().find(|found| found.id == id) else { continue };
        let visit = reader.visit(mould, &row.id, AsOf::Now)?;
        earned.extend(Baseline::earned(found, &visit).map(|baseline| Earned {
            visit: row.id.clone(),
            started: row.started,
            baseline,
        }));
    }
    Ok(Shown { on, past, earned })
}

fn address(mould: &str, circuit: &str) -> String {
    format!("{}/baseline", layout::circuit(mould, circuit))
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(&app, reader, &mould, &circuit))?;
        Ok(with(&app, session.as_ref(), &shown, &circuit, &Typed::default(), &[])?.into_response())
    })
    .await
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    circuit: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Result<Html<String>, Problem> {
    let id = &shown.on.mould.id.0;
    let here = address(id, circuit);
    let entry =
        shown.on.entry_of(circuit, "baseline").map(|item| item.entry.number.to_string()).unwrap_or_default();
    let content = html! {
        h1 { "Baseline of " (circuit) ", " (id) }
        p.lead { "What the circuit can do when it is new or freshly cleaned. Every later flow is compared with it." }
        p { "On record: " (baseline(shown.on.circuit(circuit)?)) }
        @match Session::recording(session) {
            Some(session) => {
                (from_visits(session, shown, &here, &entry, typed, faults))
                (by_hand(session, &here, &entry, typed, faults))
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
    let title = format!("Baseline of {id} {circuit}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

fn from_visits(
    session: &Session,
    shown: &Shown,
    here: &str,
    entry: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Markup {
    html! {
        section aria-labelledby="earned" {
            h2 #earned { "From a visit" }
            @if shown.earned.is_empty() { p { "No visit has measured its flow yet." } }
            @for (at, one) in shown.earned.iter().enumerate() {
                @let form = format!("visit-{at}");
                @let own = typed.given("visit") == Some(&one.visit);
                @let nothing = Typed::default();
                @let filling = Filling { form: &form, typed: if own { typed } else { &nothing }, faults: if own { faults } else { &[] } };
                details.form open[own] {
                    summary {
                        (one.visit) ", " (moment(one.started)) ": "
                        (amount(&one.baseline.flow_factor_m3_h.estimate(), "m³/h"))
                        @if let Some(volume) = &one.baseline.filled_volume_ml { ", " (amount(&volume.estimate(), "ml")) }
                    }
                    form.entry method="post" action=(here) data-form=(form) novalidate {
                        (summary(&form, filling.faults, label))
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="entry" value=(entry);
                        input type="hidden" name="visit" value=(one.visit);
                        p { "Take it if the circuit was then new or freshly cleaned, and its readings are to be trusted." }
                        (filling.line("reason", "Why it is the best trusted", "", false))
                        button type="submit" { "Make it the baseline" }
                    }
                }
            }
        }
    }
}

fn by_hand(session: &Session, here: &str, entry: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let own = typed.given("visit").is_none() && !faults.is_empty();
    let nothing = Typed::default();
    let filling = Filling {
        form: "typed",
        typed: if own { typed } else { &nothing },
        faults: if own { faults } else { &[] },
    };
    let others = [("closed", "closed"), ("open", "open")];
    html! {
        section aria-labelledby="typed" {
            h2 #typed { "From a paper" }
            details.form open[own] {
                summary { "Type a baseline" }
                form.entry method="post" action=(here) novalidate {
                    (summary("typed", filling.faults, label))
                    (sealed(session, &fresh_key()))
                    input type="hidden" name="entry" value=(entry);
                    div.fields {
                        @for (name, words, help, is_number) in FIELDS {
                            @let optional = name != "baseline_flow_factor_m3_h";
                            @if is_number { (filling.number(name, words, help, optional)) } @else { (filling.line(name, words, help, optional)) }
                        }
                        (filling.choice("baseline_others", "The other circuits meanwhile", "", &others))
                    }
                    (filling.line("reason", "Where it comes from", "", false))
                    button type="submit" { "Record the baseline" }
                }
            }
        }
    }
}

fn label(name: &str) -> Option<String> {
    if name == "reason" {
        return Some("Reason".to_owned());
    }
    FIELDS.iter().find(|(known, ..)| *known == name).map(|(_, words, ..)| (*words).to_owned())
}

/// Takes a form.
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
    let shown = read(app, |reader| gather(app, reader, mould, id))?;
    let again =
        |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, id, typed, faults)?));
    let mut circuit = shown.on.circuit(id)?.clone();
    let mut faults = Vec::new();
    match typed.given("visit") {
        Some(visit) => match shown.earned.iter().find(|one| one.visit == visit) {
            Some(one) => circuit.baseline = Some(one.baseline.clone()),
            None => return Err(Problem::Missing(format!("Visit {visit} has measured no flow of {id}."))),
        },
        None => match typed_baseline(&shown.on, id, typed) {
            Ok(baseline) => circuit.baseline = Some(baseline),
            Err(more) => faults.extend(more),
        },
    }
    if typed.given("reason").is_none() {
        faults.push(Fault::new("reason", "missing", "a baseline needs its reason"));
    }
    let card = baseline_card(&shown.on.mould, &circuit, typed.given("visit").map(str::to_owned));
    let Some(card) = card.filter(|_| faults.is_empty()) else { return again(&faults) };
    let say = Say { fact: Fact::Baseline(card), instead_of: typed.get("entry").parse().ok() };
    match sent.record_of_mould(mould, typed.get("reason"), vec![say])? {
        Ok(()) => Ok(Redirect::to(&layout::circuit(mould, id)).into_response()),
        Err(faults) => again(&faults),
    }
}

/// The typed baseline by the rules of the mould file, in the words of the form.
fn typed_baseline(on: &OnRecord, id: &str, typed: &Typed) -> Result<Baseline, Vec<Fault>> {
    let mut said: Vec<(&str, Option<Value>)> = [
        "baseline_points",
        "baseline_points_flow_uncertainty_percent",
        "baseline_points_pressure_uncertainty_bar",
        "baseline_points_temperature_uncertainty_k",
    ]
    .map(|name| (name, None))
    .to_vec();
    for (name, _, _, is_number) in FIELDS {
        said.push((name, if is_number { figure(typed, name) } else { line(typed, name) }));
    }
    said.push((
        "baseline_others",
        typed.given("baseline_flow_factor_m3_h").and(line(typed, "baseline_others")),
    ));
    let plain = |text: &str| {
        FIELDS
            .iter()
            .rev()
            .fold(text.to_owned(), |text, (name, words, ..)| text.replace(name, &format!("‘{words}’")))
    };
    let read = circuit_said(&on.mould, id, &said).map_err(|faults| {
        let words =
            |fault: Fault| Fault { problem: plain(&fault.problem), hint: plain(&fault.hint), ..fault };
        faults.into_iter().map(words).collect::<Vec<_>>()
    })?;
    let missing = || {
        vec![Fault::new("baseline_flow_factor_m3_h", "missing", "a baseline is a flow factor first of all")]
    };
    read.baseline.ok_or_else(missing)
}
