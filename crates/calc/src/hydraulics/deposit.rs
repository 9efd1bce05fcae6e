//! The same pieces with a layer on every wall that the water touches.

use super::piece::Piece;
use crate::quantity::Length;

/// Sand-grain roughness of a deposit's surface, the middle of a range by a factor of two either way (from memory:
/// lime and rust layers in tables of wall roughness; no source for mould bores).
const DEPOSIT_ROUGHNESS: Length = Length::from_um(60.0);

/// The pieces with an even layer of this thickness; nothing if some passage would be closed by it.
///
/// Bores, elbows, baffles, bubblers and ring gaps narrow by the layer on each wall; hoses, couplings and
/// restrictors stay as they are: they are not part of the hot steel.
#[must_use]
pub fn coated(pieces: &[Piece], thickness: Length) -> Option<Vec<Piece>> {
    pieces.iter().map(|piece| coated_piece(piece, thickness)).collect()
}

fn coated_piece(piece: &Piece, layer: Length) -> Option<Piece> {
    let both = layer * 2.0;
    let narrowed = |width: Length| Some(width - both).filter(|left| left.m() > 1e-4);
    let rough =
        |own: Length| if layer.m() > 0.0 && own < DEPOSIT_ROUGHNESS { DEPOSIT_ROUGHNESS } else { own };
    Some(match piece {
        Piece::Bore { diameter, length, roughness } => {
            Piece::Bore { diameter: narrowed(*diameter)?, length: *length, roughness: rough(*roughness) }
        }
        Piece::Elbow { diameter, make, loss_k } => {
            Piece::Elbow { diameter: narrowed(*diameter)?, make: *make, loss_k: *loss_k }
        }
        Piece::Baffle { diameter, depth, blade } => {
            let (diameter, blade) = (narrowed(*diameter)?, *blade + both);
            (blade < diameter * 0.8).then_some(Piece::Baffle { diameter, depth: *depth, blade })?
        }
        Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => {
            let (diameter, tube_outer) = (narrowed(*diameter)?, *tube_outer + both);
            let tube_inner = narrowed(*tube_inner)?;
            (tube_outer < diameter).then_some(Piece::Bubbler {
                diameter,
                depth: *depth,
                tube_outer,
                tube_inner,
            })?
        }
        Piece::Annulus { outer, inner, length } => {
            let (outer, inner) = (narrowed(*outer)?, *inner + both);
            (inner < outer).then_some(Piece::Annulus { outer, inner, length: *length })?
        }
        Piece::Split { branches } => Piece::Split {
            branches: branches.iter().map(|branch| coated(branch, layer)).collect::<Option<_>>()?,
        },
        Piece::Hose { .. } | Piece::Coupling { .. } | Piece::Restrictor(_) => piece.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bore(diameter_mm: f64) -> Piece {
        Piece::Bore {
            diameter: Length::from_mm(diameter_mm),
            length: Length::from_mm(500.0),
            roughness: Length::from_um(10.0),
        }
    }

    #[test]
    fn a_layer_narrows_by_twice_its_thickness() {
        let coated = coated(&[bore(10.0)], Length::from_mm(0.5)).unwrap();
        let Piece::Bore { diameter, roughness, .. } = &coated[0] else { panic!("still a bore") };
        assert!((diameter.mm() - 9.0).abs() < 1e-9);
        assert!((roughness.um() - 60.0).abs() < 1e-9);
    }

    #[test]
    fn a_layer_as_thick_as_the_bore_closes_it() {
        assert!(coated(&[bore(4.0)], Length::from_mm(2.0)).is_none());
    }

    #[test]
    fn hoses_stay_as_they_are() {
        let hose = Piece::Hose {
            diameter: Length::from_mm(9.0),
            length: Length::from_m(1.0),
            roughness: Length::from_um(2.0),
        };
        assert_eq!(coated(std::slice::from_ref(&hose), Length::from_mm(1.0)).unwrap(), [hose]);
    }
}
