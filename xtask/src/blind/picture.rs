//! Calibration curves: stated against true share, with 95 % of what chance does.

use std::fmt::Write as _;

use super::Trials;
use super::groups::ALL;
use super::page_parts::word;
use super::score::{BINS, STATES, Score};
use calc::infer::scoring::{Forecast, reliability_table};

const SIDE: f64 = 300.0;
const SMALL: f64 = 170.0;
const LEFT: f64 = 60.0;
const TOP: f64 = 30.0;
const INK: &str = "#22303a";
const PAPER: &str = "#fbf9f4";
const MARKS: [&str; 2] = ["#8a4b2a", "#2a6f8a"];
/// Bins with fewer circuits say nothing and are left out.
const LEAST: usize = 20;

/// One square for each set of laws: the most probable state.
pub fn calibration(trials: &Trials) -> String {
    let mut svg = document(
        760.0,
        390.0,
        "Stated probability of the most probable state against the share in which it was true",
    );
    let mut left = LEFT;
    for (place, (name, tally)) in trials.both().enumerate() {
        if let Some(score) = tally.scores.get(ALL) {
            square(&mut svg, (left, TOP), SIDE, &format!("{name}: {:.0} circuits", score.count()));
            marks(&mut svg, (left, TOP), SIDE, &score.top, MARKS[place % 2]);
            below(&mut svg, left + SIDE / 2.0, TOP + SIDE + 38.0);
            left += 370.0;
        }
    }
    svg.push_str("</svg>\n");
    svg
}

/// One square for each state, both sets of laws in it.
pub fn by_state(trials: &Trials) -> String {
    let mut svg =
        document(780.0, 545.0, "Stated probability of each state against the share in which it was true");
    let scores: Vec<(&str, &Score)> =
        trials.both().filter_map(|(name, tally)| Some((name, tally.scores.get(ALL)?))).collect();
    for (place, state) in STATES.iter().enumerate() {
        let corner = (LEFT + 245.0 * column(place), TOP + 245.0 * row(place));
        square(&mut svg, corner, SMALL, word(*state));
        for (which, (_, score)) in scores.iter().enumerate() {
            if let Some(bins) = score.by_state.get(place) {
                marks(&mut svg, corner, SMALL, bins, MARKS[which % 2]);
            }
        }
    }
    let mut at = LEFT;
    for (which, (name, _)) in scores.iter().enumerate() {
        let _ = write!(
            svg,
            "<circle cx=\"{at}\" cy=\"526\" r=\"4\" fill=\"{}\"/><text x=\"{}\" y=\"531\" fill=\"{INK}\">{name}</text>",
            MARKS[which % 2],
            at + 10.0
        );
        at += 140.0;
    }
    below(&mut svg, 540.0, 531.0);
    svg.push_str("</svg>\n");
    svg
}

fn column(place: usize) -> f64 {
    [0.0, 1.0, 2.0][place % 3]
}

fn row(place: usize) -> f64 {
    if place < 3 { 0.0 } else { 1.0 }
}

fn document(width: f64, height: f64, title: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" font-family=\"sans-serif\" font-size=\"13\"><title>{title}</title><rect width=\"{width}\" height=\"{height}\" fill=\"{PAPER}\"/>"
    )
}

fn below(svg: &mut String, x: f64, y: f64) {
    let _ = write!(
        svg,
        "<text x=\"{x}\" y=\"{y}\" text-anchor=\"middle\" fill=\"{INK}\">to the right: stated; upwards: how often it was true</text>"
    );
}

fn square(svg: &mut String, (left, top): (f64, f64), side: f64, name: &str) {
    let _ = write!(
        svg,
        "<rect x=\"{left}\" y=\"{top}\" width=\"{side}\" height=\"{side}\" fill=\"none\" stroke=\"{INK}\"/><line x1=\"{left}\" y1=\"{0}\" x2=\"{1}\" y2=\"{top}\" stroke=\"{INK}\" stroke-dasharray=\"4 4\"/><text x=\"{2}\" y=\"{3}\" text-anchor=\"middle\" fill=\"{INK}\">{name}</text>",
        top + side,
        left + side,
        left + side / 2.0,
        top - 10.0
    );
    for step in [0.0, 0.5, 1.0] {
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\" fill=\"{INK}\">{:.0} %</text><text x=\"{}\" y=\"{}\" text-anchor=\"end\" fill=\"{INK}\">{:.0} %</text>",
            left + side * step,
            top + side + 18.0,
            100.0 * step,
            left - 6.0,
            top + side * (1.0 - step) + 4.0,
            100.0 * step
        );
    }
}

fn marks(svg: &mut String, (left, top): (f64, f64), side: f64, stated: &[Forecast], colour: &str) {
    let x = |share: f64| left + side * share;
    let y = |share: f64| top + side * (1.0 - share);
    for bin in reliability_table(stated, BINS).unwrap_or_default().iter().filter(|bin| bin.count >= LEAST) {
        let Some(share) = bin.share else { continue };
        let _ = write!(
            svg,
            "<line x1=\"{0:.1}\" y1=\"{1:.1}\" x2=\"{0:.1}\" y2=\"{2:.1}\" stroke=\"{colour}\" stroke-width=\"1.5\"/><circle cx=\"{0:.1}\" cy=\"{3:.1}\" r=\"3\" fill=\"{colour}\"/>",
            x(bin.mean_probability),
            y(share.low),
            y(share.high),
            y(share.value)
        );
    }
}
