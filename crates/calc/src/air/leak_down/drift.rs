//! Slow changes that look like a leak: temperature of mould and hoses, air pressure of the day, drift of the gauge.

use nalgebra::{DMatrix, DVector};

use super::basis::{Setting, Shape, Term};
use super::fit::least_squares;
use super::series::{independent_roundings, neighbour_noise};
use super::{DecayData, LeakDownInput};
use crate::estimate::root_sum_square;

/// Drift of the temperature of a mould that has rested in the hall, standard deviation in K/min. Assumption.
const RESTED_K_PER_MIN: f64 = 0.05;
/// The same where nobody took the steel's temperature: it may come from the press.
const UNKNOWN_K_PER_MIN: f64 = 0.08;
/// A warm mould cools towards the hall with about this time constant. Assumption.
const COOLING_MIN: f64 = 180.0;
/// Temperature of the hall, and how far off it may be.
const HALL_DEG_C: f64 = 20.0;
const HALL_SD_K: f64 = 3.0;
/// Drift of hoses in the hall's air, K/min.
const HOSE_K_PER_MIN: f64 = 0.05;
/// A thermometer follows the gas with this relative uncertainty, and drifts by so much in one reading.
const FOLLOWING_RELATIVE: f64 = 0.1;
/// The same where the share of hose is not known.
const UNKNOWN_HOSE_FOLLOWING: f64 = 0.4;
const THERMOMETER_DRIFT_K: f64 = 0.005;
const STILL_THERMOMETER_STEP_K: f64 = 0.1;
/// Air pressure of the day, mbar/min (weather, doors): it moves every gauge that reads against it.
const WEATHER_MBAR_PER_MIN: f64 = 0.03;

/// Known and unknown drift.
#[derive(Clone, Debug)]
pub(super) struct Drift {
    /// Known warming of the gas, K per half of the time watched, straight and bent.
    straight_k: f64,
    bent_k: f64,
    bent_sd_k: f64,
    /// Unknown slope from temperature, mbar/s.
    pub temperature_sd_mbar_s: f64,
    /// Unknown slope from gauge and weather, mbar/s.
    pub gauge_sd_mbar_s: f64,
}

impl Drift {
    pub(super) fn of(input: &LeakDownInput<'_>, setting: &Setting) -> Self {
        let gauge = root_sum_square(&[input.gauge.drift_per_minute.mbar(), WEATHER_MBAR_PER_MIN]) / 60.0;
        let hose = setting.share_or_usual() * HOSE_K_PER_MIN / 60.0;
        let prior_k_s = prior_k_per_min(input) / 60.0;
        // A thermometer on the steel says nothing about the air in the hoses.
        let (in_steel, following) = match setting.hose_share {
            Some(share) => (1.0 - share, FOLLOWING_RELATIVE * (1.0 - share)),
            None => (1.0, UNKNOWN_HOSE_FOLLOWING),
        };
        let half = setting.duration_s / 2.0;
        let logged = match input.decay {
            DecayData::Trace(trace) => trace.temperatures(),
            DecayData::TwoReadings { .. } => None,
        };
        let Some(seen) = logged.and_then(|(time, degrees)| Seen::fit(&time, &degrees, setting, prior_k_s))
        else {
            let slope = root_sum_square(&[in_steel * prior_k_s, hose]);
            return Self {
                straight_k: 0.0,
                bent_k: 0.0,
                bent_sd_k: 0.0,
                temperature_sd_mbar_s: slope * setting.mbar_per_k(),
                gauge_sd_mbar_s: gauge,
            };
        };
        let slope = root_sum_square(&[
            in_steel * seen.straight_sd_k / half,
            following * seen.straight_k / half,
            THERMOMETER_DRIFT_K / setting.duration_s,
            hose,
        ]);
        Self {
            straight_k: in_steel * seen.straight_k,
            bent_k: in_steel * seen.bent_k,
            bent_sd_k: root_sum_square(&[in_steel * seen.bent_sd_k, following * seen.bent_k]),
            temperature_sd_mbar_s: slope * setting.mbar_per_k(),
            gauge_sd_mbar_s: gauge,
        }
    }

