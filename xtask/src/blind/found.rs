//! Verdicts, next steps and gates against what is true.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use bench::finding::{BoreState, CircuitFinding, Findings, Passage, Tightness};
use bench::limits::Tables;
use bench::mould::{CircuitId, Process};
use bench::visit::{Decay, LeakDown, What};
use calc::quantity::{AbsolutePressure, GaugePressure};
use link::plan::Leak;
use link::{CircuitTruth, Simulated, Truth};

/// Counts by what is true (row) and what was found (column). The leading number of a name only sorts it.
type Table = BTreeMap<(&'static str, &'static str), u64>;

/// The rules that must never be broken.
pub const WET_BLOCKED: &str = "wet gate open on a blocked circuit";
/// The other one.
pub const ACID_ACROSS: &str = "descale gate open on a circuit that leaks across above the limit";

/// Verdicts counted.
#[derive(Clone, Debug, Default)]
pub struct Found {
    tightness: Table,
    passage: Table,
    step: Table,
    /// Circuits to which each of the two rules applied, and how often it was broken.
    pub rules: BTreeMap<&'static str, (u64, u64)>,
    /// Where a rule was broken: seed and circuit.
    pub broken_at: Vec<String>,
}

impl Found {
    /// Adds other counts.
    pub fn add(&mut self, other: &Self) {
        for (mine, theirs) in [
            (&mut self.tightness, &other.tightness),
            (&mut self.passage, &other.passage),
            (&mut self.step, &other.step),
        ] {
            theirs.iter().for_each(|(key, count)| *mine.entry(*key).or_default() += count);
        }
        for (rule, (cases, broken)) in &other.rules {
            let mine = self.rules.entry(rule).or_default();
            *mine = (mine.0 + cases, mine.1 + broken);
        }
        self.broken_at.extend(other.broken_at.iter().cloned());
    }

    /// Counts one visit. Water and acid go where the hose goes: a circuit whose hose was exchanged is judged, and
    /// counted, as the one that was really connected; of a port with an open hose, two circuits or another's return only
    /// the gates count.
    pub fn visit(&mut self, played: &Simulated, findings: &Findings, tables: &Tables) {
        let limit = limit(played, tables);
        for found in &findings.circuits {
            if !played.truth.one_whole_circuit(&found.id) {
                for (id, across, blocked) in behind(&played.truth, &found.id) {
                    let place = format!("seed {}, port of {}: {id}", played.truth.seed, found.id);
                    self.rule(WET_BLOCKED, blocked, found.gates.wet.open, &place);
                    self.rule(ACID_ACROSS, across > limit, found.gates.descale.open, &place);
                }
                continue;
            }
            if let Some(truth) = played.truth.circuit(&connected(&played.truth, &found.id)) {
                self.circuit(found, truth, &played.truth, limit);
            }
        }
    }

    fn circuit(&mut self, found: &CircuitFinding, truth: &CircuitTruth, all: &Truth, limit: f64) {
        let across: f64 = all.across(&truth.id).iter().map(|(_, rate)| rate.mbar_l_s()).sum();
        let out = truth.leak_out.map_or(0.0, |(rate, _)| rate.mbar_l_s());
        count(&mut self.tightness, leak_class(across, out, limit), tightness(found.tightness));
        count(&mut self.passage, passage_class(truth), passage(found.passage));
        count(&mut self.step, trouble(truth, across, out, limit), step(found));
        let place = format!("seed {}, {}", all.seed, found.id);
        self.rule(WET_BLOCKED, truth.blocked_at.is_some(), found.gates.wet.open, &place);
        self.rule(ACID_ACROSS, across > limit, found.gates.descale.open, &place);
    }

    fn rule(&mut self, rule: &'static str, applies: bool, open: bool, place: &str) {
        if applies {
            let cell = self.rules.entry(rule).or_default();
            *cell = (cell.0 + 1, cell.1 + u64::from(open));
            if open {
                self.broken_at.push(format!("{place}: {rule}"));
            }
        }
    }

    /// The tables in words.
    pub fn tables(&self, text: &mut String) {
        section(text, "Tightness", "leak rate", &self.tightness);
        section(text, "Passage", "passage", &self.passage);
        section(text, "Next step", "what is wrong", &self.step);
    }
}

/// Rate that counts as a leak in this mould.
pub fn limit(played: &Simulated, tables: &Tables) -> f64 {
    match played.mould.process {
        Process::InjectionMoulding => tables.limits.leak_rate.value,
        Process::DieCasting => tables.limits.leak_rate_die_casting.value,
    }
}

fn section(text: &mut String, title: &str, what: &str, table: &Table) {
    let rows: BTreeSet<&str> = table.keys().map(|(row, _)| *row).collect();
    let columns: BTreeSet<&str> = table.keys().map(|(_, column)| *column).collect();
    let plain = |name: &str| name.get(2..).unwrap_or_default().to_owned();
    let _ = write!(text, "\n### {title}\n\n| true {what} | all |");
    columns.iter().for_each(|column| {
        let _ = write!(text, " {} |", plain(column));
    });
    let _ = write!(text, "\n| --- | --: |{}\n", " --: |".repeat(columns.len()));
    for row in rows {
        let cells: Vec<u64> = columns
            .iter()
            .map(|column| {
                table.iter().find(|((r, c), _)| *r == row && c == column).map_or(0, |(_, count)| *count)
            })
            .collect();
        let _ = write!(text, "| {} | {} |", plain(row), cells.iter().sum::<u64>());
        cells.iter().for_each(|cell| {
            let _ = write!(text, " {cell} |");
        });
        text.push('\n');
    }
}

/// Gauge pressure at which the leak-down of a circuit began.
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

/// All that a circuit loses at this gauge pressure, in this day's air, at 20 degC; the truth is stated at 7 bar absolute.
/// The pressure is the one that the gauge showed, as in the finding.
pub fn at_start(truth: &CircuitTruth, all: &Truth, start_bar_g: f64, air: AbsolutePressure) -> f64 {
    let start = GaugePressure::from_bar(start_bar_g);
    let now = |leak: Leak| CircuitTruth::at_pressure(leak, start, air).mbar_l_s();
    let across =
        all.leaks_across.iter().filter(|leak| leak.between.0 == truth.id || leak.between.1 == truth.id);
    let across: f64 = across.map(|leak| now(leak.leak)).sum();
    across + truth.leak_out.map_or(0.0, |(rate, law)| now(Leak { rate, law }))
}

/// What the supply of a port really reaches: each circuit with its leak across in mbar l/s, and whether it is blocked. With
/// returns exchanged a port is a dead end to the rig while the other one is shut; its circuit is none, and empties itself.
pub fn behind(truth: &Truth, id: &CircuitId) -> Vec<(CircuitId, f64, bool)> {
    let one = |id: CircuitId| {
        let across_mbar_l_s: f64 = truth.across(&id).iter().map(|(_, rate)| rate.mbar_l_s()).sum();
        let blocked = truth.circuit(&id).is_some_and(|circuit| circuit.blocked_at.is_some());
        (id, across_mbar_l_s, blocked)
    };
    truth.on_port(id).into_iter().map(one).collect()
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
