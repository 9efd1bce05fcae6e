//! What a script needs to read a drawing point by point: its numbers, and the buttons, which it shows once it runs.

use maud::{Markup, html};

use super::{Layer, Scale, Shape};

/// The numbers of a drawing as JSON: for each axis where it begins and ends, in drawing units and in those of its label; for each
/// layer its kind, its class and its rows.
pub(super) fn data(
    across: (f64, f64),
    upwards: (f64, f64),
    x: &Scale,
    y: &Scale,
    layers: &[Layer],
) -> String {
    let axis = |(from, to): (f64, f64), scale: &Scale| list(&[from, to, scale.ends().0, scale.ends().1]);
    let all: Vec<String> = layers.iter().map(layer).collect();
    format!("{{\"x\":{},\"y\":{},\"layers\":[{}]}}", axis(across, x), axis(upwards, y), all.join(","))
}

fn layer(layer: &Layer) -> String {
    let three = |rows: &[(f64, f64, f64)]| rows.iter().map(|(x, a, b)| list(&[*x, *a, *b])).collect();
    let two = |rows: &[(f64, f64)]| rows.iter().map(|(x, y)| list(&[*x, *y])).collect();
    let (kind, rows): (_, Vec<String>) = match &layer.shape {
        Shape::Band(rows) => ("band", three(rows)),
        Shape::Points(rows) => ("points", three(rows)),
        Shape::Line(rows) => ("line", two(rows)),
        Shape::Dots(rows) => ("dots", two(rows)),
        Shape::Upright(x) => ("upright", vec![list(&[*x])]),
    };
    format!("[\"{kind}\",\"{}\",[{}]]", layer.class, rows.join(","))
}

fn list(numbers: &[f64]) -> String {
    format!("[{}]", numbers.iter().map(|value| short(*value)).collect::<Vec<_>>().join(","))
}

/// Seven significant digits, which is more than a drawing or its words show.
fn short(value: f64) -> String {
    format!("{value:.6e}").parse::<f64>().unwrap_or(value).to_string()
}

/// The buttons and the place for what is read.
pub(super) fn tools() -> Markup {
    html! {
        p.chart-at aria-hidden="true" {}
        div.chart-tools hidden {
            label { span { "Along the curve" } input type="range" min="0" max="0" step="1"; }
            button.quiet-button type="button" { "Closer" } " "
            button.quiet-button type="button" { "Further" } " "
            button.quiet-button type="button" { "Whole" }
            span.word-to hidden { "to" }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Axis, Chart, chart};
    use super::*;

    #[test]
    fn the_numbers_come_with_the_drawing_only_where_a_script_reads_them() {
        let drawn = |readable| {
            let axis = |label| Axis { label, from_zero: true };
            let rows = vec![(1.0 / 3.0, 2.0, 0.25), (1e-7, 1.5, 0.1)];
            let layers = vec![Layer { name: "<points>".into(), class: "point", shape: Shape::Points(rows) }];
            chart(Chart { title: "T", x: axis("x, s"), y: axis("y, bar"), layers }, readable).into_string()
        };
        let page = drawn(true);
        let page = page.replace(" hidden", "").replace("step=\"1\">", "step=\"1\"/>");
        let read = roxmltree::Document::parse(&page).expect("well-formed");
        let svg = read.descendants().find(|node| node.has_tag_name("svg")).expect("a drawing");
        let data = svg.attribute("data-plot").expect("its numbers");
        assert!(
            data.ends_with(",\"layers\":[[\"points\",\"point\",[[0.3333333,2,0.25],[0.0000001,1.5,0.1]]]]}"),
            "{data}"
        );
        assert!(data.starts_with("{\"x\":[") && data.contains(",0,0.4],\"y\":[222,30,0,2.5]"), "{data}");
        let sheet = drawn(false);
        assert!(!sheet.contains("data-plot") && !sheet.contains("button") && !sheet.contains("readable"));
    }
}
