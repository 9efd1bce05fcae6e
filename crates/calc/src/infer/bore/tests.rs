use super::*;
use crate::hydraulics::circuit::{Conditions, drop_at_flow};
use crate::hydraulics::deposit::coated;
use crate::hydraulics::piece::{ElbowMake, Restrictor};
use crate::hydraulics::volume::filled_volume;
use crate::quantity::{AbsolutePressure, Length, Temperature, VolumeFlow};
use crate::water;

fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Bore {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(10.0),
    }
}

fn circuit() -> Vec<Piece> {
    let elbow = Piece::Elbow { diameter: Length::from_mm(10.0), make: ElbowMake::Drilled, loss_k: None };
    vec![bore(10.0, 400.0), elbow.clone(), bore(10.0, 40.0), elbow, bore(10.0, 400.0)]
}

fn with_plug(bore_mm: f64) -> Vec<Piece> {
    let mut pieces = circuit();
    pieces.push(Piece::Restrictor(Restrictor::Hole {
        diameter: Length::from_mm(bore_mm),
        discharge_coefficient: 0.7,
    }));
    pieces
}

fn readings(truth: &[Piece], flows_l_min: &[f64], zero_bar: f64) -> Sweep {
    let temperature = Temperature::from_deg_c(18.0);
    let fluid = water::water(temperature, AbsolutePressure::from_bar(3.0)).unwrap();
    let points = flows_l_min
        .iter()
        .map(|flow| {
            let flow = VolumeFlow::from_l_min(*flow);
            let drop = drop_at_flow(truth, &Conditions::new(fluid), flow).unwrap().drop;
            FlowPoint { flow, drop, temperature }
        })
        .collect();
    let uncertainty = PointUncertainty { flow_relative: 0.01, drop_bar: zero_bar, temperature_k: 0.3 };
    Sweep { points, uncertainty, hoses: Hoses::None }
}

fn input(truth: &[Piece], volume_ml: Option<f64>) -> BoreInput {
    let as_new = crate::hydraulics::circuit::clean_flow_factor(&circuit()).unwrap().m3_h();
    BoreInput {
        designs: vec![Design {
            pieces: circuit(),
            weight: 1.0,
            knowledge: PieceKnowledge::DRAWING,
            flow_ln: 0.03,
            volume_ln: 0.03,
            air_ln: 0.05,
            by_sisters_m3_h: None,
        }],
        then: Seen { flow_factor_m3_h: Some(Uncertain::relative(as_new, 0.015)), ..Seen::default() },
        today: Seen {
            sweep: Some(readings(truth, &[15.0, 10.0], 0.01)),
            volume_ml: volume_ml.map(|ml| Uncertain::relative(ml, 0.02)),
            ..Seen::default()
        },
        prior: Prior::default(),
        elsewhere: 0.0,
        bench: Some(Bench {
            flow: Some((0.01, 0.01)),
            largest_flow_share: 1.2,
            volume_with_hoses_ml: Some(6.0),
            volume_alone_ml: Some(1.5),
            air_relative: Some(0.05),
        }),
    }
}

fn total(state: &BoreState) -> f64 {
    state.as_new + state.even_deposit + state.local_plug + state.mixed + state.rough + state.unknown
}

#[test]
fn volume_tells_layer_from_plug_and_flow_does_not() {
    let layer = coated(&circuit(), Length::from_mm(0.6)).unwrap();
    let volume = filled_volume(&layer).ml();
    let flow_only = bore_state(&input(&layer, None)).unwrap();
    assert!((total(&flow_only) - 1.0).abs() < 1e-9);
    assert!(flow_only.as_new < 0.01, "{flow_only:?}");
    assert!(flow_only.even_deposit < 0.9 && flow_only.local_plug > 0.02, "{flow_only:?}");
    let best = flow_only.next.first().unwrap();
    assert!(matches!(best.reading, Reading::VolumeAlone | Reading::VolumeWithHoses), "{:?}", flow_only.next);
    let both = bore_state(&input(&layer, Some(volume))).unwrap();
    assert!(both.even_deposit > 0.6 && both.local_plug < 0.02, "{both:?}");
    assert!(both.thickness_mm.unwrap().holds(0.6), "{both:?}");
    assert!(both.fits());
}

#[test]
fn a_plug_keeps_the_volume() {
    let volume = filled_volume(&circuit()).ml();
    let state = bore_state(&input(&with_plug(4.0), Some(volume))).unwrap();
    assert!(state.local_plug > 0.9, "{state:?}");
    assert!(state.plug_bore_mm.unwrap().holds(4.0), "{state:?}");
}

#[test]
fn full_flow_is_as_new_and_far_too_much_fits_nothing() {
    let state = bore_state(&input(&circuit(), Some(filled_volume(&circuit()).ml()))).unwrap();
    assert!(state.as_new > 0.9, "{state:?}");
    let wide = vec![bore(12.0, 300.0)];
    let state = bore_state(&input(&wide, None)).unwrap();
    // A circuit that is too open, a wrong drawing, a wrong hose: the odds are those of before.
    assert!(!state.fits() && (state.as_new - 0.95 * 0.57 / 0.99).abs() < 0.02, "{state:?}");
}

#[test]
fn without_reading_nothing_is_told() {
    let mut nothing = input(&circuit(), None);
    nothing.today = Seen::default();
    assert_eq!(bore_state(&nothing).unwrap_err(), BoreError::NoReading);
}

#[test]
fn one_circuit_takes_little_time() {
    // No bar on time in a test: it only prints; the benches measure.
    let started = std::time::Instant::now();
    let layer = coated(&circuit(), Length::from_mm(0.6)).unwrap();
    for _ in 0..20 {
        bore_state(&input(&layer, Some(60.0))).unwrap();
    }
    println!("{:?} each", started.elapsed() / 20);
}
