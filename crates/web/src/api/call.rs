//! One request: whose it is, what it asks, and what comes back.

use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::body::to_bytes;
use axum::extract::connect_info::ConnectInfo;
use axum::extract::{FromRequestParts as _, Query, RawPathParams, Request};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use calc::form::{self, Fault, Field, Kind, Value};
use store::shapes::Role;
use store::{Digest, Reader};

use super::operation::{Answer, Operation, Takes};
use super::refusal::Refusal;
use crate::app::App;
use crate::tokens::{digest, rank};

/// Largest body that is taken: some readings with traces of an hour at ten samples a second.
pub(super) const BODY_LIMIT_BYTES: usize = 4 << 20;
/// Longest key of a write, in letters.
pub(super) const KEY_LETTERS: usize = 100;
/// Header that carries the key of a write.
const KEY: HeaderName = HeaderName::from_static("idempotency-key");

/// Whose a request is.
pub(crate) struct Caller {
    /// Name of the token.
    pub token: String,
    /// Short name of the person who answers for it.
    pub person: String,
    /// What it may do.
    pub role: Role,
}

/// A request that may be answered.
pub(crate) struct Call<'a> {
    /// The pages' own things.
    pub app: &'a App,
    /// Whose it is.
    pub caller: &'a Caller,
    /// When it came.
    pub now: jiff::Timestamp,
    /// Address of these pages as the program has it.
    pub asked_at: String,
    /// Key of the write; empty where nothing is recorded.
    pub key: String,
    /// Digest of everything that was asked.
    pub asked: Digest,
    /// The body; nothing where it holds none.
    pub body: Value,
    path: BTreeMap<String, String>,
    query: Value,
}

impl Call<'_> {
    /// A name in the address.
    pub(crate) fn name(&self, name: &str) -> &str {
        self.path.get(name).map_or("", String::as_str)
    }

    /// The number of an entry in the address.
    pub(crate) fn entry(&self) -> Result<u64, Refusal> {
        let text = self.name("entry");
        let unknown = || Refusal::unknown(format!("{text} is no number of an entry."));
        text.parse().ok().filter(|number| *number <= i64::MAX.unsigned_abs()).ok_or_else(unknown)
    }

    /// What stands behind the question mark.
    pub(crate) const fn asked_for(&self) -> form::Input<'_> {
        form::Input::checked(&self.query)
    }

    /// The body as a record that was checked.
    pub(crate) const fn input(&self) -> form::Input<'_> {
        form::Input::checked(&self.body)
    }

    /// Reads the record: everything of one moment.
    pub(crate) fn read<T>(&self, work: impl FnOnce(&Reader<'_>) -> Result<T, Refusal>) -> Result<T, Refusal> {
        let mut done = None;
        self.app.store.read(|reader| {
            done = Some(work(reader));
            Ok(())
        })?;
        done.unwrap_or_else(|| Err(Refusal::failed("The record was not read.")))
    }
}

/// What a request brings, before anything of it was looked at.
struct Asked {
    headers: HeaderMap,
    from: Option<IpAddr>,
    path: BTreeMap<String, String>,
    query: Vec<(String, String)>,
    raw: String,
    body: Vec<u8>,
}

/// Answers a request.
pub(super) async fn answer(app: Arc<App>, operation: &'static Operation, request: Request) -> Response {
    let head_only = request.method() == axum::http::Method::HEAD;
    let asked = match asked(request).await {
        Ok(asked) => asked,
        Err(refusal) => return refusal.into_response(),
    };
    let work = move || answered(&app, operation, asked);
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(answer)) if head_only => {
            (operation.status, [(header::CONTENT_TYPE, media_type(&answer))]).into_response()
        }
        Ok(Ok(answer)) => response(operation, answer),
        Ok(Err(refusal)) => refusal.into_response(),
        Err(_) => {
            let text = "This is a fault of Borewise itself. What was recorded before is safe.";
            Refusal::failed(text).into_response()
        }
    }
}

