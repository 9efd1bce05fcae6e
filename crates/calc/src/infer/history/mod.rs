//! What earlier visits to a circuit let expect of its bore today, before any reading of today.
//!
//! A hidden Markov model, walked forward (Rabiner 1989, section III; source key `rabiner-1989`): each earlier finding
//! weighs the states, what was done to the circuit moves them, and over the time between they turn into each other
//! (`norris-1997`). Deposits grow and narrow places form; nothing goes away by itself. At every step a share goes back to
//! what is expected of any circuit, so that one wrong finding of the past cannot lock the judgement.

pub mod form;

use super::bore::Prior;
use super::update::{Change, Growth, UpdateError, carried, observed, treated};
use crate::estimate::{Uncertain, root_sum_square};
use crate::numeric::math;

/// How many kinds of state there are; their order is that of [`Prior::classes`].
pub const STATES: usize = 6;
/// Probabilities of as new, even deposit, local plug, mixed, rough, none of these.
pub type States = [f64; STATES];

const AS_NEW: usize = 0;
const EVEN: usize = 1;
const PLUG: usize = 2;
const MIXED: usize = 3;
const ROUGH: usize = 4;
const UNKNOWN: usize = 5;

const DAYS_OF_YEAR: f64 = 365.25;
/// Share that no earlier finding is worth, however sure it was: hoses exchanged then, another circuit written down (own
/// choice: in the blind trial `second`, shares from 0.05 to 0.3 state the truth about as well; the larger is the safer).
const DOUBTED: f64 = 0.15;
/// Years after which work that nobody wrote down has changed two circuits of three (own choice).
const FORGOTTEN_YEARS: f64 = 3.0;
/// Power of an earlier finding's weight of evidence. Below 1, because drawing, hoses and water are the same today as
/// then: what misled then misleads today (own choice: in the blind trial `second` 0.3 to 0.5 is best under other laws, 0.7
/// to 1 under matching ones).
const REPEATED: f64 = 0.5;
/// No state of a finding is taken for less probable than this: of sure calls, one in fifty to a hundred is wrong (blind
/// trials).
const LEAST: f64 = 0.005;
/// Share of 'none of these' that is a slip of that day and says nothing of the circuit; the rest is too open, and stays
/// so (own choice).
const SLIPPED: f64 = 0.2;
/// How states turn into each other, per year: (from, to, rate). Chosen so that a circuit as new has, after a year
/// without cleaning, the odds of any circuit that comes to a bench (own choice: one assumption in place of five; no
/// public figures exist).
const YEARLY: [(usize, usize, f64); 7] = [
    (AS_NEW, EVEN, LAYER_STARTS),
    (AS_NEW, PLUG, PLUG_FORMS),
    (AS_NEW, ROUGH, 0.10),
    (AS_NEW, UNKNOWN, 0.026),
    (EVEN, MIXED, PLUG_FORMS),
    (PLUG, MIXED, LAYER_STARTS),
    (ROUGH, EVEN, LAYER_STARTS),
];
const LAYER_STARTS: f64 = 0.30;
const PLUG_FORMS: f64 = 0.14;
/// Growth of a layer, mm in a year, and what a year adds by chance, mm (own choice).
const GROWTH_MM: (f64, f64) = (0.15, 0.15);
const WALK_MM: f64 = 0.05;
/// Least doubt of ln thickness: layers are uneven, and of a roughness that nobody knows (own choice).
const UNEVEN_LN: f64 = 0.4;
/// Thinnest layer that is worth the name, mm.
const THINNEST_MM: f64 = 0.02;

/// What was done to a circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Done {
    /// Deposit dissolved.
    Descaled,
    /// A rod or brush pushed through.
    Rodded,
    /// Opened and repaired.
    Repaired,
    /// Treated otherwise: flushed, inhibitor, or what the remark says.
    Treated,
}

impl Done {
    /// All, in the order of their words.
    pub const ALL: [Self; 4] = [Self::Descaled, Self::Rodded, Self::Repaired, Self::Treated];

