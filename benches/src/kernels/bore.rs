//! What is in the bore: flow of three points, filled volume and a baseline, weighed over all kinds of state.

use std::path::Path;

use calc::estimate::Uncertain;
use calc::hydraulics::flow_factor::{FlowPoint, PieceKnowledge, PointUncertainty};
use calc::hydraulics::piece::Piece;
use calc::infer::bore::{BoreInput, Design, Hoses, Prior, Seen, Sweep, bore_state};
use calc::quantity::{AbsolutePressure, Length, PressureDrop, Temperature, VolumeFlow};
use calc::water;
use serde_json::json;

use super::{Fault, Measured, read_json};
use crate::timing::{Effort, time};

/// File of the readings.
pub const FILE: &str = "bore-state.json";

const BORE_MM: f64 = 10.0;
const LENGTH_MM: f64 = 6000.0;
const ROUGHNESS_UM: f64 = 10.0;
const DEG_C: f64 = 20.0;
/// A layer of 0.5 mm on all of the bore: l/min and bar by `fluids`, as in `data/reference/bore-state`.
const POINTS: [(f64, f64); 3] = [(6.0, 0.31212), (9.0, 0.67592), (12.0, 1.17648)];
const VOLUME_ML: f64 = 381.704;
const BASELINE_M3_H: f64 = 1.0297;
/// Flow and drop of the instruments, volume, baseline: standard uncertainties.
const FLOW_RELATIVE: f64 = 0.005;
const GAUGES_BAR: f64 = 0.002;
const VOLUME_RELATIVE: f64 = 0.01;
const BASELINE_RELATIVE: f64 = 0.01;
/// What the circuit may be off as new, as in the calculator: ln flow factor, ln volume.
const FLOW_LN: f64 = 0.03;
const VOLUME_LN: f64 = 0.04;

/// Everything that a peer needs.
pub fn document() -> Result<serde_json::Value, Fault> {
    let fluid = water::water(Temperature::from_deg_c(DEG_C), AbsolutePressure::from_bar(3.0))?;
    Ok(json!({
        "density_kg_m3": fluid.density_kg_m3, "viscosity_pa_s": fluid.viscosity_pa_s,
        "bore_mm": BORE_MM, "length_mm": LENGTH_MM, "roughness_um": ROUGHNESS_UM,
        "points": POINTS.map(|(flow_l_min, drop_bar)| [flow_l_min, drop_bar]),
        "volume_ml": VOLUME_ML, "baseline_m3_h": BASELINE_M3_H, "flow_relative": FLOW_RELATIVE,
        "gauges_bar": GAUGES_BAR, "volume_relative": VOLUME_RELATIVE, "baseline_relative": BASELINE_RELATIVE,
        "flow_ln": FLOW_LN, "volume_ln": VOLUME_LN, "exponent_sd": PieceKnowledge::DRAWING.exponent_sd,
        "bore_sd_mm": PieceKnowledge::DRAWING.bore_sd_mm,
        "roughness_ln_sd": PieceKnowledge::DRAWING.roughness_ln_sd,
        "prior": Prior::default().classes,
    }))
}

fn input(points: Vec<FlowPoint>) -> BoreInput {
    let bore = Piece::Bore {
        diameter: Length::from_mm(BORE_MM),
        length: Length::from_mm(LENGTH_MM),
        roughness: Length::from_um(ROUGHNESS_UM),
    };
    let uncertainty =
        PointUncertainty { flow_relative: FLOW_RELATIVE, drop_bar: GAUGES_BAR, temperature_k: 0.1 };
    BoreInput {
        designs: vec![Design {
            pieces: vec![bore],
            weight: 1.0,
            knowledge: PieceKnowledge::DRAWING,
            flow_ln: FLOW_LN,
            volume_ln: VOLUME_LN,
            air_ln: 0.05,
            by_sisters_m3_h: None,
        }],
        then: Seen {
            flow_factor_m3_h: Some(Uncertain::relative(BASELINE_M3_H, BASELINE_RELATIVE)),
            ..Seen::default()
        },
        today: Seen {
            sweep: Some(Sweep { points, uncertainty, hoses: Hoses::None }),
            volume_ml: Some(Uncertain::relative(VOLUME_ML, VOLUME_RELATIVE)),
            ..Seen::default()
        },
        prior: Prior::default(),
        elsewhere: 0.0,
        bench: None,
    }
}

/// Times the whole answer without advice on further readings.
pub fn measure(inputs: &Path, effort: Effort) -> Result<Measured, Fault> {
    let file = read_json(&inputs.join(FILE))?;
    let pairs = file["points"].as_array().ok_or("no points")?;
    let number = |value: &serde_json::Value| value.as_f64().ok_or("not a number");
    let mut points = Vec::new();
    for pair in pairs {
        points.push(FlowPoint {
            flow: VolumeFlow::from_l_min(number(&pair[0])?),
            drop: PressureDrop::from_bar(number(&pair[1])?),
            temperature: Temperature::from_deg_c(DEG_C),
        });
    }
    let asked = input(points);
    let (seconds, state) = time(effort, || bore_state(&asked));
    let state = state?;
    let thickness = state.thickness_mm.ok_or("no thickness")?;
    Ok(Measured::new(seconds, thickness.value)
        .with("low", thickness.low)
        .with("high", thickness.high)
        .with("even_deposit", state.even_deposit)
        .with("mixed", state.mixed))
}
