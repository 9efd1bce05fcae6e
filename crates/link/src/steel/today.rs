//! The steel as it is today: faults put into pieces.

use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::hydraulics::volume::{filled_volume, main_bore, path_length};
use calc::quantity::{Length, Volume};

use super::reshape::{Reshape, fits, reshaped};
use crate::chance::Chance;
use crate::physics::Physics;
use crate::plan::{Condition, Fault, Layer, Plug, TooMuch};

/// Sand-grain roughness of a deposit, middle and standard deviation of its logarithm (a factor of two either way;
/// simulated in preparation: from memory, no source).
const DEPOSIT_UM: f64 = 60.0;
const DEPOSIT_LN_SD: f64 = 0.5;
/// Under the other laws a layer is not even: standard deviation of ln thickness from piece to piece, thickness at one
/// end more and at the other less by up to this share, and a roughness of another middle (own choices).
const UNEVEN_LN_SD: f64 = 0.4;
const TAPER: f64 = 0.4;
const OTHER_ROUGHNESS: f64 = 1.6;
/// Roughest wall that the friction law covers, with a margin.
const ROUGHEST: f64 = 0.045;

/// Why a fault cannot be put into these pieces.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// The layer closes a passage.
    #[error("a layer of {thickness_mm} mm closes a passage of this circuit; give less")]
    Closed {
        /// Thickness.
        thickness_mm: f64,
    },
    /// The plug is not narrower than the bore.
    #[error("a plug that leaves {plug_mm} mm is no plug in a bore of {bore_mm} mm; give less than the bore")]
    PlugTooWide {
        /// Free bore of the plug.
        plug_mm: f64,
        /// Main bore.
        bore_mm: f64,
    },
    /// No piece of the kind that the fault needs.
    #[error("this circuit has no {0} for the fault; add one or take the fault out")]
    NoPlace(&'static str),
}

/// Pieces that water and air meet today.
#[derive(Clone, Debug, PartialEq)]
pub struct Today {
    /// Pieces on the way.
    pub pieces: Vec<Piece>,
    /// Volume that fills but lies beside the way: branches that are plugged.
    pub beside: Volume,
}

impl Today {
    /// Volume that fills.
    #[must_use]
    pub fn volume(&self) -> Volume {
        filled_volume(&self.pieces) + self.beside
    }

    /// Volume before this share of the path, 0 to 1.
    #[must_use]
    pub fn volume_before(&self, share: f64) -> Volume {
        volume_before(&self.pieces, path_length(&self.pieces).m() * share) + self.beside * share
    }
}

/// The circuit with its faults.
///
/// # Errors
/// [`FaultError`] if a fault does not fit the pieces.
pub fn today(
    drilled: &[Piece],
    fault: &Fault,
    physics: Physics,
    chance: &mut Chance,
) -> Result<Today, FaultError> {
    let mut pieces = drilled.to_vec();
    let mut beside = Volume::from_ml(0.0);
    match fault.too_much {
        Some(TooMuch::MissingBaffle) => pieces = without_blade(pieces)?,
        Some(TooMuch::ShortCut) => pieces = passed_by(pieces)?,
        None => {}
    }
    if let Some(branch) = fault.plugged_branch {
        beside = plug_branch(&mut pieces, branch)?;
    }
    pieces = match fault.condition {
        Condition::AsNew => pieces,
        Condition::EvenDeposit(layer) => coated(&pieces, layer, physics, chance)?,
        Condition::LocalPlug(plug) => plugged(pieces, plug, chance)?,
        Condition::Mixed(layer, plug) => plugged(coated(&pieces, layer, physics, chance)?, plug, chance)?,
        Condition::Rough { roughness } => pieces
            .iter()
            .map(|piece| reshaped(piece, &mut Corroded { roughness, hole: Length::from_mm(1e3) }))
            .collect(),
    };
    Ok(Today { pieces, beside })
}

/// Volume of the first stretch of pieces, of this length in m. In a split it goes on evenly in all branches.
fn volume_before(pieces: &[Piece], length_m: f64) -> Volume {
    let mut left = length_m;
    let mut sum = Volume::from_ml(0.0);
    for piece in pieces {
        let one = core::slice::from_ref(piece);
        let own = path_length(one).m();
        let share = if own > 0.0 { (left / own).clamp(0.0, 1.0) } else { 0.0 };
        sum = sum + filled_volume(one) * share;
        left -= own;
    }
    sum
}

