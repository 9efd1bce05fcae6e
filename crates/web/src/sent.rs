//! What a form sent: fields, and files beside them.

use axum::extract::{Form, FromRequest, Multipart, Request};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use crate::problem::Problem;
use crate::typed::Typed;

/// Ending of the name of a field that takes a file in place of the pasted lines of the field without it.
pub(crate) const FILE: &str = "-file";

/// A file that came with a form.
pub(crate) struct File {
    /// Name of the field.
    pub field: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// What a form sent, whichever way the browser wrote it.
pub(crate) struct Sent {
    /// Fields.
    pub typed: Typed,
    /// Files that were chosen; a field without one is left out.
    pub files: Vec<File>,
}

impl<S: Send + Sync> FromRequest<S> for Sent {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
        if !kind.is_some_and(|kind| kind.starts_with("multipart/form-data")) {
            let Form(pairs) = Form::<Vec<(String, String)>>::from_request(request, state)
                .await
                .map_err(|error| error.into_response())?;
            return Ok(Self { typed: Typed::new(pairs), files: Vec::new() });
        }
        let mut parts =
            Multipart::from_request(request, state).await.map_err(|error| error.into_response())?;
        let (mut pairs, mut files) = (Vec::new(), Vec::new());
        while let Some(part) = parts.next_field().await.map_err(too_much)? {
            let field = part.name().unwrap_or_default().to_owned();
            let is_file = part.file_name().is_some();
            let bytes = part.bytes().await.map_err(too_much)?.to_vec();
            match (is_file, bytes.is_empty()) {
                (true, false) => files.push(File { field, bytes }),
                (true, true) => {}
                (false, _) => pairs.push((field, String::from_utf8_lossy(&bytes).into_owned())),
            }
        }
        Ok(Self { typed: Typed::new(pairs), files })
    }
}

fn too_much(error: axum::extract::multipart::MultipartError) -> Response {
    let text = format!(
        "What was sent could not be taken: {}. Go back: what you typed is still there.",
        error.body_text()
    );
    (error.status(), Problem::Refused(text)).into_response()
}

impl Sent {
    /// The fields, with the text of each logger's file in the field that takes pasted lines: from there on it makes no
    /// difference which way it came, and a file that is refused can be looked at in the page.
    pub(crate) fn with_traces(self) -> Typed {
        let mut typed = self.typed;
        for file in self.files {
            if let Some(field) = file.field.strip_suffix(FILE)
                && typed.given(field).is_none()
            {
                typed.set(field, text(&file.bytes).trim());
            }
        }
        typed
    }
}

/// The text of a file in one of the ways in which loggers write: UTF-8, UTF-16 with a mark in front, or Latin-1.
fn text(bytes: &[u8]) -> String {
    let wide = |big: bool| {
        let unit = |pair: &[u8]| match *pair {
            [a, b] if big => u16::from_be_bytes([a, b]),
            [a, b] => u16::from_le_bytes([a, b]),
            _ => u16::from(b'?'),
        };
        let units: Vec<u16> = bytes.get(2..).unwrap_or_default().chunks(2).map(unit).collect();
        String::from_utf16_lossy(&units)
    };
    match bytes {
        [0xff, 0xfe, ..] => wide(false),
        [0xfe, 0xff, ..] => wide(true),
        [0xef, 0xbb, 0xbf, rest @ ..] => String::from_utf8_lossy(rest).into_owned(),
        _ => match core::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_texts_of_loggers_are_read_in_any_of_their_ways() {
        let wide: Vec<u8> = "p,°C".encode_utf16().flat_map(u16::to_le_bytes).collect();
        let wide = [&[0xff, 0xfe][..], &wide].concat();
        for bytes in [
            &b"p,\xb0C"[..],
            "p,°C".as_bytes(),
            &wide,
            &[&[0xef, 0xbb, 0xbf][..], "p,°C".as_bytes()].concat(),
        ] {
            assert_eq!(text(bytes), "p,°C");
        }
    }

    #[test]
    fn a_file_does_not_write_over_what_was_pasted() {
        let file = |field: &str| File { field: field.to_owned(), bytes: b"filed".to_vec() };
        let typed = Typed::new(vec![("trace".into(), "pasted".into())]);
        let sent = Sent { typed, files: vec![file("trace-file"), file("other-file"), file("photo")] };
        let typed = sent.with_traces();
        assert_eq!((typed.get("trace"), typed.get("other"), typed.get("photo")), ("pasted", "filed", ""));
    }
}
