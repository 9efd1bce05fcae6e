//! Kinds of leaks and places of blocks: the virtual rig's truth against what the judgement says of it.
//!
//! The rig's seats and opening cracks follow laws of their own (an opening that shrinks exponentially, a slot whose width
//! grows in proportion), not the powers with which the judgement weighs them. All of it is simulation.

use std::collections::BTreeMap;

use bench::finding::{CircuitFinding, Findings, Tightness};
use bench::judge::assess;
use bench::limits::{Limit, Limits, Materials, Metal, Tables};
use bench::mould::{CircuitId, Known};
use bench::visit::{End, Rig};
use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::path_length;
use calc::quantity::{FlowFactor, GaugePressure, LeakRate, Length, PressureDrop, Volume};
use link::plan::{
    CircuitPlan, Fault, Leak, LeakAcross, LeakLaw, Logger, ReadingKind, ReadingPlan, RigPlan, Sampling,
};
use link::{Invention, Plan, Simulated, random_plan, simulate};

const LIMIT_MBAR_L_S: f64 = 0.1;

fn tables() -> Tables {
    let limit = |value| Limit {
        title: "limit".into(),
        value,
        source: "test".into(),
        owner: "test".into(),
        others: vec![],
    };
    let limits = Limits {
        leak_rate: limit(LIMIT_MBAR_L_S),
        leak_rate_die_casting: limit(LIMIT_MBAR_L_S),
        flow_low: limit(90.0),
        flow_high: limit(115.0),
        reynolds: limit(4000.0),
        narrow_conductance: limit(1.0),
    };
    let metal = Metal { family: "tool-steel".into(), text: "mould steel".into() };
    let materials = Materials {
        metals: BTreeMap::from([("1.2311".into(), metal)]),
        seals: BTreeMap::from([("EPDM".into(), "rubber".into())]),
    };
    Tables { limits, materials }
}

fn bore(length_mm: f64) -> Piece {
    Piece::Bore {
        diameter: Length::from_mm(9.0),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(10.0),
    }
}

/// A good rig with short hoses.
fn rig() -> RigPlan {
    let side = vec![
        Piece::Hose {
            diameter: Length::from_mm(9.0),
            length: Length::from_m(0.5),
            roughness: Length::from_um(2.0),
        },
        Piece::Coupling { flow_factor: FlowFactor::from_m3_h(2.5) },
    ];
    RigPlan {
        stated: Rig {
            pressure_uncertainty_bar: 0.005,
            reservoir_volume: Some(Volume::from_ml(5000.0)),
            reference_volume: Some(Volume::from_ml(500.0)),
            ..random_plan(1, &Invention::default()).rig.stated
        },
        ports: 8,
        supply: side.clone(),
        back: side.into_iter().rev().collect(),
        dead_volume: Volume::from_ml(10.0),
        fixture_stated: true,
        gauges_at_mould: false,
    }
}

fn reading(what: ReadingKind) -> ReadingPlan {
    ReadingPlan { circuits: None, logger: Logger::Own, what }
}

fn leak_down(bar_g: f64) -> ReadingPlan {
    reading(ReadingKind::LeakDown {
        pressure: GaugePressure::from_bar(bar_g),
        sampling: Sampling { rate_hz: 10.0, seconds: 180.0 },
        hold_s: 30.0,
        together: false,
    })
}

fn passage() -> ReadingPlan {
    reading(ReadingKind::AirPassage {
        from_reservoir: true,
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 50.0, seconds: 8.0 },
    })
}

/// A mould of these circuits, with nothing wrong but what is asked for.
fn plan(circuits: Vec<CircuitPlan>, leaks_across: Vec<LeakAcross>, readings: Vec<ReadingPlan>) -> Plan {
    let mut plan = random_plan(1, &Invention::default());
    plan.circuits = circuits;
    plan.leaks_across = leaks_across;
    plan.rig = rig();
    plan.slips = link::plan::Slips::default();
    plan.process = bench::mould::Process::InjectionMoulding;
    plan.visit.readings = readings;
    plan
}

fn circuit(id: &str, leak_out: Option<Leak>) -> CircuitPlan {
    let mut circuit = CircuitPlan::new(id, "fixed", vec![bore(300.0), bore(40.0), bore(300.0)]);
    circuit.metals = vec!["1.2311".into()];
    circuit.seals = vec!["EPDM".into()];
    circuit.fault = Fault { leak_out, ..Fault::default() };
    circuit
}

