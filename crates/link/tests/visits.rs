//! Whole visits: the same seed gives the same visit, the truth stays hidden, and a perfect rig reads what is true.

use bench::mould::{CircuitId, Known};
use bench::visit::{Decay, End, Flow, FlowReading, Others, Rig, VolumeMethod, What};
use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::quantity::{FlowFactor, GaugePressure, LeakRate, Length, Temperature, Volume, VolumeFlow};
use link::plan::{
    CircuitPlan, Condition, Fault, Layer, Leak, LeakAcross, LeakLaw, Logger, Plug, ReadingKind, ReadingPlan,
    RigPlan, Sampling, Slips, VisitPlan,
};
use link::{Invention, Plan, Simulated, random_plan, simulate};

fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Bore {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(10.0),
    }
}

fn loop_of(diameter_mm: f64, length_mm: f64) -> Vec<Piece> {
    let elbow =
        Piece::Elbow { diameter: Length::from_mm(diameter_mm), make: ElbowMake::Drilled, loss_k: None };
    vec![
        bore(diameter_mm, length_mm),
        elbow.clone(),
        bore(diameter_mm, 40.0),
        elbow,
        bore(diameter_mm, length_mm),
    ]
}

/// A rig without errors worth speaking of.
fn perfect_rig() -> RigPlan {
    let side = vec![
        Piece::Hose {
            diameter: Length::from_mm(13.0),
            length: Length::from_m(1.0),
            roughness: Length::from_um(2.0),
        },
        Piece::Coupling { flow_factor: FlowFactor::from_m3_h(2.5) },
    ];
    let point = |l_min, bar| (VolumeFlow::from_l_min(l_min), GaugePressure::from_bar(bar));
    RigPlan {
        stated: Rig {
            flow_uncertainty_relative: 1e-9,
            pressure_uncertainty_bar: 1e-9,
            temperature_uncertainty_k: 1e-9,
            pump_curve: vec![point(0.0, 6.0), point(40.0, 5.0), point(90.0, 0.0)],
            reservoir_volume: Some(Volume::from_ml(5000.0)),
            reference_volume: Some(Volume::from_ml(1000.0)),
            ..Rig::default()
        },
        ports: 4,
        supply: side.clone(),
        back: side.into_iter().rev().collect(),
        dead_volume: Volume::from_ml(10.0),
        fixture_stated: true,
        gauges_at_mould: false,
    }
}

fn plan(circuits: Vec<CircuitPlan>, readings: Vec<ReadingKind>) -> Plan {
    let reading = |what| ReadingPlan { circuits: None, logger: Logger::Own, what };
    Plan {
        mould: bench::mould::MouldId("T-1".into()),
        name: "test".into(),
        process: bench::mould::Process::InjectionMoulding,
        circuits,
        leaks_across: Vec::new(),
        rig: perfect_rig(),
        visit: VisitPlan {
            id: "test".into(),
            started: "2026-11-24T08:40:00Z".parse().expect("a time"),
            by: "test".into(),
            water: Temperature::from_deg_c(20.0),
            steel: Temperature::from_deg_c(20.0),
            readings: readings.into_iter().map(reading).collect(),
        },
        slips: Slips::default(),
        physics: link::Physics::Matching,
        seed: 1,
    }
}

fn with(id: &str, pieces: Vec<Piece>, fault: Fault) -> CircuitPlan {
    CircuitPlan { fault, ..CircuitPlan::new(id, "fixed", pieces) }
}

fn leak_down(seconds: f64) -> ReadingKind {
    ReadingKind::LeakDown {
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 10.0, seconds },
        hold_s: 30.0,
        together: false,
    }
}

fn flow() -> ReadingKind {
    ReadingKind::Flow { shares: vec![1.0, 0.5], others: Others::Closed, sampling: None }
}

fn volume(through_fixture: bool) -> ReadingKind {
    ReadingKind::Volume { by_air: true, through_fixture, from: End::Inlet }
}

fn passage() -> ReadingKind {
    ReadingKind::AirPassage {
        from_reservoir: true,
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 50.0, seconds: 8.0 },
    }
}

fn of<'a>(simulated: &'a Simulated, id: &str) -> Vec<&'a What> {
    let id = Some(CircuitId(id.into()));
    simulated.visit.entries.iter().filter(|entry| entry.circuit == id).map(|entry| &entry.what).collect()
}

fn pressures(decay: &Decay) -> Vec<f64> {
    match decay {
        Decay::Trace(trace) => trace.pressure_bar_g.clone().expect("pressures"),
        Decay::TwoReadings { start, end, .. } => vec![start.bar(), end.bar()],
    }
}

fn flows<'a>(entries: &[&'a What]) -> Vec<&'a Flow> {
    entries.iter().filter_map(|what| if let What::Flow(flow) = what { Some(flow) } else { None }).collect()
}

