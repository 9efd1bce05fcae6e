//! Circuits that all moved by one factor against their baselines.

use calc::estimate::root_sum_square;
use calc::numeric::math;
use calc::readings::common_factor::{Belief, FEWEST, Moved as Thing, drift};
use calc::readings::rig_check::RigState;

use crate::judge::Alone;
use crate::mould::CircuitId;
use crate::rig::MovedAlike;
use crate::visit::Rig;

/// A meter's drift where nothing of the rig was checked: its probability, how far in stated uncertainties, and at least
/// (own proposal, as in the check of the rig).
const DRIFTS: f64 = 0.05;
const DRIFT_STATED: f64 = 5.0;
const LEAST_DRIFT: f64 = 0.05;
/// What a flow factor scatters by itself from hook-up to hook-up, relative (own proposal).
const SCATTER: f64 = 0.01;
/// Where known hoses take most of the drop, an error of the meter counts so many times at most.
const MOST_FOLLOWING: f64 = 5.0;
/// A circuit went with the others if it lies within so many of its own uncertainties.
const WITH_THE_OTHERS: f64 = 3.0;

/// A circuit's flow factor over its baseline.
#[derive(Clone, Debug)]
pub(crate) struct Moved {
    id: CircuitId,
    thing: Thing,
}

/// How far a circuit moved against its baseline, if it has one that was taken the same way.
pub(crate) fn moved(one: &Alone<'_>, rig: &Rig) -> Option<Moved> {
    let seen = one.flow.as_ref()?;
    let today = seen.flow_factor_m3_h()?;
    let baseline = one.circuit.baseline.as_ref().filter(|_| one.comparable)?.flow_factor_m3_h;
    let share =
        seen.result.as_ref().filter(|_| seen.fixture.is_some()).map_or(0.0, |result| result.fixture_share);
    let follows = (1.0 / (1.0 - share).max(1e-3)).clamp(1.0, MOST_FOLLOWING);
    let common = rig.flow_uncertainty_relative * follows;
    let own = today.relative_standard();
    let own = (own * own - common * common).max(0.0).sqrt();
    let standard_ln = root_sum_square(&[own, SCATTER, baseline.relative_standard()]);
    let ratio = today.value / baseline.value;
    (ratio > 0.0 && ratio.is_finite() && standard_ln < 0.5).then(|| Moved {
        id: one.circuit.id.clone(),
        thing: Thing { ln_ratio: math::ln(ratio), standard_ln, follows },
    })
}

/// What is believed of the meter before the circuits are looked at.
pub(super) fn beliefs(state: Option<&RigState>, correction: Option<(f64, f64)>, rig: &Rig) -> Vec<Belief> {
    let Some(state) = state else {
        let stated = rig.flow_uncertainty_relative;
        let drift = (DRIFT_STATED * stated).max(LEAST_DRIFT);
        return vec![
            Belief { weight: 1.0 - DRIFTS, mean_ln: 0.0, standard_ln: stated, drifted: false },
            Belief { weight: DRIFTS, mean_ln: 0.0, standard_ln: drift, drifted: true },
        ];
    };
    let taken_out = correction.map_or(0.0, |(factor, _)| math::ln(factor));
    let parts = state.meter_parts.iter().map(|&(weight, mean_ln, standard_ln, drifted)| Belief {
        weight,
        mean_ln: mean_ln - taken_out,
        standard_ln,
        // What was corrected moves nothing any more.
        drifted: drifted && correction.is_none(),
    });
    parts.collect()
}

/// Circuits that moved alike, if that points to the rig rather than to the mould.
pub(super) fn alike(moved: &[Moved], beliefs: &[Belief]) -> Option<MovedAlike> {
    let things: Vec<Thing> = moved.iter().map(|one| one.thing).collect();
    let found = drift(&things, beliefs).ok()?;
    let with = moved.iter().filter(|one| {
        let miss = one.thing.ln_ratio - one.thing.follows * found.ln_factor;
        miss.abs() < WITH_THE_OTHERS * one.thing.standard_ln
    });
    let circuits: Vec<CircuitId> = with.map(|one| one.id.clone()).collect();
    let clear = found.ln_factor.abs() > 2.0 * found.standard_ln;
    (found.probability > 0.5 && clear && circuits.len() >= FEWEST).then(|| MovedAlike {
        circuits,
        flow_percent: found.factor().scaled(100.0),
        probability: found.probability,
    })
}
