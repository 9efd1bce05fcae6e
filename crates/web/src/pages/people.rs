//! The people on record: who they are, what they may do, and how they are recognised.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::html;
use store::shapes::{NoteCard, Person, Role};
use store::{Credential, Fact, Session as Writing, Subject, Write};

use super::people_form::{add_form, change_forms, line, without_password};
use super::{blocking, read, tokens};
use crate::access::{called, looks_after};
use crate::app::App;
use crate::entry::{key, recorded, sender, somebody};
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::secret;
use crate::session::Session;
use crate::typed::Typed;

/// Longest short name and longest name, in letters (own choice).
const SHORT: usize = 12;
const LONG: usize = 80;

/// What each role may do, in words.
pub(crate) const ROLES: [(Role, &str, &str); 4] = [
    (Role::Viewer, "viewer", "sees everything, records nothing"),
    (Role::Technician, "technician", "records readings, treatments and visits"),
    (Role::Lead, "lead", "records, and overrides a gate with a written reason"),
    (Role::Administrator, "administrator", "records, overrides gates, and looks after the people"),
];

/// Word of a role.
pub(crate) fn role_word(role: Role) -> &'static str {
    ROLES.iter().find(|(known, ..)| *known == role).map_or("viewer", |(_, word, _)| word)
}

/// Whether this person looks after the people: an administrator, or a lead where no administrator is on record.
fn may_change(people: &[Person], session: &Session) -> bool {
    looks_after(people, session.role)
}

fn must_change(people: &[Person], session: &Session) -> Result<(), Problem> {
    if may_change(people, session) {
        return Ok(());
    }
    Err(Problem::Forbidden(format!(
        "Only an administrator changes people. {} is on record as {}.",
        session.person,
        session.role.words()
    )))
}

/// A person with what is known of their password and PIN.
pub(super) struct Row {
    pub person: Person,
    pub password: bool,
    pub pin: bool,
}

fn rows(app: &App) -> Result<Vec<Row>, Problem> {
    read(app, |reader| {
        let mut rows = Vec::new();
        for person in reader.people()? {
            let known = reader.credential(&person.id)?;
            let password = known.as_ref().is_some_and(|known| known.password_hash.is_some());
            let pin = known.as_ref().is_some_and(|known| known.pin_hash.is_some());
            rows.push(Row { person, password, pin });
        }
        Ok(rows)
    })
}

/// A form of the page that is answered with what is wrong; nobody stands for the form that adds somebody.
pub(super) struct Answer<'a> {
    pub form: &'a str,
    pub typed: &'a Typed,
    pub faults: &'a [Fault],
}

impl Answer<'_> {
    /// What was typed into this form and what is wrong with it, if it is the one.
    pub(super) fn of<'a>(answer: Option<&'a Answer<'a>>, form: &str) -> (Option<&'a Typed>, &'a [Fault]) {
        match answer.filter(|answer| answer.form == form) {
            Some(answer) => (Some(answer.typed), answer.faults),
            None => (None, &[]),
        }
    }
}

/// The people on record.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?.ok_or_else(|| Problem::Who("/people".into()))?;
        Ok(with(&app, &session, None)?.into_response())
    })
    .await
}

fn with(app: &App, session: &Session, answer: Option<&Answer<'_>>) -> Result<Html<String>, Problem> {
    with_token(app, session, answer, None)
}

