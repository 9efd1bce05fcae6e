//! What each kind of picture looks like.

use bench::picture::{AirPassagePicture, FlowCurve, LeakDownPicture, Picture};
use calc::estimate::Z95;
use maud::Markup;

use crate::chart::{Axis, Chart, Layer, Shape, chart};
use crate::svg::Point;

/// The picture with its key.
pub(crate) fn picture(picture: &Picture) -> Markup {
    match picture {
        Picture::FlowCurve(curve) => chart(flow_curve(curve)),
        Picture::LeakDown(test) => chart(leak_down(test)),
        Picture::AirPassage(test) => chart(air_passage(test)),
    }
}

fn layer(name: impl Into<String>, class: &'static str, shape: Shape) -> Layer {
    Layer { name: name.into(), class, shape }
}

fn flow_curve(curve: &FlowCurve) -> Chart {
    let from =
        if curve.clean_from.is_empty() { String::new() } else { format!(", from {}", curve.clean_from) };
    let band = curve.clean.iter().map(|&(flow, low, _, high)| (flow, low, high)).collect();
    let middle = curve.clean.iter().map(|&(flow, _, middle, _)| (flow, middle)).collect();
    let points = curve.points.iter().map(|&(flow, drop, standard)| (flow, drop, Z95 * standard)).collect();
    Chart {
        title: "Pressure drop against flow",
        x: Axis { label: "flow, l/min", from_zero: true },
        y: Axis { label: "pressure drop, bar", from_zero: true },
        layers: vec![
            layer(format!("as it should be, 95 % band{from}"), "band", Shape::Band(band)),
            layer("as it should be, middle", "clean", Shape::Line(middle)),
            layer("what the rig's pump can give", "pump", Shape::Line(pump_in_view(curve))),
            layer("curve through today's points", "today", Shape::Line(curve.today.clone())),
            layer("today's points, with 95 % bars", "point", Shape::Points(points)),
        ],
    }
}

/// The pump's curve as far to the right as the circuit's curves and points go.
fn pump_in_view(curve: &FlowCurve) -> Vec<Point> {
    let flows = curve.clean.iter().map(|row| row.0).chain(curve.today.iter().map(|row| row.0));
    let furthest =
        flows.chain(curve.points.iter().map(|row| row.0)).filter(|flow| flow.is_finite()).fold(0.0, f64::max);
    if furthest <= 0.0 { curve.pump.clone() } else { up_to(&curve.pump, furthest) }
}

/// A curve cut at this x; the cut lies on its last straight piece.
fn up_to(curve: &[Point], end: f64) -> Vec<Point> {
    let mut kept = Vec::new();
    for (index, &(x, y)) in curve.iter().enumerate() {
        if x <= end {
            kept.push((x, y));
            continue;
        }
        if let Some(&(before_x, before_y)) = index.checked_sub(1).and_then(|before| curve.get(before)) {
            kept.push((end, before_y + (y - before_y) * (end - before_x) / (x - before_x)));
        }
        break;
    }
    kept
}

fn leak_down(test: &LeakDownPicture) -> Chart {
    let mut layers = vec![
        layer("measured", "dots", Shape::Dots(test.measured.clone())),
        layer("what the limit would look like", "limit", Shape::Line(test.at_limit.clone())),
        layer("the leak's part alone", "part", Shape::Line(test.leak_only.clone())),
        layer("fitted: leak, settling and drift together", "today", Shape::Line(test.fitted.clone())),
    ];
    if let Some(from) = test.settled_from_s {
        let name = format!("settled from {} on", crate::number::with_unit(&crate::number::plain(from), "s"));
        layers.push(layer(name, "settled", Shape::Upright(from)));
    }
    Chart {
        title: "Pressure while air is held in",
        x: Axis { label: "time, s", from_zero: true },
        y: Axis { label: "pressure, bar (gauge)", from_zero: false },
        layers,
    }
}

fn air_passage(test: &AirPassagePicture) -> Chart {
    Chart {
        title: "Pressure while air is let out",
        x: Axis { label: "time, s", from_zero: true },
        y: Axis { label: "pressure, bar (gauge)", from_zero: true },
        layers: vec![
            layer("measured", "dots", Shape::Dots(test.measured.clone())),
            layer("as it should be", "clean", Shape::Line(test.expected.clone())),
            layer("fitted", "today", Shape::Line(test.fitted.clone())),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_cut_on_its_own_line() {
        let pump = [(0.0, 6.0), (20.0, 5.0), (40.0, 1.0)];
        assert_eq!(up_to(&pump, 30.0), [(0.0, 6.0), (20.0, 5.0), (30.0, 3.0)]);
        assert_eq!(up_to(&pump, 50.0), pump);
        assert_eq!(up_to(&[], 5.0), []);
    }

    #[test]
    fn every_kind_draws_nothing_when_it_holds_nothing() {
        let kinds = [
            Picture::FlowCurve(FlowCurve::default()),
            Picture::LeakDown(LeakDownPicture::default()),
            Picture::AirPassage(AirPassagePicture::default()),
        ];
        for kind in kinds {
            assert!(picture(&kind).into_string().contains("nothing to draw"), "{kind:?}");
        }
    }

    #[test]
    fn bars_are_wider_than_one_standard_deviation() {
        let curve = FlowCurve { points: vec![(10.0, 2.0, 0.1)], ..FlowCurve::default() };
        let drawing = chart(flow_curve(&curve));
        // Axes 0 to 10 l/min and 0 to 2.5 bar: 2 ± 0.196 bar.
        assert!(drawing.into_string().contains("2 at 10"));
        let Shape::Points(rows) = &flow_curve(&curve).layers[4].shape else { panic!("points are last") };
        assert!((rows[0].2 - 0.196).abs() < 1e-3);
    }
}
