//! What a further reading may be expected to tell about which of several classes is true, before it is taken.
//!
//! Each node is one possible state of things: its class, its weight today, and the value that the reading would
//! show, with its spread. Everything is a sum over panels in one variable, so the same nodes give the same bits.

use crate::numeric::{math, root, stats};

/// One possible state: class, weight (0 or more), mean and standard deviation (above 0) of the reading that it would
/// give.
pub type Node = (usize, f64, f64, f64);

/// Beyond so many standard deviations a node is not looked at: 2e-13 of it lies there.
const REACH: f64 = 7.4;
/// Least spread, as a share of the largest number in play; below it a panel would not move in double precision.
const LEAST_SPREAD: f64 = 1e-11;
/// Gauss-Legendre places and weights on 0 to 1 with five points (Abramowitz and Stegun, table 25.4).
const GAUSS: [(f64, f64); 5] = [
    (0.046_910_077_030_668_02, 0.118_463_442_528_094_54),
    (0.230_765_344_947_158_45, 0.239_314_335_249_683_23),
    (0.5, 0.284_444_444_444_444_45),
    (0.769_234_655_052_841_6, 0.239_314_335_249_683_23),
    (0.953_089_922_969_332, 0.118_463_442_528_094_54),
];
/// 1 over the square root of 2 pi.
const PEAK: f64 = 0.398_942_280_401_432_7;

/// A node with its class checked, its weight as a probability and the range in which it matters.
#[derive(Clone, Copy)]
struct State {
    class: usize,
    probability: f64,
    mean: f64,
    sd: f64,
}

impl State {
    fn low(&self) -> f64 {
        self.mean - REACH * self.sd
    }
    fn high(&self) -> f64 {
        self.mean + REACH * self.sd
    }
}

/// All nodes with weight, weights adding up to 1; none if a number makes no sense or nothing has any weight.
fn states(nodes: &[Node], classes: usize) -> Option<Vec<State>> {
    let total: f64 = nodes.iter().map(|node| node.1).sum();
    let sound = |&(class, weight, mean, sd): &Node| {
        class < classes && weight >= 0.0 && mean.is_finite() && sd.is_finite() && sd > 0.0
    };
    if !(total.is_finite() && total > 0.0 && nodes.iter().all(sound)) {
        return None;
    }
    let largest = nodes.iter().map(|node| node.2.abs() + node.3).fold(0.0, f64::max);
    let state = |&(class, weight, mean, sd): &Node| State {
        class,
        probability: weight / total,
        mean,
        sd: sd.max(LEAST_SPREAD * largest),
    };
    Some(nodes.iter().map(state).filter(|state| state.probability > 0.0).collect())
}

/// Panels that cover every state's range, none wider than the spread of any state that matters inside it.
struct Panels<'a> {
    states: &'a [State],
    at: f64,
}

impl Iterator for Panels<'_> {
    /// Start, width and the states that matter inside.
    type Item = (f64, f64, Vec<State>);

    fn next(&mut self) -> Option<Self::Item> {
        let start = self.at;
        let ahead = || self.states.iter().filter(|state| state.high() > start);
        let width = ahead().map(|state| state.sd.max(state.low() - start)).fold(f64::INFINITY, f64::min);
        if !width.is_finite() {
            return None;
        }
        self.at = start + width;
        let end = self.at;
        Some((start, width, ahead().filter(|state| state.low() < end).copied().collect()))
    }
}

fn panels(states: &[State]) -> Panels<'_> {
    Panels { states, at: states.iter().map(State::low).fold(f64::INFINITY, f64::min) }
}

/// Density of the reading under each class at `y`, each times the probability of its states.
fn densities(near: &[State], y: f64, out: &mut [f64]) {
    out.fill(0.0);
    for state in near {
        let z = (y - state.mean) / state.sd;
        if let Some(density) = out.get_mut(state.class) {
            *density += state.probability * PEAK / state.sd * math::exp(-0.5 * z * z);
        }
    }
}

/// How much a reading may be expected to tell about the class, in bits: the mutual information of class and reading.
///
/// `I = sum_c integral p_c f_c(y) log2(f_c(y) / f(y)) dy`, never more than the entropy of the class probabilities
/// (Cover and Thomas, chapter 2 and 8; source key `cover-thomas-2006`). Quadrature with panels no wider than the
/// smallest spread near by: within 1e-6 bit of dense integration (outside checks of topic `statistics`).
///
/// # Arguments
/// `nodes`: class (from 0, below `classes`), weight (0 or more; they need not add up to 1), mean and standard
/// deviation (above 0) of the reading, in one unit for all.
///
/// # Errors
/// `NaN` if a node has no class, a number makes no sense, or nothing has any weight.
#[must_use]
pub fn expected_information(nodes: &[Node], classes: usize) -> f64 {
    let Some(states) = states(nodes, classes) else { return f64::NAN };
    let mut prior = vec![0.0; classes];
    for state in &states {
        if let Some(sum) = prior.get_mut(state.class) {
            *sum += state.probability;
        }
    }
    let mut by_class = vec![0.0; classes];
    let mut bits = 0.0;
    for (start, width, near) in panels(&states) {
        for (place, weight) in GAUSS {
            densities(&near, start + place * width, &mut by_class);
            let all: f64 = by_class.iter().sum();
            let told: f64 = by_class
                .iter()
                .zip(&prior)
                .filter(|(density, _)| **density > 0.0)
                .map(|(density, prior)| density * math::ln(density / (prior * all)))
                .sum();
            bits += weight * width * told;
        }
    }
    (bits / core::f64::consts::LN_2).max(0.0)
}

