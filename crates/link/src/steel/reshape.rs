//! Changing the numbers of pieces without changing what they are.

use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::quantity::{FlowFactor, Length};

/// Narrowest passage that still counts as one.
const NARROWEST: Length = Length::from_mm(0.3);

/// What becomes of each number of a piece; by default it stays.
pub trait Reshape {
    /// Width of a drilled hole or of a tube's inside.
    fn hole(&mut self, width: Length) -> Length {
        width
    }
    /// Width of a body that stands in the water: blade, tube, core.
    fn body(&mut self, width: Length) -> Length {
        width
    }
    /// Length of a drilled hole.
    fn length(&mut self, length: Length) -> Length {
        length
    }
    /// Roughness of a drilled wall.
    fn wall(&mut self, roughness: Length) -> Length {
        roughness
    }
    /// Loss number of a turn.
    fn turn(&mut self, _make: ElbowMake, loss_k: Option<f64>) -> Option<f64> {
        loss_k
    }
    /// Flow factor of a coupling or a measured restrictor.
    fn factor(&mut self, factor: FlowFactor) -> FlowFactor {
        factor
    }
    /// Width of a sharp-edged restriction.
    fn orifice(&mut self, width: Length) -> Length {
        width
    }
    /// Inner width of a hose.
    fn hose(&mut self, width: Length) -> Length {
        width
    }
}

/// A piece with its numbers changed.
pub fn reshaped(piece: &Piece, how: &mut dyn Reshape) -> Piece {
    match piece {
        Piece::Bore { diameter, length, roughness } => Piece::Bore {
            diameter: how.hole(*diameter),
            length: how.length(*length),
            roughness: how.wall(*roughness),
        },
        Piece::Elbow { diameter, make, loss_k } => {
            Piece::Elbow { diameter: how.hole(*diameter), make: *make, loss_k: how.turn(*make, *loss_k) }
        }
        Piece::Hose { diameter, length, roughness } => {
            Piece::Hose { diameter: how.hose(*diameter), length: *length, roughness: *roughness }
        }
        Piece::Coupling { flow_factor } => Piece::Coupling { flow_factor: how.factor(*flow_factor) },
        Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => {
            Piece::Restrictor(Restrictor::Hole {
                diameter: how.orifice(*diameter),
                discharge_coefficient: *discharge_coefficient,
            })
        }
        Piece::Restrictor(Restrictor::Measured { flow_factor }) => {
            Piece::Restrictor(Restrictor::Measured { flow_factor: how.factor(*flow_factor) })
        }
        Piece::Baffle { diameter, depth, blade } => Piece::Baffle {
            diameter: how.hole(*diameter),
            depth: how.length(*depth),
            blade: how.body(*blade),
        },
        Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => Piece::Bubbler {
            diameter: how.hole(*diameter),
            depth: how.length(*depth),
            tube_outer: how.body(*tube_outer),
            tube_inner: how.hole(*tube_inner),
        },
        Piece::Annulus { outer, inner, length } => {
            Piece::Annulus { outer: how.hole(*outer), inner: how.body(*inner), length: how.length(*length) }
        }
        Piece::Split { branches } => {
            Piece::Split { branches: branches.iter().map(|branch| all_reshaped(branch, how)).collect() }
        }
    }
}

/// Pieces with their numbers changed.
pub fn all_reshaped(pieces: &[Piece], how: &mut dyn Reshape) -> Vec<Piece> {
    pieces.iter().map(|piece| reshaped(piece, how)).collect()
}

/// Whether every passage of a piece is open and every body fits into its hole.
#[must_use]
pub fn fits(piece: &Piece) -> bool {
    let open = |width: Length| width >= NARROWEST;
    match piece {
        Piece::Bore { diameter, .. } | Piece::Elbow { diameter, .. } | Piece::Hose { diameter, .. } => {
            open(*diameter)
        }
        Piece::Restrictor(Restrictor::Hole { diameter, .. }) => open(*diameter),
        Piece::Baffle { diameter, blade, .. } => *blade < *diameter * 0.8 && open(*diameter - *blade),
        Piece::Bubbler { diameter, tube_outer, tube_inner, .. } => {
            open(*tube_inner) && open(*diameter - *tube_outer)
        }
        Piece::Annulus { outer, inner, .. } => open(*outer - *inner),
        Piece::Split { branches } => branches.iter().flatten().all(fits),
        Piece::Coupling { .. } | Piece::Restrictor(Restrictor::Measured { .. }) => true,
    }
}
