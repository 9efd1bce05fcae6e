//! The description of the interface (OpenAPI 3.1), made from the operations and the definitions that check what is sent.

use calc::calculators::all as calculators;
use calc::form::{Field, Kind};
use exchange::one_reading::{READING, TREATMENT};
use exchange::schema::Schemas;
use exchange::{findings_json, mould_json, shapes::rig::RIG};
use schemars::SchemaGenerator;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value as Json, json};

use super::ROOT;
use super::call::KEY_LETTERS;
use super::operation::{Gives, Method, Operation, Takes};
use super::operations::all;
use super::refusal::ProblemShape;

const COMPONENTS: &str = "#/components/schemas/";

/// What may be wrong, by status.
const PROBLEMS: [(&str, &str); 11] = [
    ("400", "The request could not be read, or a key is missing."),
    ("401", "No token, or one that is not known."),
    ("403", "The token is for less than this."),
    ("404", "Nothing of this name is on record."),
    ("409", "It does not fit what is on record, or the key was used for something else."),
    ("413", "Too large."),
    ("415", "The body is not JSON."),
    ("421", "This machine does not answer to that name."),
    ("422", "What was sent has faults; all of them are named."),
    ("429", "Too many wrong tokens; Retry-After tells how long to wait."),
    ("500", "It could not be done; nothing was recorded."),
];

/// The description of the interface for programs, as an OpenAPI 3.1 document; `program` names what answers.
#[must_use]
pub fn description(program: &str) -> Json {
    let settings = SchemaSettings::draft2020_12()
        .with(|settings| settings.definitions_path = "/components/schemas".into());
    let mut shapes = settings.into_generator();
    let mut sent = Schemas::sent(COMPONENTS);
    let mut paths = Map::new();
    for operation in all() {
        if operation.path == "/calculators/{calculator}" {
            for one in calculators() {
                let inputs = sent.object(one.inputs);
                let address = format!("{ROOT}/calculators/{}", one.name);
                let name = format!("{}-{}", operation.name, one.name);
                let about = json!({"operationId": name, "summary": one.title, "description": one.text});
                put(&mut paths, address, operation, described(operation, &mut shapes, about, Some(inputs)));
            }
            continue;
        }
        let inputs = taken(operation, &mut sent);
        let mut about = json!({"operationId": operation.name, "summary": operation.title});
        if !operation.text.is_empty() {
            about["description"] = json!(operation.text);
        }
        let described = described(operation, &mut shapes, about, inputs);
        put(&mut paths, format!("{ROOT}{}", operation.path), operation, described);
    }
    shapes.subschema_for::<ProblemShape>();
    let schemas = components(shapes, sent);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Borewise",
            "version": "1",
            "summary": "Mould cooling circuits: what is on record, what was found, and what is recorded.",
            "description": format!(
                "For programs. {program} answers with JSON; times are RFC 3339, and each number is in the unit that its name ends in. \
                 A token is made on the page People. Whatever is recorded carries an Idempotency-Key: the same key and body \
                 count once and get the same answer. Problems are RFC 9457."
            ),
            "license": {"name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0"},
        },
        "servers": [{"url": "/", "description": "This bench book"}],
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer", "description": "A token of a program."}},
        },
    })
}

fn put(paths: &mut Map<String, Json>, address: String, operation: &Operation, described: Json) {
    let method = match operation.method {
        Method::Get => "get",
        Method::Post => "post",
    };
    if let Json::Object(item) = paths.entry(address).or_insert_with(|| json!({})) {
        item.insert(method.to_owned(), described);
    }
}

fn reference(name: &str) -> Json {
    json!({"$ref": format!("{COMPONENTS}{name}")})
}

/// The schema of what an operation takes.
fn taken(operation: &Operation, sent: &mut Schemas) -> Option<Json> {
    match operation.takes {
        Takes::Nothing | Takes::Inputs => None,
        Takes::Record(fields) => Some(sent.object(fields)),
        Takes::Mould => Some(reference("MouldFile")),
        Takes::Reading => Some(sent.kind(&READING)),
        Takes::Treatment => Some(sent.object(TREATMENT)),
    }
}

