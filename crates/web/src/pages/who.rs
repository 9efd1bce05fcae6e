//! Who is at the bench: the first start, signing in, the change of person, signing out.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::Extension;
use axum::extract::connect_info::ConnectInfo;
use axum::extract::{Form as Body, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{AppendHeaders, Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use store::shapes::{Person, Role};
use store::{Credential, Fact, Reader, Session as Writing, StoreError, Write};

use super::people::new_person;
use super::people_form::person_fields;
use super::{blocking, read};
use crate::access::called;
use crate::app::App;
use crate::entry::{made_for, somebody, still_good};
use crate::forms::{Control, Place as Field, summary};
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::secret::is_right;
use crate::session::{How, Session, forgotten, fresh_key};
use crate::typed::Typed;

/// How somebody may be recognised at this browser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Ways {
    name: bool,
    pin: bool,
    password: bool,
}

/// Somebody who may come to the bench.
struct Candidate {
    person: Person,
    known: Option<Credential>,
    ways: Ways,
}

/// Everybody who is here, with the ways in which they may be recognised at the browser that asks.
fn candidates(app: &App, headers: &HeaderMap, reader: &Reader<'_>) -> Result<Vec<Candidate>, StoreError> {
    let network = app.access.asks_for_proof();
    // A browser at which somebody signed in with a password is the bench's own.
    let bench = match app.seal.bench_claim(headers, jiff::Timestamp::now()) {
        Some(claim) => still_good(reader, &claim)?.is_some(),
        None => false,
    };
    let mut all = Vec::new();
    for person in reader.people()?.into_iter().filter(|person| person.active) {
        let known = reader.credential(&person.id)?;
        let has =
            |of: fn(&Credential) -> &Option<String>| known.as_ref().is_some_and(|known| of(known).is_some());
        let (password, pin) = (has(|known| &known.password_hash), has(|known| &known.pin_hash));
        let ways = Ways {
            name: !network && !password && !pin,
            pin: pin && (bench || (!network && !password)),
            password,
        };
        all.push(Candidate { person, known, ways });
    }
    Ok(all)
}

/// Asks who is at the bench.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || Ok(with(&app, &headers, &typed, &[])?.into_response())).await
}

fn with(app: &App, headers: &HeaderMap, typed: &Typed, faults: &[Fault]) -> Result<Html<String>, Problem> {
    let session = somebody(app, headers)?;
    let here = read(app, |reader| Ok(candidates(app, headers, reader)?))?;
    let next = next(typed);
    let content = html! {
        @if here.is_empty() { (first_start(typed, next, faults)) } @else {
            h1 { "Who is at the bench?" }
            p.lead { "Everything that is recorded carries your name." }
            (by_name(&here, next))
            (by_pin(&here, typed, next, faults))
            (by_password(app, &here, typed, next, faults))
            @if let Some(session) = &session { (leave(session)) }
            p.quiet { "Not in this list? An administrator adds people on the page " a href="/people" { "People" } "." }
        }
    };
    let page = Page { title: "Who is at the bench?", place: Place::Elsewhere, here: next, trail: &[] };
    Ok(page.html(app, session.as_ref(), &content))
}

fn first_start(typed: &Typed, next: &str, faults: &[Fault]) -> Markup {
    html! {
        h1 { "Welcome to the bench" }
        p.lead { "Everything that is recorded carries the name of who recorded it. Whose is it to begin with?" }
        form.entry method="post" action="/who" novalidate {
            (summary("who", faults, label))
            input type="hidden" name="next" value=(next);
            (person_fields("who", typed, faults))
            p.help { "You will be the administrator: you add the others, and say who may do what." }
            button type="submit" { "Begin" }
        }
    }
}

/// A button for everybody whose name is enough.
fn by_name(here: &[Candidate], next: &str) -> Markup {
    html! {
        @if here.iter().any(|one| one.ways.name) {
            form method="post" action="/who" {
                input type="hidden" name="next" value=(next);
                ul.choices {
                    @for Candidate { person, .. } in here.iter().filter(|one| one.ways.name) {
                        li { button.quiet-button type="submit" name="person" value=(person.id) {
                            strong { (person.id) } @if person.name != person.id { " " (person.name) }
                        } }
                    }
                }
            }
        }
    }
}

