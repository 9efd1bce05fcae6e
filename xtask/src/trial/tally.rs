//! Counts of what was found against what is true.

use std::collections::BTreeMap;

use bench::finding::{BoreState, CircuitFinding, Findings, Passage, Tightness};
use bench::limits::Tables;
use bench::mould::{CircuitId, Process};
use bench::visit::{Decay, LeakDown, What};
use calc::estimate::Estimate;
use calc::quantity::{AbsolutePressure, GaugePressure};
use link::plan::Leak;
use link::{CircuitTruth, Simulated, Truth};

/// Intervals that held the truth, of all that were given.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    held: u64,
    all: u64,
}

impl Coverage {
    fn note(&mut self, estimate: Option<Estimate>, truth: f64) {
        if let Some(estimate) = estimate {
            self.all += 1;
            self.held += u64::from(estimate.holds(truth));
        }
    }

    fn add(&mut self, other: Self) {
        self.held += other.held;
        self.all += other.all;
    }

    /// Share that held; 1 if none was given.
    #[expect(clippy::cast_precision_loss, reason = "counts far below 2^53")]
    pub fn share(&self) -> f64 {
        if self.all == 0 { 1.0 } else { self.held as f64 / self.all as f64 }
    }

    /// How many were given.
    pub const fn all(&self) -> u64 {
        self.all
    }
}

/// Counts by what is true (row) and what was found (column).
pub type Table = BTreeMap<(&'static str, &'static str), u64>;

/// Everything counted.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Visits judged.
    pub visits: u64,
    /// Circuits judged.
    pub circuits: u64,
    /// Plans that could not be played.
    pub unplayable: u64,
    /// Visits lost to a crash.
    pub broken: u64,
    /// Tightness.
    pub tightness: Table,
    /// Passage.
    pub passage: Table,
    /// State of the bore, by the most probable.
    pub state: Table,
    /// Next step by what is wrong.
    pub step: Table,
    /// Gates that stood open and must not: what, and how often.
    pub open_gates: BTreeMap<&'static str, u64>,
    /// Where they stood open: seed, circuit, and what was said.
    pub broken_at: Vec<String>,
    /// Circuits to which each of the two safety rules applied.
    pub at_risk: BTreeMap<&'static str, u64>,
    /// Leak-rate intervals.
    pub leak_rate: Coverage,
    /// Flow-factor intervals.
    pub flow_factor: Coverage,
    /// Filled-volume intervals.
    pub volume: Coverage,
    /// Thickness intervals, where there is an even layer.
    pub thickness: Coverage,
    /// Exchanged pairs: those there are, those found, and false alarms.
    pub exchanged: (u64, u64, u64),
}

/// The rules that must never be broken.
pub const WET_BLOCKED: &str = "wet gate open on a blocked circuit";
/// The other one.
pub const ACID_ACROSS: &str = "descale gate open on a circuit that leaks across";

impl Tally {
    /// Whether no gate stood open that must not.
    pub fn is_safe(&self) -> bool {
        self.open_gates.is_empty() && self.broken == 0
    }

    /// Adds another tally.
    pub fn add(&mut self, other: &Self) {
        self.visits += other.visits;
        self.circuits += other.circuits;
        self.unplayable += other.unplayable;
        self.broken += other.broken;
        for (mine, theirs) in [
            (&mut self.tightness, &other.tightness),
            (&mut self.passage, &other.passage),
            (&mut self.state, &other.state),
            (&mut self.step, &other.step),
        ] {
            theirs.iter().for_each(|(key, count)| *mine.entry(*key).or_default() += count);
        }
        other.open_gates.iter().for_each(|(rule, count)| *self.open_gates.entry(rule).or_default() += count);
        self.broken_at.extend(other.broken_at.iter().cloned());
        other.at_risk.iter().for_each(|(rule, count)| *self.at_risk.entry(rule).or_default() += count);
        self.leak_rate.add(other.leak_rate);
        self.flow_factor.add(other.flow_factor);
        self.volume.add(other.volume);
        self.thickness.add(other.thickness);
        let (there, found, false_alarms) = other.exchanged;
        self.exchanged =
            (self.exchanged.0 + there, self.exchanged.1 + found, self.exchanged.2 + false_alarms);
    }

