//! A mould as JSON: the fields of the mould file, without a file.

use bench::mould::Mould;
use calc::form::{self, Fault, Kind, Value};
use calc::hydraulics::piece_form::PIECE;

use crate::shapes::{Found, mould};

pub use crate::shapes::mould::FILE as FIELDS;

/// The pieces of a circuit.
pub static PIECES: Kind = Kind::List { of: &PIECE, least: 0 };

/// A mould from the fields of a mould file, and what its sender should know.
///
/// # Errors
/// Everything that is wrong with it, under the names of its fields.
pub fn read(value: &Value) -> Result<(Mould, Vec<String>), Vec<Fault>> {
    let checked = form::check(FIELDS, value);
    let mut found = Found::default();
    mould::meaning(value, &mut found);
    let mut faults = checked.as_ref().err().cloned().unwrap_or_default();
    for fault in found.faults {
        if !faults.iter().any(|known| known.field == fault.field) {
            faults.push(fault);
        }
    }
    match checked {
        Ok(filled) if faults.is_empty() => {
            let notices = found.notices.into_iter().map(|(_, _, text)| text).collect();
            mould::mould(&filled).map(|mould| (mould, notices))
        }
        _ => Err(faults),
    }
}

/// The fields of the mould file that says this.
#[must_use]
pub fn value(mould: &Mould) -> Value {
    let sheet = crate::shapes::mould_sheet(mould);
    let mut fields = sheet.head;
    let mut circuits = Vec::new();
    for section in sheet.sections {
        if section.repeated {
            circuits.push(section.fields);
        } else {
            fields.push((section.name, section.fields));
        }
    }
    fields.push(("circuit".to_owned(), Value::List(circuits)));
    Value::Record(fields)
}
