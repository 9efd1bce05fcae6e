//! The editors of the plant's limits and materials.

use std::sync::Arc;

use axum::extract::{Form as Body, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Value};
use exchange::one_table::{self, Table};
use maud::{Markup, html};
use store::shapes::TableCard;
use store::{AsOf, Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::say::{Posted, Say, judge_mould, nothing_changed, reason_missing};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::{Typed, number};

/// Empty rows beneath those in use.
const SPARE: usize = 3;
/// Said to whoever records and decides nothing: a limit decides what a gate lets through.
const FOR_LEADS: &str =
    "Limits and materials are changed by a lead or an administrator: they decide what a gate lets through.";
/// Most rows of a list (own choice).
const MOST: usize = 500;

/// A list of a table, and its columns: name and heading.
struct List {
    name: &'static str,
    title: &'static str,
    columns: &'static [(&'static str, &'static str)],
    /// Whether rows are added and taken away.
    grows: bool,
}

struct Kind {
    word: &'static str,
    title: &'static str,
    lead: &'static str,
    table: Table,
    lists: &'static [List],
}

static LIMITS: Kind = Kind {
    word: "limits",
    title: "Limits",
    lead: "What the judgement applies from now on. Visits that have ended keep what was found then.",
    table: Table::Limits,
    lists: &[List {
        name: "limit",
        title: "Limits",
        columns: &[
            ("value", "Value in use"),
            ("source", "Where it comes from"),
            ("owner", "Who answers for it"),
        ],
        grows: false,
    }],
};

static MATERIALS: Kind = Kind {
    word: "materials",
    title: "Materials",
    lead: "Metals and seals that the gates know. A key that is not here counts as unknown, and unknown keeps acid out.",
    table: Table::Materials,
    lists: &[
        List {
            name: "metal",
            title: "Metals",
            columns: &[("key", "Key"), ("family", "Family"), ("text", "What it is")],
            grows: true,
        },
        List {
            name: "seal",
            title: "Seals",
            columns: &[("key", "Key"), ("text", "What it is")],
            grows: true,
        },
    ],
};

struct Shown {
    value: Value,
    /// Entry that holds it; none where the program's own table is in use.
    entry: Option<u64>,
    past: Vec<Entry>,
}

fn gather(app: &App, reader: &Reader<'_>, kind: &Kind) -> Result<Shown, Problem> {
    let about = Subject::table(kind.word);
    let entry = reader.items(&about, AsOf::Now)?.into_iter().next().map(|item| item.entry.number);
    let text = reader.table(kind.word, AsOf::Now)?.or_else(|| app.judge.shipped(kind.word));
    let value = text.as_deref().and_then(one_table::value);
    let value = value.ok_or_else(|| Problem::Failed(format!("The {} cannot be read.", kind.word)))?;
    Ok(Shown { value, entry, past: history(reader, &about, &[kind.word])? })
}

fn field(list: &str, at: usize, column: &str) -> String {
    format!("{list}.{at}.{column}")
}

fn rows<'v>(value: &'v Value, list: &List) -> &'v [Value] {
    value.get(list.name).map(Value::items).unwrap_or_default()
}

/// Limits.
pub(crate) async fn limits(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    page(app, headers, &LIMITS).await
}

/// Materials.
pub(crate) async fn materials(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    page(app, headers, &MATERIALS).await
}

async fn page(app: Arc<App>, headers: HeaderMap, kind: &'static Kind) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(&app, reader, kind))?;
        let typed = as_it_stands(kind, &shown);
        Ok(with(&app, session.as_ref(), kind, &shown, &typed, &[]).into_response())
    })
    .await
}

fn as_it_stands(kind: &Kind, shown: &Shown) -> Typed {
    let mut typed = Typed::default();
    typed.set("known", &shown.entry.map(|number| number.to_string()).unwrap_or_default());
    for list in kind.lists {
        for (at, row) in rows(&shown.value, list).iter().enumerate() {
            for (column, _) in list.columns {
                let text = match row.get(column) {
                    Some(Value::Number(number)) => number.to_string(),
                    Some(Value::Text(text)) => text.clone(),
                    _ => String::new(),
                };
                typed.set(&field(list.name, at, column), &text);
            }
        }
    }
    typed
}

