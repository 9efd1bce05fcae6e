//! What water loses on its way, by one of two sets of laws.
//!
//! A program that is tested only against its own loss laws proves that it can invert itself. The other set has the same
//! pieces and other correlations: turns whose loss number falls with the Reynolds number (after Miller, from memory),
//! friction after Haaland with a transition of its own, plugs that are short pipes (ends after Borda and Carnot),
//! couplings that lose a little more at small flows, losses where water enters the way and leaves it. It shares no code
//! with the laws that the judgement uses, except for baffles, tubes and ring gaps, whose losses are only made larger.

use calc::hydraulics::circuit::{Conditions, HydraulicsError};
use calc::hydraulics::losses_table::DRILLED_ELBOW;
use calc::hydraulics::path::Path;
use calc::hydraulics::piece::{Piece, Restrictor};
use calc::numeric::{math, root};
use calc::quantity::{FlowFactor, PressureDrop, VolumeFlow};

/// Which set of laws rules the simulated world.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Physics {
    /// The laws that the judgement believes in.
    #[default]
    Matching,
    /// Other ones.
    Other,
}

/// Pieces in a row under one set of laws.
#[derive(Clone, Debug)]
pub(crate) enum Way {
    Matching(Path),
    Other(Vec<Piece>),
}

/// Flows between which any sane circuit lies, m3/s.
const FLOWS_M3_S: (f64, f64) = (1e-9, 5e-3);
/// Flows and drops that trial values inside a split may have.
const BRANCH_M3_S: (f64, f64) = (1e-16, 0.3);
const SPLIT_PA: (f64, f64) = (1e-9, 1e9);
/// Baffles, tubes and ring gaps lose so much more than the judgement thinks.
const BUILT_IN: f64 = 1.08;
/// Length of a plug, m.
const PLUG_M: f64 = 0.006;
/// Loss number of the whole way's entrance and exit, on the velocity in its first and last bore.
const ENTRANCE: f64 = 0.5;
const EXIT: f64 = 1.0;

impl Way {
    pub fn new(physics: Physics, pieces: &[Piece]) -> Result<Self, HydraulicsError> {
        let path = Path::new(pieces)?;
        Ok(match physics {
            Physics::Matching => Self::Matching(path),
            Physics::Other => Self::Other(pieces.to_vec()),
        })
    }

    /// Drop at a flow that is not negative.
    pub fn drop(&self, conditions: &Conditions, flow: VolumeFlow) -> Result<PressureDrop, HydraulicsError> {
        match self {
            Self::Matching(path) => Ok(path.drop(conditions, flow)?.drop),
            Self::Other(pieces) => Ok(PressureDrop::from_pa(way_pa(pieces, conditions, flow.m3_s())?)),
        }
    }

    /// Flow at a drop.
    pub fn flow(&self, conditions: &Conditions, drop: PressureDrop) -> Result<VolumeFlow, HydraulicsError> {
        match self {
            Self::Matching(path) => Ok(path.flow(conditions, drop)?.0),
            Self::Other(pieces) => {
                let lost = |flow: f64| way_pa(pieces, conditions, flow);
                Ok(VolumeFlow::from_m3_s(flow_m3_s(lost, drop.pa().max(0.0), FLOWS_M3_S)?))
            }
        }
    }

    /// Flow of water of 20 degC at 1 bar.
    pub fn flow_factor(&self) -> Result<FlowFactor, HydraulicsError> {
        let conditions = calc::hydraulics::circuit::reference_conditions();
        Ok(FlowFactor::from_m3_h(self.flow(&conditions, PressureDrop::from_bar(1.0))?.m3_h()))
    }
}

fn row_pa(pieces: &[Piece], conditions: &Conditions, flow_m3_s: f64) -> Result<f64, HydraulicsError> {
    pieces.iter().map(|piece| piece_pa(piece, conditions, flow_m3_s)).sum()
}

/// A row with what is lost where water enters its first bore and leaves its last.
fn way_pa(pieces: &[Piece], conditions: &Conditions, flow_m3_s: f64) -> Result<f64, HydraulicsError> {
    let width = |piece: &Piece| match piece {
        Piece::Bore { diameter, .. } => Some(diameter.m()),
        _ => None,
    };
    let ends = [(ENTRANCE, pieces.iter().find_map(width)), (EXIT, pieces.iter().rev().find_map(width))];
    let lost: f64 = ends
        .iter()
        .filter_map(|(number, width_m)| {
            width_m.map(|width_m| number * head_pa(conditions, flow_m3_s, width_m))
        })
        .sum();
    Ok(lost + row_pa(pieces, conditions, flow_m3_s)?)
}

