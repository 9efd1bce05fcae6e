//! Linear least squares with priors of known mean, on averages of the samples.

use nalgebra::{DMatrix, DVector};

use super::basis::{Setting, Shape, Term};
use super::blocks::{Blocks, gather};
use super::drift::Drift;
use super::laws::ByLaw;
use super::series::{SAMPLES_THAT_SHOW_NOISE, Series};
use crate::estimate::root_sum_square;

/// The window starts after so many of the slowest time constants, and ends when the gauge pressure has fallen to a
/// share of its start; a fast leak brings the start forward.
pub(super) const QUIET_AFTER_TAUS: f64 = 4.0;
pub(super) const LATEST_START_OF_TRACE: f64 = 0.4;
const FAST_LEAK_SHARE: f64 = 0.75;
const EMPTY_SHARE: f64 = 0.2;
/// No fit is better than this, mbar per average.
pub(super) const MODEL_FLOOR_MBAR: f64 = 0.02;

/// Where the leak stands among the terms, and after it what its law may be, as a share of the rate: between a crack and a
/// hole (-1 to 1), a seat instead of the hole, an opening crack instead of the crack (0 to 1, seldom either). Together the
/// rate goes with the pressure's power 1.5, give or take 0.65 (own choice).
const LEAK: usize = 1;
const LAWS: [(Shape, f64); 3] = [(Shape::Law, 0.4), (Shape::Seat, 0.2), (Shape::Opening, 0.2)];
/// Where no leak is seen, its law counts as that of one of this share of the limit: no prior, but finite numbers.
const LEAST_LAW_SHARE: f64 = 1e-3;
/// Level and leak may be so many times what the samples span: no prior, but finite numbers.
const OPEN: f64 = 20.0;
/// Rounds of weighing and fitting; the noise no longer changes after three.
const ROUNDS: u8 = 4;

/// Mean and covariance of a least-squares problem whose priors have been scaled to mean 0 and variance 1.
pub(super) struct Solved {
    pub mean: DVector<f64>,
    pub covariance: DMatrix<f64>,
    /// What each average weighs in each unknown.
    pub weights: DMatrix<f64>,
    /// Share of each average that the fit takes up (leverage).
    pub leverage: Vec<f64>,
}

/// Solves `design x = seen` (both divided by their standard uncertainty) with a standard normal prior on every unknown,
/// by QR of the stacked system. `None` if the numbers are not finite.
pub(super) fn least_squares(design: &DMatrix<f64>, seen: &DVector<f64>) -> Option<Solved> {
    let (rows, unknowns) = design.shape();
    let mut stacked = DMatrix::zeros(rows + unknowns, unknowns);
    stacked.view_mut((0, 0), (rows, unknowns)).copy_from(design);
    stacked.view_mut((rows, 0), (unknowns, unknowns)).fill_with_identity();
    if !stacked.iter().all(|value: &f64| value.is_finite()) {
        return None;
    }
    let mut right = DVector::zeros(rows + unknowns);
    right.rows_mut(0, rows).copy_from(seen);
    let qr = stacked.qr();
    let (q, r) = (qr.q(), qr.r());
    let mean = r.solve_upper_triangular(&(q.transpose() * &right))?;
    let inverse = r.solve_upper_triangular(&DMatrix::identity(unknowns, unknowns))?;
    let weights = &inverse * q.transpose();
    let leverage = (0..rows).map(|row| q.row(row).norm_squared()).collect();
    Some(Solved { mean, covariance: &inverse * inverse.transpose(), weights, leverage })
}

/// The fitted decay.
#[derive(Clone, Debug)]
pub(super) struct Outcome {
    /// Slope that the leak gives at the start, mbar/s at the gas's own temperature, fall counted positive.
    pub slope: f64,
    /// Its standard uncertainty from the fit.
    pub slope_sd: f64,
    pub terms: Vec<Term>,
    /// Fitted size of each term.
    pub sizes: Vec<f64>,
    /// Covariance of the sizes.
    pub covariance: DMatrix<f64>,
    /// Variance of the slope by what caused it: noise, then each term's prior.
    pub noise_variance: f64,
    pub rounding_variance: f64,
    pub term_variance: Vec<f64>,
    /// Noise of one second of samples, mbar.
    pub second_noise_mbar: f64,
    pub window_s: (f64, f64),
    /// Whether the leak emptied the circuit before the air had settled.
    pub fast: bool,
}

impl Outcome {
    /// Variance of the slope from the leak's law, and the relative standard uncertainty that it is.
    pub(super) fn law(&self) -> (f64, f64) {
        let parts = self.terms.iter().zip(&self.term_variance).skip(LEAK + 1).zip(LAWS);
        let (variance, relative) = parts.fold((0.0, 0.0), |sum, ((term, variance), (_, share))| {
            let rate = term.sd / share;
            (sum.0 + variance, sum.1 + variance / (rate * rate).max(1e-30))
        });
        (variance, relative.sqrt())
    }
}