    /// Counts one visit.
    pub fn visit(&mut self, played: &Simulated, findings: &Findings, tables: &Tables) {
        self.visits += 1;
        let limit = match played.mould.process {
            Process::InjectionMoulding => tables.limits.leak_rate.value,
            Process::DieCasting => tables.limits.leak_rate_die_casting.value,
        };
        for found in &findings.circuits {
            // Water and acid go where the hose goes: a circuit whose hose was exchanged is judged, and counted, as the
            // one that was really connected.
            let connected = connected(&played.truth, &found.id);
            if let Some(circuit) = played.truth.circuit(&connected) {
                let start_bar_g = start_of_leak_down(played, &found.id);
                self.circuit(found, circuit, &played.truth, limit, start_bar_g);
            }
        }
        self.hoses(&played.truth, findings);
    }

    fn circuit(
        &mut self,
        found: &CircuitFinding,
        truth: &CircuitTruth,
        all: &Truth,
        limit: f64,
        start_bar_g: Option<f64>,
    ) {
        self.circuits += 1;
        let across: f64 = all.across(&truth.id).iter().map(|(_, rate)| rate.mbar_l_s()).sum();
        let out = truth.leak_out.map_or(0.0, |(rate, _)| rate.mbar_l_s());
        let total = across + out;
        count(&mut self.tightness, leak_class(across, out, limit), tightness(found.tightness));
        let blocked = truth.blocked_at.is_some();
        count(&mut self.passage, passage_class(truth), passage(found.passage));
        if !blocked && truth.too_much.is_none() {
            count(&mut self.state, state(truth.state), most_probable(found));
        }
        count(&mut self.step, trouble(truth, across, out, limit), step(found));
        let place = || {
            format!(
                "seed {}, {}: leaks {total:.3} in all; found {:?}",
                all.seed, truth.id, found.leak_rate_mbar_l_s
            )
        };
        self.rule(WET_BLOCKED, blocked, found.gates.wet.open, &place);
        self.rule(ACID_ACROSS, across > limit, found.gates.descale.open, &place);
        if let (true, Some(start_bar_g)) = (found.across_to.is_empty(), start_bar_g) {
            self.leak_rate.note(found.leak_rate_mbar_l_s, at_start(truth, all, start_bar_g));
        }
        if !blocked {
            self.flow_factor.note(found.flow_factor_m3_h, truth.today.flow_factor.m3_h());
            self.volume.note(found.filled_volume_ml, truth.today.volume.ml());
        }
        if let (BoreState::EvenDeposit, Some(layer)) = (truth.state, truth.thickness) {
            self.thickness.note(found.deposit_thickness_mm, layer.mm());
        }
    }

    fn rule(&mut self, rule: &'static str, applies: bool, open: bool, place: &dyn Fn() -> String) {
        if applies {
            *self.at_risk.entry(rule).or_default() += 1;
            if open {
                *self.open_gates.entry(rule).or_default() += 1;
                self.broken_at.push(format!("{rule}: {}", place()));
            }
        }
    }

    fn hoses(&mut self, truth: &Truth, findings: &Findings) {
        self.exchanged.0 += truth.swapped.len() as u64;
        for doubt in &findings.hook_up_doubts {
            let real =
                truth.swapped.iter().any(|(a, b)| doubt.circuits.contains(a) && doubt.circuits.contains(b));
            if real {
                self.exchanged.1 += 1;
            } else {
                self.exchanged.2 += 1;
            }
        }
    }
}

/// Gauge pressure at which the leak-down of a circuit began; the highest, where there are several.
pub fn start_of_leak_down(played: &Simulated, id: &CircuitId) -> Option<f64> {
    let own = played.visit.entries.iter().filter(|entry| entry.circuit.as_ref() == Some(id));
    let starts = own.filter_map(|entry| match &entry.what {
        What::LeakDown(LeakDown { decay: Decay::Trace(trace), .. }) => {
            trace.pressures().and_then(|(_, pressures)| pressures.first().copied())
        }
        What::LeakDown(LeakDown { decay: Decay::TwoReadings { start, .. }, .. }) => Some(start.bar()),
        _ => None,
    });
    starts.max_by(f64::total_cmp)
}

