//! A second visit to the same mould: judged with and without what the first one found.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use bench::finding::{BoreState, Findings};
use bench::judge::assess;
use bench::limits::Tables;
use bench::mould::{CircuitId, Done, Earlier, Mould};
use exchange::earlier::{read_findings, take_up};
use exchange::findings_json::{Origin, document};
use link::plan::ReadingKind;
use link::{Invention, Physics, Plan, Simulated, later_plan, random_plan, simulate, simulate_day};

use super::found::connected;
use super::groups::{known, true_state};
use super::halves;
use super::page_parts::percent;
use super::score::{Score, most_probable};

/// First seed; others follow by counting. The day of the second visit draws from a seed that is so much higher.
const FIRST_SEED: u64 = 9_000_000;
const DAY_AFTER: u64 = 500_000_000;
/// From this probability on the operator of the trial does something about it.
const ACTS: f64 = 0.5;

/// Circuits of second visits, judged with the first's findings and without, by group.
#[derive(Clone, Debug, Default)]
pub struct Second {
    pub visits: u64,
    groups: BTreeMap<&'static str, (Score, Score)>,
    /// Warnings that past and today disagree: on circuits where nothing was amiss, and where hoses were exchanged.
    disagree: (u64, u64),
    exchanged: u64,
}

/// Two visits of each of so many moulds under each set of laws; two threads.
pub fn run(tables: &Tables, moulds: u64) -> Vec<(&'static str, Second)> {
    let laws = [("matching laws", Physics::Matching), ("other laws", Physics::Other)];
    laws.into_iter().map(|(name, physics)| (name, under(tables, physics, moulds))).collect()
}

fn under(tables: &Tables, physics: Physics, moulds: u64) -> Second {
    let half = |odd: u64| {
        let mut sum = Second::default();
        let seeds = (FIRST_SEED..FIRST_SEED + moulds).filter(|seed| seed % 2 == odd);
        seeds.for_each(|seed| sum.visits += u64::from(one(tables, physics, seed, &mut sum).is_some()));
        sum
    };
    halves(half, Second::add)
}

/// One mould; nothing if one of its visits cannot be played.
fn one(tables: &Tables, physics: Physics, seed: u64, sum: &mut Second) -> Option<()> {
    let options = Invention { circuits: (3, 8), physics, ..Invention::default() };
    let mut plan = random_plan(seed, &options);
    only_of_the_bore(&mut plan);
    let first = simulate(&plan, seed).ok()?;
    let found = assess(&first.mould, &first.visit, tables);
    let done = done(&found, seed);
    let days = 60 + u32::try_from(seed * 37 % 480).ok()?;
    let day = seed + DAY_AFTER;
    let mut later = later_plan(&plan, days, &done, &options, day);
    only_of_the_bore(&mut later);
    let second = simulate_day(&later, seed, day).ok()?;
    let with = assess(&with_past(&second, &first, &found, &done)?, &second.visit, tables);
    let without = assess(&second.mould, &second.visit, tables);
    sum.visit(&second, &with, &without, &done);
    Some(())
}

/// Only readings that speak of the bore: the rest takes time and changes nothing here.
fn only_of_the_bore(plan: &mut Plan) {
    plan.visit.readings.retain(|reading| {
        matches!(
            reading.what,
            ReadingKind::Flow { .. } | ReadingKind::Volume { .. } | ReadingKind::AirPassage { .. }
        )
    });
}

/// What the operator does after the first visit, from its findings alone: half of what is called is worked on, and one
/// circuit of twenty without need.
fn done(found: &Findings, seed: u64) -> BTreeMap<CircuitId, Vec<Done>> {
    let mut done = BTreeMap::new();
    for (circuit, draw) in found.circuits.iter().zip(seed * 7..) {
        let work = match most_probable(&circuit.state) {
            (BoreState::EvenDeposit, p) if p > ACTS => vec![Done::Descaled],
            (BoreState::LocalPlug, p) if p > ACTS => vec![Done::Rodded],
            (BoreState::Mixed, p) if p > ACTS => vec![Done::Rodded, Done::Descaled],
            (BoreState::Unknown, p) if p > ACTS => vec![Done::Repaired],
            _ if draw % 20 == 3 => vec![Done::Descaled],
            _ => continue,
        };
        if draw % 2 == 1 {
            done.insert(circuit.id.clone(), work);
        }
    }
    done
}

