//! Every calculator as a page, made from its one definition.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse as _, Response};
use calc::calculators::{Answer, Calculator, METHOD, all, find};
use calc::estimate::Estimate;
use calc::form::{Fault, Value};
use maud::{Markup, html};
use report::Units;
use report::pieces::{amount, capital};

use super::blocking;
use super::calculator_form::{fields, input, label};
use crate::app::App;
use crate::entry::somebody;
use crate::forms::summary;
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;
use crate::units::{plain_name, unit};

/// All calculators.
pub(crate) async fn list(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let content = html! {
            h1 { "Calculators" }
            ul.rows.calculators { @for one in all() { li {
                a.way href={ "/calculators/" (one.name) } { (one.title) }
                span.under { (one.text) }
            } } }
        };
        let page = Page { title: "Calculators", place: Place::Calculators, here: "/calculators", trail: &[] };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}

/// One calculator with an empty form.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(name): Path<String>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let one = known(&name)?;
        Ok(with(&app, session.as_ref(), one, &Typed::default(), None).into_response())
    })
    .await
}

/// The same with an answer, or with what is wrong.
pub(crate) async fn answer(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(name): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let one = known(&name)?;
        let result = match input(one.inputs, &typed, Session::units_of(session.as_ref())) {
            Ok(input) => one.answer(&input),
            // What could be read is checked too, so that every fault is named at once.
            Err((input, mut faults)) => {
                let more = one.answer(&input).err().unwrap_or_default();
                let new: Vec<Fault> = more.into_iter().filter(|fault| !known_fault(&faults, fault)).collect();
                faults.extend(new);
                Err(faults)
            }
        };
        let status = if result.is_ok() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
        Ok((status, with(&app, session.as_ref(), one, &typed, Some(&result))).into_response())
    })
    .await
}

fn known_fault(faults: &[Fault], fault: &Fault) -> bool {
    faults.iter().any(|known| known.field == fault.field)
}

fn known(name: &str) -> Result<&'static Calculator, Problem> {
    find(name).ok_or_else(|| Problem::Missing(format!("No calculator is named {name}.")))
}

fn with(
    app: &App,
    session: Option<&Session>,
    one: &'static Calculator,
    typed: &Typed,
    result: Option<&Result<Answer, Vec<Fault>>>,
) -> Html<String> {
    let faults = match result {
        Some(Err(faults)) => faults.as_slice(),
        _ => &[],
    };
    let units = Session::units_of(session);
    let content = html! {
        h1 { (one.title) }
        p.lead { (one.text) }
        @if let Some(Ok(answer)) = result { (outcome(one, answer, units)) }
        form.entry method="post" action={ "/calculators/" (one.name) } novalidate {
            (summary(one.name, faults, |name| label(one.inputs, name)))
            (fields(one.name, one.inputs, "", typed, units, faults))
            button type="submit" { "Work it out" }
        }
        section aria-labelledby="sources" {
            h2 #sources { "Where it comes from" }
            p { "Sources, by their keys in the method book: " (one.sources.join(", ")) "." }
            p.quiet { "Method " (METHOD) ". The same on the command line: " code { "borewise calc " (one.name) } "." }
        }
    };
    let trail = [("Calculators".to_owned(), "/calculators".to_owned())];
    let here = format!("/calculators/{}", one.name);
    let page = Page { title: one.title, place: Place::Calculators, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn outcome(one: &Calculator, answer: &Answer, units: Units) -> Markup {
    let text =
        |name: &str| one.outputs.iter().find(|output| output.name == name).map_or("", |output| output.text);
    html! {
        section.outcome aria-labelledby="outcome" role="status" {
            h2 #outcome { "Answer" }
            dl.answers { @for (name, value) in &answer.outputs {
                div { dt { (capital(&plain_name(name))) span.under { (text(name)) } } dd { (shown(name, value, units)) } }
            } }
            @if !answer.warnings.is_empty() { ul.notes { @for warning in &answer.warnings { li { (warning.text) } } } }
        }
    }
}

/// A value of an answer; an estimate with its interval.
fn shown(name: &str, value: &Value, units: Units) -> Markup {
    html! {
        @match value {
            Value::Null => "not known",
            Value::Flag(flag) => @if *flag { "yes" } @else { "no" },
            Value::Number(number) => (units.exact(*number, unit(name))),
            Value::Text(text) => (text.replace('-', " ")),
            Value::List(items) => {
                @if items.is_empty() { "none" }
                @else if items.iter().all(|item| matches!(item, Value::Number(_) | Value::Null)) {
                    (items.iter().map(|item| item.as_number().map_or("–".to_owned(), |number| units.number(number, unit(name)))).collect::<Vec<_>>().join("; "))
                    " " (units.shown(unit(name)))
                } @else { ol { @for item in items { li { (shown(name, item, units)) } } } }
            },
            Value::Record(fields) => @match estimate(value) {
                Some(estimate) => (amount(&estimate, unit(name))),
                None => dl.inner { @for (inner, value) in fields { div { dt { (capital(&plain_name(inner))) } dd { (shown(inner, value, units)) } } } },
            },
        }
    }
}

fn estimate(value: &Value) -> Option<Estimate> {
    let number = |name: &str| value.get(name).and_then(Value::as_number);
    Some(Estimate {
        value: number("value")?,
        low: number("low")?,
        high: number("high")?,
        coverage: number("coverage")?,
    })
}
