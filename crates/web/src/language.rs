//! In which language somebody reads the pages.
//!
//! Pages are made in British English and brought into the reader's language when they are finished ([`speech`]). A person's
//! choice stands beside the record, as the units do; a browser in which nobody chose keeps a cookie, and otherwise says itself
//! what it likes.

use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::extract::{Form, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{AppendHeaders, IntoResponse as _, Redirect, Response};
use maud::{Markup, html};
use speech::Language;

use crate::app::App;
use crate::entry::somebody;
use crate::forms::Control;
use crate::pages::blocking;
use crate::pages::line_field;
use crate::pages::next;
use crate::session::Session;
use crate::typed::Typed;

/// Under which name the language of a person is kept.
pub(crate) const LANGUAGE: &str = "language";
/// Name of the cookie of a browser in which a language was chosen.
const COOKIE: &str = "borewise-language";
/// How long a browser keeps it: a year (own choice).
const LIFE_S: u32 = 365 * 24 * 3600;
/// Where the choice is sent.
pub(crate) const ADDRESS: &str = "/language";

/// Brings a finished page into the language of whoever asked for it.
pub(crate) async fn layer(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let asked = request.headers().clone();
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    if !kind.is_some_and(|kind| kind.starts_with("text/html")) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, usize::MAX).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let done = tokio::task::spawn_blocking(move || {
        let language = of(&app, &asked);
        let page = std::str::from_utf8(&bytes).map(|page| language.page(page));
        (language, page.map_or(bytes.to_vec(), String::into_bytes))
    });
    let Ok((language, page)) = done.await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(header::CONTENT_LANGUAGE, HeaderValue::from_static(language.tag()));
    parts.headers.append(header::VARY, HeaderValue::from_static("accept-language, cookie"));
    Response::from_parts(parts, Body::from(page))
}

/// The language of a request: what the person chose, what was chosen in this browser, or what the browser likes.
fn of(app: &App, headers: &HeaderMap) -> Language {
    let own = somebody(app, headers).ok().flatten().and_then(|session| kept(app, &session));
    own.or_else(|| in_cookie(headers)).unwrap_or_else(|| {
        let liked = headers.get(header::ACCEPT_LANGUAGE).and_then(|liked| liked.to_str().ok());
        Language::liked(liked.unwrap_or_default())
    })
}

/// The language that this person chose.
fn kept(app: &App, session: &Session) -> Option<Language> {
    let kept = app.store.read(|reader| reader.preference(&session.person, LANGUAGE));
    kept.ok().flatten().and_then(|tag| Language::of(&tag))
}

fn in_cookie(headers: &HeaderMap) -> Option<Language> {
    let lines = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = lines.flat_map(|line| line.split(';'));
    pairs.find_map(|pair| Language::of(pair.trim().strip_prefix(COOKIE)?.strip_prefix('=')?))
}

/// Keeps the language that somebody chose, for the person and for the browser, and goes back to the page.
pub(crate) async fn choose(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        // An unknown word takes the choice back: the browser says again what it likes.
        let tag = Language::of(typed.get("language")).map_or("", Language::tag);
        if let Some(session) = somebody(&app, &headers)? {
            app.store.set_preference(&session.person, LANGUAGE, tag)?;
        }
        let life_s = if tag.is_empty() { 0 } else { LIFE_S };
        let cookie = format!("{COOKIE}={tag}; Path=/; Max-Age={life_s}; HttpOnly; SameSite=Strict");
        let cookie = HeaderValue::from_str(&cookie).unwrap_or(HeaderValue::from_static(""));
        Ok((AppendHeaders([(header::SET_COOKIE, cookie)]), Redirect::to(next(&typed))).into_response())
    })
    .await
}

/// The choice for the foot of a page: each language under its own name.
pub(crate) fn in_foot(here: &str) -> Markup {
    html! {
        form.languages method="post" action=(ADDRESS) aria-label="Language of the pages" {
            input type="hidden" name="next" value=(here);
            @for (_, tag, own) in Language::ALL {
                button type="submit" name="language" value=(tag) lang=(tag) { (own) }
            }
        }
    }
}

/// The choice for the page of a person.
pub(crate) fn for_person(app: &App, session: &Session) -> Markup {
    let chosen = kept(app, session).map_or("", Language::tag);
    let mut choices = vec![(String::new(), "what the browser likes".to_owned())];
    choices.extend(Language::ALL.map(|(_, tag, own)| (tag.to_owned(), own.to_owned())));
    html! {
        section aria-labelledby="language" {
            h2 #language { "Language" }
            form.entry method="post" action=(ADDRESS) {
                input type="hidden" name="next" value="/me";
                div.fields {
                    (line_field("language", "language", "Language of the pages", "", Control::Choice(choices), chosen).html(&[]))
                }
                button type="submit" { "Use this" }
                p.help { "Pages are shown in this language. What people wrote, names, files and papers stay as they are." }
            }
        }
    }
}