/// The mould of the second visit with the first one's findings, read back from the document that was written of them.
fn with_past(
    second: &Simulated,
    first: &Simulated,
    found: &Findings,
    done: &BTreeMap<CircuitId, Vec<Done>>,
) -> Option<Mould> {
    let written = document(found, Origin { program: "trial", digest: "", inputs: &[] }).to_string();
    let document = read_findings("findings.json", written.as_bytes()).ok()?;
    let mut mould = second.mould.clone();
    for circuit in &mut mould.circuits {
        circuit.earlier.extend(done.get(&circuit.id).map(|work| Earlier {
            date: Earlier::day_of(first.visit.started),
            visit: None,
            found: None,
            done: work.clone(),
            remark: None,
        }));
    }
    take_up(&mut mould, &second.visit, &[document]).ok()?;
    Some(mould)
}

impl Second {
    fn add(&mut self, other: &Self) {
        self.visits += other.visits;
        self.exchanged += other.exchanged;
        self.disagree = (self.disagree.0 + other.disagree.0, self.disagree.1 + other.disagree.1);
        for (group, (with, without)) in &other.groups {
            let mine = self.groups.entry(group).or_default();
            mine.0.add(with);
            mine.1.add(without);
        }
    }

    fn visit(
        &mut self,
        played: &Simulated,
        with: &Findings,
        without: &Findings,
        done: &BTreeMap<CircuitId, Vec<Done>>,
    ) {
        for (with_one, without_one) in with.circuits.iter().zip(&without.circuits) {
            let id = connected(&played.truth, &with_one.id);
            let (Some(truth), Some(paper)) = (played.truth.circuit(&id), played.mould.circuit(&with_one.id))
            else {
                continue;
            };
            let counts = played.truth.one_whole_circuit(&with_one.id) && truth.blocked_at.is_none();
            if !counts || without_one.state_fits.is_none() {
                continue;
            }
            let (state, as_new_too) = true_state(truth);
            let work = if done.contains_key(&with_one.id) { "worked on since" } else { "left alone since" };
            for group in ["all", work, known(paper)] {
                let mine = self.groups.entry(group).or_default();
                mine.0.note(&with_one.state, state, as_new_too);
                mine.1.note(&without_one.state, state, as_new_too);
            }
            let exchanged = id != with_one.id;
            self.exchanged += u64::from(exchanged);
            let warned = with.warnings.iter().any(|warning| {
                warning.code == "past-disagrees" && warning.circuit.as_ref() == Some(&with_one.id)
            });
            let cell = if exchanged { &mut self.disagree.1 } else { &mut self.disagree.0 };
            *cell += u64::from(warned);
        }
    }
}

/// The section of the page.
pub fn section(text: &mut String, both: &[(&'static str, Second)]) {
    text.push_str("\n## A second visit\n\nThe same moulds 60 to 540 days later: layers have grown, bores have fouled, and half of what the first findings called was worked on, with successes and rates of the virtual plant's own. The second visit is judged without a past, and with the first's findings read back from their document. *Wrong*: of the confident calls (above 95 %).\n");
    for (name, second) in both {
        let _ = write!(
            text,
            "\nUnder {name}, {} second visits, seeds from {FIRST_SEED}; in each cell: without the past → with it.\n\n| circuits | | most probable state right | calibration error | finite counts alone | of every state | mean −ln of the true state's probability | confident calls | of these wrong |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: |\n",
            second.visits
        );
        for (group, (with, without)) in &second.groups {
            let both = |of: &dyn Fn(&Score) -> String| format!("{} → {}", of(without), of(with));
            let _ = writeln!(
                text,
                "| {group} | {:.0} | {} | {} | {} | {} | {} | {} | {} |",
                with.count(),
                both(&|score| percent(score.right())),
                both(&|score| format!("{:.4}", score.error().0)),
                both(&|score| format!("{:.4}", score.error().1)),
                both(&|score| format!("{:.4}", score.state_error())),
                both(&|score| format!("{:.3}", score.log_score())),
                both(&|score| percent(score.confident_shares().0)),
                both(&|score| percent(score.confident_shares().1)),
            );
        }
        let (calm, exchanged) = second.disagree;
        let _ = writeln!(
            text,
            "\nWarned that past and today disagree: {exchanged} of {} circuits with exchanged hoses, {calm} of the others.",
            second.exchanged
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small part of the trial in every test run, with bars as wide as chance at this size needs.
    #[test]
    fn the_past_helps_and_does_not_lock() {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let tables = super::super::tables(root).unwrap();
        let second = under(&tables, Physics::Matching, 30);
        let (with, without) = &second.groups["all"];
        assert!(with.count() > 60.0 && (with.count() - without.count()).abs() < 0.5);
        assert!(with.right() > without.right() - 0.05, "{} {}", with.right(), without.right());
        assert!(with.log_score() < without.log_score() + 0.05);
        assert!(with.error().0 < 0.15, "{:?}", with.error());
        assert!(with.confident_shares().1 < 0.15, "{:?}", with.confident());
    }
}
