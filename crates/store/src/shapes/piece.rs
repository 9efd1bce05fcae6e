//! Pieces of a circuit as they are stored.

use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::quantity::{FlowFactor, Length};
use serde::{Deserialize, Serialize};

use super::exactly;

/// One piece, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "the fields are those of `calc::hydraulics::piece::Piece`, with their unit")]
pub enum PieceCard {
    Bore {
        diameter_mm: f64,
        length_mm: f64,
        roughness_um: f64,
    },
    Elbow {
        diameter_mm: f64,
        bent: bool,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        loss_k: Option<f64>,
    },
    Hose {
        diameter_mm: f64,
        length_mm: f64,
        roughness_um: f64,
    },
    Coupling {
        flow_factor_m3_h: f64,
    },
    Hole {
        diameter_mm: f64,
        discharge_coefficient: f64,
    },
    Restrictor {
        flow_factor_m3_h: f64,
    },
    Baffle {
        diameter_mm: f64,
        depth_mm: f64,
        blade_mm: f64,
    },
    Bubbler {
        diameter_mm: f64,
        depth_mm: f64,
        tube_outer_mm: f64,
        tube_inner_mm: f64,
    },
    Annulus {
        outer_mm: f64,
        inner_mm: f64,
        length_mm: f64,
    },
    Split {
        branches: Vec<Vec<PieceCard>>,
    },
}

fn mm(length: Length) -> f64 {
    exactly(length, |length| length.mm(), Length::from_mm)
}

fn um(length: Length) -> f64 {
    exactly(length, |length| length.um(), Length::from_um)
}

impl From<&Piece> for PieceCard {
    fn from(piece: &Piece) -> Self {
        match *piece {
            Piece::Bore { diameter, length, roughness } => {
                Self::Bore { diameter_mm: mm(diameter), length_mm: mm(length), roughness_um: um(roughness) }
            }
            Piece::Elbow { diameter, make, loss_k } => {
                Self::Elbow { diameter_mm: mm(diameter), bent: make == ElbowMake::Bent, loss_k }
            }
            Piece::Hose { diameter, length, roughness } => {
                Self::Hose { diameter_mm: mm(diameter), length_mm: mm(length), roughness_um: um(roughness) }
            }
            Piece::Coupling { flow_factor } => Self::Coupling { flow_factor_m3_h: flow_factor.m3_h() },
            Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => {
                Self::Hole { diameter_mm: mm(diameter), discharge_coefficient }
            }
            Piece::Restrictor(Restrictor::Measured { flow_factor }) => {
                Self::Restrictor { flow_factor_m3_h: flow_factor.m3_h() }
            }
            Piece::Baffle { diameter, depth, blade } => {
                Self::Baffle { diameter_mm: mm(diameter), depth_mm: mm(depth), blade_mm: mm(blade) }
            }
            Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => Self::Bubbler {
                diameter_mm: mm(diameter),
                depth_mm: mm(depth),
                tube_outer_mm: mm(tube_outer),
                tube_inner_mm: mm(tube_inner),
            },
            Piece::Annulus { outer, inner, length } => {
                Self::Annulus { outer_mm: mm(outer), inner_mm: mm(inner), length_mm: mm(length) }
            }
            Piece::Split { ref branches } => Self::Split {
                branches: branches.iter().map(|branch| branch.iter().map(Self::from).collect()).collect(),
            },
        }
    }
}

impl From<&PieceCard> for Piece {
    fn from(card: &PieceCard) -> Self {
        let mm = Length::from_mm;
        match *card {
            PieceCard::Bore { diameter_mm, length_mm, roughness_um } => Self::Bore {
                diameter: mm(diameter_mm),
                length: mm(length_mm),
                roughness: Length::from_um(roughness_um),
            },
            PieceCard::Elbow { diameter_mm, bent, loss_k } => Self::Elbow {
                diameter: mm(diameter_mm),
                make: if bent { ElbowMake::Bent } else { ElbowMake::Drilled },
                loss_k,
            },
            PieceCard::Hose { diameter_mm, length_mm, roughness_um } => Self::Hose {
                diameter: mm(diameter_mm),
                length: mm(length_mm),
                roughness: Length::from_um(roughness_um),
            },
            PieceCard::Coupling { flow_factor_m3_h } => {
                Self::Coupling { flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h) }
            }
            PieceCard::Hole { diameter_mm, discharge_coefficient } => {
                Self::Restrictor(Restrictor::Hole { diameter: mm(diameter_mm), discharge_coefficient })
            }
            PieceCard::Restrictor { flow_factor_m3_h } => Self::Restrictor(Restrictor::Measured {
                flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h),
            }),
            PieceCard::Baffle { diameter_mm, depth_mm, blade_mm } => {
                Self::Baffle { diameter: mm(diameter_mm), depth: mm(depth_mm), blade: mm(blade_mm) }
            }
            PieceCard::Bubbler { diameter_mm, depth_mm, tube_outer_mm, tube_inner_mm } => Self::Bubbler {
                diameter: mm(diameter_mm),
                depth: mm(depth_mm),
                tube_outer: mm(tube_outer_mm),
                tube_inner: mm(tube_inner_mm),
            },
            PieceCard::Annulus { outer_mm, inner_mm, length_mm } => {
                Self::Annulus { outer: mm(outer_mm), inner: mm(inner_mm), length: mm(length_mm) }
            }
            PieceCard::Split { ref branches } => Self::Split {
                branches: branches.iter().map(|branch| branch.iter().map(Self::from).collect()).collect(),
            },
        }
    }
}
