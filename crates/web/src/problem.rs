//! Why there is no page, as a page.

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use store::StoreError;

use crate::app::JudgeError;
use crate::layout;

/// Why there is no page.
#[derive(Debug)]
pub(crate) enum Problem {
    /// Nothing stands at this address.
    Missing(String),
    /// It may not be done so.
    Refused(String),
    /// It could not be done.
    Failed(String),
    /// It is for others to do.
    Forbidden(String),
    /// Somebody has to say first who they are, and then goes on here.
    Who(String),
    /// A form came from nobody who has signed in.
    SignIn,
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        match &error {
            StoreError::Unknown { .. } => Self::Missing(error.to_string()),
            StoreError::Role { .. } => Self::Forbidden(error.to_string()),
            StoreError::KeyReused { .. }
            | StoreError::BadName { .. }
            | StoreError::NotNewest { .. }
            | StoreError::CannotCorrect { .. }
            | StoreError::ReasonMissing(_) => Self::Refused(error.to_string()),
            _ => Self::Failed(error.to_string()),
        }
    }
}

impl From<JudgeError> for Problem {
    fn from(error: JudgeError) -> Self {
        match error {
            JudgeError::Store(error) => error.into(),
            JudgeError::Unreadable(text) => Self::Failed(text),
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let (status, title, text) = match self {
            Self::Who(next) => {
                return Redirect::to(&format!("/who?next={}", layout::encoded(&next))).into_response();
            }
            Self::SignIn => {
                let text = "You are not signed in any more. Nothing was recorded: sign in in another tab, then go \
                            back and send the form again.";
                (StatusCode::UNAUTHORIZED, "Sign in first", text.to_owned())
            }
            Self::Forbidden(text) => (StatusCode::FORBIDDEN, "That is for somebody else", text),
            Self::Missing(text) => (StatusCode::NOT_FOUND, "Nothing is here", text),
            Self::Refused(text) => (StatusCode::CONFLICT, "That was not recorded", text),
            Self::Failed(text) => (StatusCode::INTERNAL_SERVER_ERROR, "That could not be done", text),
        };
        (status, Html(layout::alone(title, &text))).into_response()
    }
}
