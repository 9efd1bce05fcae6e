//! Fits the heat-balance model to a falling pressure.

use super::least_squares::{Minimum, minimise};
use super::model::{Curve, Heat, Vessel, emptying_number, wall_rate};
use super::samples::Prepared;
use crate::numeric::math;

/// Logarithm of conductance, critical ratio, opening time, logarithm of wall heat, start pressure, gauge zero, warming,
/// gauge lag over time constant, how wall heat goes with density.
const UNKNOWNS: usize = 9;

/// What the fit is told beforehand. Pressures in bar, times in s, volume in dm3.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setup {
    pub volume: f64,
    /// Wall heat in W/(m3 K): middle and standard deviation of the logarithm.
    pub wall_w_m3_k: (f64, f64),
    pub critical_ratio: (f64, f64),
    /// Middle and standard deviation of [`Vessel::warming`].
    pub warming: (f64, f64),
    pub pressure_exponent: f64,
    /// Lag of the gauge, if known.
    pub lag_s: Option<f64>,
    pub zero_standard: f64,
    pub wall_temperature: f64,
    pub atmosphere: f64,
    /// How far real flow and heat differ from the model, as a share of the starting gauge pressure.
    pub model_share: f64,
}

/// What the fit found.
#[derive(Clone, Debug)]
pub(super) struct Fitted {
    pub ln_conductance: f64,
    /// Standard deviation of the logarithm, from noise, priors and the distance between rival minima.
    pub standard_ln: f64,
    pub critical_ratio: (f64, f64),
    pub opened_s: f64,
    pub zero: f64,
    pub vessel: Vessel,
    pub chi_square: f64,
    pub degrees_of_freedom: f64,
}

/// In how many independent places of the curve the model may differ from the truth.
const MODEL_PLACES: f64 = 8.0;

/// The best fit out of several starts, or nothing if none came to an end.
pub(super) fn fit(data: &Prepared, setup: &Setup) -> Option<Fitted> {
    let last = data.fall.last()?;
    let first = data.fall.first()?;
    let problem = Problem { data, setup, until_s: last.time_s - data.before_fall_s + 3.0 * data.interval_s };
    let starts =
        [(Heat::Full, 1.0, 0.0), (Heat::None, -1.0, 0.3), (Heat::Full, 1.0, 0.3), (Heat::None, -1.0, 0.0)];
    let mut found: Vec<Minimum<UNKNOWNS>> = Vec::new();
    for (heat, wall, shift) in starts {
        if agree(&found) {
            break;
        }
        let start = data.rest + setup.atmosphere;
        let number = |to: f64| {
            emptying_number(start, to + setup.atmosphere, setup.atmosphere, setup.critical_ratio.0, heat)
        };
        let (early, late) = (number(first.pressure), number(last.pressure));
        let constant = (last.time_s - first.time_s) / (late - early).max(1e-9);
        if constant <= 0.0 {
            continue;
        }
        let begin = [
            math::ln(setup.volume / constant),
            setup.critical_ratio.0,
            first.time_s - constant * (early + shift),
            math::ln(setup.wall_w_m3_k.0) + wall * setup.wall_w_m3_k.1,
            start,
            0.0,
            setup.warming.0,
            lag_prior(setup.lag_s, constant).0,
            WALL_EXPONENT.0,
        ];
        let scales = [0.01, 0.02, 0.01 * constant, 0.05, 0.01, 0.003, 0.05, 0.01, 0.05];
        found.extend(minimise(|unknowns| problem.residuals(unknowns), begin, scales));
    }
    let best = found.iter().min_by(|a, b| a.sum_of_squares.total_cmp(&b.sum_of_squares))?;
    Some(problem.summary(best, &found))
}

/// How wall heat goes with the density of the gas: between a constant coefficient and free turbulent convection.
pub(super) const WALL_EXPONENT: (f64, f64) = (0.33, 0.19);
/// Lag of a pressure sensor with its line where it is not known, and its standard deviation.
const UNKNOWN_LAG_S: f64 = 0.02;

/// Middle and standard deviation of the gauge lag as a share of the time constant.
fn lag_prior(lag_s: Option<f64>, constant_s: f64) -> (f64, f64) {
    match lag_s {
        Some(lag) => (lag / constant_s, 0.2 * lag / constant_s + 0.005),
        None => {
            let usual = UNKNOWN_LAG_S / constant_s;
            (usual.min(0.05), usual.min(0.03))
        }
    }
}

/// Whether the runs from the two ends, little and much wall heat, came to the same place: then there is one minimum.
fn agree(found: &[Minimum<UNKNOWNS>]) -> bool {
    match found {
        [one, two] => {
            (one.sum_of_squares - two.sum_of_squares).abs() < 0.05
                && (one.parameters[0] - two.parameters[0]).abs() < 0.002
        }
        _ => false,
    }
}

struct Problem<'a> {
    data: &'a Prepared,
    setup: &'a Setup,
    until_s: f64,
}

