//! How good stated probabilities were, once it is known what happened.

use crate::estimate::Estimate;
use crate::infer::proportion::{ShareInterval, share};
use crate::numeric::math;

/// A stated probability and what happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forecast {
    /// Stated probability, 0 to 1.
    pub probability: f64,
    /// Whether it happened.
    pub happened: bool,
}

impl Forecast {
    fn outcome(self) -> f64 {
        if self.happened { 1.0 } else { 0.0 }
    }
}

/// Why forecasts cannot be scored.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ScoringError {
    /// No forecast.
    #[error("no forecast: give at least one")]
    Empty,
    /// A number that is no probability.
    #[error("forecast {place} is {value}: give a probability from 0 to 1")]
    Probability {
        /// Place, from 0.
        place: usize,
        /// What was given.
        value: f64,
    },
    /// Not as many outcomes as probabilities.
    #[error("{probabilities} probabilities with {outcomes} outcomes: give one outcome for each")]
    Unequal {
        /// Probabilities there are.
        probabilities: usize,
        /// Outcomes there are.
        outcomes: usize,
    },
    /// Too few or too many bins.
    #[error("{bins} bins: give 1 to 1000")]
    Bins {
        /// What was asked for.
        bins: usize,
    },
}

/// Forecasts whose probabilities lie in one range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Lower end of the range.
    pub from: f64,
    /// Upper end of the range; it belongs to the next bin, except that of the last.
    pub to: f64,
    /// Forecasts.
    pub count: usize,
    /// How many of them happened.
    pub happened: usize,
    /// Mean stated probability.
    pub mean_probability: f64,
    /// Share that happened, with its 95 % interval by Clopper and Pearson; none above 100,000 forecasts.
    pub share: Option<Estimate>,
}

impl Bin {
    fn frequency(&self) -> f64 {
        self.happened as f64 / self.count as f64
    }
}

/// Forecasts scored.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// Bins that hold a forecast, in rising order.
    pub bins: Vec<Bin>,
    /// Expected calibration error: mean distance of share and mean probability over the bins, weighted by count.
    pub expected_calibration_error: f64,
    /// Largest such distance of any bin.
    pub largest_calibration_error: f64,
    /// What the expected calibration error would come to, on average, if every probability were right: finite counts
    /// alone make this much. Normal approximation.
    pub error_if_right: f64,
    /// Mean squared distance of probability and outcome.
    pub brier: f64,
    /// Part of the Brier score that better calibration would remove.
    pub reliability: f64,
    /// Part that telling cases apart has gained (it is subtracted).
    pub resolution: f64,
    /// Part that lies in the outcomes themselves.
    pub uncertainty: f64,
    /// What is left because probabilities within a bin differ.
    pub within_bins: f64,
    /// Mean of minus the natural logarithm of the probability given to what happened; infinite if something happened
    /// that was called impossible.
    pub log_score: f64,
}

/// Pairs probabilities with outcomes.
///
/// # Errors
/// [`ScoringError`] for lists of different length, an empty list, or a number outside 0 to 1.
pub fn forecasts(probabilities: &[f64], outcomes: &[bool]) -> Result<Vec<Forecast>, ScoringError> {
    if probabilities.len() != outcomes.len() {
        return Err(ScoringError::Unequal { probabilities: probabilities.len(), outcomes: outcomes.len() });
    }
    let pairs: Vec<Forecast> = probabilities
        .iter()
        .zip(outcomes)
        .map(|(&probability, &happened)| Forecast { probability, happened })
        .collect();
    check(&pairs)?;
    Ok(pairs)
}

fn check(forecasts: &[Forecast]) -> Result<(), ScoringError> {
    if forecasts.is_empty() {
        return Err(ScoringError::Empty);
    }
    match forecasts.iter().position(|one| !(0.0..=1.0).contains(&one.probability)) {
        Some(place) => {
            let value = forecasts.get(place).map_or(f64::NAN, |one| one.probability);
            Err(ScoringError::Probability { place, value })
        }
        None => Ok(()),
    }
}

/// Scores stated probabilities against what happened.
///
/// Expected calibration error over equal-width bins (Naeini et al. 2015; source key `naeini-2015`); Brier score
/// (`brier-1950`) with Murphy's parts (`murphy-1973`) and the remainder within bins (`stephenson-2008`):
/// `brier = reliability - resolution + uncertainty + within_bins` holds exactly; log score (`gneiting-raftery-2007`).
///
/// # Errors
/// [`ScoringError`].
pub fn score(forecasts: &[Forecast], bins: usize) -> Result<Scores, ScoringError> {
    check(forecasts)?;
    let table = reliability_table(forecasts, bins)?;
    let all = forecasts.len() as f64;
    let mean = |of: &dyn Fn(&Forecast) -> f64| forecasts.iter().map(of).sum::<f64>() / all;
    let over_bins =
        |of: &dyn Fn(&Bin) -> f64| table.iter().map(|bin| bin.count as f64 * of(bin)).sum::<f64>() / all;
    let gap = |bin: &Bin| (bin.mean_probability - bin.frequency()).abs();
    let base = mean(&|one| one.outcome());
    let brier = mean(&|one| (one.probability - one.outcome()) * (one.probability - one.outcome()));
    let reliability = over_bins(&|bin| gap(bin) * gap(bin));
    let resolution = over_bins(&|bin| (bin.frequency() - base) * (bin.frequency() - base));
    let uncertainty = base * (1.0 - base);
    Ok(Scores {
        expected_calibration_error: over_bins(&gap),
        largest_calibration_error: table.iter().map(gap).fold(0.0, f64::max),
        error_if_right: error_if_right(forecasts, bins),
        brier,
        reliability,
        resolution,
        uncertainty,
        within_bins: brier - (reliability - resolution + uncertainty),
        log_score: mean(&|one| -math::ln(if one.happened { one.probability } else { 1.0 - one.probability })),
        bins: table,
    })
}

