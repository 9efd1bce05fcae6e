//! What must hold for every kind of piece, from laminar to turbulent.

use super::*;
use crate::hydraulics::circuit::{
    HydraulicsError, clean_flow_factor, drop_at_flow, flow_at_drop, flow_on_pump, piece_flows,
    reference_conditions,
};
use crate::hydraulics::friction::FrictionLaw;
use crate::hydraulics::path::Path;
use crate::hydraulics::{losses, losses_table, volume};
use crate::numeric::math;
use crate::quantity::{GaugePressure, PressureDrop};

/// Flows from 0.01 to 100 l/min, evenly in the logarithm.
fn flows() -> impl Iterator<Item = f64> {
    (0..400).map(|step| 0.01 * math::exp(f64::from(step) * 0.023_03))
}

#[test]
fn slopes_are_those_of_the_drop() {
    for law in [FrictionLaw::Standard, FrictionLaw::SwameeJain] {
        let conditions = Conditions { law, ..water_of(20.0) };
        for pieces in every_kind() {
            let path = Path::new(&pieces).unwrap();
            for flow in flows() {
                let at = |flow: f64| path.drop(&conditions, l_min(flow)).unwrap();
                let (low, here, high) = (at(flow * (1.0 - 1e-6)), at(flow), at(flow * (1.0 + 1e-6)));
                let difference = (high.drop - low.drop).pa() / l_min(2e-6 * flow).m3_s();
                assert!(
                    (difference / here.slope_pa_s_m3 - 1.0).abs() < 1e-4,
                    "{pieces:?} at {flow} l/min: {difference} against {}",
                    here.slope_pa_s_m3
                );
            }
        }
    }
}

#[test]
fn drop_rises_without_a_step_and_is_odd() {
    let conditions = water_of(20.0);
    for pieces in every_kind() {
        let mut last = 0.0;
        for flow in flows() {
            let here = drop_at_flow(&pieces, &conditions, l_min(flow)).unwrap();
            // 2.3 % more flow: even at the steepest place of the transition less than 12 % more drop.
            assert!(here.drop.pa() > last && (last == 0.0 || here.drop.pa() < last * 1.12), "{pieces:?}");
            last = here.drop.pa();
            let back = drop_at_flow(&pieces, &conditions, l_min(-flow)).unwrap();
            assert!((back.drop.pa() + last).abs() <= 1e-12 * last);
        }
    }
}

#[test]
fn flow_at_drop_undoes_drop_at_flow() {
    let mut most = 0;
    for fluid in [water_of(20.0), water_of(90.0)] {
        for pieces in every_kind() {
            let path = Path::new(&pieces).unwrap();
            for flow in flows() {
                let drop = path.drop(&fluid, l_min(flow)).unwrap().drop;
                let (found, effort) = path.flow(&fluid, drop).unwrap();
                assert!((found.l_min() / flow - 1.0).abs() < 1e-9, "{pieces:?}: {flow} {found:?}");
                most = most.max(effort.steps);
                let back = path.flow(&fluid, drop * -1.0).unwrap().0;
                assert!((back.l_min() / flow + 1.0).abs() < 1e-9);
            }
        }
    }
    assert!(most < 20, "{most} steps");
    let still = flow_at_drop(&[bore(8.0, 100.0, 10.0)], &water_of(20.0), PressureDrop::from_pa(0.0)).unwrap();
    assert!(still.m3_s().abs() < 1e-300);
}

#[test]
fn pieces_add_up_and_branches_share_the_drop() {
    let pieces: Vec<Piece> = every_kind().into_iter().flatten().collect();
    let conditions = water_of(40.0);
    let total = drop_at_flow(&pieces, &conditions, l_min(9.0)).unwrap();
    let parts = piece_flows(&pieces, &conditions, l_min(9.0)).unwrap();
    let sum: f64 = parts.iter().map(|part| part.drop.pa()).sum();
    assert!((sum / total.drop.pa() - 1.0).abs() < 1e-12);
    let split = parts.last().unwrap();
    let through: f64 = split.branches.iter().map(|branch| branch.first().unwrap().flow.l_min()).sum();
    assert!((through / 9.0 - 1.0).abs() < 1e-10, "{through}");
    for branch in &split.branches {
        let drop: f64 = branch.iter().map(|part| part.drop.pa()).sum();
        assert!((drop / split.drop.pa() - 1.0).abs() < 1e-10);
    }
    let slowest = parts
        .iter()
        .flat_map(|part| part.branches.iter().flatten().chain(std::iter::once(part)))
        .filter_map(|part| part.reynolds)
        .fold(f64::INFINITY, f64::min);
    assert!(slowest <= total.reynolds_min * 1.000_001);
}

