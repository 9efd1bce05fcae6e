//! A section for each circuit: what it rests on, in words, numbers and pictures.

use bench::finding::{CircuitFinding, Evidence, Findings};
use bench::picture::LeakMap;
use calc::estimate::Estimate;
use maud::{Markup, html};

use super::{anchor, circuits, how};
use crate::cautions::Cautions;
use crate::units::Units;
use crate::{bore_eye, number, pictures, strip, symbol, words};

/// How a circuit is shown.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Manner {
    /// Units of the drawings.
    pub(crate) units: Units,
    /// Whether it stands in a page with scripts of its own.
    pub(crate) on_page: bool,
}

/// All sections.
pub(super) fn sections(findings: &Findings, cautions: &Cautions) -> Markup {
    html! {
        @if !findings.circuits.is_empty() {
            section.details aria-labelledby="details" {
                h2 id="details" { "Circuit by circuit" }
                @for (index, circuit) in findings.circuits.iter().enumerate() { (section(index, circuit, cautions, findings.leak_map.as_ref())) }
            }
        }
    }
}

fn section(index: usize, circuit: &CircuitFinding, cautions: &Cautions, map: Option<&LeakMap>) -> Markup {
    let on_map = map.is_some_and(|map| is_on(map, circuit));
    let id = anchor(index);
    html! {
        article.circuit aria-labelledby=(id) {
            h3 id=(id) { (circuit.id) span.under { (words::place_in_mould(circuit)) } }
            (body(circuit, cautions, on_map.then_some("#leaks"), Manner::default()))
            p.back { a href="#circuits" { "Back to the table" } }
        }
    }
}

/// Everything about one circuit, without its heading; `map` leads to the map of leaks.
pub(super) fn body(
    circuit: &CircuitFinding,
    cautions: &Cautions,
    map: Option<&str>,
    manner: Manner,
) -> Markup {
    html! {
        div.parts {
            div.summary {
                div.look {
                    (bore_eye::bore_eye(circuit, "eye large"))
                    p.quiet { (bore_eye::caption(circuit)) }
                }
                (facts(circuit))
                (states(circuit))
            }
            @if manner.on_page { (how::section(&circuit.workings)) }
            (what_next(circuit, cautions))
            div.rests-on {
                (evidence(circuit, manner))
                @if let Some(map) = map { p.to-map { a href=(map) { "Drawn on the map of leaks" } } }
            }
        }
    }
}

/// Whether the circuit has a part in any leak of the map.
pub(super) fn is_on(map: &LeakMap, circuit: &CircuitFinding) -> bool {
    map.paths.iter().any(|path| path.from == circuit.id || path.to.as_ref() == Some(&circuit.id))
}

fn facts(circuit: &CircuitFinding) -> Markup {
    let with = |estimate: &Option<Estimate>, unit: &str| {
        estimate.as_ref().map(|estimate| number::estimate_with_unit(estimate, unit))
    };
    let of_what = |percent: &Option<Estimate>| {
        percent.as_ref().map(|percent| format!("{} of what it should be", number::percent(percent)))
    };
    let flow_against = of_what(&circuit.against_baseline_percent);
    let rows = [
        ("Air held in", Some(words::tightness(circuit)), with(&circuit.leak_rate_mbar_l_s, "mbar·l/s")),
        ("Air passage", Some(words::passage(circuit.passage).into()), None),
        ("Flow factor", with(&circuit.flow_factor_m3_h, "m³/h"), flow_against),
        ("Compared with", None, circuit.compared_with.clone()),
        ("Layer", with(&circuit.deposit_thickness_mm, "mm"), None),
        ("Filled volume", with(&circuit.filled_volume_ml, "ml"), of_what(&circuit.filled_volume_percent)),
    ];
    html! {
        dl.facts {
            @for (name, value, more) in rows {
                @if value.is_some() || more.is_some() {
                    div {
                        dt { (name) }
                        dd {
                            @if let Some(value) = value { strong { (value) } }
                            @if let Some(more) = more { span.under { (more) } }
                        }
                    }
                }
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
                            th scope="row" { (words::bore_state(state)) }
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
            (circuits::step(circuit, &html! {}))
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

fn evidence(circuit: &CircuitFinding, manner: Manner) -> Markup {
    html! {
        @if circuit.evidence.is_empty() {
            p.quiet { "No reading of this circuit in this visit." }
        } @else {
            h4 { "What this rests on" }
            ol.evidence { @for item in &circuit.evidence { (evidence_item(item, manner)) } }
        }
    }
}

fn evidence_item(item: &Evidence, manner: Manner) -> Markup {
    html! {
        li.with-picture[item.picture.is_some()] {
            h5 { (item.title) }
            @if !item.text.is_empty() { p { (item.text) } }
            @if let Some(picture) = &item.picture { (pictures::picture(picture, manner)) }
            @if item.place.is_some() || !item.sources.is_empty() {
                p.quiet {
                    @if let Some(place) = &item.place { "From " (place) ". " }
                    @if !item.sources.is_empty() { "Method: " (item.sources.join(", ")) "." }
                }
            }
        }
    }
}
