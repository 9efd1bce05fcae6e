//! Tight, leaking, or not to be told; and what would tell.

use nalgebra::{DMatrix, DVector};

use super::basis::{Setting, Shape, Term};
use super::drift::Drift;
use super::fit::{LATEST_START_OF_TRACE, MODEL_FLOOR_MBAR, Outcome, QUIET_AFTER_TAUS, least_squares};
use super::series::Series;
use crate::estimate::{Z95, root_sum_square};
use crate::numeric::math;

/// What the reading says about a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Below the limit, uncertainty included.
    Tight,
    /// Above the limit, uncertainty included.
    Leaks,
    /// The interval reaches over the limit.
    CannotTell,
}

/// Standard uncertainties of detection: a leak of so many is seen for sure, and nothing is seldom taken for a leak
/// (5 % each way; source key `jcgm-106`).
pub(super) const DETECTION_FACTOR: f64 = 3.3;
/// A leak of so many limits must not be called tight more often than once in 1,000 (normal quantile 3.09).
const FALSE_TIGHT_AT: f64 = 1.5;
pub(super) const ONCE_IN_1000: f64 = 3.09;
/// Relative uncertainty of the model itself: gas and wall not in step.
const MODEL_RELATIVE: f64 = 0.006;
/// The same where the circuit emptied before its air had settled.
const FAST_MODEL_RELATIVE: f64 = 0.06;
/// A larger relative uncertainty than this says no more than this one.
const LARGEST_RELATIVE: f64 = 2.0;
/// The air counts as settled when what still settles is below this share of the limit (or of the leak, if larger).
const SETTLED_SHARE: f64 = 0.25;
/// Longest test that is proposed.
const LONGEST_S: f64 = 1800.0;

/// What a leak rate may be off: what the fall of the pressure leaves open, the same for every rate, and what multiplies
/// the rate.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spread {
    fall_mbar_l_s: f64,
    relative: f64,
}

impl Spread {
    pub(super) fn of(setting: &Setting, outcome: &Outcome) -> Self {
        let model = if outcome.fast { FAST_MODEL_RELATIVE } else { MODEL_RELATIVE };
        let (law_variance, law_relative) = outcome.law();
        let fall = (outcome.slope_sd * outcome.slope_sd - law_variance).max(0.0).sqrt();
        let relative = root_sum_square(&[
            setting.volume_relative,
            setting.gas_sd_k / setting.gas_k,
            model,
            law_relative,
        ]);
        Self { fall_mbar_l_s: fall * setting.rate_per_slope(), relative: relative.min(LARGEST_RELATIVE) }
    }

    /// Standard uncertainty of a leak rate of this size.
    pub(super) fn standard(self, rate_mbar_l_s: f64) -> f64 {
        root_sum_square(&[self.fall_mbar_l_s, rate_mbar_l_s * self.relative])
    }

    /// Lower end so many standard uncertainties away. A factor is as likely a half as double, so the relative part counts
    /// on a logarithmic scale; for small uncertainties that is no difference.
    pub(super) fn low(self, rate_mbar_l_s: f64, z: f64) -> f64 {
        let factor = 1.0 - math::exp(-z * self.relative);
        rate_mbar_l_s - root_sum_square(&[z * self.fall_mbar_l_s, rate_mbar_l_s.max(0.0) * factor])
    }

    /// Upper end; a rate below zero by more than its standard uncertainty does not draw it down further.
    pub(super) fn high(self, rate_mbar_l_s: f64, z: f64) -> f64 {
        let factor = math::exp(z * self.relative) - 1.0;
        rate_mbar_l_s.max(-self.standard(0.0))
            + root_sum_square(&[z * self.fall_mbar_l_s, rate_mbar_l_s.max(0.0) * factor])
    }
}

/// Verdict with guard bands: *tight* only if the 95 % interval ends below the limit **and** a leak of 1.5 limits would
/// read as low as this at most once in 1,000; *leaks* only if the interval begins above the limit (source key
/// `jcgm-106`, guarded acceptance and rejection).
pub(super) fn verdict(setting: &Setting, spread: Spread, rate: f64, low: f64, high: f64) -> Verdict {
    let limit = setting.limit_mbar_l_s;
    let widest = spread.standard(FALSE_TIGHT_AT * limit);
    let rising = rate + Z95 * spread.standard(0.0) < 0.0;
    if low > limit {
        Verdict::Leaks
    } else if high < limit && rate + ONCE_IN_1000 * widest < FALSE_TIGHT_AT * limit && !rising {
        Verdict::Tight
    } else {
        Verdict::CannotTell
    }
}

