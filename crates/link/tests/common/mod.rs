//! TOML text as the tree of values that plans are read from.

use calc::form::Value;

/// The tree of a text.
pub fn tree(text: &str) -> Value {
    let table: toml::Table = text.parse().unwrap_or_else(|error| panic!("not TOML: {error}"));
    value(&toml::Value::Table(table))
}

fn value(of: &toml::Value) -> Value {
    match of {
        toml::Value::String(text) => Value::from(text.as_str()),
        toml::Value::Integer(number) => Value::Number(*number as f64),
        toml::Value::Float(number) => Value::Number(*number),
        toml::Value::Boolean(flag) => Value::Flag(*flag),
        toml::Value::Datetime(time) => Value::from(time.to_string()),
        toml::Value::Array(items) => Value::List(items.iter().map(value).collect()),
        toml::Value::Table(table) => {
            Value::record(table.iter().map(|(name, item)| (name.clone(), value(item))))
        }
    }
}
