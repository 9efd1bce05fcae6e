//! What earlier visits say about today: states that change with time and treatment, and a layer that grows.

use nalgebra::DMatrix;

use crate::estimate::Uncertain;
use crate::infer::weighing::{WeighingError, weigh};

/// How fast one state turns into another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Place of the state that is left, from 0.
    pub from: usize,
    /// Place of the state that follows, from 0.
    pub to: usize,
    /// Share of the circuits in the first state that change in a day, 0 or more.
    pub rate_per_day: f64,
}

/// Why what is known cannot be carried on.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum UpdateError {
    /// Probabilities that are negative, endless, or nothing at all.
    #[error("the probabilities are not sound: give numbers of 0 or more, at least one above 0")]
    Probabilities,
    /// A change between states that are not there, from a state to itself, or with a rate that makes no sense.
    #[error("change {place} is not sound: two different states and a rate of 0 to 1000 per day")]
    Change {
        /// Place of the change, from 0.
        place: usize,
    },
    /// A time that is negative or longer than a century.
    #[error("{days} days: give 0 to 40000")]
    Days {
        /// What was given.
        days: f64,
    },
    /// A treatment that leads nowhere or succeeds with no probability.
    #[error("the treatment is not sound: a state that exists, and success between 0 and 1 for each state")]
    Treatment,
    /// A spread below zero or endless, or a value that is no number.
    #[error("{name} is {value}: give a finite number, spreads of 0 or more")]
    Number {
        /// Which number.
        name: &'static str,
        /// What was given.
        value: f64,
    },
    /// Bayes' rule has nothing to go on.
    #[error(transparent)]
    Weighing(#[from] WeighingError),
}

/// Most days carried in one go.
const MOST_DAYS: f64 = 40_000.0;

fn sound(probabilities: &[f64]) -> Result<f64, UpdateError> {
    let sum: f64 = probabilities.iter().sum();
    let fine = probabilities.iter().all(|p| p.is_finite() && *p >= 0.0) && sum.is_finite() && sum > 0.0;
    if fine { Ok(sum) } else { Err(UpdateError::Probabilities) }
}

/// Probabilities of the states after some days without readings or treatment.
///
/// A Markov chain in continuous time: `p(t) = p(0) exp(Q t)`, Q from the rates (Norris 1997, chapter 2; source key
/// `norris-1997`). Matrix exponential by `nalgebra` (Pade, scaling and squaring); 1e-10 or better.
///
/// # Errors
/// [`UpdateError`] for probabilities, changes or a time that make no sense. The probabilities need not add up to 1;
/// those given back do.
pub fn carried(probabilities: &[f64], changes: &[Change], days: f64) -> Result<Vec<f64>, UpdateError> {
    let sum = sound(probabilities)?;
    if !(0.0..=MOST_DAYS).contains(&days) {
        return Err(UpdateError::Days { days });
    }
    let states = probabilities.len();
    let mut rates = DMatrix::<f64>::zeros(states, states);
    for (place, change) in changes.iter().enumerate() {
        let fits = change.from < states && change.to < states && change.from != change.to;
        if !(fits && (0.0..=1e3).contains(&change.rate_per_day)) {
            return Err(UpdateError::Change { place });
        }
        rates[(change.from, change.to)] += change.rate_per_day;
        rates[(change.from, change.from)] -= change.rate_per_day;
    }
    let start = DMatrix::from_row_slice(1, states, probabilities) / sum;
    let end = start * (rates * days).exp();
    // The last digit may come out below zero; probabilities do not.
    let kept: Vec<f64> = end.iter().map(|p| p.max(0.0)).collect();
    let sum = sound(&kept)?;
    Ok(kept.iter().map(|p| p / sum).collect())
}

/// Probabilities of the states after a treatment that leads to the state `to` with the given probability of success,
/// one for each state, and else changes nothing (own choice of model; source key `own-arithmetic`).
///
/// # Errors
/// [`UpdateError::Treatment`] or [`UpdateError::Probabilities`].
pub fn treated(probabilities: &[f64], to: usize, success: &[f64]) -> Result<Vec<f64>, UpdateError> {
    let sum = sound(probabilities)?;
    let fits = to < probabilities.len() && success.len() == probabilities.len();
    if !(fits && success.iter().all(|share| (0.0..=1.0).contains(share))) {
        return Err(UpdateError::Treatment);
    }
    let moved: f64 = probabilities.iter().zip(success).map(|(p, share)| p * share).sum();
    let after = probabilities.iter().zip(success).enumerate().map(|(place, (p, share))| {
        let stays = p * (1.0 - share);
        (if place == to { stays + moved } else { stays }) / sum
    });
    Ok(after.collect())
}

