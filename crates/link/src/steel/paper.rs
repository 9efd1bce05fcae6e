//! What the mould file says of the steel.

use bench::mould::Known;
use calc::hydraulics::piece::Piece;
use calc::quantity::Length;

use super::reshape::{Reshape, all_reshaped, fits};
use crate::chance::Chance;

/// Standard deviation of a diameter measured at the bench, mm.
const MEASURED_SD_MM: f64 = 0.04;
/// Standard deviation of a guessed diameter, mm, and of the logarithm of a guessed length.
const GUESSED_SD_MM: f64 = 0.4;
const GUESSED_LENGTH_LN_SD: f64 = 0.15;

/// Pieces that the mould file shows.
pub fn shown(drawn: &[Piece], drilled: &[Piece], known: Known, chance: &mut Chance) -> Vec<Piece> {
    match known {
        Known::Drawing => drawn.to_vec(),
        Known::Unknown => Vec::new(),
        Known::Measured => {
            let seen = all_reshaped(drilled, &mut Measuring { chance });
            // Nobody measures a loss number or a roughness at the bench.
            seen.into_iter().zip(drawn).map(|(seen, drawn)| without_losses(seen, drawn)).collect()
        }
        Known::Guessed => {
            let offset = Length::from_mm(GUESSED_SD_MM * chance.normal().clamp(-2.0, 2.0));
            let mut guess = Guessing { offset, length: chance.factor(GUESSED_LENGTH_LN_SD) };
            let guessed = all_reshaped(drawn, &mut guess);
            guessed.into_iter().zip(drawn).map(|(g, d)| if fits(&g) { g } else { d.clone() }).collect()
        }
    }
}

fn rounded(length: Length, step_mm: f64) -> Length {
    Length::from_mm(((length.mm() / step_mm).round() * step_mm).max(step_mm))
}

fn without_losses(seen: Piece, drawn: &Piece) -> Piece {
    match (seen, drawn) {
        (Piece::Bore { diameter, length, .. }, Piece::Bore { roughness, .. }) => {
            Piece::Bore { diameter, length, roughness: *roughness }
        }
        (Piece::Elbow { diameter, make, .. }, Piece::Elbow { loss_k, .. }) => {
            Piece::Elbow { diameter, make, loss_k: *loss_k }
        }
        (Piece::Split { branches }, Piece::Split { branches: drawn }) => Piece::Split {
            branches: branches
                .into_iter()
                .zip(drawn)
                .map(|(seen, drawn)| seen.into_iter().zip(drawn).map(|(s, d)| without_losses(s, d)).collect())
                .collect(),
        },
        (Piece::Coupling { .. }, drawn @ Piece::Coupling { .. }) => drawn.clone(),
        (seen, _) => seen,
    }
}

struct Measuring<'a> {
    chance: &'a mut Chance,
}

impl Reshape for Measuring<'_> {
    fn hole(&mut self, width: Length) -> Length {
        rounded(width + Length::from_mm(MEASURED_SD_MM * self.chance.normal().clamp(-3.0, 3.0)), 0.05)
    }
    fn body(&mut self, width: Length) -> Length {
        rounded(width, 0.05)
    }
    fn length(&mut self, length: Length) -> Length {
        rounded(length * (1.0 + 0.01 * self.chance.normal()), 1.0)
    }
}

struct Guessing {
    offset: Length,
    length: f64,
}

impl Reshape for Guessing {
    fn hole(&mut self, width: Length) -> Length {
        rounded(width + self.offset, 0.5)
    }
    fn length(&mut self, length: Length) -> Length {
        rounded(length * self.length, 5.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Purpose;
    use crate::steel::drilled::{Shop, drilled};
    use calc::hydraulics::piece::ElbowMake;

    fn drawn() -> Vec<Piece> {
        vec![
            Piece::Bore {
                diameter: Length::from_mm(10.0),
                length: Length::from_mm(400.0),
                roughness: Length::from_um(10.0),
            },
            Piece::Elbow { diameter: Length::from_mm(10.0), make: ElbowMake::Drilled, loss_k: None },
        ]
    }

    #[test]
    fn the_drawing_is_not_the_steel_and_gives_nothing_away() {
        let mut chance = Chance::new(1, Purpose::Steel, 0);
        let shop = Shop::drawn(&mut chance);
        let steel = drilled(&drawn(), shop, &mut chance);
        assert_ne!(steel, drawn());
        assert_eq!(shown(&drawn(), &steel, Known::Drawing, &mut chance), drawn());
        assert!(shown(&drawn(), &steel, Known::Unknown, &mut chance).is_empty());
        let measured = shown(&drawn(), &steel, Known::Measured, &mut chance);
        let (Piece::Bore { roughness, .. }, Piece::Elbow { loss_k, .. }) = (&measured[0], &measured[1])
        else {
            panic!("a bore and an elbow");
        };
        assert!((roughness.um() - 10.0).abs() < 1e-9);
        assert_eq!(*loss_k, None);
    }

    #[test]
    fn a_bore_and_its_elbow_are_drilled_with_one_drill() {
        let mut chance = Chance::new(5, Purpose::Steel, 0);
        let shop = Shop::drawn(&mut chance);
        let steel = drilled(&drawn(), shop, &mut chance);
        let (Piece::Bore { diameter: bore, .. }, Piece::Elbow { diameter: elbow, .. }) =
            (&steel[0], &steel[1])
        else {
            panic!("a bore and an elbow");
        };
        assert_eq!(bore, elbow);
    }
}
