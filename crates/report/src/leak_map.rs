//! Who leaks into whom: the circuits on a ring, an arrow for each path, its rate beside it.

use core::f64::consts::TAU;
use core::fmt::Write as _;

use bench::mould::CircuitId;
use bench::picture::{LeakMap, LeakPath, NextLeakTest};
use calc::numeric::math::{cos, sin};
use maud::{Markup, html};

use crate::number;
use crate::svg::{Anchor, Path, Point, Svg};

/// The middle of the ring.
const CENTRE: Point = (0.0, 0.0);
/// Where an arrow to the outside ends, from the middle of its circuit, and where its rate stands.
const OUTSIDE: f64 = 52.0;
const OUTSIDE_RATE: f64 = 70.0;
const LEAST_RING: f64 = 128.0;
const NODE_HEIGHT: f64 = 22.0;
const LETTER: f64 = 7.6;
/// Longest name that is written on the ring in full.
const LONGEST_NAME: usize = 7;
/// How far the middle of an arrow is pulled aside at least.
const LEAST_BOW: f64 = 84.0;
const RATE_HEIGHT: f64 = 15.0;

/// The map and the same paths as a list.
pub(crate) fn leak_map(map: &LeakMap) -> Markup {
    if map.circuits.is_empty() {
        return html! { p.quiet { "Who leaks into whom: nothing to draw." } };
    }
    let drawing = draw(map).described("Who leaks into whom", &sentence(map));
    html! {
        div.map-and-list {
            (drawing)
            @if map.paths.is_empty() {
                p { "No leak was found." }
            } @else {
                ul.paths { @for path in &map.paths { li { (path_in_words(path)) } } }
            }
            @if let Some(next) = &map.next_test {
                p { "Next test of the map: " (next_in_words(next)) }
            }
        }
    }
}

fn sentence(map: &LeakMap) -> String {
    if map.paths.is_empty() {
        return "No leak was found.".into();
    }
    map.paths.iter().map(|path| path_in_words(path) + ".").collect::<Vec<_>>().join(" ")
}

fn path_in_words(path: &LeakPath) -> String {
    let rate = path.rate_mbar_l_s;
    let from = &path.from;
    let ends =
        path.to.as_ref().map_or_else(|| format!("{from} to the outside"), |to| format!("{from} into {to}"));
    let between = format!("{} to {}", rate_text(rate.low.max(0.0)), rate_text(rate.high));
    let mut words = format!("{ends}: {} ({between})", number::with_unit(&rate_text(rate.value), "mbar·l/s"));
    if !is_sure(path) {
        let _ = write!(words, ", {}", probability_text(path));
    }
    if let Some(bar) = path.opens_above_bar {
        let _ = write!(words, ", opens above about {} bar", number::at_place(bar, -1));
    }
    words
}

fn next_in_words(next: &NextLeakTest) -> String {
    let names = |ids: &[CircuitId]| ids.iter().map(|id| id.0.as_str()).collect::<Vec<_>>().join(", ");
    let watch =
        if next.watched.is_empty() { String::new() } else { format!(", watch {}", names(&next.watched)) };
    let minutes = number::at_place(next.duration_min, 0);
    format!("charge {}{watch} ({minutes} minutes). {}.", names(&next.charged), next.why)
}

/// From this probability on a path is drawn as a full line.
const SURE: f64 = 0.95;

fn is_sure(path: &LeakPath) -> bool {
    path.probability >= SURE
}

fn probability_text(path: &LeakPath) -> String {
    format!("{} % likely", number::at_place(path.probability * 100.0, 0))
}

/// What stands beside an arrow: the rate, and the probability of a path that is not sure.
fn label(path: &LeakPath) -> String {
    let rate = rate_text(path.rate_mbar_l_s.value);
    if is_sure(path) { rate } else { format!("{rate}, {} %", number::at_place(path.probability * 100.0, 0)) }
}

/// A rate in as many digits as such a reading deserves: its uncertainty is some per cent.
fn rate_text(rate: f64) -> String {
    let place = match rate.abs() {
        large if large >= 10.0 => 0,
        middle if middle >= 1.0 => -1,
        _ => -2,
    };
    if rate.is_finite() { number::at_place(rate, place) } else { number::plain(rate) }
}

