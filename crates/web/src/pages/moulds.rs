//! All moulds.

use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse as _, Response};
use maud::html;
use report::pieces::{counted, moment};

use super::{blocking, read};
use crate::app::App;
use crate::entry::somebody;
use crate::layout::{self, Page, Place};

/// The list of moulds.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let moulds = read(&app, |reader| Ok(reader.moulds()?))?;
        let content = html! {
            h1 { "Moulds" }
            p { a.button href="/take-in" { "Take in a mould without papers" } }
            @if moulds.is_empty() {
                p.lead { "No mould is on record yet." }
                p { "Moulds come from files or from a spreadsheet: " code { "borewise record FILE" } ", while this is stopped or running." }
            } @else {
                table.list role="table" aria-label="Moulds" {
                    thead role="rowgroup" { tr role="row" {
                        @for heading in ["Mould", "Circuits", "Visits", "Last visit"] { th role="columnheader" scope="col" { (heading) } }
                    } }
                    tbody role="rowgroup" { @for row in &moulds { tr role="row" {
                        th.name role="rowheader" scope="row" { a href=(layout::mould(&row.id)) { (row.id) } span.under { (row.name) } }
                        td role="cell" data-label="Circuits" { (row.circuits) }
                        td role="cell" data-label="Visits" { (row.visits) }
                        td role="cell" data-label="Last visit" { @match row.last_visit { Some(at) => (moment(at)), None => "none yet" } }
                    } } }
                }
                p.quiet { (counted(moulds.len(), "mould", "moulds")) " on record." }
            }
        };
        let page = Page { title: "Moulds", place: Place::Moulds, here: "/moulds", trail: &[] };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}