/// The quick change of person: a name out of the list, and a PIN.
fn by_pin(here: &[Candidate], typed: &Typed, next: &str, faults: &[Fault]) -> Markup {
    let own = own(faults, "pin");
    let choices: Vec<(String, String)> = here
        .iter()
        .filter(|one| one.ways.pin)
        .map(|one| (one.person.id.clone(), called(&one.person)))
        .collect();
    let person = field("change", "person", "Person", Control::Choice(choices.clone()), typed.get("person"));
    let pin = field("change", "pin", "PIN", Control::Secret("off", true), "");
    html! {
        @if !choices.is_empty() {
            section.small-form aria-labelledby="change" {
                h2 #change { "Change person" }
                form.entry method="post" action="/who" novalidate {
                    (summary("change", own, label))
                    input type="hidden" name="next" value=(next);
                    div.fields { (person.html(own)) (pin.html(own)) }
                    button type="submit" { "Change" }
                }
            }
        }
    }
}

fn by_password(app: &App, here: &[Candidate], typed: &Typed, next: &str, faults: &[Fault]) -> Markup {
    let own = own(faults, "password");
    let person = field("sign-in", "person", "Short name", Control::Line, typed.get("person"));
    let password = field("sign-in", "password", "Password", Control::Secret("current-password", false), "");
    html! {
        @if app.access.asks_for_proof() || here.iter().any(|one| one.ways.password) {
            section.small-form aria-labelledby="sign-in" {
                h2 #sign-in { "Sign in with a password" }
                form.entry method="post" action="/who" novalidate {
                    (summary("sign-in", own, label))
                    input type="hidden" name="next" value=(next);
                    div.fields { (person.html(own)) (password.html(own)) }
                    button type="submit" { "Sign in" }
                    p.help { "At the browser where somebody has signed in, others change with name and PIN for a shift." }
                }
            }
        }
    }
}

/// The form that signs somebody out.
pub(crate) fn leave(session: &Session) -> Markup {
    html! {
        form.small-form method="post" action="/sign-out" {
            input type="hidden" name="token" value=(session.token);
            button.quiet-button type="submit" { "Sign " (session.person) " out at this browser" }
        }
    }
}

fn field<'a>(form: &'a str, name: &'a str, label: &'a str, control: Control, value: &'a str) -> Field<'a> {
    Field { form, name, label, help: "", unit: "", optional: false, control, value }
}

fn label(name: &str) -> Option<String> {
    let words = match name {
        "name" => "Name",
        "short" => "Short name",
        "person" => "Person",
        "password" => "Password",
        "pin" => "PIN",
        _ => return None,
    };
    Some(words.to_owned())
}

/// The faults, if they are of the form with this field.
fn own<'a>(faults: &'a [Fault], of: &str) -> &'a [Fault] {
    if faults.iter().any(|fault| fault.field == of) { faults } else { &[] }
}

/// Where to go on: an address of these pages, else the first page.
pub(crate) fn next(typed: &Typed) -> &str {
    let next = typed.get("next");
    let ours = next.starts_with('/')
        && !next.starts_with("//")
        && next.bytes().all(|byte| (0x21..0x7f).contains(&byte) && byte != b'\\');
    if ours { next } else { "/" }
}

/// Takes who it is.
pub(crate) async fn choose(
    State(app): State<Arc<App>>,
    peer: Option<Extension<ConnectInfo<SocketAddr>>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    let from = peer.map(|Extension(ConnectInfo(address))| address.ip());
    blocking(move || take(&app, &headers, &typed, from)).await
}