/// The bin of a probability. Bins are equally wide; an end belongs to the bin above it, and 1 to the last.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1000")]
fn bin_of(probability: f64, bins: usize) -> usize {
    ((probability * bins as f64) as usize).min(bins - 1)
}

/// Forecasts sorted into equally wide bins; bins without a forecast are left out.
///
/// # Errors
/// [`ScoringError`] for no forecast, a number outside 0 to 1, or a number of bins outside 1 to 1000.
pub fn reliability_table(forecasts: &[Forecast], bins: usize) -> Result<Vec<Bin>, ScoringError> {
    check(forecasts)?;
    if !(1..=1000).contains(&bins) {
        return Err(ScoringError::Bins { bins });
    }
    let width = 1.0 / bins as f64;
    let mut sums = vec![(0_usize, 0_usize, 0.0); bins];
    for one in forecasts {
        if let Some((count, happened, sum)) = sums.get_mut(bin_of(one.probability, bins)) {
            *count += 1;
            *happened += usize::from(one.happened);
            *sum += one.probability;
        }
    }
    let held = sums.into_iter().enumerate().filter(|(_, (count, ..))| *count > 0);
    Ok(held
        .map(|(place, (count, happened, sum))| Bin {
            from: place as f64 * width,
            to: (place + 1) as f64 * width,
            count,
            happened,
            mean_probability: sum / count as f64,
            share: share(happened as f64, count as f64, 0.95, ShareInterval::ClopperPearson).ok(),
        })
        .collect())
}

/// Mean distance of a normal variable from its mean is sqrt(2 / pi) standard deviations; a bin's share has the
/// variance sum p (1 - p) / count^2.
fn error_if_right(forecasts: &[Forecast], bins: usize) -> f64 {
    let mut variances = vec![0.0; bins];
    for one in forecasts {
        if let Some(variance) = variances.get_mut(bin_of(one.probability, bins)) {
            *variance += one.probability * (1.0 - one.probability);
        }
    }
    let spread: f64 = variances.iter().map(|variance| variance.sqrt()).sum();
    spread * (2.0 / core::f64::consts::PI).sqrt() / forecasts.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worked_by_hand() {
        // Four forecasts in two bins: (0.2 no, 0.4 yes) and (0.6 yes, 0.9 yes).
        let found = score(&forecasts(&[0.2, 0.4, 0.6, 0.9], &[false, true, true, true]).unwrap(), 2).unwrap();
        assert!((found.brier - (0.04 + 0.36 + 0.16 + 0.01) / 4.0).abs() < 1e-12);
        // Gaps: |0.3 - 0.5| and |0.75 - 1|, two forecasts each.
        assert!((found.expected_calibration_error - 0.225).abs() < 1e-12);
        assert!((found.largest_calibration_error - 0.25).abs() < 1e-12);
        assert!((found.uncertainty - 0.1875).abs() < 1e-12);
        let parts = found.reliability - found.resolution + found.uncertainty + found.within_bins;
        assert!((parts - found.brier).abs() < 1e-15);
        assert_eq!((found.bins[1].count, found.bins[1].happened), (2, 2));
    }

    #[test]
    fn ends_of_bins_and_impossible_outcomes() {
        let found = score(&forecasts(&[0.0, 0.5, 1.0], &[false, true, true]).unwrap(), 2).unwrap();
        assert_eq!(found.bins.iter().map(|bin| bin.count).collect::<Vec<_>>(), [1, 2]);
        assert!(found.log_score.is_finite());
        let sure = score(&forecasts(&[0.0], &[true]).unwrap(), 10).unwrap();
        assert!(sure.log_score.is_infinite());
    }

    #[test]
    fn faults_are_named() {
        assert_eq!(forecasts(&[], &[]), Err(ScoringError::Empty));
        assert_eq!(forecasts(&[0.5], &[]), Err(ScoringError::Unequal { probabilities: 1, outcomes: 0 }));
        assert!(matches!(
            forecasts(&[0.5, 1.1], &[true; 2]),
            Err(ScoringError::Probability { place: 1, .. })
        ));
        let one = forecasts(&[0.5], &[true]).unwrap();
        assert_eq!(score(&one, 0), Err(ScoringError::Bins { bins: 0 }));
    }
}