fn layer(thickness_mm: f64) -> Layer {
    Layer { thickness: Length::from_mm(thickness_mm), share_of_length: 1.0 }
}

#[test]
fn the_same_seed_gives_the_same_visit() {
    let plan = random_plan(12, &Invention::default());
    assert_eq!(plan, random_plan(12, &Invention::default()));
    let visit = simulate(&plan, 5).unwrap();
    assert_eq!(visit, simulate(&plan, 5).unwrap());
    assert_ne!(visit.visit, simulate(&plan, 6).unwrap().visit);
}

#[test]
fn one_more_reading_changes_neither_mould_nor_earlier_readings() {
    let circuits = || vec![with("F1", loop_of(10.0, 300.0), Fault::default())];
    let short = simulate(&plan(circuits(), vec![leak_down(20.0), flow()]), 3).unwrap();
    let long = simulate(&plan(circuits(), vec![leak_down(20.0), flow(), volume(true)]), 3).unwrap();
    assert_eq!(short.truth, long.truth);
    assert_eq!(short.visit.entries, long.visit.entries[..short.visit.entries.len()]);
}

#[test]
fn the_mould_file_does_not_know_the_faults() {
    let mut found = 0;
    for seed in 0..20 {
        let sick = random_plan(seed, &Invention::default());
        let mut healthy = sick.clone();
        healthy.leaks_across.clear();
        healthy.slips = Slips::default();
        for circuit in &mut healthy.circuits {
            found += usize::from(circuit.fault != Fault::default());
            circuit.fault = Fault::default();
        }
        let (sick, healthy) = (simulate(&sick, seed).unwrap(), simulate(&healthy, seed).unwrap());
        assert_eq!(sick.mould, healthy.mould, "seed {seed}");
        assert_eq!(sick.visit.rig, healthy.visit.rig, "seed {seed}");
        assert_eq!(sick.visit.hook_ups, healthy.visit.hook_ups, "seed {seed}");
    }
    assert!(found > 50, "{found} faults");
}

#[test]
fn a_drawing_shows_nominal_pieces_whatever_the_steel() {
    for seed in 0..20 {
        let plan = random_plan(seed, &Invention { known: [1.0, 0.0, 0.0, 0.0], ..Invention::default() });
        let simulated = simulate(&plan, seed).unwrap();
        for ((shown, planned), truth) in
            simulated.mould.circuits.iter().zip(&plan.circuits).zip(&simulated.truth.circuits)
        {
            assert_eq!(shown.known, Known::Drawing);
            assert_eq!(shown.pieces, planned.pieces);
            assert_ne!(shown.pieces, truth.pieces_as_new);
        }
    }
}

#[test]
fn circuits_that_look_the_same_are_guessed_the_same() {
    let guessed =
        |id| CircuitPlan { known: Known::Guessed, ..CircuitPlan::new(id, "fixed", loop_of(10.0, 300.0)) };
    let simulated = simulate(&plan(vec![guessed("F1"), guessed("F2")], vec![flow()]), 7).unwrap();
    let [first, second] = simulated.mould.circuits.as_slice() else { panic!("two circuits") };
    assert_eq!(first.pieces, second.pieces);
    assert_ne!(first.pieces, loop_of(10.0, 300.0));
}

#[test]
fn a_perfect_rig_reads_the_true_flow_factor() {
    // Series law of flow factors, 1/Kv^2 = sum 1/Kv_i^2, near 1 bar and 20 degC where it is nearly exact.
    let layer = Fault { condition: Condition::EvenDeposit(layer(0.8)), ..Fault::default() };
    let simulated = simulate(&plan(vec![with("F1", loop_of(8.0, 400.0), layer)], vec![flow()]), 2).unwrap();
    let truth = &simulated.truth.circuits[0];
    let (circuit, fixture) =
        (truth.today.flow_factor.m3_h(), simulated.truth.rig.ports[0].flow_factor.m3_h());
    let joined = 1.0 / (1.0 / (circuit * circuit) + 1.0 / (fixture * fixture)).sqrt();
    for reading in flows(&of(&simulated, "F1")) {
        let FlowReading::Mean(flow) = reading.flow else { panic!("a mean") };
        let drop = (reading.pressure_in - reading.pressure_out).bar();
        let read = flow.m3_h() / drop.sqrt();
        assert!((read / joined - 1.0).abs() < 0.06, "{read} {joined} at {drop} bar");
    }
}

