//! My page: what I may do, my password and PIN.

use std::sync::Arc;

use axum::extract::{Form as Body, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{AppendHeaders, Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use report::Units;
use store::Credential;
use store::shapes::Person;

use super::people::{ROLES, keep_secret, role_word, secret_faults};
use super::people_form::{label, line_field};
use super::who::{leave, speaks_tls};
use super::{blocking, read};
use crate::access::called;
use crate::app::App;
use crate::entry::{UNITS, made_for, somebody};
use crate::forms::{Control, sealed, summary};
use crate::language;
use crate::layout::{Page, Place};
use crate::problem::Problem;
use crate::secret::is_right;
use crate::session::{How, Session, fresh_key};
use crate::typed::Typed;

/// The page of whoever is at the bench.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    let done = Typed::new(pairs).has("set");
    blocking(move || {
        let session = somebody(&app, &headers)?.ok_or_else(|| Problem::Who("/me".into()))?;
        Ok(with(&app, &session, &[], done)?.into_response())
    })
    .await
}

fn myself(app: &App, session: &Session) -> Result<(Person, Option<Credential>), Problem> {
    read(app, |reader| {
        let person = reader.people()?.into_iter().find(|person| person.id == session.person);
        let person = person.ok_or_else(|| Problem::Missing("You are not on record any more.".into()))?;
        Ok((person, reader.credential(&session.person)?))
    })
}

fn with(app: &App, session: &Session, faults: &[Fault], done: bool) -> Result<Html<String>, Problem> {
    let (person, known) = myself(app, session)?;
    let may = ROLES.iter().find(|(role, ..)| *role == person.role).map_or("", |(_, _, may)| may);
    let content = html! {
        h1 { (called(&person)) }
        p.lead { "On record as " (role_word(person.role)) ": " (may) "." }
        @if done { p.recorded role="status" { "Set. Your other sessions have ended." } }
        (language::for_person(app, session))
        (units_form(session))
        (secret_form(session, known.as_ref(), faults))
        p.small-form.beside { a.button href="/people" { "People" } }
        (leave(session))
    };
    let page = Page { title: "My page", place: Place::Elsewhere, here: "/me", trail: &[] };
    Ok(page.html(app, Some(session), &content))
}

type UnitAsked = (&'static str, &'static str, [(&'static str, &'static str); 2]);

/// The units to choose from: name of the field, label, and for each word what it stands for.
const UNITS_ASKED: [UnitAsked; 4] = [
    ("pressure", "Pressure", [("bar", "bar"), ("psi", "psi, pounds per square inch")]),
    ("flow", "Flow", [("l/min", "l/min, litres a minute"), ("gpm", "gpm, US gallons a minute")]),
    ("temperature", "Temperature", [("degC", "°C, degrees Celsius"), ("degF", "°F, degrees Fahrenheit")]),
    ("length", "Length", [("mm", "mm, millimetres"), ("in", "in, inches")]),
];

fn units_form(session: &Session) -> Markup {
    let words = session.units.words();
    html! {
        section aria-labelledby="units" {
            h2 #units { "Units" }
            form.entry method="post" action="/me/units" {
                input type="hidden" name="token" value=(session.token);
                div.fields {
                    @for (name, label, choices) in UNITS_ASKED {
                        @let other = choices[1].0;
                        @let value = if words.split(' ').any(|word| word == other) { other } else { choices[0].0 };
                        @let choices = choices.map(|(word, words)| (word.to_owned(), words.to_owned())).to_vec();
                        (line_field("units", name, label, "", Control::Choice(choices), value).html(&[]))
                    }
                }
                button type="submit" { "Use these" }
                p.help { "Numbers on your pages are shown and typed in these. The record, files and papers stay in bar, l/min, °C and mm." }
            }
        }
    }
}

/// Keeps the units of whoever is at the bench.
pub(crate) async fn set_units(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = somebody(&app, &headers)?.ok_or_else(|| Problem::Who("/me".into()))?;
        made_for(&session, &typed)?;
        let chosen: Vec<&str> = UNITS_ASKED.iter().map(|(name, ..)| typed.get(name)).collect();
        let units = Units::of(&chosen.join(" "));
        app.store.set_preference(&session.person, UNITS, &units.words())?;
        Ok(Redirect::to("/me").into_response())
    })
    .await
}

fn secret_form(session: &Session, known: Option<&Credential>, faults: &[Fault]) -> Markup {
    let has = known.is_some_and(|known| known.password_hash.is_some());
    let pin_help =
        "For the change of person at the shared bench: 4 to 8 digits. Left empty, it stays as it is.";
    let field = |name, words, help, control| line_field("secret", name, words, help, control, "");
    html! {
        section aria-labelledby="secret" {
            h2 #secret { "Password and PIN" }
            form.entry method="post" action="/me/secret" novalidate {
                (summary("secret", faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    @if has {
                        (field("current", "Password so far", "", Control::Secret("current-password", false)).html(faults))
                    }
                    (field("password", "New password", "8 letters or more. Left empty, it stays as it is.", Control::Secret("new-password", false)).html(faults))
                    (field("pin", "New PIN", pin_help, Control::Secret("off", true)).html(faults))
                }
                button type="submit" { "Set" }
            }
        }
    }
}

/// Sets one's own password or PIN.
pub(crate) async fn set_secret(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, typed: &Typed) -> Result<Response, Problem> {
    let session = somebody(app, headers)?.ok_or_else(|| Problem::Who("/me".into()))?;
    made_for(&session, typed)?;
    let (person, known) = myself(app, &session)?;
    let mut faults = secret_faults(&person, typed);
    let hash = known.as_ref().and_then(|known| known.password_hash.clone());
    if hash.is_some() {
        let now = jiff::Timestamp::now();
        let right = || Ok::<_, Problem>(is_right(typed.get("current"), hash.as_deref()));
        match app.tries.once(&person.id, None, now, right)? {
            Ok(true) => {}
            Ok(false) => {
                faults.push(Fault::new("current", "this is not your password", "type the one so far"))
            }
            Err(wait_s) => {
                faults.push(Fault::new(
                    "current",
                    "too many wrong tries",
                    format!("wait {wait_s} s, then try again"),
                ));
            }
        }
    }
    if typed.given("password").is_none() && typed.given("pin").is_none() {
        faults.push(Fault::new("password", "nothing is given", "type a new password, a new PIN, or both"));
    }
    if !faults.is_empty() {
        let page = with(app, &session, &faults, false)?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    let mut own = typed.clone();
    own.set("forget", "");
    keep_secret(app, &session, &person, known, &own)?;
    // Every session from before has ended, this one too: it goes on with a new cookie.
    let how = if typed.given("password").is_some() || hash.is_some() { How::Password } else { How::Pin };
    let (now, secure) = (jiff::Timestamp::now(), speaks_tls(headers));
    let mut cookies = vec![(header::SET_COOKIE, app.seal.cookie(&person.id, how, now, secure))];
    if how == How::Password {
        cookies.push((header::SET_COOKIE, app.seal.bench_cookie(&person.id, now, secure)));
    }
    Ok((AppendHeaders(cookies), Redirect::to("/me?set")).into_response())
}
