//! What every request passes: names of this machine only, forms of these pages only, somebody signed in where other machines
//! are let in, and a strict policy for the answer.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use crate::access::Access;
use crate::api;
use crate::app::App;
use crate::entry::somebody;
use crate::language;
use crate::live;
use crate::problem::Problem;

/// Nothing is fetched from elsewhere, nothing runs but our own file, nothing frames the page.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Headers of every answer.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Whether somebody who has not signed in is let through to this: the page to sign in, what every page is made with, and its language.
fn is_public(path: &str) -> bool {
    path == "/who" || path == language::ADDRESS || path.starts_with("/assets/")
}

/// Lets a request pass, or says why not.
pub(crate) async fn guard(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let may_write = request.method() != Method::GET && request.method() != Method::HEAD;
    // The interface for programs knows no cookies: what a browser was told cannot reach it, so that it asks for no origin.
    let api = api::is_at(request.uri().path());
    let method = if api { &Method::GET } else { request.method() };
    let mut response = match refusal(&app.access, method, request.headers()) {
        Some((status, text)) if api => api::misdirected(status, text),
        Some((status, text)) => (status, text).into_response(),
        None if api => next.run(request).await,
        None if app.access.asks_for_proof() && !is_public(request.uri().path()) => {
            signed_in(&app, request, next).await
        }
        None => next.run(request).await,
    };
    if may_write {
        // Nobody waits for it: open pages are told after the answer has gone out.
        let told = Arc::clone(&app);
        tokio::spawn(async move { live::look(&told).await });
    }
    let headers = response.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("private, no-cache"));
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

/// Lets a request of somebody who has signed in pass; everybody else is asked to.
async fn signed_in(app: &Arc<App>, request: Request, next: Next) -> Response {
    let (asked, headers) = (Arc::clone(app), request.headers().clone());
    let known = tokio::task::spawn_blocking(move || somebody(&asked, &headers)).await;
    match known {
        Ok(Ok(Some(_))) => next.run(request).await,
        Ok(Err(problem)) => problem.into_response(),
        _ if request.method() == Method::GET || request.method() == Method::HEAD => {
            let here = request.uri().path_and_query().map_or("/", |whole| whole.as_str());
            Problem::Who(here.to_owned()).into_response()
        }
        _ => Problem::SignIn.into_response(),
    }
}

fn refusal(access: &Access, method: &Method, headers: &HeaderMap) -> Option<(StatusCode, &'static str)> {
    let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let host = text(header::HOST).unwrap_or_default();
    if !access.answers(host) {
        return Some((
            StatusCode::MISDIRECTED_REQUEST,
            match access {
                Access::ThisMachine => {
                    "Borewise answers only to localhost and to this machine's own loopback address.\n"
                }
                Access::Network(_) => {
                    "Borewise does not answer to this name; who starts it can add the name with --host.\n"
                }
            },
        ));
    }
    if method == Method::GET || method == Method::HEAD {
        return None;
    }
    let site = text(HeaderName::from_static("sec-fetch-site"));
    let origin = text(header::ORIGIN);
    let own = |origin: &str| {
        let mut names = access.schemes().iter().filter_map(|scheme| origin.strip_prefix(scheme));
        names.any(|name| name == host)
    };
    let ours = match (site, origin) {
        (Some(site), _) if site != "same-origin" => false,
        (_, Some(origin)) => own(origin),
        (site, None) => site.is_some(),
    };
    (!ours).then_some((
        StatusCode::FORBIDDEN,
        "This form did not come from a page of this Borewise; nothing was recorded.\n",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(method: Method, pairs: &[(&'static str, &'static str)]) -> Option<StatusCode> {
        asked_at(&Access::ThisMachine, method, pairs)
    }

    fn asked_at(
        access: &Access,
        method: Method,
        pairs: &[(&'static str, &'static str)],
    ) -> Option<StatusCode> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(*name, HeaderValue::from_static(value));
        }
        refusal(access, &method, &headers).map(|(status, _)| status)
    }

    #[test]
    fn only_this_machine_is_answered() {
        for host in ["localhost", "localhost:8080", "127.0.0.1:8080", "[::1]:8080", "LOCALHOST"] {
            assert_eq!(asked(Method::GET, &[("host", host)]), None, "{host}");
        }
        for host in ["", "bench.example", "127.0.0.1.example:80", "192.168.1.9:8080", "[2001:db8::1]:80"] {
            assert_eq!(
                asked(Method::GET, &[("host", host)]),
                Some(StatusCode::MISDIRECTED_REQUEST),
                "{host}"
            );
        }
    }

    #[test]
    fn only_own_forms_are_taken() {
        let post = |more: &[(&'static str, &'static str)]| {
            let mut all = vec![("host", "localhost:8080")];
            all.extend_from_slice(more);
            asked(Method::POST, &all)
        };
        let own = ("origin", "http://localhost:8080");
        assert_eq!(post(&[("sec-fetch-site", "same-origin"), own]), None);
        assert_eq!(post(&[own]), None);
        assert_eq!(post(&[("sec-fetch-site", "same-origin")]), None);
        for refused in [
            &[][..],
            &[("origin", "null")],
            &[("origin", "http://localhost:9999")],
            &[("origin", "https://bench.example")],
            &[("sec-fetch-site", "cross-site"), own],
            &[("sec-fetch-site", "same-site"), own],
            &[("sec-fetch-site", "none"), own],
            &[("sec-fetch-site", "same-origin"), ("origin", "https://bench.example")],
        ] {
            assert_eq!(post(refused), Some(StatusCode::FORBIDDEN), "{refused:?}");
        }
    }

    #[test]
    fn beyond_this_machine_only_told_names_and_own_addresses_are_answered() {
        let any = Access::at("0.0.0.0:8470", &["bench.plant.example"]);
        let one = Access::at("192.0.2.7:8470", &[]);
        let fine =
            |access: &Access, host: &'static str| asked_at(access, Method::GET, &[("host", host)]).is_none();
        for host in ["bench.plant.example", "BENCH.plant.example:8470", "192.0.2.7:8470", "localhost"] {
            assert!(fine(&any, host), "{host}");
        }
        for host in ["other.example", "plant.example", "x.bench.plant.example", "192.0.2.7.example", ""] {
            assert!(!fine(&any, host), "{host}");
        }
        assert!(fine(&one, "192.0.2.7:8470") && !fine(&one, "192.0.2.8:8470"));
        assert!(!fine(&one, "bench.plant.example"));
        let post = |origin: &'static str| {
            asked_at(&any, Method::POST, &[("host", "bench.plant.example:8470"), ("origin", origin)])
        };
        assert_eq!(post("http://bench.plant.example:8470"), None);
        assert_eq!(post("https://bench.plant.example:8470"), None);
        for origin in ["http://bench.plant.example", "https://evil.example", "null", "http://192.0.2.7:8470"]
        {
            assert_eq!(post(origin), Some(StatusCode::FORBIDDEN), "{origin}");
        }
    }
}