fn count(typed: &Typed, shown: &Shown, list: &List) -> usize {
    let there = rows(&shown.value, list).len();
    let sent = typed.get(&format!("{}.rows", list.name)).parse::<usize>().unwrap_or_default().min(MOST);
    if list.grows { sent.max(there + SPARE) } else { there }
}

fn with(
    app: &App,
    session: Option<&Session>,
    kind: &Kind,
    shown: &Shown,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let here = format!("/{}", kind.word);
    let filling = Filling { form: kind.word, typed, faults };
    let label = |name: &str| {
        if name == "reason" {
            return Some("Why it changes".to_owned());
        }
        let mut parts = name.split('.');
        let list = parts.next().and_then(|name| kind.lists.iter().find(|list| list.name == name))?;
        let (at, column) = (parts.next()?.parse::<usize>().ok()?, parts.next()?);
        let (_, words) = list.columns.iter().find(|(known, _)| *known == column)?;
        Some(format!("{words}, {}", row_name(shown, list, at)))
    };
    let content = html! {
        h1 { (kind.title) }
        p.lead { (kind.lead) }
        @if shown.entry.is_none() { p { "The table that came with the program is in use. With the first change the plant has its own." } }
        @match session.filter(|session| session.role.overrides()) {
            Some(session) => form.entry.wide method="post" action=(here) novalidate {
                (summary(kind.word, faults, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(typed.get("known"));
                @for list in kind.lists { (grid(shown, list, count(typed, shown, list), filling)) }
                (filling.reason())
                button type="submit" { "Record the " (kind.word) }
            },
            None if Session::recording(session).is_some() => p.quiet { (FOR_LEADS) },
            None => (no_form(session, &here)),
        }
        (versions(&shown.past))
    };
    let trail = [("Rigs".to_owned(), "/rigs".to_owned())];
    let page = Page { title: kind.title, place: Place::Rigs, here: &here, trail: &trail };
    page.html(app, session, &content)
}

/// What a row is called beside its fields.
fn row_name(shown: &Shown, list: &List, at: usize) -> String {
    let title = rows(&shown.value, list).get(at).and_then(|row| row.get("title")).and_then(Value::as_text);
    title.map_or_else(|| format!("row {}", at + 1), str::to_owned)
}

fn grid(shown: &Shown, list: &List, count: usize, filling: Filling<'_>) -> Markup {
    html! {
        table.grid {
            caption { (list.title) }
            thead { tr {
                @if !list.grows { th scope="col" { "What is limited" } }
                @for (_, heading) in list.columns { th scope="col" { (heading) } }
            } }
            tbody { @for at in 0..count { tr {
                @if !list.grows { th scope="row" data-as-typed="numbers" { (row_name(shown, list, at)) (others(shown, list, at)) } }
                @for (column, heading) in list.columns {
                    @let label = format!("{heading}, {}", row_name(shown, list, at));
                    @let name = field(list.name, at, column);
                    td { @match *column {
                        "value" => (filling.number(&name, &label, "", false)),
                        "source" => (filling.lines(&name, &label, "", false)),
                        _ => (filling.line(&name, &label, "", false)),
                    } }
                }
            } } }
        }
        @if list.grows {
            input type="hidden" name={ (list.name) ".rows" } value=(count);
            p.quiet { "A row whose key is taken out is gone." }
        }
    }
}

/// Other public figures beside a limit.
fn others(shown: &Shown, list: &List, at: usize) -> Markup {
    let others = rows(&shown.value, list)
        .get(at)
        .and_then(|row| row.get("others"))
        .map(Value::items)
        .unwrap_or_default();
    html! {
        @for other in others {
            span.under data-as-typed="numbers" {
                "also " @if let Some(value) = other.get("value").and_then(Value::as_number) { (report::pieces::exact(value, "")) }
                ": " (other.get("source").and_then(Value::as_text).unwrap_or_default())
            }
        }
    }
}

/// Takes limits.
pub(crate) async fn enter_limits(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &LIMITS, &typed)).await
}