/// Fits leak, settling and drift to the samples; `None` if the numbers are not finite.
pub(super) fn fit(setting: &Setting, drift: &Drift, series: &Series) -> Option<Outcome> {
    let (window_s, fast) = window(setting, series);
    let mut terms = first_terms(setting, drift, series, window_s);
    let blocks = gather(setting, drift, series, &terms, &leaked_seconds(setting, series), window_s);
    let mut noise = (series.noise_mbar, 1.0);
    let mut last = None;
    let least = LEAST_LAW_SHARE * setting.limit_mbar_l_s / setting.rate_per_slope();
    for _ in 0..ROUNDS {
        let sigmas = sigmas(&blocks, noise);
        let (sizes, solved) = solve(&terms, &blocks, &sigmas)?;
        if series.len() >= SAMPLES_THAT_SHOW_NOISE {
            noise = updated_noise(&blocks, &sizes, &solved, noise);
        }
        let rate = sizes.get(LEAK).copied().unwrap_or_default().abs().max(least);
        last = Some(outcome(&terms, &blocks, &sigmas, sizes, &solved));
        for (law, (_, share)) in terms.iter_mut().skip(LEAK + 1).zip(LAWS) {
            law.sd = share * rate;
        }
    }
    let samples: f64 = blocks.counts.iter().sum();
    let per_second = samples / (window_s.1 - window_s.0).max(1e-3);
    last.map(|found| Outcome {
        second_noise_mbar: noise.0 * noise.1 / per_second.sqrt(),
        window_s,
        fast,
        ..found
    })
}

/// The terms of the fit; what level and leak may be is left open.
fn first_terms(setting: &Setting, drift: &Drift, series: &Series, window_s: (f64, f64)) -> Vec<Term> {
    let range = (series.start_mbar() - series.end_mbar()).abs();
    let watched = (window_s.1 - window_s.0).max(1e-3);
    let open = OPEN * (range + 10.0 + series.noise_mbar);
    let mut terms = vec![
        Term { shape: Shape::Level, mean: 0.0, sd: open },
        Term { shape: Shape::Leak, mean: 0.0, sd: open / watched },
    ];
    let first = range / watched.max(1.0);
    terms.extend(LAWS.map(|(shape, share)| Term { shape, mean: 0.0, sd: share * first }));
    terms.extend(setting.settling());
    terms.extend(drift.terms(setting));
    terms
}

/// Seconds of leak at the start pressure that each sample has behind it, by each law: trapezoidal rule on the measured
/// pressures.
fn leaked_seconds(setting: &Setting, series: &Series) -> Vec<ByLaw> {
    if series.two_readings {
        // What the laws do in the last of the pressure nobody saw; it would only drown the rest.
        let empty = setting.atmosphere_mbar + EMPTY_SHARE * (setting.start_mbar - setting.atmosphere_mbar);
        let seen = setting.leaked_between(series.end_mbar().max(empty));
        let more = setting.leaked_between(series.end_mbar()).usual() / seen.usual();
        return vec![ByLaw::default(), ByLaw::default().plus(more, seen)];
    }
    let mut sum = ByLaw::default();
    let mut before: Option<(f64, ByLaw)> = None;
    let mut list = Vec::with_capacity(series.len());
    for (time, pressure) in series.samples() {
        let now = setting.relative_leak(pressure);
        if let Some((earlier, rate)) = before {
            let half = (time - earlier) / 2.0;
            sum = sum.plus(half, rate).plus(half, now);
        }
        list.push(sum);
        before = Some((time, now));
    }
    list
}

/// From when to when the samples are used, and whether a fast leak brought the start forward.
fn window(setting: &Setting, series: &Series) -> ((f64, f64), bool) {
    if series.len() < SAMPLES_THAT_SHOW_NOISE {
        return ((0.0, setting.duration_s), false);
    }
    let end = series.falls_to_share_s(EMPTY_SHARE);
    let quiet = (QUIET_AFTER_TAUS * setting.slowest_tau_s()).min(LATEST_START_OF_TRACE * end);
    let gone = series.falls_to_share_s(FAST_LEAK_SHARE);
    if gone < quiet.max(QUIET_AFTER_TAUS * setting.slowest_tau_s()) {
        ((0.4 * gone.min(quiet), end), true)
    } else {
        ((quiet, end), false)
    }
}

/// Standard uncertainty of each average. `noise` is that of one sample, and the factor by which neighbouring averages go
/// together.
fn sigmas(blocks: &Blocks, noise: (f64, f64)) -> Vec<f64> {
    let one = |count: f64, rounding: f64| {
        root_sum_square(&[noise.0 * noise.1 / count.sqrt(), rounding, MODEL_FLOOR_MBAR])
    };
    blocks
        .counts
        .iter()
        .zip(&blocks.rounding_mbar)
        .zip(&blocks.stretch)
        .map(|((count, rounding), stretch)| stretch * one(*count, *rounding))
        .collect()
}

