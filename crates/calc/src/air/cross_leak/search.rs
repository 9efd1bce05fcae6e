//! Which paths there are: a search over sets of paths, and the probability of each from the sets around the best one.

use std::collections::BTreeMap;

use super::design::{Design, Edge};
use super::fit::{Fit, fit, pull};
use super::opening::{misfit_of, with_opening};
use super::prior::Prior;
use crate::numeric::math;

/// Candidates that are fitted in full; the others count with what their pull alone says.
const IN_FULL: usize = 8;
/// A path is taken into the set even if the evidence speaks a little against it, so that paths that explain the same
/// readings are weighed against each other.
const TAKEN_ABOVE: f64 = -1.5;
/// Most paths of a set.
const MOST_PATHS: usize = 24;
/// Misfit of a circuit's slopes, in halves of chi-squared beyond their number, that no chance explains.
pub(super) const UNEXPLAINED: f64 = 12.0;
/// Most paths that are tried with a threshold where nothing else explains the readings.
const MOST_SHUT: usize = 24;
/// Rounds of the search for a better set.
const ROUNDS: usize = 8;
/// Sets lighter than this against the best are left out of the list of sets.
const LIGHTEST: f64 = 1e-4;

/// What is known of one path.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chance {
    pub(super) probability: f64,
    pub(super) rate: f64,
    pub(super) spread: f64,
}

/// The outcome of the search.
#[derive(Clone, Debug)]
pub(super) struct Found {
    pub(super) prior: Prior,
    pub(super) design: Design,
    pub(super) chances: BTreeMap<Edge, Chance>,
    /// Sets of paths with their rates, and their weights, which add up to 1.
    pub(super) sets: Vec<(f64, Vec<(Edge, f64)>)>,
    /// Circuits whose pressures follow from no set of paths.
    pub(super) unexplained: Vec<usize>,
}

/// One more path on top of a set.
struct Added {
    edge: Edge,
    /// Logarithm of the evidence against that of the set.
    ln_gain: f64,
    fit: Option<Fit>,
    rate: f64,
    spread: f64,
}

pub(super) fn search(mut design: Design, prior: &Prior) -> Found {
    let Some(nothing) = fit(&design, &[], None, prior) else { return nothing_known(design, prior) };
    let mut best = nothing;
    for _ in 0..ROUNDS {
        grow(&mut design, &mut best, prior);
        let around = Around::of(&design, &best, prior);
        match around.better_than(&best) {
            Some(better) => best = better,
            None => return around.found(design, best, prior),
        }
    }
    let around = Around::of(&design, &best, prior);
    around.found(design, best, prior)
}

fn nothing_known(design: Design, prior: &Prior) -> Found {
    let chances = Edge::all(design.count).map(|edge| {
        let probability = prior.probability(edge.is_outside());
        (edge, Chance { probability, rate: 0.0, spread: f64::INFINITY })
    });
    Found {
        prior: prior.clone(),
        chances: chances.collect(),
        design,
        sets: vec![(1.0, Vec::new())],
        unexplained: Vec::new(),
    }
}

/// Adds paths as long as the evidence grows, and drops those that it no longer asks for.
fn grow(design: &mut Design, best: &mut Fit, prior: &Prior) {
    while best.edges.len() < MOST_PATHS {
        let added = added(design, best, prior, IN_FULL);
        let strongest = added
            .into_iter()
            .filter(|one| one.rate > 0.0 && one.fit.is_some())
            .max_by(|a, b| a.ln_gain.total_cmp(&b.ln_gain));
        let taken = strongest.filter(|one| one.ln_gain >= TAKEN_ABOVE);
        let Some(Added { edge, fit: Some(grown), .. }) = taken else {
            match shut_meanwhile(design, best, prior) {
                Some((opened, fitted)) => (*design, *best) = (opened, fitted),
                None => return,
            }
            continue;
        };
        *best = grown;
        if let Some((opened, fitted)) = with_opening(design, best, edge, prior) {
            (*design, *best) = (opened, fitted);
        }
        let before = best.edges.len();
        prune(design, best, prior);
        if best.edges.len() < before && !best.edges.contains(&edge) {
            return;
        }
    }
}

