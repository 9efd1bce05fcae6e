//! JSON of the calculators: input read, answer and errors written.

use core::fmt;

use calc::calculators::{Answer, Calculator, METHOD};
use calc::form::{Fault, Value};
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value as Json, json};

use crate::fault::FileFaults;

/// What a calculator replies to a JSON text.
#[derive(Clone, Debug, PartialEq)]
pub enum Reply {
    /// `{"calculator", "method", "outputs", "warnings", "sources"}`.
    Answer(Json),
    /// `{"errors": [{"field", "value", "problem", "hint"}]}`.
    Errors(Json),
}

impl Reply {
    /// The document.
    #[must_use]
    pub const fn document(&self) -> &Json {
        match self {
            Self::Answer(document) | Self::Errors(document) => document,
        }
    }
}

/// Runs a calculator on a JSON text.
#[must_use]
pub fn reply(calculator: &Calculator, text: &str) -> Reply {
    let (input, mut faults) = match read(text) {
        Ok(read) => (read.value, read.duplicates),
        Err(fault) => return Reply::Errors(errors(&[fault])),
    };
    match calculator.answer(&input) {
        Ok(answer) if faults.is_empty() => Reply::Answer(answer_document(calculator, &answer)),
        Ok(_) => Reply::Errors(errors(&faults)),
        Err(found) => {
            // The check of fields names repeated keys too, but not those of free names.
            let new =
                found.into_iter().filter(|fault| !faults.iter().any(|known| known.field == fault.field));
            let new: Vec<Fault> = new.collect();
            faults.extend(new);
            Reply::Errors(errors(&faults))
        }
    }
}

/// A JSON text that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Read {
    /// Its value; of a key that stands twice, the record holds both.
    pub value: Value,
    /// A fault for each key that stands twice in its object.
    pub duplicates: Vec<Fault>,
}

/// Reads a JSON text.
///
/// # Errors
/// A fault with line and column if it is not JSON, or with its path if an object has thousands of keys.
pub fn read(text: &str) -> Result<Read, Box<Fault>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let Tree(value) = serde_json::from_str(text).map_err(|error| {
        let problem = format!("not JSON: {error}");
        Box::new(Fault::new("", problem, "give one JSON object, such as {\"temperature_deg_c\": 20}"))
    })?;
    if let Some(fault) = crate::intake::too_many_fields(&value, "") {
        return Err(fault);
    }
    let mut duplicates = Vec::new();
    find_duplicates(&value, "", &mut duplicates);
    Ok(Read { value, duplicates })
}

fn find_duplicates(value: &Value, path: &str, found: &mut Vec<Fault>) {
    let join = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::List(items) => {
            for (at, item) in items.iter().enumerate() {
                find_duplicates(item, &join(&at.to_string()), found);
            }
        }
        Value::Record(fields) => {
            let mut seen = std::collections::BTreeSet::new();
            for (name, inner) in fields {
                if !seen.insert(name) {
                    found.push(
                        Fault::new(join(name), "given twice", "give it once").with_value(inner.clone()),
                    );
                }
                find_duplicates(inner, &join(name), found);
            }
        }
        _ => {}
    }
}

/// A JSON value as a neutral tree that keeps repeated keys.
struct Tree(Value);

impl<'de> Deserialize<'de> for Tree {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(TreeVisitor).map(Tree)
    }
}

struct TreeVisitor;

impl<'de> Visitor<'de> for TreeVisitor {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_bool<E>(self, flag: bool) -> Result<Value, E> {
        Ok(Value::Flag(flag))
    }
    #[expect(clippy::cast_precision_loss, reason = "fields hold numbers far below 2^53")]
    fn visit_i64<E>(self, number: i64) -> Result<Value, E> {
        Ok(Value::Number(number as f64))
    }
    #[expect(clippy::cast_precision_loss, reason = "fields hold numbers far below 2^53")]
    fn visit_u64<E>(self, number: u64) -> Result<Value, E> {
        Ok(Value::Number(number as f64))
    }
    fn visit_f64<E>(self, number: f64) -> Result<Value, E> {
        Ok(Value::Number(number))
    }
    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(Value::from(text))
    }
    fn visit_string<E>(self, text: String) -> Result<Value, E> {
        Ok(Value::Text(text))
    }
    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(Tree(item)) = items.next_element()? {
            list.push(item);
        }
        Ok(Value::List(list))
    }
    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Value, A::Error> {
        let mut fields = Vec::new();
        while let Some((name, Tree(value))) = entries.next_entry::<String, Tree>()? {
            fields.push((name, value));
        }
        Ok(Value::Record(fields))
    }
}

/// A neutral value as JSON; a number that is none becomes null.
#[must_use]
pub fn to_json(value: &Value) -> Json {
    match value {
        Value::Null => Json::Null,
        Value::Flag(flag) => Json::Bool(*flag),
        Value::Number(number) => json_number(*number),
        Value::Text(text) => Json::String(text.clone()),
        Value::List(items) => Json::Array(items.iter().map(to_json).collect()),
        Value::Record(fields) => {
            Json::Object(fields.iter().map(|(name, value)| (name.clone(), to_json(value))).collect())
        }
    }
}