/// Probability that, once the reading is taken, some class reaches the probability `threshold`.
///
/// The places where a class crosses the threshold are found to 1e-9 of the local spread, and the probability between
/// them is exact; a stretch of confidence narrower than a fifth of the smallest spread near by may be missed.
///
/// # Arguments
/// `nodes` and `classes` as in [`expected_information`]; `threshold` between 0 and 1.
///
/// # Errors
/// `NaN` if a node has no class, a number makes no sense, nothing has any weight, or the threshold is no probability.
#[must_use]
pub fn expected_confident(nodes: &[Node], classes: usize, threshold: f64) -> f64 {
    let Some(states) = states(nodes, classes) else { return f64::NAN };
    if !(0.0..=1.0).contains(&threshold) {
        return f64::NAN;
    }
    let mut by_class = vec![0.0; classes];
    let mut confident = 0.0;
    for (start, width, near) in panels(&states) {
        if near.is_empty() {
            continue;
        }
        let mut margin = |y: f64| {
            densities(&near, y, &mut by_class);
            let all: f64 = by_class.iter().sum();
            let most = by_class.iter().copied().fold(0.0, f64::max);
            // At or above the threshold counts; the nudge keeps 'certain already' from flickering in the last bit.
            if all > 0.0 { most / all - threshold + 1e-12 } else { -1.0 }
        };
        let at = |place: usize| start + width * place as f64 / GAUSS.len() as f64;
        let mut left = (at(0), margin(at(0)));
        for place in 1..=GAUSS.len() {
            let right = (at(place), margin(at(place)));
            confident += match (left.1 >= 0.0, right.1 >= 0.0) {
                (true, true) => probability_between(&near, left.0, right.0),
                (false, false) => 0.0,
                (starts, _) => {
                    let crossing = root::bracketed(&mut margin, left.0, right.0, 1e-9 * width);
                    let crossing = crossing.unwrap_or(0.5 * (left.0 + right.0));
                    let (from, to) = if starts { (left.0, crossing) } else { (crossing, right.0) };
                    probability_between(&near, from, to)
                }
            };
            left = right;
        }
    }
    confident.clamp(0.0, 1.0)
}

fn probability_between(near: &[State], from: f64, to: f64) -> f64 {
    near.iter()
        .map(|state| {
            let (a, b) = ((from - state.mean) / state.sd, (to - state.mean) / state.sd);
            // In the upper tail the differences keep their digits only from above.
            let share = if a > 0.0 {
                stats::normal_below(-a) - stats::normal_below(-b)
            } else {
                stats::normal_below(b) - stats::normal_below(a)
            };
            state.probability * share
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn far_apart_tells_all_and_equal_tells_nothing() {
        let apart = [(0, 1.0, 0.0, 0.1), (1, 1.0, 50.0, 2.0), (2, 2.0, -1e3, 1e-3)];
        // Entropy of 1/4, 1/4, 1/2: 1.5 bits.
        assert!((expected_information(&apart, 3) - 1.5).abs() < 1e-9);
        assert!((expected_confident(&apart, 3, 0.95) - 1.0).abs() < 1e-9);
        let same = [(0, 0.3, 1.0, 0.1), (1, 0.7, 1.0, 0.1)];
        assert!(expected_information(&same, 2).abs() < 1e-12);
        assert!(expected_confident(&same, 2, 0.95).abs() < 1e-12);
        assert!((expected_confident(&same, 2, 0.7) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn two_equal_classes_two_spreads_apart() {
        // Binary signal +-1 in normal noise of spread 1: 0.4859 bit (capacity of the binary-input Gaussian channel
        // at 0 dB; Cover and Thomas, from memory).
        let nodes = [(0, 1.0, -1.0, 1.0), (1, 1.0, 1.0, 1.0)];
        assert!((expected_information(&nodes, 2) - 0.4859).abs() < 1e-4);
        // p(class 1 | y) = 1 / (1 + exp(-2 y)) reaches 0.95 at y = ln(19) / 2; closed form by the normal distribution.
        let y = 0.5 * math::ln(19.0);
        let closed = stats::normal_below(1.0 - y) + stats::normal_below(-1.0 - y);
        assert!((expected_confident(&nodes, 2, 0.95) - closed).abs() < 1e-9);
    }

    #[test]
    fn classes_of_several_nodes_with_very_different_spreads() {
        // A class made of two nodes equal to one node twice: nothing changes.
        let once = [(0, 1.0, 0.0, 1.0), (1, 1.0, 0.5, 1e-3)];
        let twice = [(0, 0.5, 0.0, 1.0), (0, 0.5, 0.0, 1.0), (1, 1.0, 0.5, 1e-3)];
        let (a, b) = (expected_information(&once, 2), expected_information(&twice, 2));
        assert!((a - b).abs() < 1e-12 && a > 0.9 && a < 1.0, "{a} {b}");
        // Class names do not matter.
        let turned = [(1, 1.0, 0.0, 1.0), (0, 1.0, 0.5, 1e-3)];
        assert!((expected_information(&turned, 2) - a).abs() < 1e-12);
    }

    #[test]
    fn nonsense_is_no_number() {
        assert!(expected_information(&[], 2).is_nan());
        assert!(expected_information(&[(2, 1.0, 0.0, 1.0)], 2).is_nan());
        assert!(expected_information(&[(0, 1.0, 0.0, 0.0)], 2).is_nan());
        assert!(expected_information(&[(0, -1.0, 0.0, 1.0), (1, 2.0, 0.0, 1.0)], 2).is_nan());
        assert!(expected_confident(&[(0, 1.0, 0.0, 1.0)], 2, 1.5).is_nan());
        assert!(expected_information(&[(0, 1.0, 1e15, 1e-9), (1, 1.0, 0.0, 1.0)], 2).is_finite());
    }
}
