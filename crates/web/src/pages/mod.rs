//! The pages.

pub(crate) mod across;
pub(crate) mod baseline;
pub(crate) mod bench;
pub(crate) mod calculators;
pub(crate) mod circuit;
pub(crate) mod circuit_edit;
pub(crate) mod find;
pub(crate) mod gates;
pub(crate) mod half;
pub(crate) mod hook_up;
pub(crate) mod instrument;
pub(crate) mod leaks;
pub(crate) mod me;
pub(crate) mod mould;
pub(crate) mod mould_edit;
pub(crate) mod moulds;
pub(crate) mod paper;
pub(crate) mod people;
pub(crate) mod photos;
pub(crate) mod pieces;
pub(crate) mod rig_edit;
pub(crate) mod rigs;
pub(crate) mod sheet;
pub(crate) mod tables;
pub(crate) mod take_in;
pub(crate) mod today;
pub(crate) mod tokens;
pub(crate) mod visit;
pub(crate) mod who;
pub(crate) mod whole;

pub(crate) use people_form::line_field;
pub(crate) use who::next;

mod calculator_form;
mod edit;
mod over_time;
mod people_form;

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse as _, Response};
use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::caution;
use store::Reader;
use store::read::VisitRow;

use crate::app::App;
use crate::entry::somebody;
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;

/// Runs work that waits for the disk or computes, away from the threads that listen.
pub(crate) async fn blocking(work: impl FnOnce() -> Result<Response, Problem> + Send + 'static) -> Response {
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(response)) => response,
        Ok(Err(problem)) => problem.into_response(),
        Err(_) => {
            let text = "This is a fault of Borewise itself. What was recorded before is safe.";
            Problem::Failed(text.into()).into_response()
        }
    }
}

/// Reads the record for a page: everything of one moment.
pub(crate) fn read<T>(app: &App, work: impl FnOnce(&Reader<'_>) -> Result<T, Problem>) -> Result<T, Problem> {
    let mut done = None;
    app.store.read(|reader| {
        done = Some(work(reader));
        Ok(())
    })?;
    done.unwrap_or_else(|| Err(Problem::Failed("The record was not read.".into())))
}

/// A form that is answered with what is wrong.
pub(crate) struct Answer<'a> {
    /// What was typed.
    pub typed: &'a Typed,
    /// What is wrong.
    pub faults: &'a [Fault],
}

/// A page of a visit, with an answer to its form if there is one.
type OfVisit = fn(&App, Option<&Session>, &str, &str, Option<&Answer<'_>>) -> Result<Html<String>, Problem>;

/// Shows a page of a visit.
async fn of_visit(app: Arc<App>, headers: HeaderMap, at: (String, String), page: OfVisit) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        Ok(page(&app, session.as_ref(), &at.0, &at.1, None)?.into_response())
    })
    .await
}

/// What the lists say of a visit.
fn visit_row(reader: &Reader<'_>, mould: &str, visit: &str) -> Result<VisitRow, Problem> {
    let row = reader.visits(Some(mould))?.into_iter().find(|row| row.id == visit);
    row.ok_or_else(|| Problem::Missing(format!("Mould {mould} has no visit {visit}.")))
}

/// Cautions beside a step.
fn cautions<'a>(texts: impl IntoIterator<Item = &'a &'static str>) -> Markup {
    html! {
        div.cautions {
            p.cautions-head { (caution()) "Cautions" }
            ul { @for text in texts { li { (text) } } }
        }
    }
}

/// A page that answers a form with what is wrong.
pub(crate) fn unprocessable(page: Html<String>) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
}

/// Whether a form with this key is on record: a page asks before it offers again what was typed into it.
pub(crate) async fn kept(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(key): Path<String>,
) -> Response {
    blocking(move || {
        if somebody(&app, &headers)?.is_none() {
            return Ok(StatusCode::UNAUTHORIZED.into_response());
        }
        let written = app.store.read(|reader| reader.written(&format!("page-{key}")))?;
        let status = if written.is_empty() { StatusCode::NOT_FOUND } else { StatusCode::NO_CONTENT };
        Ok(status.into_response())
    })
    .await
}

/// No page stands here.
pub(crate) async fn missing() -> Response {
    Problem::Missing("There is no page at this address.".into()).into_response()
}
