//! What was found in simulated visits against what is true, by what was known and what was read with.

use std::collections::BTreeMap;

use bench::finding::{BoreState, CircuitFinding, Findings};
use bench::limits::Tables;
use bench::mould::{Circuit, CircuitId};
use bench::visit::What;
use calc::estimate::Estimate;
use calc::numeric::math;
use link::{CircuitTruth, Simulated};

use super::found::{Found, at_start, connected, limit, start_of_leak_down};
use super::groups::{ALL, cover, hidden, instruments, is_exchanged, known, seen, true_state};
use super::score::{Coverage, Score};

/// Groups of all circuits under two other ways of counting light faults.
const STRICT: &str = "counted: light faults as faults";
const RELABELLED: &str = "counted: light faults as none";

/// Exchanged hoses and what was said of them.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hoses {
    /// Exchanged pairs, and those found.
    pub all: (u64, u64),
    /// Of these: pairs that readings could tell apart, and those found.
    pub apart: (u64, u64),
    /// Visits without exchange, and those with a false alarm.
    pub without: (u64, u64),
}

/// Leaks from circuit to circuit, in visits in which neighbours were watched.
#[derive(Clone, Copy, Debug, Default)]
pub struct Across {
    /// Pairs that leak above the limit, and those found.
    pub above: (u64, u64),
    /// Pairs that leak below it, and those found.
    pub below: (u64, u64),
    /// Pairs named that do not leak.
    pub invented: u64,
}

/// Everything counted.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub visits: u64,
    pub circuits: u64,
    pub unplayable: u64,
    /// Score by group; [`ALL`] holds every circuit.
    pub scores: BTreeMap<String, Score>,
    /// Score by what is true.
    pub hidden: BTreeMap<&'static str, Score>,
    /// 90 % intervals by quantity and group.
    pub coverage: BTreeMap<(&'static str, &'static str), Coverage>,
    /// Circuits without any leak: all, interval below the limit, interval above it.
    pub tight: (u64, u64, u64),
    pub hoses: Hoses,
    pub across: Across,
    pub found: Found,
}

fn add(mine: &mut (u64, u64), theirs: (u64, u64)) {
    *mine = (mine.0 + theirs.0, mine.1 + theirs.1);
}

fn note(cell: &mut (u64, u64), found: bool) {
    add(cell, (1, u64::from(found)));
}

impl Tally {
    pub fn add(&mut self, other: &Self) {
        self.visits += other.visits;
        self.circuits += other.circuits;
        self.unplayable += other.unplayable;
        other.scores.iter().for_each(|(key, score)| self.scores.entry(key.clone()).or_default().add(score));
        other.hidden.iter().for_each(|(key, score)| self.hidden.entry(key).or_default().add(score));
        other.coverage.iter().for_each(|(key, held)| self.coverage.entry(*key).or_default().add(*held));
        self.tight =
            (self.tight.0 + other.tight.0, self.tight.1 + other.tight.1, self.tight.2 + other.tight.2);
        add(&mut self.hoses.all, other.hoses.all);
        add(&mut self.hoses.apart, other.hoses.apart);
        add(&mut self.hoses.without, other.hoses.without);
        add(&mut self.across.above, other.across.above);
        add(&mut self.across.below, other.across.below);
        self.across.invented += other.across.invented;
        self.found.add(&other.found);
    }

    /// Counts one visit.
    pub fn visit(&mut self, played: &Simulated, findings: &Findings, tables: &Tables) {
        self.visits += 1;
        let limit = limit(played, tables);
        for found in findings.circuits.iter().filter(|found| played.truth.one_whole_circuit(&found.id)) {
            let id = connected(&played.truth, &found.id);
            if let (Some(truth), Some(paper)) = (played.truth.circuit(&id), played.mould.circuit(&found.id)) {
                self.circuits += 1;
                self.state(played, found, truth, paper);
                self.leak(played, (found, paper), truth, limit);
                self.bore(played, (found, paper), truth);
            }
        }
        self.hoses(played, findings);
        self.across(played, findings, limit);
        self.found.visit(played, findings, tables);
    }

    fn state(&mut self, played: &Simulated, found: &CircuitFinding, truth: &CircuitTruth, paper: &Circuit) {
        if truth.blocked_at.is_some() || found.state_fits.is_none() {
            return;
        }
        let (state, as_new_too) = true_state(truth);
        for group in seen(played, found, paper) {
            self.scores.entry(group).or_default().note(&found.state, state, as_new_too);
        }
        // The same circuits with light faults taken strictly as faults, and strictly as none.
        let relabelled = if as_new_too { BoreState::AsNew } else { state };
        for (group, state) in [(STRICT, state), (RELABELLED, relabelled)] {
            self.scores.entry(group.to_owned()).or_default().note(&found.state, state, false);
        }
        for group in hidden(played, found, truth) {
            self.hidden.entry(group).or_default().note(&found.state, state, as_new_too);
        }
    }

