//! What is known of the rig.

use bench::finding::{Findings, RigFinding, RigInstrument};
use maud::{Markup, html};

use crate::{number, words};

/// The rig, if it was checked or something points to it.
pub(super) fn section(findings: &Findings) -> Markup {
    html! {
        @if let Some(rig) = &findings.rig_check {
            section aria-labelledby="rig" {
                h2 id="rig" { "Rig: " (words::rig_verdict(rig.verdict)) }
                ul.notes {
                    @for sentence in &rig.sentences { li { (sentence) } }
                    @if let Some(reading) = &rig.best_next_reading { li { strong { "To tell more" } ": " (reading) "." } }
                }
                (instruments(rig))
            }
        }
    }
}

fn instruments(rig: &RigFinding) -> Markup {
    html! {
        @if !rig.instruments.is_empty() {
            table.limits role="table" aria-labelledby="rig" {
                thead role="rowgroup" { tr role="row" {
                    th role="columnheader" scope="col" { "What was checked" }
                    th.number role="columnheader" scope="col" { "Error" }
                    th role="columnheader" scope="col" { "Answer" }
                    th.number role="columnheader" scope="col" { "More than stated" }
                } }
                tbody role="rowgroup" { @for one in &rig.instruments { (row(one)) } }
            }
        }
    }
}

fn row(one: &RigInstrument) -> Markup {
    html! {
        tr role="row" {
            th role="rowheader" scope="row" { (words::capital(one.name)) }
            td.number role="cell" data-label="Error" { (number::estimate_with_unit(&one.value, one.unit)) }
            td role="cell" data-label="Answer" { (words::rig_verdict(one.verdict)) }
            td.number role="cell" data-label="More than stated" { (number::probability(one.drift_probability)) }
        }
    }
}
