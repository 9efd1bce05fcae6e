//! Invented faults of a wanted severity.

use calc::hydraulics::circuit::clean_flow_factor;
use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::main_bore;
use calc::numeric::math;
use calc::quantity::{LeakRate, Length, PressureDrop};

use super::Invention;
use crate::chance::{Chance, Purpose};
use crate::physics::Physics;
use crate::plan::{Condition, Fault, Layer, Leak, LeakLaw, Plug, TooMuch};
use crate::steel::today::today;

/// Flow that is left, as a share of that as new: lightest and heaviest trouble.
const LEFT: (f64, f64) = (0.95, 0.35);
/// How often a leak is laminar, an orifice, a seat, an opening crack (own choice).
const LAWS: [f64; 4] = [0.45, 0.30, 0.12, 0.13];
/// Halvings of the interval of thicknesses or plugs.
const HALVINGS: u32 = 9;

/// A fault, or none.
pub(super) fn fault(pieces: &[Piece], options: &Invention, chance: &mut Chance) -> Fault {
    let mut fault = Fault::default();
    if chance.happens(options.fouled) {
        fault.condition = condition(pieces, chance);
    }
    if chance.happens(options.blocked) {
        fault.blocked_at = Some(chance.between(0.1, 0.9));
    }
    if chance.happens(options.leaks_out) {
        fault.leak_out = Some(leak(0.02, 20.0, chance));
    }
    if chance.happens(options.too_much) {
        let baffle = pieces.iter().any(|piece| matches!(piece, Piece::Baffle { .. }));
        let kind = if baffle { TooMuch::MissingBaffle } else { TooMuch::ShortCut };
        let trial = Fault { too_much: Some(kind), ..Fault::default() };
        fault.too_much = left(pieces, &trial).map(|_| kind);
    }
    let branches = pieces.iter().find_map(|piece| match piece {
        Piece::Split { branches } => Some(branches.len()),
        _ => None,
    });
    if let Some(branches) = branches
        && fault.too_much.is_none()
        && chance.happens(options.plugged_branch)
    {
        fault.plugged_branch = Some(chance.whole(0, branches - 1));
    }
    // Faults that each fit alone may close the circuit together.
    if left(pieces, &fault).is_some() { fault } else { Fault { condition: Condition::AsNew, ..fault } }
}

/// A leak between two rates, evenly in the logarithm.
pub(super) fn leak(low_mbar_l_s: f64, high_mbar_l_s: f64, chance: &mut Chance) -> Leak {
    let ln = chance.between(math::ln(low_mbar_l_s), math::ln(high_mbar_l_s));
    let law = match chance.by_weight(&LAWS) {
        0 => LeakLaw::Laminar,
        1 => LeakLaw::Orifice,
        2 => LeakLaw::Seat(PressureDrop::from_bar(chance.between(1.5, 6.0))),
        _ => LeakLaw::OpeningCrack(PressureDrop::from_bar(chance.between(0.5, 8.0))),
    };
    Leak { rate: LeakRate::from_mbar_l_s(math::exp(ln)), law }
}

/// Flow left by a fault, as a share of that as drawn; nothing if the fault does not fit.
pub(super) fn left(pieces: &[Piece], fault: &Fault) -> Option<f64> {
    // The same draws each time, so that severity is the only thing that changes.
    let mut chance = Chance::new(0, Purpose::Invention, 1);
    let today = today(pieces, fault, Physics::Matching, &mut chance).ok()?;
    Some(clean_flow_factor(&today.pieces).ok()? / clean_flow_factor(pieces).ok()?)
}

fn with(condition: Condition) -> Fault {
    Fault { condition, ..Fault::default() }
}

/// The thickness of a layer at which the flow left is nearest to a target; a quarter of a millimetre is kept free, so
/// that no passage of the true steel closes.
pub(super) fn thickness_for(
    pieces: &[Piece],
    target: f64,
    high: f64,
    made: impl Fn(f64) -> Condition,
) -> f64 {
    let mm = size_for(pieces, target, high, &made);
    if left(pieces, &with(made(mm + 0.25))).is_some() { mm } else { (mm - 0.25).max(0.0) }
}

/// The size between two limits at which the flow left is nearest to a target; `made` turns a size into a condition,
/// larger sizes leave less.
pub(super) fn size_for(pieces: &[Piece], target: f64, high: f64, made: impl Fn(f64) -> Condition) -> f64 {
    let (mut low, mut high) = (0.0, high);
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        match left(pieces, &with(made(middle))) {
            Some(left) if left > target => low = middle,
            _ => high = middle,
        }
    }
    low
}

pub(super) fn condition(pieces: &[Piece], chance: &mut Chance) -> Condition {
    let Some(bore) = main_bore(pieces) else { return Condition::AsNew };
    let target = chance.between(LEFT.1, LEFT.0);
    let place = chance.between(0.05, 0.95);
    let share_of_length = if chance.happens(0.7) { 1.0 } else { chance.between(0.3, 0.9) };
    let layer = |mm: f64| Layer { thickness: Length::from_mm(mm), share_of_length };
    // A plug grows from the full bore inwards.
    let plug = |closed_mm: f64| Plug { bore: bore - Length::from_mm(closed_mm), place };
    // What the drill may take away from a plug, and the least that is worth calling a layer.
    let (drill, thinnest) = (0.25, 0.02);
    match chance.by_weight(&[0.42, 0.25, 0.18, 0.15]) {
        0 => {
            let mm = thickness_for(pieces, target, bore.mm() / 2.0, |mm| Condition::EvenDeposit(layer(mm)));
            if mm < thinnest { Condition::AsNew } else { Condition::EvenDeposit(layer(mm)) }
        }
        1 => {
            let mm = size_for(pieces, target, bore.mm() - 0.4, |mm| Condition::LocalPlug(plug(mm)));
            if mm < drill { Condition::AsNew } else { Condition::LocalPlug(plug(mm)) }
        }
        2 => {
            // Part of the extra loss by the layer, the rest by the plug.
            let share = chance.between(0.2, 0.8);
            let extra = 1.0 / (target * target) - 1.0;
            let by_layer = 1.0 / (1.0 + share * extra).sqrt();
            let mm = thickness_for(pieces, by_layer, bore.mm() / 2.0, |mm| Condition::EvenDeposit(layer(mm)));
            if mm < thinnest {
                return Condition::AsNew;
            }
            let closed =
                size_for(pieces, target, bore.mm() - 0.4, |closed| Condition::Mixed(layer(mm), plug(closed)));
            if closed < drill {
                Condition::EvenDeposit(layer(mm))
            } else {
                Condition::Mixed(layer(mm), plug(closed))
            }
        }
        _ => Condition::Rough { roughness: Length::from_um(chance.between(80.0, 350.0)) },
    }
}