/// Dynamic pressure in a round bore.
fn head_pa(conditions: &Conditions, flow_m3_s: f64, diameter_m: f64) -> f64 {
    let velocity = flow_m3_s / (core::f64::consts::PI / 4.0 * diameter_m * diameter_m);
    conditions.fluid.density_kg_m3 * velocity * velocity / 2.0
}

fn flow_m3_s(
    lost: impl Fn(f64) -> Result<f64, HydraulicsError>,
    drop_pa: f64,
    (least, most): (f64, f64),
) -> Result<f64, HydraulicsError> {
    if drop_pa <= 0.0 {
        return Ok(0.0);
    }
    // As in a split: outside of sane flows loss goes with flow, or with its square.
    let (low_pa, high_pa) = (lost(least)?, lost(most)?);
    if drop_pa <= low_pa {
        return Ok(least * drop_pa / low_pa);
    }
    if drop_pa >= high_pa {
        return Ok(most * (drop_pa / high_pa).sqrt());
    }
    let mut failed = None;
    let spare = |ln_flow: f64| match lost(math::exp(ln_flow)) {
        Ok(pa) => math::ln(pa / drop_pa),
        Err(error) => {
            failed = Some(error);
            f64::NAN
        }
    };
    match (root::bracketed(spare, math::ln(least), math::ln(most), 1e-9), failed) {
        (Ok(ln_flow), _) => Ok(math::exp(ln_flow)),
        (Err(_), Some(error)) => Err(error),
        (Err(_), None) => Err(HydraulicsError::NotFound { steps: 0, clipped: 0 }),
    }
}

fn piece_pa(piece: &Piece, conditions: &Conditions, flow_m3_s: f64) -> Result<f64, HydraulicsError> {
    let density = conditions.fluid.density_kg_m3;
    let pipe = |diameter_m: f64, length_m: f64, roughness_m: f64, ends: f64| {
        let velocity = flow_m3_s / (core::f64::consts::PI / 4.0 * diameter_m * diameter_m);
        let reynolds = velocity * diameter_m / conditions.fluid.kinematic_viscosity_m2_s();
        let number = friction(reynolds, roughness_m / diameter_m) * length_m / diameter_m + ends;
        number * density * velocity * velocity / 2.0
    };
    Ok(match piece {
        Piece::Bore { diameter, length, roughness } | Piece::Hose { diameter, length, roughness } => {
            pipe(diameter.m(), length.m(), roughness.m(), 0.0)
        }
        Piece::Elbow { diameter, loss_k, .. } => {
            let velocity = flow_m3_s / (core::f64::consts::PI / 4.0 * diameter.m() * diameter.m());
            let reynolds = velocity * diameter.m() / conditions.fluid.kinematic_viscosity_m2_s();
            let number = turn(reynolds) * loss_k.unwrap_or(DRILLED_ELBOW.infinite) / DRILLED_ELBOW.infinite;
            number * head_pa(conditions, flow_m3_s, diameter.m())
        }
        Piece::Coupling { flow_factor } | Piece::Restrictor(Restrictor::Measured { flow_factor }) => {
            let ratio = flow_m3_s * 3600.0 / flow_factor.m3_h();
            // A little more at small flows: the flow factor holds at 1 bar.
            let more = 1.0 + 0.03 * (1.0 / ratio.max(1e-3) - 1.0).clamp(-1.0, 5.0);
            1e5 * ratio * ratio * more * density / 998.2
        }
        Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => {
            // Contraction and outlet after Borda and Carnot, on the velocity inside.
            let contraction = 1.0 / discharge_coefficient.clamp(0.3, 1.0) - 1.0;
            let ends = 1.0 + contraction * contraction;
            pipe(diameter.m(), PLUG_M, 30e-6_f64.min(0.03 * diameter.m()), ends)
        }
        Piece::Split { branches } => split_pa(branches, conditions, flow_m3_s)?,
        Piece::Baffle { .. } | Piece::Bubbler { .. } | Piece::Annulus { .. } => {
            let path = Path::new(core::slice::from_ref(piece))?;
            BUILT_IN * path.drop(conditions, VolumeFlow::from_m3_s(flow_m3_s))?.drop.pa()
        }
    })
}

