//! Before against after: has anything changed, and what change could have been shown?

use crate::estimate::{Estimate, Uncertain, Z95};
use crate::limits::{OutOfRange, within};

/// A change smaller than this is none worth the word: where the whole interval of the difference stays inside, the
/// answer is 'no' (equivalence; our own convention). Per cent of the first value.
pub const NO_CHANGE_BELOW_PERCENT: f64 = 5.0;

/// Whether a value has changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Changed {
    /// The 95 % interval of the difference leaves out zero.
    Yes,
    /// It holds zero and no change as large as [`NO_CHANGE_BELOW_PERCENT`].
    No,
    /// It holds zero, but the readings are too uncertain to say more.
    CannotTell,
}

impl Changed {
    /// The word of the contract.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Yes => "yes",
            Self::No => "no",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// Two readings of one thing, compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Comparison {
    /// After divided by before.
    pub ratio: Estimate,
    /// After minus before.
    pub difference: Estimate,
    /// Whether it has changed.
    pub changed: Changed,
    /// Smallest change, in per cent of the first value, that these uncertainties could prove.
    pub smallest_provable_change_percent: f64,
}

/// Compares a reading before with one after.
///
/// `u(difference)^2 = u1^2 + u2^2 - 2 r u1 u2` (JCGM 100:2008, 5.2.2; source key `jcgm-100`); the interval of the
/// ratio is Fieller's (source key `fieller-1954`).
///
/// # Arguments
/// Standard uncertainties in the unit of the values. `correlation`, -1 to 1, is the share of error common to both:
/// with one meter, leave its calibration out of both uncertainties and give 0, or leave it in and give the
/// correlation that it makes.
///
/// # Errors
/// [`OutOfRange`] for a first value that is not above zero or not known to within 50 %, a negative or endless
/// uncertainty, or a correlation outside -1 to 1.
pub fn compare(before: Uncertain, after: Uncertain, correlation: f64) -> Result<Comparison, OutOfRange> {
    let most = f64::MAX;
    within("before.value", before.value, f64::MIN_POSITIVE, most, "(unit of the values)")?;
    within("after.value", after.value, -most, most, "(unit of the values)")?;
    let half = before.value / 2.0;
    within("before.standard_uncertainty", before.standard, 0.0, half, "(unit of the values)")?;
    within("after.standard_uncertainty", after.standard, 0.0, most, "(unit of the values)")?;
    within("correlation", correlation, -1.0, 1.0, "(pure number)")?;
    let common = correlation * before.standard * after.standard;
    let variance = before.standard * before.standard + after.standard * after.standard - 2.0 * common;
    let difference = Estimate::normal(after.value - before.value, variance.max(0.0).sqrt());
    let provable = 100.0 * difference.half_width() / before.value;
    let bound = NO_CHANGE_BELOW_PERCENT / 100.0 * before.value;
    let changed = if !difference.holds(0.0) {
        Changed::Yes
    } else if difference.low > -bound && difference.high < bound {
        Changed::No
    } else {
        Changed::CannotTell
    };
    Ok(Comparison {
        ratio: fieller(before, after, common),
        difference,
        changed,
        smallest_provable_change_percent: provable,
    })
}

/// All ratios r for which `after - r before` is not significantly different from zero.
fn fieller(before: Uncertain, after: Uncertain, common: f64) -> Estimate {
    let z2 = Z95 * Z95;
    // a r^2 - 2 b r + c = 0; a stays positive because the first value is known to within 50 %.
    let a = before.value * before.value - z2 * before.standard * before.standard;
    let b = before.value * after.value - z2 * common;
    let c = after.value * after.value - z2 * after.standard * after.standard;
    let root = (b * b - a * c).max(0.0).sqrt();
    let value = after.value / before.value;
    Estimate { value, low: (b - root) / a, high: (b + root) / a, coverage: 0.95 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(before: (f64, f64), after: (f64, f64), correlation: f64) -> Comparison {
        compare(Uncertain::new(before.0, before.1), Uncertain::new(after.0, after.1), correlation).unwrap()
    }

    #[test]
    fn a_tenth_more_at_one_per_cent_each_is_a_change() {
        let found = of((6.0, 0.06), (6.6, 0.066), 0.0);
        assert_eq!(found.changed, Changed::Yes);
        assert!((found.ratio.value - 1.1).abs() < 1e-12);
        // Smallest provable change: sqrt(2) times the expanded uncertainty (JCGM 100, 5.1.2), 2.8 % for 2 %.
        let same = of((6.0, 0.06), (6.0, 0.06), 0.0);
        assert!((same.smallest_provable_change_percent / (2.0_f64.sqrt() * Z95) - 1.0).abs() < 1e-12);
        assert_eq!(same.changed, Changed::No);
    }

    #[test]
    fn coarse_readings_cannot_tell() {
        assert_eq!(of((6.0, 0.3), (6.3, 0.3), 0.0).changed, Changed::CannotTell);
        // 2.5 % with 1 % each: not proved (1.77 standard uncertainties), and 5 % is not excluded either.
        assert_eq!(of((10.0, 0.1), (10.25, 0.1025), 0.0).changed, Changed::CannotTell);
        assert_eq!(of((10.0, 0.1), (10.1, 0.1), 0.0).changed, Changed::No);
    }

    #[test]
    fn what_both_share_cancels() {
        // JCGM 100:2008, 5.2.2: fully correlated equal uncertainties leave nothing.
        let found = of((6.0, 0.3), (6.3, 0.3), 1.0);
        assert!(found.difference.half_width() < 1e-12);
        assert_eq!(found.changed, Changed::Yes);
        // And 0.2 with 0.3 at r = 0.5: sqrt(0.04 + 0.09 - 0.06).
        let half = of((10.0, 0.2), (10.0, 0.3), 0.5);
        assert!((half.difference.half_width() / Z95 - 0.07_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn ratio_interval_meets_its_own_definition() {
        // Fieller 1954: at either end the difference after - r before is exactly 1.96 of its uncertainties.
        let found = of((6.0, 0.9), (5.0, 0.4), 0.3);
        for r in [found.ratio.low, found.ratio.high] {
            let u2 = 0.4 * 0.4 + r * r * 0.9 * 0.9 - 2.0 * r * 0.3 * 0.9 * 0.4;
            assert!(((5.0 - r * 6.0).abs() / u2.sqrt() - Z95).abs() < 1e-9);
        }
        assert!(found.ratio.holds(5.0 / 6.0));
    }

    #[test]
    fn refuses_what_cannot_be_compared() {
        let ask = |b: (f64, f64), a: (f64, f64), r| {
            compare(Uncertain::new(b.0, b.1), Uncertain::new(a.0, a.1), r).unwrap_err().quantity
        };
        assert_eq!(ask((0.0, 0.1), (1.0, 0.1), 0.0), "before.value");
        assert_eq!(ask((1.0, 0.6), (1.0, 0.1), 0.0), "before.standard_uncertainty");
        assert_eq!(ask((1.0, 0.1), (1.0, -0.1), 0.0), "after.standard_uncertainty");
        assert_eq!(ask((1.0, 0.1), (1.0, 0.1), 1.1), "correlation");
    }
}
