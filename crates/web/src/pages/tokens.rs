//! Tokens of other programs, on the page People.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use maud::{Markup, html};
use report::plain::moment;
use store::Token;
use store::shapes::Role;

use super::people::{Answer, ROLES, role_word, with_token};
use super::people_form::{label, line_field};
use super::{blocking, read};
use crate::app::App;
use crate::entry::{key, sender};
use crate::forms::{Control, sealed, summary};
use crate::layout::encoded;
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::tokens::{self, TokenError, Wanted};
use crate::typed::Typed;

/// Name of the form that makes a token.
const FORM: &str = "token";

impl From<TokenError> for Problem {
    fn from(error: TokenError) -> Self {
        match error {
            TokenError::Store(error) => error.into(),
            TokenError::Forbidden(text) => Self::Forbidden(text),
            other => Self::Refused(other.to_string()),
        }
    }
}

/// The tokens, and where one is made; `new` is one that was just made.
pub(super) fn section(
    app: &App,
    session: &Session,
    may: bool,
    answer: Option<&Answer<'_>>,
    new: Option<&str>,
) -> Result<Markup, Problem> {
    let all = read(app, |reader| Ok(reader.tokens()?))?;
    Ok(html! {
        @if may || !all.is_empty() {
            section aria-labelledby="tokens" {
                h2 #tokens { "Other programs" }
                p.help {
                    "A program reaches the record with a token, through the interface that "
                    a href="/api/v1/openapi.json" { "its description" } " tells. What it records carries the name of who answers for it, and the token's."
                }
                @if let Some(token) = new { (shown_once(token)) }
                @if !all.is_empty() {
                    table.list role="table" aria-labelledby="tokens" {
                        thead role="rowgroup" { tr role="row" {
                            @for heading in ["Token", "May do", "Answers for it", "State"] { th role="columnheader" scope="col" { (heading) } }
                        } }
                        tbody role="rowgroup" { @for token in &all { (line(session, may, token)) } }
                    }
                }
                @if may { (form(app, session, answer)?) }
            }
        }
    })
}

fn shown_once(token: &str) -> Markup {
    html! {
        div.recorded role="status" {
            p { strong { "Copy the token now: it is not kept and cannot be shown again." } }
            p { code { (token) } }
        }
    }
}

fn line(session: &Session, may: bool, token: &Token) -> Markup {
    let own = token.person == session.person && session.role.records();
    html! {
        tr.gone[token.revoked.is_some()] role="row" {
            th.name role="rowheader" scope="row" { (token.name) span.under { "made " (moment(token.made)) " by " (token.made_by) } }
            td role="cell" data-label="May do" { (role_word(token.role)) }
            td role="cell" data-label="Answers for it" { (token.person) }
            td role="cell" data-label="State" { @match &token.revoked {
                Some((at, by)) => { "revoked " (moment(*at)) " by " (by) },
                None if may || own => form.entry method="post" action={ "/tokens/" (encoded(&token.name)) "/revoke" } {
                    (sealed(session, &fresh_key()))
                    button.quiet-button type="submit" { "Revoke " (token.name) }
                },
                None => "in use",
            } }
        }
    }
}

fn form(app: &App, session: &Session, answer: Option<&Answer<'_>>) -> Result<Markup, Problem> {
    let people = read(app, |reader| Ok(reader.people()?))?;
    let (typed, faults) = Answer::of(answer, FORM);
    let nothing = Typed::default();
    let typed = typed.unwrap_or(&nothing);
    let here = people.iter().filter(|person| person.active);
    let people = here.map(|person| (person.id.clone(), crate::access::called(person))).collect();
    let roles = ROLES.iter().filter(|(role, ..)| *role != Role::Administrator);
    let roles = roles.map(|(_, word, _)| ((*word).to_owned(), (*word).to_owned())).collect();
    let (role, person) =
        (typed.given("role").unwrap_or("viewer"), typed.given("person").unwrap_or(&session.person));
    let name =
        "The program, in plain letters: press-gateway. It stands in the record, and is never given twice.";
    Ok(html! {
        details.form open[!faults.is_empty()] {
            summary { "A token for another program" }
            form.entry method="post" action="/tokens" novalidate {
                (summary(FORM, faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    (line_field(FORM, "token_name", "Name of the token", name, Control::Line, typed.get("token_name")).html(faults))
                    (line_field(FORM, "role", "May do", "", Control::Choice(roles), role).html(faults))
                    (line_field(FORM, "person", "Answers for it", "", Control::Choice(people), person).html(faults))
                }
                button type="submit" { "Make the token" }
            }
        }
    })
}

/// Makes a token, and shows it once.
pub(crate) async fn add(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = sender(&app, &headers, &typed, "/people".into())?;
        let key = key(&typed)?;
        let role = ROLES.iter().find(|(_, word, _)| *word == typed.get("role")).map(|(role, ..)| *role);
        let role = role.ok_or_else(|| Problem::Refused("This form is not one of these pages.".into()))?;
        let wanted =
            Wanted { name: typed.get("token_name").to_owned(), role, person: typed.get("person").to_owned() };
        match tokens::make(&app.store, &session.person, &wanted, &key, jiff::Timestamp::now()) {
            Ok(token) => {
                let page = with_token(&app, &session, None, Some(&token))?;
                Ok(([(header::CACHE_CONTROL, "no-store")], page).into_response())
            }
            Err(TokenError::Faults(faults)) => {
                let answer = Answer { form: FORM, typed: &typed, faults: &faults };
                let page = with_token(&app, &session, Some(&answer), None)?;
                Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
            }
            Err(error) => Err(error.into()),
        }
    })
    .await
}

/// Revokes a token.
pub(crate) async fn revoke(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(name): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = sender(&app, &headers, &typed, "/people".into())?;
        tokens::revoke(&app.store, &session.person, &name, &key(&typed)?, jiff::Timestamp::now())?;
        Ok(Redirect::to("/people#tokens").into_response())
    })
    .await
}
