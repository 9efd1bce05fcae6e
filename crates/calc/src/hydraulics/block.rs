//! How far from an end a block lies, from the volume that fills up to it.

use super::piece::Piece;
use super::volume::{filled_volume, path_length};
use crate::estimate::{Estimate, Uncertain, Z95, root_sum_square};

/// Where a block lies, seen from the end that was filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlockPlace {
    /// Distance along the way from the filled end, mm (95 %).
    pub distance_mm: Estimate,
    /// Piece in which the distance ends, counted from 0 at the filled end.
    pub piece: usize,
    /// Whether that piece is a split: several branches fill at once, and the distance is no more than the range of the
    /// split.
    pub in_split: bool,
}

/// One piece that holds something: its place in the list, and what comes before and up to its end.
struct Stretch {
    piece: usize,
    ml: (f64, f64),
    mm: (f64, f64),
    split: bool,
}

fn stretches(pieces: &[Piece]) -> Vec<Stretch> {
    let (mut ml, mut mm) = (0.0, 0.0);
    let mut found = Vec::new();
    for (at, piece) in pieces.iter().enumerate() {
        let one = core::slice::from_ref(piece);
        let (next_ml, next_mm) = (ml + filled_volume(one).ml(), mm + path_length(one).mm());
        if next_ml > ml {
            let split = matches!(piece, Piece::Split { .. });
            found.push(Stretch { piece: at, ml: (ml, next_ml), mm: (mm, next_mm), split });
        }
        (ml, mm) = (next_ml, next_mm);
    }
    found
}

/// Which end of a split counts.
#[derive(Clone, Copy)]
enum Side {
    Near,
    Middle,
    Far,
}

fn distance_mm(stretches: &[Stretch], ml: f64, side: Side) -> f64 {
    let Some(stretch) = holding(stretches, ml) else { return 0.0 };
    let (low, high) = stretch.mm;
    let share = ((ml - stretch.ml.0) / (stretch.ml.1 - stretch.ml.0)).clamp(0.0, 1.0);
    match side {
        Side::Near if stretch.split => low,
        Side::Far if stretch.split => high,
        _ => low + share * (high - low),
    }
}

/// The stretch in which a volume ends; the last one for more than all hold.
fn holding(stretches: &[Stretch], ml: f64) -> Option<&Stretch> {
    stretches.iter().find(|stretch| ml <= stretch.ml.1).or(stretches.last())
}

/// Distance of a block from the end that was filled, along pieces in the order in which they fill.
///
/// `volume_ml` is what filled up to the block, hoses taken out; `geometry_ln` the relative standard uncertainty of the
/// volume that the pieces hold (0.04 for 4 %). The bore is taken as drawn: behind a layer on the wall the block lies
/// further in. Conservation of volume; uncertainty by the law of propagation (source key `jcgm-100`).
///
/// `None` if the volume does not fit: more than the pieces hold, or below zero, uncertainty included; or if the pieces
/// hold nothing.
#[must_use]
pub fn place_of_block(pieces: &[Piece], volume_ml: Uncertain, geometry_ln: f64) -> Option<BlockPlace> {
    let stretches = stretches(pieces);
    let total = stretches.last()?.ml.1;
    let (value, standard) = (volume_ml.value, volume_ml.standard);
    let spread = Z95 * root_sum_square(&[standard, geometry_ln * value.max(0.0)]);
    let (low, high) = (value - spread, value + spread);
    if !(low <= total && high >= 0.0) {
        return None;
    }
    let held = holding(&stretches, value)?;
    Some(BlockPlace {
        distance_mm: Estimate {
            value: distance_mm(&stretches, value, Side::Middle),
            low: distance_mm(&stretches, low, Side::Near),
            high: distance_mm(&stretches, high, Side::Far),
            coverage: 0.95,
        },
        piece: held.piece,
        in_split: held.split,
    })
}

