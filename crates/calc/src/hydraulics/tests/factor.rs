//! What must hold for flow factors from readings; how accurate they are is a trial of its own.

use super::*;
use crate::hydraulics::circuit::{clean_flow_factor, drop_at_flow};
use crate::hydraulics::flow_factor::{
    Fixture, Flag, FlowFactorError, FlowPoint, Method, PieceKnowledge, PointUncertainty,
    expected_flow_factor, flow_factor,
};
use crate::quantity::PressureDrop;

const USUAL: PointUncertainty = PointUncertainty { flow_relative: 0.02, drop_bar: 0.02, temperature_k: 1.0 };

fn circuit() -> Vec<Piece> {
    vec![bore(8.0, 1500.0, 10.0), elbow(8.0, None), elbow(8.0, None), elbow(8.0, None), elbow(8.0, None)]
}

fn reading(pieces: &[Piece], flow: f64, deg_c: f64) -> FlowPoint {
    let drop = drop_at_flow(pieces, &water_of(deg_c), l_min(flow)).unwrap().drop;
    FlowPoint { flow: l_min(flow), drop, temperature: Temperature::from_deg_c(deg_c) }
}

fn fixture(flow_factor_m3_h: f64) -> Fixture {
    Fixture { flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h), relative_uncertainty: 0.01 }
}

#[test]
fn known_pieces_bring_any_reading_home() {
    // Identity: readings that the pieces themselves give lead back to their flow factor, hot or cold, much or little,
    // however far the whole loss is from the drawing's.
    let truth = clean_flow_factor(&circuit()).unwrap().m3_h();
    for (flow, deg_c) in [(4.0, 15.0), (12.0, 20.0), (18.0, 60.0), (12.0, 95.0)] {
        let found = flow_factor(&[reading(&circuit(), flow, deg_c)], USUAL, Some(&circuit()), None).unwrap();
        assert!((found.flow_factor_m3_h.value / truth - 1.0).abs() < 1e-6, "{found:?}");
        assert_eq!(found.method, Method::KnownPieces);
        assert!(found.estimate.holds(truth) && found.fixture_share.abs() < 1e-12);
    }
    let exponent =
        flow_factor(&[reading(&circuit(), 12.0, 20.0)], USUAL, Some(&circuit()), None).unwrap().exponent;
    assert!((1.85..2.0).contains(&exponent), "{exponent}");
}

#[test]
fn the_fixture_is_taken_away() {
    let truth = clean_flow_factor(&circuit()).unwrap().m3_h();
    let mut rigged = circuit();
    rigged.push(coupling(0.9));
    for deg_c in [15.0, 60.0] {
        let points = [6.0, 9.0, 13.0].map(|flow| reading(&rigged, flow, deg_c));
        let found = flow_factor(&points, USUAL, Some(&circuit()), Some(fixture(0.9))).unwrap();
        assert!((found.flow_factor_m3_h.value / truth - 1.0).abs() < 1e-6, "{found:?}");
        // The fixture takes (0.9 / Kv)^-2 of the whole's Kv^-2.
        let share = 1.0 / (1.0 + 0.81 / (truth * truth));
        assert!((found.fixture_share - share).abs() < 0.02, "{}", found.fixture_share);
    }
}

#[test]
fn the_instruments_uncertainty_comes_through() {
    // At 1 bar and 20 degC without a fixture: gain counts in full, offset by half (exponent near 2). The scatter of
    // three tenths comes on top of both.
    let point = reading(&circuit(), 12.0, 20.0);
    let one = |uncertainty| {
        flow_factor(&[point], uncertainty, Some(&circuit()), None)
            .unwrap()
            .flow_factor_m3_h
            .relative_standard()
    };
    let none = PointUncertainty { flow_relative: 0.0, drop_bar: 0.0, temperature_k: 0.0 };
    let with_scatter = 1.09_f64.sqrt();
    let gain = one(PointUncertainty { flow_relative: 0.02, ..none });
    assert!((gain / (0.02 * with_scatter) - 1.0).abs() < 0.02, "{gain}");
    let offset = one(PointUncertainty { drop_bar: 0.05, ..none });
    let expected = 0.05 / point.drop.bar() / 1.93 * with_scatter;
    assert!((offset / expected - 1.0).abs() < 0.03, "{offset} against {expected}");
    assert!(one(none) < 1e-3 && one(USUAL) > gain);
    // The more of the drop the fixture has, the less the same gauges tell.
    let mut rigged = circuit();
    rigged.push(coupling(0.6));
    let behind = flow_factor(&[reading(&rigged, 9.0, 20.0)], USUAL, Some(&circuit()), Some(fixture(0.6)));
    assert!(behind.unwrap().flow_factor_m3_h.relative_standard() > 1.5 * one(USUAL));
}