fn described(
    operation: &Operation,
    shapes: &mut SchemaGenerator,
    mut about: Json,
    inputs: Option<Json>,
) -> Json {
    let (kind, schema) = match operation.gives {
        Gives::Shape(shape) => ("application/json", shape(shapes).to_value()),
        Gives::Mould => ("application/json", reference("MouldFile")),
        Gives::Findings => ("application/json", reference("Findings")),
        Gives::Pdf => ("application/pdf", json!({})),
    };
    let calculator = matches!(operation.takes, Takes::Inputs) || operation.name == "calculator";
    let mut responses = Map::new();
    let good = json!({"description": "Done.", "content": {(kind): {"schema": schema}}});
    responses.insert(operation.status.as_str().to_owned(), good);
    for (status, text) in PROBLEMS {
        let fits = match status {
            "400" | "413" => true,
            "409" => operation.records,
            "415" => inputs.is_some(),
            "404" => !calculator,
            _ => true,
        };
        if fits {
            let content = json!({"application/problem+json": {"schema": reference("Problem")}});
            responses.insert(status.to_owned(), json!({"description": text, "content": content}));
        }
    }
    about["x-role"] = json!(crate::pages::people::role_word(operation.role));
    about["parameters"] = Json::Array(parameters(operation, calculator));
    if let Some(inputs) = inputs.filter(|_| operation.method == Method::Post) {
        about["requestBody"] = json!({"required": true, "content": {"application/json": {"schema": inputs}}});
    }
    about["responses"] = Json::Object(responses);
    about
}

fn parameters(operation: &Operation, calculator: bool) -> Vec<Json> {
    let names = operation.path.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'));
    let mut all: Vec<Json> = names
        .filter(|_| !calculator)
        .map(|name| {
            let schema = match name {
                "entry" => json!({"type": "integer", "minimum": 1}),
                _ => json!({"type": "string", "minLength": 1}),
            };
            json!({"name": name, "in": "path", "required": true, "schema": schema})
        })
        .collect();
    all.extend(operation.query.iter().map(asked));
    if operation.records {
        all.push(json!({
            "name": "Idempotency-Key",
            "in": "header",
            "required": true,
            "description": "A new one for whatever is new. Sent again with the same body it counts once; with another body it is refused.",
            "schema": {"type": "string", "pattern": format!("^[A-Za-z0-9_.-]{{1,{KEY_LETTERS}}}$")},
        }));
    }
    all
}

fn asked(field: &'static Field) -> Json {
    let schema = match &field.kind {
        Kind::Count { low, high } => json!({"type": "integer", "minimum": low, "maximum": high}),
        Kind::Flag => json!({"type": "boolean"}),
        _ => json!({"type": "string"}),
    };
    json!({"name": field.name, "in": "query", "required": false, "description": field.text, "schema": schema})
}

/// The schemas that others point at: shapes of answers, and what files hold.
fn components(mut shapes: SchemaGenerator, mut sent: Schemas) -> Map<String, Json> {
    let mut all = Map::new();
    all.insert("MouldFile".to_owned(), sent.object(mould_json::FIELDS));
    all.insert("CircuitFile".to_owned(), sent.object(exchange::shapes::mould::CIRCUIT));
    all.insert("PiecesFile".to_owned(), sent.kind(&mould_json::PIECES));
    all.insert("RigFile".to_owned(), sent.kind(&RIG));
    let items = json!({"anyOf": [sent.kind(&READING), sent.object(TREATMENT)]});
    all.insert("ItemFile".to_owned(), items);
    all.insert("Findings".to_owned(), findings());
    all.extend(sent.into_named());
    let taken = shapes.take_definitions(true);
    all.extend(taken);
    all
}

/// The findings document, as far as its own version promises it.
fn findings() -> Json {
    let text = || json!({"type": "string"});
    json!({
        "type": "object",
        "description": "What `borewise assess` writes as findings.json.",
        "properties": {
            "format": {"const": findings_json::FORMAT},
            "method": text(),
            "mould": text(),
            "visit": text(),
            "fit_for_press": {"enum": ["yes", "no", "cannot-tell"]},
            "headline": text(),
            "because": {"type": "array", "items": text()},
            "next": text(),
            "circuits": {"type": "array", "items": {
                "type": "object",
                "properties": {
                    "id": text(),
                    "tightness": {"enum": ["tight", "leaks-out", "leaks-across", "leaks", "cannot-tell", "untested"]},
                    "passage": {"enum": ["free", "narrow-by-design", "restricted", "blocked", "cannot-tell", "untested"]},
                    "next_step": {"enum": ["leave", "find-out", "open", "repair", "descale", "retire"]},
                    "reason": text(),
                    "gates": {"type": "object", "required": ["wet", "descale", "release"]},
                },
                "required": ["id", "tightness", "passage", "next_step", "reason", "gates"],
            }},
            "cautions": {"type": "array", "items": text()},
        },
        "required": ["format", "method", "mould", "visit", "fit_for_press", "headline", "because", "next", "circuits", "cautions"],
    })
}
