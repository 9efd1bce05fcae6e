//! Values as TOML text that people like to read: one section a table, pieces one a line.

use calc::form::Value;

/// A document in the order in which it is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// Fields before the first section.
    pub head: Vec<(String, Value)>,
    /// Sections.
    pub sections: Vec<Section>,
}

/// A table of a document.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Name.
    pub name: String,
    /// Whether it may stand several times: `[[name]]`.
    pub repeated: bool,
    /// Its fields, a record.
    pub fields: Value,
}

impl Section {
    /// A table that stands once.
    pub fn once(name: &str, fields: Value) -> Self {
        Self { name: name.to_owned(), repeated: false, fields }
    }

    /// A table that may stand several times.
    pub fn repeated(name: &str, fields: Value) -> Self {
        Self { name: name.to_owned(), repeated: true, fields }
    }
}

/// The text of a document. Texts under a date key are written as dates.
#[must_use]
pub fn write(sheet: &Sheet, date_keys: &[&str]) -> String {
    let mut text = String::new();
    fields(&sheet.head, date_keys, &mut text);
    for section in &sheet.sections {
        let name = key(&section.name);
        text.push_str(&if section.repeated { format!("\n[[{name}]]\n") } else { format!("\n[{name}]\n") });
        fields(section.fields.fields(), date_keys, &mut text);
    }
    text
}

fn fields(fields: &[(String, Value)], date_keys: &[&str], text: &mut String) {
    for (name, value) in fields {
        let written = match value {
            Value::Null => continue,
            Value::Text(date) if date_keys.contains(&name.as_str()) && is_date(date) => date.clone(),
            Value::List(items) if items.iter().any(|item| matches!(item, Value::Record(_))) => {
                let lines = items.iter().map(|item| format!("    {},\n", inline(item)));
                format!("[\n{}]", lines.collect::<String>())
            }
            value => inline(value),
        };
        text.push_str(&format!("{} = {written}\n", key(name)));
    }
}

fn inline(value: &Value) -> String {
    match value {
        Value::Null => "\"\"".to_owned(),
        Value::Flag(flag) => flag.to_string(),
        Value::Number(number) => number_text(*number),
        Value::Text(text) => quoted(text),
        Value::List(items) => format!("[{}]", items.iter().map(inline).collect::<Vec<_>>().join(", ")),
        Value::Record(fields) => {
            let there = fields.iter().filter(|(_, value)| !matches!(value, Value::Null));
            let fields: Vec<String> =
                there.map(|(name, value)| format!("{} = {}", key(name), inline(value))).collect();
            format!("{{ {} }}", fields.join(", "))
        }
    }
}

fn number_text(number: f64) -> String {
    if number.is_nan() {
        "nan".to_owned()
    } else if number.is_infinite() {
        if number > 0.0 { "inf".to_owned() } else { "-inf".to_owned() }
    } else if number.fract() == 0.0 && number.abs() < 1e15 {
        format!("{number:.0}")
    } else {
        format!("{number:?}")
    }
}

/// A basic string, which is allowed as a value and as a key.
fn quoted(text: &str) -> String {
    let mut written = String::with_capacity(text.len() + 2);
    written.push('"');
    for letter in text.chars() {
        match letter {
            '"' | '\\' => written.extend(['\\', letter]),
            _ if letter.is_control() => written.push_str(&format!("\\u{:04X}", u32::from(letter))),
            _ => written.push(letter),
        }
    }
    written.push('"');
    written
}

fn key(name: &str) -> String {
    let bare =
        !name.is_empty() && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'-'));
    if bare { name.to_owned() } else { quoted(name) }
}

/// Whether a text can stand without quotes as a TOML date or time.
fn is_date(text: &str) -> bool {
    text.parse::<toml::value::Datetime>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::toml_tree;
    use proptest::prelude::*;

    fn value() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            any::<bool>().prop_map(Value::Flag),
            prop::num::f64::NORMAL.prop_map(Value::Number),
            (-1e6..1e6_f64).prop_map(|n| Value::Number(n.trunc())),
            any::<String>().prop_map(Value::Text),
        ];
        leaf.prop_recursive(3, 24, 4, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::List),
                prop::collection::btree_map(any::<String>(), inner, 0..4)
                    .prop_map(|map| Value::Record(map.into_iter().collect())),
            ]
        })
    }

    proptest! {
        /// What is written is read back the same, whatever the texts and names.
        #[test]
        fn written_text_reads_back(items in prop::collection::btree_map(any::<String>(), value(), 0..5)) {
            let fields = Value::Record(items.into_iter().collect());
            let sheet = Sheet { head: Vec::new(), sections: vec![Section::repeated("x", fields.clone())] };
            let text = write(&sheet, &[]);
            let (document, faults) = toml_tree::read(&text);
            prop_assert!(faults.is_empty(), "{text}\n{faults:?}");
            prop_assert_eq!(&document.value.get("x").unwrap().items()[0], &fields, "{}", text);
        }
    }
}
