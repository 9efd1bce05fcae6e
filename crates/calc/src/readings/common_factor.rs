//! Many things that moved by one factor: do they share an instrument that drifted, or did each change by itself?

use crate::estimate::{Estimate, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::math;

/// Huber's tuning constant: 95 % efficient where nothing is foul (source key `huber-1981`).
const HUBER: f64 = 1.345;
/// Median absolute deviation of a normal variable.
const MAD_NORMAL: f64 = 0.674_489_750_196_081_7;
/// Rounds of reweighting; it settles within some ten.
const ROUNDS: usize = 200;
const SETTLED: f64 = 1e-12;
/// Fewest things from which 'all alike' may be said.
pub const FEWEST: usize = 3;
/// What one thing does by itself (own proposal): it stays as it was with this probability, or loses flow, an exponential
/// loss with this mean in the logarithm; rarely it gains, as widely.
const SOUND: f64 = 0.55;
const GAINS: f64 = 0.05;
const LOSS_LN: f64 = 0.3;
/// Probability that all lost alike, as one water fouls all of one mould, and how unequal they then are, as share of the
/// common loss (own proposal).
const ALIKE: f64 = 0.2;
const ALIKE_SPREAD: f64 = 0.3;
/// Cells of the sums over the common factor.
const CELLS: u32 = 400;

/// One thing today against what it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// Logarithm of today over earlier.
    pub ln_ratio: f64,
    /// Standard uncertainty of the logarithm without what all have in common.
    pub standard_ln: f64,
    /// How strongly it follows the common factor: above 1 where known hoses were taken out.
    pub follows: f64,
}

/// A robust common factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CommonFactor {
    /// Logarithm of the factor.
    pub ln_factor: f64,
    /// Its standard error, never below what the uncertainties of the things allow.
    pub standard_ln: f64,
    /// Scatter around it, in standard uncertainties of the things: about 1 where nothing else happened.
    pub scatter: f64,
}

impl CommonFactor {
    /// The factor with its 95 % interval.
    #[must_use]
    pub fn factor(&self) -> Estimate {
        Estimate::lognormal(math::exp(self.ln_factor), self.standard_ln)
    }
}

/// One thing that the common error of the rig may be before the things are looked at: a normal distribution with its
/// weight, and whether it stands for a rig that drifted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Belief {
    /// Weight; all together 1.
    pub weight: f64,
    /// Mean of the common error's logarithm.
    pub mean_ln: f64,
    /// Standard deviation.
    pub standard_ln: f64,
    /// Whether the rig then has drifted.
    pub drifted: bool,
}

/// Huber's estimate of a common factor by iterated reweighting: `ln_ratio / u = factor * follows / u + noise`, weights
/// `min(1, 1.345 s / |residual|)`, scale `s` from the median absolute deviation (source key `huber-1981`).
///
/// # Errors
/// [`OutOfRange`] with fewer than three things, an uncertainty that is not above 0, or a `follows` that is not.
pub fn common_factor(things: &[Moved]) -> Result<CommonFactor, OutOfRange> {
    within("moved", things.len() as f64, FEWEST as f64, 10_000.0, "(count)")?;
    for thing in things {
        within("ln_ratio", thing.ln_ratio, -20.0, 20.0, "(logarithm)")?;
        within("standard_ln", thing.standard_ln, 1e-9, 2.0, "(logarithm)")?;
        within("follows", thing.follows, 1e-3, 1e3, "(pure number)")?;
    }
    let rows: Vec<(f64, f64)> = things
        .iter()
        .map(|thing| (thing.follows / thing.standard_ln, thing.ln_ratio / thing.standard_ln))
        .collect();
    let fitted = |weights: &[f64]| {
        let (mut up, mut down) = (0.0, 0.0);
        for ((x, y), weight) in rows.iter().zip(weights) {
            up += weight * x * y;
            down += weight * x * x;
        }
        up / down
    };
    let scale = |ln_factor: f64| {
        let mut misses: Vec<f64> = rows.iter().map(|(x, y)| (y - ln_factor * x).abs()).collect();
        misses.sort_by(f64::total_cmp);
        (middle(&misses) / MAD_NORMAL).max(1e-9)
    };
    let mut weights = vec![1.0; rows.len()];
    let mut ln_factor = fitted(&weights);
    let mut scatter = scale(ln_factor);
    for _ in 0..ROUNDS {
        for (weight, (x, y)) in weights.iter_mut().zip(&rows) {
            let miss = (y - ln_factor * x).abs() / scatter;
            *weight = if miss > HUBER { HUBER / miss } else { 1.0 };
        }
        let next = fitted(&weights);
        let step = (next - ln_factor).abs();
        ln_factor = next;
        scatter = scale(ln_factor);
        if step < SETTLED {
            break;
        }
    }
    let information: f64 = rows.iter().zip(&weights).map(|((x, _), weight)| weight * x * x).sum();
    let standard_ln = scatter.max(1.0) / information.sqrt();
    Ok(CommonFactor { ln_factor, standard_ln, scatter })
}

