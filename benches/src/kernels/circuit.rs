//! The operating point of a circuit: the flow at which its pieces lose a given pressure.

use calc::hydraulics::circuit::Conditions;
use calc::hydraulics::path::Path;
use calc::hydraulics::piece::Piece;
use calc::quantity::{AbsolutePressure, FlowFactor, Length, PressureDrop, Temperature};
use calc::water;
use serde_json::json;

use super::{Fault, Measured};
use crate::timing::{Effort, time};

const DEG_C: f64 = 20.0;
const BAR_ABS: f64 = 3.0;
const DROP_BAR: f64 = 1.0;

/// Three pieces: a bore, a hose and a coupling.
pub fn three() -> Vec<Piece> {
    vec![bore(8.0, 1500.0), hose(11.0, 2000.0), Piece::Coupling { flow_factor: FlowFactor::from_m3_h(1.5) }]
}

/// Sixteen pieces of sixteen diameters, so that nothing can be merged. A hose between two bores keeps them from
/// meeting, so there are no losses of a changing bore either.
pub fn sixteen() -> Vec<Piece> {
    (0..8_u8)
        .flat_map(|at| {
            let at = f64::from(at);
            [bore(8.0 + 0.5 * at, 150.0 + 20.0 * at), hose(9.1 + 0.5 * at, 300.0 + 50.0 * at)]
        })
        .collect()
}

const fn bore(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Bore {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(10.0),
    }
}

const fn hose(diameter_mm: f64, length_mm: f64) -> Piece {
    Piece::Hose {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(2.0),
    }
}

/// Times preparing the pieces and finding the flow.
pub fn measure(pieces: &[Piece], effort: Effort) -> Result<Measured, Fault> {
    let conditions = conditions()?;
    let drop = PressureDrop::from_bar(DROP_BAR);
    let (seconds, found) = time(effort, || Path::new(pieces)?.flow(&conditions, drop));
    let (flow, found) = found?;
    Ok(Measured::new(seconds, flow.l_min()).with("steps", found.steps))
}

fn conditions() -> Result<Conditions, Fault> {
    let water = water::water(Temperature::from_deg_c(DEG_C), AbsolutePressure::from_bar(BAR_ABS))?;
    Ok(Conditions::new(water))
}

/// The same for a peer: every number that it needs.
pub fn document(pieces: &[Piece]) -> Result<serde_json::Value, Fault> {
    let fluid = conditions()?.fluid;
    let pieces = pieces.iter().map(|piece| match piece {
        Piece::Bore { diameter, length, roughness } | Piece::Hose { diameter, length, roughness } => {
            Ok(json!({"diameter_m": diameter.m(), "length_m": length.m(), "roughness_m": roughness.m()}))
        }
        Piece::Coupling { flow_factor } => Ok(json!({"flow_factor_m3_h": flow_factor.m3_h()})),
        other => Err(Fault::from(format!("no peer for a {}", other.kind()))),
    });
    Ok(json!({
        "density_kg_m3": fluid.density_kg_m3,
        "viscosity_pa_s": fluid.viscosity_pa_s,
        "flow_factor_density_kg_m3": calc::hydraulics::losses::FLOW_FACTOR_DENSITY_KG_M3,
        "pressure_drop_pa": DROP_BAR * 1e5,
        "pieces": pieces.collect::<Result<Vec<_>, Fault>>()?,
    }))
}
