//! The same mould some time later: what was cleaned, what has grown, and a further visit.
//!
//! Successes, rates and growth are this world's own, not those that the judgement believes in (all own choice): an inference
//! that is tested against its own numbers proves only that it can invert itself.

use std::collections::BTreeMap;

use bench::mould::{CircuitId, Done};
use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::main_bore;
use calc::numeric::math;
use calc::quantity::Length;

use super::trouble::{condition, left, size_for, thickness_for};
use super::{Invention, rigs, slips};
use crate::chance::{Chance, Purpose};
use crate::plan::{Condition, Fault, Layer, Plan, Plug};

/// Bores as new that foul in a year, layers that get a narrow place, narrow places that get a layer: rates per year.
const FOULS: f64 = 0.5;
const PLUG_FORMS: f64 = 0.18;
const LAYER_STARTS: f64 = 0.35;
/// Growth of a layer in a year, as a share of its thickness, least and most.
const GROWTH: (f64, f64) = (0.1, 0.8);
/// A narrow place closes by up to this share of its free bore in a year.
const NARROWS: f64 = 0.15;
/// Least flow that is left, as a share of that as drawn.
const LEAST_LEFT: f64 = 0.28;
const DAYS_OF_YEAR: f64 = 365.25;

/// How often each kind of work takes away a layer, a narrow place, a plugged branch, and brings a missing part back.
const fn successes(done: Done) -> [f64; 4] {
    match done {
        Done::Descaled => [0.75, 0.25, 0.25, 0.0],
        Done::Rodded => [0.35, 0.8, 0.6, 0.0],
        Done::Repaired => [0.4, 0.9, 0.9, 0.8],
        Done::Treated => [0.1, 0.1, 0.1, 0.0],
    }
}

/// The plan of a further visit, so many days after the one of `plan`; `done` is what was done to circuits right after it.
/// The same seed gives the same plan; it must not be that of `plan`.
#[must_use]
pub fn later_plan(
    plan: &Plan,
    days: u32,
    done: &BTreeMap<CircuitId, Vec<Done>>,
    options: &Invention,
    seed: u64,
) -> Plan {
    let mut next = plan.clone();
    for (place, circuit) in next.circuits.iter_mut().enumerate() {
        // A stream of its own for each circuit: what happens to one changes nothing of the next.
        let mut chance = Chance::new(seed, Purpose::Invention, 16 + place);
        for work in done.get(&circuit.id).into_iter().flatten() {
            circuit.fault = worked_on(circuit.fault.clone(), *work, &mut chance);
        }
        let years = f64::from(days) / DAYS_OF_YEAR;
        let grown = grown(&circuit.pieces, circuit.fault.clone(), years, &mut chance);
        // What does not fit the pieces, or leaves hardly anything, has stopped growing before.
        if left(&circuit.pieces, &wider(&grown)).is_some_and(|left| left > LEAST_LEFT) {
            circuit.fault = grown;
        }
    }
    let mut chance = Chance::new(seed, Purpose::Invention, 3);
    let by_hand = plan.rig.stated.gauge_step_bar > 0.0;
    next.visit = rigs::visit(seed, &plan.rig, by_hand, &mut chance);
    next.visit.id = format!("{}-later", plan.visit.id);
    let seconds = plan.visit.started.as_second() + 86_400 * i64::from(days);
    next.visit.started = jiff::Timestamp::from_second(seconds).unwrap_or(plan.visit.started);
    next.slips = slips(&next.circuits, plan.rig.ports, options, &mut chance);
    next.slips.meter_drift_percent = rigs::meter_drift(&plan.rig, options, &mut chance);
    next
}