fn leak(rate_mbar_l_s: f64, law: LeakLaw) -> Leak {
    Leak { rate: LeakRate::from_mbar_l_s(rate_mbar_l_s), law }
}

fn played(plan: &Plan, seed: u64) -> (Simulated, Findings) {
    let played = simulate(plan, seed).expect("a plan that can be played");
    let findings = assess(&played.mould, &played.visit, &tables());
    (played, findings)
}

fn kind_text(found: &CircuitFinding) -> Option<&str> {
    found.evidence.iter().find(|one| one.title == "Kind of leak").map(|one| one.text.as_str())
}

#[test]
fn an_opening_crack_across_keeps_acid_out_though_the_test_was_weak() {
    // 1.3 to 3 limits at 6 bar through a crack that pressure pushes open: at 4 bar less than half a limit, the laminar
    // share, is left. No neighbour was watched, so that the leak-down alone has to keep the gate shut.
    let mut tight = 0;
    for seed in 0..60_u32 {
        let rate = LIMIT_MBAR_L_S * (1.3 + 0.03 * f64::from(seed));
        let law = LeakLaw::OpeningCrack(PressureDrop::from_bar(0.5));
        let between = (CircuitId("F1".into()), CircuitId("F2".into()));
        let across = LeakAcross { between, leak: leak(rate, law) };
        let plan = plan(
            vec![circuit("F1", None), circuit("F2", None)],
            vec![across],
            vec![leak_down(4.0), passage()],
        );
        let (_, findings) = played(&plan, u64::from(seed));
        for found in &findings.circuits {
            assert!(!found.gates.descale.open, "seed {seed}, {}: {:?}", found.id, found.leak_rate_mbar_l_s);
            tight += u32::from(found.tightness == Tightness::Tight);
        }
    }
    assert!(tight > 20, "the case is met: {tight} of 120 look tight at 4 bar");
}

#[test]
fn a_tight_circuit_still_gets_its_acid_at_six_bar() {
    let open = (0..20)
        .filter(|seed| {
            let plan = plan(vec![circuit("F1", None)], vec![], vec![leak_down(6.0), passage()]);
            played(&plan, *seed).1.circuits[0].gates.descale.open
        })
        .count();
    assert!(open >= 15, "{open} of 20");
}

#[test]
fn a_seat_that_leaks_only_at_low_pressure_is_a_leak() {
    // 0.03 at 6 bar; shrinking to 1/e in 1 bar it lets 0.03 * 4/7 * e^3 = 0.34 through at 3 bar.
    let seat = leak(0.03, LeakLaw::Seat(PressureDrop::from_bar(1.0)));
    let readings = || vec![leak_down(6.0), leak_down(3.0)];
    let (_, findings) = played(&plan(vec![circuit("F1", Some(seat))], vec![], readings()), 3);
    let found = &findings.circuits[0];
    assert_eq!(found.tightness, Tightness::Leaks);
    assert!(kind_text(found).unwrap().contains("Most likely a seat or seal"), "{:?}", kind_text(found));
    let sound = played(&plan(vec![circuit("F1", None)], vec![], readings()), 3).1;
    assert_eq!(sound.circuits[0].tightness, Tightness::Tight);
    assert!(kind_text(&sound.circuits[0]).is_none());
}

#[test]
fn the_order_of_the_pressures_does_not_matter() {
    let crack = leak(0.3, LeakLaw::Laminar);
    let verdict = |readings: Vec<ReadingPlan>| {
        let (_, findings) = played(&plan(vec![circuit("F1", Some(crack))], vec![], readings), 5);
        (findings.circuits[0].tightness, findings.circuits[0].leak_rate_mbar_l_s.unwrap().value)
    };
    let (down, up) =
        (verdict(vec![leak_down(6.0), leak_down(3.0)]), verdict(vec![leak_down(3.0), leak_down(6.0)]));
    assert_eq!(down.0, Tightness::Leaks);
    assert_eq!(down.0, up.0);
    assert!((down.1 / 0.3 - 1.0).abs() < 0.15 && (up.1 / 0.3 - 1.0).abs() < 0.15, "{down:?} {up:?}");
}

