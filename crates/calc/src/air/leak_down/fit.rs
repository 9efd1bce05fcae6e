//! Linear least squares with zero- or known-mean priors, on averages of the samples.

use nalgebra::{DMatrix, DVector};

use super::basis::{Setting, Shape, Term};
use super::drift::Drift;
use super::series::{SAMPLES_THAT_SHOW_NOISE, Series};

/// Most averages that the samples are gathered into.
const MOST_BLOCKS: usize = 48;
/// The window starts after so many of the slowest time constants, and ends when the gauge pressure has fallen to a
/// share of its start; a fast leak brings the start forward.
const QUIET_AFTER_TAUS: f64 = 4.0;
const LATEST_START_OF_TRACE: f64 = 0.4;
const FAST_LEAK_SHARE: f64 = 0.75;
const EMPTY_SHARE: f64 = 0.2;
/// What a gauge shows that rests on a step, and one that flickers between two, in independent readings.
const READINGS_OF_A_REST: f64 = 5.0;
const READINGS_OF_A_FLICKER: f64 = 10.0;
/// No fit is better than this, mbar per average.
const MODEL_FLOOR_MBAR: f64 = 0.02;
/// The law of the leak (crack or hole) is known to this share of the rate, between -1 and 1.
const LAW_SD: f64 = 0.6;

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

