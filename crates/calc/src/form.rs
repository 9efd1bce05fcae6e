//! What an input looks like, and everything that is wrong with one.
//!
//! A calculator, a mould file and a page's form are each described once by [`Field`]s. [`check`] holds a
//! [`Value`] against that description, fills in defaults and returns every fault at once, each with its place,
//! its value and a hint. Reading JSON or TOML into a [`Value`] is the caller's business.

mod check;
mod shape;
mod value;

pub use check::check;
pub use shape::{Field, Kind, Need, Preset, Variant};
pub use value::{Input, Value};

/// One thing wrong with an input.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// Path of the field, such as `pieces.2.length_mm`; list places count from 0.
    pub field: String,
    /// The value that stands there, if one does.
    pub value: Option<Value>,
    /// What is wrong.
    pub problem: String,
    /// What would be right.
    pub hint: String,
}

impl Fault {
    /// A fault at a field, without a value.
    #[must_use]
    pub fn new(field: impl Into<String>, problem: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { field: field.into(), value: None, problem: problem.into(), hint: hint.into() }
    }

    /// The same fault with the value that stands at the place.
    #[must_use]
    pub fn with_value(self, value: impl Into<Value>) -> Self {
        Self { value: Some(value.into()), ..self }
    }

    /// The same fault, seen from one level further out.
    #[must_use]
    pub fn under(self, parent: &str) -> Self {
        let field =
            if self.field.is_empty() { parent.to_owned() } else { format!("{parent}.{}", self.field) };
        Self { field, ..self }
    }
}

impl From<crate::limits::OutOfRange> for Fault {
    fn from(range: crate::limits::OutOfRange) -> Self {
        let hint = format!("give {} to {} {}", range.low, range.high, range.unit);
        Self {
            field: range.quantity.to_owned(),
            value: Some(Value::Number(range.value)),
            problem: "outside the range of the formula".to_owned(),
            hint,
        }
    }
}
