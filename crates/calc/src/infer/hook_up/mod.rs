//! Hoses that are not where the hook-up list has them: exchanged, missing, doubled, bridged, reversed.
//!
//! Each port of one hook-up has what was measured through it and what is expected of the circuit that the list gives it.
//! Exchanges are permutations ([`super::assignment`]); the other slips stand beside the list as it is.

mod fit;
mod words;

pub use fit::{DeadEnd, LnValue, Quantities, exponnorm, passing};

use super::assignment::{AssignmentError, Assignments, weigh};
use crate::estimate::root_sum_square;
use crate::numeric::{math, stats};

/// Whether anything got through a port.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Passes {
    /// Air or water got through.
    Yes,
    /// Air was held, or no water came.
    No,
    /// Charged air was gone at once although everything was shut.
    Gone,
    /// Not tested, or not sure.
    #[default]
    NotTold,
}

/// One port of a hook-up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Port {
    /// What was measured through it.
    pub measured: Quantities,
    /// Whether anything got through.
    pub passes: Passes,
    /// Filled-volume reading, looked at if nothing got through.
    pub dead_end: Option<DeadEnd>,
    /// Outlet minus inlet pressure at the mould over its standard uncertainty, while water flowed.
    pub backwards: Option<f64>,
    /// What is expected of the listed circuit as new.
    pub expected: Quantities,
    /// Whether the expectation is that of sister circuits as they are today, which may be the fouled ones.
    pub by_sisters: bool,
}

/// Probability of each slip in one visit, before any reading; each is spread evenly over the circuits or pairs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlipPrior {
    /// Two hoses exchanged.
    pub exchanged: f64,
    /// A hose on nothing.
    pub missing: f64,
    /// Two circuits on one port, the other port empty.
    pub doubled: f64,
    /// Supply of one circuit, return of another.
    pub bridged: f64,
    /// Supply and return of one circuit exchanged.
    pub reversed: f64,
    /// A circuit is blocked (for each circuit).
    pub blocked: f64,
}

impl SlipPrior {
    /// One visit in ten with an exchange, one in fifty with each of the others, one circuit in twenty blocked (own
    /// choice; common practice says only that a wrong hose is the commonest mistake).
    pub const ORDINARY: Self =
        Self { exchanged: 0.1, missing: 0.02, doubled: 0.02, bridged: 0.02, reversed: 0.03, blocked: 0.05 };

    /// The same with every slip's probability multiplied: what falls to one hook-up out of several.
    #[must_use]
    pub fn share(&self, share: f64) -> Self {
        Self {
            exchanged: self.exchanged * share,
            missing: self.missing * share,
            doubled: self.doubled * share,
            bridged: self.bridged * share,
            reversed: self.reversed * share,
            ..*self
        }
    }
}

/// What is wrong with hoses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slip {
    /// On each other's circuits: two, or a ring of more.
    Exchanged,
    /// The hose leads to nothing.
    Missing,
    /// The first port feeds both circuits, the second none.
    Doubled,
    /// Supply of one, return of the other, both ways.
    Bridged,
    /// Supply and return exchanged.
    Reversed,
}

/// A doubt about hoses.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// What seems wrong.
    pub slip: Slip,
    /// Places in the list, the doubled one's feeding port first.
    pub ports: Vec<usize>,
    /// Probability.
    pub probability: f64,
    /// Whether all the circuits named belong to it, rather than the first and one or another of the rest.
    pub sure_of_all: bool,
}

/// What all ports together say.
#[derive(Clone, Debug, PartialEq)]
pub struct HookUp {
    /// Doubts from `least` up, the most probable first.
    pub doubts: Vec<Doubt>,
    /// Most probable circuit on each port, exchanges alone.
    pub assignment: Vec<usize>,
    /// Probability that each port's hose is not where the list has it (reversed hoses not counted).
    pub elsewhere: Vec<f64>,
    /// Probability that no hose is elsewhere.
    pub as_listed: f64,
    /// Whether every permutation was weighed.
    pub exact: bool,
}

