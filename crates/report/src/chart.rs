//! A drawing of curves over two axes. Names of curves stand in a key below it, so that no label meets a curve.

mod axis;
mod readable;

pub(crate) use axis::Axis;
use axis::Scale;
use maud::{Markup, html};

use crate::svg::{Anchor, Path, Point, Svg};

const WIDTH: f64 = 420.0;
const HEIGHT: f64 = 268.0;
const TOP: f64 = 30.0;
const BOTTOM: f64 = HEIGHT - 46.0;
const RIGHT: f64 = WIDTH - 24.0;
/// Width of a digit of the tick labels, generously.
const DIGIT: f64 = 7.6;

/// A drawing's content.
pub(crate) struct Chart {
    pub(crate) title: &'static str,
    pub(crate) x: Axis,
    pub(crate) y: Axis,
    /// From the back to the front.
    pub(crate) layers: Vec<Layer>,
}

/// One curve, band or row of points, with its name for the key.
pub(crate) struct Layer {
    pub(crate) name: String,
    pub(crate) class: &'static str,
    pub(crate) shape: Shape,
}

/// What a layer consists of.
pub(crate) enum Shape {
    /// Between a lower and an upper curve: x, low, high.
    Band(Vec<(f64, f64, f64)>),
    /// A curve.
    Line(Vec<Point>),
    /// Many samples: a dot each.
    Dots(Vec<Point>),
    /// Points with bars upwards and downwards: x, y, half the bar.
    Points(Vec<(f64, f64, f64)>),
    /// An upright line at x.
    Upright(f64),
}

impl Shape {
    /// The same without what is no number, and how much that was.
    fn finite(self) -> (Self, usize) {
        fn keep<T>(mut rows: Vec<T>, finite: impl Fn(&T) -> bool) -> (Vec<T>, usize) {
            let before = rows.len();
            rows.retain(finite);
            let lost = before - rows.len();
            (rows, lost)
        }
        let three = |row: &(f64, f64, f64)| row.0.is_finite() && row.1.is_finite() && row.2.is_finite();
        let two = |row: &Point| row.0.is_finite() && row.1.is_finite();
        match self {
            Self::Band(rows) => wrap(keep(rows, three), Self::Band),
            Self::Line(rows) => wrap(keep(rows, two), Self::Line),
            Self::Dots(rows) => wrap(keep(rows, two), Self::Dots),
            Self::Points(rows) => wrap(keep(rows, three), Self::Points),
            Self::Upright(x) => (Self::Upright(x), 0),
        }
    }

    fn is_empty(&self) -> bool {
        match self {
            Self::Band(rows) | Self::Points(rows) => rows.is_empty(),
            Self::Line(rows) | Self::Dots(rows) => rows.is_empty(),
            Self::Upright(x) => !x.is_finite(),
        }
    }

    /// The corners that the axes must hold.
    fn extent(&self) -> Vec<Point> {
        match self {
            Self::Band(rows) => rows.iter().flat_map(|(x, low, high)| [(*x, *low), (*x, *high)]).collect(),
            Self::Points(rows) => rows
                .iter()
                .flat_map(|(x, y, half)| [(*x, *y), (*x, y + half), (*x, floor(*y, y - half))])
                .collect(),
            Self::Line(rows) | Self::Dots(rows) => rows.clone(),
            Self::Upright(_) => Vec::new(),
        }
    }
}

fn wrap<T>((rows, lost): (Vec<T>, usize), make: impl Fn(Vec<T>) -> Shape) -> (Shape, usize) {
    (make(rows), lost)
}

/// The lower end of a bar: a quantity that cannot be negative gets no bar below zero.
fn floor(value: f64, low: f64) -> f64 {
    if value >= 0.0 { low.max(0.0) } else { low }
}

/// The drawing with its key, or a sentence where there is nothing to draw.
///
/// `readable`: for a page on which a script reads it point by point; the numbers then come with the drawing.
pub(crate) fn chart(chart: Chart, readable: bool) -> Markup {
    let Chart { title, x, y, layers } = chart;
    let mut lost = 0;
    let layers: Vec<Layer> = layers
        .into_iter()
        .map(|layer| {
            let (shape, dropped) = layer.shape.finite();
            lost += dropped;
            Layer { shape, ..layer }
        })
        .filter(|layer| !layer.shape.is_empty())
        .collect();
    let corners: Vec<Point> = layers.iter().flat_map(|layer| layer.shape.extent()).collect();
    if corners.is_empty() {
        return html! { p.quiet { (title) ": nothing to draw." } };
    }
    let x_scale = Scale::holding(&x, corners.iter().map(|corner| corner.0));
    let y_scale = Scale::holding(&y, corners.iter().map(|corner| corner.1));
    let left = left_of(&y_scale);
    let mut svg = plot(left, &x_scale, &y_scale, &x, &y, &layers);
    if readable {
        svg.carry(readable::data((left, RIGHT), (BOTTOM, TOP), &x_scale, &y_scale, &layers));
    }
    let drawing = svg.described(title, &description(&x, &y, &layers));
    html! {
        div.chart.readable[readable] {
            (drawing)
            (key(&layers))
            @if readable { (readable::tools()) }
            @if lost > 0 {
                p.quiet { (crate::words::counted(lost, "point is no number", "points are no numbers")) " and not drawn." }
            }
        }
    }
}

