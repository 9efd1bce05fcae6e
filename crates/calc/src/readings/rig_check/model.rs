//! All combinations of sound and drifted instruments, each a linear model with normal errors, weighed by the readings.

use nalgebra::{SMatrix, SVector};

use super::rows::Row;
use super::{INSTRUMENTS, Instrument, InstrumentState, Stated};
use crate::estimate::Estimate;
use crate::numeric::{math, stats};
use crate::quantity::FlowFactor;

/// Errors as they were, and drifts since.
const STATES: usize = 2 * INSTRUMENTS;
/// Pressure at which a gauge's slope counts, bar.
pub(super) const FULL_BAR: f64 = 6.0;
/// 98 % two-sided quantile of the normal distribution: what an honest uncertainty allows.
const ALLOWED: f64 = 2.326_347_874_040_841;
/// How far a drift goes, in stated uncertainties, and at least (own proposal).
const DRIFT_STATED: f64 = 5.0;
const HALVINGS: u32 = 60;

/// What is believed of one error before the readings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Standard uncertainty where the instrument is sound.
    pub sound: f64,
    /// Standard deviation of a drift.
    pub drift: f64,
    /// Probability of a drift.
    pub probability: f64,
    /// Beyond this an error is more than was stated.
    pub limit: f64,
    /// Only the change since the earlier reading counts: nothing is stated.
    pub change_only: bool,
}

/// Scales of all errors. Smallest uncertainties keep a rig that states 0 from being called drifted for a rounding.
pub(super) fn scales(stated: &Stated, nominal: Option<FlowFactor>) -> [Scale; INSTRUMENTS] {
    let scale = |sound: f64, stated: f64, least_drift: f64, probability: f64| Scale {
        sound,
        drift: (DRIFT_STATED * stated).max(least_drift),
        probability,
        limit: ALLOWED * stated,
        change_only: false,
    };
    // A gauge's uncertainty is half zero, half slope at full pressure, in squares.
    let bar = stated.pressure_bar.max(0.002);
    let part = bar * core::f64::consts::FRAC_1_SQRT_2;
    let zero = scale(part, bar, 0.1, 0.03);
    let gain = scale(part / FULL_BAR, bar / FULL_BAR, 0.02, 0.03);
    let meter = stated.flow_relative.max(0.001);
    let fixture = stated.fixture.map(|(_, relative)| relative.max(0.003));
    let hoses = match fixture {
        Some(relative) => scale(relative, relative, 0.15, 0.05),
        // An earlier run names the fixture; how true that is in itself does not matter.
        None => Scale { change_only: true, sound: 0.3, ..scale(0.03, 0.03, 0.15, 0.05) },
    };
    let hoses = Scale { probability: if nominal.is_some() { hoses.probability } else { 0.0 }, ..hoses };
    let kelvin = stated.temperature_k.max(0.05);
    [scale(meter, meter, 0.05, 0.05), zero, gain, zero, gain, hoses, scale(kelvin, kelvin, 1.0, 0.03)]
}

/// One combination after the readings.
#[derive(Clone, Debug)]
struct Part {
    weight: f64,
    drifted: usize,
    mean: SVector<f64, INSTRUMENTS>,
    covariance: SMatrix<f64, INSTRUMENTS, INSTRUMENTS>,
}

/// All combinations after the readings.
#[derive(Clone, Debug)]
pub(super) struct Posterior {
    parts: Vec<Part>,
    pub fit_probability: f64,
}

/// Bayes' rule over all combinations; rows are taken one after the other, which needs no matrix to be inverted.
pub(super) fn posterior(scales: &[Scale; INSTRUMENTS], rows: &[Row]) -> Posterior {
    let mut parts = Vec::with_capacity(1 << INSTRUMENTS);
    let mut fit_probability = 1.0;
    for drifted in 0..(1_usize << INSTRUMENTS) {
        let (part, ln_weight, misfit) = combination(scales, rows, drifted);
        if drifted == 0 {
            fit_probability = stats::chi_squared_above(misfit, rows.len() as f64);
        }
        parts.push((ln_weight, part));
    }
    let most = parts.iter().map(|part| part.0).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = parts.iter().map(|part| math::exp(part.0 - most)).sum();
    let parts = parts
        .into_iter()
        .map(|(ln_weight, part)| Part { weight: math::exp(ln_weight - most) / sum, ..part })
        .filter(|part| part.weight > 1e-12)
        .collect();
    Posterior { parts, fit_probability }
}

