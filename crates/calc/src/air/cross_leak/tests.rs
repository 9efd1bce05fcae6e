use super::*;
use crate::numeric::math;

const AIR: f64 = 1.01325;

fn circuit(id: &str, ml: f64) -> Circuit {
    Circuit { id: id.into(), volume: Some(Volume::from_ml(ml)), volume_relative: Some(0.05) }
}

fn leaks(circuits: Vec<Circuit>, tests: Vec<Test>) -> Leaks {
    Leaks {
        circuits,
        tests,
        atmosphere: AbsolutePressure::from_bar(AIR),
        pressure: GaugePressure::from_bar(6.0),
        gauges: Gauges::default(),
        ports: None,
    }
}

fn line(start: f64, mbar_s: f64) -> Seen {
    let times: Vec<f64> = (0..=120).map(|step| f64::from(step) * 0.5).collect();
    let bars = times.iter().map(|time| start + mbar_s * time / 1000.0).collect();
    Seen::Logged(times, bars)
}

fn test(charged: &[usize], watched: &[usize], seen: Vec<(usize, Seen)>) -> Test {
    Test { charged: charged.to_vec(), watched: watched.to_vec(), seen, hold: Duration::from_s(10.0) }
}

#[test]
fn a_rise_of_one_neighbour_is_a_path() {
    // 1 mbar l/s out of 200 ml into 250 ml: slopes by definition of the throughput unit, -5 and +4 mbar/s.
    let seen = vec![(0, line(6.0, -5.0)), (1, line(0.0, 4.0)), (2, line(0.0, 0.001))];
    let circuits = vec![circuit("A", 200.0), circuit("B", 250.0), circuit("C", 200.0)];
    let found = cross_leak(&leaks(circuits, vec![test(&[0], &[1, 2], seen)])).unwrap();
    let [path] = found.paths.as_slice() else { panic!("{:?}", found.paths) };
    assert_eq!((path.from, path.to), (0, Some(1)));
    assert!(path.probability > 0.99 && path.rate_mbar_l_s.holds(1.0), "{path:?}");
    assert!(found.probability_across(1, 0) > 0.99 && found.probability_across(0, 2) < 0.05);
}

#[test]
fn a_fall_that_nobody_takes_up_gets_out() {
    let seen = vec![(0, line(6.0, -5.0)), (1, line(0.0, 0.001)), (2, line(0.0, 0.0))];
    let circuits = vec![circuit("A", 200.0), circuit("B", 250.0), circuit("C", 200.0)];
    let found = cross_leak(&leaks(circuits, vec![test(&[0], &[1, 2], seen)])).unwrap();
    let [path] = found.paths.as_slice() else { panic!("{:?}", found.paths) };
    assert_eq!((path.from, path.to), (0, None));
    assert_eq!(found.untested, [(1, 2)]);
    assert!(path.probability > 0.95 && path.rate_mbar_l_s.holds(1.0), "{path:?}");
}

#[test]
fn a_vented_circuit_may_be_the_receiver() {
    // Nobody watched B and C, so the fall of A may go to either or out: no way is sure, and a test is proposed.
    let circuits = vec![circuit("A", 200.0), circuit("B", 250.0), circuit("C", 200.0)];
    let found = cross_leak(&leaks(circuits, vec![test(&[0], &[], vec![(0, line(6.0, -5.0))])])).unwrap();
    assert_eq!(found.paths.len(), 3, "{:?}", found.paths);
    assert!(found.paths.iter().all(|path| path.probability > 0.05 && path.probability < 0.95));
    let sum: f64 = found.paths.iter().map(|path| path.probability).sum();
    assert!((sum - 1.0).abs() < 0.1, "{sum}");
    let next = found.next_test.expect("a test");
    assert!(!next.charged.is_empty() && next.expected_bits > 0.5, "{next:?}");
}

#[test]
fn unknown_volumes_do_not_invent_a_second_leak() {
    // True volumes 400 and 100 ml, unknown to the map: the fall and the rise differ by a factor of four.
    let unknown = |id: &str| Circuit { id: id.into(), volume: None, volume_relative: None };
    let seen = vec![(0, line(6.0, -2.5)), (1, line(0.0, 10.0))];
    let found = cross_leak(&leaks(vec![unknown("A"), unknown("B")], vec![test(&[0], &[1], seen)])).unwrap();
    let first = &found.paths[0];
    assert_eq!((first.from, first.to), (0, Some(1)));
    assert!(first.probability > 0.95 && first.rate_mbar_l_s.holds(1.0), "{:?}", found.paths);
    assert!(found.paths.iter().skip(1).all(|path| path.probability < 0.5), "{:?}", found.paths);
}