/// Probability that a circuit itself loses all air at once: a plug or a seal is out (own choice).
const PLUG_OUT: f64 = 5e-5;
/// Share of hoses that stay open when they are on nothing; the others have couplings that shut (own choice).
const STAYS_OPEN: f64 = 0.6;
/// Probability below which a slip is not listed by [`hook_up`] however low `least` is.
const LEAST: f64 = 0.001;

/// Weighs all slips of one hook-up by Bayes' rule: likelihood of every reading ([`passing`], [`DeadEnd`]) times prior.
///
/// `prior` holds for the whole list; doubts from probability `least` (0.001 to 1) are given. Two slips of different kind
/// at once are not weighed, except exchanged with missing or reversed ones. Uncertainty: probabilities are as good as the
/// priors and spreads, both our own choice and held against simulated visits (source keys `own-arithmetic`, `kuhn-1955`).
///
/// # Errors
/// [`AssignmentError`] for no port, more than [`super::assignment::MOST`], or numbers that are not finite.
pub fn hook_up(ports: &[Port], prior: &SlipPrior, least: f64) -> Result<HookUp, AssignmentError> {
    let weights = Weights::of(ports, prior)?;
    let exchange = &weights.exchange;
    let mut doubts: Vec<Doubt> = Vec::new();
    let mut note = |slip, ports: &[usize], probability: f64| {
        if probability >= least.max(LEAST) {
            doubts.push(Doubt { slip, ports: ports.to_vec(), probability, sure_of_all: true });
        }
    };
    for (ring, share) in &exchange.rings {
        note(Slip::Exchanged, ring, share * weights.permuted);
    }
    let mut elsewhere: Vec<f64> =
        (0..ports.len()).map(|port| exchange.elsewhere(port) * weights.permuted).collect();
    for (port, share) in weights.missing.iter().enumerate() {
        let at_home = (1.0 - exchange.elsewhere(port)) * weights.permuted;
        note(Slip::Missing, &[port], share * at_home);
        if let Some(sum) = elsewhere.get_mut(port) {
            *sum += share * at_home;
        }
    }
    for (slip, pair, probability) in &weights.pairs {
        note(*slip, pair, *probability);
        for port in pair {
            if let Some(sum) = elsewhere.get_mut(*port) {
                *sum += probability;
            }
        }
    }
    for (place, port) in ports.iter().enumerate() {
        note(Slip::Reversed, &[place], reversed(port, prior.reversed / ports.len() as f64));
    }
    // Where no single ring is sure, the hose may still surely be elsewhere.
    for (port, probability) in elsewhere.iter().enumerate() {
        if *probability >= least && !doubts.iter().any(|doubt| doubt.ports.contains(&port)) {
            doubts.push(somewhere(port, exchange, *probability));
        }
    }
    doubts.sort_by(|a, b| b.probability.total_cmp(&a.probability).then_with(|| a.ports.cmp(&b.ports)));
    let as_listed = exchange.as_listed
        * weights.permuted
        * weights.missing.iter().map(|share| 1.0 - share).product::<f64>();
    Ok(HookUp {
        doubts,
        assignment: exchange.best.clone(),
        elsewhere: elsewhere.into_iter().map(|probability| probability.min(1.0)).collect(),
        as_listed,
        exact: exchange.exact,
    })
}

/// A hose that is elsewhere, with the circuits on which it may be.
fn somewhere(port: usize, exchange: &Assignments, probability: f64) -> Doubt {
    /// Circuits with less are not named.
    const NAMED: f64 = 0.1;
    let row = exchange.shares.get(port).map_or(&[][..], Vec::as_slice);
    let others = row.iter().enumerate().filter(|(other, share)| *other != port && **share >= NAMED);
    let ports = core::iter::once(port).chain(others.map(|(other, _)| other)).collect();
    Doubt { slip: Slip::Exchanged, ports, probability, sure_of_all: false }
}

struct Weights {
    exchange: Assignments,
    /// Probability of permutations (the list included) against slips of pairs.
    permuted: f64,
    /// Of each port that is not exchanged, the probability that it leads to nothing.
    missing: Vec<f64>,
    pairs: Vec<(Slip, [usize; 2], f64)>,
}

