//! The page that leads to the sheets of several visits.

use bench::finding::{Findings, Fitness, NextStep};
use maud::{Markup, PreEscaped, html};

use crate::{symbol, words};

/// One visit of the page.
#[derive(Clone, Debug)]
pub struct PlantVisit<'a> {
    /// What was found.
    pub findings: &'a Findings,
    /// Address of its sheet, seen from the page.
    pub sheet: String,
}

const STYLE: &str = include_str!("style.css");
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// A page with one row a mould: whether it is fit, why, what is next, and the way to its sheet.
#[must_use]
pub fn plant_page(plant: &str, visits: &[PlantVisit<'_>], program_version: &str) -> String {
    let fit = visits.iter().filter(|visit| visit.findings.fit_for_press == Fitness::Yes).count();
    let page = html! {
        (PreEscaped("<!DOCTYPE html>\n"))
        html lang="en-GB" {
            head {
                (PreEscaped("<meta charset=\"utf-8\"/>"))
                (PreEscaped(format!("<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\"/>")))
                (PreEscaped("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>"))
                title { "On the bench · " (plant) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header { p.product { "Borewise " span { "on the bench" } } p { strong { (plant) } } }
                main {
                    section aria-labelledby="headline" {
                        h1 id="headline" { (fit) " of " (visits.len()) " moulds ready for the press" }
                    }
                    section aria-label="Moulds" { div.scroll { (table(visits)) } }
                }
                footer { p { (program_version) ". Borewise advises; local codes, the maker's instructions, the safety data \
                    sheet and licensed practice decide." } }
            }
        }
    };
    page.into_string()
}

fn table(visits: &[PlantVisit<'_>]) -> Markup {
    html! {
        table.plant {
            thead { tr {
                th scope="col" { "Mould" }
                th scope="col" { "Fit for the press" }
                th scope="col" { "What was found" }
                th scope="col" { "To do" }
                th scope="col" { "Next" }
            } }
            tbody { @for visit in visits { (row(visit)) } }
        }
    }
}

fn row(visit: &PlantVisit<'_>) -> Markup {
    let found = visit.findings;
    let to_do = found.circuits.iter().filter(|circuit| circuit.next_step != NextStep::Leave).count();
    html! {
        tr {
            th.name scope="row" {
                a.way href=(visit.sheet) { (found.mould) }
                span.under { (found.mould_name) }
            }
            td { (symbol::fitness(found.fit_for_press)) " " (words::fitness(found.fit_for_press)) }
            td { ul.plain-list { @for reason in &found.because { li { (reason) } } } }
            td { (to_do) " of " (found.circuits.len()) " circuits" }
            td { (found.next) }
        }
    }
}