    /// The word of files and documents.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Descaled => "descaled",
            Self::Rodded => "rodded",
            Self::Repaired => "opened-and-repaired",
            Self::Treated => "treated",
        }
    }

    /// Where it leads, in order: the state that follows, and for each state the probability that it does. What does not
    /// succeed changes nothing (all own choice: acid takes most of a layer and some of a narrow place, a rod the other way
    /// round; neither smooths a rough wall).
    const fn leads(self) -> [(usize, States); 2] {
        match self {
            Self::Descaled => {
                [(AS_NEW, [0.0, 0.8, 0.3, 0.25, 0.0, 0.0]), (PLUG, [0.0, 0.0, 0.0, 0.6, 0.0, 0.0])]
            }
            Self::Rodded => {
                [(AS_NEW, [0.0, 0.3, 0.85, 0.2, 0.0, 0.0]), (EVEN, [0.0, 0.0, 0.0, 0.75, 0.0, 0.0])]
            }
            Self::Repaired => {
                [(AS_NEW, [0.0, 0.4, 0.9, 0.4, 0.2, 0.8]), (EVEN, [0.0, 0.0, 0.0, 0.7, 0.0, 0.0])]
            }
            Self::Treated => [(AS_NEW, [0.0, 0.15, 0.1, 0.05, 0.0, 0.0]), (AS_NEW, [0.0; STATES])],
        }
    }

    /// Whether a thickness read before says nothing of the layer after.
    const fn takes_layers(self) -> bool {
        !matches!(self, Self::Treated)
    }
}

/// What was found of a bore.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Probabilities of the states after the readings; need not add up to 1.
    pub states: States,
    /// The same before those readings; none: those of any circuit.
    pub before: Option<States>,
    /// Thickness of the layer, if there was one.
    pub thickness_mm: Option<Uncertain>,
}

/// One day of a circuit's past.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// How long ago, days.
    pub days_ago: f64,
    /// What was found; none: only something was done.
    pub found: Option<Found>,
    /// What was done afterwards.
    pub done: Vec<Done>,
}

/// What the past lets expect of today.
#[derive(Clone, Debug, PartialEq)]
pub struct Past {
    /// Probabilities of the states before any reading of today.
    pub expected: States,
    /// The same if every finding on record were believed for what it says, with nothing going back to any circuit's: for
    /// whoever asks whether past and today agree.
    pub believed: States,
    /// Share of `expected` that is what is expected of any circuit.
    pub fresh_share: f64,
    /// Expected thickness of a layer that has not been taken away since: ln of mm, and its standard deviation.
    pub layer_ln_mm: Option<(f64, f64)>,
}

/// Why a past says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HistoryError {
    /// A day of it makes no sense.
    #[error("earlier visit {place}: {error}")]
    Earlier {
        /// Place in the list, from 0.
        place: usize,
        /// Why.
        error: UpdateError,
    },
    /// What is expected of any circuit makes no sense.
    #[error("what is expected of any circuit: {0}")]
    Fresh(UpdateError),
}

/// What a circuit's past lets expect of its bore today.
///
/// # Arguments
/// `earlier`: the days on record, in any order; `fresh`: probabilities for any circuit, of which nothing is known (need
/// not add up to 1); `done_today`: what has been done today before the readings that are going to be judged.
///
/// # Range
/// 0 to 40,000 days.
///
/// # Errors
/// [`HistoryError`] for probabilities or days that make no sense.
pub fn past(earlier: &[Earlier], fresh: &States, done_today: &[Done]) -> Result<Past, HistoryError> {
    let mut walk = Walk::start(fresh)?;
    let mut order: Vec<(usize, &Earlier)> = earlier.iter().enumerate().collect();
    order.sort_by(|(_, a), (_, b)| b.days_ago.total_cmp(&a.days_ago));
    let next_days = order.iter().skip(1).map(|(_, next)| next.days_ago).chain([0.0]);
    for ((place, day), until) in order.iter().zip(next_days) {
        let error = |error| HistoryError::Earlier { place: *place, error };
        if !(0.0..=40_000.0).contains(&day.days_ago) {
            return Err(error(UpdateError::Days { days: day.days_ago }));
        }
        walk.day(day).map_err(error)?;
        walk.wait(day.days_ago - until, day.found.is_some()).map_err(error)?;
    }
    walk.end(done_today).map_err(HistoryError::Fresh)
}