#[test]
fn equalising_circuits_keep_the_rate() {
    // Two circuits of 200 ml joined by 12 mbar l/s: with equal volumes the mean m stays and the difference obeys
    // d' = -(2 g / V D) 2 m d, so d = d0 exp(-4 g m t / (V D)) (closed form).
    let (volume_l, rate) = (0.2, 12.0);
    let (high, low) = (6.0 + AIR, AIR);
    let mean = (high + low) / 2.0;
    let per_s = 4.0 * rate / 1000.0 * mean / (volume_l * (49.0 - AIR * AIR));
    let times: Vec<f64> = (0..=600).map(|step| f64::from(step) * 0.2).collect();
    let side = |sign: f64| {
        let bars = times.iter().map(|t| mean + sign * (high - low) / 2.0 * math::exp(-per_s * t) - AIR);
        Seen::Logged(times.clone(), bars.collect())
    };
    let circuits = vec![circuit("A", 200.0), circuit("B", 200.0)];
    let tests = vec![test(&[0], &[1], vec![(0, side(1.0)), (1, side(-1.0))])];
    let found = cross_leak(&leaks(circuits, tests)).unwrap();
    let [path] = found.paths.as_slice() else { panic!("{:?}", found.paths) };
    assert!((path.rate_mbar_l_s.value / rate - 1.0).abs() < 0.03, "{path:?}");
    assert!(path.opens_above_bar.is_none());
}

#[test]
fn a_leak_that_shuts_is_said_to_open_above_a_pressure() {
    // At 6 bar the neighbour rises by 4 mbar/s, at 3 bar by nothing; a crack would still give 15/48 of it.
    let at = |bar: f64, rise: f64| test(&[0], &[1], vec![(0, line(bar, -rise * 1.25)), (1, line(0.0, rise))]);
    let circuits = vec![circuit("A", 200.0), circuit("B", 250.0)];
    let found = cross_leak(&leaks(circuits, vec![at(6.0, 4.0), at(3.0, 0.0)])).unwrap();
    let path = &found.paths[0];
    let opens = path.opens_above_bar.expect("a threshold");
    assert!(opens > 3.0 && opens < 6.0, "{opens}");
    assert!(path.rate_mbar_l_s.holds(1.0), "{path:?}");
}

#[test]
fn a_leak_that_shuts_while_it_is_watched_is_no_quiet_circuit() {
    // The sender falls by 2 bar in 20 s and then holds; the neighbour of five times the volume rises by 0.4 bar.
    let times: Vec<f64> = (0..=120).map(|step| f64::from(step) * 0.5).collect();
    let moved = |start: f64, bar_s: f64| {
        Seen::Logged(times.clone(), times.iter().map(|time| start + bar_s * time.min(20.0)).collect())
    };
    let circuits = vec![circuit("A", 60.0), circuit("B", 300.0)];
    let tests = vec![test(&[0], &[1], vec![(0, moved(6.0, -0.1)), (1, moved(0.0, 0.02))])];
    let found = cross_leak(&leaks(circuits, tests)).unwrap();
    assert!(found.probability_across(0, 1) > 0.95, "{found:?}");
    assert!(found.paths[0].opens_above_bar.is_some_and(|bar| bar > 3.0 && bar < 5.5), "{:?}", found.paths);
}

#[test]
fn two_readings_are_enough_for_a_large_leak() {
    let twice = |start: f64, end: f64| Seen::Twice {
        start: GaugePressure::from_bar(start),
        end: GaugePressure::from_bar(end),
        time: Duration::from_s(60.0),
    };
    let circuits = vec![circuit("A", 200.0), circuit("B", 250.0)];
    let seen = vec![(0, twice(6.0, 5.7)), (1, twice(0.0, 0.24))];
    let found = cross_leak(&leaks(circuits, vec![test(&[0], &[1], seen)])).unwrap();
    assert!(
        found.paths[0].probability > 0.99 && found.paths[0].rate_mbar_l_s.holds(1.0),
        "{:?}",
        found.paths
    );
}

#[test]
fn nothing_is_left_to_find_after_quiet_splits() {
    let circuits: Vec<Circuit> = (0..4).map(|n| circuit(&format!("C{n}"), 200.0)).collect();
    let quiet = |charged: &[usize]| {
        let watched: Vec<usize> = (0..4).filter(|place| !charged.contains(place)).collect();
        let seen = (0..4).map(|place| (place, line(if charged.contains(&place) { 6.0 } else { 0.0 }, 0.0)));
        test(charged, &watched, seen.collect())
    };
    let found =
        cross_leak(&leaks(circuits, vec![quiet(&[0, 1, 2, 3]), quiet(&[0, 1]), quiet(&[0, 2])])).unwrap();
    assert!(found.paths.is_empty(), "{:?}", found.paths);
    assert!(found.next_test.is_none(), "{:?}", found.next_test);
}

#[test]
fn contradictions_are_refused() {
    let circuits = || vec![circuit("A", 200.0), circuit("B", 250.0)];
    let refused = |tests| cross_leak(&leaks(circuits(), tests)).unwrap_err();
    assert!(matches!(refused(vec![test(&[], &[1], vec![])]), CrossLeakError::NothingCharged { test: 0 }));
    assert!(matches!(refused(vec![test(&[0], &[0], vec![])]), CrossLeakError::Both { test: 0, place: 0 }));
    assert!(matches!(refused(vec![test(&[5], &[], vec![])]), CrossLeakError::Stranger { place: 5, .. }));
    let short = Seen::Logged(vec![0.0, 1.0], vec![6.0, 6.0]);
    assert!(matches!(refused(vec![test(&[0], &[1], vec![(0, short)])]), CrossLeakError::NoSlope { .. }));
    assert!(matches!(cross_leak(&leaks(vec![], vec![])).unwrap_err(), CrossLeakError::Circuits { count: 0 }));
}
