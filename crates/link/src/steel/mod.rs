//! The mould behind the drawing: how it was drilled, what has grown in it since, and what the files say of it.

pub mod drilled;
pub mod paper;
pub mod reshape;
pub mod today;

use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::filled_volume;

/// Widths of the round-equivalent stretches of pieces, with the volume that each holds: (m, m3).
#[must_use]
pub(crate) fn stretches(pieces: &[Piece]) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    collect(pieces, &mut found);
    found
}

fn collect(pieces: &[Piece], found: &mut Vec<(f64, f64)>) {
    for piece in pieces {
        let width = match piece {
            Piece::Bore { diameter, .. } | Piece::Hose { diameter, .. } => diameter.m(),
            // Hydraulic diameter of half a disc, 0.611 of the width.
            Piece::Baffle { diameter, .. } => 0.611 * diameter.m(),
            Piece::Bubbler { diameter, tube_outer, .. } => (*diameter - *tube_outer).m(),
            Piece::Annulus { outer, inner, .. } => (*outer - *inner).m(),
            Piece::Split { branches } => {
                branches.iter().for_each(|branch| collect(branch, found));
                continue;
            }
            Piece::Elbow { .. } | Piece::Coupling { .. } | Piece::Restrictor(_) => continue,
        };
        let volume = filled_volume(core::slice::from_ref(piece)).m3();
        match found.iter_mut().find(|(known, _)| (*known / width - 1.0).abs() < 0.03) {
            Some((_, sum)) => *sum += volume,
            None => found.push((width, volume)),
        }
    }
}
