//! A mixture of normal distributions: what is known of a thickness when several explanations each give their own
//! value and spread.

use crate::numeric::{root, stats};

/// One normal distribution of a mixture. A spread of zero is a single point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Normal1 {
    /// Weight, 0 or more; the weights of a mixture need not add up to 1.
    pub weight: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation, 0 or more, in the unit of the mean.
    pub sd: f64,
}

/// Beyond so many standard deviations nothing of a normal distribution is left in double precision.
const REACH: f64 = 39.0;
/// Places at which the search for the shortest interval starts.
const STARTS: u32 = 64;
/// Halvings of the golden-section search around the best start: 0.618^40 is below 1e-8.
const GOLDEN_STEPS: u32 = 40;

/// Sum of the weights; none if a number makes no sense or nothing has any weight.
fn total(parts: &[Normal1]) -> Option<f64> {
    let sound = |part: &Normal1| {
        part.weight.is_finite()
            && part.weight >= 0.0
            && part.mean.is_finite()
            && part.sd.is_finite()
            && part.sd >= 0.0
    };
    let sum: f64 = parts.iter().map(|part| part.weight).sum();
    (parts.iter().all(sound) && sum.is_finite() && sum > 0.0).then_some(sum)
}

/// Mean and standard deviation of a mixture, in the unit of the means; none for a mixture without weight or with a
/// number that makes no sense.
///
/// `mean = sum w m`, `variance = sum w (s^2 + (m - mean)^2)` with weights that add up to 1 (any text on probability;
/// source key `own-arithmetic`). Exact.
#[must_use]
pub fn mean_and_sd(parts: &[Normal1]) -> Option<(f64, f64)> {
    let sum = total(parts)?;
    let mean = parts.iter().map(|part| part.weight * part.mean).sum::<f64>() / sum;
    let variance = parts
        .iter()
        .map(|part| part.weight * (part.sd * part.sd + (part.mean - mean) * (part.mean - mean)))
        .sum::<f64>()
        / sum;
    Some((mean, variance.sqrt()))
}

/// Probability below `x` and above `x`; both, since each keeps its digits in its own tail.
fn tails(parts: &[Normal1], sum: f64, x: f64) -> (f64, f64) {
    let (mut below, mut above) = (0.0, 0.0);
    for part in parts.iter().filter(|part| part.weight > 0.0) {
        if part.sd > 0.0 {
            let z = (x - part.mean) / part.sd;
            below += part.weight * stats::normal_below(z);
            above += part.weight * stats::normal_below(-z);
        } else if x >= part.mean {
            below += part.weight;
        } else {
            above += part.weight;
        }
    }
    (below / sum, above / sum)
}

/// Probability that the mixture is at or below `x`; none for a mixture without weight or with a number that makes no
/// sense.
#[must_use]
pub fn probability_below(parts: &[Normal1], x: f64) -> Option<f64> {
    let sum = total(parts)?;
    x.is_finite().then(|| tails(parts, sum, x).0)
}

/// The value that the mixture stays below with probability `p`, in the unit of the means; none unless `0 < p < 1`
/// and the mixture makes sense.
///
/// The root of the distribution function by Brent's method (source key `brent-1973`), to about 1e-12 of the standard
/// deviation or of the value itself. Where a whole range has probability `p` below it, any value of the range.
#[must_use]
pub fn quantile(parts: &[Normal1], p: f64) -> Option<f64> {
    let sum = total(parts)?;
    if !(p > 0.0 && p < 1.0) {
        return None;
    }
    let heard = || parts.iter().filter(|part| part.weight > 0.0);
    let low = heard().map(|part| part.mean - REACH * part.sd).fold(f64::INFINITY, f64::min);
    let high = heard().map(|part| part.mean + REACH * part.sd).fold(f64::NEG_INFINITY, f64::max);
    let finest = heard().map(|part| part.sd).filter(|sd| *sd > 0.0).fold(f64::INFINITY, f64::min);
    let xtol = if finest.is_finite() { 1e-12 * finest } else { 1e-14 * (high - low) };
    let excess = |x: f64| {
        let (below, above) = tails(parts, sum, x);
        if p <= 0.5 { below - p } else { (1.0 - p) - above }
    };
    // A lone point, or the very end of a mixture with points: there is nothing to search.
    if excess(low) >= 0.0 {
        return Some(low);
    }
    if excess(high) <= 0.0 {
        return Some(high);
    }
    root::bracketed(excess, low, high, xtol).ok()
}

/// Median, lower and upper end of the interval that leaves equal probability on either side; none unless
/// `0 < coverage < 1` and the mixture makes sense.
#[must_use]
pub fn central(parts: &[Normal1], coverage: f64) -> Option<(f64, f64, f64)> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return None;
    }
    let tail = (1.0 - coverage) / 2.0;
    Some((quantile(parts, 0.5)?, quantile(parts, tail)?, quantile(parts, 1.0 - tail)?))
}

