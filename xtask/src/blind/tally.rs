//! What was found in simulated visits against what is true, by what was known and what was read with.

use std::collections::BTreeMap;

use bench::finding::{BoreState, CircuitFinding, Findings};
use bench::limits::Tables;
use bench::mould::{Circuit, Known, Process};
use bench::visit::What;
use link::{CircuitTruth, Simulated};

use super::score::{Coverage, Score};
use crate::trial::tally::{at_start, connected, start_of_leak_down};

/// A fault that costs less of the flow than this is as good as none.
const LIGHT: f64 = 0.03;

/// Everything counted.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub visits: u64,
    pub circuits: u64,
    pub unplayable: u64,
    /// Score by group; `all` holds every circuit.
    pub scores: BTreeMap<String, Score>,
    /// 90 % intervals by quantity and group.
    pub coverage: BTreeMap<(String, String), Coverage>,
    /// Exchanged pairs: all, found; those that can be told apart, found; visits without exchange, with false alarm.
    pub exchanged: [u64; 6],
}

impl Tally {
    pub fn add(&mut self, other: &Self) {
        self.visits += other.visits;
        self.circuits += other.circuits;
        self.unplayable += other.unplayable;
        other.scores.iter().for_each(|(key, score)| self.scores.entry(key.clone()).or_default().add(score));
        other
            .coverage
            .iter()
            .for_each(|(key, held)| self.coverage.entry(key.clone()).or_default().add(*held));
        self.exchanged.iter_mut().zip(other.exchanged).for_each(|(mine, theirs)| *mine += theirs);
    }

    /// Counts one visit.
    pub fn visit(&mut self, played: &Simulated, findings: &Findings) {
        self.visits += 1;
        for found in &findings.circuits {
            let id = connected(&played.truth, &found.id);
            if let (Some(truth), Some(paper)) = (played.truth.circuit(&id), played.mould.circuit(&found.id)) {
                self.circuits += 1;
                self.state(played, found, truth, paper);
                self.intervals(played, found, truth);
            }
        }
        self.hoses(played, findings);
    }

    fn state(&mut self, played: &Simulated, found: &CircuitFinding, truth: &CircuitTruth, paper: &Circuit) {
        if truth.blocked_at.is_some() || found.state_fits.is_none() {
            return;
        }
        let (state, as_new_too) = true_state(truth);
        for group in groups(played, found, paper) {
            self.scores.entry(group).or_default().note(&found.state, state, as_new_too);
        }
    }

    fn intervals(&mut self, played: &Simulated, found: &CircuitFinding, truth: &CircuitTruth) {
        let rig = instruments(played);
        let mut note = |quantity: &str, stated, value: Option<f64>, ln: bool| {
            for group in ["all", rig] {
                self.coverage
                    .entry((quantity.to_owned(), group.to_owned()))
                    .or_default()
                    .note(stated, value, ln);
            }
        };
        if let (true, Some(start)) = (found.across_to.is_empty(), start_of_leak_down(played, &found.id)) {
            let rate = at_start(truth, &played.truth, start);
            if rate > 0.0 {
                note("leak rate", found.leak_rate_mbar_l_s, Some(rate), false);
            }
        }
        if truth.blocked_at.is_some() {
            return;
        }
        note("flow factor", found.flow_factor_m3_h, Some(truth.today.flow_factor.m3_h()), true);
        note("filled volume", found.filled_volume_ml, Some(truth.today.volume.ml()), false);
        note("layer thickness", found.deposit_thickness_mm, truth.thickness.map(|layer| layer.mm()), true);
        note("plug bore", found.plug_bore_mm, truth.plug_bore.map(|bore| bore.mm()), true);
    }

