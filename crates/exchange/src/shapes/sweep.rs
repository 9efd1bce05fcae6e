//! Flow points of a baseline in a mould file: `baseline_points`.

use bench::mould::BaselineSweep;
use calc::estimate::Uncertain;
use calc::form::{Field, Input, Kind, Value};
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::quantity::{PressureDrop, Temperature, VolumeFlow};

use super::{exactly, number, shortest, sparse};

/// Fields of one point of a baseline's sweep.
pub static POINT: &[Field] = &[
    Field::required("flow_l_min", Kind::Number { low: 0.01, high: 500.0 }, "flow"),
    Field::required(
        "pressure_drop_bar",
        Kind::Number { low: 1e-4, high: 100.0 },
        "pressure drop, hoses removed",
    ),
    Field::required("water_temperature_deg_c", Kind::Number { low: 0.1, high: 180.0 }, "water"),
];

/// Instruments where the file says nothing: relative flow, bar of a difference of gauges, K.
const USUAL: PointUncertainty = PointUncertainty { flow_relative: 0.02, drop_bar: 0.05, temperature_k: 1.0 };

/// The points of a circuit, if the file has any.
pub fn read(circuit: Input<'_>) -> Option<BaselineSweep> {
    let points: Vec<FlowPoint> = circuit.records("baseline_points").map(point).collect();
    let stated = |name: &str| number(circuit.value(), name);
    (!points.is_empty()).then(|| BaselineSweep {
        points,
        uncertainty: PointUncertainty {
            flow_relative: stated("baseline_points_flow_uncertainty_percent")
                .map_or(USUAL.flow_relative, |percent| percent / 100.0),
            drop_bar: stated("baseline_points_pressure_uncertainty_bar").unwrap_or(USUAL.drop_bar),
            temperature_k: stated("baseline_points_temperature_uncertainty_k").unwrap_or(USUAL.temperature_k),
        },
    })
}

fn point(input: Input<'_>) -> FlowPoint {
    FlowPoint {
        flow: VolumeFlow::from_l_min(input.number("flow_l_min")),
        drop: PressureDrop::from_bar(input.number("pressure_drop_bar")),
        temperature: Temperature::from_deg_c(input.number("water_temperature_deg_c")),
    }
}

/// The fields as they are written.
pub fn fields(sweep: &BaselineSweep) -> Vec<(&'static str, Value)> {
    let points = sweep.points.iter().map(|point| {
        sparse([
            ("flow_l_min", exactly(point.flow, |flow| flow.l_min(), VolumeFlow::from_l_min)),
            ("pressure_drop_bar", exactly(point.drop, |drop| drop.bar(), PressureDrop::from_bar)),
            (
                "water_temperature_deg_c",
                exactly(point.temperature, |water| water.deg_c(), Temperature::from_deg_c),
            ),
        ])
    });
    let uncertainty = sweep.uncertainty;
    // Wrapped, so that equal means equal to the last bit.
    let flow = Uncertain::new(0.0, uncertainty.flow_relative);
    let percent = shortest(flow.standard * 100.0, |percent| Uncertain::new(0.0, percent / 100.0) == flow);
    vec![
        ("baseline_points", Value::List(points.collect())),
        ("baseline_points_flow_uncertainty_percent", percent.into()),
        ("baseline_points_pressure_uncertainty_bar", uncertainty.drop_bar.into()),
        ("baseline_points_temperature_uncertainty_k", uncertainty.temperature_k.into()),
    ]
}