fn worked_on(mut fault: Fault, work: Done, chance: &mut Chance) -> Fault {
    let [layer, plug, branch, part] = successes(work).map(|share| chance.happens(share));
    fault.condition = match fault.condition {
        Condition::EvenDeposit(_) if layer => Condition::AsNew,
        Condition::LocalPlug(_) if plug => Condition::AsNew,
        Condition::Mixed(..) if layer && plug => Condition::AsNew,
        Condition::Mixed(_, left) if layer => Condition::LocalPlug(left),
        Condition::Mixed(left, _) if plug => Condition::EvenDeposit(left),
        same => same,
    };
    fault.plugged_branch = fault.plugged_branch.filter(|_| !branch);
    fault.too_much = fault.too_much.filter(|_| !part);
    fault.blocked_at = fault.blocked_at.filter(|_| !plug);
    fault
}

fn grown(pieces: &[Piece], fault: Fault, years: f64, chance: &mut Chance) -> Fault {
    let within = |rate: f64| 1.0 - math::exp(-rate * years);
    let growth = 1.0 + years * chance.between(GROWTH.0, GROWTH.1);
    let closing = 1.0 - (years * chance.between(0.0, NARROWS)).min(0.5);
    let (fouls, plugs, layers) = (
        chance.happens(within(FOULS)),
        chance.happens(within(PLUG_FORMS)),
        chance.happens(within(LAYER_STARTS)),
    );
    let thicker = |layer: Layer| Layer { thickness: layer.thickness * growth, ..layer };
    let narrower = |plug: Plug| Plug { bore: plug.bore * closing, ..plug };
    let condition = match fault.condition {
        Condition::AsNew if fouls => condition(pieces, chance),
        Condition::EvenDeposit(layer) if plugs => with_plug(pieces, thicker(layer), chance),
        Condition::EvenDeposit(layer) => Condition::EvenDeposit(thicker(layer)),
        Condition::LocalPlug(plug) if layers => with_layer(pieces, narrower(plug), chance),
        Condition::LocalPlug(plug) => Condition::LocalPlug(narrower(plug)),
        Condition::Mixed(layer, plug) => Condition::Mixed(thicker(layer), narrower(plug)),
        same => same,
    };
    Fault { condition, ..fault }
}

/// A narrow place beside a layer that leaves four fifths to half of the flow that the layer left.
fn with_plug(pieces: &[Piece], layer: Layer, chance: &mut Chance) -> Condition {
    let (share, place) = (chance.between(0.5, 0.8), chance.between(0.05, 0.95));
    let alone = Condition::EvenDeposit(layer);
    let Some((bore, before)) = main_bore(pieces).zip(left(pieces, &with(alone))) else { return alone };
    let made =
        |closed_mm: f64| Condition::Mixed(layer, Plug { bore: bore - Length::from_mm(closed_mm), place });
    let closed_mm = size_for(pieces, share * before, bore.mm() - 0.4, made);
    if closed_mm < 0.25 { alone } else { made(closed_mm) }
}

/// A layer beside a narrow place that leaves nine tenths to seven tenths of the flow that the place left.
fn with_layer(pieces: &[Piece], plug: Plug, chance: &mut Chance) -> Condition {
    let share = chance.between(0.7, 0.9);
    let alone = Condition::LocalPlug(plug);
    let Some((bore, before)) = main_bore(pieces).zip(left(pieces, &with(alone))) else { return alone };
    let made =
        |mm: f64| Condition::Mixed(Layer { thickness: Length::from_mm(mm), share_of_length: 1.0 }, plug);
    let mm = thickness_for(pieces, share * before, bore.mm() / 2.0, made);
    if mm < 0.02 { alone } else { made(mm) }
}

fn with(condition: Condition) -> Fault {
    Fault { condition, ..Fault::default() }
}

/// The same with a layer that is thicker by what the true steel may be narrower than drawn.
fn wider(fault: &Fault) -> Fault {
    let thicker = |layer: Layer| Layer { thickness: layer.thickness + Length::from_mm(0.25), ..layer };
    let condition = match fault.condition {
        Condition::EvenDeposit(layer) => Condition::EvenDeposit(thicker(layer)),
        Condition::Mixed(layer, plug) => Condition::Mixed(thicker(layer), plug),
        same => same,
    };
    Fault { condition, ..fault.clone() }
}
