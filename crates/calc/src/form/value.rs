//! A neutral tree of values, and a reader for one that has been checked.

use crate::estimate::Estimate;

/// A value without a file format.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Nothing there.
    Null,
    /// Yes or no.
    Flag(bool),
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// Values in order.
    List(Vec<Value>),
    /// Named values, in the order in which they were given.
    Record(Vec<(String, Value)>),
}

impl Value {
    /// A record from names and values.
    #[must_use]
    pub fn record<K: Into<String>>(fields: impl IntoIterator<Item = (K, Value)>) -> Self {
        Self::Record(fields.into_iter().map(|(name, value)| (name.into(), value)).collect())
    }

    /// The value of a record's field.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Value> {
        match self {
            Self::Record(fields) => fields.iter().find(|(key, _)| key == name).map(|(_, value)| value),
            _ => None,
        }
    }

    /// The number, if it is one.
    #[must_use]
    pub const fn as_number(&self) -> Option<f64> {
        match self {
            Self::Number(number) => Some(*number),
            _ => None,
        }
    }

    /// The text, if it is one.
    #[must_use]
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The flag, if it is one.
    #[must_use]
    pub const fn as_flag(&self) -> Option<bool> {
        match self {
            Self::Flag(flag) => Some(*flag),
            _ => None,
        }
    }

    /// The list's items; none if it is no list.
    #[must_use]
    pub fn items(&self) -> &[Value] {
        match self {
            Self::List(items) => items,
            _ => &[],
        }
    }

    /// The record's fields; none if it is no record.
    #[must_use]
    pub fn fields(&self) -> &[(String, Value)] {
        match self {
            Self::Record(fields) => fields,
            _ => &[],
        }
    }

    /// A list of numbers; what is missing or no number becomes `NaN`.
    #[must_use]
    pub fn numbers(&self) -> Vec<f64> {
        self.items().iter().map(|item| item.as_number().unwrap_or(f64::NAN)).collect()
    }

    /// The value's kind in plain words, for error messages.
    #[must_use]
    pub const fn kind_in_words(&self) -> &'static str {
        match self {
            Self::Null => "nothing",
            Self::Flag(_) => "true or false",
            Self::Number(_) => "a number",
            Self::Text(_) => "a text",
            Self::List(_) => "a list",
            Self::Record(_) => "a table of fields",
        }
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Self {
        if number.is_finite() { Self::Number(number) } else { Self::Null }
    }
}
impl From<bool> for Value {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}
impl From<&str> for Value {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}
impl From<String> for Value {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}
impl From<Vec<Value>> for Value {
    fn from(items: Vec<Value>) -> Self {
        Self::List(items)
    }
}
impl From<Estimate> for Value {
    fn from(estimate: Estimate) -> Self {
        Self::record([
            ("value", Self::from(estimate.value)),
            ("low", Self::from(estimate.low)),
            ("high", Self::from(estimate.high)),
            ("coverage", Self::from(estimate.coverage)),
        ])
    }
}
impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Null, Into::into)
    }
}

/// A checked record: required fields and those with a default are there and of the right kind.
#[derive(Clone, Copy, Debug)]
pub struct Input<'a>(&'a Value);

impl<'a> Input<'a> {
    /// Wraps a record that [`super::check`] has accepted.
    #[must_use]
    pub const fn checked(value: &'a Value) -> Self {
        Self(value)
    }

    /// The value of a field, if it was given.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&'a Value> {
        self.0.get(name).filter(|value| !matches!(value, Value::Null))
    }

    /// Whether the field was given.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.get(name).is_some()
    }

    /// The number of a required field or one with a default; `NaN` if the description forgot it.
    #[must_use]
    pub fn number(&self, name: &str) -> f64 {
        let number = self.optional_number(name);
        debug_assert!(number.is_some(), "field {name} is neither required nor has a default");
        number.unwrap_or(f64::NAN)
    }

    /// The number of an optional field.
    #[must_use]
    pub fn optional_number(&self, name: &str) -> Option<f64> {
        self.get(name).and_then(Value::as_number)
    }

    /// The text of a field; empty if it was not given.
    #[must_use]
    pub fn text(&self, name: &str) -> &'a str {
        self.get(name).and_then(Value::as_text).unwrap_or_default()
    }

    /// The flag of a field; false if it was not given.
    #[must_use]
    pub fn flag(&self, name: &str) -> bool {
        self.get(name).and_then(Value::as_flag).unwrap_or_default()
    }

    /// The numbers of a list field; empty if it was not given.
    #[must_use]
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.get(name).map(Value::numbers).unwrap_or_default()
    }

    /// The items of a list field; empty if it was not given.
    #[must_use]
    pub fn items(&self, name: &str) -> &'a [Value] {
        self.get(name).map(Value::items).unwrap_or_default()
    }

    /// The records of a list field; empty if it was not given.
    pub fn records(&self, name: &str) -> impl Iterator<Item = Input<'a>> + use<'a> {
        self.items(name).iter().map(Input)
    }

    /// A nested record, if it was given.
    #[must_use]
    pub fn record(&self, name: &str) -> Option<Input<'a>> {
        self.get(name).map(Input)
    }

    /// The value behind.
    #[must_use]
    pub const fn value(&self) -> &'a Value {
        self.0
    }
}
