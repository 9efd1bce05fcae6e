//! The frame around every page.

use axum::response::Html;
use maud::{DOCTYPE, Markup, html};

use crate::app::App;
use crate::language;
use crate::news::About;
use crate::session::Session;

/// Where a page belongs in the head of the pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// What is on the bench.
    Today,
    /// Moulds, their visits and circuits.
    Moulds,
    /// Rigs, instruments, limits and materials.
    Rigs,
    /// Calculators.
    Calculators,
    /// None of these.
    Elsewhere,
}

/// A page.
pub(crate) struct Page<'a> {
    /// Title of the window.
    pub title: &'a str,
    /// Where it belongs.
    pub place: Place,
    /// Address of this page, to come back to.
    pub here: &'a str,
    /// Ways back: words and address, from the widest to the nearest.
    pub trail: &'a [(String, String)],
}

impl Page<'_> {
    /// The whole page.
    pub(crate) fn html(&self, app: &App, session: Option<&Session>, content: &Markup) -> Html<String> {
        let ways = [
            (Place::Today, "/", "Today"),
            (Place::Moulds, "/moulds", "Moulds"),
            (Place::Rigs, "/rigs", "Rigs"),
            (Place::Calculators, "/calculators", "Calculators"),
        ];
        let top = html! {
            header.top {
                a.home href="/" { "Borewise" }
                nav aria-label="Pages" {
                    @for (place, address, words) in ways {
                        a href=(address) aria-current=[(place == self.place).then_some("true")] { (words) }
                    }
                }
                p.who {
                    @if !app.plant.is_empty() { span.plant { (app.plant) " · " } }
                    @let change = format!("/who?next={}", encoded(self.here));
                    @match session {
                        Some(session) => {
                            a href="/me" { "At the bench: " strong { (session.person) } }
                            a.change href=(change) { "Change person" }
                        },
                        None => a href=(change) { "Say who you are" },
                    }
                }
            }
        };
        let trail = html! {
            @if !self.trail.is_empty() {
                nav.trail aria-label="Where this is" {
                    ol { @for (words, address) in self.trail { li { a href=(address) { (words) } } } }
                }
            }
        };
        let person = session.map(|session| session.person.as_str());
        let live =
            session.filter(|_| About::page(self.here).is_some()).map(|session| (session.head, self.here));
        let body = html! { (top) (trail) main #main { (content) } (foot(app.program, self.here)) @if live.is_some() { (live_bar()) } };
        let page = frame(self.title, person, live, &body).into_string();
        Html(report::pieces::printable(&Session::units_of(session).page(&page)))
    }
}

/// Where a page is told that somebody recorded something; empty until then.
fn live_bar() -> Markup {
    html! {
        aside.live #live aria-label="What others record" hidden {
            p.live-said role="status" {}
            button.quiet-button type="button" { "Show" }
            button.quiet-button type="button" { "Close" }
        }
    }
}

/// A whole page; `live` says up to which entry it shows the record, and its address.
fn frame(title: &str, person: Option<&str>, live: Option<(u64, &str)>, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · Borewise" }
                link rel="stylesheet" href="/assets/style.css";
                link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                script src="/assets/drafts.js" defer {}
                script src="/assets/plots.js" defer {}
                @if live.is_some() { script src="/assets/live.js" defer {} }
            }
            body.book data-person=[person] data-say-back="What you typed here before is back. It is not recorded yet." data-say-away="Throw it away" data-head=[live.map(|(head, _)| head)] data-here=[live.map(|(_, here)| here)] { a.skip href="#main" { "To the content" } (body) }
        }
    }
}

fn foot(program: &str, here: &str) -> Markup {
    html! {
        footer {
            p.advice { (bench::judge::cautions::AUTHORITY) }
            p { (program) }
            (language::in_foot(here))
        }
    }
}

/// A page that stands alone: something went wrong.
pub(crate) fn alone(title: &str, text: &str) -> String {
    let body = html! {
        header.top { a.home href="/" { "Borewise" } }
        main #main { h1 { (title) } p.lead { (text) } p { a.button href="/" { "To today's page" } } }
    };
    report::pieces::printable(&frame(title, None, None, &body).into_string())
}

/// A name as one part of an address.
pub(crate) fn encoded(name: &str) -> String {
    let mut text = String::with_capacity(name.len());
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_~".contains(&byte) || (byte == b'.' && name.len() > 2) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

/// Address of a mould.
pub(crate) fn mould(mould: &str) -> String {
    format!("/moulds/{}", encoded(mould))
}

/// Address of a circuit over all visits.
pub(crate) fn circuit(of: &str, circuit: &str) -> String {
    format!("{}/circuits/{}", mould(of), encoded(circuit))
}

/// Address of a visit.
pub(crate) fn visit(of: &str, visit: &str) -> String {
    format!("{}/visits/{}", mould(of), encoded(visit))
}

/// Address of a circuit in a visit.
pub(crate) fn bench(of: &str, during: &str, circuit: &str) -> String {
    format!("{}/circuits/{}", visit(of, during), encoded(circuit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_name_is_one_part_of_an_address() {
        assert_eq!(circuit("M/2 14", "F%2"), "/moulds/M%2F2%2014/circuits/F%252");
        assert_eq!(visit("..", "1.5"), "/moulds/%2E%2E/visits/1.5");
        assert_eq!(bench("M", "é", "F1"), "/moulds/M/visits/%C3%A9/circuits/F1");
    }
}
