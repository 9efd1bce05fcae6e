//! Pressure drop against flow, as numbers for a drawing and a sentence about the Reynolds number.

use calc::estimate::Z95;
use calc::hydraulics::circuit::{Conditions, drop_at_flow};
use calc::hydraulics::flow_factor::FlowPoint;
use calc::numeric::math;
use calc::quantity::{AbsolutePressure, Length, Temperature, VolumeFlow};
use calc::water;

use super::expect::{AsNew, Geometry};
use super::flow::FlowSeen;
use crate::finding::Evidence;
use crate::limits::Limits;
use crate::picture::{FlowCurve, Picture};
use crate::visit::Rig;

/// Points of a drawn curve.
const POINTS: u32 = 24;

/// The drawing's content, at the temperature of the readings; curves reach a quarter beyond the largest flow.
pub(crate) fn flow_curve(
    seen: &FlowSeen,
    as_new: Option<&AsNew>,
    geometry: Option<&Geometry>,
    rig: &Rig,
) -> Option<FlowCurve> {
    let result = seen.result.as_ref()?;
    let points = own_points(seen, rig);
    let conditions = Conditions::new(fluid(largest(seen)?.temperature)?);
    let reach = seen.largest_l_min * 1.25;
    let flows = || (1..=POINTS).map(|step| reach * f64::from(step) / f64::from(POINTS));
    let clean_at = |flow_l_min: f64, new: &AsNew| {
        let middle = clean_drop_bar(flow_l_min, new, geometry, &conditions, result.exponent);
        // Drop goes with the inverse square of the flow factor, so its spread is twice as wide.
        let factor = math::exp(2.0 * Z95 * new.standard_ln.min(0.7));
        (flow_l_min, middle / factor, middle, middle * factor)
    };
    let scale = curve_through(&points, result.exponent)?;
    Some(FlowCurve {
        clean: as_new.map_or_else(Vec::new, |new| flows().map(|flow| clean_at(flow, new)).collect()),
        clean_from: as_new.map(|new| new.from.clone()).unwrap_or_default(),
        today: flows().map(|flow| (flow, scale * math::powf(flow, result.exponent))).collect(),
        points,
        pump: rig.pump_curve.iter().map(|(flow, pressure)| (flow.l_min(), pressure.bar())).collect(),
    })
}

/// Today's points without hoses and couplings, whose drop rises with the square of the flow.
fn own_points(seen: &FlowSeen, rig: &Rig) -> Vec<(f64, f64, f64)> {
    let standard_bar = rig.pressure_uncertainty_bar * core::f64::consts::SQRT_2;
    let own = |point: &FlowPoint| {
        let hoses_bar =
            seen.fixture.map_or(0.0, |fixture| (point.flow.m3_h() / fixture.flow_factor.m3_h()).powi(2));
        (point.flow.l_min(), point.drop.bar() - hoses_bar, standard_bar)
    };
    seen.points.iter().map(own).collect()
}

/// Factor of the curve of this exponent through the points' geometric middle.
fn curve_through(points: &[(f64, f64, f64)], exponent: f64) -> Option<f64> {
    let logs: Vec<f64> = points
        .iter()
        .filter(|(flow, drop, _)| *flow > 0.0 && *drop > 0.0)
        .map(|(flow, drop, _)| math::ln(*drop) - exponent * math::ln(*flow))
        .collect();
    let count = f64::from(u32::try_from(logs.len()).ok().filter(|count| *count > 0)?);
    Some(math::exp(logs.iter().sum::<f64>() / count))
}

/// Drop of the circuit as it should be: the pieces' own curve, moved to the flow factor that it should have.
fn clean_drop_bar(
    flow_l_min: f64,
    new: &AsNew,
    geometry: Option<&Geometry>,
    conditions: &Conditions,
    exponent: f64,
) -> f64 {
    let flow = VolumeFlow::from_l_min(flow_l_min);
    let from_pieces = geometry.and_then(|known| {
        let own = known.flow_factor()?.value;
        let moved = VolumeFlow::from_m3_h(flow.m3_h() * own / new.value);
        Some(drop_at_flow(&known.pieces, conditions, moved).ok()?.drop.bar())
    });
    from_pieces.unwrap_or_else(|| math::powf(flow.m3_h() / new.value, exponent))
}

fn largest(seen: &FlowSeen) -> Option<&FlowPoint> {
    seen.points.iter().max_by(|a, b| a.flow.m3_s().total_cmp(&b.flow.m3_s()))
}

fn fluid(temperature: Temperature) -> Option<water::Properties> {
    water::water(temperature, AbsolutePressure::from_bar(3.0)).ok()
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
    let point = largest(seen)?;
    let viscosity = fluid(point.temperature)?.kinematic_viscosity_m2_s();
    Some(4.0 * point.flow.m3_s() / (core::f64::consts::PI * bore.m() * viscosity))
}