/// Shortest time watched after which a leak of the limit would be seen for sure, everything else unchanged.
pub(super) fn seconds_needed(
    setting: &Setting,
    drift: &Drift,
    series: &Series,
    outcome: &Outcome,
) -> Option<f64> {
    let mut seconds = 5.0;
    while seconds <= LONGEST_S {
        let sd = slope_sd_after(setting, drift, series, outcome, seconds)?;
        if DETECTION_FACTOR * sd * setting.rate_per_slope() <= setting.limit_mbar_l_s {
            return Some(seconds);
        }
        seconds *= 1.1;
    }
    None
}

/// Standard uncertainty of the slope after so many seconds of the same kind of reading, no leak.
fn slope_sd_after(
    setting: &Setting,
    drift: &Drift,
    series: &Series,
    outcome: &Outcome,
    seconds: f64,
) -> Option<f64> {
    const BLOCKS: u8 = 24;
    let setting = Setting { duration_s: seconds, ..setting.clone() };
    let flat = 20.0 * setting.start_mbar / seconds;
    let mut terms = vec![
        Term { shape: Shape::Level, mean: 0.0, sd: flat },
        Term { shape: Shape::Leak, mean: 0.0, sd: flat },
    ];
    terms.extend(setting.settling());
    terms.extend(drift.terms(&setting));
    let (start, blocks) = if series.two_readings {
        (0.0, 2)
    } else {
        ((QUIET_AFTER_TAUS * setting.slowest_tau_s()).min(LATEST_START_OF_TRACE * seconds), BLOCKS)
    };
    let width = (seconds - start) / f64::from(blocks);
    let white =
        if series.two_readings { series.noise_mbar } else { outcome.second_noise_mbar / width.sqrt() };
    let rounding = series.step_mbar / 12.0_f64.sqrt() * (f64::from(blocks) / 3.0).max(1.0).sqrt();
    let sigma = root_sum_square(&[white, rounding, MODEL_FLOOR_MBAR]);
    let times: Vec<f64> = if series.two_readings {
        vec![0.0, seconds]
    } else {
        (0..blocks).map(|block| start + (f64::from(block) + 0.5) * width).collect()
    };
    let design = DMatrix::from_fn(times.len(), terms.len(), |row, column| {
        let (Some(time), Some(term)) = (times.get(row), terms.get(column)) else { return 0.0 };
        let value = if term.shape == Shape::Leak { -time } else { setting.value(term.shape, *time) };
        value * term.sd / sigma
    });
    let solved = least_squares(&design, &DVector::zeros(times.len()))?;
    Some(solved.covariance.get((1, 1))?.sqrt() * flat)
}

/// First second from which on everything that settles adds less than a quarter of the limit (or of the leak, where that
/// is larger); `None` if it does so nowhere in the time watched.
pub(super) fn settled_from_s(setting: &Setting, outcome: &Outcome, rate: f64) -> Option<f64> {
    const PLACES: u8 = 120;
    let allowed = SETTLED_SHARE * setting.limit_mbar_l_s.max(rate);
    let quiet = |time: f64| {
        let slopes = DVector::from_iterator(
            outcome.terms.len(),
            outcome.terms.iter().map(|term| setting.slope(term.shape, time)),
        );
        let mean: f64 = slopes.iter().zip(&outcome.sizes).map(|(slope, size)| slope * size).sum();
        let sd = (slopes.transpose() * &outcome.covariance * &slopes).sum().max(0.0).sqrt();
        (mean.abs() + sd) * setting.rate_per_slope() <= allowed
    };
    let time = |place: u8| setting.duration_s * f64::from(place) / f64::from(PLACES);
    let noisy = (0..=PLACES).rev().find(|place| !quiet(time(*place)));
    match noisy {
        None => Some(0.0),
        Some(PLACES) => None,
        Some(place) => Some(time(place + 1)),
    }
}