fn middle(sorted: &[f64]) -> f64 {
    let half = sorted.len() / 2;
    let at = |place: usize| sorted.get(place).copied().unwrap_or(0.0);
    if sorted.len() % 2 == 1 { at(half) } else { (at(half.saturating_sub(1)) + at(half)) / 2.0 }
}

/// What the things say of the rig.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Probability that the rig drifted.
    pub probability: f64,
    /// Logarithm of the common factor if it did.
    pub ln_factor: f64,
    /// Standard deviation of that.
    pub standard_ln: f64,
}

impl Drift {
    /// The factor if the rig drifted, with its 95 % interval.
    #[must_use]
    pub fn factor(&self) -> Estimate {
        Estimate::lognormal(math::exp(self.ln_factor), self.standard_ln)
    }
}

/// Probability that the rig drifted, given what the things did, and how far.
///
/// Three stories are weighed for each belief: every thing went its own way, or all lost alike (one water, one mould), or
/// nothing but the common error moved them; the common error is summed over. Weights are our own proposal.
///
/// # Errors
/// As [`common_factor`]; beliefs need weights that sum to more than 0.
pub fn drift(things: &[Moved], beliefs: &[Belief]) -> Result<Drift, OutOfRange> {
    common_factor(things)?;
    // Logarithm of weight, common error, and whether the rig drifted, cell by cell.
    let mut cells: Vec<(f64, f64, bool)> = Vec::with_capacity(beliefs.len() * (CELLS as usize + 1));
    for belief in beliefs {
        within("weight", belief.weight, 0.0, 1.0, "(probability)")?;
        within("standard_ln", belief.standard_ln, 0.0, 5.0, "(logarithm)")?;
        let spread = belief.standard_ln.max(1e-6);
        let ln_weight = math::ln(belief.weight.max(1e-300));
        for cell in 0..=CELLS {
            let z = 10.0 * (f64::from(cell) / f64::from(CELLS) - 0.5);
            let common_ln = belief.mean_ln + spread * z;
            cells.push((
                ln_weight - 0.5 * z * z + ln_of_things(things, common_ln),
                common_ln,
                belief.drifted,
            ));
        }
    }
    let most = cells.iter().map(|cell| cell.0).fold(f64::NEG_INFINITY, f64::max);
    within("weights", most, -1e300, 1e300, "(logarithm)")?;
    let (mut all, mut drifted, mut mean, mut square) = (0.0, 0.0, 0.0, 0.0);
    for (ln_weight, common_ln, of_drift) in cells {
        let weight = math::exp(ln_weight - most);
        all += weight;
        if of_drift {
            drifted += weight;
            mean += weight * common_ln;
            square += weight * common_ln * common_ln;
        }
    }
    let (ln_factor, square) = if drifted > 0.0 { (mean / drifted, square / drifted) } else { (0.0, 0.0) };
    Ok(Drift {
        probability: (drifted / all).clamp(0.0, 1.0),
        ln_factor,
        standard_ln: (square - ln_factor * ln_factor).max(0.0).sqrt(),
    })
}

/// Log-likelihood of all things at one common error.
fn ln_of_things(things: &[Moved], common_ln: f64) -> f64 {
    let own_way: f64 = things.iter().map(|thing| ln_own_way(thing, common_ln)).sum();
    // All lost alike: a common loss, exponential, on top of the rig's error.
    let cells = 24_u32;
    let logs: Vec<f64> = (0..cells)
        .map(|cell| {
            let share = (f64::from(cell) + 0.5) / f64::from(cells);
            let loss = -LOSS_LN * math::ln(1.0 - share);
            things
                .iter()
                .map(|thing| {
                    let spread = root_sum_square(&[ALIKE_SPREAD * loss, thing.standard_ln]);
                    ln_normal(thing.ln_ratio - thing.follows * common_ln + loss, spread)
                })
                .sum::<f64>()
        })
        .collect();
    let alike = ln_sum(&logs) - math::ln(f64::from(cells));
    ln_sum(&[math::ln(1.0 - ALIKE) + own_way, math::ln(ALIKE) + alike])
}

