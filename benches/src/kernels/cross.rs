//! The leak map of a mould of 12 circuits from 8 tests.

use std::path::Path;

use calc::air::cross_leak::{Circuit, Gauges, Leaks, Seen, Test, cross_leak};
use calc::quantity::{AbsolutePressure, Duration, GaugePressure, Volume};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use super::{Fault, Measured, read_json};
use crate::timing::{Effort, time};

/// File of the readings.
pub const FILE: &str = "cross-12.json";

const CIRCUITS: usize = 12;
const TESTS: usize = 8;
const SAMPLES: usize = 61;
const ATMOSPHERE_BAR_ABS: f64 = 1.013;
/// From, to, mbar l/s; equal places: to the outside.
const PATHS: [(usize, usize, f64); 4] = [(0, 7, 0.8), (3, 4, 2.5), (5, 10, 0.12), (9, 9, 0.6)];

/// Circuits charged in each test: all, four splits, three alone.
fn charged(test: usize) -> Vec<usize> {
    match test {
        0 => (0..CIRCUITS).collect(),
        1..=4 => (0..CIRCUITS).filter(|place| place >> (test - 1) & 1 == 1).collect(),
        _ => vec![[0, 3, 5][test - 5]],
    }
}

/// Pressures by small steps of the law, and 0.5 mbar of noise.
pub fn document() -> Value {
    let mut chance = ChaCha8Rng::seed_from_u64(12);
    let volumes_ml: Vec<f64> = (0..CIRCUITS).map(|place| 120.0 + 37.0 * (place * 5 % 12) as f64).collect();
    let squares = 49.0 - 1.01325 * 1.01325;
    let tests = (0..TESTS).map(|test| {
        let charged = charged(test);
        let start = |place| ATMOSPHERE_BAR_ABS + if charged.contains(&place) { 6.0 } else { 0.0 };
        let mut bar: Vec<f64> = (0..CIRCUITS).map(start).collect();
        let mut rows = vec![Vec::new(); CIRCUITS];
        for _ in 0..SAMPLES {
            for (row, bar) in rows.iter_mut().zip(&bar) {
                let noise = (0..12).map(|_| chance.random::<f64>()).sum::<f64>() - 6.0;
                row.push(((bar - ATMOSPHERE_BAR_ABS + 0.0005 * noise) * 1e6).round() / 1e6);
            }
            for _ in 0..100 {
                for (from, to, rate) in PATHS {
                    let far = if from == to { ATMOSPHERE_BAR_ABS } else { bar[to] };
                    let moved = rate / 1000.0 * (bar[from] * bar[from] - far * far) / squares * 0.01;
                    bar[from] -= moved / volumes_ml[from] * 1000.0;
                    if from != to {
                        bar[to] += moved / volumes_ml[to] * 1000.0;
                    }
                }
            }
        }
        json!({"charged": charged, "pressure_bar_g": rows})
    });
    let tests: Vec<Value> = tests.collect();
    let paths: Vec<Value> = PATHS.iter().map(|(from, to, rate)| json!([from, to, rate])).collect();
    json!({
        "volume_ml": volumes_ml, "atmosphere_bar_abs": ATMOSPHERE_BAR_ABS, "tests": tests, "true_paths": paths,
        "time_s": (0..SAMPLES).map(|at| at as f64).collect::<Vec<_>>(),
    })
}

/// Times the whole map: slopes, choice of paths, probabilities, next test.
pub fn measure(inputs: &Path, effort: Effort) -> Result<Measured, Fault> {
    let file = read_json(&inputs.join(FILE))?;
    let numbers = |value: &Value| -> Vec<f64> {
        value.as_array().map(Vec::as_slice).unwrap_or_default().iter().filter_map(Value::as_f64).collect()
    };
    let volumes_ml = numbers(&file["volume_ml"]);
    let times = numbers(&file["time_s"]);
    let tests = file["tests"].as_array().map(Vec::as_slice).unwrap_or_default().iter().enumerate().map(
        |(at, test)| {
            let charged = charged(at);
            let rows = test["pressure_bar_g"].as_array().map(Vec::as_slice).unwrap_or_default();
            Test {
                watched: (0..CIRCUITS).filter(|place| !charged.contains(place)).collect(),
                charged,
                seen: rows.iter().map(|row| Seen::Logged(times.clone(), numbers(row))).enumerate().collect(),
                // Nothing settles in these pressures.
                hold: Duration::from_s(600.0),
            }
        },
    );
    let circuits = volumes_ml.iter().enumerate().map(|(place, volume)| Circuit {
        id: format!("C{place}"),
        volume: Some(Volume::from_ml(*volume)),
        volume_relative: Some(0.01),
    });
    let leaks = Leaks {
        tests: tests.collect(),
        circuits: circuits.collect(),
        atmosphere: AbsolutePressure::from_bar(ATMOSPHERE_BAR_ABS),
        pressure: GaugePressure::from_bar(6.0),
        gauges: Gauges::default(),
        ports: None,
    };
    let (seconds, found) = time(effort, || cross_leak(&leaks));
    let found = found?;
    let sure: Vec<&_> = found.paths.iter().filter(|path| path.probability > 0.5).collect();
    let sum: f64 = sure.iter().map(|path| path.rate_mbar_l_s.value).sum();
    Ok(Measured::new(seconds, sum).with("paths", sure.len()).with("slopes", 2 * CIRCUITS * TESTS))
}