    fn interval(
        &mut self,
        quantity: &'static str,
        groups: &[&'static str],
        stated: Option<Estimate>,
        truth: Option<f64>,
        ln: bool,
    ) {
        for group in groups {
            self.coverage.entry((quantity, group)).or_default().note(stated, truth, ln);
        }
    }

    /// Where a way across was found, its rate is another quantity than what the circuit loses in all.
    fn leak(
        &mut self,
        played: &Simulated,
        (found, paper): (&CircuitFinding, &Circuit),
        truth: &CircuitTruth,
        limit: f64,
    ) {
        let start = start_of_leak_down(played, &found.id);
        let (true, Some(start), Some(stated)) = (found.across_to.is_empty(), start, found.leak_rate_mbar_l_s)
        else {
            return;
        };
        let rate = at_start(truth, &played.truth, start, played.visit.rig.atmosphere);
        if rate > 0.0 {
            let case = match (truth.blocked_at.is_some(), is_exchanged(played, found)) {
                (true, _) => "case: blocked, so the volume is another",
                (_, true) => "case: hoses exchanged, so the volume is another",
                _ if played.truth.stopped_early.contains(&found.id) => "case: stopped early",
                _ => "case: nothing amiss",
            };
            let hoses = if played.visit.rig.fixture_volume.is_some() {
                "hoses: volume on file"
            } else {
                "hoses: volume not on file"
            };
            let groups = [ALL, instruments(played), known(paper), case, hoses, hold(played, found)];
            self.interval("leak rate", &groups, Some(stated), Some(rate), false);
        } else {
            self.tight.0 += 1;
            self.tight.1 += u64::from(stated.high < limit);
            self.tight.2 += u64::from(stated.low > limit);
        }
    }

    fn bore(
        &mut self,
        played: &Simulated,
        (found, paper): (&CircuitFinding, &Circuit),
        truth: &CircuitTruth,
    ) {
        if truth.blocked_at.is_some() {
            return;
        }
        let groups = [ALL, instruments(played), known(paper)];
        let (today, layer) = (&truth.today, truth.thickness.map(|layer| layer.mm()));
        let factor = Some(today.flow_factor.m3_h());
        self.interval("flow factor", &groups, found.flow_factor_m3_h, factor, true);
        let volume = Some(today.volume.ml());
        self.interval("filled volume", &groups, found.filled_volume_ml, volume, false);
        let covered = [groups[0], groups[1], groups[2], cover(truth)];
        self.interval("layer thickness", &covered, found.deposit_thickness_mm, layer, true);
        let plug = truth.plug_bore.map(|bore| bore.mm());
        self.interval("plug bore", &groups, found.plug_bore_mm, plug, true);
        self.interval("layer's share of the loss", &groups, found.layer_share, share(truth), false);
    }

    fn hoses(&mut self, played: &Simulated, findings: &Findings) {
        let called = |a: &CircuitId, b: &CircuitId| {
            let both = |doubt: &bench::finding::HookUpDoubt| {
                doubt.circuits.contains(a) && doubt.circuits.contains(b)
            };
            findings.hook_up_doubts.iter().any(both)
        };
        for (a, b) in &played.truth.swapped {
            note(&mut self.hoses.all, called(a, b));
            if differ(played, findings, a, b) {
                note(&mut self.hoses.apart, called(a, b));
            }
        }
        if played.truth.no_hose_slips() {
            note(&mut self.hoses.without, !findings.hook_up_doubts.is_empty());
        }
    }

    fn across(&mut self, played: &Simulated, findings: &Findings, limit: f64) {
        if !played.visit.entries.iter().any(|entry| matches!(entry.what, What::CrossWatch(_))) {
            return;
        }
        let mut named: Vec<(CircuitId, CircuitId)> = Vec::new();
        for found in &findings.circuits {
            for other in &found.across_to {
                let (a, b) = (connected(&played.truth, &found.id), connected(&played.truth, other));
                let pair = if a < b { (a, b) } else { (b, a) };
                if !named.contains(&pair) {
                    named.push(pair);
                }
            }
        }
        let leaks = &played.truth.leaks_across;
        let same = |pair: &(CircuitId, CircuitId), (a, b): &(CircuitId, CircuitId)| {
            pair == &(a.clone(), b.clone()) || pair == &(b.clone(), a.clone())
        };
        for leak in leaks {
            let found = named.iter().any(|pair| same(pair, &leak.between));
            let above = leak.leak.rate.mbar_l_s() > limit;
            note(if above { &mut self.across.above } else { &mut self.across.below }, found);
        }
        let invented = named.iter().filter(|pair| !leaks.iter().any(|leak| same(pair, &leak.between)));
        self.across.invented += invented.count() as u64;
    }
}

/// How long the air was held on supply before the leak-down.
fn hold(played: &Simulated, found: &CircuitFinding) -> &'static str {
    let held = played.visit.entries.iter().find_map(|entry| match &entry.what {
        What::LeakDown(reading) if entry.circuit.as_ref() == Some(&found.id) => Some(reading.hold.s()),
        _ => None,
    });
    match held {
        Some(held) if held >= 15.0 => "held on supply: 15 s and more",
        Some(held) if held >= 4.0 => "held on supply: 4 to 15 s",
        _ => "held on supply: under 4 s",
    }
}

/// Share of the layer in the extra loss, where there is any loss to share.
fn share(truth: &CircuitTruth) -> Option<f64> {
    match (truth.plugged_branch, truth.too_much, truth.state) {
        (None, None, BoreState::EvenDeposit) => Some(1.0),
        (None, None, BoreState::LocalPlug) => Some(0.0),
        (None, None, BoreState::Mixed) => truth.layer_share,
        _ => None,
    }
}

/// Whether the flow factors as new of two circuits differ by more than three standard uncertainties of reading and
/// expectation together.
fn differ(played: &Simulated, findings: &Findings, a: &CircuitId, b: &CircuitId) -> bool {
    let read = |id: &CircuitId| {
        let found = findings.circuits.iter().find(|found| found.id == *id)?;
        let stated = found.against_baseline_percent?;
        let spread = math::ln(stated.high / stated.low) / (2.0 * 1.96);
        let truth = played.truth.circuit(id)?;
        Some((math::ln(truth.as_new.flow_factor.m3_h()), spread))
    };
    match (read(a), read(b)) {
        (Some((ln_a, sd_a)), Some((ln_b, sd_b))) => {
            (ln_a - ln_b).abs() > 3.0 * (sd_a * sd_a + sd_b * sd_b).sqrt()
        }
        _ => false,
    }
}