/// A number as JSON: whole numbers without a point, what is no number as null.
#[must_use]
pub(crate) fn json_number(number: f64) -> Json {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    if number.fract() == 0.0 && number.abs() < EXACT {
        #[expect(clippy::cast_possible_truncation, reason = "a whole number below 2^53")]
        return Json::from(number as i64);
    }
    serde_json::Number::from_f64(number).map_or(Json::Null, Json::Number)
}

/// The answer of a calculator as JSON.
#[must_use]
pub fn answer_document(calculator: &Calculator, answer: &Answer) -> Json {
    let outputs: Map<String, Json> =
        answer.outputs.iter().map(|(name, value)| ((*name).to_owned(), to_json(value))).collect();
    let warnings: Vec<Json> =
        answer.warnings.iter().map(|warning| json!({"code": warning.code, "text": warning.text})).collect();
    json!({
        "calculator": calculator.name,
        "method": METHOD,
        "outputs": outputs,
        "warnings": warnings,
        "sources": calculator.sources,
    })
}

/// Faults of an input as JSON.
#[must_use]
pub fn errors(faults: &[impl std::borrow::Borrow<Fault>]) -> Json {
    let faults = faults.iter().map(std::borrow::Borrow::borrow);
    let errors: Vec<Json> = faults
        .map(|fault| {
            json!({
                "field": fault.field,
                "value": fault.value.as_ref().map_or(Json::Null, to_json),
                "problem": fault.problem,
                "hint": fault.hint,
            })
        })
        .collect();
    json!({"errors": errors})
}

/// Faults of files as JSON: as [`errors`], with file, line and column.
#[must_use]
pub fn file_errors(faults: &FileFaults) -> Json {
    let errors: Vec<Json> = faults
        .0
        .iter()
        .map(|fault| {
            json!({
                "file": fault.file,
                "line": fault.place.map(|place| place.line),
                "column": fault.place.map(|place| place.column),
                "field": fault.field,
                "value": fault.value.as_ref().map_or(Json::Null, to_json),
                "problem": fault.problem,
                "hint": fault.hint,
            })
        })
        .collect();
    json!({"errors": errors})
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::form::{Field, Kind};

    static DOUBLE: Calculator = Calculator {
        name: "double",
        title: "Double",
        text: "Twice the length.",
        inputs: &[
            Field::required("length_mm", Kind::POSITIVE, "length"),
            Field::optional("traces", Kind::Map(&Kind::POSITIVE), "free names"),
        ],
        outputs: &[],
        sources: &["own-arithmetic"],
        run: |input| {
            Ok(Answer::new().with("length_mm", input.number("length_mm") * 2.0).warn("w", "careful"))
        },
    };

    #[test]
    fn answers_and_errors() {
        let document = reply(&DOUBLE, "{\"length_mm\": 1.25}");
        let expected = json!({"calculator": "double", "method": METHOD, "outputs": {"length_mm": 2.5},
            "warnings": [{"code": "w", "text": "careful"}], "sources": ["own-arithmetic"]});
        assert_eq!(document, Reply::Answer(expected));
        let Reply::Errors(document) = reply(&DOUBLE, "{\"length_mm\": 0, \"lenght_mm\": 1}") else {
            panic!("errors")
        };
        let fields: Vec<&str> =
            document["errors"].as_array().unwrap().iter().map(|e| e["field"].as_str().unwrap()).collect();
        assert_eq!(fields, ["lenght_mm", "length_mm"]);
        assert_eq!(document["errors"][1]["value"], json!(0));
    }

    #[test]
    fn repeated_keys_are_refused_everywhere_once() {
        let text = r#"{"length_mm": 1, "length_mm": 2, "traces": {"a": 1, "a": 2}}"#;
        let Reply::Errors(document) = reply(&DOUBLE, text) else { panic!("errors") };
        let fields: Vec<&str> =
            document["errors"].as_array().unwrap().iter().map(|e| e["field"].as_str().unwrap()).collect();
        assert_eq!(fields, ["length_mm", "traces.a"]);
    }

    #[test]
    fn what_is_no_json() {
        for text in ["", "{", "[1", "{\"a\": 1e999}", "nul", "{\"length_mm\": 1} x", &"[".repeat(100_000)] {
            let Reply::Errors(document) = reply(&DOUBLE, text) else { panic!("errors") };
            assert!(document["errors"][0]["problem"].as_str().unwrap().starts_with("not JSON"));
        }
        assert!(matches!(reply(&DOUBLE, "[]"), Reply::Errors(_)));
        let wide: Vec<String> = (0..3000).map(|at| format!("\"k{at}\": 1")).collect();
        let Reply::Errors(document) = reply(&DOUBLE, &format!("{{{}}}", wide.join(","))) else {
            panic!("errors")
        };
        assert_eq!(document["errors"].as_array().unwrap().len(), 1);
    }
}