fn take(app: &App, headers: &HeaderMap, typed: &Typed, from: Option<IpAddr>) -> Result<Response, Problem> {
    let here = read(app, |reader| Ok(candidates(app, headers, reader)?))?;
    if here.is_empty() {
        return first(app, headers, typed);
    }
    let (id, now) = (typed.get("person"), jiff::Timestamp::now());
    let found = here.iter().find(|one| one.person.id == id);
    // Which form it was: an empty field is an answer too.
    let field = if typed.has("pin") { "pin" } else { "password" };
    if !typed.has("pin") && !typed.has("password") {
        return match found {
            Some(one) if one.ways.name => Ok(welcome(app, headers, &one.person.id, How::Name, typed)),
            Some(_) => {
                let fault =
                    Fault::new("password", "a name is not enough here", "give the password or the PIN");
                answer(app, headers, typed, &[fault], None)
            }
            None => Err(Problem::Refused("This person is not on record any more.".into())),
        };
    }
    let hash = |one: &Candidate| match field {
        "pin" if one.ways.pin => one.known.as_ref()?.pin_hash.clone(),
        "pin" => None,
        _ => one.known.as_ref()?.password_hash.clone(),
    };
    let hash = found.and_then(hash);
    let tried =
        app.tries.once(id, from, now, || Ok::<_, Problem>(is_right(typed.get(field), hash.as_deref())))?;
    let how = if field == "pin" { How::Pin } else { How::Password };
    match tried {
        Ok(true) => Ok(welcome(app, headers, id, how, typed)),
        Ok(false) => {
            let what = if field == "pin" { "PIN" } else { "password" };
            let fault =
                Fault::new(field, format!("the name and the {what} do not belong together"), "try again");
            answer(app, headers, typed, &[fault], None)
        }
        Err(wait_s) => {
            let hint = format!("wait {wait_s} s, then try again");
            answer(app, headers, typed, &[Fault::new(field, "too many wrong tries", hint)], Some(wait_s))
        }
    }
}

/// The page again, with what is wrong, and how long to wait.
fn answer(
    app: &App,
    headers: &HeaderMap,
    typed: &Typed,
    faults: &[Fault],
    wait_s: Option<i64>,
) -> Result<Response, Problem> {
    let page = with(app, headers, typed, faults)?;
    let Some(wait_s) = wait_s else { return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response()) };
    let wait = [(header::RETRY_AFTER, HeaderValue::from(wait_s))];
    Ok((StatusCode::TOO_MANY_REQUESTS, wait, page).into_response())
}

/// Somebody was recognised.
fn welcome(app: &App, headers: &HeaderMap, person: &str, how: How, typed: &Typed) -> Response {
    let (now, secure) = (jiff::Timestamp::now(), speaks_tls(headers));
    let own = (header::SET_COOKIE, app.seal.cookie(person, how, now, secure));
    let mut cookies = vec![own];
    if how == How::Password {
        cookies.push((header::SET_COOKIE, app.seal.bench_cookie(person, now, secure)));
    }
    (AppendHeaders(cookies), Redirect::to(next(typed))).into_response()
}

/// Whether the browser says that it came through TLS.
pub(crate) fn speaks_tls(headers: &HeaderMap) -> bool {
    headers.get(header::ORIGIN).is_some_and(|origin| origin.as_bytes().starts_with(b"https://"))
}

/// The very first person, who may do everything.
fn first(app: &App, headers: &HeaderMap, typed: &Typed) -> Result<Response, Problem> {
    let person = match new_person(&[], typed, Role::Administrator) {
        Ok(person) => person,
        Err(faults) => return answer(app, headers, typed, &faults, None),
    };
    let id = person.id.clone();
    app.store.together(|writing: &Writing<'_>| {
        if writing.reader().people()?.iter().any(|known| known.active) {
            return Err(Problem::Refused(
                "Somebody else was first; choose yourself, or ask them to add you.".into(),
            ));
        }
        let mut write = Write::new(format!("page-{}", fresh_key()), jiff::Timestamp::now(), id.as_str());
        write.say(Fact::Person(person));
        writing.write(&write)?;
        Ok(())
    })?;
    Ok(welcome(app, headers, &id, How::Name, typed))
}

/// Signs the person out at this browser, and ends the change by PIN there.
pub(crate) async fn sign_out(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        if let Some(session) = somebody(&app, &headers)? {
            made_for(&session, &typed)?;
        }
        let gone = forgotten().map(|cookie| (header::SET_COOKIE, cookie));
        Ok((AppendHeaders(gone), Redirect::to("/who")).into_response())
    })
    .await
}
