//! The interface for programs: what the pages do, as JSON, for whoever bears a token.
//!
//! Every operation stands once in [`operations::all`]: the addresses are answered from it, and the description
//! ([`description`]) is made from it. What is sent is checked by the definitions of the files and calculators
//! ([`calc::form`]), and described by the same; what comes back is a shape of [`shapes`], whose schema is derived from it.

mod calculators;
mod call;
mod describe;
mod operation;
mod operations;
mod page;
mod papers;
mod read;
mod readings;
mod refusal;
mod shapes;
mod shapes_more;
mod write;

use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodFilter, get, on};

use crate::app::App;
pub use describe::description;
use operation::Method;
pub use page::page;
use refusal::Refusal;

/// Beginning of every address; the number is the version of the shapes.
const ROOT: &str = "/api/v1";

/// Whether an address belongs to the interface for programs.
pub(crate) fn is_at(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/")
}

/// The answer to a name that this machine does not answer to.
pub(crate) fn misdirected(status: StatusCode, text: &str) -> Response {
    Refusal::new(status, "misdirected", text.trim_end()).into_response()
}

/// All addresses of the interface.
pub(crate) fn routes() -> Router<Arc<App>> {
    let mut router = Router::new().route(&format!("{ROOT}/openapi.json"), get(openapi));
    for operation in operations::all() {
        let filter = match operation.method {
            Method::Get => MethodFilter::GET,
            Method::Post => MethodFilter::POST,
        };
        let answer =
            move |State(app): State<Arc<App>>, request: Request| call::answer(app, operation, request);
        router = router.route(&format!("{ROOT}{}", operation.path), on(filter, answer));
    }
    router.method_not_allowed_fallback(wrong_method).route("/api/{*rest}", axum::routing::any(nothing))
}

async fn nothing() -> Response {
    let text = format!("Nothing is at this address; {ROOT}/openapi.json tells what there is.");
    Refusal::new(StatusCode::NOT_FOUND, "unknown", text).into_response()
}

async fn wrong_method(request: Request) -> Response {
    if !is_at(request.uri().path()) {
        return StatusCode::METHOD_NOT_ALLOWED.into_response();
    }
    let text = format!("{} is not answered at this address.", request.method());
    Refusal::new(StatusCode::METHOD_NOT_ALLOWED, "wrong-method", text).into_response()
}

async fn openapi(State(app): State<Arc<App>>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], format!("{:#}\n", description(app.program)))
        .into_response()
}
