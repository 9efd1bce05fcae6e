//! A small writer of SVG drawings that stand inside a page: coordinates in one number format, looks by class.

use maud::{Markup, PreEscaped, html};

/// A point in drawing units: right, down.
pub(crate) type Point = (f64, f64);

/// Where a text stands against its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// The text begins at the point.
    Start,
    /// The point is the text's middle.
    Middle,
    /// The text ends at the point.
    End,
}

impl Anchor {
    fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// A drawing being made.
pub(crate) struct Svg {
    corner: Point,
    width: f64,
    height: f64,
    class: &'static str,
    sized: bool,
    data: Option<String>,
    body: String,
}

impl Svg {
    /// An empty drawing of this size; the class gives its size on the page.
    pub(crate) fn new(width: f64, height: f64, class: &'static str) -> Self {
        Self { corner: (0.0, 0.0), width, height, class, sized: false, data: None, body: String::new() }
    }

    /// An empty drawing of what lies between two corners, shown at its own size where there is room.
    pub(crate) fn between(upper_left: Point, lower_right: Point, class: &'static str) -> Self {
        let (width, height) = (lower_right.0 - upper_left.0, lower_right.1 - upper_left.1);
        Self { corner: upper_left, width, height, class, sized: true, data: None, body: String::new() }
    }

    /// Numbers that go with the drawing, for a script.
    pub(crate) fn carry(&mut self, data: String) {
        self.data = Some(data);
    }

    /// The drawing with its name and description for those who do not see it.
    pub(crate) fn described(self, title: &str, desc: &str) -> Markup {
        let view_box = self.view_box();
        let width = self.sized.then(|| num(self.width));
        html! {
            svg class=(self.class) viewBox=(view_box) width=[width] role="img" data-plot=[self.data] {
                title { (title) }
                desc { (desc) }
                (PreEscaped(self.body))
            }
        }
    }

    /// The drawing as an ornament of the word beside it.
    pub(crate) fn beside_word(self) -> Markup {
        let view_box = self.view_box();
        html! {
            svg class=(self.class) viewBox=(view_box) aria-hidden="true" focusable="false" { (PreEscaped(self.body)) }
        }
    }

    pub(crate) fn line(&mut self, class: &str, from: Point, to: Point) {
        self.add(
            html! { line class=(class) x1=(num(from.0)) y1=(num(from.1)) x2=(num(to.0)) y2=(num(to.1)) {} },
        );
    }

    pub(crate) fn polyline(&mut self, class: &str, points: &[Point]) {
        self.add(html! { polyline class=(class) points=(list(points)) {} });
    }

    pub(crate) fn polygon(&mut self, class: &str, points: &[Point]) {
        self.add(html! { polygon class=(class) points=(list(points)) {} });
    }

    pub(crate) fn circle(&mut self, class: &str, centre: Point, radius: f64) {
        self.add(html! { circle class=(class) cx=(num(centre.0)) cy=(num(centre.1)) r=(num(radius)) {} });
    }

    pub(crate) fn rect(&mut self, class: &str, corner: Point, size: (f64, f64), round: f64) {
        self.add(html! {
            rect class=(class) x=(num(corner.0)) y=(num(corner.1)) width=(num(size.0)) height=(num(size.1)) rx=(num(round)) {}
        });
    }

    pub(crate) fn path(&mut self, class: &str, path: &Path) {
        self.add(html! { path class=(class) d=(path.0) {} });
    }

    pub(crate) fn text(&mut self, class: &str, at: Point, anchor: Anchor, text: &str) {
        self.add(html! {
            text class=(class) x=(num(at.0)) y=(num(at.1)) text-anchor=(anchor.word()) { (text) }
        });
    }

    fn add(&mut self, element: Markup) {
        self.body.push_str(&element.into_string());
    }

    fn view_box(&self) -> String {
        format!("{} {} {} {}", num(self.corner.0), num(self.corner.1), num(self.width), num(self.height))
    }
}

/// An outline of straight and curved strokes.
#[derive(Default)]
pub(crate) struct Path(String);

impl Path {
    pub(crate) fn new() -> Self {
        Self::default()
    }

    pub(crate) fn start(mut self, at: Point) -> Self {
        self.step('M', &[at]);
        self
    }

    pub(crate) fn line_to(mut self, to: Point) -> Self {
        self.step('L', &[to]);
        self
    }

    /// A curve pulled towards one point.
    pub(crate) fn bend_to(mut self, towards: Point, to: Point) -> Self {
        self.step('Q', &[towards, to]);
        self
    }

    /// An arc of a circle, clockwise, of less than half its round unless `long`.
    pub(crate) fn arc_to(mut self, radius: f64, long: bool, to: Point) -> Self {
        let radius = num(radius);
        self.0.push_str(&format!("A{radius} {radius} 0 {} 1 {} {}", i32::from(long), num(to.0), num(to.1)));
        self
    }

    pub(crate) fn close(mut self) -> Self {
        self.0.push('Z');
        self
    }

    /// A full circle.
    pub(crate) fn round(self, centre: Point, radius: f64) -> Self {
        let (left, right) = ((centre.0 - radius, centre.1), (centre.0 + radius, centre.1));
        self.start(left).arc_to(radius, false, right).arc_to(radius, false, left).close()
    }

    fn step(&mut self, letter: char, points: &[Point]) {
        self.0.push(letter);
        self.0.push_str(&list(points).replace(',', " "));
    }
}

/// A coordinate: two decimals at most, no trailing zeros, never `-0`, never anything but a number.
pub(crate) fn num(value: f64) -> String {
    if !value.is_finite() {
        return "0".into();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

fn list(points: &[Point]) -> String {
    points.iter().map(|(x, y)| format!("{},{}", num(*x), num(*y))).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_have_one_format() {
        let given = [0.0, -0.001, 1.0, 2.5, 3.14499, -7.0, 100.0, f64::NAN, f64::INFINITY];
        let written: Vec<_> = given.into_iter().map(num).collect();
        assert_eq!(written, ["0", "0", "1", "2.5", "3.14", "-7", "100", "0", "0"]);
    }

    #[test]
    fn text_is_never_markup() {
        let mut drawing = Svg::new(10.0, 10.0, "c");
        drawing.text("t", (1.0, 2.0), Anchor::Middle, "<script>&\"'</text>");
        let page = drawing.described("<b>", "\"><i>").into_string();
        let read = roxmltree::Document::parse(&page).expect("well-formed");
        let text = read.descendants().find(|n| n.has_tag_name("text")).expect("a text");
        assert_eq!(text.text(), Some("<script>&\"'</text>"));
        assert_eq!(read.descendants().filter(roxmltree::Node::is_element).count(), 4);
    }

    #[test]
    fn outlines_close_where_they_began() {
        let path = Path::new().round((5.0, 5.0), 2.0);
        assert_eq!(path.0, "M3 5A2 2 0 0 1 7 5A2 2 0 0 1 3 5Z");
    }
}
