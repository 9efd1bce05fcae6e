//! The parts of the sheet for pages that are put together elsewhere.

use bench::finding::{CircuitFinding, Findings};
use maud::Markup;

use super::{Manner, Way, circuits, detail, gates, head, leaks, notes, rig};
use crate::cautions::Cautions;
use crate::units::Units;

/// The parts of one visit. Each holds what the visit sheet shows there, in the classes of [`crate::STYLE`].
pub struct Parts<'a> {
    findings: &'a Findings,
    cautions: Cautions,
    way: Way<'a>,
    manner: Manner,
}

impl<'a> Parts<'a> {
    /// The parts of these findings; `way` leads to a circuit.
    #[must_use]
    pub fn new(findings: &'a Findings, way: Way<'a>) -> Self {
        Self { findings, cautions: Cautions::of(findings), way, manner: Manner::default() }
    }

    /// The same with drawings in the units that somebody chose. Words are written anew by [`Units::page`].
    #[must_use]
    pub fn in_units(self, units: Units) -> Self {
        Self { manner: Manner { units, ..self.manner }, ..self }
    }

    /// The same for a page with scripts of its own: drawings carry their numbers, and each number says how it came about.
    #[must_use]
    pub fn on_page(self) -> Self {
        Self { manner: Manner { on_page: true, ..self.manner }, ..self }
    }

    /// The most important sentence, what it rests on, what is next, and the cautions.
    #[must_use]
    pub fn verdict(&self) -> Markup {
        head::verdict(self.findings, &self.cautions)
    }

    /// The table of the circuits.
    #[must_use]
    pub fn circuits(&self) -> Markup {
        circuits::table(self.findings, &self.cautions, self.way)
    }

    /// Who leaks into whom; empty if nobody was watched.
    #[must_use]
    pub fn leaks(&self) -> Markup {
        leaks(self.findings)
    }

    /// What may be done to each circuit.
    #[must_use]
    pub fn gates(&self) -> Markup {
        gates::table(self.findings, self.way)
    }

    /// Doubts about hoses, what is known of the rig, and what the reader should know.
    #[must_use]
    pub fn doubts(&self) -> [Markup; 3] {
        let findings = self.findings;
        [notes::hook_up_doubts(findings), rig::section(findings), notes::warnings(findings, self.way)]
    }

    /// Limits used, and how signs and numbers are to be read.
    #[must_use]
    pub fn limits_and_legend(&self) -> [Markup; 2] {
        [notes::limits(self.findings), notes::legend()]
    }

    /// Everything about one circuit, without a heading; `map` leads to the map of leaks.
    #[must_use]
    pub fn circuit(&self, circuit: &CircuitFinding, map: &str) -> Markup {
        let drawn = self.findings.leak_map.as_ref().is_some_and(|known| detail::is_on(known, circuit));
        detail::body(circuit, &self.cautions, drawn.then_some(map), self.manner)
    }
}
