//! Who is at the bench.

use std::sync::Arc;

use axum::extract::{Form as Body, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::html;
use store::shapes::{Person, Role};
use store::{Fact, Session as Writing, Write};

use super::{blocking, read};
use crate::app::App;
use crate::entry::somebody;
use crate::forms::{Control, Place as Field, summary};
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

/// Longest short name and longest name, in letters (own choice).
const SHORT: usize = 12;
const LONG: usize = 80;

/// Asks who is at the bench.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = somebody(&app, &headers)?;
        Ok(with(&app, session.as_ref(), &typed, &[])?.into_response())
    })
    .await
}

fn with(
    app: &App,
    session: Option<&Session>,
    typed: &Typed,
    faults: &[Fault],
) -> Result<Html<String>, Problem> {
    let people = read(app, |reader| Ok(reader.people()?))?;
    let active: Vec<&Person> = people.iter().filter(|person| person.active).collect();
    let next = next(typed);
    let field = |name: &'static str, label: &'static str, help: &'static str| Field {
        form: "who",
        name,
        label,
        help,
        unit: "",
        optional: false,
        control: Control::Line,
        value: typed.get(name),
    };
    let label = |name: &str| match name {
        "name" => Some("Name".to_owned()),
        "short" => Some("Short name".to_owned()),
        _ => None,
    };
    let content = html! {
        h1 { @if active.is_empty() { "Welcome to the bench" } @else { "Who is at the bench?" } }
        p.lead {
            @if active.is_empty() { "Everything that is recorded carries the name of who recorded it. Whose is it to begin with?" }
            @else { "Everything that is recorded carries your name." }
        }
        @if !active.is_empty() {
            form method="post" action="/who" {
                input type="hidden" name="next" value=(next);
                ul.choices {
                    @for person in &active {
                        li { button.quiet-button type="submit" name="person" value=(person.id) {
                            strong { (person.id) } @if person.name != person.id { " " (person.name) }
                        } }
                    }
                }
            }
            h2 { "Somebody new" }
        }
        form.entry method="post" action="/who" novalidate {
            (summary("who", faults, label))
            input type="hidden" name="next" value=(next);
            (field("name", "Name", "As it should stand on papers.").html(faults))
            (field("short", "Short name", "Initials, for example: it stands beside each reading.").html(faults))
            button type="submit" { @if active.is_empty() { "Begin" } @else { "Add and go on" } }
        }
    };
    let page = Page { title: "Who is at the bench?", place: Place::Elsewhere, here: next, trail: &[] };
    Ok(page.html(app, session, &content))
}

/// Where to go on: an address of these pages, else the first page.
fn next(typed: &Typed) -> &str {
    let next = typed.get("next");
    let ours = next.starts_with('/')
        && !next.starts_with("//")
        && next.bytes().all(|byte| (0x21..0x7f).contains(&byte) && byte != b'\\');
    if ours { next } else { "/" }
}

/// Takes who it is.
pub(crate) async fn choose(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let people = app.store.read(|reader| reader.people())?;
        let chosen = typed.given("person");
        let person = match chosen {
            Some(id) if people.iter().any(|person| person.id == id && person.active) => id.to_owned(),
            Some(_) => return Err(Problem::Refused("This person is not on record any more.".into())),
            None => match newcomer(&people, &typed) {
                Ok(person) => add(&app, person)?,
                Err(faults) => {
                    let session = somebody(&app, &headers)?;
                    let page = with(&app, session.as_ref(), &typed, &faults)?;
                    return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
                }
            },
        };
        let cookie = app.seal.cookie(&person, jiff::Timestamp::now());
        Ok(([(header::SET_COOKIE, cookie)], Redirect::to(next(&typed))).into_response())
    })
    .await
}

/// Somebody new, or what is wrong with the names.
fn newcomer(people: &[Person], typed: &Typed) -> Result<Person, Vec<Fault>> {
    let mut faults = Vec::new();
    for (name, most) in [("name", LONG), ("short", SHORT)] {
        let text = typed.get(name);
        if text.is_empty() {
            faults.push(Fault::new(name, "missing", "type it here"));
        } else if text.chars().count() > most || text.chars().any(char::is_control) {
            faults.push(Fault::new(name, "too long", format!("give up to {most} letters on one line")));
        }
    }
    let short = typed.get("short");
    if people.iter().any(|person| person.id == short) {
        let hint = "choose yourself from the list, or take another one";
        faults.push(Fault::new("short", format!("{short} is taken"), hint));
    }
    // The first one may do everything at the bench.
    let role = if people.is_empty() { Role::Lead } else { Role::Technician };
    let person = Person { id: short.to_owned(), name: typed.get("name").to_owned(), role, active: true };
    if faults.is_empty() { Ok(person) } else { Err(faults) }
}

/// Puts somebody on record, signed by themselves.
fn add(app: &App, person: Person) -> Result<String, Problem> {
    let id = person.id.clone();
    app.store.together(|writing: &Writing<'_>| {
        if writing.reader().people()?.iter().any(|known| known.id == id) {
            return Err(Problem::Refused(format!("{id} is taken; choose another short name.")));
        }
        let mut write = Write::new(format!("page-{}", fresh_key()), jiff::Timestamp::now(), id.as_str());
        write.say(Fact::Person(person));
        writing.write(&write)?;
        Ok(())
    })?;
    Ok(id)
}