#[test]
fn flags_say_what_to_doubt() {
    let flags = |points: &[FlowPoint], pieces: Option<&[Piece]>| {
        let fine = PointUncertainty { flow_relative: 0.005, drop_bar: 1e-4, temperature_k: 0.5 };
        flow_factor(points, fine, pieces, None).unwrap().flags
    };
    let known = circuit();
    assert!(flags(&[reading(&known, 12.0, 20.0)], Some(&known)).is_empty());
    assert!(flags(&[reading(&known, 12.0, 20.0)], None).is_empty());
    // Re 1300 and 2600 in 8 mm.
    assert_eq!(flags(&[reading(&known, 0.5, 20.0)], Some(&known)), [Flag::Laminar(1), Flag::FarFromPoints]);
    assert_eq!(
        flags(&[reading(&known, 1.0, 20.0)], Some(&known)),
        [Flag::Transition(1), Flag::FarFromPoints]
    );
    assert_eq!(flags(&[reading(&known, 1.0, 20.0)], None), [Flag::Laminar(1), Flag::FarFromPoints]);
    let mut points = [6.0, 9.0, 12.0, 15.0].map(|flow| reading(&known, flow, 20.0));
    assert!(flags(&points, Some(&known)).is_empty());
    points[2].drop = points[2].drop * 1.1;
    assert_eq!(flags(&points, Some(&known)), [Flag::PointsDisagree]);
}

#[test]
fn what_cannot_be_told_is_not_told() {
    let mut rigged = circuit();
    rigged.push(coupling(0.2));
    let behind = [reading(&rigged, 3.0, 20.0)];
    let error = flow_factor(&behind, USUAL, None, Some(fixture(0.2))).unwrap_err();
    assert!(matches!(error, FlowFactorError::CannotTell { left_bar, drop_bar, .. } if left_bar < drop_bar));
    // A little more than all of the drop in the fixture is a doubt, twice as much is a wrong fixture.
    let more = flow_factor(&behind, USUAL, None, Some(fixture(0.1875))).unwrap_err();
    assert!(matches!(more, FlowFactorError::CannotTell { left_bar, .. } if left_bar < 0.0), "{more:?}");
    let beyond = flow_factor(&behind, USUAL, None, Some(fixture(0.14))).unwrap_err();
    assert!(matches!(beyond, FlowFactorError::FixtureExceeds { .. }), "{beyond:?}");
    assert_eq!(flow_factor(&[], USUAL, None, None), Err(FlowFactorError::NoPoints));
    let backwards = FlowPoint { flow: l_min(-3.0), ..behind[0] };
    assert!(matches!(
        flow_factor(&[behind[0], backwards], USUAL, None, None),
        Err(FlowFactorError::Point { at: 1, .. })
    ));
    let flat = FlowPoint { drop: PressureDrop::from_pa(0.0), ..behind[0] };
    assert!(matches!(flow_factor(&[flat], USUAL, None, None), Err(FlowFactorError::Point { at: 0, .. })));
}

#[test]
fn expected_flow_factor_knows_what_it_does_not_know() {
    // A coupling alone is as uncertain as its flow factor; a turn alone by half of its loss number's uncertainty and
    // twice that of the bore (Kv = const D^2 / sqrt K).
    let alone = expected_flow_factor(&[coupling(1.3)], PieceKnowledge::DRAWING).unwrap();
    assert!((alone.value - 1.3).abs() < 1e-9 && (alone.relative_standard() - 0.15).abs() < 1e-9);
    let turn = expected_flow_factor(&[elbow(10.0, Some(1.5))], PieceKnowledge::DRAWING).unwrap();
    let by_hand = crate::estimate::root_sum_square(&[0.125, 2.0 * 0.05 / 10.0]);
    assert!((turn.relative_standard() / by_hand - 1.0).abs() < 0.03, "{}", turn.relative_standard());
    let drawn = expected_flow_factor(&circuit(), PieceKnowledge::DRAWING).unwrap();
    let guessed = expected_flow_factor(&circuit(), PieceKnowledge::GUESSED).unwrap();
    assert!((drawn.value - clean_flow_factor(&circuit()).unwrap().m3_h()).abs() < 1e-12);
    assert!(guessed.standard > 2.0 * drawn.standard);
}
