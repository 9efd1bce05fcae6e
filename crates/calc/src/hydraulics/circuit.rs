//! The operating point of a circuit: drop at a flow, flow at a drop, flow on a pump.

use super::friction::{FrictionLaw, Regime};
use super::losses::{self, Element};
use super::path::{Path, step_before};
use super::piece::Piece;
use crate::limits::OutOfRange;
use crate::numeric::root;
use crate::quantity::{FlowFactor, GaugePressure, PressureDrop, VolumeFlow};
use crate::water;

/// Density of water of 20 degC at 2.01325 bar absolute (`iapws-r7-97`).
pub const REFERENCE_DENSITY_KG_M3: f64 = 998.251_830_456_832;

/// What flows, and by which friction law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Properties of the coolant.
    pub fluid: water::Properties,
    /// Friction law.
    pub law: FrictionLaw,
}

impl Conditions {
    /// A coolant under the standard friction law.
    #[must_use]
    pub const fn new(fluid: water::Properties) -> Self {
        Self { fluid, law: FrictionLaw::Standard }
    }
}

/// Why no flow or drop was found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HydraulicsError {
    /// A number outside the range of a formula.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Nothing that loses pressure: any flow would pass.
    #[error("a path without a piece that loses pressure; give at least one bore, hose or coupling")]
    NoResistance,
    /// A pump curve that cannot be used.
    #[error("pump curve point {at}: {problem}; list the points by rising flow and falling pressure")]
    PumpCurve {
        /// Place in the list, from 0.
        at: usize,
        /// What is wrong.
        problem: &'static str,
    },
    /// The circuit's line does not meet the pump's.
    #[error(
        "the pump curve ends at {flow_l_min:.3} l/min before it meets the circuit; give points further {direction}"
    )]
    OffPumpCurve {
        /// Flow at the end in question.
        flow_l_min: f64,
        /// `up` or `down`.
        direction: &'static str,
    },
    /// The solver gave up.
    #[error("no flow found in {steps} steps, {clipped} of them cut short; check the geometry")]
    NotFound {
        /// Evaluations.
        steps: u32,
        /// Steps cut short.
        clipped: u32,
    },
}

/// Pressure that a path loses at one flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathDrop {
    /// The drop, in the direction of flow.
    pub drop: PressureDrop,
    /// d drop / d flow.
    pub slope_pa_s_m3: f64,
    /// Smallest Reynolds number on the way, on the hydraulic diameter; infinite where no piece has one.
    pub reynolds_min: f64,
}

/// What one piece does at one flow of the circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceFlow {
    /// Word of the file format.
    pub kind: &'static str,
    /// Flow through it (through one branch, inside a split).
    pub flow: VolumeFlow,
    /// Its share of the drop, with the change of bore in front of it.
    pub drop: PressureDrop,
    /// Smallest Reynolds number in it, on the hydraulic diameter; none for a coupling or a restrictor.
    pub reynolds: Option<f64>,
    /// Kind of flow along its walls: the most doubtful one; none without wall friction.
    pub regime: Option<Regime>,
    /// The branches of a split, each in flow order; empty for any other piece.
    pub branches: Vec<Vec<PieceFlow>>,
}

/// Pressure that pieces in a row lose at a flow. Odd in flow: the opposite flow gives the opposite drop.
///
/// # Errors
/// [`HydraulicsError::OutOfRange`] for geometry that cannot be or a flow beyond the friction law.
pub fn drop_at_flow(
    pieces: &[Piece],
    conditions: &Conditions,
    flow: VolumeFlow,
) -> Result<PathDrop, HydraulicsError> {
    Path::new(pieces)?.drop(conditions, flow)
}

/// Flow at which pieces in a row lose a pressure; see [`Path::flow`].
///
/// # Errors
/// As [`Path::new`] and [`Path::flow`].
pub fn flow_at_drop(
    pieces: &[Piece],
    conditions: &Conditions,
    drop: PressureDrop,
) -> Result<VolumeFlow, HydraulicsError> {
    Ok(Path::new(pieces)?.flow(conditions, drop)?.0)
}

impl Path {
    /// Pressure that the path loses at a flow; the opposite flow gives the opposite drop.
    ///
    /// # Errors
    /// [`HydraulicsError::OutOfRange`] for a flow beyond the friction law.
    pub fn drop(&self, conditions: &Conditions, flow: VolumeFlow) -> Result<PathDrop, HydraulicsError> {
        let flow_m3_s = losses::finite("flow_l_min", flow.l_min(), "l/min")? / 60_000.0;
        let point = self.at(conditions, flow_m3_s.abs())?;
        Ok(PathDrop {
            drop: PressureDrop::from_pa(if flow_m3_s < 0.0 { -point.drop_pa } else { point.drop_pa }),
            slope_pa_s_m3: point.slope_pa_s_m3,
            reynolds_min: point.reynolds_min,
        })
    }
}

