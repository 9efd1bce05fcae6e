//! Checks of the hydraulics against published examples, identities and seeded simulation.

mod factor;
mod kinds;
mod published;

use super::circuit::Conditions;
use super::piece::{ElbowMake, Piece, Restrictor};
use crate::quantity::{AbsolutePressure, FlowFactor, Length, Temperature, VolumeFlow};
use crate::water;

pub(super) fn bore(diameter_mm: f64, length_mm: f64, roughness_um: f64) -> Piece {
    Piece::Bore {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(roughness_um),
    }
}

pub(super) fn hose(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Hose {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(2.0),
    }
}

pub(super) fn elbow(diameter_mm: f64, loss_k: Option<f64>) -> Piece {
    Piece::Elbow { diameter: Length::from_mm(diameter_mm), make: ElbowMake::Drilled, loss_k }
}

pub(super) fn coupling(flow_factor_m3_h: f64) -> Piece {
    Piece::Coupling { flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h) }
}

pub(super) fn water_of(deg_c: f64) -> Conditions {
    Conditions::new(water::water(Temperature::from_deg_c(deg_c), AbsolutePressure::from_bar(3.0)).unwrap())
}

pub(super) fn l_min(flow: f64) -> VolumeFlow {
    VolumeFlow::from_l_min(flow)
}

/// One of every kind, the split with a split inside.
pub(super) fn every_kind() -> Vec<Vec<Piece>> {
    let mm = Length::from_mm;
    vec![
        vec![bore(10.0, 900.0, 10.0)],
        vec![bore(8.0, 600.0, 300.0)],
        vec![hose(13.0, 2000.0)],
        vec![elbow(10.0, None)],
        vec![elbow(10.0, Some(2.5))],
        vec![Piece::Elbow { diameter: mm(9.0), make: ElbowMake::Bent, loss_k: None }],
        vec![coupling(1.2)],
        vec![Piece::Restrictor(Restrictor::Hole { diameter: mm(4.0), discharge_coefficient: 0.62 })],
        vec![Piece::Restrictor(Restrictor::Measured { flow_factor: FlowFactor::from_m3_h(0.3) })],
        vec![Piece::Baffle { diameter: mm(16.0), depth: mm(80.0), blade: mm(1.6) }],
        vec![Piece::Bubbler {
            diameter: mm(12.0),
            depth: mm(60.0),
            tube_outer: mm(8.0),
            tube_inner: mm(7.0),
        }],
        vec![Piece::Annulus { outer: mm(12.0), inner: mm(8.0), length: mm(300.0) }],
        vec![bore(12.0, 100.0, 10.0), elbow(8.0, None), bore(8.0, 200.0, 10.0), bore(10.0, 50.0, 10.0)],
        vec![split_in_split()],
    ]
}

pub(super) fn split_in_split() -> Piece {
    Piece::Split {
        branches: vec![
            vec![bore(8.0, 400.0, 10.0), elbow(8.0, None)],
            vec![bore(8.0, 400.0, 10.0), elbow(8.0, None)],
            vec![
                hose(9.0, 700.0),
                Piece::Split { branches: vec![vec![bore(6.0, 100.0, 10.0)], vec![coupling(0.5)]] },
            ],
        ],
    }
}