struct Corroded {
    roughness: Length,
    /// Width of the hole whose wall comes next.
    hole: Length,
}

impl Reshape for Corroded {
    fn hole(&mut self, width: Length) -> Length {
        self.hole = width;
        width
    }
    fn wall(&mut self, roughness: Length) -> Length {
        let most = self.hole * ROUGHEST;
        let rough = if self.roughness < most { self.roughness } else { most };
        if roughness < rough { rough } else { roughness }
    }
}

struct Coating {
    thickness: Length,
    roughness: Length,
    narrowest: Length,
}

impl Reshape for Coating {
    fn hole(&mut self, width: Length) -> Length {
        let left = width - self.thickness * 2.0;
        if left < self.narrowest {
            self.narrowest = left;
        }
        left
    }
    fn body(&mut self, width: Length) -> Length {
        width + self.thickness * 2.0
    }
    fn wall(&mut self, roughness: Length) -> Length {
        let most = self.narrowest * ROUGHEST;
        let rough = if self.roughness < most { self.roughness } else { most };
        if roughness < rough { rough } else { roughness }
    }
}

/// Thickness of a layer from piece to piece, as a share of the middle one.
struct Uneven {
    spread: f64,
    slope: f64,
    at: f64,
    step: f64,
}

impl Uneven {
    fn drawn(physics: Physics, pieces: usize, chance: &mut Chance) -> Self {
        let step = 2.0 / pieces.max(1) as f64;
        match physics {
            Physics::Matching => Self { spread: 0.0, slope: 0.0, at: 0.0, step },
            Physics::Other => {
                Self { spread: UNEVEN_LN_SD, slope: chance.between(-TAPER, TAPER), at: -1.0, step }
            }
        }
    }

    fn next(&mut self, chance: &mut Chance) -> f64 {
        let here = 1.0 + self.slope * self.at;
        self.at += self.step;
        // The matching laws draw nothing: their plans stay as they are.
        if self.spread > 0.0 { (here * chance.factor(self.spread)).min(2.0) } else { 1.0 }
    }
}

/// A layer on a share of the path. Where the share is not whole, bores are covered in part, other pieces in turn.
fn coated(
    pieces: &[Piece],
    layer: Layer,
    physics: Physics,
    chance: &mut Chance,
) -> Result<Vec<Piece>, FaultError> {
    let closed = || FaultError::Closed { thickness_mm: layer.thickness.mm() };
    let rougher = if physics == Physics::Other { OTHER_ROUGHNESS } else { 1.0 };
    let roughness = Length::from_um(rougher * DEPOSIT_UM * chance.factor(DEPOSIT_LN_SD));
    let mut uneven = Uneven::drawn(physics, pieces.len(), chance);
    let share = layer.share_of_length.clamp(0.0, 1.0);
    let mut made = Vec::with_capacity(pieces.len());
    let mut due = 0.5;
    for piece in pieces {
        let coat = |thickness: Length| {
            let mut coating = Coating { thickness, roughness, narrowest: Length::from_mm(1e3) };
            Some(reshaped(piece, &mut coating)).filter(fits)
        };
        // Where the thick end of an uneven layer would close the bore, water has kept a way open.
        let covered = coat(layer.thickness * uneven.next(chance))
            .or_else(|| coat(layer.thickness))
            .ok_or_else(closed)?;
        match (piece, covered) {
            (
                Piece::Bore { diameter, length, roughness },
                Piece::Bore { diameter: left, roughness: rough, .. },
            ) if share < 1.0 => {
                if share > 0.0 {
                    made.push(Piece::Bore { diameter: left, length: *length * share, roughness: rough });
                }
                made.push(Piece::Bore {
                    diameter: *diameter,
                    length: *length * (1.0 - share),
                    roughness: *roughness,
                });
            }
            (bare, covered) => {
                due += share;
                let take = due >= 1.0;
                due -= if take { 1.0 } else { 0.0 };
                made.push(if take { covered } else { bare.clone() });
            }
        }
    }
    Ok(made)
}

