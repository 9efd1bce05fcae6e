//! How well each law fits the rates, and what size of leak goes with it.

use super::law::Law;
use super::{Kind, Point, RATE_RANGE_MBAR_L_S, STRAY};
use crate::estimate::{Estimate, Uncertain};
use crate::numeric::{math, stats};

/// Steps of the integral over the size of the leak.
const STEPS: u32 = 96;
/// Standard deviations to both sides over which it runs.
const REACH: f64 = 7.0;

/// One law with all that the rates say of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Node {
    pub(super) law: Law,
    /// Probability after the readings, up to a common factor.
    pub(super) weight: f64,
    /// Rate at 6 bar, given this law, mbar l/s; without the volume's share.
    pub(super) size: Uncertain,
    /// Sum of squares of what the best size leaves.
    pub(super) chi_squared: f64,
}

/// All laws, weighed.
pub(super) fn nodes(points: &[Point], air: f64) -> Vec<Node> {
    let fits: Vec<(f64, Fit)> = Kind::ALL
        .iter()
        .flat_map(|kind| {
            let laws: Vec<Law> = kind.laws().collect();
            let each = kind.prior() / f64::from(u32::try_from(laws.len()).unwrap_or(1));
            laws.into_iter().map(move |law| (each, law))
        })
        .map(|(prior, law)| (prior, fit(law, points, air)))
        .collect();
    // Logarithms until here: a rate of a hundred standard uncertainties would otherwise underflow.
    let best = fits.iter().map(|(_, fit)| fit.ln_evidence).fold(f64::NEG_INFINITY, f64::max);
    fits.into_iter()
        .map(|(prior, fit)| Node {
            law: fit.law,
            weight: prior * math::exp(fit.ln_evidence - best),
            size: fit.size,
            chi_squared: fit.chi_squared,
        })
        .collect()
}

struct Fit {
    law: Law,
    ln_evidence: f64,
    size: Uncertain,
    chi_squared: f64,
}

/// Evidence of a law: normal errors, the size of the leak even in its logarithm and integrated out.
fn fit(law: Law, points: &[Point], air: f64) -> Fit {
    let (mut gg, mut gq, mut qq, mut ln_norm) = (0.0, 0.0, 0.0, 0.0);
    for point in points {
        let rate = point.rate_mbar_l_s;
        let stray = STRAY * rate.value;
        let variance = rate.standard * rate.standard + stray * stray;
        let share = law.share(point.pressure.bar(), air);
        gg += share * share / variance;
        gq += share * rate.value / variance;
        qq += rate.value * rate.value / variance;
        ln_norm -= 0.5 * math::ln(variance);
    }
    let (best, sd) = (gq / gg, (1.0 / gg).sqrt());
    let chi_squared = (qq - gq * gq / gg).max(0.0);
    let (lowest, highest) = RATE_RANGE_MBAR_L_S;
    let low = (best - REACH * sd).clamp(lowest, highest);
    let high = (best + REACH * sd).clamp(1.001 * lowest, highest).max(1.001 * low);
    let width = math::ln(high / low) / f64::from(STEPS);
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    // The best size may lie outside the range: what is left at its end is taken out of the exponent.
    let least = (best - best.clamp(low, high)) / sd;
    for step in 0..STEPS {
        let size = low * math::exp((f64::from(step) + 0.5) * width);
        let z = (size - best) / sd;
        let weight = math::exp(-0.5 * (z * z - least * least));
        sum += weight;
        first += weight * size;
        second += weight * size * size;
    }
    let mean = first / sum;
    let spread = (second / sum - mean * mean).max(0.0).sqrt();
    Fit {
        law,
        ln_evidence: ln_norm - 0.5 * (chi_squared + least * least) + math::ln(sum * width),
        size: Uncertain::new(mean, spread),
        chi_squared: chi_squared + least * least,
    }
}

/// Mean and 95 % interval of a mixture of normals, cut off at zero.
pub(super) fn of_mixture(parts: &[(f64, Uncertain)]) -> Estimate {
    let total: f64 = parts.iter().map(|(weight, _)| weight).sum();
    let value = parts.iter().map(|(weight, part)| weight * part.value).sum::<f64>() / total;
    let spread = |part: &Uncertain| part.standard.max(1e-12 * part.value.abs()).max(1e-300);
    let below = |x: f64| {
        parts
            .iter()
            .map(|(weight, part)| weight * stats::normal_below((x - part.value) / spread(part)))
            .sum::<f64>()
            / total
    };
    let bottom = parts.iter().map(|(_, part)| part.value - 6.0 * spread(part)).fold(f64::INFINITY, f64::min);
    let top = parts.iter().map(|(_, part)| part.value + 6.0 * spread(part)).fold(f64::NEG_INFINITY, f64::max);
    let quantile = |probability: f64| {
        let (mut low, mut high) = (bottom, top);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if below(middle) < probability { low = middle } else { high = middle }
        }
        f64::midpoint(low, high).max(0.0)
    };
    Estimate { value: value.max(0.0), low: quantile(0.025), high: quantile(0.975), coverage: 0.95 }
}