/// A path that the plain law cannot explain at all, since it shut while it was watched or was shut in another test.
fn shut_meanwhile(design: &Design, best: &Fit, prior: &Prior) -> Option<(Design, Fit)> {
    let mut suspects: Vec<(f64, Edge)> = Edge::all(design.count)
        .filter(|edge| !best.edges.contains(edge))
        .map(|edge| {
            (edge.sides().map(|(circuit, _)| misfit_of(design, best, circuit)).fold(0.0, f64::max), edge)
        })
        .filter(|(misfit, _)| *misfit > UNEXPLAINED)
        .collect();
    suspects.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    suspects
        .into_iter()
        .take(MOST_SHUT)
        .filter_map(|(_, edge)| with_opening(design, best, edge, prior))
        .max_by(|a, b| a.1.ln_evidence.total_cmp(&b.1.ln_evidence))
}

/// Drops paths with a negative rate, and those without which the evidence is clearly larger.
fn prune(design: &Design, best: &mut Fit, prior: &Prior) {
    loop {
        let weakest = best
            .edges
            .iter()
            .zip(&best.rates)
            .filter_map(|(edge, rate)| {
                let smaller = fit(design, &without(&best.edges, *edge), Some(best), prior)?;
                let gain = smaller.ln_evidence - best.ln_evidence;
                (*rate <= 0.0 || gain > -TAKEN_ABOVE).then_some((gain, smaller))
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match weakest {
            Some((_, smaller)) => *best = smaller,
            None => return,
        }
    }
}

fn without(edges: &[Edge], edge: Edge) -> Vec<Edge> {
    edges.iter().copied().filter(|other| *other != edge).collect()
}

/// Every path that the set does not hold, added to it alone.
fn added(design: &Design, base: &Fit, prior: &Prior, in_full: usize) -> Vec<Added> {
    let mut list: Vec<(f64, f64, Edge)> = Edge::all(design.count)
        .filter(|edge| !base.edges.contains(edge))
        .map(|edge| {
            let (pull, weight) = pull(design, base, edge);
            (pull, weight, edge)
        })
        .collect();
    let promise = |pull: f64, weight: f64, edge: Edge| {
        if weight > 1e-9 && pull > 0.0 {
            pull * pull / weight / 2.0 + math::ln(prior.odds(edge.is_outside()))
        } else {
            f64::NEG_INFINITY
        }
    };
    list.sort_by(|a, b| promise(b.0, b.1, b.2).total_cmp(&promise(a.0, a.1, a.2)).then(a.2.cmp(&b.2)));
    list.into_iter()
        .enumerate()
        .map(|(rank, (pull, weight, edge))| {
            let worth = rank < in_full && promise(pull, weight, edge) > -6.0;
            let full = worth.then(|| {
                let mut edges = base.edges.clone();
                edges.push(edge);
                fit(design, &edges, Some(base), prior)
            });
            full.flatten().map_or_else(|| alone(pull, weight, edge, prior), |grown| of_fit(edge, base, grown))
        })
        .collect()
}

fn of_fit(edge: Edge, base: &Fit, grown: Fit) -> Added {
    let (rate, spread) = grown.rate_of(edge);
    Added { edge, ln_gain: grown.ln_evidence - base.ln_evidence, rate, spread, fit: Some(grown) }
}

/// A path by its own pull, the rest of the set left as it is.
fn alone(pull: f64, weight: f64, edge: Edge, prior: &Prior) -> Added {
    let ln_odds = math::ln(prior.odds(edge.is_outside()));
    if weight <= 1e-9 {
        return Added { edge, ln_gain: ln_odds, fit: None, rate: 0.0, spread: f64::INFINITY };
    }
    let (rate, spread) = (pull / weight, 1.0 / weight.sqrt());
    let ln_gain = ln_odds + pull * rate / 2.0 + math::ln(prior.bell(rate, spread));
    Added { edge, ln_gain, fit: None, rate, spread }
}

impl Fit {
    fn rate_of(&self, edge: Edge) -> (f64, f64) {
        let place = self.edges.iter().position(|other| *other == edge);
        place.map_or((0.0, f64::INFINITY), |at| (self.rates[at], self.spreads[at]))
    }
}

/// The sets around the best one: one path more, one less, one exchanged.
struct Around {
    more: Vec<Added>,
    /// The path left out, the fit without it, and what may stand in its place.
    less: Vec<(Edge, Fit, Vec<Added>)>,
}

impl Around {
    fn of(design: &Design, best: &Fit, prior: &Prior) -> Self {
        let less = best.edges.iter().filter_map(|edge| {
            let base = fit(design, &without(&best.edges, *edge), Some(best), prior)?;
            let instead = added(design, &base, prior, IN_FULL);
            Some((*edge, base, instead))
        });
        Self { less: less.collect(), more: added(design, best, prior, IN_FULL) }
    }

    /// A neighbouring set with clearly more evidence.
    fn better_than(&self, best: &Fit) -> Option<Fit> {
        let swapped = self.less.iter().flat_map(|(_, _, instead)| instead);
        let all = swapped.chain(&self.more).filter(|one| one.rate > 0.0).filter_map(|one| one.fit.as_ref());
        all.filter(|fit| fit.ln_evidence > best.ln_evidence + 1e-3)
            .max_by(|a, b| a.ln_evidence.total_cmp(&b.ln_evidence))
            .cloned()
    }

    fn found(self, design: Design, best: Fit, prior: &Prior) -> Found {
        let more: BTreeMap<Edge, &Added> = self.more.iter().map(|one| (one.edge, one)).collect();
        let gain = |edge: Edge| more.get(&edge).map_or(0.0, |one| math::exp(one.ln_gain.min(300.0)));
        // For each path left out: weight of the set without it, and of what may stand in its place beyond what it
        // could stand beside it.
        let mut left_out = Vec::new();
        for (edge, base, instead) in &self.less {
            let ln_weight = base.ln_evidence - best.ln_evidence;
            let weight = math::exp(ln_weight.min(300.0));
            let swaps: Vec<(Edge, f64)> = instead
                .iter()
                .filter(|one| one.edge != *edge)
                .map(|one| (one.edge, math::exp((ln_weight + one.ln_gain).min(300.0))))
                .collect();
            let beyond = |other: Edge, swap: f64| (swap - weight * gain(other)).max(0.0);
            let alternatives: f64 = swaps.iter().map(|(other, swap)| beyond(*other, *swap)).sum();
            left_out.push((*edge, weight, alternatives, swaps));
        }
        let mut chances = BTreeMap::new();
        for (edge, weight, alternatives, _) in &left_out {
            let (rate, spread) = best.rate_of(*edge);
            chances.insert(*edge, Chance { probability: 1.0 / (1.0 + weight + alternatives), rate, spread });
        }
        for one in &self.more {
            let mut with = gain(one.edge);
            let mut lacking = 1.0;
            let mut heaviest = (with, one);
            for (place, (_, weight, alternatives, swaps)) in left_out.iter().enumerate() {
                let swap = swaps.iter().find(|(edge, _)| *edge == one.edge).map_or(0.0, |(_, swap)| *swap);
                with += swap;
                lacking += weight + (alternatives - (swap - weight * gain(one.edge)).max(0.0)).max(0.0);
                let instead = self.less[place].2.iter().find(|other| other.edge == one.edge);
                if let Some(instead) = instead.filter(|_| swap > heaviest.0) {
                    heaviest = (swap, instead);
                }
            }
            let probability = with / (with + lacking);
            let (rate, spread) = (heaviest.1.rate, heaviest.1.spread);
            chances.insert(one.edge, Chance { probability, rate, spread });
        }
        let sets = self.sets(&best);
        let unexplained =
            (0..design.count).filter(|circuit| misfit_of(&design, &best, *circuit) > UNEXPLAINED).collect();
        Found { prior: prior.clone(), design, chances, sets, unexplained }
    }

    /// The sets that were fitted, with their weights.
    fn sets(&self, best: &Fit) -> Vec<(f64, Vec<(Edge, f64)>)> {
        let swapped = self.less.iter().flat_map(|(_, base, instead)| {
            core::iter::once(base).chain(instead.iter().filter_map(|one| one.fit.as_ref()))
        });
        let all =
            core::iter::once(best).chain(self.more.iter().filter_map(|one| one.fit.as_ref())).chain(swapped);
        let mut sets: Vec<(f64, Vec<(Edge, f64)>)> = Vec::new();
        let mut known: Vec<Vec<Edge>> = Vec::new();
        for fit in all {
            let weight = math::exp((fit.ln_evidence - best.ln_evidence).min(50.0));
            let mut edges = fit.edges.clone();
            edges.sort_unstable();
            if weight < LIGHTEST || fit.rates.iter().any(|rate| *rate < 0.0) || known.contains(&edges) {
                continue;
            }
            known.push(edges);
            sets.push((weight, fit.edges.iter().copied().zip(fit.rates.iter().copied()).collect()));
        }
        let total: f64 = sets.iter().map(|(weight, _)| weight).sum();
        sets.iter_mut().for_each(|(weight, _)| *weight /= total);
        sets
    }
}
