//! A half of a mould drawn as its outline, with openings and leaks as pins.

use core::fmt::Write as _;

use maud::{Escaper, Markup, PreEscaped, Render as _};

/// Longer side of the drawing between its margins, in px; the margins at the sides hold labels (own choice).
const LONG_PX: f64 = 560.0;
const SIDE_PX: f64 = 76.0;
const ABOVE_PX: f64 = 34.0;
const PAPER: &str = "#fbf8f1";
const INK: &str = "currentColor";
const ALARM: &str = "#b3261e";

/// What a pin marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PinKind {
    /// Opening where water comes in.
    In,
    /// Opening where it goes out.
    Out,
    /// A leak.
    Leak,
    /// Anything else.
    Other,
}

/// A place on a half.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// To the right, mm.
    pub x_mm: f64,
    /// Up, mm.
    pub y_mm: f64,
    /// What it marks.
    pub kind: PinKind,
    /// Circuit; its inlet and outlet are joined by a line.
    pub circuit: Option<String>,
    /// Words beside it.
    pub label: String,
}

/// A half as it is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    corners_mm: Vec<(f64, f64)>,
    pins: Vec<Pin>,
    low: (f64, f64),
    size: (f64, f64),
    px_mm: f64,
}

impl Outline {
    /// The drawing of a closed line with these corners in mm, right and up, and of these pins. Nothing where the corners
    /// span no area.
    #[must_use]
    pub fn new(corners_mm: &[(f64, f64)], pins: Vec<Pin>) -> Option<Self> {
        let ends = |pick: fn(&(f64, f64)) -> f64| {
            let values = corners_mm.iter().map(pick);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let (left, right) = ends(|corner| corner.0);
        let (low, high) = ends(|corner| corner.1);
        let size = (right - left, high - low);
        let sound =
            corners_mm.len() >= 3 && size.0 > 0.0 && size.1 > 0.0 && size.0.is_finite() && size.1.is_finite();
        sound.then(|| {
            let px_mm = LONG_PX / size.0.max(size.1);
            Self { corners_mm: corners_mm.to_vec(), pins, low: (left, low), size, px_mm }
        })
    }

    /// Width and height of the drawing, px.
    #[must_use]
    pub fn size_px(&self) -> (f64, f64) {
        (self.size.0 * self.px_mm + 2.0 * SIDE_PX, self.size.1 * self.px_mm + 2.0 * ABOVE_PX)
    }

    /// The place on the half, in mm to a tenth, behind a point of the drawing in px from its upper left corner.
    #[must_use]
    pub fn place_mm(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let tenth = |mm: f64| (mm * 10.0).round() / 10.0;
        let x = self.low.0 + (x_px - SIDE_PX) / self.px_mm;
        let y = self.low.1 + self.size.1 - (y_px - ABOVE_PX) / self.px_mm;
        (tenth(x), tenth(y))
    }

    /// Whether a place lies on the drawn half or within a tenth of its size around it: hoses begin outside the steel.
    #[must_use]
    pub fn is_near(&self, x_mm: f64, y_mm: f64) -> bool {
        let within = |value: f64, low: f64, size: f64| value >= low - 0.1 * size && value <= low + 1.1 * size;
        within(x_mm, self.low.0, self.size.0) && within(y_mm, self.low.1, self.size.1)
    }

    fn at_px(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        let x = SIDE_PX + (x_mm - self.low.0) * self.px_mm;
        let y = ABOVE_PX + (self.low.1 + self.size.1 - y_mm) * self.px_mm;
        (x, y)
    }

    /// The drawing inside a page.
    #[must_use]
    pub fn drawing(&self, title: &str) -> Markup {
        PreEscaped(self.svg(title, ""))
    }

    /// The drawing as a file of its own.
    #[must_use]
    pub fn file(&self, title: &str) -> String {
        let paper = format!("<rect width=\"100%\" height=\"100%\" fill=\"{PAPER}\"/>");
        self.svg(title, &paper).replacen(
            "<svg ",
            "<svg xmlns=\"http://www.w3.org/2000/svg\" color=\"#1d2227\" ",
            1,
        )
    }

    fn svg(&self, title: &str, paper: &str) -> String {
        let (width, height) = self.size_px();
        let mut body = String::new();
        let mut title_text = String::new();
        let _ = write!(Escaper::new(&mut title_text), "{title}");
        let corners = self.corners_mm.iter().map(|(x, y)| {
            let (x, y) = self.at_px(*x, *y);
            format!("{x:.1},{y:.1}")
        });
        let corners = corners.collect::<Vec<_>>().join(" ");
        let _ =
            write!(body, "<polygon points=\"{corners}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\"/>");
        self.joins(&mut body);
        for pin in &self.pins {
            self.pin(pin, &mut body);
        }
        format!(
            "<svg class=\"outline\" width=\"{width:.0}\" height=\"{height:.0}\" viewBox=\"0 0 {width:.0} {height:.0}\" role=\"img\" \
             font-family=\"system-ui, sans-serif\" font-size=\"14\"><title>{title_text}</title>{paper}{body}</svg>"
        )
    }

    /// A thin line from the inlet to the outlet of each circuit: which belong together, not which way the water goes.
    fn joins(&self, body: &mut String) {
        for inlet in self.pins.iter().filter(|pin| pin.kind == PinKind::In && pin.circuit.is_some()) {
            let outlet =
                self.pins.iter().find(|pin| pin.kind == PinKind::Out && pin.circuit == inlet.circuit);
            let Some(outlet) = outlet else { continue };
            let ((x1, y1), (x2, y2)) =
                (self.at_px(inlet.x_mm, inlet.y_mm), self.at_px(outlet.x_mm, outlet.y_mm));
            let _ = write!(
                body,
                "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" stroke=\"{INK}\" stroke-opacity=\"0.45\" \
                 stroke-width=\"1.5\" stroke-dasharray=\"5 5\"/>"
            );
        }
    }

    fn pin(&self, pin: &Pin, body: &mut String) {
        let (x, y) = self.at_px(pin.x_mm, pin.y_mm);
        let shape = match pin.kind {
            PinKind::In => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"7\" fill=\"{INK}\"/>"),
            PinKind::Out => {
                format!(
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"6\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2.5\"/>"
                )
            }
            PinKind::Leak => format!(
                "<path class=\"leak-mark\" d=\"M{:.1} {:.1}l14 14m0 -14l-14 14\" stroke=\"{ALARM}\" stroke-width=\"3.5\" fill=\"none\"/>",
                x - 7.0,
                y - 7.0
            ),
            PinKind::Other => {
                format!(
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"10\" height=\"10\" fill=\"{INK}\"/>",
                    x - 5.0,
                    y - 5.0
                )
            }
        };
        body.push_str(&shape);
        // Labels stand towards the nearer side, where the margin has room for them; that of a leak stands above it.
        let (anchor, from, base) = match pin.kind {
            PinKind::Leak => ("middle", x, y - 13.0),
            _ if x < self.size_px().0 / 2.0 => ("end", x - 12.0, y + 5.0),
            _ => ("start", x + 12.0, y + 5.0),
        };
        let (colour, class) =
            if pin.kind == PinKind::Leak { (ALARM, "leak-word") } else { (INK, "pin-word") };
        let label = pin.label.as_str().render().into_string();
        let _ = write!(
            body,
            "<text class=\"{class}\" x=\"{from:.1}\" y=\"{base:.1}\" text-anchor=\"{anchor}\" fill=\"{colour}\" stroke=\"{PAPER}\" \
             stroke-width=\"4\" paint-order=\"stroke\">{label}</text>"
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline() -> Outline {
        let pin = Pin {
            x_mm: 0.0,
            y_mm: 50.0,
            kind: PinKind::In,
            circuit: Some("F1".into()),
            label: "F1 <IN>".into(),
        };
        Outline::new(&[(0.0, 0.0), (400.0, 0.0), (400.0, 300.0), (0.0, 300.0)], vec![pin]).expect("an area")
    }

    #[test]
    fn a_point_of_the_drawing_is_the_place_that_is_drawn_there() {
        let outline = outline();
        for (x, y) in [(0.0, 0.0), (400.0, 300.0), (123.4, 56.7)] {
            let (x_px, y_px) = outline.at_px(x, y);
            let (back_x, back_y) = outline.place_mm(x_px, y_px);
            assert!((back_x - x).abs() < 0.05 && (back_y - y).abs() < 0.05, "{x} {y}");
        }
        // Up on the half is up on the page.
        assert!(outline.at_px(0.0, 300.0).1 < outline.at_px(0.0, 0.0).1);
        assert!(outline.is_near(-30.0, 0.0) && !outline.is_near(500.0, 0.0));
    }

    #[test]
    fn words_cannot_become_marks_and_a_line_is_no_outline() {
        let file = outline().file("Half <fixed>");
        assert!(
            file.contains("F1 &lt;IN&gt;")
                && file.contains("Half &lt;fixed&gt;")
                && file.starts_with("<svg xmlns=")
        );
        assert_eq!(Outline::new(&[(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)], vec![]), None);
        assert_eq!(Outline::new(&[(0.0, 0.0), (f64::NAN, 0.0), (20.0, f64::INFINITY)], vec![]), None);
    }
}
