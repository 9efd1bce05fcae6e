//! Doubts, warnings, limits and the legend.

use bench::finding::{Findings, LimitUsed, NextStep, Warning};
use maud::{Markup, html};

use super::Way;
use crate::bore_eye::{self, Eye};
use crate::{number, symbol, words};

/// Hoses that seem to be on the wrong circuit.
pub(super) fn hook_up_doubts(findings: &Findings) -> Markup {
    html! {
        @if !findings.hook_up_doubts.is_empty() {
            section aria-labelledby="hook-up" {
                h2 id="hook-up" { "Check the hook-up" }
                ul.notes {
                    @for doubt in &findings.hook_up_doubts {
                        li { strong { (words::ids(&doubt.circuits)) ", " (words::hose_slip(doubt.kind)) } ": " (doubt.text) " Probability " (number::probability(doubt.probability)) ". To settle it: " (doubt.settled_by) "." }
                    }
                }
            }
        }
    }
}

/// What the reader should know.
pub(super) fn warnings(findings: &Findings, way: Way<'_>) -> Markup {
    html! {
        @if !findings.warnings.is_empty() {
            section aria-labelledby="warnings" {
                h2 id="warnings" { "Worth knowing" }
                ul.notes { @for warning in &findings.warnings { (warning_item(findings, warning, way)) } }
            }
        }
    }
}

fn warning_item(findings: &Findings, warning: &Warning, way: Way<'_>) -> Markup {
    let index = warning
        .circuit
        .as_ref()
        .and_then(|id| findings.circuits.iter().position(|circuit| circuit.id == *id));
    html! {
        li {
            @if let Some(id) = &warning.circuit {
                @if let Some(index) = index { a href=(way(index)) { (id) } } @else { strong { (id) } }
                ": "
            }
            (warning.text)
        }
    }
}

/// Limits that were applied, and others that conflict with them; those for the same thing stand together.
pub(super) fn limits(findings: &Findings) -> Markup {
    let mut names: Vec<&str> = Vec::new();
    for limit in &findings.limits {
        if !names.contains(&limit.name.as_str()) {
            names.push(&limit.name);
        }
    }
    html! {
        @if !names.is_empty() {
            section aria-labelledby="limits" {
                h2 id="limits" { "Limits used" }
                table.limits role="table" aria-labelledby="limits" {
                    thead role="rowgroup" { tr role="row" {
                        th role="columnheader" scope="col" { "What is limited" }
                        th.number role="columnheader" scope="col" { "Limit" }
                        th role="columnheader" scope="col" { "Where it comes from" }
                        th role="columnheader" scope="col" { "Who answers for it" }
                    } }
                    tbody role="rowgroup" {
                        @for name in names {
                            @let same: Vec<&LimitUsed> = findings.limits.iter().filter(|limit| limit.name == name).collect();
                            @let several = same.len() > 1;
                            @for limit in same { (limit_row(limit, several)) }
                        }
                    }
                }
            }
        }
    }
}

/// One limit; where several stand for the same thing, or it was not applied, it says whether it was.
fn limit_row(limit: &LimitUsed, several: bool) -> Markup {
    html! {
        tr role="row" {
            th role="rowheader" scope="row" {
                (limit.name)
                @if !limit.applied { span.under { "not applied: another figure, shown beside" } }
                @else if several { span.under { "applied" } }
            }
            td.number role="cell" data-label="Limit" { (number::plain(limit.value)) }
            td role="cell" data-label="Where it comes from" { (limit.source) }
            td role="cell" data-label="Who answers for it" { @if limit.owner.is_empty() { "no owner" } @else { (limit.owner) } }
        }
    }
}

/// How the drawings, signs and numbers are to be read.
pub(super) fn legend() -> Markup {
    let ring = [0.14, 0.2, 0.28];
    let eyes = [
        (bore_eye::example(Eye::Clean, false), "as new"),
        (
            bore_eye::example(Eye::Ring(ring), false),
            "even deposit, to scale: the lighter part is uncertain, the dashed line is the best value",
        ),
        (bore_eye::example(Eye::SomeRing, false), "even deposit of unknown thickness, not to scale"),
        (bore_eye::example(Eye::Plug, false), "local plug: one narrow place"),
        (bore_eye::example(Eye::RingAndPlug(Some(ring)), false), "deposit and plug"),
        (bore_eye::example(Eye::Rough, false), "rough wall, same width"),
        (bore_eye::example(Eye::Blocked, false), "blocked: no passage"),
        (bore_eye::example(Eye::Ring(ring), true), "the likeliest, but less than 80 % sure"),
        (bore_eye::example(Eye::Unknown, false), "not known"),
    ];
    html! {
        section.legend aria-labelledby="legend" {
            h2 id="legend" { "How to read this sheet" }
            div.legend-parts {
                div { h3 { "Bore, cut open" } ul.signs { @for (eye, text) in eyes { li { (eye) span { (text) } } } } }
                div {
                    h3 { "Next step" }
                    ul.signs {
                        @for (step, text) in STEPS {
                            li { (symbol::next_step(step)) span { strong { (words::capital(words::next_step(step))) } ": " (text) } }
                        }
                        li { (symbol::gate(true)) span { "the step is allowed" } }
                        li { (symbol::gate(false)) span { "the step is not allowed, and why" } }
                        li { (symbol::caution()) span { "caution: the number leads to the list at the top" } }
                    }
                }
                div {
                    h3 { "Numbers" }
                    ul.plain-list { @for text in NUMBERS { li { (text) } } }
                }
            }
        }
    }
}

const STEPS: [(NextStep, &str); 6] = [
    (NextStep::Leave, "nothing to do"),
    (NextStep::FindOut, "take a further reading"),
    (NextStep::Open, "open the passage before any water goes in"),
    (NextStep::Repair, "mend the leak first"),
    (NextStep::Descale, "dissolve the deposit"),
    (NextStep::Retire, "take the circuit out of service"),
];

const NUMBERS: [&str; 5] = [
    "‘±’ and ‘(… to …)’ hold the truth with 95 % probability unless another one stands beside them; ‘under’ and ‘over’ are the end of that interval.",
    "Leak rate: air lost at the starting pressure and 20 °C, in mbar·l/s.",
    "Flow factor: water flow in m³/h at 1 bar pressure drop and 20 °C, without hoses and couplings.",
    "On the strip the dot is today's flow factor, the bar its interval, the tall line 100 % of what it should be.",
    "Pressures are gauge pressures in bar.",
];
