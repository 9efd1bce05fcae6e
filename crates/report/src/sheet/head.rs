//! The top of the sheet: which visit, and the most important sentence.

use bench::finding::{Findings, Fitness};
use maud::{Markup, html};

use crate::cautions::Cautions;
use crate::{symbol, words};

/// Which mould and which visit.
pub(super) fn masthead(findings: &Findings) -> Markup {
    html! {
        header {
            p.product { "Borewise " span { "visit sheet" } }
            dl.card {
                div.wide { dt { "Mould" } dd { strong { (findings.mould) } " " (findings.mould_name) } }
                div { dt { "Visit" } dd { (findings.visit) } }
                div { dt { "Begun" } dd { (words::moment(findings.started)) } }
                div { dt { "By" } dd { (findings.by) } }
                div { dt { "Rig" } dd { (findings.rig.as_deref().unwrap_or("not named")) } }
            }
        }
    }
}

/// The most important sentence, what it rests on, what is next, and the cautions that go with it.
pub(super) fn verdict(findings: &Findings, cautions: &Cautions) -> Markup {
    let tone = match findings.fit_for_press {
        Fitness::Yes => "plain",
        Fitness::No => "alarm",
        Fitness::CannotTell => "care",
    };
    let (because, one) = (&findings.because, findings.because.len() == 1);
    html! {
        div.verdict {
            section aria-labelledby="headline" {
                p class={ "fitness " (tone) } {
                    (symbol::fitness(findings.fit_for_press))
                    "Fit for the press: " strong { (words::fitness(findings.fit_for_press)) }
                }
                h1 id="headline" { (findings.headline) }
                @if one { @for reason in because { p.because { (reason) } } }
                @else if !because.is_empty() { ul.because { @for reason in because { li { (reason) } } } }
                @if !findings.next.is_empty() { p.next { span.label { "Next" } " " (findings.next) } }
            }
            @if !cautions.is_empty() {
                section.cautions aria-labelledby="cautions" {
                    h2 id="cautions" { (symbol::caution()) "Before pressure, water or chemistry" }
                    ol { @for (_, text) in cautions.numbered() { li { (text) } } }
                }
            }
        }
    }
}
