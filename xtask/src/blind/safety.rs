//! The two rules that must never be broken, on moulds full of leaks and blocks.

use bench::judge::assess;
use bench::limits::Tables;
use calc::quantity::GaugePressure;
use link::plan::{Logger, ReadingKind, ReadingPlan, Sampling};
use link::{Invention, Plan, random_plan, simulate};

use super::found::{behind, limit};
use super::halves;

/// First seed; others follow by counting.
const FIRST_SEED: u64 = 7_000_000;

/// Circuits concerned, and gates that stood open.
#[derive(Clone, Debug, Default)]
pub struct Safety {
    pub visits: u64,
    pub across: (u64, u64),
    pub blocked: (u64, u64),
    pub broken_at: Vec<String>,
}

/// Judges visits until both kinds have come up this often; two threads, even and odd seeds.
pub fn run(tables: &Tables, wanted: u64) -> Safety {
    halves(
        |odd| half(tables, wanted.div_ceil(2), odd),
        |all: &mut Safety, other| {
            all.visits += other.visits;
            all.across = (all.across.0 + other.across.0, all.across.1 + other.across.1);
            all.blocked = (all.blocked.0 + other.blocked.0, all.blocked.1 + other.blocked.1);
            all.broken_at.extend(other.broken_at.iter().cloned());
        },
    )
}

fn half(tables: &Tables, wanted: u64, odd: u64) -> Safety {
    let mut safety = Safety::default();
    let options = Invention {
        circuits: (4, 8),
        leaks_across: 0.35,
        blocked: 0.3,
        swapped: 0.15,
        ..Invention::default()
    };
    let mut seed = FIRST_SEED + odd;
    while safety.across.0 < wanted || safety.blocked.0 < wanted {
        let plan = short(random_plan(seed, &options));
        if let Ok(played) = simulate(&plan, seed) {
            let findings = assess(&played.mould, &played.visit, tables);
            safety.visits += 1;
            for found in &findings.circuits {
                let mut count = |cases: &mut (u64, u64), applies: bool, open: bool, what: &str| {
                    cases.0 += u64::from(applies);
                    if applies && open {
                        cases.1 += 1;
                        safety.broken_at.push(format!("seed {seed}, {}: {what}", found.id));
                    }
                };
                for (_, across, blocked) in behind(&played.truth, &found.id) {
                    let wide = across > limit(&played, tables);
                    count(
                        &mut safety.across,
                        wide,
                        found.gates.descale.open,
                        "descale gate open, leaks across",
                    );
                    count(&mut safety.blocked, blocked, found.gates.wet.open, "wet gate open, blocked");
                }
            }
        }
        seed += 2;
    }
    safety
}

/// The readings that gates rest on, sampled slowly.
fn short(mut plan: Plan) -> Plan {
    let pressure = GaugePressure::from_bar(6.0);
    let logger = plan.visit.readings.first().map_or(Logger::Own, |reading| reading.logger);
    let from_reservoir = plan.rig.stated.reservoir_volume.is_some();
    let first = plan.visit.readings.first().map(|reading| reading.what.clone());
    let at = |rate_hz: f64, seconds: f64| Sampling { rate_hz, seconds };
    let leak_down = match first {
        Some(ReadingKind::LeakDown { pressure, hold_s, together, .. }) => {
            ReadingKind::LeakDown { pressure, sampling: at(4.0, 60.0), hold_s, together }
        }
        _ => ReadingKind::LeakDown { pressure, sampling: at(4.0, 60.0), hold_s: 10.0, together: false },
    };
    let seconds = if from_reservoir { 10.0 } else { 4.0 };
    let kinds = [
        leak_down,
        ReadingKind::CrossWatch { pressure, sampling: at(1.0, 60.0), together: false },
        ReadingKind::AirPassage { from_reservoir, pressure, sampling: at(20.0, seconds) },
        ReadingKind::Flow { shares: vec![1.0], others: bench::visit::Others::Closed, sampling: None },
    ];
    plan.visit.readings =
        kinds.into_iter().map(|what| ReadingPlan { circuits: None, logger, what }).collect();
    plan
}
