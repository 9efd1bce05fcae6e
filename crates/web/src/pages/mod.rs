//! The pages.

pub(crate) mod bench;
pub(crate) mod calculators;
pub(crate) mod circuit;
pub(crate) mod mould;
pub(crate) mod moulds;
pub(crate) mod paper;
pub(crate) mod sheet;
pub(crate) mod today;
pub(crate) mod visit;
pub(crate) mod who;

mod calculator_form;
mod over_time;

use axum::response::{IntoResponse as _, Response};
use store::Reader;

use crate::app::App;
use crate::problem::Problem;

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

/// No page stands here.
pub(crate) async fn missing() -> Response {
    Problem::Missing("There is no page at this address.".into()).into_response()
}
