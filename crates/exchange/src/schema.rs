//! JSON Schema of calculators, mould files and readings, from their definitions.

use calc::calculators::Calculator;
use calc::form::{Field, Kind, Need, Preset, Variant};
use serde_json::{Map, Value as Json, json};

use crate::json::json_number;

/// The largest number that stands for 'no upper limit' in a field's range, and the smallest above 0.
const UNBOUNDED: f64 = 1e12;
const ABOVE_ZERO: f64 = 1e-12;

/// The schema (draft 2020-12) of a calculator's input.
#[must_use]
pub fn schema(calculator: &Calculator) -> Json {
    let mut schemas = Schemas::new("#/$defs/");
    let mut root = Map::new();
    root.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    root.insert("title".to_owned(), json!(calculator.title));
    root.insert("description".to_owned(), json!(calculator.text));
    root.extend(schemas.record(calculator.inputs, None));
    let named = schemas.into_named();
    if !named.is_empty() {
        root.insert("$defs".to_owned(), Json::Object(named));
    }
    Json::Object(root)
}

/// Schemas of kinds with variants: they may hold themselves, so each is written once and pointed at.
pub struct Schemas {
    /// The variants' address, the name, and the schema, which is null while it is being written.
    named: Vec<(*const Variant, String, Json)>,
    /// What stands before a name where it is pointed at.
    before: &'static str,
    /// Whether programs send it: traces come as arrays, and what may be left out may be null.
    sent: bool,
}

impl Schemas {
    /// Schemas that are pointed at by these letters and their name.
    #[must_use]
    pub const fn new(before: &'static str) -> Self {
        Self { named: Vec::new(), before, sent: false }
    }

    /// The same for what programs send without files: traces come as arrays, and what may be left out may be null.
    #[must_use]
    pub const fn sent(before: &'static str) -> Self {
        Self { named: Vec::new(), before, sent: true }
    }

    /// The schema of a record.
    pub fn object(&mut self, fields: &'static [Field]) -> Json {
        Json::Object(self.record(fields, None))
    }

    /// The schemas that the others point at, by name.
    #[must_use]
    pub fn into_named(self) -> Map<String, Json> {
        self.named.into_iter().map(|(_, name, schema)| (name, schema)).collect()
    }

    fn record(&mut self, fields: &'static [Field], tag: Option<(&str, &str)>) -> Map<String, Json> {
        let mut properties = Map::new();
        let mut required: Vec<&str> = Vec::new();
        if let Some((tag, word)) = tag {
            properties.insert(tag.to_owned(), json!({"const": word}));
            required.push(tag);
        }
        for field in fields {
            let mut schema = match (field.name, &field.kind) {
                ("trace", Kind::Text) if self.sent => self.kind(&crate::trace_json::TRACE),
                ("columns", Kind::Map(_)) if self.sent => continue,
                (_, kind) => self.kind(kind),
            };
            if self.sent && !matches!(field.need, Need::Required) {
                schema = or_null(schema);
            }
            if let Json::Object(schema) = &mut schema {
                schema.insert("description".to_owned(), json!(field.text));
                if let Need::Default(preset) = field.need {
                    schema.insert("default".to_owned(), preset_json(preset));
                }
            }
            properties.insert(field.name.to_owned(), schema);
            if matches!(field.need, Need::Required) {
                required.push(field.name);
            }
        }
        let mut schema = Map::new();
        schema.insert("type".to_owned(), json!("object"));
        schema.insert("properties".to_owned(), Json::Object(properties));
        schema.insert("required".to_owned(), json!(required));
        schema.insert("additionalProperties".to_owned(), json!(false));
        schema
    }

    /// The schema of a kind.
    pub fn kind(&mut self, kind: &'static Kind) -> Json {
        match kind {
            Kind::Number { low, high } => Json::Object(range(json!("number"), *low, *high)),
            Kind::Sample { low, high } => Json::Object(range(json!(["number", "null"]), *low, *high)),
            Kind::Count { low, high } => json!({"type": "integer", "minimum": low, "maximum": high}),
            Kind::Flag => json!({"type": "boolean"}),
            // Blank texts are refused as well.
            Kind::Text => json!({"type": "string", "pattern": "\\S"}),
            Kind::Choice(words) => json!({"enum": words}),
            Kind::List { of, least } => json!({"type": "array", "items": self.kind(of), "minItems": least}),
            Kind::Record(fields) => Json::Object(self.record(fields, None)),
            Kind::Tagged { tag, variants } => self.tagged(tag, variants),
            Kind::Map(of) => json!({"type": "object", "additionalProperties": self.kind(of)}),
            Kind::TextOr(of) => json!({"anyOf": [{"type": "string"}, self.kind(of)]}),
        }
    }