impl Weights {
    fn of(ports: &[Port], prior: &SlipPrior) -> Result<Self, AssignmentError> {
        let count = ports.len() as f64;
        let pairs = (count * (count - 1.0) / 2.0).max(1.0);
        let missing_ln = ln(prior.missing / count);
        let mut fit: Vec<Vec<f64>> = ports
            .iter()
            .map(|port| ports.iter().map(|listed| likelihood_ln(port, listed, prior)).collect())
            .collect();
        let mut missing = Vec::with_capacity(ports.len());
        for (place, (port, row)) in ports.iter().zip(&mut fit).enumerate() {
            let lost_ln = missing_ln + nothing_there_ln(port);
            let share = row.get_mut(place).map_or(0.0, |own| {
                let odds = math::exp((lost_ln - *own).clamp(-700.0, 700.0));
                *own += math::ln_1p(odds);
                odds / (1.0 + odds)
            });
            missing.push(share);
        }
        // A pair exchanged are two misplaced hoses.
        let exchange = weigh(&fit, ln(prior.exchanged / pairs) / 2.0)?;
        let listed_ln: f64 =
            fit.iter().enumerate().filter_map(|(place, row)| row.get(place)).sum::<f64>() - exchange.total_ln;
        let own_ln: Vec<f64> =
            fit.iter().enumerate().filter_map(|(place, row)| row.get(place).copied()).collect();
        let mut found = Vec::new();
        for (slip, pair, ln) in slips_of_pairs(ports, &own_ln, prior, pairs) {
            found.push((slip, pair, math::exp((listed_ln + ln).clamp(-700.0, 700.0))));
        }
        let sum = 1.0 + found.iter().map(|(_, _, odds)| odds).sum::<f64>();
        let pairs = found.into_iter().map(|(slip, pair, odds)| (slip, pair, odds / sum)).collect();
        Ok(Self { exchange, permuted: 1.0 / sum, missing, pairs })
    }
}

/// A logarithm that stays finite for what has no probability at all.
fn ln(x: f64) -> f64 {
    math::ln(x.max(1e-300))
}

/// Log-likelihood of what was measured through a port if this circuit is on it.
fn likelihood_ln(port: &Port, circuit: &Port, prior: &SlipPrior) -> f64 {
    let passing = || ln(passing(&port.measured, &circuit.expected, circuit.by_sisters));
    match port.passes {
        Passes::No => {
            let volume = port.dead_end.map_or(1.0, |end| end.if_blocked(circuit.expected.volume));
            ln(prior.blocked) + ln(volume)
        }
        Passes::Gone => ln(PLUG_OUT) + passing(),
        Passes::Yes | Passes::NotTold => ln(1.0 - prior.blocked) + passing(),
    }
}

/// Log-likelihood of what was measured through a port if nothing is on it.
fn nothing_there_ln(port: &Port) -> f64 {
    match port.passes {
        Passes::No => ln(1.0 - STAYS_OPEN) + ln(port.dead_end.map_or(1.0, |end| end.if_missing())),
        Passes::Gone => {
            let read = port.measured.list().iter().flatten().count();
            (0..read).fold(ln(STAYS_OPEN), |sum, _| sum + ln(fit::UNKNOWN))
        }
        Passes::Yes | Passes::NotTold => ln(0.0),
    }
}

