//! Whether the recommended further reading helps more than any other: both are taken and judged.

use bench::finding::{CircuitFinding, NextReading};
use bench::judge::assess;
use bench::limits::Tables;
use bench::mould::CircuitId;
use bench::visit::End;
use calc::infer::bore::Reading;
use calc::quantity::GaugePressure;
use link::plan::{Logger, ReadingKind, ReadingPlan, Sampling};
use link::{Invention, Plan, random_plan, simulate};

use super::found::connected;
use super::groups::true_state;
use super::halves;
use super::score::{CONFIDENT, most_probable};

/// First seed; others follow by counting.
const FIRST_SEED: u64 = 8_000_000;

/// Confident and right, confident and wrong: before, after the recommended reading, after one at random.
#[derive(Clone, Debug, Default)]
pub struct Further {
    pub circuits: u64,
    pub before: (u64, u64),
    pub recommended: (u64, u64),
    pub random: (u64, u64),
    /// How often each reading was recommended.
    pub kinds: std::collections::BTreeMap<Reading, u64>,
    /// Sum of the stated probabilities that the state would be sure after the recommended reading.
    pub promised: f64,
}

/// Takes one further reading on one open circuit of each of so many visits; two threads.
pub fn run(tables: &Tables, visits: u64) -> Further {
    let half = |odd: u64| {
        let mut sum = Further::default();
        (FIRST_SEED..FIRST_SEED + visits)
            .filter(|seed| seed % 2 == odd)
            .for_each(|seed| one(tables, seed, &mut sum));
        sum
    };
    halves(half, Further::add)
}

impl Further {
    fn add(&mut self, other: &Self) {
        self.circuits += other.circuits;
        self.promised += other.promised;
        for (mine, theirs) in [
            (&mut self.before, other.before),
            (&mut self.recommended, other.recommended),
            (&mut self.random, other.random),
        ] {
            mine.0 += theirs.0;
            mine.1 += theirs.1;
        }
        other.kinds.iter().for_each(|(kind, count)| *self.kinds.entry(*kind).or_default() += count);
    }
}

fn one(tables: &Tables, seed: u64, sum: &mut Further) {
    let mut plan = random_plan(seed, &Invention { circuits: (2, 4), ..Invention::default() });
    // Only readings that speak of the bore: the rest takes time and changes nothing here.
    plan.visit.readings.retain(|reading| {
        matches!(
            reading.what,
            ReadingKind::Flow { .. } | ReadingKind::Volume { .. } | ReadingKind::AirPassage { .. }
        )
    });
    let Some(before) = judged(tables, &plan, seed) else { return };
    for (found, truth) in &before {
        let open = most_probable(&found.state).1 <= CONFIDENT && found.state_fits.is_some();
        let (true, Some(next), Some(truth)) = (open, &found.next_reading, truth) else { continue };
        // A draw that the visit's seed fixes; the list is in the order of worth, which says nothing of the seed.
        let among = found.further_readings.len() as u64;
        let Some(random) = found.further_readings.get((seed / 2 % among.max(1)) as usize) else { continue };
        let after = |reading: &NextReading| -> Option<(bool, bool)> {
            let kind = kind(reading.kind, &plan);
            let mut longer = plan.clone();
            let logger = if kind_is_logged(&kind) { Logger::Own } else { Logger::Hand };
            longer.visit.readings.push(ReadingPlan {
                circuits: Some(vec![found.id.clone()]),
                logger,
                what: kind,
            });
            let all = judged(tables, &longer, seed)?;
            let (again, _) = all.iter().find(|(again, _)| again.id == found.id)?;
            Some(call(again, *truth))
        };
        let (Some(recommended), Some(random)) = (after(next), after(random)) else { continue };
        sum.circuits += 1;
        sum.promised += next.confident_probability;
        *sum.kinds.entry(next.kind).or_default() += 1;
        let mut count = |into: fn(&mut Further) -> &mut (u64, u64), (confident, right): (bool, bool)| {
            let cell = into(sum);
            cell.0 += u64::from(confident && right);
            cell.1 += u64::from(confident && !right);
        };
        count(|sum| &mut sum.before, call(found, *truth));
        count(|sum| &mut sum.recommended, recommended);
        count(|sum| &mut sum.random, random);
        return;
    }
}

type Truth = (bench::finding::BoreState, bool);

/// Findings of the circuits that are not blocked, with what is right.
fn judged(tables: &Tables, plan: &Plan, seed: u64) -> Option<Vec<(CircuitFinding, Option<Truth>)>> {
    let played = simulate(plan, seed).ok()?;
    let findings = assess(&played.mould, &played.visit, tables);
    let truth = |id: &CircuitId| {
        let truth = played.truth.circuit(&connected(&played.truth, id))?;
        if !played.truth.one_whole_circuit(id) {
            return None;
        }
        truth.blocked_at.is_none().then(|| true_state(truth))
    };
    Some(findings.circuits.iter().map(|found| (found.clone(), truth(&found.id))).collect())
}

fn call(found: &CircuitFinding, (state, as_new_too): Truth) -> (bool, bool) {
    let (best, probability) = most_probable(&found.state);
    let right = best == state || (as_new_too && best == bench::finding::BoreState::AsNew);
    (probability > CONFIDENT, right)
}

const fn kind_is_logged(kind: &ReadingKind) -> bool {
    matches!(kind, ReadingKind::AirPassage { .. } | ReadingKind::Flow { .. })
}

fn kind(reading: Reading, plan: &Plan) -> ReadingKind {
    let flow = |share: f64| ReadingKind::Flow {
        shares: vec![share],
        others: bench::visit::Others::Closed,
        sampling: None,
    };
    let by_air = plan.rig.stated.reference_volume.is_some();
    match reading {
        Reading::FullFlow => flow(1.0),
        Reading::LowFlow => flow(0.15),
        Reading::VolumeWithHoses => ReadingKind::Volume { by_air, through_fixture: true, from: End::Inlet },
        Reading::VolumeAlone => ReadingKind::Volume { by_air, through_fixture: false, from: End::Inlet },
        Reading::AirPassage => ReadingKind::AirPassage {
            from_reservoir: plan.rig.stated.reservoir_volume.is_some(),
            pressure: GaugePressure::from_bar(6.0),
            sampling: Sampling { rate_hz: 20.0, seconds: 15.0 },
        },
    }
}
