//! What is believed of a path before any test.

use core::f64::consts::TAU;

use crate::numeric::math;

/// Paths between circuits that a mould under such a test is expected to have (own choice).
const ACROSS_EXPECTED: f64 = 1.0;
/// Most that one pair of circuits is believed to leak before a test (own choice).
const ACROSS_MOST: f64 = 0.1;
/// Probability that a circuit leaks to the outside (own choice).
const OUTSIDE: f64 = 0.15;
/// Median rate of a leak, mbar l/s, and standard deviation of its logarithm: 95 % between 0.013 and 7 (own choice).
pub(super) const MEDIAN_MBAR_L_S: f64 = 0.3;
const SPREAD_LN: f64 = 1.6;
/// Nodes of the integral over the rate.
const NODES: u32 = 90;
/// The integral reaches from the median divided by this to the median times it.
const REACH: f64 = 800.0;

/// Prior odds of paths and density of rates.
#[derive(Clone, Debug)]
pub(super) struct Prior {
    across: f64,
    /// Rates, evenly spaced in their logarithm, and the prior mass at each.
    nodes: Vec<(f64, f64)>,
}

impl Prior {
    pub(super) fn for_circuits(count: usize) -> Self {
        let pairs = (count * count.saturating_sub(1)) as f64 / 2.0;
        let step = 2.0 * math::ln(REACH) / f64::from(NODES);
        let node = |at: u32| {
            let rate = MEDIAN_MBAR_L_S / REACH * math::exp(step * f64::from(at));
            (rate, density(rate) * rate * step)
        };
        Self {
            across: (ACROSS_EXPECTED / pairs.max(1.0)).min(ACROSS_MOST),
            nodes: (0..=NODES).map(node).collect(),
        }
    }

    pub(super) const fn probability(&self, outside: bool) -> f64 {
        if outside { OUTSIDE } else { self.across }
    }

    pub(super) fn odds(&self, outside: bool) -> f64 {
        let probability = self.probability(outside);
        probability / (1.0 - probability)
    }
}

/// Density of the rate of a path that is there, per mbar l/s.
fn density(rate: f64) -> f64 {
    let deviation = math::ln(rate / MEDIAN_MBAR_L_S) / SPREAD_LN;
    math::exp(-0.5 * deviation * deviation) / (rate * SPREAD_LN * TAU.sqrt())
}

impl Prior {
    /// Integral of the density times a bell of this place and width, whose top is 1.
    pub(super) fn bell(&self, place: f64, width: f64) -> f64 {
        if place > 7.0 * width {
            // A narrow bell: the density is as good as constant under it.
            return density(place) * width * TAU.sqrt();
        }
        let (low, high) = (place - 6.5 * width, place + 6.5 * width);
        let nodes =
            self.nodes.iter().skip_while(|(rate, _)| *rate < low).take_while(|(rate, _)| *rate < high);
        let sum: f64 = nodes
            .map(|(rate, weight)| {
                let away = (rate - place) / width;
                weight * math::exp(-0.5 * away * away)
            })
            .sum();
        sum + tail(place, width)
    }
}

/// Bells that lie wholly below any rate of interest: what is left of their flank at the smallest rates.
fn tail(place: f64, width: f64) -> f64 {
    let away = (MEDIAN_MBAR_L_S / REACH - place) / width;
    if away < 6.0 {
        return f64::MIN_POSITIVE;
    }
    math::exp(-0.5 * away * away).max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wide_bell_holds_the_whole_density() {
        // A density integrates to 1 (identity).
        let prior = Prior::for_circuits(4);
        assert!((prior.bell(0.0, 1e6) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn narrow_and_wide_sides_meet() {
        let prior = Prior::for_circuits(4);
        for place in [0.05, 0.4, 3.0] {
            let (above, below) = (prior.bell(place, place / 6.999), prior.bell(place, place / 7.001));
            assert!((above / below - 1.0).abs() < 0.08, "{place}: {above} {below}");
        }
    }
}