/// The state of knowledge on its way to today.
struct Walk {
    fresh: States,
    states: States,
    believed: States,
    /// Share of the fresh ones in `states`.
    fresh_share: f64,
    growth: Option<Growth>,
}

impl Walk {
    fn start(fresh: &States) -> Result<Self, HistoryError> {
        let fresh = scaled(fresh).map_err(HistoryError::Fresh)?;
        Ok(Self { fresh, states: fresh, believed: fresh, fresh_share: 1.0, growth: None })
    }

    /// What was found on a day, and what was done after it.
    fn day(&mut self, day: &Earlier) -> Result<(), UpdateError> {
        if let Some(found) = &day.found {
            self.states = self.weighed(&self.states, found, REPEATED)?;
            self.believed = self.weighed(&self.believed, found, 1.0)?;
            self.growth = learnt(self.growth, found)?;
            self.fresh_share = 0.0;
        }
        day.done.iter().try_for_each(|done| self.work(*done))
    }

    /// Bayes' rule with a power of the finding's weight of evidence: its odds over those before its readings.
    fn weighed(&self, states: &States, found: &Found, power: f64) -> Result<States, UpdateError> {
        let before = found.before.as_ref().map_or(Ok(self.fresh), scaled)?;
        let seen = scaled(&found.states)?;
        let logs: Vec<f64> = seen
            .iter()
            .zip(before)
            .map(|(seen, before)| power * math::ln(seen.max(LEAST) / before.max(LEAST)))
            .collect();
        let mut states = as_states(&observed(states, &logs)?);
        let slip = SLIPPED * states[UNKNOWN];
        states[UNKNOWN] -= slip;
        Ok(mixed(&states, &self.fresh, slip))
    }

    fn work(&mut self, done: Done) -> Result<(), UpdateError> {
        self.states = after(&self.states, done)?;
        self.believed = after(&self.believed, done)?;
        self.growth = self.growth.filter(|_| !done.takes_layers());
        Ok(())
    }

    /// The days to the next one.
    fn wait(&mut self, days: f64, was_found: bool) -> Result<(), UpdateError> {
        self.believed = as_states(&carried(&self.believed, &changes(), days)?);
        let kept = math::exp(-days / (FORGOTTEN_YEARS * DAYS_OF_YEAR));
        let back = 1.0 - if was_found { (1.0 - DOUBTED) * kept } else { kept };
        let states = as_states(&carried(&self.states, &changes(), days)?);
        self.states = mixed(&states, &self.fresh, back);
        self.fresh_share += (1.0 - self.fresh_share) * back;
        let walk = WALK_MM / DAYS_OF_YEAR.sqrt();
        self.growth = self.growth.map(|growth| growth.carried(days, walk)).transpose()?;
        Ok(())
    }

    fn end(mut self, done_today: &[Done]) -> Result<Past, UpdateError> {
        done_today.iter().try_for_each(|done| self.work(*done))?;
        Ok(Past {
            expected: self.states,
            believed: self.believed,
            fresh_share: self.fresh_share,
            layer_ln_mm: self.growth.map(|growth| {
                let thickness = growth.thickness_mm;
                let middle = thickness.value.max(THINNEST_MM);
                (math::ln(middle), root_sum_square(&[thickness.standard / middle, UNEVEN_LN]))
            }),
        })
    }
}