impl Problem<'_> {
    fn vessel(&self, unknowns: &[f64; UNKNOWNS]) -> Vessel {
        let [ln_conductance, critical_ratio, _, ln_wall, start, _, warming, _, wall_exponent] = *unknowns;
        Vessel {
            conductance: math::exp(ln_conductance),
            critical_ratio: critical_ratio.clamp(0.0, 0.8),
            pressure_exponent: self.setup.pressure_exponent,
            volume: self.setup.volume,
            wall_bar_s_k: wall_rate(math::exp(ln_wall.clamp(-5.0, 15.0))),
            wall_exponent: wall_exponent.clamp(-1.0, 2.0),
            warming: warming.clamp(-0.5, 1.5),
            wall_temperature: self.setup.wall_temperature,
            start: start.max(self.setup.atmosphere * 1.01),
            outlet: self.setup.atmosphere,
        }
    }

    /// Misses of the samples and of what was known before, each in units of its standard deviation.
    fn residuals(&self, unknowns: &[f64; UNKNOWNS]) -> Vec<f64> {
        let [_, critical_ratio, opened_s, ln_wall, start, zero, warming, lag, wall_exponent] = *unknowns;
        let vessel = self.vessel(unknowns);
        let constant = self.setup.volume / vessel.conductance;
        let curve = self.curve(&vessel, opened_s, lag);
        let mut misses = self.sample_misses(&curve, opened_s, zero);
        let (ratio, ratio_standard) = self.setup.critical_ratio;
        let (wall, wall_standard) = self.setup.wall_w_m3_k;
        let (lag_middle, lag_standard) = lag_prior(self.setup.lag_s, constant);
        let (rest, rest_standard) = self.start();
        misses.push((critical_ratio - ratio) / ratio_standard);
        misses.push((ln_wall - math::ln(wall)) / wall_standard);
        misses.push((wall_exponent - WALL_EXPONENT.0) / WALL_EXPONENT.1);
        misses.push((lag - lag_middle) / lag_standard);
        misses.push((warming - self.setup.warming.0) / self.setup.warming.1);
        misses.push((start - rest) / rest_standard);
        misses.push(zero / self.setup.zero_standard.max(1e-5));
        // The valve opened some time around the last sample at rest: gauge lag, valve and filling of the circuit shift it.
        let slack = 0.5 * constant + 2.0 * self.data.interval_s;
        misses.push((opened_s - self.data.before_fall_s) / slack);
        misses
    }

    /// What the gauge shows of the vessel; `lag` is a share of the time constant.
    fn curve(&self, vessel: &Vessel, opened_s: f64, lag: f64) -> Curve {
        let until_s = self.until_s.max(1e-6) + (self.data.before_fall_s - opened_s).max(0.0);
        let constant = self.setup.volume / vessel.conductance;
        vessel.curve(until_s).lagged(lag.clamp(0.0, 0.5) * constant)
    }

    /// Pressure at the opening. Without samples from before it, the first sample is already on its way down.
    fn start(&self) -> (f64, f64) {
        let rest = self.data.rest + self.setup.atmosphere;
        if self.data.rest_seen {
            (rest, (self.data.rest_standard + 0.002).max(1e-4))
        } else {
            (rest * 1.03, rest * 0.04)
        }
    }

    fn sample_misses(&self, curve: &Curve, opened_s: f64, zero: f64) -> Vec<f64> {
        let samples = &self.data.fall;
        #[expect(clippy::cast_precision_loss, reason = "at most a few hundred")]
        let count = samples.len() as f64;
        let model = self.setup.model_share * self.data.rest * (count / MODEL_PLACES).max(1.0).sqrt();
        samples
            .iter()
            .map(|sample| {
                let expected = curve.at(sample.time_s - opened_s) - self.setup.atmosphere + zero;
                let spread = (sample.standard * sample.standard + model * model).sqrt();
                (sample.pressure - expected) / spread
            })
            .collect()
    }

    fn summary(&self, best: &Minimum<UNKNOWNS>, all: &[Minimum<UNKNOWNS>]) -> Fitted {
        let [ln_conductance, _, opened_s, _, _, zero, _, lag, _] = best.parameters;
        let vessel = self.vessel(&best.parameters);
        let curve = self.curve(&vessel, opened_s, lag);
        let misses = self.sample_misses(&curve, opened_s, zero);
        #[expect(clippy::cast_precision_loss, reason = "at most a few hundred")]
        let degrees_of_freedom = (misses.len() as f64 - 3.0).max(1.0);
        // Rival minima count with their likelihood: two that fit alike widen the interval to hold both.
        let (mut weights, mut apart) = (0.0, 0.0);
        for other in all {
            let weight = math::exp(-0.5 * (other.sum_of_squares - best.sum_of_squares));
            let distance = other.parameters[0] - ln_conductance;
            weights += weight;
            apart += weight * distance * distance;
        }
        Fitted {
            ln_conductance,
            standard_ln: (best.covariance[(0, 0)] + apart / weights).sqrt(),
            critical_ratio: (vessel.critical_ratio, best.covariance[(1, 1)].sqrt()),
            opened_s,
            zero,
            vessel,
            chi_square: misses.iter().map(|miss| miss * miss).sum(),
            degrees_of_freedom,
        }
    }
}