/// The same, with a token that was just made.
pub(super) fn with_token(
    app: &App,
    session: &Session,
    answer: Option<&Answer<'_>>,
    token: Option<&str>,
) -> Result<Html<String>, Problem> {
    let rows = rows(app)?;
    let people: Vec<Person> = rows.iter().map(|row| row.person.clone()).collect();
    let may = may_change(&people, session);
    let open: Vec<String> = rows
        .iter()
        .filter(|row| row.person.active && row.person.role.records() && !row.password)
        .map(|row| called(&row.person))
        .collect();
    let content = html! {
        h1 { "People" }
        (without_password(app, &open))
        table.list.people {
            thead { tr { th scope="col" { "Who" } th scope="col" { "Role" } th scope="col" { "Recognised by" } } }
            tbody { @for row in &rows { (line(row)) } }
        }
        @if may {
            h2 { "Change" }
            @for row in &rows { (change_forms(session, row, answer)) }
            section.small-form aria-labelledby="add" { h2 #add { "Somebody new" } (add_form(app, session, answer)) }
        } @else {
            p { "An administrator adds people and says who may do what. Your own password and PIN are on " a href="/me" { "My page" } "." }
        }
        (tokens::section(app, session, may, answer, token)?)
        section.small-form aria-labelledby="roles" {
            h2 #roles { "Who may do what" }
            dl.kept { @for (_, word, may) in ROLES { div { dt { (report::pieces::capital(word)) } dd { (may) } } } }
        }
    };
    let page = Page { title: "People", place: Place::Elsewhere, here: "/people", trail: &[] };
    Ok(page.html(app, Some(session), &content))
}

fn name_fault(typed: &Typed, name: &str, most: usize) -> Option<Fault> {
    let text = typed.get(name);
    if text.is_empty() {
        return Some(Fault::new(name, "missing", "type it here"));
    }
    let wrong = text.chars().count() > most || text.chars().any(char::is_control);
    wrong.then(|| Fault::new(name, "too long", format!("give up to {most} letters on one line")))
}

/// Somebody new, or what is wrong with the names.
pub(crate) fn new_person(people: &[Person], typed: &Typed, role: Role) -> Result<Person, Vec<Fault>> {
    let mut faults: Vec<Fault> = [("name", LONG), ("short", SHORT)]
        .iter()
        .filter_map(|(name, most)| name_fault(typed, name, *most))
        .collect();
    let short = typed.get("short");
    if people.iter().any(|person| person.id.to_lowercase() == short.to_lowercase()) {
        faults.push(Fault::new("short", format!("the short name {short} is taken"), "take another one"));
    }
    let person = Person { id: short.to_owned(), name: typed.get("name").to_owned(), role, active: true };
    if faults.is_empty() { Ok(person) } else { Err(faults) }
}

fn role(typed: &Typed) -> Result<Role, Problem> {
    let word = typed.get("role");
    let found = ROLES.iter().find(|(_, known, _)| *known == word).map(|(role, ..)| *role);
    found.ok_or_else(|| Problem::Refused("This form is not one of these pages.".into()))
}

fn again(
    app: &App,
    session: &Session,
    form: &str,
    typed: &Typed,
    faults: &[Fault],
) -> Result<Response, Problem> {
    let page = with(app, session, Some(&Answer { form, typed, faults }))?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

fn back() -> Response {
    Redirect::to("/people").into_response()
}

/// Adds somebody.
pub(crate) async fn add(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take_new(&app, &headers, &typed)).await
}

fn take_new(app: &App, headers: &HeaderMap, typed: &Typed) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, "/people".into())?;
    let people = app.store.read(|reader| reader.people())?;
    must_change(&people, &session)?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    if app.store.read(|reader| recorded(reader, &key))?.is_some() {
        return Ok(back());
    }
    let role = role(typed)?;
    let (person, mut faults) = match new_person(&people, typed, role) {
        Ok(person) => (Some(person), Vec::new()),
        Err(faults) => (None, faults),
    };
    let names = [typed.get("short"), typed.get("name")];
    match typed.given("password") {
        Some(password) => faults.extend(secret::password_fault("password", password, &names)),
        None if app.access.asks_for_proof() && role.records() => {
            faults.push(Fault::new("password", "missing", "other machines can reach these pages"));
        }
        None => {}
    }
    let Some(person) = person.filter(|_| faults.is_empty()) else {
        return again(app, &session, "add", typed, &faults);
    };
    let id = person.id.clone();
    let hash = typed.given("password").map(secret::hash).transpose()?;
    app.store.together(|writing: &Writing<'_>| {
        must_change(&writing.reader().people()?, &session)?;
        let mut write = Write::new(key.as_str(), now, session.person.as_str());
        write.say(Fact::Person(person));
        if hash.is_some() {
            write.say(said(&id, "A first password was set."));
        }
        writing.write(&write)?;
        Ok::<_, Problem>(())
    })?;
    if hash.is_some() {
        app.store
            .set_credential(&id, Some(&Credential { password_hash: hash, pin_hash: None, changed: now }))?;
    }
    Ok(back())
}

/// Changes name and role of somebody, or says that they have left or come back.
pub(crate) async fn change(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take_change(&app, &headers, &id, &typed)).await
}

