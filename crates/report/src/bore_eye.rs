//! The bore eye: a cut through the steel, with what lines the bore.
//!
//! Where the thickness of the layer and the bore are known, the ring is drawn to scale: full up to the lower
//! end of the thickness, lighter up to the upper end, with a dashed line at the best value.

use bench::finding::{BoreState, CircuitFinding, Passage};
use maud::Markup;

use crate::number;
use crate::svg::{Anchor, Path, Point, Svg};
use crate::words;

const SIZE: f64 = 48.0;
const CENTRE: Point = (24.0, 24.0);
const BORE: f64 = 19.0;
/// Share of the radius that stands for a layer whose thickness is not known.
const UNMEASURED_LAYER: f64 = 0.22;

/// What is drawn, apart from any circuit: also the pictures of the legend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Eye {
    /// Nothing on the wall.
    Clean,
    /// A ring, in shares of the radius: low, best, high.
    Ring([f64; 3]),
    /// A ring of unmeasured thickness.
    SomeRing,
    /// A narrow place.
    Plug,
    /// A narrow place and a ring of this thickness, if measured.
    RingAndPlug(Option<[f64; 3]>),
    /// A rough wall.
    Rough,
    /// No passage.
    Blocked,
    /// Not known.
    Unknown,
}

/// What the finding looks like.
fn eye_of(circuit: &CircuitFinding) -> Eye {
    if circuit.passage == Passage::Blocked {
        return Eye::Blocked;
    }
    let ring = ring_to_scale(circuit);
    match words::likeliest(circuit).map(|(state, _)| state) {
        Some(BoreState::AsNew) => Eye::Clean,
        Some(BoreState::EvenDeposit) => ring.map_or(Eye::SomeRing, Eye::Ring),
        Some(BoreState::LocalPlug) => Eye::Plug,
        Some(BoreState::Mixed) => Eye::RingAndPlug(ring),
        Some(BoreState::Rough) => Eye::Rough,
        Some(BoreState::Unknown) | None => Eye::Unknown,
    }
}

/// The bore eye of a circuit.
pub(crate) fn bore_eye(circuit: &CircuitFinding, class: &'static str) -> Markup {
    let eye = eye_of(circuit);
    let unsure = !matches!(eye, Eye::Blocked | Eye::Unknown)
        && words::likeliest(circuit).is_some_and(|(_, probability)| probability < words::RATHER_SURE);
    let title = format!("Bore of {}: {}", circuit.id, in_words(eye, circuit));
    draw(eye, unsure, class).described(&title, scale_note(eye))
}

/// An example for the legend.
pub(crate) fn example(eye: Eye, unsure: bool) -> Markup {
    draw(eye, unsure, "eye").beside_word()
}

/// How the ring was drawn.
pub(crate) fn scale_note(eye: Eye) -> &'static str {
    match eye {
        Eye::Ring(_) => "Layer drawn to scale; the lighter part is its uncertainty.",
        Eye::RingAndPlug(Some(_)) => "Layer drawn to scale, the narrow place not.",
        Eye::SomeRing | Eye::RingAndPlug(None) => "Thickness not known: not to scale.",
        Eye::Plug | Eye::Rough => "Not to scale.",
        Eye::Clean | Eye::Blocked | Eye::Unknown => "A cut through the bore.",
    }
}

/// How the drawing of this circuit is to be read: what it shows, and whether to scale.
pub(crate) fn caption(circuit: &CircuitFinding) -> String {
    let eye = eye_of(circuit);
    let bore = circuit.bore_mm.filter(|bore| bore.is_finite() && *bore > 0.0);
    let bore = bore.map_or_else(
        || "Bore not known. ".into(),
        |mm| format!("Bore {}. ", number::with_unit(&number::plain(mm), "mm")),
    );
    match eye {
        Eye::Clean | Eye::Blocked | Eye::Unknown => bore,
        _ => bore + scale_note(eye),
    }
}

fn in_words(eye: Eye, circuit: &CircuitFinding) -> String {
    if eye == Eye::Blocked {
        return "blocked".into();
    }
    let state = words::state_in_short(circuit);
    match (&circuit.deposit_thickness_mm, eye) {
        (Some(mm), Eye::Ring(_) | Eye::RingAndPlug(Some(_))) => {
            format!("{state}, layer {}", number::estimate_with_unit(mm, "mm"))
        }
        _ => state,
    }
}

fn ring_to_scale(circuit: &CircuitFinding) -> Option<[f64; 3]> {
    let radius_mm = circuit.bore_mm.filter(|bore| bore.is_finite() && *bore > 0.0)? / 2.0;
    let layer = circuit.deposit_thickness_mm?;
    let shares = [layer.low, layer.value, layer.high].map(|mm| (mm / radius_mm).clamp(0.0, 1.0));
    shares.iter().all(|share| share.is_finite()).then_some(shares)
}