/// Probabilities of the states after readings, by Bayes' rule.
///
/// # Arguments
/// `log_likelihoods`: natural logarithm of the density of the readings under each state.
///
/// # Errors
/// [`UpdateError::Weighing`] or [`UpdateError::Probabilities`].
pub fn observed(probabilities: &[f64], log_likelihoods: &[f64]) -> Result<Vec<f64>, UpdateError> {
    sound(probabilities)?;
    Ok(weigh(log_likelihoods, probabilities)?.probabilities)
}

/// A layer that grows: its thickness and its rate of growth, jointly normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    /// Thickness, mm.
    pub thickness_mm: Uncertain,
    /// Rate of growth, mm per day.
    pub rate_mm_per_day: Uncertain,
    /// Covariance of both, mm^2 per day.
    pub covariance_mm2_per_day: f64,
}

impl Growth {
    /// Thickness and rate known independently of each other.
    ///
    /// # Errors
    /// [`UpdateError::Number`] for a value or spread that makes no sense.
    pub fn new(thickness_mm: Uncertain, rate_mm_per_day: Uncertain) -> Result<Self, UpdateError> {
        finite("thickness_mm", thickness_mm)?;
        finite("rate_mm_per_day", rate_mm_per_day)?;
        Ok(Self { thickness_mm, rate_mm_per_day, covariance_mm2_per_day: 0.0 })
    }

    /// After some days: a random walk with drift, `walk_mm_per_root_day` being the spread that one day adds.
    ///
    /// Prediction step of the Kalman filter of a local level with constant slope (Harvey 1989, chapter 2; source key
    /// `harvey-1989`). The normal distribution does not know that a layer cannot be thinner than nothing.
    ///
    /// # Errors
    /// [`UpdateError::Days`] or [`UpdateError::Number`].
    pub fn carried(self, days: f64, walk_mm_per_root_day: f64) -> Result<Self, UpdateError> {
        if !(0.0..=MOST_DAYS).contains(&days) {
            return Err(UpdateError::Days { days });
        }
        finite("walk_mm_per_root_day", Uncertain::new(0.0, walk_mm_per_root_day))?;
        let (level, slope) = (self.thickness_mm.standard, self.rate_mm_per_day.standard);
        let variance = level * level
            + 2.0 * days * self.covariance_mm2_per_day
            + days * days * slope * slope
            + days * walk_mm_per_root_day * walk_mm_per_root_day;
        let thickness = self.thickness_mm.value + days * self.rate_mm_per_day.value;
        Ok(Self {
            thickness_mm: Uncertain::new(thickness, variance.max(0.0).sqrt()),
            covariance_mm2_per_day: self.covariance_mm2_per_day + days * slope * slope,
            ..self
        })
    }

    /// After a reading of the thickness; both thickness and rate learn from it.
    ///
    /// Correction step of the Kalman filter (source key `harvey-1989`).
    ///
    /// # Errors
    /// [`UpdateError::Number`] for a reading that makes no sense, or that is exact while the thickness is too.
    pub fn observed(self, reading_mm: Uncertain) -> Result<Self, UpdateError> {
        finite("reading_mm", reading_mm)?;
        let (level, slope) = (self.thickness_mm.standard, self.rate_mm_per_day.standard);
        let total = level * level + reading_mm.standard * reading_mm.standard;
        if total <= 0.0 {
            return Err(UpdateError::Number { name: "reading_mm uncertainty", value: reading_mm.standard });
        }
        let surprise = reading_mm.value - self.thickness_mm.value;
        let cross = self.covariance_mm2_per_day;
        let left = reading_mm.standard * reading_mm.standard / total;
        Ok(Self {
            thickness_mm: Uncertain::new(
                self.thickness_mm.value + level * level / total * surprise,
                level * left.sqrt(),
            ),
            rate_mm_per_day: Uncertain::new(
                self.rate_mm_per_day.value + cross / total * surprise,
                (slope * slope - cross * cross / total).max(0.0).sqrt(),
            ),
            covariance_mm2_per_day: cross * left,
        })
    }

    /// After a treatment that leaves this thickness behind; what is known of the rate stays.
    ///
    /// # Errors
    /// [`UpdateError::Number`] for a thickness that makes no sense.
    pub fn treated(self, left_mm: Uncertain) -> Result<Self, UpdateError> {
        finite("left_mm", left_mm)?;
        Ok(Self { thickness_mm: left_mm, covariance_mm2_per_day: 0.0, ..self })
    }
}

