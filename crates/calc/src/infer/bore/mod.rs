//! What is in the bore: even deposit, one narrow place, both, a rough wall, or nothing.
//!
//! Every hypothesis is a node: a kind of state with a severity. At each node the readings follow from the hydraulics of
//! the pieces; what is not known for sure (drilled widths, loss numbers, gains and zeros of the instruments, how far the
//! model itself is off) are unknowns held by their uncertainties. The probability of a node is its prior times the
//! evidence of the readings (Laplace's approximation, exact for a linear model; `kass-raftery-1995`). A node stands for
//! its surroundings: severities between nodes are unknowns too, so a coarse grid does not make the answer too sure.

mod columns;
mod evidence;
mod model;
mod next;
mod nodes;
mod profile;
mod summary;

use crate::estimate::{Estimate, Uncertain};
use crate::hydraulics::circuit::HydraulicsError;
use crate::hydraulics::flow_factor::{Fixture, FlowPoint, PieceKnowledge, PointUncertainty};
use crate::hydraulics::piece::Piece;
use crate::limits::OutOfRange;

pub use next::{Bench, Reading, Worth};
pub use nodes::Prior;

/// What a circuit may be like as new. Several designs with weights say that it is not known which.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// Pieces in flow order.
    pub pieces: Vec<Piece>,
    /// Prior weight among the designs, above zero.
    pub weight: f64,
    /// How well the pieces are known.
    pub knowledge: PieceKnowledge,
    /// What the flow factor may be off beside that, as standard deviation of its logarithm.
    pub flow_ln: f64,
    /// As `flow_ln`, for the filled volume.
    pub volume_ln: f64,
    /// As `flow_ln`, for the sonic conductance.
    pub air_ln: f64,
    /// Flow factor as new that the circuit's sisters let expect, m3/h, where they speak of this design.
    pub by_sisters_m3_h: Option<Uncertain>,
}

/// Hoses and couplings between the two gauges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hoses {
    /// The gauges sit at the circuit.
    None,
    /// Known by their flow factor.
    Known(Fixture),
    /// There are some, of ordinary width.
    Unknown,
}

/// Flow readings with what they were taken with.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// Points.
    pub points: Vec<FlowPoint>,
    /// Standard uncertainties of the instruments.
    pub uncertainty: PointUncertainty,
    /// What lies between the gauges beside the circuit.
    pub hoses: Hoses,
}

/// Readings of the circuit, hoses taken out of volume and conductance.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// Flow and pressure drop.
    pub sweep: Option<Sweep>,
    /// Flow factor, m3/h: instead of a sweep, where only that is known.
    pub flow_factor_m3_h: Option<Uncertain>,
    /// Filled volume, ml.
    pub volume_ml: Option<Uncertain>,
    /// Sonic conductance, dm3/(s bar).
    pub sonic_dm3_s_bar: Option<Uncertain>,
}

impl Seen {
    fn is_nothing(&self) -> bool {
        self.sweep.as_ref().is_none_or(|sweep| sweep.points.is_empty())
            && self.flow_factor_m3_h.is_none()
            && self.volume_ml.is_none()
            && self.sonic_dm3_s_bar.is_none()
    }
}

/// Everything that the state of a bore is told from.
#[derive(Clone, Debug, PartialEq)]
pub struct BoreInput {
    /// What the circuit may be like as new; one at least.
    pub designs: Vec<Design>,
    /// Readings of the circuit as new: its baseline, or its sisters.
    pub then: Seen,
    /// Readings of today.
    pub today: Seen,
    /// What is likely before any reading.
    pub prior: Prior,
    /// Probability, known from elsewhere, that the readings of today are of another circuit.
    pub elsewhere: f64,
    /// What the bench could read further; none: no further reading is weighed.
    pub bench: Option<Bench>,
}

/// Why nothing can be told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BoreError {
    /// No design was given, or none that water can flow through.
    #[error("nothing is known of the circuit's shape: give its pieces, or its bore and length")]
    NoDesign,
    /// No reading of today.
    #[error("no reading of today: give a flow point, a filled volume or an air passage")]
    NoReading,
    /// A number outside its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Pieces that cannot be computed.
    #[error(transparent)]
    Pieces(#[from] HydraulicsError),
}

/// What the readings say of the inside of a bore.
#[derive(Clone, Debug, PartialEq)]
pub struct BoreState {
    /// Probabilities; with `unknown` they add up to 1. As new: nothing, or a fault that changes the flow by less than
    /// [`AS_NEW_LOSS`].
    pub as_new: f64,
    /// A layer on all of the wall or on patches of it.
    pub even_deposit: f64,
    /// One narrow place, a short thick layer, or a plugged branch of a split.
    pub local_plug: f64,
    /// Both.
    pub mixed: f64,
    /// A rougher wall of the same width.
    pub rough: f64,
    /// None of these: more flow than as new, or readings that fit nothing.
    pub unknown: f64,
    /// Of these: a branch of a split is plugged.
    pub plugged_branch: f64,
    /// Share of the layer in the extra pressure loss, given that there is one (95 %).
    pub layer_share: Option<Estimate>,
    /// Thickness of the layer, given that there is one (95 %).
    pub thickness_mm: Option<Estimate>,
    /// Width of a round hole that lets as much through as the narrow place, given that there is one (95 %).
    pub plug_bore_mm: Option<Estimate>,
    /// Mass of the layer, given that there is one (95 %).
    pub mass_g: Option<Estimate>,
    /// Probability that readings miss the best hypothesis by as much or more; below 0.01 nothing fits.
    pub fit: f64,
    /// Further readings, the most telling first.
    pub next: Vec<Worth>,
}

/// A circuit whose flow differs from that as new by less than this share counts as new (own choice: less than what a drilled
/// hole and an ordinary meter leave open).
pub const AS_NEW_LOSS: f64 = 0.03;
/// Fits worse than this share of all readings do not count as fits.
pub const FIT_LIMIT: f64 = 0.01;

impl BoreState {
    /// Probabilities of as new, even deposit, local plug, mixed, rough, none of these.
    #[must_use]
    pub const fn probabilities(&self) -> [f64; 6] {
        [self.as_new, self.even_deposit, self.local_plug, self.mixed, self.rough, self.unknown]
    }

    /// Whether some hypothesis fits the readings.
    #[must_use]
    pub fn fits(&self) -> bool {
        self.fit >= FIT_LIMIT
    }
}

/// What is in the bore, from the readings and the shape of the circuit.
///
/// # Range
/// Water of 0.1 to 180 degC, drops and flows above zero, pieces within the range of the hydraulics.
///
/// # Errors
/// [`BoreError`].
pub fn bore_state(input: &BoreInput) -> Result<BoreState, BoreError> {
    if input.today.is_nothing() {
        return Err(BoreError::NoReading);
    }
    let designs = profile::profiles(input)?;
    let mut solved = Vec::new();
    for (design, weight) in &designs {
        for node in nodes::nodes(design, &input.prior) {
            let ln_prior = crate::numeric::math::ln(node.prior * weight);
            solved.push((node, ln_prior, design));
        }
    }
    let judged = evidence::weigh(&solved, input);
    Ok(summary::summary(&judged, input))
}

#[cfg(test)]
mod tests;
