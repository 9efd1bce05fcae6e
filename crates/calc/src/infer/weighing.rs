//! Several explanations of the same readings, weighed against each other by Bayes' rule.

use nalgebra::{DMatrix, DVector};

use crate::estimate::Uncertain;
use crate::numeric::math;

/// Natural logarithm of 2 pi.
const LN_TWO_PI: f64 = 1.837_877_066_409_345_5;

/// Why explanations cannot be weighed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WeighingError {
    /// No explanation.
    #[error("nothing to weigh: give at least one")]
    Empty,
    /// Not as many prior weights as evidences.
    #[error("{evidences} evidences with {priors} prior weights: give one weight for each")]
    Unequal {
        /// Evidences there are.
        evidences: usize,
        /// Weights there are.
        priors: usize,
    },
    /// A log evidence that is no number, or plus infinity.
    #[error("log evidence {place} is {value}: give a number")]
    Evidence {
        /// Place, from 0.
        place: usize,
        /// What was given.
        value: f64,
    },
    /// A prior weight below zero or endless.
    #[error("prior weight {place} is {value}: give 0 or more")]
    Prior {
        /// Place, from 0.
        place: usize,
        /// What was given.
        value: f64,
    },
    /// Every explanation has no weight, or none allows the readings.
    #[error("no explanation with weight allows these readings")]
    Nothing,
}

/// Logarithm of a sum of exponentials, without overflow; minus infinity for no number at all.
///
/// `max + ln sum exp(x - max)` (any text on numerical statistics; source key `own-arithmetic`).
#[must_use]
pub fn log_sum_exp(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most.is_infinite() {
        return most;
    }
    most + math::ln(logs.iter().map(|log| math::exp(log - most)).sum())
}

/// Explanations weighed.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighed {
    /// Posterior probabilities, in the order given; they add up to 1.
    pub probabilities: Vec<f64>,
    /// Logarithm of the evidence of all together, prior weights taken as adding up to 1.
    pub log_evidence: f64,
}

/// Posterior probabilities of explanations from the natural logarithms of their evidences and their prior weights.
///
/// `p_i = w_i e_i / sum w_j e_j` in logarithms, so evidences of e^-100000 weigh as well as others (Kass and Raftery
/// 1995, equation 1; source key `kass-raftery-1995`). A log evidence of minus infinity says 'impossible'.
///
/// # Errors
/// [`WeighingError`].
pub fn weigh(log_evidences: &[f64], priors: &[f64]) -> Result<Weighed, WeighingError> {
    if log_evidences.is_empty() {
        return Err(WeighingError::Empty);
    }
    if log_evidences.len() != priors.len() {
        return Err(WeighingError::Unequal { evidences: log_evidences.len(), priors: priors.len() });
    }
    for (place, (&evidence, &prior)) in log_evidences.iter().zip(priors).enumerate() {
        if evidence.is_nan() || evidence == f64::INFINITY {
            return Err(WeighingError::Evidence { place, value: evidence });
        }
        if !(prior.is_finite() && prior >= 0.0) {
            return Err(WeighingError::Prior { place, value: prior });
        }
    }
    let total: f64 = priors.iter().sum();
    if total <= 0.0 {
        return Err(WeighingError::Nothing);
    }
    let logs: Vec<f64> = log_evidences
        .iter()
        .zip(priors)
        .map(|(evidence, prior)| evidence + math::ln(prior / total))
        .collect();
    let log_evidence = log_sum_exp(&logs);
    if log_evidence == f64::NEG_INFINITY {
        return Err(WeighingError::Nothing);
    }
    let raw: Vec<f64> = logs.iter().map(|log| math::exp(log - log_evidence)).collect();
    let sum: f64 = raw.iter().sum();
    Ok(Weighed { probabilities: raw.iter().map(|weight| weight / sum).collect(), log_evidence })
}

/// How strongly readings speak for one explanation against another, in the words of Kass and Raftery.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strength {
    /// Bayes factor up to 3.
    BareMention,
    /// 3 to 20.
    Positive,
    /// 20 to 150.
    Strong,
    /// Above 150.
    VeryStrong,
}