/// Averages over consecutive samples.
struct Blocks {
    time_s: Vec<f64>,
    pressure_mbar: Vec<f64>,
    /// Value of each term, one row per block.
    rows: Vec<Vec<f64>>,
    /// Samples in each block.
    counts: Vec<f64>,
    /// Standard uncertainty of each average from rounding by the gauge's step.
    rounding_mbar: Vec<f64>,
    /// By how much an error of each block weighs more than its size.
    stretch: Vec<f64>,
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

/// Fits leak, settling and drift to the samples.
pub(super) fn fit(setting: &Setting, drift: &Drift, series: &Series) -> Outcome {
    let leaked = leaked_seconds(setting, series);
    let (window_s, fast) = window(setting, series);
    let range = (series.start_mbar() - series.end_mbar()).abs();
    let watched = (window_s.1 - window_s.0).max(1e-3);
    let flat_slope = 20.0 * (range + 10.0 + series.noise_mbar) / watched;
    let mut terms = vec![
        Term { shape: Shape::Level, mean: 0.0, sd: 20.0 * (range + 10.0 + series.noise_mbar) },
        Term { shape: Shape::Leak, mean: 0.0, sd: flat_slope },
        Term { shape: Shape::Law, mean: 0.0, sd: LAW_SD * range / watched.max(1.0) },
    ];
    terms.extend(setting.settling());
    terms.extend(drift.terms(setting));
    let blocks = gather(setting, drift, series, &terms, &leaked, window_s);
    let mut outcome = None;
    let mut noise = (series.noise_mbar, 1.0);
    for _ in 0..4 {
        let sigmas: Vec<f64> = blocks
            .counts
            .iter()
            .zip(&blocks.stretch)
            .zip(&blocks.rounding_mbar)
            .map(|((count, stretch), rounding)| stretch * sigma(noise, *count, *rounding))
            .collect();
        let Some((found, solved)) = solve(&terms, &blocks, &sigmas) else { break };
        if series.len() >= SAMPLES_THAT_SHOW_NOISE {
            noise = updated_noise(&blocks, &found, &solved, noise);
        }
        let slope = found.get(1).copied().unwrap_or_default();
        if let Some(law) = terms.get_mut(2) {
            law.sd = LAW_SD * slope.abs();
        }
        outcome = Some((found, solved, sigmas));
    }
    summary(terms, &blocks, outcome, noise, window_s, fast)
}

/// Seconds of leak at the start pressure that each sample has behind it: through a crack and through a hole, by the
/// trapezoidal rule on the measured pressures.
fn leaked_seconds(setting: &Setting, series: &Series) -> Vec<(f64, f64)> {
    if series.two_readings {
        return vec![(0.0, 0.0), setting.leaked_between(series.end_mbar())];
    }
    let mut sum = (0.0, 0.0);
    let mut before: Option<(f64, (f64, f64))> = None;
    let mut list = Vec::with_capacity(series.len());
    for (time, pressure) in series.samples() {
        let now = setting.relative_leak(pressure);
        if let Some((earlier, rate)) = before {
            let half = (time - earlier) / 2.0;
            sum = (sum.0 + half * (rate.0 + now.0), sum.1 + half * (rate.1 + now.1));
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

/// Averages pressures and terms over the samples of the window.
fn gather(
    setting: &Setting,
    drift: &Drift,
    series: &Series,
    terms: &[Term],
    leaked: &[(f64, f64)],
    window_s: (f64, f64),
) -> Blocks {
    let inside: Vec<(f64, f64, (f64, f64))> = series
        .samples()
        .zip(leaked)
        .filter(|((time, _), _)| window_s.0 <= *time && *time <= window_s.1)
        .map(|((time, pressure), leaked)| (time, pressure, *leaked))
        .collect();
    let size = inside.len().div_ceil(MOST_BLOCKS).max(1);
    let mut blocks = Blocks {
        time_s: vec![],
        pressure_mbar: vec![],
        rows: vec![],
        counts: vec![],
        rounding_mbar: vec![],
        stretch: vec![],
    };
    let mut moves = Vec::new();
    for chunk in inside.chunks(size) {
        #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
        let count = chunk.len() as f64;
        let mean =
            |value: &dyn Fn(&(f64, f64, (f64, f64))) -> f64| chunk.iter().map(value).sum::<f64>() / count;
        let row = terms.iter().map(|term| {
            mean(&|(time, _, (crack, hole))| match term.shape {
                Shape::Leak => -(crack + hole) / 2.0,
                Shape::Law => -(crack - hole) / 2.0,
                shape => setting.value(shape, *time),
            })
        });
        blocks.rows.push(row.collect());
        blocks.time_s.push(mean(&|(time, _, _)| *time));
        blocks.pressure_mbar.push(mean(&|(time, pressure, _)| {
            pressure - drift.known_mbar(setting, *time, *pressure) - series.start_mbar()
        }));
        blocks.counts.push(count);
        blocks.stretch.push(1.0);
        moves.push(Moves::of(chunk.iter().map(|(_, pressure, _)| *pressure)));
    }
    blocks.rounding_mbar = rounding_mbar(series.step_mbar, &moves);
    if series.two_readings
        && let (Some(last), Some((_, _, leaked))) = (blocks.stretch.last_mut(), inside.last())
    {
        // Near empty, a small error of the last pressure is a large one of the time that it stands for.
        let (crack, hole) = setting.relative_leak(series.end_mbar());
        *last = (leaked.0 + leaked.1) / (setting.duration_s * (crack + hole)).max(1e-9);
    }
    blocks
}

/// How a gauge moved while the samples of one average were taken.
#[derive(Clone, Copy, Debug, Default)]
struct Moves {
    /// How often neighbouring samples differ.
    changes: u32,
    /// Distance of the highest from the lowest.
    span_mbar: f64,
}

impl Moves {
    fn of(pressures: impl Iterator<Item = f64>) -> Self {
        let mut before: Option<f64> = None;
        let (mut low, mut high, mut changes) = (f64::INFINITY, f64::NEG_INFINITY, 0);
        for pressure in pressures {
            changes += u32::from(before.is_some_and(|before| (pressure - before).abs() > 1e-7));
            before = Some(pressure);
            (low, high) = (low.min(pressure), high.max(pressure));
        }
        Self { changes, span_mbar: high - low }
    }
}

/// Standard uncertainty of each average from rounding by the gauge's step. Where noise makes the gauge flicker over
/// several steps, roundings average out; between two steps they do so only in part. While the gauge rests, one rounding
/// is repeated, so a rest counts as a few readings however long it lasts.
fn rounding_mbar(step_mbar: f64, moves: &[Moves]) -> Vec<f64> {
    let one = step_mbar * step_mbar / 12.0;
    let mut list = Vec::with_capacity(moves.len());
    let kind = |moved: &Moves| (moved.changes > 0, moved.span_mbar < 1.5 * step_mbar);
    for alike in moves.chunk_by(|a, b| kind(a) == kind(b)) {
        #[expect(clippy::cast_precision_loss, reason = "block counts are below 48")]
        let length = alike.len() as f64;
        for moved in alike {
            let readings = 0.5 + 0.5 * f64::from(moved.changes);
            let variance = match kind(moved) {
                (false, _) => one * (length / READINGS_OF_A_REST).max(1.0),
                (true, true) => one * (length / READINGS_OF_A_FLICKER).max(1.0 / readings.min(1.2)),
                (true, false) => one / readings,
            };
            list.push(variance.sqrt());
        }
    }
    list
}

/// Standard uncertainty of an average of so many samples. `noise` is that of one sample, and the factor by which
/// neighbouring averages go together.
fn sigma(noise: (f64, f64), count: f64, rounding: f64) -> f64 {
    let white = noise.0 * noise.1 / count.sqrt();
    (white * white + rounding * rounding + MODEL_FLOOR_MBAR * MODEL_FLOOR_MBAR).sqrt()
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
    // Per sample, what rounding explains taken off. Divided by two less than the degrees of freedom: that makes up for
    // Student's wider tails where there are few.
    let unexplained: f64 = misfit
        .iter()
        .zip(&blocks.counts)
        .zip(&blocks.rounding_mbar)
        .map(|((misfit, count), rounding)| (misfit * misfit - rounding * rounding) * count)
        .sum();
    let white = (unexplained / (freedom - 2.0).max(1.0)).max(0.0).sqrt();
    let total: f64 = misfit.iter().map(|misfit| misfit * misfit).sum();
    let pairs: f64 = misfit.windows(2).map(|pair| pair.iter().product::<f64>()).sum();
    // A fit with several terms bends the misfits against each other; one over the number of averages makes up for it.
    #[expect(clippy::cast_precision_loss, reason = "block counts are below 48")]
    let together = (pairs / total.max(1e-12) + 1.0 / misfit.len().max(1) as f64).clamp(0.0, 0.8);
    (white, ((1.0 + together) / (1.0 - together)).sqrt())
}

/// Gathers what the fit found.
fn summary(
    terms: Vec<Term>,
    blocks: &Blocks,
    outcome: Option<(Vec<f64>, Solved, Vec<f64>)>,
    noise: (f64, f64),
    window_s: (f64, f64),
    fast: bool,
) -> Outcome {
    let count = terms.len();
    let Some((sizes, solved, sigmas)) = outcome else {
        return Outcome {
            slope: 0.0,
            slope_sd: f64::INFINITY,
            sizes: vec![0.0; count],
            covariance: DMatrix::zeros(count, count),
            noise_variance: f64::INFINITY,
            rounding_variance: 0.0,
            term_variance: vec![0.0; count],
            second_noise_mbar: noise.0,
            window_s,
            fast,
            terms,
        };
    };
    let sds = DMatrix::from_diagonal(&DVector::from_iterator(count, terms.iter().map(|term| term.sd)));
    let covariance = &sds * &solved.covariance * &sds;
    let leak_sd = terms.get(1).map_or(0.0, |term| term.sd);
    let weight = |at: usize| solved.weights.get((1, at)).copied().unwrap_or_default() * leak_sd;
    let rows = sigmas.len();
    let of_rounding: f64 = sigmas
        .iter()
        .zip(&blocks.rounding_mbar)
        .zip(&blocks.stretch)
        .enumerate()
        .map(|(row, ((sigma, rounding), stretch))| (weight(row) * stretch * rounding / sigma).powi(2))
        .sum();
    let of_blocks: f64 = (0..rows).map(|row| weight(row).powi(2)).sum();
    let span = (window_s.1 - window_s.0).max(1e-3);
    let samples: f64 = blocks.counts.iter().sum();
    Outcome {
        slope: sizes.get(1).copied().unwrap_or_default(),
        slope_sd: covariance.get((1, 1)).copied().unwrap_or(f64::INFINITY).sqrt(),
        noise_variance: of_blocks - of_rounding,
        rounding_variance: of_rounding,
        term_variance: (0..count).map(|term| weight(rows + term).powi(2)).collect(),
        second_noise_mbar: noise.0 * noise.1 / (samples / span).max(1e-6).sqrt(),
        window_s,
        fast,
        sizes,
        covariance,
        terms,
    }
}
