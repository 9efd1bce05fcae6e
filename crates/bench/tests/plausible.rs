//! Numbers that are questioned before they are recorded, and those that are not. Every case states what was typed, what was
//! meant and why; the windows are our own choice.

#![allow(clippy::unwrap_used)]

use bench::mould::{Baseline, Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::plausible::{Number, Question, Slip, questions};
use bench::visit::{
    AirPassage, Charged, Decay, Entry, Flow, FlowReading, LeakDown, Others, Rig, Treatment, TreatmentKind,
    Visit, VolumeMethod, VolumeReading, What,
};
use calc::estimate::Uncertain;
use calc::quantity::{Duration, FlowFactor, GaugePressure, Temperature, Volume, VolumeFlow};

fn circuit(name: &str, factor_m3_h: Option<f64>) -> Circuit {
    Circuit {
        id: CircuitId(name.into()),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![CircuitId("F1".into()), CircuitId("F2".into())],
        neighbours: vec![],
        baseline: factor_m3_h.map(|factor| Baseline {
            flow_factor_m3_h: Uncertain::relative(factor, 0.02),
            filled_volume_ml: Some(Uncertain::new(100.0, 2.0)),
            sonic_conductance_dm3_s_bar: None,
            date: Some("2026-01-15".into()),
            others: Others::Closed,
            sweep: None,
        }),
        pieces: vec![],
        known: Known::Unknown,
        rough_bore: None,
        rough_length: None,
        earlier: vec![],
    }
}

/// F1 passes 1 m3/h at 1 bar, 16.7 l/min; N1 passes 0.012 m3/h, 0.2 l/min; of U1 nothing is known.
fn mould() -> Mould {
    let circuits = vec![
        circuit("F1", Some(1.0)),
        circuit("F2", Some(1.0)),
        circuit("N1", Some(0.012)),
        circuit("U1", None),
    ];
    Mould { id: MouldId("T".into()), name: "Test".into(), process: Process::InjectionMoulding, circuits }
}

fn about(id: &str, what: What) -> Entry {
    Entry { place: "visit".into(), at: None, circuit: Some(CircuitId(id.into())), what }
}

fn flow(id: &str, l_min: f64, in_bar: f64, out_bar: f64, deg_c: f64) -> Entry {
    about(
        id,
        What::Flow(Flow {
            flow: FlowReading::Mean(VolumeFlow::from_l_min(l_min)),
            pressure_in: GaugePressure::from_bar(in_bar),
            pressure_out: GaugePressure::from_bar(out_bar),
            water_temperature: Temperature::from_deg_c(deg_c),
            others: Others::Closed,
            through_fixture: false,
        }),
    )
}

fn decay(start: f64, end: f64, s: f64) -> Decay {
    let (start, end) = (GaugePressure::from_bar(start), GaugePressure::from_bar(end));
    Decay::TwoReadings { start, end, time: Duration::from_s(s) }
}

fn held(id: &str, start: f64, end: f64, s: f64) -> Entry {
    let decay = decay(start, end, s);
    about(id, What::LeakDown(LeakDown { decay, wall_temperature: None, hold: Duration::from_s(10.0) }))
}

fn passage(id: &str, start: f64, end: f64, s: f64) -> Entry {
    let decay = decay(start, end, s);
    about(id, What::AirPassage(AirPassage { charged: Charged::Circuit, decay, air_temperature: None }))
}

fn drained(id: &str, ml: f64) -> Entry {
    let method = VolumeMethod::Drained { volume_ml: Uncertain::new(ml, 2.0) };
    about(id, What::Volume(VolumeReading { method, through_fixture: true, from: Default::default() }))
}

fn visit(entries: Vec<Entry>) -> Visit {
    Visit {
        id: "v".into(),
        mould: MouldId("T".into()),
        started: "2026-11-24T08:00:00Z".parse().unwrap(),
        by: "KD".into(),
        rig: Rig {
            fixture_volume: Some(Volume::from_ml(100.0)),
            fixture_flow_factor: Some(FlowFactor::from_m3_h(3.0)),
            ..Rig::default()
        },
        hook_ups: vec![],
        entries,
    }
}

fn asked(before: Vec<Entry>, new: &Entry) -> Vec<Question> {
    questions(&mould(), &visit(before), new)
}

/// The only question: number, slip, what was meant.
fn one(before: Vec<Entry>, new: &Entry) -> (Number, Slip, f64) {
    let all = asked(before, new);
    assert_eq!(all.len(), 1, "{all:?}");
    assert!(!all[0].reason.is_empty());
    (all[0].number, all[0].slip, all[0].meant())
}

#[test]
fn a_flow_is_held_against_what_its_circuit_can_pass() {
    // 12 where everything says 0.2: litres an hour for litres a minute.
    assert_eq!(one(vec![], &flow("N1", 12.0, 1.0, 0.0, 20.0)), (Number::Flow, Slip::SixtyFold, 0.2));
    assert_eq!(one(vec![], &flow("F1", 170.0, 1.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 17.0));
    assert_eq!(one(vec![], &flow("F1", 1.7, 1.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 17.0));
    assert_eq!(one(vec![], &flow("F1", 0.28, 1.0, 0.0, 20.0)), (Number::Flow, Slip::SixtyFold, 16.8));
    // Clean, fouled to a third, and half as much again: nobody asks.
    for l_min in [16.7, 5.5, 25.0] {
        assert_eq!(asked(vec![], &flow("F1", l_min, 1.0, 0.0, 20.0)), [], "{l_min}");
    }
    // Far off, and no usual slip explains it.
    assert_eq!(asked(vec![], &flow("F1", 60.0, 1.0, 0.0, 20.0)), []);
    // The drop counts: four times as much drives twice the flow.
    assert_eq!(one(vec![], &flow("F1", 330.0, 4.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 33.0));
    // Nothing is known of it: nothing to hold it against, until it was read once, or a sister was.
    assert_eq!(asked(vec![], &flow("U1", 170.0, 1.0, 0.0, 20.0)), []);
    let before = vec![flow("U1", 16.0, 1.0, 0.0, 20.0)];
    assert_eq!(one(before, &flow("U1", 170.0, 1.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 17.0));
    let sister = vec![flow("F1", 16.0, 1.0, 0.0, 20.0)];
    assert_eq!(one(sister, &flow("U1", 170.0, 1.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 17.0));
}

#[test]
fn what_a_circuit_showed_before_in_the_visit_counts_most() {
    // Fouled to a tenth, asked about once and kept: the second point is not asked about.
    let before = || vec![flow("F1", 1.7, 1.0, 0.0, 20.0)];
    assert_eq!(asked(before(), &flow("F1", 2.4, 2.0, 0.0, 20.0)), []);
    assert_eq!(one(before(), &flow("F1", 24.0, 2.0, 0.0, 20.0)), (Number::Flow, Slip::TenFold, 2.4));
    // A descale changes that.
    let descale = Treatment { kind: TreatmentKind::Descale, remark: None };
    let mut cleaned = before();
    cleaned.push(about("F1", What::Treatment(descale)));
    assert_eq!(asked(cleaned, &flow("F1", 16.0, 1.0, 0.0, 20.0)), []);
}

#[test]
fn pressures_are_held_against_the_others_of_their_kind() {
    // Air tests begin at about 6 bar (common practice, no source).
    assert_eq!(one(vec![], &held("F1", 0.6, 0.599, 60.0)), (Number::Start, Slip::TenFold, 6.0));
    let (number, slip, meant) = one(vec![], &held("F1", 87.0, 86.9, 60.0));
    assert!((number, slip) == (Number::Start, Slip::Psi) && (meant - 5.998).abs() < 0.001, "{meant}");
    assert_eq!(one(vec![], &held("F1", 600.0, 599.0, 60.0)), (Number::Start, Slip::Kilopascal, 6.0));
    for start in [2.0, 4.0, 6.0, 8.0] {
        assert_eq!(asked(vec![], &held("F1", start, start - 0.01, 60.0)), [], "{start}");
    }
    // Absolute in place of gauge: one atmosphere above two that agree.
    let before = || vec![held("F1", 6.0, 5.99, 60.0), held("F2", 6.02, 6.0, 60.0)];
    let (number, slip, meant) = one(before(), &held("N1", 7.02, 7.01, 60.0));
    assert!((number, slip) == (Number::Start, Slip::Absolute) && (meant - 6.00675).abs() < 1e-6, "{meant}");
    assert_eq!(
        asked(vec![held("F1", 6.0, 5.99, 60.0)], &held("N1", 7.0, 6.99, 60.0)),
        [],
        "one alone agrees with nothing"
    );
    assert_eq!(one(vec![], &held("F1", 6.0, 59.9, 60.0)), (Number::End, Slip::TenFold, 5.99));
    assert_eq!(one(vec![], &held("F1", 6.0, 0.598, 60.0)), (Number::End, Slip::TenFold, 5.98));
    for end in [6.0, 5.0, 2.0, 0.3, 0.0] {
        assert_eq!(asked(vec![], &held("F1", 6.0, end, 60.0)), [], "{end}");
    }
    let waters = || vec![flow("F1", 16.0, 2.0, 1.0, 20.0)];
    assert_eq!(one(waters(), &flow("F2", 16.0, 20.0, 1.0, 20.0)), (Number::PressureIn, Slip::TenFold, 2.0));
}

#[test]
fn times_temperatures_and_volumes_too() {
    let before = || vec![held("F1", 6.0, 5.99, 60.0), held("F2", 6.0, 5.99, 60.0)];
    assert_eq!(one(before(), &held("N1", 6.0, 5.99, 1.0)), (Number::Time, Slip::SixtyFold, 60.0));
    assert_eq!(one(before(), &held("N1", 6.0, 5.99, 600.0)), (Number::Time, Slip::TenFold, 60.0));
    assert_eq!(asked(before(), &held("N1", 6.0, 5.99, 120.0)), []);
    // Air passage takes seconds where a leak-down takes a minute: they are not held against each other.
    assert_eq!(asked(before(), &passage("N1", 6.0, 1.0, 4.0)), []);
    assert_eq!(
        one(vec![], &flow("F1", 16.0, 1.0, 0.0, 68.0)),
        (Number::WaterTemperature, Slip::Fahrenheit, 20.0)
    );
    let warm = vec![flow("F1", 16.0, 1.0, 0.0, 60.0)];
    assert_eq!(asked(warm, &flow("F1", 16.0, 1.0, 0.0, 62.0)), [], "warm water is warm");
    // 100 ml by its baseline and 100 ml of hoses.
    assert_eq!(one(vec![], &drained("F1", 2000.0)), (Number::Drained, Slip::TenFold, 200.0));
    assert_eq!(one(vec![], &drained("F1", 0.2)), (Number::Drained, Slip::ThousandFold, 200.0));
    for ml in [200.0, 90.0, 300.0] {
        assert_eq!(asked(vec![], &drained("F1", ml)), [], "{ml}");
    }
    assert_eq!(asked(vec![], &drained("U1", 2000.0)), []);
}