#[test]
fn a_perfect_rig_reads_the_true_volume() {
    let simulated = simulate(
        &plan(vec![with("F1", loop_of(10.0, 600.0), Fault::default())], vec![volume(false), volume(true)]),
        4,
    )
    .unwrap();
    let truth = simulated.truth.circuits[0].today.volume.ml();
    let fixture = simulated.truth.rig.ports[0].volume.ml();
    let vessel = simulated.truth.rig.reference_volume.unwrap().ml();
    for (what, expected) in of(&simulated, "F1").iter().zip([truth, truth + fixture]) {
        let What::Volume(reading) = what else { panic!("a volume") };
        let VolumeMethod::AirExpansion { reference_before, circuit_before, joined, .. } = reading.method
        else {
            panic!("by air")
        };
        // Boyle: V = Vr (p1 - p2) / (p2 - p0).
        let read = vessel * (reference_before - joined).bar() / (joined - circuit_before).bar();
        // The noise of three readings and 0.04 % left of the heat of mixing weigh by the vessel.
        assert!((read - expected).abs() < 0.0015 * vessel + 0.005 * expected, "{read} instead of {expected}");
    }
}

#[test]
fn a_leak_shows_as_volume_times_slope() {
    let leak = Leak { rate: LeakRate::from_mbar_l_s(1.0), law: LeakLaw::Laminar };
    let sick = Fault { leak_out: Some(leak), ..Fault::default() };
    let circuits =
        vec![with("F1", loop_of(10.0, 600.0), sick), with("F2", loop_of(10.0, 600.0), Fault::default())];
    let simulated = simulate(&plan(circuits, vec![leak_down(60.0)]), 8).unwrap();
    let slope = |id: &str| {
        let entries = of(&simulated, id);
        let What::LeakDown(reading) = entries[0] else { panic!("a leak-down") };
        let seen = pressures(&reading.decay);
        let mean = |from: usize| seen[from..from + 50].iter().sum::<f64>() / 50.0;
        (mean(200) - mean(550)) / 35.0 * 1000.0
    };
    let volume = simulated.truth.circuits[0].today.volume + simulated.truth.rig.ports[0].volume;
    // Both have the same hoses; their difference is the leak (a little less than at 7 bar: the pressure has fallen).
    let rate = (slope("F1") - slope("F2")) * volume.l();
    assert!((0.8..1.02).contains(&rate), "{rate}");
    assert!(slope("F2") > 0.0 && slope("F2") < 0.2, "hoses still settle: {}", slope("F2"));
}

#[test]
fn what_leaks_across_rises_in_the_neighbour_only() {
    let circuits = || ["F1", "F2", "F3"].map(|id| with(id, loop_of(10.0, 300.0), Fault::default())).to_vec();
    let watch = ReadingKind::CrossWatch {
        together: false,
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 2.0, seconds: 60.0 },
    };
    let mut plan = plan(circuits(), vec![watch]);
    let leak = Leak { rate: LeakRate::from_mbar_l_s(2.0), law: LeakLaw::Laminar };
    plan.leaks_across = vec![LeakAcross { between: (CircuitId("F1".into()), CircuitId("F2".into())), leak }];
    let simulated = simulate(&plan, 1).unwrap();
    // Both suspects are charged in turn; F3 gives no cause.
    assert!(of(&simulated, "F3").is_empty());
    let entries = of(&simulated, "F1");
    let What::CrossWatch(reading) = entries[0] else { panic!("a cross-watch") };
    let rise = |id: &str| {
        let (_, decay) = reading.watched.iter().find(|(watched, _)| watched.0 == id).unwrap();
        let seen = pressures(decay);
        seen.last().unwrap() - seen[0]
    };
    // 2 mbar l/s for a minute into the neighbour's volume, hoses and dead end included.
    let volume = simulated.truth.circuits[1].today.volume + simulated.truth.rig.ports[1].volume;
    let expected = 2.0 * 60.0 / volume.l() / 1000.0;
    assert!((rise("F2") / expected - 1.0).abs() < 0.15, "{} instead of {expected}", rise("F2"));
    assert!(rise("F3").abs() < 0.01);
}

#[test]
fn circuits_charged_together_do_not_feed_each_other() {
    let circuits = || ["F1", "F2", "F3"].map(|id| with(id, loop_of(10.0, 300.0), Fault::default())).to_vec();
    let watch = ReadingKind::CrossWatch {
        together: true,
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 2.0, seconds: 60.0 },
    };
    let mut plan = plan(circuits(), vec![watch]);
    plan.visit.readings[0].circuits = Some(vec![CircuitId("F1".into()), CircuitId("F2".into())]);
    let leak = Leak { rate: LeakRate::from_mbar_l_s(2.0), law: LeakLaw::Laminar };
    let across = |a: &str, b: &str| LeakAcross { between: (CircuitId(a.into()), CircuitId(b.into())), leak };
    plan.leaks_across = vec![across("F1", "F2"), across("F2", "F3")];
    let simulated = simulate(&plan, 1).unwrap();
    let [entry] = simulated.visit.entries.as_slice() else { panic!("one reading") };
    let What::CrossWatch(reading) = &entry.what else { panic!("a cross-watch") };
    let fall = |decay: &Decay| {
        let seen = pressures(decay);
        seen[0] - seen.last().unwrap()
    };
    let (id, second) = &reading.also_charged[0];
    assert_eq!(id.0, "F2");
    // F2 loses to the closed F3, and F1 has nobody to lose to.
    assert!(fall(second.as_ref().unwrap()) > 0.1 && fall(reading.charged_decay.as_ref().unwrap()) < 0.1);
    assert_eq!(reading.watched.iter().map(|(id, _)| id.0.as_str()).collect::<Vec<_>>(), ["F3"]);
    assert!(fall(&reading.watched[0].1) < -0.1);
}

