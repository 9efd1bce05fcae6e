//! The flow factor that pieces let expect, with what is not known about them.

use crate::estimate::{Uncertain, root_sum_square};
use crate::hydraulics::circuit::{HydraulicsError, reference_conditions};
use crate::hydraulics::losses_table::DRILLED_ELBOW;
use crate::hydraulics::path::{LossScale, Path};
use crate::hydraulics::piece::Piece;
use crate::numeric::math;
use crate::quantity::{Length, PressureDrop};

/// How well the pieces of a circuit are known: standard uncertainties, each common to the whole circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PieceKnowledge {
    /// Of the drilled diameters, in mm.
    pub bore_sd_mm: f64,
    /// Of the logarithm of turns' loss numbers.
    pub elbow_ln_sd: f64,
    /// Of the logarithm of couplings' flow factors.
    pub coupling_ln_sd: f64,
    /// Of the logarithm of the walls' roughness.
    pub roughness_ln_sd: f64,
    /// Of the exponent of drop against flow, beside what the parts above do to it.
    pub exponent_sd: f64,
}

impl PieceKnowledge {
    /// Pieces taken from a drawing or measured on the steel (common practice, no source).
    pub const DRAWING: Self = Self {
        bore_sd_mm: 0.05,
        elbow_ln_sd: DRILLED_ELBOW.relative_standard,
        coupling_ln_sd: 0.15,
        roughness_ln_sd: 0.6,
        // Seeded simulation, `tests/flow_factor_trial.rs`.
        exponent_sd: 0.014,
    };
    /// Pieces guessed at the bench: the bore to the next drill size, turns and couplings by a look (common
    /// practice, no source).
    pub const GUESSED: Self = Self {
        bore_sd_mm: 0.5,
        elbow_ln_sd: 0.4,
        coupling_ln_sd: 0.3,
        roughness_ln_sd: 1.0,
        exponent_sd: 0.04,
    };
}

/// Flow factor of clean pieces in m3/h, with the model's standard uncertainty by linear propagation (GUM,
/// `jcgm-100`).
///
/// # Errors
/// As [`crate::hydraulics::circuit::clean_flow_factor`].
pub fn expected_flow_factor(
    pieces: &[Piece],
    knowledge: PieceKnowledge,
) -> Result<Uncertain, HydraulicsError> {
    let clean = Path::new(pieces)?;
    let value = factor_m3_h(&clean)?;
    let scaled = |turns: f64, flow_factors: f64, roughness: f64| {
        let scale = LossScale {
            turns: math::exp(turns),
            flow_factors: math::exp(flow_factors),
            roughness: math::exp(roughness),
        };
        factor_m3_h(&clean.scaled(scale))
    };
    let half = |up: f64, down: f64| math::ln(up / down) / 2.0;
    let (elbow, coupling, rough) =
        (knowledge.elbow_ln_sd, knowledge.coupling_ln_sd, knowledge.roughness_ln_sd);
    let wider = |by_mm: f64| Path::new(&widened(pieces, by_mm)).and_then(|path| factor_m3_h(&path));
    let ln_parts = [
        half(wider(knowledge.bore_sd_mm)?, wider(-knowledge.bore_sd_mm)?),
        half(scaled(elbow, 0.0, 0.0)?, scaled(-elbow, 0.0, 0.0)?),
        half(scaled(0.0, coupling, 0.0)?, scaled(0.0, -coupling, 0.0)?),
        half(scaled(0.0, 0.0, rough)?, scaled(0.0, 0.0, -rough)?),
    ];
    Ok(Uncertain::relative(value, root_sum_square(&ln_parts)))
}

fn factor_m3_h(path: &Path) -> Result<f64, HydraulicsError> {
    Ok(path.flow(&reference_conditions(), PressureDrop::from_bar(1.0))?.0.m3_h())
}

/// The pieces with every drilled diameter changed by as much; never by more than a tenth of it.
pub(crate) fn widened(pieces: &[Piece], by_mm: f64) -> Vec<Piece> {
    let more = |diameter: Length| {
        let room = diameter.mm() * 0.1;
        Length::from_mm(diameter.mm() + by_mm.clamp(-room, room))
    };
    pieces.iter().map(|piece| wider_piece(piece, by_mm, more)).collect()
}

fn wider_piece(piece: &Piece, by_mm: f64, more: impl Fn(Length) -> Length) -> Piece {
    let mut piece = piece.clone();
    match &mut piece {
        Piece::Bore { diameter, .. } | Piece::Elbow { diameter, .. } | Piece::Baffle { diameter, .. } => {
            *diameter = more(*diameter);
        }
        // The gap around a tube changes by as much as the hole: it must not close.
        Piece::Bubbler { diameter, tube_outer: inner, .. }
        | Piece::Annulus { outer: diameter, inner, .. } => {
            let gap = (more(*diameter) - *inner).mm().max((*diameter - *inner).mm() * 0.5);
            *diameter = Length::from_mm(inner.mm() + gap);
        }
        Piece::Split { branches } => {
            for branch in branches {
                *branch = widened(branch, by_mm);
            }
        }
        Piece::Hose { .. } | Piece::Coupling { .. } | Piece::Restrictor(_) => {}
    }
    piece
}
