//! How good stated probabilities are: calibration, confident calls, and intervals.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use calc::estimate::Estimate;
use calc::infer::scoring::{Forecast, Scores, score};

/// Bins of a calibration curve.
pub const BINS: usize = 20;
/// A call above this is a confident one.
pub const CONFIDENT: f64 = 0.95;
/// 90 % of a normal distribution lies within so many standard deviations, 95 % within the other.
const Z90_OF_Z95: f64 = 1.644_854 / 1.959_964;

/// All kinds of state.
pub const STATES: [BoreState; 6] = [
    BoreState::AsNew,
    BoreState::EvenDeposit,
    BoreState::LocalPlug,
    BoreState::Mixed,
    BoreState::Rough,
    BoreState::Unknown,
];

/// Probabilities of the state against the truth; scored by the calculator `calibration`.
#[derive(Clone, Debug, Default)]
pub struct Score {
    /// Probability of the most probable state, and whether it was right.
    pub top: Vec<Forecast>,
    /// Probability of each state, in the order of [`STATES`], and whether it was the true one.
    pub by_state: [Vec<Forecast>; STATES.len()],
    log: f64,
    /// True state, most probable state, and whether it was a confident call.
    pub confusion: BTreeMap<(BoreState, BoreState, bool), u64>,
}

impl Score {
    /// Counts one circuit; `as_new_too`: the fault is so light that 'as new' is right as well.
    pub fn note(&mut self, stated: &BTreeMap<BoreState, f64>, truth: BoreState, as_new_too: bool) {
        let (best, probability) = most_probable(stated);
        let happened = best == truth || (as_new_too && best == BoreState::AsNew);
        self.top.push(forecast(probability, happened));
        *self.confusion.entry((truth, best, probability > CONFIDENT)).or_default() += 1;
        for (list, state) in self.by_state.iter_mut().zip(STATES) {
            list.push(forecast(stated.get(&state).copied().unwrap_or(0.0), state == truth));
        }
        self.log -= calc::numeric::math::ln(stated.get(&truth).copied().unwrap_or(0.0).max(1e-9));
    }

    pub fn add(&mut self, other: &Self) {
        self.top.extend_from_slice(&other.top);
        for (mine, theirs) in self.by_state.iter_mut().zip(&other.by_state) {
            mine.extend_from_slice(theirs);
        }
        self.log += other.log;
        for (key, count) in &other.confusion {
            *self.confusion.entry(*key).or_default() += count;
        }
    }

    /// Circuits counted.
    pub fn count(&self) -> f64 {
        number(self.top.len())
    }

    /// Expected calibration error of the most probable state, and what finite counts alone would make of it.
    pub fn error(&self) -> (f64, f64) {
        score(&self.top, BINS)
            .map_or((0.0, 0.0), |scores| (scores.expected_calibration_error, scores.error_if_right))
    }

    /// Mean over the states of each one's expected calibration error.
    pub fn state_error(&self) -> f64 {
        self.over_states(|scores| scores.expected_calibration_error) / number(STATES.len())
    }

    /// Brier score, summed over the states.
    pub fn brier(&self) -> f64 {
        self.over_states(|scores| scores.brier)
    }

    fn over_states(&self, of: impl Fn(&Scores) -> f64) -> f64 {
        self.by_state.iter().filter_map(|list| score(list, BINS).ok()).map(|scores| of(&scores)).sum()
    }

    /// Share of circuits whose most probable state is the true one.
    pub fn right(&self) -> f64 {
        number(self.top.iter().filter(|one| one.happened).count()) / self.count().max(1.0)
    }

    /// Mean negative logarithm of the true state's probability.
    pub fn log_score(&self) -> f64 {
        self.log / self.count().max(1.0)
    }

    /// Confident calls, and how many of them are wrong.
    pub fn confident(&self) -> (f64, f64) {
        let calls = || self.top.iter().filter(|one| one.probability > CONFIDENT);
        (number(calls().count()), number(calls().filter(|one| !one.happened).count()))
    }

    /// Share of circuits with a confident call, and share of those that are wrong.
    pub fn confident_shares(&self) -> (f64, f64) {
        let (calls, wrong) = self.confident();
        (calls / self.count().max(1.0), wrong / calls.max(1.0))
    }
}

/// Sums of many small numbers may end a hair above one.
fn forecast(probability: f64, happened: bool) -> Forecast {
    Forecast { probability: probability.clamp(0.0, 1.0), happened }
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2^53")]
fn number(count: usize) -> f64 {
    count as f64
}

/// The most probable state.
pub fn most_probable(stated: &BTreeMap<BoreState, f64>) -> (BoreState, f64) {
    stated
        .iter()
        .fold((BoreState::Unknown, -1.0), |best, (state, p)| if *p > best.1 { (*state, *p) } else { best })
}

/// Intervals: how many, how many hold the truth at 90 %, how many lie above it, and how many hold it at 95 %, as stated.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    pub count: f64,
    pub held: f64,
    pub above: f64,
    pub held_stated: f64,
}

impl Coverage {
    /// A stated interval of 95 %, made one of 90 % as a normal distribution has it (in the logarithm where `ln`).
    pub fn note(&mut self, stated: Option<Estimate>, truth: Option<f64>, ln: bool) {
        let (Some(stated), Some(truth)) = (stated, truth) else { return };
        let (low, high) = if ln && stated.low > 0.0 && stated.value > 0.0 {
            let shrunk = |end: f64| stated.value * calc::numeric::math::powf(end / stated.value, Z90_OF_Z95);
            (shrunk(stated.low), shrunk(stated.high))
        } else {
            let shrunk = |end: f64| stated.value + (end - stated.value) * Z90_OF_Z95;
            // An end cut off at zero says nothing of the width: below, the interval is then as wide as above.
            let low = if stated.low > 0.0 { stated.low } else { 2.0 * stated.value - stated.high };
            (shrunk(low.min(stated.low)), shrunk(stated.high))
        };
        self.count += 1.0;
        self.held += f64::from(u8::from(low <= truth && truth <= high));
        self.above += f64::from(u8::from(low > truth));
        self.held_stated += f64::from(u8::from(stated.holds(truth)));
    }

    pub fn add(&mut self, other: Self) {
        self.count += other.count;
        self.held += other.held;
        self.above += other.above;
        self.held_stated += other.held_stated;
    }

    pub fn share(&self) -> f64 {
        self.held / self.count.max(1.0)
    }
}