/// Sound, or with a loss or gain of its own.
fn ln_own_way(thing: &Moved, common_ln: f64) -> f64 {
    let rest = thing.ln_ratio - thing.follows * common_ln;
    let loses = 1.0 - SOUND - GAINS;
    let density = SOUND * math::exp(ln_normal(rest, thing.standard_ln))
        + loses * smeared_exponential(-rest, thing.standard_ln)
        + GAINS * smeared_exponential(rest, thing.standard_ln);
    math::ln(density.max(1e-300))
}

fn ln_normal(miss: f64, standard: f64) -> f64 {
    let z = miss / standard;
    -0.5 * z * z - math::ln(standard) - 0.918_938_533_204_672_7
}

/// Density of an exponential variable of mean [`LOSS_LN`] with normal noise on it.
fn smeared_exponential(x: f64, noise: f64) -> f64 {
    let rate = 1.0 / LOSS_LN;
    let shift = x / noise - rate * noise;
    let below = crate::numeric::stats::normal_below(shift);
    rate * math::exp(0.5 * rate * rate * noise * noise - rate * x) * below
}

/// Logarithm of a sum of exponentials.
fn ln_sum(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most.is_finite() {
        most + math::ln(logs.iter().map(|log| math::exp(log - most)).sum::<f64>())
    } else {
        most
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn things(ratios: &[f64]) -> Vec<Moved> {
        ratios
            .iter()
            .map(|ratio| Moved { ln_ratio: math::ln(*ratio), standard_ln: 0.015, follows: 1.0 })
            .collect()
    }

    /// A meter of 2 % that has drifted once in twenty visits, by about 10 %.
    fn beliefs() -> [Belief; 2] {
        [
            Belief { weight: 0.95, mean_ln: 0.0, standard_ln: 0.02, drifted: false },
            Belief { weight: 0.05, mean_ln: 0.0, standard_ln: 0.10, drifted: true },
        ]
    }

    #[test]
    fn one_fouled_circuit_does_not_pull_the_factor() {
        let found = common_factor(&things(&[1.08, 1.09, 1.10, 1.07, 1.08, 0.6])).unwrap();
        assert!((math::exp(found.ln_factor) - 1.08).abs() < 0.01, "{found:?}");
        assert!(found.factor().holds(1.08));
    }

    #[test]
    fn all_up_alike_is_the_rig() {
        let up = drift(&things(&[1.12, 1.11, 1.13, 1.12, 1.10, 1.12]), &beliefs()).unwrap().probability;
        assert!(up > 0.95, "{up}");
        let none = drift(&things(&[1.01, 0.99, 1.02, 1.00, 0.98, 1.01]), &beliefs()).unwrap().probability;
        assert!(none < 0.05, "{none}");
        let each = drift(&things(&[1.0, 0.7, 0.9, 0.99, 0.5, 1.01]), &beliefs()).unwrap().probability;
        assert!(each < 0.05, "{each}");
    }

    #[test]
    fn all_down_alike_may_be_one_water() {
        let down = drift(&things(&[0.88, 0.87, 0.89, 0.88, 0.86, 0.88]), &beliefs()).unwrap().probability;
        let up = drift(&things(&[1.12, 1.13, 1.11, 1.12, 1.14, 1.12]), &beliefs()).unwrap().probability;
        assert!(down < up, "{down} {up}");
        // Unequal losses are fouling.
        let fouled = drift(&things(&[0.80, 0.66, 0.9, 0.74, 0.85, 0.6]), &beliefs()).unwrap().probability;
        assert!(fouled < 0.2, "{fouled}");
    }

    #[test]
    fn two_things_say_nothing() {
        assert_eq!(common_factor(&things(&[1.1, 1.1])).unwrap_err().quantity, "moved");
    }

    #[test]
    fn the_smeared_exponential_is_a_density() {
        let sum: f64 = (-400..4000).map(|x| smeared_exponential(f64::from(x) * 1e-3, 0.02) * 1e-3).sum();
        assert!((sum - 1.0).abs() < 1e-4, "{sum}");
    }
}
