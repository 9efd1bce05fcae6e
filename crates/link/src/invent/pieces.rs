//! Invented circuits: drilled lines, baffle rows, bubbler rows, splits, ring gaps.

use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::quantity::Length;

use crate::chance::Chance;

/// Bores in use: metric drills and the drilled diameters of the small pipe threads (common practice, no source).
const BORES_MM: [f64; 8] = [6.0, 8.0, 8.73, 10.0, 10.0, 11.11, 12.0, 14.0];

/// What the circuits of one mould have in common.
#[derive(Clone, Copy, Debug)]
pub(super) struct Style {
    bore_mm: f64,
    pass_mm: f64,
}

impl Style {
    pub fn drawn(chance: &mut Chance) -> Self {
        Self { bore_mm: *chance.one_of(&BORES_MM), pass_mm: whole(chance.between(120.0, 520.0)) }
    }

    /// Pieces of one circuit.
    pub fn circuit(self, chance: &mut Chance) -> Vec<Piece> {
        let bore_mm = if chance.happens(0.7) { self.bore_mm } else { *chance.one_of(&BORES_MM) };
        let pass_mm = whole(self.pass_mm * chance.between(0.6, 1.2));
        match chance.by_weight(&[0.45, 0.2, 0.13, 0.14, 0.08]) {
            0 => passes(bore_mm, pass_mm, chance.whole(1, 6), chance),
            1 => baffles(bore_mm, chance),
            2 => bubblers(bore_mm, chance),
            3 => split(bore_mm, pass_mm, chance),
            _ => core_pin(bore_mm, pass_mm, chance),
        }
    }
}

fn whole(mm: f64) -> f64 {
    mm.round()
}

fn mm(mm: f64) -> Length {
    Length::from_mm(mm)
}

fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Bore { diameter: mm(diameter_mm), length: mm(length_mm), roughness: Length::from_um(10.0) }
}

fn elbow(diameter_mm: f64) -> Piece {
    Piece::Elbow { diameter: mm(diameter_mm), make: ElbowMake::Drilled, loss_k: None }
}

/// Straight passes, joined by short cross holes.
fn passes(bore_mm: f64, pass_mm: f64, count: usize, chance: &mut Chance) -> Vec<Piece> {
    let pitch_mm = whole(chance.between(2.5, 5.0) * bore_mm);
    let mut pieces = vec![bore(bore_mm, pass_mm)];
    for _ in 1..count {
        pieces.extend([elbow(bore_mm), bore(bore_mm, pitch_mm), elbow(bore_mm), bore(bore_mm, pass_mm)]);
    }
    if chance.happens(0.25) {
        // Two lines joined outside the mould.
        let hose = Piece::Hose {
            diameter: mm(9.0),
            length: mm(whole(chance.between(250.0, 700.0))),
            roughness: Length::from_um(2.0),
        };
        pieces.extend([hose, bore(bore_mm, pass_mm)]);
    }
    pieces
}

fn baffles(bore_mm: f64, chance: &mut Chance) -> Vec<Piece> {
    let bore_mm = bore_mm.max(8.0);
    let diameter = *chance.one_of(&[12.0, 14.0, 16.0, 20.0]);
    let baffle = Piece::Baffle {
        diameter: mm(diameter),
        depth: mm(whole(chance.between(35.0, 110.0))),
        blade: mm(if diameter > 15.0 { 2.0 } else { 1.5 }),
    };
    let pitch = whole(chance.between(30.0, 70.0));
    let mut pieces = vec![bore(bore_mm, whole(chance.between(40.0, 90.0)))];
    for _ in 0..chance.whole(2, 6) {
        pieces.extend([baffle.clone(), bore(bore_mm, pitch)]);
    }
    pieces
}

fn bubblers(bore_mm: f64, chance: &mut Chance) -> Vec<Piece> {
    // Hole, tube outside, tube inside: near equal areas (common practice, no source).
    let (diameter, outer, inner) =
        *chance.one_of(&[(10.0, 6.0, 5.0), (12.0, 8.0, 7.0), (14.0, 10.0, 8.5), (16.0, 10.0, 9.0)]);
    let bubbler = Piece::Bubbler {
        diameter: mm(diameter),
        depth: mm(whole(chance.between(50.0, 150.0))),
        tube_outer: mm(outer),
        tube_inner: mm(inner),
    };
    let lead = whole(chance.between(50.0, 150.0));
    let mut pieces = vec![bore(bore_mm, lead)];
    for _ in 0..chance.whole(1, 4) {
        pieces.extend([bubbler.clone(), bore(bore_mm, lead)]);
    }
    pieces
}

/// Two to four branches from one header into another.
fn split(bore_mm: f64, pass_mm: f64, chance: &mut Chance) -> Vec<Piece> {
    let branch_mm = if bore_mm > 8.0 { 8.0 } else { 6.0 };
    let header = bore(bore_mm, whole(pass_mm * 0.4));
    let branch = vec![elbow(branch_mm), bore(branch_mm, pass_mm), elbow(branch_mm)];
    let branches = vec![branch; chance.whole(2, 4)];
    vec![header.clone(), Piece::Split { branches }, header]
}

fn core_pin(bore_mm: f64, pass_mm: f64, chance: &mut Chance) -> Vec<Piece> {
    let outer = whole(chance.between(18.0, 34.0));
    let ring = Piece::Annulus {
        outer: mm(outer),
        inner: mm(outer - whole(chance.between(4.0, 8.0))),
        length: mm(whole(chance.between(60.0, 160.0))),
    };
    vec![bore(bore_mm, pass_mm * 0.5), elbow(bore_mm), ring, elbow(bore_mm), bore(bore_mm, pass_mm * 0.5)]
}