/// A narrow place at a share of the path; a bore is cut there.
fn plugged(pieces: Vec<Piece>, plug: Plug, chance: &mut Chance) -> Result<Vec<Piece>, FaultError> {
    let bore = main_bore(&pieces).ok_or(FaultError::NoPlace("bore"))?;
    if plug.bore >= bore {
        return Err(FaultError::PlugTooWide { plug_mm: plug.bore.mm(), bore_mm: bore.mm() });
    }
    let restrictor = Piece::Restrictor(Restrictor::Hole {
        diameter: plug.bore,
        // From a sharp edge to a rounded heap.
        discharge_coefficient: chance.between(0.6, 0.8),
    });
    let mut left = path_length(&pieces) * plug.place.clamp(0.0, 1.0);
    let mut made = Vec::with_capacity(pieces.len() + 2);
    let mut placed = false;
    for piece in pieces {
        let here = path_length(core::slice::from_ref(&piece));
        if !placed && left <= here {
            placed = true;
            if let Piece::Bore { diameter, length, roughness } = piece
                && left.mm() > 1.0
                && (length - left).mm() > 1.0
            {
                made.push(Piece::Bore { diameter, length: left, roughness });
                made.push(restrictor.clone());
                made.push(Piece::Bore { diameter, length: length - left, roughness });
            } else {
                made.push(piece);
                made.push(restrictor.clone());
            }
            continue;
        }
        left = left - here;
        made.push(piece);
    }
    if !placed {
        made.push(restrictor);
    }
    Ok(made)
}

/// Two turns and a short way of the same width: how water passes by.
fn way_past(diameter: Length, length: Length) -> Vec<Piece> {
    let turn = Piece::Elbow { diameter, make: ElbowMake::Drilled, loss_k: None };
    vec![turn.clone(), Piece::Bore { diameter, length, roughness: Length::from_um(20.0) }, turn]
}

fn without_blade(mut pieces: Vec<Piece>) -> Result<Vec<Piece>, FaultError> {
    let baffle = pieces
        .iter_mut()
        .find(|piece| matches!(piece, Piece::Baffle { .. }))
        .ok_or(FaultError::NoPlace("baffle"))?;
    if let Piece::Baffle { diameter, depth, .. } = *baffle {
        let empty = Piece::Baffle { diameter, depth, blade: Length::from_mm(0.2) };
        *baffle = Piece::Split { branches: vec![vec![empty], way_past(diameter * 0.7, diameter * 0.3)] };
    }
    Ok(pieces)
}

/// The middle third of the path lies beside a short cut.
fn passed_by(pieces: Vec<Piece>) -> Result<Vec<Piece>, FaultError> {
    let bore = main_bore(&pieces).ok_or(FaultError::NoPlace("bore"))?;
    let whole = path_length(&pieces).m();
    let (mut before, mut middle, mut after) = (Vec::new(), Vec::new(), Vec::new());
    let mut at = 0.0;
    for piece in pieces {
        let length = path_length(core::slice::from_ref(&piece)).m();
        let centre = (at + length / 2.0) / whole;
        at += length;
        if centre < 1.0 / 3.0 {
            before.push(piece);
        } else if centre <= 2.0 / 3.0 {
            middle.push(piece);
        } else {
            after.push(piece);
        }
    }
    if !middle.iter().any(|piece| !matches!(piece, Piece::Elbow { .. })) {
        return Err(FaultError::NoPlace("piece in its middle third"));
    }
    before.push(Piece::Split { branches: vec![middle, way_past(bore, Length::from_mm(30.0))] });
    before.append(&mut after);
    Ok(before)
}

