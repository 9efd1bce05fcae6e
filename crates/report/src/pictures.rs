//! What each kind of picture looks like.

use bench::picture::{AirPassagePicture, FlowCurve, LeakDownPicture, Picture};
use calc::estimate::Z95;
use maud::Markup;

use crate::chart::{Axis, Chart, Layer, Shape, chart};
use crate::sheet::Manner;
use crate::svg::Point;
use crate::units::Units;

/// The picture with its key.
pub(crate) fn picture(picture: &Picture, manner: Manner) -> Markup {
    let drawn = match picture {
        Picture::FlowCurve(curve) => flow_curve(curve),
        Picture::LeakDown(test) => leak_down(test),
        Picture::AirPassage(test) => air_passage(test),
    };
    chart(in_units(drawn, manner.units), manner.on_page)
}

fn in_units(chart: Chart, units: Units) -> Chart {
    let ((x_label, x), (y_label, y)) = (units.axis(chart.x.label), units.axis(chart.y.label));
    let two = |rows: Vec<Point>| rows.into_iter().map(|(along, up)| (along * x, up * y)).collect();
    let three = |rows: Vec<(f64, f64, f64)>| {
        rows.into_iter().map(|(along, one, other)| (along * x, one * y, other * y)).collect()
    };
    let shape = |shape: Shape| match shape {
        Shape::Band(rows) => Shape::Band(three(rows)),
        Shape::Points(rows) => Shape::Points(three(rows)),
        Shape::Line(rows) => Shape::Line(two(rows)),
        Shape::Dots(rows) => Shape::Dots(two(rows)),
        Shape::Upright(at) => Shape::Upright(at * x),
    };
    let layers = chart.layers.into_iter().map(|layer| Layer { shape: shape(layer.shape), ..layer });
    Chart {
        x: Axis { label: x_label, ..chart.x },
        y: Axis { label: y_label, ..chart.y },
        layers: layers.collect(),
        ..chart
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
            assert!(picture(&kind, Manner::default()).into_string().contains("nothing to draw"), "{kind:?}");
        }
    }

    #[test]
    fn a_picture_is_drawn_in_the_units_chosen() {
        let curve = FlowCurve { points: vec![(10.0, 2.0, 0.1)], ..FlowCurve::default() };
        let drawn = in_units(flow_curve(&curve), Units { psi: true, gpm: true, ..Units::default() });
        assert_eq!((drawn.x.label, drawn.y.label), ("flow, gpm", "pressure drop, psi"));
        let Shape::Points(rows) = &drawn.layers[4].shape else { panic!("points are last") };
        // 10 l/min and 2 bar by the factors of NIST SP 811, appendix B.8.
        assert!((rows[0].0 - 2.641_720).abs() < 1e-5 && (rows[0].1 - 29.007_55).abs() < 1e-4);
        let left = in_units(flow_curve(&curve), Units::default());
        assert_eq!((left.x.label, left.y.label), ("flow, l/min", "pressure drop, bar"));
        // Every axis that shows a replaced unit has words for the other.
        let kinds = [
            flow_curve(&curve),
            leak_down(&LeakDownPicture::default()),
            air_passage(&AirPassagePicture::default()),
        ];
        let all = Units { psi: true, gpm: true, deg_f: true, inch: true };
        for kind in kinds {
            for label in [kind.x.label, kind.y.label] {
                let shown = all.axis(label).0;
                assert!(!shown.contains("bar") && !shown.contains("l/min"), "{label}");
            }
        }
    }

    #[test]
    fn bars_are_wider_than_one_standard_deviation() {
        let curve = FlowCurve { points: vec![(10.0, 2.0, 0.1)], ..FlowCurve::default() };
        let drawing = chart(flow_curve(&curve), false);
        // Axes 0 to 10 l/min and 0 to 2.5 bar: 2 ± 0.196 bar.
        assert!(drawing.into_string().contains("2 at 10"));
        let Shape::Points(rows) = &flow_curve(&curve).layers[4].shape else { panic!("points are last") };
        assert!((rows[0].2 - 0.196).abs() < 1e-3);
    }
}