/// A rectangle that is taken, by centre and half its size.
#[derive(Clone, Copy)]
struct Taken {
    centre: Point,
    half: (f64, f64),
}

impl Taken {
    fn corner(&self) -> Point {
        (self.centre.0 - self.half.0, self.centre.1 - self.half.1)
    }

    fn size(&self) -> (f64, f64) {
        (self.half.0 * 2.0, self.half.1 * 2.0)
    }

    /// How deep two rectangles lie in each other; 0 if they are apart.
    fn overlap(&self, other: &Self) -> f64 {
        let across = self.half.0 + other.half.0 - (self.centre.0 - other.centre.0).abs();
        let down = self.half.1 + other.half.1 - (self.centre.1 - other.centre.1).abs();
        if across > 0.0 && down > 0.0 { across.min(down) } else { 0.0 }
    }
}

fn draw(map: &LeakMap) -> Svg {
    let ring = Ring::holding(&map.circuits);
    let nodes: Vec<Taken> = map
        .circuits
        .iter()
        .enumerate()
        .map(|(index, id)| Taken {
            centre: ring.place(index),
            half: (node_width(&shown(id)) / 2.0, NODE_HEIGHT / 2.0),
        })
        .collect();
    let mut taken = nodes.clone();
    let mut rates = Vec::new();
    for (arrow, rate) in arrows(map, &nodes) {
        let place = arrow.free_place(&rate, &taken);
        taken.push(place);
        rates.push((arrow, rate, place));
    }
    let (upper_left, lower_right) = bounds(&taken, &ring);
    let mut svg = Svg::between(upper_left, lower_right, "plot map");
    svg.circle("map-ring", CENTRE, ring.radius);
    for (arrow, _, _) in &rates {
        arrow.draw(&mut svg);
    }
    for (id, node) in map.circuits.iter().zip(&nodes) {
        let leaks = map.paths.iter().any(|path| path.from == *id || path.to.as_ref() == Some(id));
        svg.rect(if leaks { "map-node map-leaks" } else { "map-node" }, node.corner(), node.size(), 11.0);
        svg.text("map-name", (node.centre.0, node.centre.1 + 4.6), Anchor::Middle, &shown(id));
    }
    for (_, rate, place) in &rates {
        svg.rect("map-plate", place.corner(), place.size(), 2.0);
        svg.text("map-rate", (place.centre.0, place.centre.1 + 4.4), Anchor::Middle, rate);
    }
    svg.text("axis-title", (upper_left.0 + 2.0, lower_right.1 - 6.0), Anchor::Start, "rates in mbar·l/s");
    svg
}

/// The paths that can be drawn, each with its rate.
fn arrows(map: &LeakMap, nodes: &[Taken]) -> Vec<(Arrow, String)> {
    let node_of =
        |id: &CircuitId| map.circuits.iter().position(|other| other == id).and_then(|index| nodes.get(index));
    let drawn = map.paths.iter().filter_map(|path| {
        let start = node_of(&path.from)?;
        let arrow = match &path.to {
            None => outwards(*start),
            Some(to) if *to == path.from => return None,
            Some(to) => between(*start, *node_of(to)?),
        };
        Some((Arrow { sure: is_sure(path), ..arrow }, label(path)))
    });
    drawn.collect()
}

/// The corners of all that is drawn, with room for the unit below.
fn bounds(taken: &[Taken], ring: &Ring) -> (Point, Point) {
    let bow = ring.radius + 6.0;
    let start = ((-bow, -bow), (bow, bow));
    let ((left, top), (right, foot)) = taken.iter().fold(start, |(low, high), place| {
        let (corner, size) = (place.corner(), place.size());
        (
            (low.0.min(corner.0), low.1.min(corner.1)),
            (high.0.max(corner.0 + size.0), high.1.max(corner.1 + size.1)),
        )
    });
    ((left - 4.0, top - 4.0), (right + 4.0, foot + 26.0))
}

/// The ring on which the circuits stand.
struct Ring {
    radius: f64,
    count: f64,
}

impl Ring {
    /// A ring on which all names find room side by side.
    fn holding(circuits: &[CircuitId]) -> Self {
        let widest = circuits.iter().map(|id| node_width(&shown(id))).fold(0.0, f64::max);
        let count = f64::from(u32::try_from(circuits.len()).unwrap_or(u32::MAX));
        Self { radius: LEAST_RING.max(count * (widest + 4.0) / TAU), count }
    }