impl Strength {
    /// Strength of a Bayes factor, given its natural logarithm (0 or more: the better explanation over the other).
    ///
    /// Table of Kass and Raftery 1995, section 3.2 (source key `kass-raftery-1995`): limits 3, 20, 150.
    #[must_use]
    pub fn of(log_bayes_factor: f64) -> Self {
        let above = |factor: f64| log_bayes_factor > math::ln(factor);
        if above(150.0) {
            Self::VeryStrong
        } else if above(20.0) {
            Self::Strong
        } else if above(3.0) {
            Self::Positive
        } else {
            Self::BareMention
        }
    }

    /// The word for programs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::BareMention => "bare-mention",
            Self::Positive => "positive",
            Self::Strong => "strong",
            Self::VeryStrong => "very-strong",
        }
    }
}

/// A linear explanation `y = X b + e`: known normal noise, independent normal priors of the coefficients.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearModel {
    /// Rows of X, one for each reading, each as long as `prior`.
    pub rows: Vec<Vec<f64>>,
    /// Prior mean and standard deviation (above 0) of each coefficient; none for a model without freedom.
    pub prior: Vec<Uncertain>,
}

/// What readings say about a linear explanation.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearEvidence {
    /// Natural logarithm of the probability density of the readings under the explanation.
    pub log_evidence: f64,
    /// Coefficients after the readings.
    pub coefficients: Vec<Uncertain>,
}

/// Why a linear explanation has no evidence.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LinearError {
    /// No reading.
    #[error("no reading: give at least one")]
    Empty,
    /// Lists that do not fit each other.
    #[error("the rows, readings and coefficients do not fit each other")]
    Shape,
    /// A number is missing or endless.
    #[error("a reading, place or prior mean is no finite number")]
    NotFinite,
    /// A spread that is not above zero.
    #[error("{name} is {value}: give a number above 0")]
    Spread {
        /// Which spread.
        name: &'static str,
        /// What was given.
        value: f64,
    },
    /// Spreads so different that nothing can be computed.
    #[error("noise and prior are too different in size to be weighed")]
    Singular,
}

/// Evidence of a linear explanation, exact.
///
/// `ln N(y; X m, s^2 I + X S X')`, computed through the coefficients' posterior, whose terms are all sums of squares
/// (Bishop 2006, section 3.5; source key `bishop-2006`).
///
/// # Arguments
/// `noise`: standard deviation of each reading, above 0, in the unit of `y`.
///
/// # Errors
/// [`LinearError`].
pub fn linear_evidence(model: &LinearModel, y: &[f64], noise: &[f64]) -> Result<LinearEvidence, LinearError> {
    let (count, free) = (y.len(), model.prior.len());
    check_linear(model, y, noise)?;
    // Everything in units of its own spread: the posterior precision is then 1 + something, never near singular.
    let scaled = DMatrix::from_fn(count, free, |row, column| {
        let entry = model.rows.get(row).and_then(|row| row.get(column)).copied().unwrap_or(f64::NAN);
        let spread = model.prior.get(column).map_or(f64::NAN, |prior| prior.standard);
        entry * spread / noise.get(row).copied().unwrap_or(f64::NAN)
    });
    let expected = |row: &[f64]| row.iter().zip(&model.prior).map(|(x, prior)| x * prior.value).sum::<f64>();
    let misses = DVector::from_iterator(
        count,
        model.rows.iter().zip(y.iter().zip(noise)).map(|(row, (y, noise))| (y - expected(row)) / noise),
    );
    let precision = DMatrix::identity(free, free) + scaled.transpose() * &scaled;
    let factor = precision.cholesky().ok_or(LinearError::Singular)?;
    let shift = factor.solve(&(scaled.transpose() * &misses));
    let left = &misses - &scaled * &shift;
    let squares = left.norm_squared() + shift.norm_squared();
    let ln_noise: f64 = noise.iter().map(|noise| math::ln(*noise)).sum();
    let ln_factor: f64 = factor.l_dirty().diagonal().iter().map(|entry| math::ln(*entry)).sum();
    let inverse = factor.inverse();
    let coefficients = model
        .prior
        .iter()
        .zip(shift.iter().zip(inverse.diagonal().iter()))
        .map(|(prior, (shift, variance))| {
            Uncertain::new(prior.value + shift * prior.standard, prior.standard * variance.sqrt())
        })
        .collect();
    let log_evidence = -0.5 * (count as f64 * LN_TWO_PI + squares) - ln_noise - ln_factor;
    if log_evidence.is_finite() {
        Ok(LinearEvidence { log_evidence, coefficients })
    } else {
        Err(LinearError::Singular)
    }
}