const fn media_type(answer: &Answer) -> &'static str {
    match answer {
        Answer::Pdf(..) => "application/pdf",
        _ => "application/json",
    }
}

fn response(operation: &Operation, answer: Answer) -> Response {
    let kind = [(header::CONTENT_TYPE, media_type(&answer))];
    match answer {
        Answer::Document(document) => (operation.status, kind, document.to_string()).into_response(),
        Answer::Text(status, text) => {
            (StatusCode::from_u16(status).unwrap_or(operation.status), kind, text).into_response()
        }
        Answer::Pdf(name, bytes) => crate::pages::paper::pdf(&name, bytes),
    }
}

async fn asked(request: Request) -> Result<Asked, Refusal> {
    let (mut parts, body) = request.into_parts();
    let strange = |what: &str| {
        Refusal::new(StatusCode::BAD_REQUEST, "not-read", format!("The {what} could not be read."))
    };
    let path = RawPathParams::from_request_parts(&mut parts, &()).await.map_err(|_| strange("address"))?;
    let path = path.iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    let Query(query) = Query::<Vec<(String, String)>>::try_from_uri(&parts.uri)
        .map_err(|_| strange("part of the address behind the question mark"))?;
    let from = parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|ConnectInfo(address)| address.ip());
    let declared = parts
        .headers
        .get(header::CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    let too_large = || {
        let text = format!("At most {} MB are taken at once.", BODY_LIMIT_BYTES >> 20);
        Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", text)
    };
    if declared.is_some_and(|length| length > BODY_LIMIT_BYTES) {
        return Err(too_large());
    }
    let body = to_bytes(body, BODY_LIMIT_BYTES).await.map_err(|_| too_large())?;
    let raw = format!("{} {}", parts.method, parts.uri.path_and_query().map_or("", |whole| whole.as_str()));
    Ok(Asked { headers: parts.headers, from, path, query, raw, body: body.to_vec() })
}

fn answered(app: &App, operation: &Operation, asked: Asked) -> Result<Answer, Refusal> {
    let now = jiff::Timestamp::now();
    let caller = caller(app, &asked.headers, asked.from, now)?;
    if rank(caller.role) < rank(operation.role) {
        let text = format!(
            "The token {} is for {}; this takes {}.",
            caller.token,
            caller.role.words(),
            operation.role.or_more()
        );
        return Err(Refusal::forbidden(text));
    }
    let key = if operation.records { key(&asked.headers)? } else { String::new() };
    let query = query(operation.query, &asked.query)?;
    let body = body(operation.takes, &asked)?;
    let host = asked.headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("localhost");
    let mut whole = asked.raw.into_bytes();
    whole.push(0);
    whole.extend_from_slice(&asked.body);
    let call = Call {
        app,
        key: if key.is_empty() { key } else { format!("token:{}:{key}", caller.token) },
        caller: &caller,
        now,
        asked_at: format!("http://{host}"),
        asked: Digest::of(&whole),
        body,
        path: asked.path,
        query,
    };
    (operation.run)(&call)
}

/// Whose a request is: the token has to be known, not revoked, and of somebody who is still here.
fn caller(
    app: &App,
    headers: &HeaderMap,
    from: Option<IpAddr>,
    now: jiff::Timestamp,
) -> Result<Caller, Refusal> {
    let given = headers.get(header::AUTHORIZATION);
    let refused = |text: &str| Refusal::new(StatusCode::UNAUTHORIZED, "no-token", text);
    let Some(given) = given else {
        return Err(refused("Send a token with the request: Authorization: Bearer TOKEN."));
    };
    let bearer = given.to_str().ok().and_then(|text| text.split_once(' '));
    let token =
        bearer.filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer")).map(|(_, token)| token.trim());
    let known = app.store.read(|reader| {
        let Some(kept) = token.map(|token| reader.token(digest(token))).transpose()?.flatten() else {
            return Ok(None);
        };
        let person = reader.people()?.into_iter().find(|person| person.id == kept.person && person.active);
        Ok(person.filter(|_| kept.revoked.is_none()).map(|person| (kept, person)))
    })?;
    match known {
        Some((kept, person)) => {
            // Whoever answers for a token gives it no more than they may do themselves.
            let role = if rank(kept.role) < rank(person.role) { kept.role } else { person.role };
            Ok(Caller { token: kept.name, person: person.id, role })
        }
        None => match app.wrong_tokens.another(from, now) {
            None => Err(refused("This token is not known here, or it was revoked.")),
            Some(wait) => {
                let text = format!("Too many wrong tokens came from this address; wait {wait} s.");
                Err(Refusal::new(StatusCode::TOO_MANY_REQUESTS, "wait", text).wait(wait))
            }
        },
    }
}