#[test]
fn equal_branches_carry_equal_shares() {
    // Identity: n equal branches lose what one of them loses at flow/n.
    let one = vec![bore(7.0, 300.0, 10.0), elbow(7.0, None)];
    let four = [Piece::Split { branches: vec![one.clone(); 4] }];
    let conditions = water_of(20.0);
    for flow in flows() {
        let split = drop_at_flow(&four, &conditions, l_min(4.0 * flow)).unwrap();
        let single = drop_at_flow(&one, &conditions, l_min(flow)).unwrap();
        let miss = split.drop.pa() / single.drop.pa() - 1.0;
        assert!(miss.abs() < 1e-12, "{miss} at {flow} l/min");
        assert!((split.slope_pa_s_m3 * 4.0 / single.slope_pa_s_m3 - 1.0).abs() < 1e-11);
    }
}

#[test]
fn flow_factors_add_as_they_should() {
    // In series 1/Kv^2 add, in parallel Kv add (identity).
    let series = clean_flow_factor(&[coupling(1.5), coupling(2.0)]).unwrap().m3_h();
    assert!((1.0 / (series * series) - 1.0 / 2.25 - 1.0 / 4.0).abs() < 1e-12);
    let parallel =
        clean_flow_factor(&[Piece::Split { branches: vec![vec![coupling(1.5)], vec![coupling(2.0)]] }]);
    assert!((parallel.unwrap().m3_h() - 3.5).abs() < 1e-11);
}

#[test]
fn merging_changes_nothing() {
    let pass = [bore(8.0, 150.0, 10.0), elbow(8.0, None), bore(8.0, 30.0, 10.0), elbow(8.0, None)];
    let many: Vec<Piece> = pass.iter().cycle().take(80).cloned().collect();
    let one = drop_at_flow(&pass, &water_of(20.0), l_min(7.0)).unwrap();
    let all = drop_at_flow(&many, &water_of(20.0), l_min(7.0)).unwrap();
    assert!((all.drop.pa() / (20.0 * one.drop.pa()) - 1.0).abs() < 1e-12);
}

#[test]
fn laminar_ring_gap_agrees_with_the_velocity_field() {
    // Shah and London (1978), table for concentric annuli, Fanning f Re: ratio 0.05 21.567, 0.1 22.343, 0.5 23.813,
    // 0.9 23.996 (from memory); limits 16 and 24.
    for (ratio, fanning) in [(0.05, 21.567), (0.1, 22.343), (0.5, 23.813), (0.9, 23.996)] {
        assert!((losses::ring_laminar(ratio) / (4.0 * fanning) - 1.0).abs() < 1e-4, "ratio {ratio}");
    }
    let (just_below, just_above) = (losses::ring_laminar(0.998_999), losses::ring_laminar(0.999_001));
    assert!((just_below / just_above - 1.0).abs() < 1e-7);
}

#[test]
fn laminar_half_round_agrees_with_the_torsion_of_a_half_round_bar() {
    // Membrane analogy: f Re = 8 A Dh^2 / J with J = (pi/2 - 4/pi) r^4 (Timoshenko and Goodier, Theory of
    // Elasticity; from memory). Our number is Shah and London's.
    use core::f64::consts::PI;
    let hydraulic_diameter = 2.0 * PI / (PI + 2.0);
    let product = 8.0 * (PI / 2.0) * hydraulic_diameter * hydraulic_diameter / (PI / 2.0 - 4.0 / PI);
    assert!((losses_table::HALF_ROUND_LAMINAR / product - 1.0).abs() < 5e-4, "{product}");
}

#[test]
fn geometry_beside_a_blade() {
    // Half a circle for a thin blade: hydraulic diameter pi D / (pi + 2) = 0.611 D.
    let thin = losses::Section::beside_blade(0.010, 1e-9);
    assert!((thin.hydraulic_diameter_m / 0.010 - 0.611_015).abs() < 1e-5);
    // Area against a sum over thin strips.
    let thick = losses::Section::beside_blade(0.010, 0.003);
    let strips = 20_000;
    let width = (0.005 - 0.0015) / f64::from(strips);
    let sum: f64 = (0..strips)
        .map(|strip| 0.0015 + (f64::from(strip) + 0.5) * width)
        .map(|x| 2.0 * (25e-6 - x * x).sqrt() * width)
        .sum();
    assert!((thick.area_m2 / sum - 1.0).abs() < 1e-5);
}

