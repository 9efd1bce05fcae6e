//! The people on record: who they are, what they may do, and how they are recognised.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use store::shapes::{NoteCard, Person, Role};
use store::{Credential, Fact, Session as Writing, Subject, Write};

use super::{blocking, read};
use crate::access::called;
use crate::app::App;
use crate::entry::{key, recorded, sender, somebody};
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{Page, Place, encoded};
use crate::problem::Problem;
use crate::secret;
use crate::session::{Session, fresh_key};
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
    let nobody = !people.iter().any(|person| person.active && person.role == Role::Administrator);
    session.role == Role::Administrator || (nobody && session.role == Role::Lead)
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
struct Row {
    person: Person,
    password: bool,
    pin: bool,
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
struct Answer<'a> {
    form: &'a str,
    typed: &'a Typed,
    faults: &'a [Fault],
}

impl Answer<'_> {
    fn of<'a>(answer: Option<&'a Answer<'a>>, form: &str) -> (Option<&'a Typed>, &'a [Fault]) {
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
        section.small-form aria-labelledby="roles" {
            h2 #roles { "Who may do what" }
            dl.kept { @for (_, word, may) in ROLES { div { dt { (report::pieces::capital(word)) } dd { (may) } } } }
        }
    };
    let page = Page { title: "People", place: Place::Elsewhere, here: "/people", trail: &[] };
    Ok(page.html(app, Some(session), &content))
}

fn without_password(app: &App, open: &[String]) -> Markup {
    html! {
        @if !open.is_empty() {
            p.about {
                "Without a password: " (open.join(", ")) ". "
                @if app.access.asks_for_proof() {
                    "They cannot sign in; Borewise will not open to other machines again before each has one."
                } @else {
                    "Anybody at this machine can record in their name. Borewise opens to other machines once each has one."
                }
            }
        }
    }
}

fn line(row: &Row) -> Markup {
    let Row { person, password, pin } = row;
    html! {
        tr.gone[!person.active] {
            th.name scope="row" { (person.id) span.under { (person.name) } }
            td { (role_word(person.role)) @if !person.active { span.under { "has left" } } }
            td { @match (password, pin) {
                (true, true) => "password, PIN",
                (true, false) => "password",
                (false, true) => "PIN",
                (false, false) => "name alone",
            } }
        }
    }
}

/// The forms for one person: what they are, and their password and PIN.
fn change_forms(session: &Session, row: &Row, answer: Option<&Answer<'_>>) -> Markup {
    let person = &row.person;
    let (role_form, secret_form) = (format!("role-{}", person.id), format!("secret-{}", person.id));
    let (typed, faults) = Answer::of(answer, &role_form);
    let (_, secret_faults) = Answer::of(answer, &secret_form);
    let own = person.id == session.person;
    let value = |name: &str, known: &str| typed.map_or(known.to_owned(), |typed| typed.get(name).to_owned());
    let (name, role) = (value("name", &person.name), value("role", role_word(person.role)));
    let here = value("active", if person.active { "yes" } else { "no" });
    let field = |name, label, control, value| line_field(&role_form, name, label, "", control, value);
    let choice = |pairs: &[(&str, &str)]| {
        Control::Choice(
            pairs.iter().map(|(value, words)| ((*value).to_owned(), (*words).to_owned())).collect(),
        )
    };
    let roles: Vec<(&str, String)> =
        ROLES.iter().map(|(_, word, may)| (*word, format!("{word}: {may}"))).collect();
    let roles: Vec<(&str, &str)> = roles.iter().map(|(word, words)| (*word, words.as_str())).collect();
    let address = format!("/people/{}", encoded(&person.id));
    html! {
        details.form open[!faults.is_empty() || !secret_faults.is_empty()] {
            summary { (called(person)) }
            form.entry method="post" action=(address) novalidate {
                (summary(&role_form, faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    (field("name", "Name", Control::Line, &name).html(faults))
                    @if own { input type="hidden" name="role" value=(role); input type="hidden" name="active" value=(here); }
                    @else {
                        (field("role", "Role", choice(&roles), &role).html(faults))
                        (field("active", "Still here", choice(&[("yes", "works here"), ("no", "has left")]), &here).html(faults))
                    }
                }
                button type="submit" { "Record the change" }
                @if own { p.help { "Your own role is changed by another administrator." } }
                @else { p.help { "Whoever has left is signed out everywhere at once; password and PIN are forgotten." } }
            }
            @if person.active && !own {
                form.entry.small-form method="post" action={ (address) "/secret" } novalidate {
                    (summary(&secret_form, secret_faults, label))
                    (sealed(session, &fresh_key()))
                    div.fields {
                        (line_field(&secret_form, "password", "New password", "Left empty, it stays as it is.", Control::Secret("new-password", false), "").html(secret_faults))
                        (line_field(&secret_form, "pin", "New PIN", "For the change of person at the shared bench: 4 to 8 digits. Left empty, it stays.", Control::Secret("off", true), "").html(secret_faults))
                        (line_field(&secret_form, "forget", "Take away", "", choice(&[("", "nothing"), ("pin", "the PIN"), ("all", "password and PIN")]), "").html(secret_faults))
                    }
                    button type="submit" { "Set" }
                    p.help { "It ends the sessions of " (person.id) ". Ask " (person.id) " to choose an own one on My page." }
                }
            }
        }
    }
}

fn add_form(app: &App, session: &Session, answer: Option<&Answer<'_>>) -> Markup {
    let (typed, faults) = Answer::of(answer, "add");
    let nothing = Typed::default();
    let typed = typed.unwrap_or(&nothing);
    let role = typed.given("role").unwrap_or("technician");
    let roles = ROLES.iter().map(|(_, word, _)| ((*word).to_owned(), (*word).to_owned())).collect();
    let help = if app.access.asks_for_proof() {
        "Without one, only a viewer can be added."
    } else {
        "May be left out at this machine."
    };
    html! {
        form.entry method="post" action="/people" novalidate {
            (summary("add", faults, label))
            (sealed(session, &typed.given("key").map_or_else(fresh_key, str::to_owned)))
            (person_fields("add", typed, faults))
            div.fields {
                (line_field("add", "role", "Role", "", Control::Choice(roles), role).html(faults))
                (line_field("add", "password", "First password", help, Control::Secret("new-password", false), "").html(faults))
            }
            button type="submit" { "Add" }
        }
    }
}

/// The fields for name and short name.
pub(crate) fn person_fields(form: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let short = "Initials, for example: it stands beside each reading, and cannot be changed later.";
    html! {
        div.fields {
            (line_field(form, "name", "Name", "As it should stand on papers.", Control::Line, typed.get("name")).html(faults))
            (line_field(form, "short", "Short name", short, Control::Line, typed.get("short")).html(faults))
        }
    }
}

/// A field of the forms about people.
pub(crate) fn line_field<'a>(
    form: &'a str,
    name: &'a str,
    label: &'a str,
    help: &'a str,
    control: Control,
    value: &'a str,
) -> Field<'a> {
    Field { form, name, label, help, unit: "", optional: false, control, value }
}

/// What the fields of these forms are called.
pub(crate) fn label(name: &str) -> Option<String> {
    let words = match name {
        "name" => "Name",
        "short" => "Short name",
        "role" => "Role",
        "active" => "Still here",
        "password" => "Password",
        "current" => "Password so far",
        "pin" => "PIN",
        "forget" => "Take away",
        _ => return None,
    };
    Some(words.to_owned())
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
