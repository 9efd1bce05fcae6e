//! The table of the circuits.

use bench::finding::{CircuitFinding, Findings, NextStep, Passage, Tightness};
use maud::{Markup, html};

use super::Way;
use crate::cautions::Cautions;
use crate::{bore_eye, number, strip, symbol, words};

/// A row for each circuit, in the order of the mould.
pub(super) fn table(findings: &Findings, cautions: &Cautions, way: Way<'_>) -> Markup {
    html! {
        section aria-labelledby="circuits" {
            h2 id="circuits" { "Circuits" }
            @if findings.circuits.is_empty() {
                p { "No circuit of this mould is known." }
            } @else {
                table.circuits role="table" aria-labelledby="circuits" {
                    thead role="rowgroup" {
                        tr role="row" {
                            @for heading in ["Circuit", "Bore", "Air held in", "Air passage", "Flow factor, of what it should be", "Next step, and why"] {
                                th role="columnheader" scope="col" { (heading) }
                            }
                        }
                    }
                    tbody role="rowgroup" {
                        @for (index, circuit) in findings.circuits.iter().enumerate() {
                            (row(&way(index), circuit, cautions))
                        }
                    }
                }
            }
        }
    }
}

fn row(way: &str, circuit: &CircuitFinding, cautions: &Cautions) -> Markup {
    html! {
        tr role="row" {
            th.name role="rowheader" scope="row" {
                a href=(way) { (circuit.id) }
                span.under { (words::place_in_mould(circuit)) }
                @if let Some(port) = circuit.port { span.under { "port\u{a0}" (port) } }
            }
            td.bore role="cell" data-label="Bore" {
                div.eye-and-word {
                    (bore_eye::bore_eye(circuit, "eye"))
                    div { span.said { (bore_words(circuit)) } (thickness(circuit)) }
                }
            }
            td role="cell" data-label="Air held in" {
                span class={ "said wild " (tightness_tone(circuit.tightness)) } { (words::tightness(circuit)) }
                @if let Some(rate) = &circuit.leak_rate_mbar_l_s {
                    span.under.amount { (number::estimate_with_unit(rate, "mbar·l/s")) }
                }
            }
            td role="cell" data-label="Air passage" {
                span class={ "said " (passage_tone(circuit.passage)) } { (words::passage(circuit.passage)) }
            }
            td.flow role="cell" data-label="Flow factor" { (flow(circuit)) }
            td.step role="cell" data-label="Next step" { (step(circuit, &caution_numbers(circuit, cautions))) }
        }
    }
}

fn bore_words(circuit: &CircuitFinding) -> String {
    if circuit.passage == Passage::Blocked { "blocked".into() } else { words::state_in_short(circuit) }
}

fn thickness(circuit: &CircuitFinding) -> Markup {
    html! {
        @if let Some(mm) = &circuit.deposit_thickness_mm {
            span.under.amount { (number::estimate_with_unit(mm, "mm")) }
        }
    }
}

fn flow(circuit: &CircuitFinding) -> Markup {
    html! {
        @if let Some(percent) = &circuit.against_baseline_percent {
            @let (value, interval) = number::percent_parts(percent);
            div.strip-and-number {
                (strip::flow_strip(percent))
                span.amount { span.said.percent { (value) } " " (interval) }
            }
            @if let Some(factor) = &circuit.flow_factor_m3_h {
                span.under.amount { (number::estimate_with_unit(factor, "m³/h")) }
            }
            @if let Some(with) = &circuit.compared_with { span.under { (with) } }
        } @else if let Some(factor) = &circuit.flow_factor_m3_h {
            span.said { (number::estimate_with_unit(factor, "m³/h")) }
            span.under { "nothing to compare it with" }
        } @else {
            span.said { "no flow reading" }
        }
    }
}

/// The next step with its sign, what belongs beside it, and its reason.
pub(super) fn step(circuit: &CircuitFinding, beside: &Markup) -> Markup {
    html! {
        div.step-line {
            span class={ "said step-word " (step_tone(circuit.next_step)) } {
                (symbol::next_step(circuit.next_step)) (words::capital(words::next_step(circuit.next_step)))
            }
            (beside)
        }
        @if !circuit.reason.is_empty() { span.under { (circuit.reason) } }
    }
}

fn caution_numbers(circuit: &CircuitFinding, cautions: &Cautions) -> Markup {
    let one = circuit.cautions.len() == 1;
    html! {
        @if !circuit.cautions.is_empty() {
            a.caution-link href="#cautions" {
                (symbol::caution()) @if one { "Caution " } @else { "Cautions " } (cautions.numbers(&circuit.cautions))
            }
        }
    }
}

/// Tone of a next step; the word and the sign say the same.
pub(crate) fn step_tone(step: NextStep) -> &'static str {
    match step {
        NextStep::Leave => "plain",
        NextStep::FindOut => "ask",
        NextStep::Descale => "care",
        NextStep::Open | NextStep::Repair | NextStep::Retire => "alarm",
    }
}

fn tightness_tone(tightness: Tightness) -> &'static str {
    if words::is_leak(tightness) { "alarm" } else { "plain" }
}

fn passage_tone(passage: Passage) -> &'static str {
    match passage {
        Passage::Blocked => "alarm",
        Passage::Restricted => "care",
        _ => "plain",
    }
}