    fn place(&self, index: usize) -> Point {
        let angle = TAU * (f64::from(u32::try_from(index).unwrap_or(0)) / self.count - 0.25);
        (CENTRE.0 + self.radius * cos(angle), CENTRE.1 + self.radius * sin(angle))
    }
}

fn node_width(name: &str) -> f64 {
    16.0 + LETTER * f64::from(u8::try_from(name.chars().count()).unwrap_or(8))
}

fn shown(id: &CircuitId) -> String {
    if id.0.chars().count() <= LONGEST_NAME {
        return id.0.clone();
    }
    id.0.chars().take(LONGEST_NAME - 1).chain(['…']).collect()
}

/// A bent arrow: from, pulled towards, to.
struct Arrow {
    from: Point,
    towards: Point,
    to: Point,
    /// Where its rate stands, if not upon it.
    rate_at: Option<Point>,
    /// Drawn full, or dashed.
    sure: bool,
}

/// From one circuit to another, bent to its own side so that the way back stays apart.
fn between(start: Taken, end: Taken) -> Arrow {
    let (across, down) = (end.centre.0 - start.centre.0, end.centre.1 - start.centre.1);
    let length = (across * across + down * down).sqrt();
    // Neighbours on a full ring stand close: there the arrow goes well around, so that its rate finds room.
    let bow = (LEAST_BOW / length.max(1.0)).max(0.14);
    let middle = ((start.centre.0 + end.centre.0) / 2.0, (start.centre.1 + end.centre.1) / 2.0);
    let towards = (middle.0 - down * bow, middle.1 + across * bow);
    Arrow { from: edge(start, towards, 2.0), towards, to: edge(end, towards, 4.0), rate_at: None, sure: true }
}

/// From a circuit away from the ring.
fn outwards(start: Taken) -> Arrow {
    let away = unit(CENTRE, start.centre);
    let reach = |length: f64| (start.centre.0 + away.0 * length, start.centre.1 + away.1 * length);
    let far = reach(OUTSIDE);
    Arrow {
        from: edge(start, far, 2.0),
        towards: reach(OUTSIDE * 0.8),
        to: far,
        rate_at: Some(reach(OUTSIDE_RATE)),
        sure: true,
    }
}

/// Where a line from the middle of a rectangle towards a point leaves it, and a gap further.
fn edge(node: Taken, towards: Point, gap: f64) -> Point {
    let way = unit(node.centre, towards);
    let to_side = if way.0.abs() > 1e-9 { node.half.0 / way.0.abs() } else { f64::INFINITY };
    let to_top = if way.1.abs() > 1e-9 { node.half.1 / way.1.abs() } else { f64::INFINITY };
    let length = to_side.min(to_top) + gap;
    (node.centre.0 + way.0 * length, node.centre.1 + way.1 * length)
}

fn unit(from: Point, to: Point) -> Point {
    let (across, down) = (to.0 - from.0, to.1 - from.1);
    let length = (across * across + down * down).sqrt();
    if length < 1e-9 { (0.0, -1.0) } else { (across / length, down / length) }
}

impl Arrow {
    fn at(&self, share: f64) -> Point {
        let (a, b, c) = ((1.0 - share) * (1.0 - share), 2.0 * share * (1.0 - share), share * share);
        (
            a * self.from.0 + b * self.towards.0 + c * self.to.0,
            a * self.from.1 + b * self.towards.1 + c * self.to.1,
        )
    }

    fn draw(&self, svg: &mut Svg) {
        let way = unit(self.towards, self.to);
        let back = (self.to.0 - way.0 * 10.0, self.to.1 - way.1 * 10.0);
        let class = if self.sure { "map-path" } else { "map-path map-likely" };
        svg.path(class, &Path::new().start(self.from).bend_to(self.towards, back));
        let side = (-way.1 * 5.0, way.0 * 5.0);
        svg.polygon(
            "map-head",
            &[self.to, (back.0 + side.0, back.1 + side.1), (back.0 - side.0, back.1 - side.1)],
        );
    }

