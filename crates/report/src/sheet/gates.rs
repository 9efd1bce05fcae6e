//! What may be done to each circuit, and why.

use bench::finding::{Findings, Gate};
use maud::{Markup, html};

use super::Way;
use crate::{symbol, words};

/// Three gates for each circuit.
pub(super) fn table(findings: &Findings, way: Way<'_>) -> Markup {
    html! {
        @if !findings.circuits.is_empty() {
            section aria-labelledby="gates" {
                h2 id="gates" { "What may be done" }
                table.gates role="table" aria-labelledby="gates" {
                    thead role="rowgroup" {
                        tr role="row" {
                            th role="columnheader" scope="col" { "Circuit" }
                            th role="columnheader" scope="col" { "Wet: put water in" }
                            th role="columnheader" scope="col" { "Descale: put acid or another descaler in" }
                            th role="columnheader" scope="col" { "Release: back to the press" }
                        }
                    }
                    tbody role="rowgroup" {
                        @for (index, circuit) in findings.circuits.iter().enumerate() {
                            tr role="row" {
                                th.name role="rowheader" scope="row" { a href=(way(index)) { (circuit.id) } }
                                (cell("Wet", &circuit.gates.wet))
                                (cell("Descale", &circuit.gates.descale))
                                (cell("Release", &circuit.gates.release))
                            }
                        }
                    }
                }
            }
        }
    }
}

fn cell(label: &str, gate: &Gate) -> Markup {
    html! {
        td role="cell" data-label=(label) {
            span class={ "said step-word " (words::gate_tone(gate)) } {
                (symbol::gate(gate.open)) (words::gate(gate))
            }
            @if !gate.reason.is_empty() { span.under { (gate.reason) } }
        }
    }
}
