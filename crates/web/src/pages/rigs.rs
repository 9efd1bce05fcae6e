//! Rigs and their instruments, with the dates of their calibrations, and the ways to limits and materials.

use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse as _, Response};
use maud::{Markup, html};
use store::read::InstrumentRow;

use super::{blocking, read};
use crate::app::App;
use crate::entry::somebody;
use crate::layout::{Page, Place, encoded};

/// Today's date as it is written in dates.
pub(crate) fn today() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%d").to_string()
}

/// Until when a calibration holds, and whether it has ended.
pub(crate) fn until(date: Option<&str>, today: &str) -> Markup {
    html! {
        @match date {
            Some(date) if date < today => span.said.step-word.alarm { "✕ overdue since " (date) },
            Some(date) => { "holds until " (date) },
            None => "no calibration on record",
        }
    }
}

/// The page.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let (rigs, instruments) = read(&app, |reader| Ok((reader.rigs()?, reader.instruments()?)))?;
        let today = today();
        let loose: Vec<&InstrumentRow> = instruments.iter().filter(|row| row.rig.is_none()).collect();
        let content = html! {
            h1 { "Rigs, instruments, limits and materials" }
            p.ways {
                a.button href="/new-rig" { "Add a rig" } " "
                a.button href="/new-instrument" { "Add an instrument" } " "
                a.button href="/limits" { "Limits" } " "
                a.button href="/materials" { "Materials" }
            }
            @if rigs.is_empty() { p.lead { "No rig is on record yet. Without one the usual uncertainties are taken, and answers are wider." } }
            @for rig in &rigs {
                section {
                    h2 { a href={ "/rigs/" (encoded(rig)) } { (rig) } }
                    @let own: Vec<&InstrumentRow> = instruments.iter().filter(|row| row.rig.as_ref() == Some(rig)).collect();
                    @if own.is_empty() { p.quiet { "No instruments of it are on record." } } @else { (list(&own, &today)) }
                }
            }
            @if !loose.is_empty() { section { h2 { "Instruments of no rig" } (list(&loose, &today)) } }
        };
        let page = Page { title: "Rigs", place: Place::Rigs, here: "/rigs", trail: &[] };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}

fn list(rows: &[&InstrumentRow], today: &str) -> Markup {
    html! {
        ul.rows { @for row in rows { li {
            a.way href={ "/instruments/" (encoded(&row.id)) } { (row.id) }
            (row.measures) ": " (until(row.calibrated_until.as_deref(), today))
        } } }
    }
}