/// Doubled and bridged pairs, with the log of their weight against the list as it is.
fn slips_of_pairs(
    ports: &[Port],
    own_ln: &[f64],
    prior: &SlipPrior,
    pairs: f64,
) -> Vec<(Slip, [usize; 2], f64)> {
    let mut found = Vec::new();
    let all: Vec<(usize, &Port, f64)> =
        ports.iter().zip(own_ln).enumerate().map(|(place, (port, own))| (place, port, *own)).collect();
    let nothing = |port: &Port| matches!(port.passes, Passes::No | Passes::Gone);
    for (empty, end, end_ln) in all.iter().filter(|(_, port, _)| nothing(port)) {
        // Either port of a pair may be the one that feeds both.
        let doubled_ln = ln(prior.doubled / (2.0 * pairs)) + nothing_there_ln(end) - end_ln;
        for (both, port, own) in all.iter().filter(|(_, port, _)| !nothing(port)) {
            let joined = port.expected.joined(&end.expected);
            let two_sided = port.by_sisters || end.by_sisters;
            let fits = ln(1.0 - prior.blocked) + ln(passing(&port.measured, &joined, two_sided)) - own;
            found.push((Slip::Doubled, [*both, *empty], doubled_ln + fits));
        }
        let dead = |port: &Port| port.passes == Passes::No && end.passes == Passes::No;
        for (other, port, own) in all.iter().filter(|(other, port, _)| other > empty && dead(port)) {
            let whole = |port: &Port| ln(port.dead_end.map_or(1.0, |end| end.if_whole(port.expected.volume)));
            let weight = ln(prior.bridged / pairs) + whole(end) - end_ln + whole(port) - own;
            found.push((Slip::Bridged, [*empty, *other], weight));
        }
    }
    found
}

/// Probability that supply and return are exchanged. Only gauges that stay with the circuit's ends can tell.
fn reversed(port: &Port, prior: f64) -> f64 {
    let Some(backwards) = port.backwards else { return prior };
    // Water runs from the higher pressure to the lower: the reading is on the wrong side by scatter, or the hoses are.
    let (right_way, wrong_way) = (stats::normal_below(-backwards), stats::normal_below(backwards));
    let odds = prior / (1.0 - prior) * wrong_way / right_way.max(1e-300);
    odds / (1.0 + odds)
}

/// A quantity that may be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Flow factor.
    Flow,
    /// Filled volume.
    Volume,
    /// Sonic conductance.
    Air,
}

/// Standard uncertainty of an ordinary reading of flow factor, filled volume, sonic conductance (own choice).
const ORDINARY_READING: [f64; 3] = [0.02, 0.03, 0.06];

/// The quantity, not yet measured on both ports, in which the two circuits differ most, and by how many combined standard
/// uncertainties of reading and expectation; none if nothing further can tell them apart (less than 2).
#[must_use]
pub fn would_tell(a: &Port, b: &Port) -> Option<(Quantity, f64)> {
    let names = [Quantity::Flow, Quantity::Volume, Quantity::Air];
    let differences = a.expected.list().into_iter().zip(b.expected.list()).zip(ORDINARY_READING);
    let read = a.measured.list().into_iter().zip(b.measured.list()).map(|(a, b)| a.is_some() && b.is_some());
    differences
        .zip(names)
        .zip(read)
        .filter(|(_, read)| !read)
        .filter_map(|((((one, other), reading), name), _)| {
            let (one, other) = (one?, other?);
            let spread = root_sum_square(&[one.sd, other.sd, reading, reading]);
            Some((name, (one.ln - other.ln).abs() / spread))
        })
        .filter(|(_, apart)| *apart >= 2.0)
        .max_by(|x, y| x.1.total_cmp(&y.1))
}

/// By how many combined standard uncertainties the expected values of two circuits differ, in the quantity measured on
/// both that differs most: `|E_a - E_b| / sqrt(u_E,a^2 + u_E,b^2 + u_a^2 + u_b^2)`, all as logarithms. 0 if nothing was
/// measured and is expected of both.
#[must_use]
pub fn apart(a: &Port, b: &Port) -> f64 {
    let pairs = a.expected.list().into_iter().zip(b.expected.list());
    let read = a.measured.list().into_iter().zip(b.measured.list());
    pairs
        .zip(read)
        .filter_map(|((expected_a, expected_b), (read_a, read_b))| {
            let (expected_a, expected_b) = (expected_a?, expected_b?);
            let spread = root_sum_square(&[expected_a.sd, expected_b.sd, read_a?.sd, read_b?.sd]);
            Some((expected_a.ln - expected_b.ln).abs() / spread.max(1e-9))
        })
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests;
