//! The shapes of mould, rig and visit files: each described once, checked, and converted to and from the domain.

pub mod mould;
pub mod reading;
pub mod rig;
pub mod rig_reading;
pub mod visit;
pub mod visit_meaning;

mod dates;
pub(crate) mod earlier;
mod mould_out;
mod sweep;
mod visit_out;

pub use dates::{date, timestamp};
pub use mould_out::{mould_sheet, pieces_value};
pub use rig::rig_value;
pub(crate) use visit_out::section;
pub use visit_out::{Beside, visit_sheet};

use calc::form::{Fault, Value};
pub(crate) use calc::quantity::shortest;

/// Keys whose texts are written as dates, without quotes.
pub const DATE_KEYS: &[&str] = &[
    "started",
    "at",
    "baseline_date",
    "calibrated_until",
    "flow_calibrated_until",
    "pressure_calibrated_until",
    "temperature_calibrated_until",
];

/// What a check of meaning finds in one file: faults and notices with the paths of their fields.
#[derive(Debug, Default)]
pub struct Found {
    /// What is wrong.
    pub faults: Vec<Fault>,
    /// Code, path and sentence of what the reader should know.
    pub notices: Vec<(&'static str, String, String)>,
}

impl Found {
    pub(crate) fn fault(&mut self, fault: Fault) {
        self.faults.push(fault);
    }

    pub(crate) fn notice(&mut self, code: &'static str, path: impl Into<String>, text: impl Into<String>) {
        self.notices.push((code, path.into(), text.into()));
    }
}

/// The texts of a list field with their places in the list.
pub(crate) fn texts<'a>(record: &'a Value, name: &str) -> impl Iterator<Item = (usize, &'a str)> {
    let items = record.get(name).map(Value::items).unwrap_or_default();
    items.iter().enumerate().filter_map(|(at, item)| Some((at, item.as_text()?)))
}

pub(crate) fn text<'a>(record: &'a Value, name: &str) -> Option<&'a str> {
    record.get(name).and_then(Value::as_text)
}

pub(crate) fn number(record: &Value, name: &str) -> Option<f64> {
    record.get(name).and_then(Value::as_number)
}

/// [`shortest`] as a value, for a constructor of a quantity.
pub(crate) fn exactly<Q: PartialEq>(quantity: Q, to: impl Fn(&Q) -> f64, from: impl Fn(f64) -> Q) -> Value {
    Value::Number(shortest(to(&quantity), |candidate| from(candidate) == quantity))
}

/// A record without the fields that hold nothing.
pub(crate) fn sparse<const N: usize>(fields: [(&str, Value); N]) -> Value {
    Value::record(fields.into_iter().filter(|(_, value)| !matches!(value, Value::Null)))
}
