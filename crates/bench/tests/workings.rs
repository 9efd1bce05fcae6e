//! How each number came about: recomputed here by hand from what is said, with as many digits as a page shows.
//!
//! The formulas are written out anew from the sources that the workings name; no source gives the numbers.

mod limits;

use std::collections::BTreeMap;

use bench::finding::CircuitFinding;
use bench::judge::assess;
use bench::limits::{Materials, Tables};
use bench::mould::{Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::visit::{
    AirPassage, Charged, Decay, End, Entry, Flow, FlowReading, LeakDown, Others, Rig, Visit, VolumeMethod,
    VolumeReading, What,
};
use bench::working::{Number, Working};
use calc::estimate::Uncertain;
use calc::hydraulics::piece::Piece;
use calc::numeric::math;
use calc::quantity::{
    Duration, FlowFactor, GaugePressure, Length, SonicConductance, Temperature, Volume, VolumeFlow,
};
use calc::trace::Trace;

fn judged(readings: Vec<What>) -> CircuitFinding {
    let id = CircuitId("F1".into());
    let circuit = Circuit {
        id: id.clone(),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![],
        neighbours: vec![],
        baseline: None,
        pieces: vec![Piece::Bore {
            diameter: Length::from_mm(10.0),
            length: Length::from_mm(1500.0),
            roughness: Length::from_um(10.0),
        }],
        known: Known::Drawing,
        rough_bore: None,
        rough_length: None,
        earlier: vec![],
    };
    let mould = Mould {
        id: MouldId("T-1".into()),
        name: "Test".into(),
        process: Process::InjectionMoulding,
        circuits: vec![circuit],
    };
    let entry = |what| Entry { place: "visit".into(), at: None, circuit: Some(id.clone()), what };
    let visit = Visit {
        id: "visit".into(),
        mould: mould.id.clone(),
        started: jiff::Timestamp::UNIX_EPOCH,
        by: "tester".into(),
        rig: Rig {
            flow_uncertainty_relative: 0.01,
            pressure_uncertainty_bar: 0.005,
            fixture_flow_factor: Some(FlowFactor::from_m3_h(3.0)),
            fixture_volume: Some(Volume::from_ml(100.0)),
            fixture_sonic_conductance: Some(SonicConductance::from_dm3_s_bar(15.0)),
            ..Rig::default()
        },
        hook_ups: vec![],
        entries: readings.into_iter().map(entry).collect(),
    };
    let materials = Materials { metals: BTreeMap::new(), seals: BTreeMap::new() };
    let tables = Tables { materials, ..limits::tables() };
    assess(&mould, &visit, &tables).circuits.remove(0)
}

fn working(found: &CircuitFinding, number: Number) -> &Working {
    let working = found.workings.iter().find(|one| one.number == number);
    working.unwrap_or_else(|| panic!("no working of {number:?}: {:?}", found.workings))
}

/// What a reader takes from the page: six significant digits.
fn read(value: f64) -> f64 {
    format!("{value:.5e}").parse().expect("a number")
}

/// The input of this letter.
fn input(working: &Working, letter: &str) -> f64 {
    let term = working.inputs.iter().find(|term| term.letter == letter);
    read(term.unwrap_or_else(|| panic!("no {letter} in {working:?}")).value)
}

/// What was worked by hand is what the page says, and lies by no more than this beside what was found.
fn agrees(working: &Working, by_hand: f64, apart: f64) {
    let said = working.by_hand.value;
    assert!((by_hand / said - 1.0).abs() < 2e-5, "{by_hand} by hand, {said} said: {working:?}");
    let found = working.value.expect("a number");
    assert!((by_hand / found.value - 1.0).abs() < apart, "{by_hand} by hand, {found:?} found");
    assert!(!working.sources.is_empty() && !working.formulas.is_empty());
}

fn flow(flow_factor: f64, deg_c: f64) -> What {
    let both = 1.0 / (1.0 / flow_factor.powi(2) + 1.0 / 9.0).sqrt();
    What::Flow(Flow {
        flow: FlowReading::Mean(VolumeFlow::from_m3_h(both * 2.0_f64.sqrt())),
        pressure_in: GaugePressure::from_bar(2.5),
        pressure_out: GaugePressure::from_bar(0.5),
        water_temperature: Temperature::from_deg_c(deg_c),
        others: Others::Closed,
        through_fixture: true,
    })
}

fn drained(volume_ml: f64) -> What {
    What::Volume(VolumeReading {
        method: VolumeMethod::Drained { volume_ml: Uncertain::new(volume_ml, 1.0) },
        through_fixture: true,
        from: End::Inlet,
    })
}

fn leak_rate_by_hand(one: &Working) -> f64 {
    let of = |letter| input(one, letter);
    let middle = of("p1") - of("Δp") / 2000.0;
    let slower = (of("p1").powi(2) - of("pa").powi(2)) / (middle.powi(2) - of("pa").powi(2));
    of("V") * of("Δp") / of("t") * 293.15 / of("T") * slower
}

#[test]
fn leak_rate_from_two_readings_and_from_a_trace() {
    let read_twice = What::LeakDown(LeakDown {
        decay: Decay::TwoReadings {
            start: GaugePressure::from_bar(6.0),
            end: GaugePressure::from_bar(5.7),
            time: Duration::from_s(120.0),
        },
        wall_temperature: Some(Temperature::from_deg_c(30.0)),
        hold: Duration::from_s(30.0),
    });
    let found = judged(vec![read_twice]);
    let one = working(&found, Number::LeakRate);
    agrees(one, leak_rate_by_hand(one), 0.02);
    assert!((input(one, "T") - 303.15).abs() < 1e-9);
    let times: Vec<f64> = (0..=1200).map(|step| f64::from(step) / 10.0).collect();
    let flicker = |step: usize| 0.0005 * [0.0, 4.0, 3.0, 2.0, 1.0][step % 5] - 0.001;
    let fall = |time: f64| 6.0 - 0.002 * time;
    let pressures = times.iter().enumerate().map(|(step, time)| fall(*time) + flicker(step)).collect();
    let trace = Trace { time_s: times, pressure_bar_g: Some(pressures), ..Trace::default() };
    let logged = What::LeakDown(LeakDown {
        decay: Decay::Trace(trace),
        wall_temperature: None,
        hold: Duration::from_s(30.0),
    });
    let found = judged(vec![logged]);
    let one = working(&found, Number::LeakRate);
    agrees(one, leak_rate_by_hand(one), 0.02);
    assert_eq!(found.leak_rate_mbar_l_s, one.value);
}

#[test]
fn filled_volume_by_water_and_by_air() {
    let found = judged(vec![drained(210.0)]);
    let one = working(&found, Number::FilledVolume);
    agrees(one, input(one, "Vw") - input(one, "Vh"), 1e-6);
    let share = working(&found, Number::FilledVolumePercent);
    agrees(share, 100.0 * input(share, "X") / input(share, "X0"), 1e-5);
    // Boyle's law: 500 ml at 4 bar into 220 ml at 0.
    let joined = GaugePressure::from_bar(4.0 * 500.0 / 720.0);
    let by_air = What::Volume(VolumeReading {
        method: VolumeMethod::AirExpansion {
            reference: Volume::from_ml(500.0),
            reference_before: GaugePressure::from_bar(4.0),
            circuit_before: GaugePressure::from_bar(0.0),
            joined,
        },
        through_fixture: true,
        from: End::Inlet,
    });
    let found = judged(vec![by_air]);
    let one = working(&found, Number::FilledVolume);
    let of = |letter| input(one, letter);
    let by_hand = of("Vr") * (of("p1") - of("p2")) / (of("p2") - of("p0")) - of("Vh");
    agrees(one, by_hand, 1e-4);
    assert!((by_hand - 120.0).abs() < 0.01, "{by_hand}");
}

#[test]
fn flow_factor_and_its_share_at_any_temperature() {
    for deg_c in [20.0, 45.0] {
        let found = judged(vec![flow(0.8, deg_c)]);
        let one = working(&found, Number::FlowFactor);
        let of = |letter| input(one, letter);
        let left = of("Δp") - of("ρ") / 1000.0 * (of("q") / of("Kh")).powi(2);
        let thinner = of("ν20") / of("ν");
        let twin = left * of("ρ20") / of("ρ") * thinner.powi(2);
        agrees(one, of("q") * thinner * math::powf(1.0 / twin, 1.0 / of("n")), 0.02);
        assert_eq!(found.flow_factor_m3_h, one.value);
        let share = working(&found, Number::FlowFactorPercent);
        agrees(share, 100.0 * input(share, "X") / input(share, "X0"), 1e-5);
    }
}

#[test]
fn conductance_of_air_let_out() {
    let times: Vec<f64> = (0..=400).map(|step| f64::from(step) / 20.0).collect();
    // Isothermal and at the speed of sound through 4 dm3/(s bar), from ten litres.
    let pressure = |time: f64| (7.013 * math::exp(-(time - 0.5).max(0.0) * 0.4) - 1.013).max(0.0);
    let flicker = |step: usize| 0.0005 * [0.0, 4.0, 3.0, 2.0, 1.0][step % 5] - 0.001;
    let pressures = times.iter().enumerate().map(|(step, time)| pressure(*time) + flicker(step)).collect();
    let trace = Trace { time_s: times, pressure_bar_g: Some(pressures), ..Trace::default() };
    let found = judged(vec![What::AirPassage(AirPassage {
        charged: Charged::Reservoir(Volume::from_ml(10_000.0)),
        decay: Decay::Trace(trace),
        air_temperature: Some(Temperature::from_deg_c(20.0)),
    })]);
    let one = working(&found, Number::Conductance);
    let of = |letter| input(one, letter);
    // The circuit alone passes more than it does behind its hoses.
    agrees(one, of("V") / of("t") * math::ln(of("p1") / of("p2")), 0.25);
    assert!(one.by_hand.value < one.value.expect("a number").high);
}

#[test]
fn thickness_of_a_layer() {
    let new = judged(vec![flow(0.8, 20.0), drained(200.0)]);
    let (flow_as_new, volume_as_new) = (
        input(working(&new, Number::FlowFactorPercent), "X0"),
        input(working(&new, Number::FilledVolumePercent), "X0"),
    );
    // A bore of 8.4 mm where 10 mm were drilled.
    let bore = 0.84_f64;
    let found = judged(vec![
        flow(flow_as_new * math::powf(bore, 2.5), 20.0),
        drained(100.0 + volume_as_new * bore.powi(2)),
    ]);
    let one = working(&found, Number::Thickness);
    let of = |letter| input(one, letter);
    let extra = of("a") * (1.0 / of("s").powi(2) - 1.0);
    // The figure found is the middle of all layers that fit, the one by hand the layer that flow alone would have.
    agrees(one, of("D") / 2.0 * (1.0 - math::powf(1.0 + extra, -0.2)), 0.5);
    assert!(one.value.expect("a number").holds(one.by_hand.value), "{one:?}");
}