fn check_linear(model: &LinearModel, y: &[f64], noise: &[f64]) -> Result<(), LinearError> {
    if y.is_empty() {
        return Err(LinearError::Empty);
    }
    let fits = model.rows.iter().all(|row| row.len() == model.prior.len());
    if model.rows.len() != y.len() || noise.len() != y.len() || !fits {
        return Err(LinearError::Shape);
    }
    let entries = model.rows.iter().flatten().chain(y).chain(model.prior.iter().map(|prior| &prior.value));
    if !entries.into_iter().all(|number| number.is_finite()) {
        return Err(LinearError::NotFinite);
    }
    let unsound = |spread: &f64| !(spread.is_finite() && *spread > 0.0);
    if let Some(&value) = noise.iter().find(|spread| unsound(spread)) {
        return Err(LinearError::Spread { name: "noise", value });
    }
    match model.prior.iter().map(|prior| prior.standard).find(unsound) {
        Some(value) => Err(LinearError::Spread { name: "prior standard deviation", value }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weighs_without_overflow() {
        let found = weigh(&[-100_000.0, -100_000.0 + math::ln(3.0)], &[1.0, 1.0]).unwrap();
        assert!((found.probabilities[1] - 0.75).abs() < 1e-10);
        let sure = weigh(&[0.0, f64::NEG_INFINITY, 2000.0], &[1.0, 5.0, 0.0]).unwrap();
        assert_eq!(sure.probabilities, [1.0, 0.0, 0.0]);
        assert!(log_sum_exp(&[]).is_infinite());
        assert!((log_sum_exp(&[1000.0, 1000.0]) - 1000.0 - core::f64::consts::LN_2).abs() < 1e-12);
    }

    #[test]
    fn faults_are_named() {
        assert_eq!(weigh(&[], &[]), Err(WeighingError::Empty));
        assert_eq!(weigh(&[0.0], &[0.0]), Err(WeighingError::Nothing));
        assert_eq!(weigh(&[f64::NEG_INFINITY], &[1.0]), Err(WeighingError::Nothing));
        assert!(matches!(weigh(&[f64::NAN], &[1.0]), Err(WeighingError::Evidence { place: 0, .. })));
        assert!(matches!(weigh(&[0.0], &[-1.0]), Err(WeighingError::Prior { .. })));
        assert_eq!(weigh(&[0.0], &[]), Err(WeighingError::Unequal { evidences: 1, priors: 0 }));
    }

    #[test]
    fn one_reading_of_one_constant_is_a_normal_density() {
        // y = b + e: y is normal with variance 4 + 9 around 1.
        let model = LinearModel { rows: vec![vec![1.0]], prior: vec![Uncertain::new(1.0, 3.0)] };
        let found = linear_evidence(&model, &[2.5], &[2.0]).unwrap();
        let closed = -0.5 * (LN_TWO_PI + math::ln(13.0) + 1.5 * 1.5 / 13.0);
        assert!((found.log_evidence - closed).abs() < 1e-12);
        // Posterior mean 1 + 9/13 of 1.5, variance 36/13.
        assert!((found.coefficients[0].value - (1.0 + 1.5 * 9.0 / 13.0)).abs() < 1e-12);
        assert!((found.coefficients[0].standard - (36.0_f64 / 13.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn model_without_freedom_is_pure_noise() {
        let model = LinearModel { rows: vec![vec![], vec![]], prior: vec![] };
        let found = linear_evidence(&model, &[0.0, 1.0], &[1.0, 1.0]).unwrap();
        assert!((found.log_evidence + LN_TWO_PI + 0.5).abs() < 1e-12);
        assert_eq!(linear_evidence(&model, &[0.0], &[1.0]), Err(LinearError::Shape));
        assert!(matches!(linear_evidence(&model, &[0.0, 1.0], &[1.0, 0.0]), Err(LinearError::Spread { .. })));
    }
}