fn draw(eye: Eye, unsure: bool, class: &'static str) -> Svg {
    let mut svg = Svg::new(SIZE, SIZE, class);
    svg.rect("eye-steel", (1.0, 1.0), (SIZE - 2.0, SIZE - 2.0), 4.0);
    svg.circle("eye-bore", CENTRE, BORE);
    match eye {
        Eye::Clean => {}
        Eye::Ring(shares) => ring(&mut svg, shares),
        Eye::SomeRing => some_ring(&mut svg),
        Eye::Plug => plug(&mut svg),
        Eye::RingAndPlug(shares) => {
            match shares {
                Some(shares) => ring(&mut svg, shares),
                None => some_ring(&mut svg),
            }
            plug(&mut svg);
        }
        Eye::Rough => svg.path("eye-rough", &jagged_round()),
        Eye::Blocked => {
            svg.circle("eye-deposit", CENTRE, BORE);
            let arm = BORE * 0.62;
            svg.line("eye-cross", (24.0 - arm, 24.0 - arm), (24.0 + arm, 24.0 + arm));
            svg.line("eye-cross", (24.0 + arm, 24.0 - arm), (24.0 - arm, 24.0 + arm));
        }
        Eye::Unknown => svg.text("eye-ask", (24.0, 31.0), Anchor::Middle, "?"),
    }
    if unsure {
        svg.text("eye-ask", (24.0, 31.0), Anchor::Middle, "?");
    }
    // The wall's line lies in the steel, so that it hides nothing of a thin layer.
    svg.circle(if eye == Eye::Unknown { "eye-wall eye-guess" } else { "eye-wall" }, CENTRE, BORE + 0.8);
    svg
}

fn ring(svg: &mut Svg, [low, best, high]: [f64; 3]) {
    annulus(svg, "eye-deposit", 0.0, low);
    annulus(svg, "eye-unsure", low, high);
    if best < 1.0 {
        svg.circle("eye-best", CENTRE, BORE * (1.0 - best));
    }
}

fn some_ring(svg: &mut Svg) {
    annulus(svg, "eye-unsure", 0.0, UNMEASURED_LAYER);
    svg.circle("eye-best", CENTRE, BORE * (1.0 - UNMEASURED_LAYER));
}

/// A ring between two depths from the wall, in shares of the radius.
fn annulus(svg: &mut Svg, class: &str, from: f64, to: f64) {
    if to <= from {
        return;
    }
    let path = Path::new().round(CENTRE, BORE * (1.0 - from));
    let path = if to < 1.0 { path.round(CENTRE, BORE * (1.0 - to)) } else { path };
    svg.path(class, &path);
}

/// A lump that fills the lower part of the bore.
fn plug(svg: &mut Svg) {
    // 0.6 and 0.8 of the radius: a chord of the 3-4-5 triangle, so that the ends lie on the wall.
    let (across, down) = (BORE * 0.8, BORE * 0.6);
    let lump = Path::new()
        .start((24.0 + across, 24.0 + down))
        .arc_to(BORE, false, (24.0 - across, 24.0 + down))
        .bend_to((24.0 - across * 0.5, 24.0 - BORE * 0.35), (24.0, 24.0 + BORE * 0.05))
        .bend_to((24.0 + across * 0.55, 24.0 - BORE * 0.1), (24.0 + across, 24.0 + down))
        .close();
    svg.path("eye-deposit", &lump);
}

/// A wall with teeth.
fn jagged_round() -> Path {
    const TEETH: u32 = 28;
    let at = |step: u32| {
        let angle = core::f64::consts::TAU * f64::from(step) / f64::from(2 * TEETH);
        let radius = if step.is_multiple_of(2) { BORE } else { BORE * 0.88 };
        let (sin, cos) = (calc::numeric::math::sin(angle), calc::numeric::math::cos(angle));
        (CENTRE.0 + radius * cos, CENTRE.1 + radius * sin)
    };
    (1..2 * TEETH).fold(Path::new().start(at(0)), |path, step| path.line_to(at(step))).close()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn markup(eye: Eye) -> String {
        draw(eye, false, "eye").described("t", "d").into_string()
    }

    #[test]
    fn a_ring_is_drawn_to_scale() {
        // 1 mm on a bore of 10 mm is a fifth of the radius: the dashed line lies at four fifths of it.
        let drawing = markup(Eye::Ring([0.1, 0.2, 0.3]));
        let best = format!("class=\"eye-best\" cx=\"24\" cy=\"24\" r=\"{}\"", crate::svg::num(BORE * 0.8));
        assert!(drawing.contains(&best), "{drawing}");
    }

    #[test]
    fn a_layer_that_fills_the_bore_leaves_no_hole() {
        let drawing = markup(Eye::Ring([0.5, 1.0, 1.0]));
        assert!(!drawing.contains("eye-best"));
        assert!(drawing.contains("eye-unsure"));
    }

    #[test]
    fn every_eye_has_its_own_picture() {
        let eyes = [
            Eye::Clean,
            Eye::Ring([0.1, 0.2, 0.3]),
            Eye::SomeRing,
            Eye::Plug,
            Eye::RingAndPlug(None),
            Eye::RingAndPlug(Some([0.1, 0.2, 0.3])),
            Eye::Rough,
            Eye::Blocked,
            Eye::Unknown,
        ];
        let pictures: std::collections::BTreeSet<_> = eyes.into_iter().map(markup).collect();
        assert_eq!(pictures.len(), eyes.len());
    }
}
