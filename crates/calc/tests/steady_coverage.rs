//! Whether the interval of a mean flow holds what it promises: seeded simulation of traces with a known truth.
//!
//! A claim about intervals has no published table; the outside thing here is the truth that the simulation knows.
//! `cargo test -p calc --test steady_coverage -- --nocapture` prints the figures.

use calc::quantity::Duration;
use calc::readings::steady::{SteadyFlow, steady_flow};
use calc::trace::Trace;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const TRUTH: f64 = 10.0;
const RATE_PER_S: f64 = 10.0;

/// Standard normal number (Box and Muller).
fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (random.random(), random.random());
    (-2.0 * calc::numeric::math::ln(1.0 - u)).sqrt() * calc::numeric::math::cos(std::f64::consts::TAU * v)
}

fn between(random: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * random.random::<f64>()
}

#[derive(Clone, Copy)]
struct Scene {
    seconds: f64,
    phi: f64,
    disturbed: bool,
    drift_per_min: f64,
}

/// AR(1) noise of 0.5 to 1.5 %, ripple; where disturbed also start-up, bubbles, spikes and missing samples.
fn trace(scene: Scene, random: &mut ChaCha8Rng) -> Trace {
    let noise = TRUTH * between(random, 0.005, 0.015);
    let (ripple, pump) = (TRUTH * between(random, 0.0, 0.01), between(random, 0.7, 4.0));
    let phase = between(random, 0.0, std::f64::consts::TAU);
    let (start, fade) = (-TRUTH * between(random, 0.05, 0.5), between(random, 0.5, scene.seconds / 15.0));
    let mut memory = normal(random);
    let mut bubble = (0.0, 0.0);
    let mut made = Trace::default();
    let mut flows = Vec::new();
    for place in 0..(scene.seconds * RATE_PER_S) as usize {
        let time = place as f64 / RATE_PER_S;
        memory = scene.phi * memory + (1.0 - scene.phi * scene.phi).sqrt() * normal(random);
        let mut flow = TRUTH * (1.0 + scene.drift_per_min * (time - scene.seconds) / 60.0)
            + noise * memory
            + ripple * calc::numeric::math::sin(std::f64::consts::TAU * pump * time + phase);
        if scene.disturbed {
            flow += start * calc::numeric::math::exp(-time / fade);
            if random.random::<f64>() < 4.0 / 60.0 / RATE_PER_S {
                bubble = (time + between(random, 0.3, 1.2), TRUTH * between(random, 0.1, 0.6));
            }
            if time < bubble.0 {
                flow -= bubble.1;
            }
            if random.random::<f64>() < 0.005 {
                flow += TRUTH * between(random, -0.4, 0.4);
            }
            if random.random::<f64>() < 0.02 {
                flow = f64::NAN;
            }
        }
        made.time_s.push(time);
        flows.push(flow);
    }
    made.flow_l_min = Some(flows);
    made
}

#[derive(Default)]
struct Tally {
    traces: f64,
    held: f64,
    not_steady: f64,
    error_squares: f64,
    standard: f64,
}

fn tally(scene: Scene, traces: u64) -> Tally {
    let mut sum = Tally::default();
    for seed in 0..traces {
        let mut random = ChaCha8Rng::seed_from_u64(seed + 1_000_000 * (100.0 * scene.phi) as u64);
        let found: SteadyFlow =
            steady_flow(&trace(scene, &mut random), 0.0, Duration::from_s(10.0)).expect("a trace with flow");
        let error = found.flow.value - TRUTH;
        sum.traces += 1.0;
        sum.held += f64::from(error.abs() <= 1.959_964 * found.repeatability_l_min);
        sum.not_steady += f64::from(!found.steady);
        sum.error_squares += error * error;
        sum.standard += found.repeatability_l_min;
    }
    sum
}

fn report(title: &str, scene: Scene, sum: &Tally) -> (f64, f64) {
    let (held, not_steady) = (sum.held / sum.traces, sum.not_steady / sum.traces);
    println!(
        "{title:9} {:3.0} s, phi {:.2}: 95 % interval holds the truth in {:.1} %, 'not steady' {:.1} %, rms error {:.3} %, \
         mean stated uncertainty {:.3} %",
        scene.seconds,
        scene.phi,
        100.0 * held,
        100.0 * not_steady,
        100.0 * (sum.error_squares / sum.traces).sqrt() / TRUTH,
        100.0 * sum.standard / sum.traces / TRUTH,
    );
    (held, not_steady)
}

fn add(a: &Tally, b: &Tally) -> Tally {
    Tally {
        traces: a.traces + b.traces,
        held: a.held + b.held,
        not_steady: a.not_steady + b.not_steady,
        error_squares: a.error_squares + b.error_squares,
        standard: a.standard + b.standard,
    }
}

/// Share of intervals that hold the truth and share called not steady, quiet and disturbed traces together.
fn both(seconds: f64, phi: f64, traces: u64) -> (f64, f64) {
    let scene = |disturbed| Scene { seconds, phi, disturbed, drift_per_min: 0.0 };
    let (quiet, disturbed) = (tally(scene(false), traces), tally(scene(true), traces));
    report("quiet", scene(false), &quiet);
    report("disturbed", scene(true), &disturbed);
    report("both", scene(true), &add(&quiet, &disturbed))
}

#[test]
fn intervals_of_a_minute_hold_the_truth_as_often_as_they_say() {
    for phi in [0.2, 0.5, 0.8, 0.9, 0.95] {
        let (held, not_steady) = both(60.0, phi, 250);
        assert!((0.92..=0.98).contains(&held), "phi {phi}: {held}");
        assert!(not_steady < 0.07, "phi {phi}: {not_steady}");
    }
}

#[test]
fn intervals_of_half_a_minute_too_unless_the_memory_is_long() {
    for phi in [0.2, 0.8, 0.9] {
        let (held, not_steady) = both(30.0, phi, 150);
        assert!((0.92..=0.98).contains(&held), "phi {phi}: {held}");
        assert!(not_steady < 0.07, "phi {phi}: {not_steady}");
    }
    // 30 s are 15 memories at phi 0.95: few to learn the memory from. Measured: 92 % hold, 6 % called not steady.
    let (held, not_steady) = both(30.0, 0.95, 150);
    assert!((0.85..=0.98).contains(&held), "{held}");
    assert!(not_steady < 0.12, "{not_steady}");
}

#[test]
fn drifts_are_found() {
    for (percent_per_min, least) in [(1.0, 0.45), (2.0, 0.9)] {
        let scene =
            Scene { seconds: 60.0, phi: 0.5, disturbed: true, drift_per_min: percent_per_min / 100.0 };
        let (_, not_steady) = report("drift", scene, &tally(scene, 200));
        println!("          at {percent_per_min} % a minute");
        assert!(not_steady > least, "{percent_per_min} % a minute: {not_steady}");
    }
}
