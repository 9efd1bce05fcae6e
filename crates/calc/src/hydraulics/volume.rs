//! How much a circuit holds, how long it is, and which bore most of it has.

use core::f64::consts::PI;

use super::losses::Section;
use super::piece::Piece;
use crate::quantity::{Length, Volume};

/// Volume that pieces hold when they are full. Couplings, restrictors and elbows hold none of their own: an
/// elbow's belongs to its bores; what a coupling holds nobody knows.
#[must_use]
pub fn filled_volume(pieces: &[Piece]) -> Volume {
    Volume::from_m3(pieces.iter().map(piece_volume_m3).sum())
}

fn piece_volume_m3(piece: &Piece) -> f64 {
    match piece {
        Piece::Bore { diameter, length, .. } | Piece::Hose { diameter, length, .. } => {
            disc_m2(*diameter) * length.m()
        }
        Piece::Baffle { diameter, depth, blade } => {
            2.0 * Section::beside_blade(diameter.m(), blade.m()).area_m2 * depth.m()
        }
        Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => {
            (disc_m2(*diameter) - disc_m2(*tube_outer) + disc_m2(*tube_inner)) * depth.m()
        }
        Piece::Annulus { outer, inner, length } => (disc_m2(*outer) - disc_m2(*inner)) * length.m(),
        Piece::Split { branches } => branches.iter().flatten().map(piece_volume_m3).sum(),
        Piece::Elbow { .. } | Piece::Coupling { .. } | Piece::Restrictor(_) => 0.0,
    }
}

fn disc_m2(diameter: Length) -> f64 {
    PI / 4.0 * diameter.m() * diameter.m()
}

/// The bore that holds most of the drilled volume, branches of splits included; none without a bore.
#[must_use]
pub fn main_bore(pieces: &[Piece]) -> Option<Length> {
    let mut bores: Vec<(Length, f64)> = Vec::new();
    collect_bores(pieces, &mut bores);
    bores.into_iter().reduce(|best, next| if next.1 > best.1 { next } else { best }).map(|(bore, _)| bore)
}

fn collect_bores(pieces: &[Piece], bores: &mut Vec<(Length, f64)>) {
    for piece in pieces {
        match piece {
            Piece::Bore { diameter, .. } => {
                let volume = piece_volume_m3(piece);
                match bores.iter_mut().find(|(known, _)| known == diameter) {
                    Some((_, sum)) => *sum += volume,
                    None => bores.push((*diameter, volume)),
                }
            }
            Piece::Split { branches } => {
                branches.iter().for_each(|branch| collect_bores(branch, bores));
            }
            _ => {}
        }
    }
}

/// Length of the way through pieces: both legs of a baffle or bubbler, the longest branch of a split.
#[must_use]
pub fn path_length(pieces: &[Piece]) -> Length {
    Length::from_m(pieces.iter().map(piece_length_m).sum())
}

fn piece_length_m(piece: &Piece) -> f64 {
    match piece {
        Piece::Bore { length, .. } | Piece::Hose { length, .. } | Piece::Annulus { length, .. } => length.m(),
        Piece::Baffle { depth, .. } | Piece::Bubbler { depth, .. } => 2.0 * depth.m(),
        Piece::Split { branches } => {
            branches.iter().map(|branch| path_length(branch).m()).fold(0.0, f64::max)
        }
        Piece::Elbow { .. } | Piece::Coupling { .. } | Piece::Restrictor(_) => 0.0,
    }
}