/// The operating point on a pump: straight lines between the curve's points, whose flows rise and whose
/// pressures do not.
///
/// # Errors
/// [`HydraulicsError::PumpCurve`] for a curve that is none, [`HydraulicsError::OffPumpCurve`] if it ends before it
/// meets the circuit, and as [`drop_at_flow`].
pub fn flow_on_pump(
    pieces: &[Piece],
    conditions: &Conditions,
    curve: &[(VolumeFlow, GaugePressure)],
) -> Result<(VolumeFlow, PressureDrop), HydraulicsError> {
    let path = Path::new(pieces)?;
    check_curve(curve)?;
    let spare = |at: &(VolumeFlow, GaugePressure)| -> Result<f64, HydraulicsError> {
        Ok(at.1.pa() - path.drop(conditions, at.0)?.drop.pa())
    };
    let mut left: Option<(&(VolumeFlow, GaugePressure), f64)> = None;
    for point in curve {
        let here = spare(point)?;
        if here <= 0.0 {
            let Some((before, _)) = left else {
                if here < 0.0 {
                    return Err(off_curve(point, "down"));
                }
                return Ok((point.0, path.drop(conditions, point.0)?.drop));
            };
            return on_segment(&path, conditions, before, point);
        }
        left = Some((point, here));
    }
    Err(curve.last().map_or(HydraulicsError::NoResistance, |last| off_curve(last, "up")))
}

fn off_curve(point: &(VolumeFlow, GaugePressure), direction: &'static str) -> HydraulicsError {
    HydraulicsError::OffPumpCurve { flow_l_min: point.0.l_min(), direction }
}

fn check_curve(curve: &[(VolumeFlow, GaugePressure)]) -> Result<(), HydraulicsError> {
    let fault = |at, problem| Err(HydraulicsError::PumpCurve { at, problem });
    if curve.len() < 2 {
        return fault(curve.len(), "missing, two points are needed at least");
    }
    for (at, (flow, pressure)) in curve.iter().enumerate() {
        if !(flow.m3_s() >= 0.0 && flow.is_finite() && pressure.is_finite()) {
            return fault(at, "not a number or a negative flow");
        }
    }
    for (at, (before, after)) in curve.iter().zip(curve.iter().skip(1)).enumerate() {
        if after.0 <= before.0 {
            return fault(at + 1, "the flow does not rise");
        }
        if after.1 > before.1 {
            return fault(at + 1, "the pressure rises with flow");
        }
    }
    Ok(())
}

fn on_segment(
    path: &Path,
    conditions: &Conditions,
    before: &(VolumeFlow, GaugePressure),
    after: &(VolumeFlow, GaugePressure),
) -> Result<(VolumeFlow, PressureDrop), HydraulicsError> {
    let (low, high) = (before.0.m3_s(), after.0.m3_s());
    let pump = |flow: f64| before.1.pa() + (after.1.pa() - before.1.pa()) * (flow - low) / (high - low);
    let spare = |flow: f64| path.at(conditions, flow).map_or(f64::NAN, |point| pump(flow) - point.drop_pa);
    let flow = root::bracketed(spare, low, high, high * 1e-13)
        .map_err(|_| HydraulicsError::NotFound { steps: 0, clipped: 0 })?;
    Ok((VolumeFlow::from_m3_s(flow), PressureDrop::from_pa(path.at(conditions, flow)?.drop_pa)))
}

/// What each piece does when the circuit carries a flow; the drops add up to the circuit's.
///
/// # Errors
/// As [`drop_at_flow`].
pub fn piece_flows(
    pieces: &[Piece],
    conditions: &Conditions,
    flow: VolumeFlow,
) -> Result<Vec<PieceFlow>, HydraulicsError> {
    let flow_m3_s = losses::finite("flow_l_min", flow.l_min(), "l/min")? / 60_000.0;
    let sign = 1.0_f64.copysign(flow_m3_s);
    let mut bore = None;
    pieces
        .iter()
        .map(|piece| {
            let mut elements: Vec<Element> = step_before(piece, &mut bore).into_iter().collect();
            losses::elements(piece, &mut elements)?;
            let mut sum = losses::Point::NONE;
            for element in &elements {
                sum = sum.then(element.at(conditions, flow_m3_s.abs())?);
            }
            Ok(PieceFlow {
                kind: piece.kind(),
                flow,
                drop: PressureDrop::from_pa(sum.drop_pa * sign),
                reynolds: sum.reynolds_min.is_finite().then_some(sum.reynolds_min),
                regime: sum.regime,
                branches: branch_flows(piece, conditions, PressureDrop::from_pa(sum.drop_pa * sign))?,
            })
        })
        .collect()
}

fn branch_flows(
    piece: &Piece,
    conditions: &Conditions,
    drop: PressureDrop,
) -> Result<Vec<Vec<PieceFlow>>, HydraulicsError> {
    let Piece::Split { branches } = piece else { return Ok(Vec::new()) };
    branches
        .iter()
        .map(|branch| piece_flows(branch, conditions, flow_at_drop(branch, conditions, drop)?))
        .collect()
}

/// The conditions that flow factors are stated for: water of 20 degC, 1 bar above the standard atmosphere
/// (`iapws-r7-97`, `iapws-r12-08`, `iapws-r15-11`; written out so that no call can fail).
#[must_use]
pub const fn reference_conditions() -> Conditions {
    Conditions::new(water::Properties {
        density_kg_m3: REFERENCE_DENSITY_KG_M3,
        viscosity_pa_s: 1.001_566_115_722_627_4e-3,
        conductivity_w_m_k: 0.598_069_813_638_68,
        heat_capacity_j_kg_k: 4_184.482_782_186_201,
    })
}

/// Flow factor of pieces in a row: their flow of water of 20 degC at a drop of 1 bar.
///
/// # Errors
/// As [`flow_at_drop`].
pub fn clean_flow_factor(pieces: &[Piece]) -> Result<FlowFactor, HydraulicsError> {
    let flow = flow_at_drop(pieces, &reference_conditions(), PressureDrop::from_bar(1.0))?;
    Ok(FlowFactor::from_m3_h(flow.m3_h()))
}