    fn hoses(&mut self, played: &Simulated, findings: &Findings) {
        let called = |a: &bench::mould::CircuitId, b: &bench::mould::CircuitId| {
            findings
                .hook_up_doubts
                .iter()
                .any(|doubt| doubt.circuits.contains(a) && doubt.circuits.contains(b))
        };
        for (a, b) in &played.truth.swapped {
            let found = u64::from(called(a, b));
            self.exchanged[0] += 1;
            self.exchanged[1] += found;
            if differ(played, findings, a, b) {
                self.exchanged[2] += 1;
                self.exchanged[3] += found;
            }
        }
        if played.truth.swapped.is_empty() {
            self.exchanged[4] += 1;
            self.exchanged[5] += u64::from(!findings.hook_up_doubts.is_empty());
        }
    }
}

/// Whether the flow factors of today of two circuits differ by more than three standard uncertainties of their readings.
fn differ(
    played: &Simulated,
    findings: &Findings,
    a: &bench::mould::CircuitId,
    b: &bench::mould::CircuitId,
) -> bool {
    let read = |id: &bench::mould::CircuitId| {
        let found = findings.circuits.iter().find(|found| found.id == *id)?;
        let stated = found.against_baseline_percent?;
        let spread = calc::numeric::math::ln(stated.high / stated.low) / (2.0 * 1.96);
        let truth = played.truth.circuit(id)?;
        Some((calc::numeric::math::ln(truth.as_new.flow_factor.m3_h()), spread))
    };
    match (read(a), read(b)) {
        (Some((ln_a, sd_a)), Some((ln_b, sd_b))) => {
            (ln_a - ln_b).abs() > 3.0 * (sd_a * sd_a + sd_b * sd_b).sqrt()
        }
        _ => false,
    }
}

/// The state that is right, and whether 'as new' is right as well.
pub fn true_state(truth: &CircuitTruth) -> (BoreState, bool) {
    if truth.too_much.is_some() {
        return (BoreState::Unknown, truth.flow_share() < 1.0 + LIGHT);
    }
    let state = match (truth.plugged_branch, truth.state) {
        (Some(_), BoreState::EvenDeposit | BoreState::Mixed) => BoreState::Mixed,
        (Some(_), _) => BoreState::LocalPlug,
        (None, state) => state,
    };
    (state, truth.flow_share() > 1.0 - LIGHT)
}

/// Class of the rig's instruments.
fn instruments(played: &Simulated) -> &'static str {
    match played.visit.rig.name.as_deref() {
        Some("trial rig 1") => "ordinary",
        Some("trial rig 2") => "good",
        Some("trial rig 3") => "excellent",
        _ => "read by hand",
    }
}

fn groups(played: &Simulated, found: &CircuitFinding, paper: &Circuit) -> Vec<String> {
    let known = match (paper.known, paper.baseline.is_some()) {
        (Known::Measured, false) => "pieces measured",
        (Known::Measured, true) => "pieces measured, baseline",
        (Known::Drawing, false) => "drawing",
        (Known::Drawing, true) => "drawing, baseline",
        (Known::Guessed, false) => "guessed",
        (Known::Guessed, true) => "guessed, baseline",
        (Known::Unknown, true) => "baseline only",
        (Known::Unknown, false) if paper.rough_bore.is_some() => "rough bore only",
        (Known::Unknown, false) => "nothing",
    };
    let points = played
        .visit
        .entries
        .iter()
        .filter(|entry| entry.circuit.as_ref() == Some(&found.id) && matches!(entry.what, What::Flow(_)))
        .count();
    let volume = if found.filled_volume_ml.is_some() { ", volume" } else { "" };
    let read = match points {
        0 => format!("no flow{volume}"),
        1 => format!("one flow point{volume}"),
        _ => format!("sweep of {points}{volume}"),
    };
    let fits = if found.state_fits == Some(true) { "fits" } else { "does not fit" };
    vec![
        "all".to_owned(),
        format!("known: {known}"),
        format!("instruments: {}", instruments(played)),
        format!("read: {read}"),
        format!("fit: {fits}"),
    ]
}

/// Rate that counts as a leak in this mould.
pub fn limit(played: &Simulated, tables: &Tables) -> f64 {
    match played.mould.process {
        Process::InjectionMoulding => tables.limits.leak_rate.value,
        Process::DieCasting => tables.limits.leak_rate_die_casting.value,
    }
}