    /// What the known warming since the start has added to a pressure.
    pub(super) fn known_mbar(&self, setting: &Setting, time_s: f64, pressure_mbar: f64) -> f64 {
        let straight = 2.0 * time_s / setting.duration_s;
        let bend = setting.bend(time_s) - setting.bend(0.0);
        pressure_mbar / setting.gas_k * (self.straight_k * straight + self.bent_k * bend)
    }

    /// Standard deviation of the unknown slope, mbar/s.
    pub(super) fn slope_sd(&self) -> f64 {
        root_sum_square(&[self.temperature_sd_mbar_s, self.gauge_sd_mbar_s])
    }

    pub(super) fn terms(&self, setting: &Setting) -> Vec<Term> {
        let mut terms = vec![Term { shape: Shape::Drift, mean: 0.0, sd: self.slope_sd() }];
        if self.bent_sd_k > 0.0 {
            terms.push(Term { shape: Shape::Bend, mean: 0.0, sd: self.bent_sd_k * setting.mbar_per_k() });
        }
        terms
    }
}

fn prior_k_per_min(input: &LeakDownInput<'_>) -> f64 {
    let Some(wall) = input.wall_temperature else { return UNKNOWN_K_PER_MIN };
    let above_hall = wall.deg_c() - HALL_DEG_C;
    root_sum_square(&[RESTED_K_PER_MIN, above_hall / COOLING_MIN, HALL_SD_K / COOLING_MIN])
}

/// What the logged temperature shows: straight and bent part, in K over half of the time watched.
struct Seen {
    straight_k: f64,
    straight_sd_k: f64,
    bent_k: f64,
    bent_sd_k: f64,
}

impl Seen {
    /// Least squares with the prior of the drift, so that noise of the thermometer is not taken for warming.
    fn fit(time_s: &[f64], degrees: &[f64], setting: &Setting, prior_k_s: f64) -> Option<Self> {
        let first = time_s.first().copied()?;
        let last = time_s.last().copied()?;
        if time_s.len() < 5 || last - first < 0.8 * setting.duration_s {
            return None;
        }
        let half = setting.duration_s / 2.0;
        let straight_prior = 3.0 * prior_k_s * half;
        let sds = [50.0, straight_prior, 0.3 * straight_prior];
        let start = degrees.first().copied()?;
        let design = DMatrix::from_fn(time_s.len(), 3, |row, column| {
            let time = time_s.get(row).copied().unwrap_or_default() - first;
            sds.get(column).copied().unwrap_or_default()
                * match column {
                    0 => 1.0,
                    1 => 2.0 * time / setting.duration_s - 1.0,
                    _ => setting.bend(time),
                }
        });
        let seen = DVector::from_iterator(degrees.len(), degrees.iter().map(|value| value - start));
        #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
        let count = degrees.len() as f64;
        let step = smallest_change(degrees);
        let rounding = step * step / 12.0 * count / independent_roundings(degrees);
        let noise = (neighbour_noise(degrees).powi(2) + rounding).sqrt().max(1e-4);
        let solved = least_squares(&(design / noise), &(seen / noise))?;
        let size = |at: usize| -> Option<(f64, f64)> {
            let sd = sds.get(at)?;
            Some((solved.mean.get(at)? * sd, solved.covariance.get((at, at))?.sqrt() * sd))
        };
        let ((straight_k, straight_sd_k), (bent_k, bent_sd_k)) = (size(1)?, size(2)?);
        Some(Self { straight_k, straight_sd_k, bent_k, bent_sd_k })
    }
}

/// Smallest change between neighbouring samples: the step of a thermometer that shows steps. One that never moved is
/// taken for one of 0.1 K.
fn smallest_change(values: &[f64]) -> f64 {
    let smallest = values
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] if (b - a).abs() > 1e-6 => Some((b - a).abs()),
            _ => None,
        })
        .fold(f64::INFINITY, f64::min);
    if smallest.is_finite() { smallest } else { STILL_THERMOMETER_STEP_K }
}
