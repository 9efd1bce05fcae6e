//! A circuit's past in the judgement, and a baseline of several points.

#![allow(clippy::unwrap_used)]

mod limits;

use std::collections::BTreeMap;

use bench::finding::{BoreState, CircuitFinding, Findings};
use bench::judge::assess;
use bench::mould::{
    Baseline, BaselineSweep, Circuit, CircuitId, Done, Earlier, EarlierFound, Known, Mould, MouldId, Process,
};
use bench::visit::{
    Entry, Flow, FlowReading, Others, Rig, Treatment, TreatmentKind, Visit, VolumeMethod, VolumeReading, What,
};
use calc::estimate::Uncertain;
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::hydraulics::piece::Piece;
use calc::quantity::{GaugePressure, Length, PressureDrop, Temperature, VolumeFlow};
use limits::tables;

/// Flow in l/min and drop in bar of a bore of 10 mm and 6 m: as drilled, under half a millimetre of 60 µm (fluids 1.3.1,
/// Colebrook; the generator lies in data/reference/bore-state).
const CLEAN: [(f64, f64); 3] = [(6.0, 0.14899), (9.0, 0.30820), (12.0, 0.51917)];
const LAYERED: [(f64, f64); 3] = [(6.0, 0.31212), (9.0, 0.67592), (12.0, 1.17648)];

fn circuit(earlier: Vec<Earlier>) -> Circuit {
    Circuit {
        id: CircuitId("F1".into()),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![],
        neighbours: vec![],
        baseline: Some(Baseline {
            flow_factor_m3_h: Uncertain::relative(1.03, 0.015),
            filled_volume_ml: None,
            sonic_conductance_dm3_s_bar: None,
            date: None,
            others: Others::Closed,
            sweep: None,
        }),
        pieces: vec![Piece::Bore {
            diameter: Length::from_mm(10.0),
            length: Length::from_mm(6000.0),
            roughness: Length::from_um(10.0),
        }],
        known: Known::Drawing,
        rough_bore: None,
        rough_length: None,
        earlier,
    }
}

fn entry(what: What) -> Entry {
    Entry { place: "visit".into(), at: None, circuit: Some(CircuitId("F1".into())), what }
}

fn flows(points: &[(f64, f64)]) -> Vec<Entry> {
    let flow = |(l_min, drop_bar): &(f64, f64)| {
        entry(What::Flow(Flow {
            flow: FlowReading::Mean(VolumeFlow::from_l_min(*l_min)),
            pressure_in: GaugePressure::from_bar(1.0 + drop_bar),
            pressure_out: GaugePressure::from_bar(1.0),
            water_temperature: Temperature::from_deg_c(20.0),
            others: Others::Closed,
            through_fixture: false,
        }))
    };
    points.iter().map(flow).collect()
}

fn volume(ml: f64) -> Entry {
    let volume_ml = Uncertain::relative(ml, 0.02);
    entry(What::Volume(VolumeReading {
        method: VolumeMethod::Drained { volume_ml },
        through_fixture: false,
        from: bench::visit::End::Inlet,
    }))
}

fn judged(circuit: Circuit, entries: Vec<Entry>) -> Findings {
    let mould = Mould {
        id: MouldId("T-1".into()),
        name: "Test".into(),
        process: Process::InjectionMoulding,
        circuits: vec![circuit],
    };
    let visit = Visit {
        id: "v".into(),
        mould: mould.id.clone(),
        started: "2026-11-24T08:00:00Z".parse().unwrap(),
        by: "K. Dale".into(),
        rig: Rig { flow_uncertainty_relative: 0.01, pressure_uncertainty_bar: 0.005, ..Rig::default() },
        hook_ups: vec![],
        entries,
    };
    assess(&mould, &visit, &tables())
}

fn one(findings: &Findings) -> &CircuitFinding {
    &findings.circuits[0]
}

fn day(date: &str, state: BoreState, probability: f64, done: &[Done]) -> Earlier {
    Earlier {
        date: date.parse().unwrap(),
        visit: None,
        found: Some(EarlierFound {
            state: BTreeMap::from([(state, probability)]),
            before: BTreeMap::new(),
            thickness_mm: None,
        }),
        done: done.to_vec(),
        remark: None,
    }
}

fn deposit(findings: &Findings) -> f64 {
    one(findings).state[&BoreState::EvenDeposit]
}

