//! Plays many invented visits and prints how long one takes and what came up.
//!
//! `cargo run -p link --example many_visits -- 2000`

use std::time::Instant;

use bench::finding::BoreState;
use link::{Invention, random_plan, simulate};

fn main() {
    let count: u64 = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(500);
    let options = Invention::default();
    let start = Instant::now();
    let plans: Vec<_> = (0..count).map(|seed| random_plan(seed, &options)).collect();
    let invented = start.elapsed();
    let start = Instant::now();
    let (mut circuits, mut entries, mut refused) = (0_usize, 0_usize, 0_usize);
    let mut states = std::collections::BTreeMap::<BoreState, usize>::new();
    let mut left = Vec::new();
    for plan in &plans {
        match simulate(plan, plan.seed) {
            Ok(simulated) => {
                circuits += simulated.truth.circuits.len();
                entries += simulated.visit.entries.len();
                for circuit in &simulated.truth.circuits {
                    *states.entry(circuit.state).or_default() += 1;
                    if circuit.state != BoreState::AsNew {
                        left.push(circuit.flow_share());
                    }
                }
            }
            Err(error) => {
                refused += 1;
                println!("seed {}: {error}", plan.seed);
            }
        }
    }
    let played = start.elapsed();
    left.sort_by(f64::total_cmp);
    let quantile = |share: usize| left.get(left.len() * share / 100).copied().unwrap_or(f64::NAN);
    println!("{count} visits, {circuits} circuits, {entries} entries, {refused} refused");
    println!("inventing {:.2} ms, playing {:.2} ms a visit", ms(invented, count), ms(played, count));
    println!("{states:?}");
    println!("flow left when fouled, 5/50/95 %: {:.2} {:.2} {:.2}", quantile(5), quantile(50), quantile(95));
}

fn ms(time: std::time::Duration, count: u64) -> f64 {
    time.as_secs_f64() * 1e3 / count.max(1) as f64
}