/// Thickness and growth after a finding.
fn learnt(growth: Option<Growth>, found: &Found) -> Result<Option<Growth>, UpdateError> {
    let per_day = |yearly: f64| yearly / DAYS_OF_YEAR;
    match (growth, found.thickness_mm) {
        (growth, None) => Ok(growth),
        (Some(growth), Some(read)) => growth.observed(read).map(Some),
        (None, Some(read)) => {
            Growth::new(read, Uncertain::new(per_day(GROWTH_MM.0), per_day(GROWTH_MM.1))).map(Some)
        }
    }
}

fn changes() -> [Change; YEARLY.len()] {
    YEARLY.map(|(from, to, rate)| Change { from, to, rate_per_day: rate / DAYS_OF_YEAR })
}

fn after(states: &States, done: Done) -> Result<States, UpdateError> {
    done.leads().iter().try_fold(*states, |states, (to, success)| {
        treated(&states, *to, success).map(|found| as_states(&found))
    })
}

fn as_states(list: &[f64]) -> States {
    core::array::from_fn(|place| list.get(place).copied().unwrap_or(0.0))
}

/// The same odds, adding up to 1.
fn scaled(states: &States) -> Result<States, UpdateError> {
    let sum: f64 = states.iter().sum();
    let fine = states.iter().all(|p| p.is_finite() && *p >= 0.0) && sum.is_finite() && sum > 0.0;
    if fine { Ok(states.map(|p| p / sum)) } else { Err(UpdateError::Probabilities) }
}

/// The first with this share of the second. The first may lack the share.
fn mixed(states: &States, fresh: &States, share: f64) -> States {
    let sum: f64 = states.iter().sum();
    core::array::from_fn(|place| states[place] / sum * (1.0 - share) + fresh[place] * share)
}

/// All six states from those that somebody named: what is left to 1 goes to the others by the odds of any circuit.
///
/// Nothing if a number is below 0, if they add up to more than 1.02, or if all are named and they miss 1 by more than 0.02.
#[must_use]
pub fn completed(named: &[Option<f64>; STATES], fresh: &States) -> Option<States> {
    const ROUNDED: f64 = 0.02;
    let sum: f64 = named.iter().flatten().sum();
    let sound = named.iter().flatten().all(|p| p.is_finite() && *p >= 0.0);
    let open: f64 =
        named.iter().zip(fresh).filter(|(named, _)| named.is_none()).map(|(_, fresh)| fresh).sum();
    if !sound || sum > 1.0 + ROUNDED || (open <= 0.0 && sum < 1.0 - ROUNDED) {
        return None;
    }
    let left = (1.0 - sum).max(0.0);
    let whole = if open > 0.0 { sum + left } else { sum };
    Some(core::array::from_fn(|place| named[place].unwrap_or_else(|| left * fresh[place] / open) / whole))
}

/// Probabilities of the states that a prior of [`super::bore`] comes to, where the circuit has a split or has none.
#[must_use]
pub fn states_of(prior: &Prior, split: bool) -> States {
    let sum: f64 = prior.classes.iter().sum();
    let [as_new, even, plug, mixed, rough, unknown] = prior.classes.map(|p| p / sum);
    let branch = if split { prior.plugged_branch } else { 0.0 };
    [
        as_new * (1.0 - branch),
        even * (1.0 - branch),
        plug + as_new * branch,
        mixed + even * branch,
        rough,
        unknown,
    ]
}

/// The prior of [`super::bore`] for these probabilities; of narrow places as many are plugged branches as in any circuit.
#[must_use]
pub fn prior_of(past: &Past, split: bool, fresh: &Prior) -> Prior {
    let sum: f64 = fresh.classes.iter().sum();
    let of = states_of(fresh, true);
    let share = |bare: usize, with: usize| {
        if of[with] > 0.0 { fresh.classes[bare] / sum * fresh.plugged_branch / of[with] } else { 0.0 }
    };
    Prior {
        classes: past.expected,
        branch_shares: split.then(|| [share(AS_NEW, PLUG), share(EVEN, MIXED)]),
        layer_ln_mm: past.layer_ln_mm,
        ..*fresh
    }
}

#[cfg(test)]
mod tests;