/// Where the axes cross: beside the widest label.
fn left_of(y_scale: &Scale) -> f64 {
    let widest = y_scale.ticks().iter().map(|(_, label)| label.chars().count()).max().unwrap_or(1);
    14.0 + DIGIT * f64::from(u8::try_from(widest).unwrap_or(12))
}

fn plot(left: f64, x_scale: &Scale, y_scale: &Scale, x: &Axis, y: &Axis, layers: &[Layer]) -> Svg {
    let mut svg = Svg::new(WIDTH, HEIGHT, "plot");
    svg.text("axis-title", (2.0, 14.0), Anchor::Start, y.label);
    svg.text("axis-title", (RIGHT, HEIGHT - 8.0), Anchor::End, x.label);
    let across = |value: f64| left + (RIGHT - left) * x_scale.share(value);
    let down = |value: f64| BOTTOM - (BOTTOM - TOP) * y_scale.share(value);
    for (value, label) in y_scale.ticks() {
        svg.line("grid", (left, down(value)), (RIGHT, down(value)));
        svg.text("tick", (left - 8.0, down(value) + 4.5), Anchor::End, &label);
    }
    for (value, label) in x_scale.ticks() {
        svg.line("axis", (across(value), BOTTOM), (across(value), BOTTOM + 5.0));
        svg.text("tick", (across(value), BOTTOM + 20.0), Anchor::Middle, &label);
    }
    svg.line("axis", (left, BOTTOM), (RIGHT, BOTTOM));
    for layer in layers {
        draw_layer(&mut svg, layer, &across, &down);
    }
    svg
}

fn draw_layer(svg: &mut Svg, layer: &Layer, across: &dyn Fn(f64) -> f64, down: &dyn Fn(f64) -> f64) {
    let at = |&(x, y): &Point| (across(x), down(y));
    match &layer.shape {
        Shape::Band(rows) => {
            let upper = rows.iter().map(|(x, _, high)| (across(*x), down(*high)));
            let lower = rows.iter().rev().map(|(x, low, _)| (across(*x), down(*low)));
            svg.polygon(layer.class, &upper.chain(lower).collect::<Vec<_>>());
        }
        Shape::Line(rows) => svg.polyline(layer.class, &rows.iter().map(at).collect::<Vec<_>>()),
        Shape::Dots(rows) => {
            let dots = rows.iter().map(at).fold(Path::new(), |path, dot| path.start(dot).line_to(dot));
            svg.path(layer.class, &dots);
        }
        Shape::Points(rows) => {
            for &(x, y, half) in rows {
                let (column, top, foot) = (across(x), down(y + half), down(floor(y, y - half)));
                svg.line("bar-stem", (column, top), (column, foot));
                svg.line("bar-stem", (column - 4.0, top), (column + 4.0, top));
                svg.line("bar-stem", (column - 4.0, foot), (column + 4.0, foot));
                svg.circle(layer.class, (column, down(y)), 4.0);
            }
        }
        Shape::Upright(x) => {
            let column = across(*x).clamp(0.0, RIGHT);
            svg.line(layer.class, (column, TOP), (column, BOTTOM));
        }
    }
}

fn key(layers: &[Layer]) -> Markup {
    html! {
        ul.key {
            @for layer in layers {
                li { (swatch(layer)) span { (layer.name) } }
            }
        }
    }
}

fn swatch(layer: &Layer) -> Markup {
    let mut svg = Svg::new(30.0, 14.0, "swatch");
    match &layer.shape {
        Shape::Band(_) => svg.rect(layer.class, (1.0, 2.0), (28.0, 10.0), 0.0),
        Shape::Line(_) => svg.line(layer.class, (1.0, 7.0), (29.0, 7.0)),
        Shape::Dots(_) => {
            let dots = [4.0, 11.0, 18.0, 25.0].into_iter();
            svg.path(layer.class, &dots.fold(Path::new(), |path, x| path.start((x, 7.0)).line_to((x, 7.0))));
        }
        Shape::Points(_) => {
            svg.line("bar-stem", (15.0, 0.5), (15.0, 13.5));
            svg.circle(layer.class, (15.0, 7.0), 4.0);
        }
        Shape::Upright(_) => svg.line(layer.class, (15.0, 0.0), (15.0, 14.0)),
    }
    svg.beside_word()
}