/// Takes a branch out of the first split; its volume still fills from both ends.
fn plug_branch(pieces: &mut Vec<Piece>, branch: usize) -> Result<Volume, FaultError> {
    let place = pieces
        .iter()
        .position(|piece| matches!(piece, Piece::Split { .. }))
        .ok_or(FaultError::NoPlace("split"))?;
    let Some(Piece::Split { branches }) = pieces.get_mut(place) else {
        return Err(FaultError::NoPlace("split"));
    };
    if branch >= branches.len() {
        return Err(FaultError::NoPlace("branch of that number"));
    }
    let volume = filled_volume(&branches.remove(branch));
    if branches.len() == 1 {
        let only = branches.remove(0);
        pieces.splice(place..=place, only);
    }
    Ok(volume)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Purpose;
    use calc::hydraulics::circuit::clean_flow_factor;

    fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
        Piece::Bore {
            diameter: Length::from_mm(diameter_mm),
            length: Length::from_mm(length_mm),
            roughness: Length::from_um(10.0),
        }
    }

    fn elbow() -> Piece {
        Piece::Elbow { diameter: Length::from_mm(10.0), make: ElbowMake::Drilled, loss_k: None }
    }

    fn circuit() -> Vec<Piece> {
        vec![
            bore(10.0, 400.0),
            elbow(),
            Piece::Baffle {
                diameter: Length::from_mm(16.0),
                depth: Length::from_mm(60.0),
                blade: Length::from_mm(2.0),
            },
            elbow(),
            bore(10.0, 400.0),
            Piece::Split {
                branches: vec![vec![bore(8.0, 200.0)], vec![bore(8.0, 200.0)], vec![bore(8.0, 200.0)]],
            },
        ]
    }

    fn with(fault: Fault) -> Today {
        today(&circuit(), &fault, Physics::Matching, &mut Chance::new(1, Purpose::Steel, 0)).unwrap()
    }

    fn layer(thickness_mm: f64, share_of_length: f64) -> Layer {
        Layer { thickness: Length::from_mm(thickness_mm), share_of_length }
    }

    fn flow(today: &Today) -> f64 {
        clean_flow_factor(&today.pieces).unwrap().m3_h()
    }

    #[test]
    fn a_layer_takes_volume_and_flow_a_plug_only_flow() {
        let new = with(Fault::default());
        let even = with(Fault { condition: Condition::EvenDeposit(layer(0.5, 1.0)), ..Fault::default() });
        let plug = Plug { bore: Length::from_mm(3.0), place: 0.3 };
        let local = with(Fault { condition: Condition::LocalPlug(plug), ..Fault::default() });
        assert!(flow(&even) < 0.9 * flow(&new) && flow(&local) < 0.7 * flow(&new));
        assert!(even.volume() < new.volume() * 0.85);
        assert!((local.volume() / new.volume() - 1.0).abs() < 1e-9);
        // The straight bores lose the ring: 1 - 0.9^2 = 19 %.
        let share = 1.0 - filled_volume(&even.pieces[..1]) / filled_volume(&new.pieces[..1]);
        assert!((share - 0.19).abs() < 1e-9);
    }

    #[test]
    fn a_patch_lies_between_bare_and_covered() {
        let at =
            |share| with(Fault { condition: Condition::EvenDeposit(layer(0.8, share)), ..Fault::default() });
        assert!(flow(&at(1.0)) < flow(&at(0.4)) && flow(&at(0.4)) < flow(&at(0.0)));
        assert!(at(1.0).volume() < at(0.4).volume() && at(0.4).volume() < at(0.0).volume());
    }

    #[test]
    fn missing_parts_let_more_through_and_keep_the_volume() {
        let new = with(Fault::default());
        for fault in [TooMuch::MissingBaffle, TooMuch::ShortCut] {
            let more = with(Fault { too_much: Some(fault), ..Fault::default() });
            assert!(flow(&more) > 1.02 * flow(&new), "{fault:?}");
            assert!((more.volume() / new.volume() - 1.0).abs() < 0.12, "{fault:?}");
        }
    }

    #[test]
    fn a_plugged_branch_hides_in_the_others() {
        let new = with(Fault::default());
        let plugged = with(Fault { plugged_branch: Some(1), ..Fault::default() });
        assert!(flow(&plugged) < flow(&new) && flow(&plugged) > 0.7 * flow(&new));
        assert!((plugged.volume() / new.volume() - 1.0).abs() < 1e-9);
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let mut chance = Chance::new(1, Purpose::Steel, 0);
        let mut refused =
            |fault: Fault| today(&circuit(), &fault, Physics::Matching, &mut chance).unwrap_err();
        let closed =
            refused(Fault { condition: Condition::EvenDeposit(layer(5.0, 1.0)), ..Fault::default() });
        assert!(matches!(closed, FaultError::Closed { .. }));
        let wide = Plug { bore: Length::from_mm(11.0), place: 0.5 };
        let wide = refused(Fault { condition: Condition::LocalPlug(wide), ..Fault::default() });
        assert!(matches!(wide, FaultError::PlugTooWide { .. }));
        let none = refused(Fault { plugged_branch: Some(7), ..Fault::default() });
        assert!(matches!(none, FaultError::NoPlace(_)));
    }
}
