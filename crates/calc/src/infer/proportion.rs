//! How far a share can be known from k out of n.

use statrs::function::beta::checked_beta_reg;

use crate::estimate::Estimate;
use crate::limits::{OutOfRange, within};
use crate::numeric::{root, stats};

/// How the interval of a share is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShareInterval {
    /// Clopper and Pearson: holds the truth at least as often as stated, whatever the truth; wide.
    ClopperPearson,
    /// Wilson's score interval: holds the truth about as often as stated on average.
    Wilson,
    /// Jeffreys: the central interval after Bayes' rule with the prior Beta(1/2, 1/2).
    Jeffreys,
}

/// Most trials: beyond them the incomplete beta function of the library loses digits.
pub const MOST_TRIALS: f64 = 1e5;

/// The share k / n with its interval.
///
/// Clopper and Pearson: quantiles of Beta(k, n-k+1) and Beta(k+1, n-k) (source key `clopper-pearson-1934`); Wilson:
/// closed form (`wilson-1927`); Jeffreys: quantiles of Beta(k+1/2, n-k+1/2), with the end at 0 for k = 0 and at 1 for
/// k = n (`brown-2001`). All three within 1e-9 of the exact ends.
///
/// # Arguments
/// `hits` of `trials`, whole numbers as floating-point numbers; `coverage` between 0 and 1.
///
/// # Errors
/// [`OutOfRange`] for no trial, more than 100,000, more hits than trials, or a coverage outside 0.5 to 0.9999.
pub fn share(hits: f64, trials: f64, coverage: f64, kind: ShareInterval) -> Result<Estimate, OutOfRange> {
    within("trials", trials, 1.0, MOST_TRIALS, "(number)")?;
    within("hits", hits, 0.0, trials, "(number)")?;
    within("coverage", coverage, 0.5, 0.9999, "(probability)")?;
    let (hits, trials) = (hits.round(), trials.round());
    let tail = 0.5 - coverage / 2.0;
    let misses = trials - hits;
    let (low, high) = match kind {
        ShareInterval::Wilson => wilson(hits / trials, trials, stats::normal_quantile(1.0 - tail)),
        ShareInterval::ClopperPearson => {
            (beta_quantile(tail, hits, misses + 1.0), beta_quantile(1.0 - tail, hits + 1.0, misses))
        }
        ShareInterval::Jeffreys => {
            let end = |p| beta_quantile(p, hits + 0.5, misses + 0.5);
            (if hits > 0.0 { end(tail) } else { 0.0 }, if misses > 0.0 { end(1.0 - tail) } else { 1.0 })
        }
    };
    Ok(Estimate { value: hits / trials, low, high, coverage })
}

fn wilson(found: f64, trials: f64, z: f64) -> (f64, f64) {
    let squeeze = z * z / trials;
    let middle = (found + squeeze / 2.0) / (1.0 + squeeze);
    let reach = z / (1.0 + squeeze) * (found * (1.0 - found) / trials + squeeze / (4.0 * trials)).sqrt();
    ((middle - reach).max(0.0), (middle + reach).min(1.0))
}

/// Quantile of the beta distribution; 0 where the first parameter is 0, 1 where the second is. By bracketing: the
/// library's own inverse divides by a density that can be nothing.
fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    if a <= 0.0 {
        return 0.0;
    }
    if b <= 0.0 {
        return 1.0;
    }
    let excess = |x: f64| checked_beta_reg(a, b, x).map_or(f64::NAN, |below| below - p);
    root::bracketed(excess, 0.0, 1.0, 1e-14).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(hits: f64, trials: f64, kind: ShareInterval) -> Estimate {
        share(hits, trials, 0.95, kind).unwrap()
    }

    #[test]
    fn none_of_n_is_the_rule_of_three() {
        // Nothing in n: the upper end is 1 - 0.025^(1/n) in closed form.
        for trials in [1.0, 10.0, 100.0, 10_000.0] {
            let found = of(0.0, trials, ShareInterval::ClopperPearson);
            let closed = -crate::numeric::math::exp_m1(crate::numeric::math::ln(0.025) / trials);
            assert!(found.low.abs() < 1e-15 && (found.high / closed - 1.0).abs() < 1e-9, "{trials}");
            let all = of(trials, trials, ShareInterval::ClopperPearson);
            assert!((1.0 - all.low - closed).abs() < 1e-12 && all.high >= 1.0);
        }
    }

    #[test]
    fn exact_interval_is_the_widest() {
        for hits in [0.0, 1.0, 7.0, 25.0, 49.0, 50.0] {
            let [exact, wilson, jeffreys] =
                [ShareInterval::ClopperPearson, ShareInterval::Wilson, ShareInterval::Jeffreys]
                    .map(|kind| of(hits, 50.0, kind));
            assert!(exact.half_width() > jeffreys.half_width(), "{hits}");
            for found in [exact, wilson, jeffreys] {
                assert!(found.holds(found.value) && found.low >= 0.0 && found.high <= 1.0);
            }
        }
    }

    #[test]
    fn impossible_counts_are_refused() {
        assert_eq!(share(3.0, 2.0, 0.95, ShareInterval::Wilson).unwrap_err().quantity, "hits");
        assert_eq!(share(0.0, 0.0, 0.95, ShareInterval::Wilson).unwrap_err().quantity, "trials");
        assert_eq!(share(0.0, 1.0, 1.0, ShareInterval::Wilson).unwrap_err().quantity, "coverage");
    }
}
