//! Seeded simulation: a bucket's 95 % interval holds the true flow, whatever the number of fillings.

use calc::quantity::{Duration, Temperature};
use calc::readings::bucket::{Doubt, Measure, Meter, Run, bucket_flow};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const TRIALS: usize = 4_000;

/// A standard normal number: the sum of twelve even ones, good to the third decimal within two deviations and more.
fn normal(chance: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| chance.random::<f64>()).sum::<f64>() - 6.0
}

/// Share of intervals that hold the true flow; `restless` is scatter that nobody told the budget of, relative.
fn coverage(fillings: usize, restless: f64, seed: u64) -> f64 {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let doubt = Doubt {
        caught: 0.05,
        step: 0.02,
        lost: 0.04,
        reaction: Duration::from_s(0.3),
        watch_step: Duration::from_s(0.1),
        temperature_k: 0.0,
    };
    let meter = Meter { stated: 0.02, repeatability: 0.003 };
    let held = (0..TRIALS).filter(|_| {
        let l_min = 8.0 + 12.0 * chance.random::<f64>();
        let mark = 0.05 * normal(&mut chance);
        let runs: Vec<Run> = (0..fillings)
            .map(|_| {
                let seconds = 45.0 + 2.0 * chance.random::<f64>();
                let truly = seconds + 0.3 * normal(&mut chance);
                let flow = l_min * (1.0 + restless * normal(&mut chance));
                let lost = 0.04 * chance.random::<f64>();
                let litres = flow * truly / 60.0 + mark - lost;
                Run {
                    caught: (litres / 0.02).round() * 0.02,
                    time: Duration::from_s((seconds * 10.0).round() / 10.0),
                    meter: None,
                }
            })
            .collect();
        let water = Temperature::from_deg_c(20.0);
        bucket_flow(&runs, Measure::Mark, &doubt, water, meter, 1.0).expect("a flow").flow_l_min.holds(l_min)
    });
    held.count() as f64 / TRIALS as f64
}

#[test]
fn the_interval_holds_the_true_flow() {
    for (fillings, seed) in [(1, 1), (2, 2), (3, 3), (5, 5), (10, 10)] {
        let share = coverage(fillings, 0.0, seed);
        println!("{fillings} fillings, scatter as stated: {share:.4}");
        assert!((0.94..=0.995).contains(&share), "{fillings}: {share}");
    }
}

#[test]
fn scatter_that_nobody_told_of_is_seen_from_repeats() {
    // What the file says of the hand still counts like four fillings: three that are restless by 2 % hold in 85 %.
    for (fillings, least, seed) in [(3, 0.82, 31), (5, 0.88, 51), (10, 0.92, 101)] {
        let share = coverage(fillings, 0.02, seed);
        println!("{fillings} fillings, 2 % restless: {share:.4}");
        assert!((least..=0.98).contains(&share), "{fillings}: {share}");
    }
    // One filling cannot see it, and its interval is then too narrow: the page says to repeat.
    assert!(coverage(1, 0.02, 11) < 0.80);
}
