//! What a circuit should be like: from its baseline, its drawing, its sisters, or a rough idea of its bore.

use calc::air::passage::Expected;
use calc::air::sonic::line::{Drawing, conductance};
use calc::estimate::{Uncertain, root_sum_square};
use calc::hydraulics::flow_factor::{PieceKnowledge, expected_flow_factor};
use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::hydraulics::volume::filled_volume;
use calc::quantity::{Length, Temperature};

use crate::mould::{Baseline, Circuit, Known};

/// A value as new, as logarithm's centre and spread, and what it was taken from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct AsNew {
    pub(crate) value: f64,
    pub(crate) standard_ln: f64,
    pub(crate) from: String,
}

impl AsNew {
    pub(crate) fn new(value: f64, standard_ln: f64, from: impl Into<String>) -> Self {
        Self { value, standard_ln, from: from.into() }
    }

    pub(crate) fn of(value: Uncertain, from: impl Into<String>) -> Self {
        Self::new(value.value, value.relative_standard(), from)
    }
}

/// A baseline's name for people.
pub(crate) fn baseline_in_words(baseline: &Baseline) -> String {
    baseline.date.as_ref().map_or_else(|| "baseline".to_owned(), |date| format!("baseline of {date}"))
}

/// The more certain of two.
pub(crate) fn surer(a: Option<AsNew>, b: Option<AsNew>) -> Option<AsNew> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.standard_ln < a.standard_ln { b } else { a }),
        (a, b) => a.or(b),
    }
}

/// Pieces as believed, with how far they are believed.
#[derive(Clone, Debug)]
pub(crate) struct Geometry {
    pub(crate) pieces: Vec<Piece>,
    pub(crate) knowledge: PieceKnowledge,
    /// What the whole model may be off beside its pieces, as spread of ln flow factor.
    pub(crate) flow_ln: f64,
    pub(crate) volume_ln: f64,
    /// As `flow_ln`, for the sonic conductance.
    pub(crate) air_ln: f64,
    pub(crate) from: &'static str,
}

/// The geometry of a circuit, if anything is known of it.
pub(crate) fn geometry(circuit: &Circuit) -> Option<Geometry> {
    if circuit.pieces.is_empty() {
        return rough(circuit);
    }
    let believed = |knowledge, flow_ln, volume_ln, air_ln, from| Geometry {
        pieces: circuit.pieces.clone(),
        knowledge,
        flow_ln,
        volume_ln,
        air_ln,
        from,
    };
    // A drawing's spreads come from the science modules; what they do not cover, and the wider ones, are our own proposal.
    Some(match circuit.known {
        Known::Measured => believed(PieceKnowledge::DRAWING, 0.02, 0.03, 0.03, "pieces as measured"),
        Known::Drawing => believed(PieceKnowledge::DRAWING, 0.03, 0.04, 0.05, "drawing"),
        Known::Guessed => believed(PieceKnowledge::GUESSED, 0.05, 0.12, 0.15, "guessed pieces"),
        Known::Unknown => believed(PieceKnowledge::GUESSED, 0.35, 0.35, 0.40, "pieces of unknown origin"),
    })
}

fn rough(circuit: &Circuit) -> Option<Geometry> {
    let (diameter, length) = (circuit.rough_bore?, circuit.rough_length?);
    Some(Geometry {
        pieces: drilled_line(diameter, length),
        knowledge: PieceKnowledge::GUESSED,
        // Bore and length say nothing of baffles, splits and narrow gaps (own proposal, from invented moulds of all kinds).
        flow_ln: 0.65,
        volume_ln: 0.45,
        air_ln: 0.65,
        from: "rough bore and length",
    })
}

/// A bore with an elbow at both ends and every 300 mm (common practice, no source).
pub(crate) fn drilled_line(diameter: Length, length: Length) -> Vec<Piece> {
    let bore = Piece::Bore { diameter, length, roughness: Length::from_um(10.0) };
    let elbow = Piece::Elbow { diameter, make: ElbowMake::Drilled, loss_k: None };
    let mut pieces = vec![bore];
    let mut left = length;
    pieces.extend([elbow.clone(), elbow.clone()]);
    while left > Length::from_mm(300.0) && pieces.len() < 100 {
        pieces.push(elbow.clone());
        left = left - Length::from_mm(300.0);
    }
    pieces
}

impl Geometry {
    /// Flow factor as new.
    pub(crate) fn flow_factor(&self) -> Option<AsNew> {
        let expected = expected_flow_factor(&self.pieces, self.knowledge).ok()?;
        let spread = root_sum_square(&[expected.relative_standard(), self.flow_ln]);
        Some(AsNew::new(expected.value, spread, self.from))
    }

    /// What air should find: sonic conductance and critical ratio as new.
    pub(crate) fn air(&self) -> Option<Expected> {
        let line = conductance(&self.pieces, Temperature::from_deg_c(20.0)).ok()?;
        let drawing = if self.knowledge == PieceKnowledge::DRAWING { Drawing::Good } else { Drawing::Poor };
        let expected = Expected::of_pieces(&line, drawing);
        let value = expected.sonic_conductance_dm3_s_bar;
        let spread = root_sum_square(&[value.relative_standard(), self.air_ln]);
        Some(Expected { sonic_conductance_dm3_s_bar: Uncertain::relative(value.value, spread), ..expected })
    }

    /// Filled volume as new, in ml.
    pub(crate) fn volume_ml(&self) -> AsNew {
        AsNew::new(filled_volume(&self.pieces).ml(), self.volume_ln, self.from)
    }
}
