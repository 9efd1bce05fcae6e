//! A section for each circuit: what it rests on, in words, numbers and pictures.

use bench::finding::{BoreState, CircuitFinding, Evidence, Findings};
use bench::picture::Picture;
use maud::{Markup, html};

use super::{anchor, circuits};
use crate::cautions::Cautions;
use crate::{bore_eye, number, pictures, strip, symbol, words};

/// All sections.
pub(super) fn sections(findings: &Findings, cautions: &Cautions) -> Markup {
    html! {
        @if !findings.circuits.is_empty() {
            section.details aria-labelledby="details" {
                h2 id="details" { "Circuit by circuit" }
                @for (index, circuit) in findings.circuits.iter().enumerate() { (section(index, circuit, cautions)) }
            }
        }
    }
}

fn section(index: usize, circuit: &CircuitFinding, cautions: &Cautions) -> Markup {
    let id = anchor(index);
    html! {
        article.circuit aria-labelledby=(id) {
            h3 id=(id) { (circuit.id) span.under { (words::place_in_mould(circuit)) } }
            div.summary {
                div.look {
                    (bore_eye::bore_eye(circuit, "eye large"))
                    p.quiet { (bore_eye::caption(circuit)) }
                }
                (facts(circuit))
                (states(circuit))
                (what_next(circuit, cautions))
            }
            (evidence(circuit))
            p.back { a href="#circuits" { "Back to the table" } }
        }
    }
}

fn facts(circuit: &CircuitFinding) -> Markup {
    let with = |estimate: &Option<calc::estimate::Estimate>, unit: &str| {
        estimate.as_ref().map(|estimate| number::estimate_with_unit(estimate, unit))
    };
    let percent = circuit.against_baseline_percent.as_ref().map(number::percent);
    let rows = [
        ("Air held in", Some(words::tightness(circuit))),
        ("Leak rate", with(&circuit.leak_rate_mbar_l_s, "mbar·l/s")),
        ("Air passage", Some(words::passage(circuit.passage).into())),
        ("Flow factor", with(&circuit.flow_factor_m3_h, "m³/h")),
        ("Against what it should be", percent),
        ("Compared with", circuit.compared_with.clone()),
        ("Layer", with(&circuit.deposit_thickness_mm, "mm")),
        ("Filled volume", with(&circuit.filled_volume_ml, "ml")),
        ("Volume against what it should be", circuit.filled_volume_percent.as_ref().map(number::percent)),
    ];
    html! {
        dl.facts {
            @for (name, value) in rows {
                @if let Some(value) = value { div { dt { (name) } dd { (value) } } }
            }
        }
    }
}

fn states(circuit: &CircuitFinding) -> Markup {
    html! {
        div.states {
            h4 { "What the bore looks like" }
            @if circuit.state.is_empty() {
                p { "Not known: no reading tells." }
            } @else {
                table { tbody {
                    @for (&state, &probability) in &circuit.state {
                        tr {
                            th scope="row" { (words::bore_state(state)) @if state == BoreState::Unknown { " (readings do not tell)" } }
                            td.bar-cell { (strip::probability_bar(probability)) }
                            td.number { (number::probability(probability)) }
                        }
                    }
                } }
            }
        }
    }
}

fn what_next(circuit: &CircuitFinding, cautions: &Cautions) -> Markup {
    html! {
        div.what-next {
            h4 { "Next step" }
            (circuits::step(circuit))
            @if let Some(reading) = &circuit.best_next_reading {
                p.reading { span.label { "Reading that would help most" } " " (reading) }
            }
            @if !circuit.cautions.is_empty() {
                div.cautions {
                    p.cautions-head { (symbol::caution()) "Cautions for this step" }
                    ul { @for (_, text) in cautions.numbered().filter(|(_, text)| circuit.cautions.contains(text)) { li { (text) } } }
                }
            }
        }
    }
}

fn evidence(circuit: &CircuitFinding) -> Markup {
    html! {
        @if circuit.evidence.is_empty() {
            p.quiet { "No reading of this circuit in this visit." }
        } @else {
            h4 { "What this rests on" }
            ol.evidence { @for item in &circuit.evidence { (evidence_item(item)) } }
        }
    }
}

fn evidence_item(item: &Evidence) -> Markup {
    html! {
        li.with-picture[item.picture.is_some()] {
            h5 { (item.title) }
            @if !item.text.is_empty() { p { (item.text) } }
            @match &item.picture {
                None => {},
                Some(Picture::LeakMap(_)) => p { a href="#leaks" { "Drawn on the map of leaks" } },
                Some(picture) => (pictures::picture(picture)),
            }
            @if item.place.is_some() || !item.sources.is_empty() {
                p.quiet {
                    @if let Some(place) = &item.place { "From " (place) ". " }
                    @if !item.sources.is_empty() { "Method: " (item.sources.join(", ")) "." }
                }
            }
        }
    }
}
