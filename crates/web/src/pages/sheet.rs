//! The visit sheet for paper.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{Html, IntoResponse as _, Response};
use report::{Footer, visit_sheet};
use store::AsOf;

use super::{blocking, read};
use crate::app::App;
use crate::shown;

/// The sheet carries its style inside; it may use that one and nothing else.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The visit sheet, as `borewise assess` writes it.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    Path((mould, visit)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let (shown, digest) = read(&app, |reader| {
            let shown = shown::of(&app, reader, &mould, &visit)?;
            Ok((shown, reader.inputs_of(&mould, &visit, AsOf::Now)?.to_string()))
        })?;
        let footer = Footer {
            program_version: app.program,
            digest: &digest,
            printed_at: Some(jiff::Timestamp::now()),
        };
        let sheet = visit_sheet(&shown.findings, &footer);
        Ok(([(header::CONTENT_SECURITY_POLICY, POLICY)], Html(sheet)).into_response())
    })
    .await
}
