//! What every request passes: names of this machine only, forms of these pages only, and a strict policy for the answer.

use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

/// Nothing is fetched from elsewhere, nothing runs, nothing frames the page.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; \
                      frame-ancestors 'none'";

/// Headers of every answer.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Lets a request pass, or says why not.
pub(crate) async fn guard(request: Request, next: Next) -> Response {
    let mut response = match refusal(request.method(), request.headers()) {
        Some((status, text)) => (status, text).into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("private, no-cache"));
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn refusal(method: &Method, headers: &HeaderMap) -> Option<(StatusCode, &'static str)> {
    let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let host = text(header::HOST).unwrap_or_default();
    if !is_this_machine(host) {
        // A foreign name that was pointed at this machine would let a foreign page read the record.
        return Some((
            StatusCode::MISDIRECTED_REQUEST,
            "Borewise answers only to localhost and to this machine's own loopback address.\n",
        ));
    }
    if method == Method::GET || method == Method::HEAD {
        return None;
    }
    let site = text(HeaderName::from_static("sec-fetch-site"));
    let origin = text(header::ORIGIN);
    let ours = match (site, origin) {
        (Some(site), _) if site != "same-origin" => false,
        (_, Some(origin)) => origin.strip_prefix("http://").is_some_and(|name| name == host),
        (site, None) => site.is_some(),
    };
    (!ours).then_some((
        StatusCode::FORBIDDEN,
        "This form did not come from a page of this Borewise; nothing was recorded.\n",
    ))
}

/// Whether a Host header names the loopback of this machine.
fn is_this_machine(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(method: Method, pairs: &[(&'static str, &'static str)]) -> Option<StatusCode> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(*name, HeaderValue::from_static(value));
        }
        refusal(&method, &headers).map(|(status, _)| status)
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
}