/// All that a circuit loses at this gauge pressure; the truth is stated at 7 bar absolute.
pub fn at_start(truth: &CircuitTruth, all: &Truth, start_bar_g: f64) -> f64 {
    let start = GaugePressure::from_bar(start_bar_g);
    let now = |leak: Leak| CircuitTruth::at_pressure(leak, start, AbsolutePressure::from_bar(1.0)).mbar_l_s();
    let across =
        all.leaks_across.iter().filter(|leak| leak.between.0 == truth.id || leak.between.1 == truth.id);
    let across: f64 = across.map(|leak| now(leak.leak)).sum();
    across + truth.leak_out.map_or(0.0, |(rate, law)| now(Leak { rate, law }))
}

/// The circuit that was on the hose of this one.
pub fn connected(truth: &Truth, id: &CircuitId) -> CircuitId {
    let other = truth.swapped.iter().find_map(|(a, b)| match () {
        () if a == id => Some(b),
        () if b == id => Some(a),
        () => None,
    });
    other.unwrap_or(id).clone()
}

fn count(table: &mut Table, row: &'static str, column: &'static str) {
    *table.entry((row, column)).or_default() += 1;
}

fn leak_class(across: f64, out: f64, limit: f64) -> &'static str {
    match () {
        () if across > limit => "4 leaks across",
        () if out > 1.5 * limit => "3 leaks out, above 1.5 limits",
        () if out + across > limit => "2 leaks, 1 to 1.5 limits",
        () => "1 tight",
    }
}

const fn tightness(found: Tightness) -> &'static str {
    match found {
        Tightness::Tight => "1 tight",
        Tightness::LeaksOut => "2 leaks out",
        Tightness::LeaksAcross => "3 leaks across",
        Tightness::Leaks => "4 leaks",
        Tightness::CannotTell => "5 cannot tell",
        Tightness::Untested => "6 untested",
    }
}

fn passage_class(truth: &CircuitTruth) -> &'static str {
    let share = truth.today.sonic_conductance / truth.as_new.sonic_conductance;
    match () {
        () if truth.blocked_at.is_some() => "4 blocked",
        () if share < 0.5 => "3 under half of its conductance",
        () if share < 0.8 => "2 half to 80 % of its conductance",
        () => "1 open",
    }
}

const fn passage(found: Passage) -> &'static str {
    match found {
        Passage::Free => "1 free",
        Passage::NarrowByDesign => "2 narrow by design",
        Passage::Restricted => "3 restricted",
        Passage::Blocked => "4 blocked",
        Passage::CannotTell => "5 cannot tell",
        Passage::Untested => "6 untested",
    }
}

const fn state(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "1 as new",
        BoreState::EvenDeposit => "2 even deposit",
        BoreState::LocalPlug => "3 local plug",
        BoreState::Mixed => "4 mixed",
        BoreState::Rough => "5 rough",
        BoreState::Unknown => "6 unknown",
    }
}

/// The most probable state, or 'not sure' where none reaches 80 %.
fn most_probable(found: &CircuitFinding) -> &'static str {
    let best = found.state.iter().max_by(|a, b| a.1.total_cmp(b.1));
    match best {
        Some((best, probability)) if *probability >= 0.8 => state(*best),
        _ => "7 not sure (none at 80 %)",
    }
}

/// What is wrong, gravest first.
fn trouble(truth: &CircuitTruth, across: f64, out: f64, limit: f64) -> &'static str {
    match () {
        () if across > limit => "1 leaks across",
        () if out > limit => "2 leaks out",
        () if truth.blocked_at.is_some() => "3 blocked",
        () if truth.too_much.is_some() => "4 too much flow",
        () if truth.flow_share() < 0.85 => match truth.state {
            BoreState::EvenDeposit | BoreState::Mixed => "5 deposit, under 85 % of its flow",
            _ => "6 plug or rough, under 85 % of its flow",
        },
        () => "7 nothing grave",
    }
}

const fn step(found: &CircuitFinding) -> &'static str {
    use bench::finding::NextStep::{Descale, FindOut, Leave, Open, Repair, Retire};
    match found.next_step {
        Leave => "1 leave",
        FindOut => "2 find out",
        Open => "3 open",
        Repair => "4 repair",
        Descale => "5 descale",
        Retire => "6 retire",
    }
}
