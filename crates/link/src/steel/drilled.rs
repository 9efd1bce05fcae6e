//! The steel as it was drilled: near the drawing, not on it.

use calc::hydraulics::losses_table::{BENT_ELBOW, DRILLED_ELBOW};
use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::quantity::{FlowFactor, Length};

use super::reshape::{Reshape, all_reshaped, fits};
use crate::chance::Chance;

/// Standard deviation of a drilled diameter, mm (simulated in preparation; common practice, no source).
const BORE_SD_MM: f64 = 0.05;
/// Standard deviations of ln K of the turns: of the mould, of the circuit, of each turn; together 0.25. Most of what is
/// not known about crossing drilled holes is common to what one shop drills, so sisters differ less (own choice).
const TURN_LN_SD: (f64, f64, f64) = (0.2, 0.12, 0.1);
/// Standard deviations of ln roughness, of the mould and of the circuit; together 0.6.
const WALL_LN_SD: (f64, f64) = (0.5, 0.33);
/// Standard deviation of ln flow factor of couplings.
const FACTOR_LN_SD: f64 = 0.08;
/// Relative standard deviation of lengths and of hose widths.
const LENGTH_SD: f64 = 0.005;
const HOSE_SD: f64 = 0.02;

/// What all circuits of a mould share: who drilled it, and with what.
#[derive(Clone, Copy, Debug)]
pub struct Shop {
    turn: f64,
    wall: f64,
}

impl Shop {
    /// A shop.
    pub fn drawn(chance: &mut Chance) -> Self {
        Self { turn: chance.factor(TURN_LN_SD.0), wall: chance.factor(WALL_LN_SD.0) }
    }
}

/// Pieces as drilled, given as drawn.
pub fn drilled(drawn: &[Piece], shop: Shop, chance: &mut Chance) -> Vec<Piece> {
    let mut drilling = Drilling {
        offsets: Vec::new(),
        turn: shop.turn * chance.factor(TURN_LN_SD.1),
        wall: shop.wall * chance.factor(WALL_LN_SD.1),
        length: 1.0 + LENGTH_SD * chance.normal(),
        chance,
    };
    let made = all_reshaped(drawn, &mut drilling);
    // A tube that no longer fits its hole would have been noticed when the mould was built.
    made.into_iter().zip(drawn).map(|(made, drawn)| if fits(&made) { made } else { drawn.clone() }).collect()
}

/// Hoses and couplings of one port, given as bought.
pub fn fixture(bought: &[Piece], chance: &mut Chance) -> Vec<Piece> {
    let mut assembly = Assembly { chance };
    all_reshaped(bought, &mut assembly)
}

struct Drilling<'a> {
    /// One drill a size: every hole of a size is off by the same.
    offsets: Vec<(Length, Length)>,
    turn: f64,
    wall: f64,
    length: f64,
    chance: &'a mut Chance,
}

impl Reshape for Drilling<'_> {
    fn hole(&mut self, width: Length) -> Length {
        if let Some((_, offset)) = self.offsets.iter().find(|(size, _)| *size == width) {
            return width + *offset;
        }
        let offset = Length::from_mm(BORE_SD_MM * self.chance.normal().clamp(-3.0, 3.0));
        self.offsets.push((width, offset));
        width + offset
    }
    fn body(&mut self, width: Length) -> Length {
        width + Length::from_mm(0.02 * self.chance.normal().clamp(-3.0, 3.0))
    }
    fn length(&mut self, length: Length) -> Length {
        length * self.length
    }
    fn wall(&mut self, roughness: Length) -> Length {
        roughness * self.wall
    }
    fn turn(&mut self, make: ElbowMake, loss_k: Option<f64>) -> Option<f64> {
        let table = match make {
            ElbowMake::Drilled => DRILLED_ELBOW,
            ElbowMake::Bent => BENT_ELBOW,
        };
        Some(loss_k.unwrap_or(table.infinite) * self.turn * self.chance.factor(TURN_LN_SD.2))
    }
    fn factor(&mut self, factor: FlowFactor) -> FlowFactor {
        factor * self.chance.factor(FACTOR_LN_SD)
    }
    fn orifice(&mut self, width: Length) -> Length {
        self.hole(width)
    }
    fn hose(&mut self, width: Length) -> Length {
        width * (1.0 + HOSE_SD * self.chance.normal())
    }
}

struct Assembly<'a> {
    chance: &'a mut Chance,
}

impl Reshape for Assembly<'_> {
    fn factor(&mut self, factor: FlowFactor) -> FlowFactor {
        factor * self.chance.factor(0.02)
    }
    fn hose(&mut self, width: Length) -> Length {
        width * (1.0 + 0.005 * self.chance.normal())
    }
}