/// Solves for the sizes of the terms.
fn solve(terms: &[Term], blocks: &Blocks, sigmas: &[f64]) -> Option<(Vec<f64>, Solved)> {
    let at = |row: usize, column: usize| blocks.rows.get(row).and_then(|row| row.get(column)).copied();
    let design = DMatrix::from_fn(sigmas.len(), terms.len(), |row, column| {
        let (sd, sigma) = (terms.get(column).map_or(0.0, |term| term.sd), sigmas.get(row).copied());
        at(row, column).unwrap_or_default() * sd / sigma.unwrap_or(1.0)
    });
    let seen = blocks.rows.iter().zip(&blocks.pressure_mbar).zip(sigmas).map(|((row, pressure), sigma)| {
        let expected: f64 = row.iter().zip(terms).map(|(value, term)| value * term.mean).sum();
        (pressure - expected) / sigma
    });
    let solved = least_squares(&design, &DVector::from_iterator(sigmas.len(), seen))?;
    let sizes = terms.iter().zip(solved.mean.iter()).map(|(term, z)| term.mean + term.sd * z).collect();
    Some((sizes, solved))
}

/// Noise of one sample from the misfit of the averages, and how far neighbouring misfits go together.
fn updated_noise(blocks: &Blocks, sizes: &[f64], solved: &Solved, before: (f64, f64)) -> (f64, f64) {
    let misfit: Vec<f64> = blocks
        .rows
        .iter()
        .zip(&blocks.pressure_mbar)
        .map(|(row, pressure)| {
            pressure - row.iter().zip(sizes).map(|(value, size)| value * size).sum::<f64>()
        })
        .collect();
    let freedom: f64 = solved.leverage.iter().map(|share| 1.0 - share).sum();
    if freedom < 3.0 {
        return before;
    }
    // Per sample, what rounding explains taken off. Divided by one less than the degrees of freedom: that makes up for
    // Student's wider tails where there are few.
    let unexplained: f64 = misfit
        .iter()
        .zip(&blocks.counts)
        .zip(&blocks.rounding_mbar)
        .map(|((misfit, count), rounding)| (misfit * misfit - rounding * rounding) * count)
        .sum();
    let white = (unexplained / (freedom - 1.0).max(1.0)).max(0.0).sqrt();
    let total: f64 = misfit.iter().map(|misfit| misfit * misfit).sum();
    let pairs: f64 = misfit.windows(2).map(|pair| pair.iter().product::<f64>()).sum();
    // A fit with several terms bends the misfits against each other, and chance alone makes half of all estimates
    // positive; the two corrections are of the order of one, and of half a standard deviation of such an estimate.
    #[expect(clippy::cast_precision_loss, reason = "block counts are below 48")]
    let count = misfit.len().max(1) as f64;
    let together = (pairs / total.max(1e-12) + 1.0 / count - 0.5 / count.sqrt()).clamp(0.0, 0.8);
    (white, ((1.0 + together) / (1.0 - together)).sqrt())
}

/// Gathers what one round has found.
fn outcome(terms: &[Term], blocks: &Blocks, sigmas: &[f64], sizes: Vec<f64>, solved: &Solved) -> Outcome {
    let sds = DMatrix::from_diagonal(&DVector::from_iterator(terms.len(), terms.iter().map(|term| term.sd)));
    let covariance = &sds * &solved.covariance * &sds;
    let leak_sd = terms.get(LEAK).map_or(0.0, |term| term.sd);
    let weight = |at: usize| solved.weights.get((LEAK, at)).copied().unwrap_or_default() * leak_sd;
    let rows = sigmas.len();
    let of_blocks: f64 = (0..rows).map(|row| weight(row).powi(2)).sum();
    let rounding_variance: f64 = sigmas
        .iter()
        .zip(&blocks.rounding_mbar)
        .zip(&blocks.stretch)
        .enumerate()
        .map(|(row, ((sigma, rounding), stretch))| (weight(row) * stretch * rounding / sigma).powi(2))
        .sum();
    Outcome {
        slope: sizes.get(LEAK).copied().unwrap_or_default(),
        slope_sd: covariance.get((LEAK, LEAK)).copied().unwrap_or(f64::INFINITY).sqrt(),
        noise_variance: of_blocks - rounding_variance,
        rounding_variance,
        term_variance: (0..terms.len()).map(|term| weight(rows + term).powi(2)).collect(),
        second_noise_mbar: 0.0,
        window_s: (0.0, 0.0),
        fast: false,
        terms: terms.to_vec(),
        sizes,
        covariance,
    }
}