/// Takes materials.
pub(crate) async fn enter_materials(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &MATERIALS, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, kind: &Kind, typed: &Typed) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, format!("/{}", kind.word))?;
    if !sent.session.role.overrides() {
        return Err(Problem::Forbidden(FOR_LEADS.into()));
    }
    let done = || Ok(Redirect::to(&format!("/{}", kind.word)).into_response());
    if sent.before()? {
        return done();
    }
    let (shown, moulds) = read(app, |reader| Ok((gather(app, reader, kind)?, reader.moulds()?)))?;
    let again =
        |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), kind, &shown, typed, faults)));
    let (value, from) = typed_value(kind, &shown, typed);
    let mut faults = Vec::new();
    let text = one_table::text(kind.table, &value).map_err(|more| {
        faults.extend(more.into_iter().map(|fault| in_form(fault, &from)));
    });
    faults.extend(reason_missing(typed));
    if faults.is_empty() && value == shown.value {
        faults.push(nothing_changed());
    }
    let (Ok(text), true) = (text, faults.is_empty()) else { return again(&faults) };
    let card = TableCard { text };
    let fact = if kind.table == Table::Limits { Fact::Limits(card) } else { Fact::Materials(card) };
    let known = typed.get("known");
    if known.is_empty() && shown.entry.is_some() {
        let hint = "look at what stands on record now, and send this again if it still holds";
        return again(&[Fault::new("", "somebody else has changed this meanwhile", hint)]);
    }
    let say = Say { fact, instead_of: known.parse().ok() };
    if let Err(faults) = sent.record(typed.get("reason"), vec![say], Vec::new())? {
        return again(&faults);
    }
    // Everything that is on the bench is judged by the new table from now on.
    for mould in moulds {
        judge_mould(app, &mould.id, sent.now, &sent.session)?;
    }
    done()
}

/// Rows of the form that the rows of each list came from.
type From = Vec<(&'static str, Vec<usize>)>;

/// The table as typed; what the form does not show stays.
fn typed_value(kind: &Kind, shown: &Shown, typed: &Typed) -> (Value, From) {
    let mut fields = shown.value.fields().to_vec();
    let mut from = Vec::new();
    for list in kind.lists {
        let (mut items, mut origin) = (Vec::new(), Vec::new());
        for at in 0..count(typed, shown, list) {
            let first = list.columns.first().map_or("", |(column, _)| column);
            if list.grows && typed.given(&field(list.name, at, first)).is_none() {
                continue;
            }
            let known = rows(&shown.value, list).get(at).map(Value::fields).unwrap_or_default();
            let mut row: Vec<(String, Value)> = known.to_vec();
            for (column, _) in list.columns {
                let text = typed.get(&field(list.name, at, column));
                let value = if *column == "value" { number(text) } else { Value::from(text) };
                let value = if text.is_empty() { Value::Null } else { value };
                match row.iter_mut().find(|(name, _)| name == column) {
                    Some((_, there)) => *there = value,
                    None => row.push(((*column).to_owned(), value)),
                }
            }
            items.push(Value::Record(row));
            origin.push(at);
        }
        if let Some((_, there)) = fields.iter_mut().find(|(name, _)| name == list.name) {
            *there = Value::List(items);
        }
        from.push((list.name, origin));
    }
    (Value::Record(fields), from)
}

/// The fault under its row of the form.
fn in_form(fault: Fault, from: &From) -> Fault {
    let mut parts = fault.field.splitn(3, '.');
    let place = (|| {
        let (_, origin) = parts.next().and_then(|name| from.iter().find(|(known, _)| *known == name))?;
        let list = fault.field.split('.').next()?;
        let at = origin.get(parts.next()?.parse::<usize>().ok()?)?;
        Some(field(list, *at, parts.next()?))
    })();
    match place {
        Some(place) => Fault { field: place, ..fault },
        None => fault,
    }
}
