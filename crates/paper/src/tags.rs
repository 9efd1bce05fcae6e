//! Tags: a sheet of labels, one for each circuit.

use serde_json::json;

use crate::press::{Form, PaperError, print};
use crate::qr;

/// One label.
#[derive(Clone, Debug)]
pub struct Tag {
    /// Circuit.
    pub circuit: String,
    /// Half and what it cools.
    pub place: String,
    /// Address of the circuit's page.
    pub address: String,
}

/// The labels of a mould as a PDF; `at` is the day that the sheet bears.
///
/// # Errors
/// [`PaperError`]: an address too long for a QR code, or a fault of this program.
pub fn tags(
    mould: &str,
    name: &str,
    tags: &[Tag],
    at: jiff::Timestamp,
    program: &str,
) -> Result<Vec<u8>, PaperError> {
    let labels: Result<Vec<_>, PaperError> = tags
        .iter()
        .map(|tag| {
            Ok(json!({
                "circuit": tag.circuit,
                "place": tag.place,
                "address": tag.address,
                "code": qr::code(&tag.address)?,
            }))
        })
        .collect();
    let data =
        json!({ "title": format!("Tags of {mould}"), "mould": mould, "name": name, "labels": labels? });
    print(Form {
        template: include_str!("../templates/tags.typ"),
        data,
        ident: format!("tags {mould}"),
        at,
        program,
    })
}