#[test]
fn exchanged_hoses_exchange_the_readings_not_the_list() {
    let circuits = || {
        vec![
            with("F1", loop_of(6.0, 300.0), Fault::default()),
            with("F2", loop_of(12.0, 300.0), Fault::default()),
        ]
    };
    let straight = simulate(&plan(circuits(), vec![flow()]), 1).unwrap();
    let mut swapped = plan(circuits(), vec![flow()]);
    swapped.slips.swapped = vec![(CircuitId("F1".into()), CircuitId("F2".into()))];
    let crossed = simulate(&swapped, 1).unwrap();
    assert_eq!(straight.visit.hook_ups, crossed.visit.hook_ups);
    let mean = |simulated: &Simulated, id: &str| {
        let FlowReading::Mean(flow) = flows(&of(simulated, id))[0].flow else { panic!("a mean") };
        flow.l_min()
    };
    assert!((mean(&crossed, "F1") / mean(&straight, "F2") - 1.0).abs() < 0.05);
    assert!(mean(&crossed, "F1") > 1.5 * mean(&straight, "F1"));
}

#[test]
fn a_blocked_circuit_holds_and_is_not_wetted() {
    let blocked = Fault { blocked_at: Some(0.5), ..Fault::default() };
    let circuits =
        vec![with("F1", loop_of(10.0, 300.0), blocked), with("F2", loop_of(10.0, 300.0), Fault::default())];
    let simulated = simulate(&plan(circuits, vec![passage(), flow()]), 1).unwrap();
    assert_eq!(of(&simulated, "F1").len(), 1);
    let end = |id: &str| {
        let entries = of(&simulated, id);
        let What::AirPassage(reading) = entries[0] else { panic!("a passage") };
        *pressures(&reading.decay).last().unwrap()
    };
    assert!(end("F1") > 4.0 && end("F2") < 1.0, "{} {}", end("F1"), end("F2"));
}

#[test]
fn a_trace_stopped_early_is_short() {
    let mut stopped = plan(vec![with("F1", loop_of(10.0, 300.0), Fault::default())], vec![leak_down(60.0)]);
    stopped.slips.stopped_early = vec![CircuitId("F1".into())];
    let simulated = simulate(&stopped, 1).unwrap();
    let entries = of(&simulated, "F1");
    let What::LeakDown(reading) = entries[0] else { panic!("a leak-down") };
    assert!((40..=92).contains(&pressures(&reading.decay).len()));
}

#[test]
fn contradictions_are_refused() {
    let plug = Plug { bore: Length::from_mm(12.0), place: 0.5 };
    let wide = Fault { condition: Condition::LocalPlug(plug), ..Fault::default() };
    assert!(simulate(&plan(vec![with("F1", loop_of(8.0, 300.0), wide)], vec![flow()]), 1).is_err());
    let mut no_vessel = plan(vec![with("F1", loop_of(8.0, 300.0), Fault::default())], vec![volume(true)]);
    no_vessel.rig.stated.reference_volume = None;
    assert!(simulate(&no_vessel, 1).is_err());
    assert!(simulate(&plan(Vec::new(), vec![flow()]), 1).is_err());
}

#[test]
fn invented_plans_can_be_played() {
    let mut faults = 0;
    for seed in 0..60 {
        let plan = random_plan(seed, &Invention::default());
        assert!((6..=24).contains(&plan.circuits.len()));
        let simulated = simulate(&plan, seed).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
        for circuit in &simulated.truth.circuits {
            faults += usize::from(circuit.blocked_at.is_some() || circuit.leak_out.is_some());
            assert!(circuit.today.flow_factor.m3_h() > 0.0 && circuit.today.volume.ml() > 0.0);
        }
        for entry in &simulated.visit.entries {
            if let What::LeakDown(reading) = &entry.what {
                assert!(pressures(&reading.decay).iter().all(|p| p.is_finite() && *p > -0.3));
            }
        }
    }
    assert!(faults > 60, "{faults}");
}
