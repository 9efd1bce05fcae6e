//! The pressure of a further test that would tell most about the kind.

use super::weigh::Node;
use super::{Kind, LeakKindInput, STRAY};
use crate::estimate::root_sum_square;
use crate::numeric::math;
use crate::quantity::GaugePressure;

/// Lowest pressure that is proposed: below it the pressure falls too little to be timed (own choice).
const LEAST_BAR_G: f64 = 1.5;
/// Step between the pressures that are weighed, bar.
const STEP_BAR: f64 = 0.5;
/// Information under which a further test is not worth the while, bits (own choice).
const LEAST_BITS: f64 = 0.05;
/// Steps of the integral over what the test may show.
const STEPS: u32 = 24;
/// Laws of less weight than this share of the heaviest are left out.
const NEGLIGIBLE: f64 = 1e-6;

/// A further test and what it would tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextPressure {
    /// Pressure.
    pub pressure: GaugePressure,
    /// Expected fall of the doubt about the kind, bits; four kinds hold two at most.
    pub information_bits: f64,
}

/// The pressure with the largest expected information about the kind (mutual information of kind and rate; source key
/// `lindley-1956`). The test is taken to be as sure as the least sure of those before.
pub(super) fn next_pressure(input: &LeakKindInput<'_>, nodes: &[Node]) -> Option<NextPressure> {
    let sure = input.points.iter().map(|point| point.rate_mbar_l_s.standard).fold(0.0, f64::max);
    let count = ((input.highest.bar() - LEAST_BAR_G) / STEP_BAR + 1e-9).floor();
    let mut best: Option<NextPressure> = None;
    let mut step = 0.0;
    while step <= count {
        let bar_g = LEAST_BAR_G + STEP_BAR * step;
        let information_bits = information_bits(nodes, bar_g, input.atmosphere.bar(), sure);
        if best.is_none_or(|best| information_bits > best.information_bits) {
            best = Some(NextPressure { pressure: GaugePressure::from_bar(bar_g), information_bits });
        }
        step += 1.0;
    }
    best.filter(|best| best.information_bits >= LEAST_BITS)
}

/// What one law expects of the test: kind, weight, mean and standard deviation.
type Expected = (Kind, f64, f64, f64);

fn information_bits(nodes: &[Node], bar_g: f64, air: f64, sure: f64) -> f64 {
    let heaviest = nodes.iter().map(|node| node.weight).fold(0.0, f64::max);
    let expected: Vec<Expected> = nodes
        .iter()
        .filter(|node| node.weight > NEGLIGIBLE * heaviest)
        .map(|node| {
            let share = node.law.share(bar_g, air);
            let mean = node.size.value * share;
            let sd = root_sum_square(&[node.size.standard * share, sure, STRAY * mean]);
            (node.law.kind, node.weight, mean, sd)
        })
        .collect();
    let total: f64 = expected.iter().map(|part| part.1).sum();
    // Each law's own expectation is walked in steps of its own width: kinds differ by orders of magnitude.
    let mut bits = 0.0;
    for (kind, weight, mean, sd) in &expected {
        let mut part = 0.0;
        let mut mass = 0.0;
        for step in 0..STEPS {
            let z = -4.0 + 8.0 * (f64::from(step) + 0.5) / f64::from(STEPS);
            let chance = math::exp(-0.5 * z * z);
            part += chance * ln_gain(&expected, *kind, mean + z * sd, total);
            mass += chance;
        }
        bits += weight / total * part / mass;
    }
    bits.max(0.0) / core::f64::consts::LN_2
}

/// ln of the probability of a kind after this rate over that before.
fn ln_gain(expected: &[Expected], kind: Kind, rate: f64, total: f64) -> f64 {
    let density = |part: &Expected| {
        let z = (rate - part.2) / part.3;
        part.1 * math::exp(-0.5 * z * z) / part.3
    };
    let all: f64 = expected.iter().map(density).sum();
    let of_kind = |part: &&Expected| part.0 == kind;
    let mine: f64 = expected.iter().filter(of_kind).map(density).sum();
    let before = expected.iter().filter(of_kind).map(|part| part.1).sum::<f64>() / total;
    if all > 0.0 && mine > 0.0 { math::ln(mine / all / before) } else { 0.0 }
}