fn key(headers: &HeaderMap) -> Result<String, Refusal> {
    let given = headers.get(KEY).and_then(|key| key.to_str().ok()).unwrap_or_default();
    // The draft of the header writes a text in double quotes; without them it is taken as it stands.
    let key = given.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(given);
    let letter = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
    if !key.is_empty() && key.len() <= KEY_LETTERS && key.chars().all(letter) {
        return Ok(key.to_owned());
    }
    let text = format!(
        "Whatever is recorded needs a header Idempotency-Key of 1 to {KEY_LETTERS} letters, digits, hyphens, underscores and \
         full stops: the same key and body count once."
    );
    Err(Refusal::new(StatusCode::BAD_REQUEST, "no-key", text))
}

/// What stands behind the question mark, checked.
fn query(fields: &'static [Field], pairs: &[(String, String)]) -> Result<Value, Refusal> {
    let value = |(name, text): &(String, String)| {
        let kind = fields.iter().find(|field| field.name == name).map(|field| &field.kind);
        let value = match (kind, text.as_str()) {
            (Some(Kind::Number { .. } | Kind::Count { .. }), text) => {
                text.parse().ok().map_or_else(|| Value::from(text), Value::Number)
            }
            (Some(Kind::Flag), "true") => Value::Flag(true),
            (Some(Kind::Flag), "false") => Value::Flag(false),
            (_, text) => Value::from(text),
        };
        (name.clone(), value)
    };
    form::check(fields, &Value::Record(pairs.iter().map(value).collect())).map_err(Refusal::faults)
}

/// The body of a request: JSON, with every fault of its fields named.
fn body(takes: Takes, asked: &Asked) -> Result<Value, Refusal> {
    if matches!(takes, Takes::Nothing) {
        return Ok(Value::Null);
    }
    let kind =
        asked.headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if !kind.split(';').next().unwrap_or_default().trim().eq_ignore_ascii_case("application/json") {
        let text = "Send the body as application/json.";
        return Err(Refusal::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "not-json", text));
    }
    let not_json = |text: String| Refusal::new(StatusCode::BAD_REQUEST, "not-json", text);
    let text =
        std::str::from_utf8(&asked.body).map_err(|_| not_json("The body is not UTF-8 text.".into()))?;
    let read =
        exchange::json::read(text).map_err(|fault| not_json(format!("The body is {}.", fault.problem)))?;
    if let Value::Record(_) = read.value {
    } else {
        let problem = format!("this is {}", read.value.kind_in_words());
        return Err(Refusal::fault(Fault::new("", problem, "give one JSON object")));
    }
    match takes {
        Takes::Record(fields) => {
            let checked = form::check(fields, &read.value);
            let mut faults = read.duplicates;
            faults.extend(checked.as_ref().err().into_iter().flatten().cloned());
            faults.dedup_by(|one, other| one.field == other.field && one.problem == other.problem);
            checked.ok().filter(|_| faults.is_empty()).ok_or_else(|| Refusal::faults(faults))
        }
        _ if read.duplicates.is_empty() => Ok(read.value),
        _ => Err(Refusal::faults(read.duplicates)),
    }
}