fn before(findings: &Findings, state: BoreState) -> f64 {
    one(findings).state_before.as_ref().unwrap()[&state]
}

#[test]
fn the_past_moves_the_state_as_far_as_it_is_left_alone() {
    let found = |earlier| judged(circuit(earlier), flows(&LAYERED));
    let march = |done: &[Done]| day("2026-03-04", BoreState::EvenDeposit, 0.9, done);
    let (alone, left) = (found(vec![]), found(vec![march(&[])]));
    let cleaned = found(vec![march(&[Done::Descaled])]);
    assert!(deposit(&left) > deposit(&cleaned) && deposit(&left) > deposit(&alone));
    assert!(one(&alone).state_without_past.is_none() && one(&left).state_without_past.is_some());
    assert!(before(&cleaned, BoreState::AsNew) > 1.5 * before(&left, BoreState::AsNew));
    let twice = found(vec![march(&[Done::Descaled]), day("2026-09-01", BoreState::EvenDeposit, 0.9, &[])]);
    assert!(deposit(&twice) > deposit(&cleaned));
}

#[test]
fn a_wrong_past_cannot_decide_against_good_readings() {
    let wrong: Vec<Earlier> =
        (1..7).map(|month| day(&format!("2026-{month:02}-03"), BoreState::LocalPlug, 1.0, &[])).collect();
    let mut entries = flows(&CLEAN);
    entries.push(volume(471.0));
    let findings = judged(circuit(wrong), entries);
    assert!(one(&findings).state[&BoreState::AsNew] > 0.8, "{:?}", one(&findings).state);
    assert!(findings.warnings.iter().any(|warning| warning.code == "past-disagrees"));
}

#[test]
fn what_was_done_today_before_the_readings_counts() {
    let past = || vec![day("2026-11-01", BoreState::EvenDeposit, 0.95, &[])];
    let treated = entry(What::Treatment(Treatment { kind: TreatmentKind::Descale, remark: None }));
    let (plain, descaled) = (
        judged(circuit(past()), flows(&CLEAN)),
        judged(circuit(past()), [vec![treated], flows(&CLEAN)].concat()),
    );
    assert!(before(&descaled, BoreState::AsNew) > 2.0 * before(&plain, BoreState::AsNew));
    let text = |findings: &Findings| {
        let evidence = &one(findings).evidence;
        evidence.iter().find(|one| one.title == "Earlier visits").map(|one| one.text.clone()).unwrap()
    };
    assert!(text(&descaled).contains("Before today's readings it was descaled."), "{}", text(&descaled));
    assert!(!text(&plain).contains("it was descaled"));
}

#[test]
fn what_lies_after_the_visit_is_no_past() {
    let findings = judged(circuit(vec![day("2026-11-25", BoreState::Rough, 0.9, &[])]), flows(&CLEAN));
    assert!(findings.warnings.iter().any(|warning| warning.code == "earlier-is-later"));
    assert!(one(&findings).state_without_past.is_none());
    let same = judged(circuit(vec![]), flows(&CLEAN));
    assert_eq!(one(&findings).state, one(&same).state);
}

#[test]
fn kept_points_of_a_baseline_count_in_place_of_its_flow_factor() {
    let sweep = |points: &[(f64, f64)]| BaselineSweep {
        points: points
            .iter()
            .map(|(l_min, drop_bar)| FlowPoint {
                flow: VolumeFlow::from_l_min(*l_min),
                drop: PressureDrop::from_bar(*drop_bar),
                temperature: Temperature::from_deg_c(20.0),
            })
            .collect(),
        uncertainty: PointUncertainty { flow_relative: 0.01, drop_bar: 0.005, temperature_k: 0.5 },
    };
    let with = |points: &[(f64, f64)]| {
        let mut circuit = circuit(vec![]);
        // Pieces that nobody vouches for: only the baseline says what is as new.
        circuit.known = Known::Guessed;
        if let Some(baseline) = &mut circuit.baseline {
            baseline.sweep = Some(sweep(points));
        }
        judged(circuit, flows(&LAYERED))
    };
    // The same today as new; less today than new.
    let (same, less) = (with(&LAYERED), with(&CLEAN));
    assert!(one(&same).state[&BoreState::AsNew] > 0.5, "{:?}", one(&same).state);
    assert!(one(&less).state[&BoreState::AsNew] < 0.02, "{:?}", one(&less).state);
}
