//! Leak rates of simulated visits against what is true: whether the stated interval holds as often as it says.
//!
//! The leaks follow four laws and the circuits are fouled, blocked or filled in haste as invented plans have them; the
//! judgement sees files only. Simulation: it proves that the program keeps its word, not that real moulds behave like it.

use bench::judge::assess;
use bench::limits::Tables;
use bench::visit::{Decay, LeakDown, Visit, What};
use calc::numeric::math;
use calc::quantity::GaugePressure;
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::plan::{Leak, ReadingKind};
use link::{CircuitTruth, Invention, random_plan, simulate};

const FIRST_SEED: u64 = 7_600_000;
const VISITS: u64 = 120;
/// 90 % of a normal distribution lie within so many standard deviations, 95 % within the other.
const Z90_OF_Z95: f64 = 1.644_854 / 1.959_964;

fn tables() -> Tables {
    let data = Folder::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../data"));
    read_tables(&data, "limits/default.toml", "materials/materials.toml").expect("the tables")
}

/// Highest pressure at which a leak-down of this circuit began, as the gauge showed it.
fn start_bar_g(visit: &Visit, id: &bench::mould::CircuitId) -> Option<f64> {
    let own = visit.entries.iter().filter(|entry| entry.circuit.as_ref() == Some(id));
    let starts = own.filter_map(|entry| match &entry.what {
        What::LeakDown(LeakDown { decay: Decay::Trace(trace), .. }) => trace.pressures()?.1.first().copied(),
        What::LeakDown(LeakDown { decay: Decay::TwoReadings { start, .. }, .. }) => Some(start.bar()),
        _ => None,
    });
    starts.max_by(f64::total_cmp)
}

/// What was counted of circuits that leak.
#[derive(Debug, Default)]
struct Count {
    leaks: u32,
    held: u32,
    held_95: u32,
    /// Sum of the logarithms of high over low where the interval does not reach zero, and how many.
    width: (f64, u32),
}

impl Count {
    fn add(&mut self, stated: calc::estimate::Estimate, truth: f64) {
        let half = |end: f64| stated.value + (end - stated.value) * Z90_OF_Z95;
        // An end that was cut off at zero: as far below as above.
        let low = if stated.low > 0.0 { stated.low } else { 2.0 * stated.value - stated.high };
        self.leaks += 1;
        self.held += u32::from(half(low.min(stated.low)) <= truth && truth <= half(stated.high));
        self.held_95 += u32::from(stated.holds(truth));
        if stated.low > 0.0 {
            self.width = (self.width.0 + math::ln(stated.high / stated.low), self.width.1 + 1);
        }
    }
}

#[test]
fn intervals_of_leak_rates_hold_the_truth_as_often_as_they_say() {
    let tables = tables();
    let options = Invention {
        circuits: (3, 8),
        leaks_out: 0.6,
        leaks_across: 0.0,
        swapped: 0.0,
        missing: 0.0,
        doubled: 0.0,
        bridged: 0.0,
        reversed: 0.0,
        ..Invention::default()
    };
    let mut count = Count::default();
    for seed in FIRST_SEED..FIRST_SEED + VISITS {
        let mut plan = random_plan(seed, &options);
        plan.visit.readings.retain(|reading| {
            use ReadingKind::{AirPassage, Flow, LeakDown, Volume};
            matches!(reading.what, LeakDown { .. } | Volume { .. } | AirPassage { .. } | Flow { .. })
        });
        // A plan that cannot be played is no visit.
        let Ok(played) = simulate(&plan, seed) else { continue };
        let findings = assess(&played.mould, &played.visit, &tables);
        for found in &findings.circuits {
            let truth = played.truth.circuit(&found.id).and_then(|truth| truth.leak_out);
            let stated = found.leak_rate_mbar_l_s.zip(start_bar_g(&played.visit, &found.id));
            if let (Some((rate, law)), Some((stated, start))) = (truth, stated) {
                let start = GaugePressure::from_bar(start);
                let air = played.visit.rig.atmosphere;
                count.add(stated, CircuitTruth::at_pressure(Leak { rate, law }, start, air).mbar_l_s());
            }
        }
    }
    let share = |held: u32| f64::from(held) / f64::from(count.leaks);
    let width = math::exp(count.width.0 / f64::from(count.width.1));
    println!(
        "{} leaks: 90 % intervals hold {:.3}, 95 % {:.3}; high over low {width:.2} in the mean",
        count.leaks,
        share(count.held),
        share(count.held_95)
    );
    assert!(count.leaks > 250, "{} leaks are too few to judge", count.leaks);
    // Bars of 0.88 to 0.92 for ten thousand visits; four standard errors of these few wider.
    let chance = 4.0 * (0.1 * 0.9 / f64::from(count.leaks)).sqrt();
    assert!((0.88 - chance..=0.92 + chance).contains(&share(count.held)), "{:.3}", share(count.held));
    // Not by being wide: a factor of two from end to end in the mean.
    assert!(width < 2.2, "high over low {width:.2}");
}
