//! What an operation is: where it stands, who may, what it takes and gives, and what it does.

use axum::http::StatusCode;
use calc::form::Field;
use schemars::{Schema, SchemaGenerator};
use serde::Serialize;
use serde_json::Value as Json;
use store::shapes::Role;

use super::call::Call;
use super::refusal::Refusal;

/// How an address is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Method {
    /// Reads.
    Get,
    /// Records, or works something out.
    Post,
}

/// What stands in the body of a request.
#[derive(Clone, Copy)]
pub(crate) enum Takes {
    /// Nothing.
    Nothing,
    /// A record of these fields.
    Record(&'static [Field]),
    /// A mould with the fields of the mould file.
    Mould,
    /// A reading with the fields of the visit file.
    Reading,
    /// A treatment with the fields of the visit file.
    Treatment,
    /// A calculator's inputs.
    Inputs,
}

/// What an answer holds.
#[derive(Clone, Copy)]
pub(crate) enum Gives {
    /// A shape of ours.
    Shape(fn(&mut SchemaGenerator) -> Schema),
    /// A mould with the fields of the mould file.
    Mould,
    /// The findings document.
    Findings,
    /// A paper.
    Pdf,
}

/// An operation.
pub(crate) struct Operation {
    /// How it is asked.
    pub method: Method,
    /// Address behind the root, with names in braces.
    pub path: &'static str,
    /// Name for programs.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// More about it.
    pub text: &'static str,
    /// Role that it takes at least.
    pub role: Role,
    /// What may stand behind the question mark.
    pub query: &'static [Field],
    /// What it takes.
    pub takes: Takes,
    /// What it gives.
    pub gives: Gives,
    /// Status of a good answer.
    pub status: StatusCode,
    /// Whether it records something, and so needs a key.
    pub records: bool,
    /// What it does.
    pub run: fn(&Call<'_>) -> Result<Answer, Refusal>,
}

/// A good answer.
pub(crate) enum Answer {
    /// A document.
    Document(Json),
    /// The text of a document, as it was answered before.
    Text(u16, String),
    /// A paper, under this name.
    Pdf(String, Vec<u8>),
}

impl Answer {
    /// A shape as a document.
    pub(crate) fn shape(shape: &impl Serialize) -> Result<Self, Refusal> {
        Ok(Self::Document(document(shape)?))
    }
}

/// A shape as JSON.
pub(crate) fn document(shape: &impl Serialize) -> Result<Json, Refusal> {
    serde_json::to_value(shape)
        .map_err(|error| Refusal::failed(format!("The answer could not be written: {error}.")))
}

impl Operation {
    /// Something that is read.
    pub(crate) const fn get(
        path: &'static str,
        name: &'static str,
        title: &'static str,
        gives: Gives,
        run: fn(&Call<'_>) -> Result<Answer, Refusal>,
    ) -> Self {
        Self {
            method: Method::Get,
            path,
            name,
            title,
            text: "",
            role: Role::Viewer,
            query: &[],
            takes: Takes::Nothing,
            gives,
            status: StatusCode::OK,
            records: false,
            run,
        }
    }

    /// Something that is recorded.
    pub(crate) const fn post(
        path: &'static str,
        name: &'static str,
        title: &'static str,
        takes: Takes,
        gives: Gives,
        run: fn(&Call<'_>) -> Result<Answer, Refusal>,
    ) -> Self {
        Self {
            method: Method::Post,
            path,
            name,
            title,
            text: "",
            role: Role::Technician,
            query: &[],
            takes,
            gives,
            status: StatusCode::CREATED,
            records: true,
            run,
        }
    }

    /// The same with more about it.
    pub(crate) const fn about(self, text: &'static str) -> Self {
        Self { text, ..self }
    }

    /// The same for this role.
    pub(crate) const fn takes_a(self, role: Role) -> Self {
        Self { role, ..self }
    }

    /// The same with what may stand behind the question mark.
    pub(crate) const fn asked_with(self, query: &'static [Field]) -> Self {
        Self { query, ..self }
    }
}