    /// A place along the arrow where its rate covers least of what is there already.
    fn free_place(&self, rate: &str, taken: &[Taken]) -> Taken {
        let half = (
            3.0 + LETTER / 2.0 * f64::from(u8::try_from(rate.chars().count()).unwrap_or(8)),
            RATE_HEIGHT / 2.0,
        );
        if let Some(centre) = self.rate_at {
            return Taken { centre, half };
        }
        let mut best: Option<(f64, Taken)> = None;
        for share in [0.5, 0.45, 0.55, 0.4, 0.6, 0.35, 0.65, 0.3, 0.7, 0.25, 0.75, 0.2, 0.8] {
            let place = Taken { centre: self.at(share), half };
            let covered = taken.iter().map(|other| place.overlap(other)).fold(0.0, f64::max);
            if best.is_none_or(|(so_far, _)| covered < so_far) {
                best = Some((covered, place));
            }
        }
        best.map_or(Taken { centre: self.at(0.5), half }, |(_, place)| place)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::estimate::Estimate;

    fn id(name: &str) -> CircuitId {
        CircuitId(name.into())
    }

    fn path(from: &str, to: Option<&str>, rate: f64, probability: f64) -> LeakPath {
        let rate_mbar_l_s = Estimate { value: rate, low: 0.9 * rate, high: 1.1 * rate, coverage: 0.95 };
        LeakPath { from: id(from), to: to.map(id), rate_mbar_l_s, probability, opens_above_bar: None }
    }

    #[test]
    fn a_path_that_is_not_sure_is_dashed_and_says_how_likely_it_is() {
        let circuits = vec![id("A"), id("B")];
        let map = LeakMap { circuits, paths: vec![path("A", Some("B"), 1.0, 0.4)], next_test: None };
        let page = leak_map(&map).into_string();
        assert!(page.contains("map-likely") && page.contains("40 % likely"), "{page}");
    }

    fn plate_boxes(page: &str) -> Vec<Taken> {
        let read = roxmltree::Document::parse(page).expect("well-formed");
        let number =
            |node: &roxmltree::Node<'_, '_>, name| node.attribute(name).and_then(|t| t.parse::<f64>().ok());
        read.descendants()
            .filter(|node| {
                node.attribute("class")
                    .is_some_and(|class| class.starts_with("map-node") || class == "map-plate")
            })
            .map(|node| {
                let (x, y) = (number(&node, "x").expect("x"), number(&node, "y").expect("y"));
                let (w, h) =
                    (number(&node, "width").expect("width"), number(&node, "height").expect("height"));
                Taken { centre: (x + w / 2.0, y + h / 2.0), half: (w / 2.0, h / 2.0) }
            })
            .collect()
    }

    #[test]
    fn names_and_rates_do_not_cover_each_other() {
        let circuits: Vec<_> = (1..=24).map(|n| id(&format!("C{n}"))).collect();
        let paths = vec![
            path("C2", Some("C3"), 4.1, 1.0),
            path("C3", Some("C2"), 4.0, 1.0),
            path("C9", None, 12.0, 0.97),
            path("C20", Some("C5"), 0.31, 0.4),
        ];
        let drawing = draw(&LeakMap { circuits, paths, next_test: None }).described("t", "d").into_string();
        let boxes = plate_boxes(&drawing);
        let read = roxmltree::Document::parse(&drawing).expect("well-formed");
        let view_box = read.root_element().attribute("viewBox").expect("a view box");
        let window: Vec<f64> = view_box.split(' ').map(|text| text.parse().expect("a number")).collect();
        assert_eq!(boxes.len(), 28);
        for (index, one) in boxes.iter().enumerate() {
            for other in &boxes[index + 1..] {
                assert!(one.overlap(other) < 1.0, "{:?} on {:?}", one.centre, other.centre);
            }
            let corner = one.corner();
            assert!(corner.0 >= window[0] && corner.0 + one.size().0 <= window[0] + window[2], "{corner:?}");
            assert!(corner.1 >= window[1] && corner.1 + one.size().1 <= window[1] + window[3], "{corner:?}");
        }
    }

    #[test]
    fn paths_to_unknown_circuits_are_listed_although_not_drawn() {
        let map =
            LeakMap { circuits: vec![id("A")], paths: vec![path("A", Some("Z"), 1.0, 1.0)], next_test: None };
        let page = leak_map(&map).into_string();
        assert!(page.contains("A into Z") && !page.contains("map-path"));
        assert!(leak_map(&LeakMap::default()).into_string().contains("nothing to draw"));
    }
}