fn finite(name: &'static str, number: Uncertain) -> Result<(), UpdateError> {
    if !number.value.is_finite() {
        return Err(UpdateError::Number { name, value: number.value });
    }
    if !(number.standard.is_finite() && number.standard >= 0.0) {
        return Err(UpdateError::Number { name, value: number.standard });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::math;

    const GROWS: [Change; 1] = [Change { from: 0, to: 1, rate_per_day: 0.01 }];

    #[test]
    fn two_states_follow_the_exponential_law() {
        // One way only: what is left after t days is exp(-rate t).
        for days in [0.0, 1.0, 69.3, 365.0, 20_000.0] {
            let found = carried(&[1.0, 0.0], &GROWS, days).unwrap();
            assert!((found[0] - math::exp(-0.01 * days)).abs() < 1e-10, "{days}: {found:?}");
            assert!((found.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        }
        // Both ways: equilibrium 1/3, approached at the sum of the rates.
        let back = [GROWS[0], Change { from: 1, to: 0, rate_per_day: 0.005 }];
        let found = carried(&[1.0, 0.0], &back, 100.0).unwrap();
        let closed = 1.0 / 3.0 + 2.0 / 3.0 * math::exp(-1.5);
        assert!((found[0] - closed).abs() < 1e-12);
    }

    #[test]
    fn time_in_two_parts_is_time_in_one() {
        let rates = [
            Change { from: 0, to: 1, rate_per_day: 0.02 },
            Change { from: 1, to: 2, rate_per_day: 0.3 },
            Change { from: 2, to: 0, rate_per_day: 0.001 },
        ];
        let once = carried(&[0.2, 0.3, 0.5], &rates, 50.0).unwrap();
        let twice = carried(&carried(&[2.0, 3.0, 5.0], &rates, 20.0).unwrap(), &rates, 30.0).unwrap();
        for (a, b) in once.iter().zip(&twice) {
            assert!((a - b).abs() < 1e-12);
        }
    }

    #[test]
    fn treatment_moves_its_share_and_bayes_weighs() {
        let after = treated(&[0.2, 0.8], 0, &[1.0, 0.75]).unwrap();
        assert!((after[0] - 0.8).abs() < 1e-12 && (after[1] - 0.2).abs() < 1e-12);
        let found = observed(&after, &[0.0, math::ln(8.0)]).unwrap();
        assert!((found[1] - 1.6 / 2.4).abs() < 1e-12);
    }

    #[test]
    fn growth_learns_its_rate_from_two_readings() {
        let start = Growth::new(Uncertain::new(0.0, 10.0), Uncertain::new(0.0, 10.0)).unwrap();
        let seen = start.observed(Uncertain::new(0.10, 0.01)).unwrap();
        let later = seen.carried(100.0, 0.0).unwrap().observed(Uncertain::new(0.30, 0.01)).unwrap();
        // Wide priors: the slope through two points, 0.2 mm in 100 days, with the spread of a difference.
        assert!((later.rate_mm_per_day.value - 0.002).abs() < 1e-6);
        assert!((later.rate_mm_per_day.standard - 0.01 * 2.0_f64.sqrt() / 100.0).abs() < 1e-6);
        let clean = later.treated(Uncertain::new(0.02, 0.01)).unwrap().carried(50.0, 0.001).unwrap();
        assert!((clean.thickness_mm.value - 0.12).abs() < 1e-4);
    }

    #[test]
    fn faults_are_named() {
        assert_eq!(carried(&[], &[], 1.0), Err(UpdateError::Probabilities));
        assert_eq!(carried(&[1.0, 0.0], &GROWS, -1.0), Err(UpdateError::Days { days: -1.0 }));
        let nowhere = [Change { from: 0, to: 7, rate_per_day: 1.0 }];
        assert_eq!(carried(&[1.0, 0.0], &nowhere, 1.0), Err(UpdateError::Change { place: 0 }));
        assert_eq!(treated(&[1.0, 0.0], 2, &[1.0, 1.0]), Err(UpdateError::Treatment));
        let exact = Growth::new(Uncertain::new(0.0, 0.0), Uncertain::new(0.0, 0.0)).unwrap();
        assert!(exact.observed(Uncertain::new(0.0, 0.0)).is_err());
        assert!(exact.carried(1.0, f64::NAN).is_err());
        assert!(matches!(observed(&[1.0], &[f64::NEG_INFINITY]), Err(UpdateError::Weighing(_))));
    }
}