fn combination(scales: &[Scale; INSTRUMENTS], rows: &[Row], drifted: usize) -> (Part, f64, f64) {
    let mut mean = SVector::<f64, STATES>::zeros();
    let mut covariance = SMatrix::<f64, STATES, STATES>::zeros();
    let mut ln_weight = 0.0;
    for (at, scale) in scales.iter().enumerate() {
        let drifts = drifted >> at & 1 == 1;
        covariance[(at, at)] = scale.sound * scale.sound;
        covariance[(INSTRUMENTS + at, INSTRUMENTS + at)] =
            if drifts { scale.drift * scale.drift } else { 0.0 };
        ln_weight += math::ln(if drifts { scale.probability } else { 1.0 - scale.probability }.max(1e-300));
    }
    let mut misfit = 0.0;
    for row in rows {
        let mut weights = SVector::<f64, STATES>::zeros();
        for (at, weight) in row.weights.iter().enumerate() {
            weights[at] = *weight;
            weights[INSTRUMENTS + at] = if row.earlier { 0.0 } else { *weight };
        }
        let spread = covariance * weights;
        let variance = weights.dot(&spread) + row.noise * row.noise;
        let miss = row.deviation - weights.dot(&mean);
        mean += spread * (miss / variance);
        covariance -= spread * spread.transpose() / variance;
        misfit += miss * miss / variance;
        ln_weight -= 0.5 * (miss * miss / variance + math::ln(variance));
    }
    // The error of today is what it was and the drift; where nothing is stated, the drift alone.
    let mut today = SMatrix::<f64, INSTRUMENTS, STATES>::zeros();
    for (at, scale) in scales.iter().enumerate() {
        today[(at, at)] = if scale.change_only { 0.0 } else { 1.0 };
        today[(at, INSTRUMENTS + at)] = 1.0;
    }
    let part =
        Part { weight: 0.0, drifted, mean: today * mean, covariance: today * covariance * today.transpose() };
    (part, ln_weight, misfit)
}

impl Posterior {
    /// Each error with its interval and its probability of being more than was stated.
    pub fn states(&self, scales: &[Scale; INSTRUMENTS], rows: &[Row]) -> Vec<InstrumentState> {
        let (mean, covariance) = self.moments();
        Instrument::ALL
            .iter()
            .zip(scales)
            .enumerate()
            .map(|(at, (instrument, scale))| {
                let below = |x: f64| self.below(at, x);
                let standard = covariance[(at, at)].max(0.0).sqrt();
                let (center, reach) = (mean[at], 40.0 * standard + scale.limit);
                let quantile = |p: f64| quantile(&below, p, center - reach, center + reach);
                InstrumentState {
                    instrument: *instrument,
                    error: Estimate {
                        value: center,
                        low: quantile(0.025).min(center),
                        high: quantile(0.975).max(center),
                        coverage: 0.95,
                    },
                    root_mean_square: (center * center + standard * standard).sqrt(),
                    standard,
                    drifted: (below(-scale.limit) + 1.0 - below(scale.limit)).clamp(0.0, 1.0),
                    checked: rows.iter().any(|row| {
                        !row.earlier && row.weights.get(at).is_some_and(|weight| weight.abs() > 0.0)
                    }),
                }
            })
            .collect()
    }

    /// Probability that one error is below `x`.
    fn below(&self, at: usize, x: f64) -> f64 {
        self.parts
            .iter()
            .map(|part| {
                let standard = part.covariance[(at, at)].max(1e-24).sqrt();
                part.weight * stats::normal_below((x - part.mean[at]) / standard)
            })
            .sum()
    }

    /// Mean and covariance of the whole mixture.
    pub fn moments(&self) -> (SVector<f64, INSTRUMENTS>, SMatrix<f64, INSTRUMENTS, INSTRUMENTS>) {
        let mean = self
            .parts
            .iter()
            .fold(SVector::<f64, INSTRUMENTS>::zeros(), |sum, part| sum + part.mean * part.weight);
        let covariance =
            self.parts.iter().fold(SMatrix::<f64, INSTRUMENTS, INSTRUMENTS>::zeros(), |sum, part| {
                let off = part.mean - mean;
                sum + (part.covariance + off * off.transpose()) * part.weight
            });
        (mean, covariance)
    }

    /// The meter's error in each part that matters.
    pub fn meter_parts(&self) -> Vec<(f64, f64, f64, bool)> {
        self.parts
            .iter()
            .filter(|part| part.weight > 1e-6)
            .map(|part| {
                let standard = part.covariance[(0, 0)].max(0.0).sqrt();
                (part.weight, part.mean[0], standard, part.drifted & 1 == 1)
            })
            .collect()
    }
}

fn quantile(below: &dyn Fn(f64) -> f64, p: f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if below(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}