#[test]
fn volumes_and_lengths() {
    let mm = Length::from_mm;
    // A cylinder of 10 mm and 1 m holds 78.54 ml; a bubbler's tube wall takes its share away.
    assert!((volume::filled_volume(&[bore(10.0, 1000.0, 1.0)]).ml() - 78.539_8).abs() < 1e-3);
    let bubbler =
        Piece::Bubbler { diameter: mm(12.0), depth: mm(100.0), tube_outer: mm(8.0), tube_inner: mm(7.0) };
    let wall = core::f64::consts::PI / 4.0 * (64.0 - 49.0) * 0.1;
    let full = core::f64::consts::PI / 4.0 * 144.0 * 0.1;
    assert!((volume::filled_volume(std::slice::from_ref(&bubbler)).ml() - (full - wall)).abs() < 1e-9);
    let pieces = [
        bore(12.0, 100.0, 1.0),
        hose(19.0, 3000.0),
        Piece::Split { branches: vec![vec![bore(6.0, 500.0, 1.0); 3], vec![bore(8.0, 200.0, 1.0)]] },
        bubbler,
    ];
    assert!((volume::path_length(&pieces).mm() - (100.0 + 3000.0 + 1500.0 + 200.0)).abs() < 1e-9);
    assert!((volume::main_bore(&pieces).unwrap().mm() - 6.0).abs() < 1e-9);
    assert_eq!(volume::main_bore(&[coupling(1.0)]), None);
}

#[test]
fn on_a_pump_the_lines_cross() {
    let pieces = [bore(8.0, 1500.0, 10.0), elbow(8.0, Some(8.0))];
    let conditions = water_of(20.0);
    let curve: Vec<(VolumeFlow, GaugePressure)> = [(0.0, 6.0), (25.0, 5.1), (50.0, 0.0)]
        .map(|(flow, bar)| (l_min(flow), GaugePressure::from_bar(bar)))
        .to_vec();
    let (flow, drop) = flow_on_pump(&pieces, &conditions, &curve).unwrap();
    let lost = drop_at_flow(&pieces, &conditions, flow).unwrap().drop.bar();
    let pump = 5.1 * (50.0 - flow.l_min()) / 25.0;
    assert!(
        flow.l_min() > 25.0 && (lost / pump - 1.0).abs() < 1e-9 && (drop.bar() / lost - 1.0).abs() < 1e-12
    );
    let short = curve.get(..2).unwrap();
    assert!(matches!(
        flow_on_pump(&pieces, &conditions, short),
        Err(HydraulicsError::OffPumpCurve { direction: "up", .. })
    ));
    let falling: Vec<_> = curve.iter().rev().copied().collect();
    assert!(matches!(
        flow_on_pump(&pieces, &conditions, &falling),
        Err(HydraulicsError::PumpCurve { at: 1, .. })
    ));
}

#[test]
fn impossible_geometry_is_refused() {
    let mm = Length::from_mm;
    let conditions = water_of(20.0);
    let drop = |piece: Piece| drop_at_flow(&[piece], &conditions, l_min(1.0));
    for piece in [
        bore(0.0, 10.0, 1.0),
        bore(10.0, f64::NAN, 1.0),
        bore(1.0, 10.0, 100.0),
        Piece::Annulus { outer: mm(8.0), inner: mm(8.0), length: mm(5.0) },
        Piece::Baffle { diameter: mm(10.0), depth: mm(50.0), blade: mm(11.0) },
        coupling(0.0),
    ] {
        assert!(matches!(drop(piece.clone()), Err(HydraulicsError::OutOfRange(_))), "{piece:?}");
    }
    assert_eq!(drop(Piece::Split { branches: vec![vec![]] }), Err(HydraulicsError::NoResistance));
    assert_eq!(
        flow_at_drop(&[], &conditions, PressureDrop::from_bar(1.0)),
        Err(HydraulicsError::NoResistance)
    );
    assert!(drop_at_flow(&[bore(1.0, 10.0, 1.0)], &conditions, l_min(1e9)).is_err());
}

#[test]
fn reference_water_is_water_of_20_degrees() {
    let table = water::water(Temperature::from_deg_c(20.0), AbsolutePressure::from_bar(2.013_25)).unwrap();
    let ours = reference_conditions().fluid;
    for (ours, table) in [
        (ours.density_kg_m3, table.density_kg_m3),
        (ours.viscosity_pa_s, table.viscosity_pa_s),
        (ours.conductivity_w_m_k, table.conductivity_w_m_k),
        (ours.heat_capacity_j_kg_k, table.heat_capacity_j_kg_k),
    ] {
        assert!((ours / table - 1.0).abs() < 1e-12, "{ours} against {table}");
    }
}