/// Length of a block in mm (95 %), from what fills from the inlet and from the outlet up to it. An error of the pieces'
/// width moves both distances the same way.
///
/// `None` as [`place_of_block`], or if the two volumes together are more than the pieces hold, uncertainty included.
#[must_use]
pub fn length_of_block(
    pieces: &[Piece],
    from_inlet_ml: Uncertain,
    from_outlet_ml: Uncertain,
    geometry_ln: f64,
) -> Option<Estimate> {
    let reversed: Vec<Piece> = pieces.iter().rev().cloned().collect();
    let halves = |volume: Uncertain, pieces: &[Piece]| {
        let read = place_of_block(pieces, volume, 0.0)?.distance_mm;
        let drawn = place_of_block(pieces, Uncertain::new(volume.value, 0.0), geometry_ln)?.distance_mm;
        Some((read.value, read.half_width(), drawn.half_width()))
    };
    let (inlet, inlet_read, inlet_drawn) = halves(from_inlet_ml, pieces)?;
    let (outlet, outlet_read, outlet_drawn) = halves(from_outlet_ml, &reversed)?;
    let half = root_sum_square(&[inlet_read, outlet_read, inlet_drawn + outlet_drawn]);
    let length = path_length(pieces).mm() - inlet - outlet;
    (length + half >= 0.0).then(|| Estimate {
        value: length.max(0.0),
        low: (length - half).max(0.0),
        high: length + half,
        coverage: 0.95,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Length;

    fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
        Piece::Bore {
            diameter: Length::from_mm(diameter_mm),
            length: Length::from_mm(length_mm),
            roughness: Length::from_um(10.0),
        }
    }

    #[test]
    fn identity_volume_of_a_cylinder() {
        // pi/4 d^2 l: 10 mm bore holds 78.54 mm3 per mm; 100 mm are 7.854 ml.
        let place = place_of_block(&[bore(10.0, 300.0)], Uncertain::new(7.853_981_634, 0.5), 0.0).unwrap();
        assert!((place.distance_mm.value - 100.0).abs() < 1e-6);
        // 1.96 * 0.5 ml over 0.07854 ml/mm.
        assert!((place.distance_mm.half_width() - 1.959_964 * 0.5 / 0.078_539_8).abs() < 1e-3);
    }

    #[test]
    fn the_piece_is_named_and_widths_count() {
        // 100 mm of 10 mm (7.854 ml), then 8 mm bore (5.027 ml per 100 mm).
        let pieces = [bore(10.0, 100.0), bore(8.0, 200.0)];
        let place = place_of_block(&pieces, Uncertain::new(7.853_981_634 + 5.026_548_246, 0.0), 0.0).unwrap();
        assert_eq!(place.piece, 1);
        assert!((place.distance_mm.value - 200.0).abs() < 1e-6);
        assert!(place_of_block(&pieces, Uncertain::new(30.0, 1.0), 0.02).is_none());
        assert!(place_of_block(&pieces, Uncertain::new(-9.0, 1.0), 0.02).is_none());
        assert!(place_of_block(&[], Uncertain::new(1.0, 1.0), 0.02).is_none());
    }

    #[test]
    fn a_split_gives_its_whole_range() {
        let split = Piece::Split { branches: vec![vec![bore(8.0, 100.0)], vec![bore(8.0, 140.0)]] };
        let pieces = [bore(10.0, 100.0), split, bore(10.0, 100.0)];
        let place = place_of_block(&pieces, Uncertain::new(7.854 + 6.0, 0.1), 0.0).unwrap();
        assert!(place.in_split && place.piece == 1);
        assert!(
            (place.distance_mm.low - 100.0).abs() < 1e-9 && (place.distance_mm.high - 240.0).abs() < 1e-9
        );
    }

    #[test]
    fn both_ends_give_the_length() {
        let pieces = [bore(10.0, 300.0)];
        let ml = |mm: f64| Uncertain::new(0.078_539_816_34 * mm, 0.2);
        let length = length_of_block(&pieces, ml(100.0), ml(160.0), 0.02).unwrap();
        assert!((length.value - 40.0).abs() < 1e-6);
        let per_mm = 0.078_539_8;
        let drawn = 1.959_964 * 0.02 * 260.0;
        let expected = (2.0 * (1.959_964_f64 * 0.2 / per_mm).powi(2) + drawn * drawn).sqrt();
        assert!((length.half_width() - expected).abs() < 0.01, "{length:?} {expected}");
        assert!(length_of_block(&pieces, ml(200.0), ml(160.0), 0.01).is_none());
    }
}