    fn tagged(&mut self, tag: &'static str, variants: &'static [Variant]) -> Json {
        let address = variants.as_ptr();
        let known = self.named.iter().position(|(other, ..)| *other == address);
        let place = known.unwrap_or_else(|| {
            let name = format!("variants-{}", self.named.len() + 1);
            self.named.push((address, name, Json::Null));
            self.named.len() - 1
        });
        if known.is_none() {
            let choices: Vec<Json> = variants
                .iter()
                .map(|variant| {
                    let mut schema = self.record(variant.fields, Some((tag, variant.name)));
                    schema.insert("description".to_owned(), json!(variant.text));
                    Json::Object(schema)
                })
                .collect();
            if let Some((_, _, schema)) = self.named.get_mut(place) {
                *schema = json!({"oneOf": choices});
            }
        }
        let name = self.named.get(place).map_or("", |(_, name, _)| name.as_str());
        json!({"$ref": format!("{}{name}", self.before)})
    }
}

/// A schema that takes nothing too.
fn or_null(schema: Json) -> Json {
    match schema {
        Json::Object(mut fields) if fields.get("type").is_some_and(Json::is_string) => {
            let kind = fields.get("type").cloned();
            fields.insert("type".to_owned(), json!([kind, "null"]));
            Json::Object(fields)
        }
        other => json!({"anyOf": [other, {"type": "null"}]}),
    }
}

fn range(kind: Json, low: f64, high: f64) -> Map<String, Json> {
    let mut schema = Map::new();
    schema.insert("type".to_owned(), kind);
    if low > 0.0 && low <= ABOVE_ZERO {
        schema.insert("exclusiveMinimum".to_owned(), json!(0));
    } else if low > -UNBOUNDED {
        schema.insert("minimum".to_owned(), json_number(low));
    }
    if high < UNBOUNDED {
        schema.insert("maximum".to_owned(), json_number(high));
    }
    schema
}

fn preset_json(preset: Preset) -> Json {
    match preset {
        Preset::Number(number) => json_number(number),
        Preset::Text(text) => json!(text),
        Preset::Flag(flag) => json!(flag),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::calculators::Answer;
    use calc::hydraulics::piece_form::PIECES;

    static PIECES_ONLY: Calculator = Calculator {
        name: "pieces",
        title: "Pieces",
        text: "Takes pieces.",
        inputs: &[
            Field::required("pieces", Kind::List { of: &PIECES, least: 1 }, "pieces"),
            Field::preset("share", Kind::PERCENT, Preset::Number(2.5), "share"),
            Field::optional("length_mm", Kind::POSITIVE, "length"),
        ],
        outputs: &[],
        sources: &[],
        run: |_| Ok(Answer::new()),
    };

    #[test]
    fn a_kind_that_holds_itself_is_written_once() {
        let schema = schema(&PIECES_ONLY);
        assert_eq!(schema["properties"]["pieces"]["items"]["items"]["$ref"], "#/$defs/variants-1");
        let choices = schema["$defs"]["variants-1"]["oneOf"].as_array().unwrap();
        let split = choices.iter().find(|c| c["properties"]["kind"]["const"] == "split").unwrap();
        assert_eq!(split["properties"]["branches"]["items"]["items"]["$ref"], "#/$defs/variants-1");
        assert_eq!(
            schema["properties"]["share"],
            json!({"type": "number", "minimum": 0, "maximum": 100,
            "description": "share", "default": 2.5})
        );
        assert_eq!(schema["properties"]["length_mm"]["exclusiveMinimum"], 0);
        assert_eq!(schema["required"], json!(["pieces"]));
    }

    #[test]
    fn every_calculator_has_a_schema() {
        for calculator in calc::calculators::all() {
            let schema = schema(calculator);
            assert_eq!(schema["properties"].as_object().unwrap().len(), calculator.inputs.len());
        }
    }
}