fn description(x: &Axis, y: &Axis, layers: &[Layer]) -> String {
    let mut text = format!("Upwards: {}. To the right: {}.", y.label, x.label);
    for layer in layers {
        let number = crate::number::plain;
        let said = match &layer.shape {
            Shape::Band(rows) => rows.last().map(|(at, low, high)| {
                format!("at {} between {} and {}", number(*at), number(*low), number(*high))
            }),
            Shape::Points(rows) => Some(
                rows.iter()
                    .map(|(at, value, _)| format!("{} at {}", number(*value), number(*at)))
                    .collect::<Vec<_>>()
                    .join(", "),
            ),
            Shape::Line(rows) | Shape::Dots(rows) => rows.first().zip(rows.last()).map(|(first, last)| {
                format!(
                    "from {} at {} to {} at {}",
                    number(first.1),
                    number(first.0),
                    number(last.1),
                    number(last.0)
                )
            }),
            Shape::Upright(at) => Some(format!("at {}", number(*at))),
        };
        if let Some(said) = said {
            text.push_str(&format!(" {}: {said}.", crate::words::capital(&layer.name)));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(layers: Vec<Layer>) -> String {
        let axis = |label| Axis { label, from_zero: true };
        chart(Chart { title: "T", x: axis("x"), y: axis("y"), layers }, false).into_string()
    }

    fn line(points: Vec<Point>) -> Layer {
        Layer { name: "a curve".into(), class: "today", shape: Shape::Line(points) }
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert!(sample(vec![]).contains("nothing to draw"));
        assert!(sample(vec![line(vec![(f64::NAN, 1.0)])]).contains("nothing to draw"));
    }

    #[test]
    fn what_is_no_number_is_left_out_and_said() {
        let drawing = sample(vec![line(vec![(0.0, 1.0), (1.0, f64::INFINITY), (2.0, 3.0)])]);
        assert!(drawing.contains("1\u{202f}point is no number"), "{drawing}");
        assert!(!drawing.contains("NaN") && !drawing.contains("inf"));
    }

    #[test]
    fn the_description_gives_the_numbers() {
        let drawing = sample(vec![line(vec![(0.0, 1.0), (2.0, 3.5)])]);
        assert!(drawing.contains("A curve: from 1 at 0 to 3.5 at 2."), "{drawing}");
    }

    #[test]
    fn everything_lies_inside_the_frame() {
        let rows = vec![(1.0, 0.1, 0.4), (30.0, 6.2, 0.3)];
        let points = Layer { name: "p".into(), class: "point", shape: Shape::Points(rows) };
        let drawing = sample(vec![points]);
        let read = roxmltree::Document::parse(&drawing).expect("well-formed");
        for node in read.descendants() {
            for (name, limit) in
                [("cx", WIDTH), ("x1", WIDTH), ("x2", WIDTH), ("cy", HEIGHT), ("y1", HEIGHT), ("y2", HEIGHT)]
            {
                if let Some(text) = node.attribute(name) {
                    let at: f64 = text.parse().expect("a number");
                    assert!((0.0..=limit).contains(&at), "{name} = {at}");
                }
            }
        }
    }

    /// Left, top, right and foot of a text, from its anchor and a generous width of its letters.
    fn text_box(node: &roxmltree::Node<'_, '_>) -> [f64; 4] {
        let number = |name| node.attribute(name).and_then(|text| text.parse::<f64>().ok()).expect("a number");
        let letters = node.text().unwrap_or("").chars().count();
        let width = 7.3 * f64::from(u32::try_from(letters).expect("a short text"));
        let left = match node.attribute("text-anchor") {
            Some("end") => number("x") - width,
            Some("middle") => number("x") - width / 2.0,
            _ => number("x"),
        };
        [left, number("y") - 10.0, left + width, number("y") + 3.0]
    }

    #[test]
    fn no_label_meets_another_or_leaves_the_frame() {
        for (width, height) in [(1.0, 1.0), (29.9, 6.2), (600.0, 0.031), (0.07, 1234.0), (12_345.0, 99_999.0)]
        {
            let axis = |label| Axis { label, from_zero: true };
            let (x, y) = (axis("flow, l/min"), axis("pressure drop, bar"));
            let title = "T";
            let drawing =
                chart(Chart { title, x, y, layers: vec![line(vec![(0.0, 0.0), (width, height)])] }, false)
                    .into_string();
            let read = roxmltree::Document::parse(&drawing).expect("well-formed");
            let boxes: Vec<_> =
                read.descendants().filter(|n| n.has_tag_name("text")).map(|n| text_box(&n)).collect();
            assert!(boxes.len() >= 8);
            for (index, one) in boxes.iter().enumerate() {
                assert!(one[0] >= 0.0 && one[1] >= 0.0 && one[2] <= WIDTH && one[3] <= HEIGHT, "{one:?}");
                for other in &boxes[index + 1..] {
                    let apart =
                        one[2] <= other[0] || other[2] <= one[0] || one[3] <= other[1] || other[3] <= one[1];
                    assert!(apart, "{one:?} {other:?} for {width} by {height}");
                }
            }
        }
    }
}