/// Lower and upper end of the shortest single interval with this probability; none unless `0 < coverage < 1` and the
/// mixture makes sense.
///
/// Of a distribution with one hump this is the interval of highest density. A mixture with humps far apart would be
/// described more tightly by several intervals; this is still one. Searched over the probability left below, from
/// 64 starts and by golden section: the length is within about 1e-8 of the shortest near the best start.
#[must_use]
pub fn shortest(parts: &[Normal1], coverage: f64) -> Option<(f64, f64)> {
    total(parts)?;
    if !(coverage > 0.0 && coverage < 1.0) {
        return None;
    }
    let spare = 1.0 - coverage;
    let ends = |p: f64| Some((quantile(parts, p)?, quantile(parts, p + coverage)?));
    let length = |p: f64| ends(p).map_or(f64::INFINITY, |(low, high)| high - low);
    let step = spare / f64::from(STARTS);
    let start = |place: u32| step * (f64::from(place) + 0.5);
    let best = (0..STARTS).map(start).min_by(|a, b| length(*a).total_cmp(&length(*b)))?;
    let (mut a, mut b) = (best - step, best + step);
    let share = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..GOLDEN_STEPS {
        let (left, right) = (b - share * (b - a), a + share * (b - a));
        if length(left) <= length(right) {
            b = right;
        } else {
            a = left;
        }
    }
    let found = 0.5 * (a + b);
    ends(if length(found) <= length(best) { found } else { best })
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn part(weight: f64, mean: f64, sd: f64) -> Normal1 {
        Normal1 { weight, mean, sd }
    }

    #[test]
    fn one_normal_is_itself() {
        // Tables of the normal distribution: 1.959964 for 95 %.
        let (median, low, high) = central(&[part(3.0, 2.0, 0.5)], 0.95).unwrap();
        assert!((median - 2.0).abs() < 1e-12);
        assert!((low - (2.0 - 0.5 * 1.959_963_985)).abs() < 1e-9);
        assert!((high - (2.0 + 0.5 * 1.959_963_985)).abs() < 1e-9);
        let (short_low, short_high) = shortest(&[part(1.0, 2.0, 0.5)], 0.95).unwrap();
        assert!((short_low - low).abs() < 1e-4 && (short_high - high).abs() < 1e-4);
    }

    #[test]
    fn quantiles_give_back_their_probability() {
        let parts = [part(0.2, 0.0, 1e-4), part(0.5, 0.3, 0.1), part(0.3, 2.0, 0.4), part(0.0, 99.0, 1.0)];
        for p in [1e-9, 0.01, 0.19, 0.2, 0.21, 0.5, 0.7, 0.975, 1.0 - 1e-9] {
            let x = quantile(&parts, p).unwrap();
            assert!((probability_below(&parts, x).unwrap() - p).abs() < 1e-10, "{p}: {x}");
        }
        let (mean, sd) = mean_and_sd(&parts).unwrap();
        // By hand: 0.5 * 0.3 + 0.3 * 2; 0.2 * 1e-8 + 0.5 (0.01 + 0.09) + 0.3 (0.16 + 4) - mean^2.
        assert!((mean - 0.75).abs() < 1e-12);
        assert!((sd * sd - (2e-9 + 0.05 + 1.248 - 0.5625)).abs() < 1e-12);
    }

    #[test]
    fn points_are_stepped_over() {
        let parts = [part(1.0, 0.0, 0.0), part(1.0, 1.0, 0.1)];
        assert!(quantile(&parts, 0.3).unwrap().abs() < 1e-9);
        assert!((quantile(&parts, 0.75).unwrap() - 1.0).abs() < 1e-9);
        assert_eq!(quantile(&[part(1.0, 4.0, 0.0)], 0.9), Some(4.0));
        assert!((probability_below(&parts, 0.0).unwrap() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn shortest_leans_to_the_dense_side() {
        // A narrow hump and a long tail: the shortest interval drops only the tail.
        let parts = [part(0.9, 0.0, 0.1), part(0.1, 2.0, 1.0)];
        let (low, high) = shortest(&parts, 0.9).unwrap();
        let (_, central_low, central_high) = central(&parts, 0.9).unwrap();
        assert!(high - low < central_high - central_low);
        let held = probability_below(&parts, high).unwrap() - probability_below(&parts, low).unwrap();
        assert!((held - 0.9).abs() < 1e-9);
    }

    #[test]
    fn nonsense_has_no_answer() {
        assert_eq!(quantile(&[], 0.5), None);
        assert_eq!(quantile(&[part(0.0, 1.0, 1.0)], 0.5), None);
        assert_eq!(quantile(&[part(1.0, f64::NAN, 1.0)], 0.5), None);
        assert_eq!(quantile(&[part(1.0, 1.0, 1.0)], 1.0), None);
        assert_eq!(central(&[part(1.0, 1.0, 1.0)], 0.0), None);
        assert_eq!(shortest(&[part(1.0, 1.0, -1.0)], 0.5), None);
        assert_eq!(mean_and_sd(&[]), None);
    }
}