#[test]
fn named_kinds_are_right() {
    let law = |number: u64| match number % 4 {
        0 => (LeakLaw::Laminar, "a narrow crack"),
        1 => (LeakLaw::Orifice, "a short hole"),
        2 => (LeakLaw::Seat(PressureDrop::from_bar(1.5 + 0.02 * number as f64)), "a seat"),
        _ => (LeakLaw::OpeningCrack(PressureDrop::from_bar(0.5 + 0.02 * number as f64)), "a crack or lip"),
    };
    let (mut named, mut right) = (0, 0);
    for number in 0..160 {
        let (law, words) = law(number);
        let rate = 0.15 + 0.01 * number as f64;
        let plan =
            plan(vec![circuit("F1", Some(leak(rate, law)))], vec![], vec![leak_down(6.0), leak_down(2.5)]);
        let (_, findings) = played(&plan, number);
        if let Some(said) =
            kind_text(&findings.circuits[0]).and_then(|text| text.split("Most likely ").nth(1))
        {
            named += 1;
            right += usize::from(said.starts_with(words));
        }
    }
    println!("{named} of 160 kinds named, {right} of them right");
    assert!(named >= 120, "only {named} named");
    assert!(right * 100 >= named * 95, "{right} of {named} are right");
}

#[test]
fn one_pressure_asks_for_a_second_one() {
    let crack = leak(1.0, LeakLaw::Laminar);
    let mut readings = vec![leak_down(6.0)];
    readings.push(reading(ReadingKind::CrossWatch {
        together: false,
        pressure: GaugePressure::from_bar(6.0),
        sampling: Sampling { rate_hz: 2.0, seconds: 60.0 },
    }));
    let (_, findings) =
        played(&plan(vec![circuit("F1", Some(crack)), circuit("F2", None)], vec![], readings), 9);
    let found = &findings.circuits[0];
    assert_eq!(found.tightness, Tightness::LeaksOut);
    assert!(found.reason.contains("a second leak-down, at "), "{}", found.reason);
}

/// `N mm from the END (LOW to HIGH)` out of the evidence.
fn place(found: &CircuitFinding, end: &str) -> Option<[f64; 3]> {
    let text = &found.evidence.iter().find(|one| one.title == "Place of the block")?.text;
    let (before, after) = text.split_once(&format!(" mm from the {end} ("))?;
    let value = before.rsplit(' ').next()?.parse().ok()?;
    let (low, rest) = after.split_once(" to ")?;
    Some([value, low.parse().ok()?, rest.split(')').next()?.parse().ok()?])
}

/// Blocked circuits of invented moulds, filled from both ends: how often the interval holds the true place.
fn places(through_fixture: bool, fouled: f64) -> (usize, usize, f64) {
    let options = Invention {
        circuits: (4, 6),
        fouled,
        blocked: 1.0,
        leaks_out: 0.0,
        leaks_across: 0.0,
        too_much: 0.0,
        plugged_branch: 0.0,
        swapped: 0.0,
        stopped_early: 0.0,
        rigs: [0.4, 0.4, 0.2, 0.0],
        ..Invention::default()
    };
    let (mut all, mut held, mut width) = (0, 0, 0.0);
    for seed in 0..120 {
        let mut plan = random_plan(seed, &options);
        plan.circuits.iter_mut().for_each(|circuit| circuit.known = Known::Drawing);
        plan.rig.stated.reference_volume = Some(Volume::from_ml(250.0));
        plan.rig.stated.reservoir_volume = Some(Volume::from_ml(5000.0));
        plan.rig.fixture_stated = true;
        let volume = |from| reading(ReadingKind::Volume { by_air: true, through_fixture, from });
        plan.visit.readings = vec![leak_down(6.0), passage(), volume(End::Inlet), volume(End::Outlet)];
        let (played, findings) = played(&plan, seed);
        for (found, truth) in findings.circuits.iter().zip(&played.truth.circuits) {
            let whole = path_length(&truth.pieces_today).mm();
            let from_inlet = truth.blocked_at.expect("a blocked circuit") * whole;
            for (end, distance) in [("inlet", from_inlet), ("outlet", whole - from_inlet)] {
                if let Some([_, low, high]) = place(found, end) {
                    all += 1;
                    held += usize::from(low - 0.5 <= distance && distance <= high + 0.5);
                    width += (high - low) / whole;
                }
            }
        }
    }
    (all, held, width / all as f64)
}

#[test]
fn the_place_of_a_block_is_where_it_says() {
    for through_fixture in [false, true] {
        let (all, held, width) = places(through_fixture, 0.0);
        let share = held as f64 / all as f64;
        println!(
            "through hoses: {through_fixture}; {all} places, {:.1} % of the intervals hold, width {:.0} % of the path",
            100.0 * share,
            100.0 * width
        );
        assert!(all > 300, "{all} places");
        assert!(share > 0.92, "{held} of {all} intervals hold the block");
    }
}
