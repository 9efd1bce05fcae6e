//! Why there is no answer: problem details (RFC 9457), with every fault at once.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use calc::form::{Fault, Value};
use exchange::json::to_json;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value as Json;
use store::StoreError;

use crate::app::JudgeError;
use crate::printer::PrintError;
use crate::problem::Problem;

/// Longest text of a wrong value that is told back, in letters.
const TOLD_BACK: usize = 200;

/// What is wrong at one place of what was sent.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(rename = "Fault")]
pub(crate) struct FaultShape {
    /// Place in what was sent: names and places in lists, from 0, with full stops between; empty for the whole.
    place: String,
    /// The value that stands there; null where none does.
    value: Json,
    /// What is wrong.
    problem: String,
    /// What would be right.
    expected: String,
}

/// Problem details (RFC 9457).
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(rename = "Problem")]
pub(crate) struct ProblemShape {
    /// Always `about:blank`: the status says what kind of problem it is, and `code` says more.
    #[serde(rename = "type")]
    kind: &'static str,
    /// Title of the status.
    title: &'static str,
    /// The status again.
    status: u16,
    /// What is the matter, in a sentence.
    detail: String,
    /// Fixed word for programs.
    code: &'static str,
    /// Every fault of what was sent.
    faults: Vec<FaultShape>,
}

/// Why there is no answer.
#[derive(Debug)]
pub(crate) struct Refusal {
    status: StatusCode,
    code: &'static str,
    detail: String,
    faults: Vec<Fault>,
    wait_s: Option<i64>,
}

impl Refusal {
    /// A refusal.
    pub(crate) fn new(status: StatusCode, code: &'static str, detail: impl Into<String>) -> Self {
        Self { status, code, detail: detail.into(), faults: Vec::new(), wait_s: None }
    }

    /// What was sent is wrong at these places.
    pub(crate) fn faults(faults: Vec<Fault>) -> Self {
        let detail = match faults.len() {
            1 => "What was sent has a fault; nothing was recorded.".to_owned(),
            count => format!("What was sent has {count} faults; nothing was recorded."),
        };
        Self { faults, ..Self::new(StatusCode::UNPROCESSABLE_ENTITY, "faults", detail) }
    }

    /// One fault.
    pub(crate) fn fault(fault: Fault) -> Self {
        Self::faults(vec![fault])
    }

    /// Numbers that are unlikely, with what was meant instead, probably.
    pub(crate) fn unlikely(faults: Vec<Fault>) -> Self {
        let detail =
            "A number is unlikely; nothing was recorded. Correct it, or send it again with as_given=true.";
        Self { faults, ..Self::new(StatusCode::UNPROCESSABLE_ENTITY, "unlikely", detail) }
    }

    /// Nothing is here.
    pub(crate) fn unknown(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::NOT_FOUND, "unknown", detail)
    }

    /// It does not fit what is on record.
    pub(crate) fn conflict(code: &'static str, detail: impl Into<String>) -> Self {
        Self::new(StatusCode::CONFLICT, code, detail)
    }

    /// It is for others.
    pub(crate) fn forbidden(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::FORBIDDEN, "forbidden", detail)
    }

    /// It could not be done.
    pub(crate) fn failed(detail: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, "failed", detail)
    }

    /// The same, with the seconds to wait.
    pub(crate) fn wait(self, seconds: i64) -> Self {
        Self { wait_s: Some(seconds), ..self }
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        let text = error.to_string();
        match &error {
            StoreError::Unknown { .. } => Self::unknown(text),
            StoreError::Role { .. } => Self::forbidden(text),
            StoreError::BadName { .. } => Self::fault(Fault::new("", text, "give another name")),
            StoreError::KeyReused { .. }
            | StoreError::NotNewest { .. }
            | StoreError::CannotCorrect { .. }
            | StoreError::PlaceTaken { .. } => Self::conflict("conflict", text),
            StoreError::ReasonMissing(_) => Self::fault(Fault::new("reason", text, "say why it was wrong")),
            StoreError::BlobLarge { .. } => Self::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", text),
            _ => Self::failed(text),
        }
    }
}

impl From<JudgeError> for Refusal {
    fn from(error: JudgeError) -> Self {
        Problem::from(error).into()
    }
}

impl From<PrintError> for Refusal {
    fn from(error: PrintError) -> Self {
        Problem::from(error).into()
    }
}

impl From<Problem> for Refusal {
    fn from(problem: Problem) -> Self {
        match problem {
            Problem::Missing(text) => Self::unknown(text),
            Problem::Refused(text) => Self::conflict("conflict", text),
            Problem::Failed(text) => Self::failed(text),
            Problem::Forbidden(text) => Self::forbidden(text),
            Problem::Who(_) | Problem::SignIn => {
                Self::new(StatusCode::UNAUTHORIZED, "no-token", "A token is needed.")
            }
        }
    }
}

/// The value of a fault, short enough to be told back.
fn told_back(value: Value) -> Json {
    match value {
        Value::Text(text) => Json::String(text.chars().take(TOLD_BACK).collect()),
        Value::List(_) | Value::Record(_) => Json::Null,
        other => to_json(&other),
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let shape = ProblemShape {
            kind: "about:blank",
            title: self.status.canonical_reason().unwrap_or("Problem"),
            status: self.status.as_u16(),
            detail: self.detail,
            code: self.code,
            faults: self
                .faults
                .into_iter()
                .map(|fault| FaultShape {
                    place: fault.field,
                    value: fault.value.map_or(Json::Null, told_back),
                    problem: fault.problem,
                    expected: fault.hint,
                })
                .collect(),
        };
        let text = serde_json::to_string(&shape).unwrap_or_default();
        let mut response = (self.status, text).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if self.status == StatusCode::UNAUTHORIZED {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        if let Some(seconds) = self.wait_s {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        response
    }
}
