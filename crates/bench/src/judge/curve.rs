//! Pressure drop against flow, as numbers for a drawing and a sentence about the Reynolds number.

use calc::hydraulics::circuit::{drop_at_flow, reference_conditions};
use calc::numeric::math;
use calc::quantity::{AbsolutePressure, Length, VolumeFlow};
use calc::water;

use super::expect::{AsNew, Geometry};
use super::flow::FlowSeen;
use crate::finding::Evidence;
use crate::limits::Limits;
use crate::picture::{FlowCurve, Picture};
use crate::visit::Rig;

/// Points of a drawn curve.
const POINTS: u32 = 24;

/// The drawing's content; curves reach a quarter beyond the largest flow measured.
pub(crate) fn flow_curve(
    seen: &FlowSeen,
    as_new: Option<&AsNew>,
    geometry: Option<&Geometry>,
    rig: &Rig,
) -> Option<FlowCurve> {
    let result = seen.result.as_ref()?;
    let reach = seen.largest_l_min * 1.25;
    let flows = (1..=POINTS).map(|step| reach * f64::from(step) / f64::from(POINTS));
    let today = result.flow_factor_m3_h.value;
    let clean = as_new.map_or_else(Vec::new, |new| {
        flows
            .clone()
            .map(|flow_l_min| {
                let middle = clean_drop_bar(flow_l_min, new, geometry, result.exponent);
                // Drop goes with the inverse square of the flow factor, so its spread is twice as wide.
                let factor = math::exp(2.0 * 1.96 * new.standard_ln.min(0.7));
                (flow_l_min, middle / factor, middle, middle * factor)
            })
            .collect()
    });
    Some(FlowCurve {
        clean,
        clean_from: as_new.map(|new| new.from.clone()).unwrap_or_default(),
        today: flows.map(|flow_l_min| (flow_l_min, drop_bar(flow_l_min, today, result.exponent))).collect(),
        points: result
            .reference_points
            .iter()
            .map(|point| (point.flow_l_min, point.drop_bar, point.standard_bar))
            .collect(),
        pump: rig.pump_curve.iter().map(|(flow, pressure)| (flow.l_min(), pressure.bar())).collect(),
    })
}

/// Drop of a circuit with this flow factor: 1 bar at the flow factor, rising with the exponent found.
fn drop_bar(flow_l_min: f64, flow_factor_m3_h: f64, exponent: f64) -> f64 {
    math::powf(VolumeFlow::from_l_min(flow_l_min).m3_h() / flow_factor_m3_h, exponent)
}

/// Drop of the circuit as it should be: the pieces' own curve, scaled to the flow factor it should have.
fn clean_drop_bar(flow_l_min: f64, new: &AsNew, geometry: Option<&Geometry>, exponent: f64) -> f64 {
    let flow = VolumeFlow::from_l_min(flow_l_min);
    let from_pieces = geometry.and_then(|known| {
        let own = known.flow_factor()?.value;
        let scaled = VolumeFlow::from_m3_h(flow.m3_h() * own / new.value);
        Some(drop_at_flow(&known.pieces, &reference_conditions(), scaled).ok()?.drop.bar())
    });
    from_pieces.unwrap_or_else(|| drop_bar(flow_l_min, new.value, exponent))
}

/// The drawing, with the Reynolds number at the largest flow against both limits in use.
pub(crate) fn evidence(
    seen: &FlowSeen,
    bore: Option<Length>,
    limits: &Limits,
    curve: Option<FlowCurve>,
) -> Option<Evidence> {
    let curve = curve?;
    let reynolds = bore.and_then(|bore| reynolds(seen, bore));
    let text = match (reynolds, bore) {
        (Some(number), Some(bore)) => {
            let others = limits
                .reynolds
                .others
                .iter()
                .map(|(value, _)| format!(" and {value:.0}"))
                .collect::<String>();
            format!(
                "Reynolds number {:.0} at {:.1} l/min in the main bore of {:.1} mm; limits in use are {:.0}{others}. In the \
                 press the water is warmer, and the number higher at the same flow.",
                number,
                seen.largest_l_min,
                bore.mm(),
                limits.reynolds.value
            )
        }
        _ => "The bore is not known, so no Reynolds number can be given.".to_owned(),
    };
    Some(Evidence {
        title: "Pressure drop against flow".to_owned(),
        text,
        place: None,
        sources: vec!["colebrook-1939"],
        picture: Some(Picture::FlowCurve(curve)),
    })
}

/// Reynolds number of the largest flow in the main bore.
fn reynolds(seen: &FlowSeen, bore: Length) -> Option<f64> {
    let point = seen.points.iter().max_by(|a, b| a.flow.m3_s().total_cmp(&b.flow.m3_s()))?;
    let fluid = water::water(point.temperature, AbsolutePressure::from_bar(3.0)).ok()?;
    Some(4.0 * point.flow.m3_s() / (core::f64::consts::PI * bore.m() * fluid.kinematic_viscosity_m2_s()))
}
