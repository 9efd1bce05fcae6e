//! How good stated probabilities are: calibration, confident calls, and intervals.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use calc::estimate::Estimate;

/// Bins of a calibration curve.
const BINS: usize = 20;
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

/// One bin: how often, sum of stated probabilities, how often right.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bin {
    pub count: f64,
    pub stated: f64,
    pub right: f64,
}

impl Bin {
    fn note(&mut self, probability: f64, right: bool) {
        self.count += 1.0;
        self.stated += probability;
        self.right += f64::from(u8::from(right));
    }

    fn add(&mut self, other: Self) {
        self.count += other.count;
        self.stated += other.stated;
        self.right += other.right;
    }

    /// Interval of 95 % for the true share, after Wilson (1927).
    pub fn chance(&self) -> (f64, f64) {
        let (share, z) = (self.right / self.count, 1.959_964);
        let shrink = 1.0 + z * z / self.count;
        let middle = (share + z * z / (2.0 * self.count)) / shrink;
        let reach = z / shrink
            * (share * (1.0 - share) / self.count + z * z / (4.0 * self.count * self.count)).sqrt();
        (middle - reach, middle + reach)
    }

    fn gap(&self) -> f64 {
        (self.stated - self.right).abs()
    }
}

/// Probabilities of the state against the truth.
#[derive(Clone, Debug, Default)]
pub struct Score {
    pub top: [Bin; BINS],
    pub by_class: [[Bin; BINS]; STATES.len()],
    pub confident: Bin,
    log: f64,
    brier: f64,
    /// True state, most probable state, and whether it was a confident call.
    pub confusion: BTreeMap<(BoreState, BoreState, bool), u64>,
}

fn bin(probability: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a probability")]
    let place = (probability * 20.0) as usize;
    place.min(BINS - 1)
}

impl Score {
    /// Counts one circuit; `as_new_too`: the fault is so light that 'as new' is right as well.
    pub fn note(&mut self, stated: &BTreeMap<BoreState, f64>, truth: BoreState, as_new_too: bool) {
        let (best, probability) = most_probable(stated);
        let right = best == truth || (as_new_too && best == BoreState::AsNew);
        self.top[bin(probability)].note(probability, right);
        if probability > CONFIDENT {
            self.confident.note(probability, right);
        }
        *self.confusion.entry((truth, best, probability > CONFIDENT)).or_default() += 1;
        for (place, state) in STATES.iter().enumerate() {
            let probability = stated.get(state).copied().unwrap_or(0.0);
            let hit = f64::from(u8::from(*state == truth));
            self.by_class[place][bin(probability)].note(probability, *state == truth);
            self.brier += (probability - hit) * (probability - hit);
        }
        self.log -= calc::numeric::math::ln(stated.get(&truth).copied().unwrap_or(0.0).max(1e-9));
    }

    pub fn add(&mut self, other: &Self) {
        self.top.iter_mut().zip(&other.top).for_each(|(mine, theirs)| mine.add(*theirs));
        for (mine, theirs) in self.by_class.iter_mut().zip(&other.by_class) {
            mine.iter_mut().zip(theirs).for_each(|(mine, theirs)| mine.add(*theirs));
        }
        self.confident.add(other.confident);
        self.log += other.log;
        self.brier += other.brier;
        for (key, count) in &other.confusion {
            *self.confusion.entry(*key).or_default() += count;
        }
    }

    /// Circuits counted.
    pub fn count(&self) -> f64 {
        self.top.iter().map(|bin| bin.count).sum()
    }

    /// Expected calibration error of the most probable state.
    pub fn error(&self) -> f64 {
        self.top.iter().map(Bin::gap).sum::<f64>() / self.count().max(1.0)
    }

    /// The same of every state's probability.
    pub fn class_error(&self) -> f64 {
        self.by_class.iter().flatten().map(Bin::gap).sum::<f64>() / (6.0 * self.count()).max(1.0)
    }

    /// Share of circuits whose most probable state is the true one.
    pub fn right(&self) -> f64 {
        self.top.iter().map(|bin| bin.right).sum::<f64>() / self.count().max(1.0)
    }

    /// Mean Brier score over the six states.
    pub fn brier(&self) -> f64 {
        self.brier / self.count().max(1.0)
    }

    /// Mean negative logarithm of the true state's probability.
    pub fn log_score(&self) -> f64 {
        self.log / self.count().max(1.0)
    }

    /// Share of circuits with a confident call, and share of those that are wrong.
    pub fn confident_shares(&self) -> (f64, f64) {
        let wrong = self.confident.count - self.confident.right;
        (self.confident.count / self.count().max(1.0), wrong / self.confident.count.max(1.0))
    }
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
            (shrunk(stated.low), shrunk(stated.high))
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