fn take_change(app: &App, headers: &HeaderMap, id: &str, typed: &Typed) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, "/people".into())?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let fault: Option<Fault> = name_fault(typed, "name", LONG);
    let (role, active) = (role(typed)?, typed.get("active") == "yes");
    if let Some(fault) = fault {
        let people = app.store.read(|reader| reader.people())?;
        must_change(&people, &session)?;
        return again(app, &session, &format!("role-{id}"), typed, &[fault]);
    }
    let left = app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        let people = reader.people()?;
        must_change(&people, &session)?;
        let known = people.iter().find(|person| person.id == id);
        let known = known.ok_or_else(|| Problem::Missing(format!("Nobody is on record as {id}.")))?;
        let new = Person { name: typed.get("name").to_owned(), role, active, ..known.clone() };
        if id == session.person && (new.role, new.active) != (known.role, known.active) {
            let text = "Your own role is changed by another administrator, so that there is always one.";
            return Err(Problem::Refused(text.into()));
        }
        if new != *known && recorded(&reader, &key)?.is_none() {
            let mut write = Write::new(key.as_str(), now, session.person.as_str());
            write.say(Fact::Person(new));
            writing.write(&write)?;
        }
        Ok(!active)
    })?;
    if left {
        // Kept without hashes, so that sessions from before stay ended if the person comes back.
        let gone = Credential { password_hash: None, pin_hash: None, changed: now };
        app.store.set_credential(id, Some(&gone))?;
    }
    Ok(back())
}

/// Sets or takes away the password or PIN of somebody else.
pub(crate) async fn set_secret(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(id): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take_secret(&app, &headers, &id, &typed)).await
}

fn take_secret(app: &App, headers: &HeaderMap, id: &str, typed: &Typed) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, "/people".into())?;
    let people = app.store.read(|reader| reader.people())?;
    must_change(&people, &session)?;
    let person = people.iter().find(|person| person.id == id && person.active && id != session.person);
    let person = person.ok_or_else(|| Problem::Missing(format!("Nobody else is here as {id}.")))?;
    let known = app.store.read(|reader| reader.credential(id))?;
    let mut faults = secret_faults(person, typed);
    if typed.get("forget") == "all" && app.access.asks_for_proof() && person.role.records() {
        let hint =
            "other machines can reach these pages; make the person a viewer, or say that they have left";
        faults.push(Fault::new("forget", "a password is needed here", hint));
    }
    if !faults.is_empty() {
        return again(app, &session, &format!("secret-{id}"), typed, &faults);
    }
    keep_secret(app, &session, person, known, typed)?;
    Ok(back())
}

/// What is wrong with a new password or PIN.
pub(crate) fn secret_faults(person: &Person, typed: &Typed) -> Vec<Fault> {
    let names = [person.id.as_str(), person.name.as_str()];
    let password = typed.given("password").and_then(|text| secret::password_fault("password", text, &names));
    let pin = typed.given("pin").and_then(|text| secret::pin_fault("pin", text));
    password.into_iter().chain(pin).collect()
}

/// Keeps a new password or PIN, or takes one away; that it happened goes on record, the hashes do not.
pub(crate) fn keep_secret(
    app: &App,
    session: &Session,
    person: &Person,
    known: Option<Credential>,
    typed: &Typed,
) -> Result<(), Problem> {
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let (mut password, mut pin) = known.map_or((None, None), |known| (known.password_hash, known.pin_hash));
    let mut happened = Vec::new();
    match typed.get("forget") {
        "all" => {
            (password, pin) = (None, None);
            happened.push("Password and PIN were taken away.");
        }
        "pin" => {
            pin = None;
            happened.push("The PIN was taken away.");
        }
        _ => {}
    }
    if let Some(text) = typed.given("password") {
        password = Some(secret::hash(text)?);
        happened.push("A password was set.");
    }
    if let Some(text) = typed.given("pin") {
        pin = Some(secret::hash(text)?);
        happened.push("A PIN was set.");
    }
    if happened.is_empty() || app.store.read(|reader| recorded(reader, &key))?.is_some() {
        return Ok(());
    }
    let mut write = Write::new(key, now, session.person.as_str());
    write.say(said(&person.id, &happened.join(" ")));
    app.store.write(&write)?;
    let kept = Credential { password_hash: password, pin_hash: pin, changed: now };
    Ok(app.store.set_credential(&person.id, Some(&kept))?)
}

/// Words about a person, for the record.
fn said(person: &str, text: &str) -> Fact {
    Fact::Note(NoteCard { about: Subject::person(person), text: text.to_owned() })
}
