//! The visit sheet: one page that needs nothing else, for screen, phone and paper.

mod circuits;
mod detail;
mod gates;
mod head;
mod how;
mod notes;
mod parts;
mod rig;

pub(crate) use circuits::step_tone;
pub(crate) use detail::Manner;
pub use parts::Parts;

use bench::finding::Findings;
use maud::{Markup, PreEscaped, html};

use crate::cautions::Cautions;
use crate::leak_map::leak_map;
use crate::words;

/// What the foot of the sheet says about the program that made it.
#[derive(Clone, Copy, Debug)]
pub struct Footer<'a> {
    /// Version of the program.
    pub program_version: &'a str,
    /// Digest of what was judged.
    pub digest: &'a str,
    /// When the sheet was made, if that is to be shown.
    pub printed_at: Option<jiff::Timestamp>,
}

/// Style of the sheet and of its parts.
pub const STYLE: &str = include_str!("style.css");
/// Lets the page fetch and run nothing.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The sheet of one visit as a whole HTML page, written so that it is well-formed XML too.
///
/// The page fetches nothing and runs nothing. The same arguments give the same bytes.
#[must_use]
pub fn visit_sheet(findings: &Findings, footer: &Footer<'_>) -> String {
    let cautions = Cautions::of(findings);
    let way: Way<'_> = &|index| format!("#{}", anchor(index));
    let page = html! {
        (PreEscaped("<!DOCTYPE html>\n"))
        html lang="en-GB" {
            head {
                (PreEscaped("<meta charset=\"utf-8\"/>"))
                (PreEscaped(format!("<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\"/>")))
                (PreEscaped("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>"))
                title { "Visit sheet " (findings.mould) " · " (findings.visit) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (head::masthead(findings))
                main {
                    (head::verdict(findings, &cautions))
                    (circuits::table(findings, &cautions, way))
                    (leaks(findings))
                    (gates::table(findings, way))
                    (notes::hook_up_doubts(findings))
                    (rig::section(findings))
                    (notes::warnings(findings, way))
                    (detail::sections(findings, &cautions))
                    (notes::limits(findings))
                    (notes::legend())
                }
                (foot(findings, footer))
            }
        }
    };
    // User text can reach any place of the page, so what no page may hold is taken out of the whole of it.
    words::printable(&page.into_string())
}

/// Address of the section or page of a circuit, by its place in the mould.
pub type Way<'a> = &'a dyn Fn(usize) -> String;

/// Address of a circuit's section within the page; never made of user text.
fn anchor(index: usize) -> String {
    format!("circuit-{}", index + 1)
}

/// The map of who leaks into whom, if anybody was watched.
fn leaks(findings: &Findings) -> Markup {
    html! {
        @if let Some(map) = &findings.leak_map {
            section aria-labelledby="leaks" {
                h2 id="leaks" { "Who leaks into whom" }
                (leak_map(map))
            }
        }
    }
}

fn foot(findings: &Findings, footer: &Footer<'_>) -> Markup {
    html! {
        footer {
            p.advice { "Borewise advises; local codes, the maker's instructions, the safety data sheet and licensed practice decide." }
            p {
                "Borewise " (footer.program_version) " · method " (findings.method) " · digest " span.digest { (footer.digest) }
                @if let Some(at) = footer.printed_at { " · printed " (words::moment(at)) }
            }
        }
    }
}