fn split_pa(
    branches: &[Vec<Piece>],
    conditions: &Conditions,
    flow_all_m3_s: f64,
) -> Result<f64, HydraulicsError> {
    let sum_m3_s = |drop_pa: f64| -> Result<f64, HydraulicsError> {
        let through =
            |branch: &Vec<Piece>| flow_m3_s(|flow| row_pa(branch, conditions, flow), drop_pa, BRANCH_M3_S);
        branches.iter().map(through).sum()
    };
    // Trial values of a split around this one may be absurdly small or large: loss goes with flow, or with its square.
    let (least, most) = (sum_m3_s(SPLIT_PA.0)?, sum_m3_s(SPLIT_PA.1)?);
    if flow_all_m3_s <= least {
        return Ok(SPLIT_PA.0 * flow_all_m3_s / least);
    }
    if flow_all_m3_s >= most {
        return Ok(SPLIT_PA.1 * (flow_all_m3_s / most).powi(2));
    }
    let mut failed = None;
    let spare = |ln_pa: f64| match sum_m3_s(math::exp(ln_pa)) {
        Ok(sum) => math::ln(sum / flow_all_m3_s),
        Err(error) => {
            failed = Some(error);
            f64::NAN
        }
    };
    match (root::bracketed(spare, math::ln(SPLIT_PA.0), math::ln(SPLIT_PA.1), 1e-9), failed) {
        (Ok(ln_pa), _) => Ok(math::exp(ln_pa)),
        (Err(_), Some(error)) => Err(error),
        (Err(_), None) => Err(HydraulicsError::NotFound { steps: 0, clipped: 0 }),
    }
}

/// Darcy factor after Haaland (1983, from memory); laminar up to 2300, turbulent from 5000 on, blended between.
fn friction(reynolds: f64, relative_roughness: f64) -> f64 {
    let haaland = |reynolds: f64| {
        let inside = math::powf(relative_roughness / 3.7, 1.11) + 6.9 / reynolds;
        let root = -1.8 * math::ln(inside) / core::f64::consts::LN_10;
        1.0 / (root * root)
    };
    let laminar = 64.0 / reynolds.max(1e-6);
    if reynolds <= 2300.0 {
        laminar
    } else if reynolds >= 5000.0 {
        haaland(reynolds)
    } else {
        let share = math::ln(reynolds / 2300.0) / math::ln(5000.0 / 2300.0);
        (1.0 - share) * 64.0 / 2300.0 + share * haaland(5000.0)
    }
}

/// Loss number of a sharp right-angle turn: 1.42 at a Reynolds number of 1e4, 1.18 at 1e5, flat beyond, with a laminar
/// share (Miller's charts as quoted in preparation).
fn turn(reynolds: f64) -> f64 {
    let decades = math::ln(reynolds.max(1e3) / 1e4) / core::f64::consts::LN_10;
    (1.42 - 0.24 * decades).clamp(1.1, 1.66) + 600.0 / reynolds.max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::hydraulics::circuit::reference_conditions;
    use calc::hydraulics::piece::ElbowMake;
    use calc::quantity::Length;

    fn line() -> Vec<Piece> {
        let diameter = Length::from_mm(10.0);
        let bore = Piece::Bore { diameter, length: Length::from_mm(500.0), roughness: Length::from_um(10.0) };
        let elbow = Piece::Elbow { diameter, make: ElbowMake::Drilled, loss_k: None };
        vec![
            bore.clone(),
            elbow,
            bore.clone(),
            Piece::Split { branches: vec![vec![bore.clone()], vec![bore]] },
        ]
    }

    #[test]
    fn the_other_laws_are_other_but_not_absurd() {
        let conditions = reference_conditions();
        let (own, other) = (Way::new(Physics::Matching, &line()), Way::new(Physics::Other, &line()));
        let (own, other) = (own.unwrap(), other.unwrap());
        for flow_l_min in [1.0, 5.0, 15.0] {
            let flow = VolumeFlow::from_l_min(flow_l_min);
            let ratio = other.drop(&conditions, flow).unwrap() / own.drop(&conditions, flow).unwrap();
            assert!((0.7..1.5).contains(&ratio) && (ratio - 1.0).abs() > 1e-3, "{flow_l_min}: {ratio}");
        }
    }

    #[test]
    fn flow_and_drop_undo_each_other() {
        let conditions = reference_conditions();
        let other = Way::new(Physics::Other, &line()).unwrap();
        let drop = PressureDrop::from_bar(0.8);
        let back = other.drop(&conditions, other.flow(&conditions, drop).unwrap()).unwrap();
        assert!((back / drop - 1.0).abs() < 1e-6);
    }
}
