//! Calibration curves: stated against true share, with 95 % of what chance does.

use std::fmt::Write as _;

use super::Trials;
use super::score::Score;

const SIDE: f64 = 300.0;
const LEFT: f64 = 60.0;
const TOP: f64 = 30.0;
const INK: &str = "#22303a";

/// One square for each set of laws.
pub fn calibration(trials: &Trials) -> String {
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 760 390\" font-family=\"sans-serif\" font-size=\"13\"><title>Stated probability of the most probable state against the share in which it was true</title><rect width=\"760\" height=\"390\" fill=\"#fbf9f4\"/>",
    );
    for (place, (name, tally)) in
        [("matching laws", &trials.matching), ("other laws", &trials.other)].iter().enumerate()
    {
        if let Some(score) = tally.scores.get("all") {
            #[expect(clippy::cast_precision_loss, reason = "zero or one")]
            square(&mut svg, LEFT + 370.0 * place as f64, name, score);
        }
    }
    svg.push_str("</svg>\n");
    svg
}

fn square(svg: &mut String, left: f64, name: &str, score: &Score) {
    let x = |share: f64| left + SIDE * share;
    let y = |share: f64| TOP + SIDE * (1.0 - share);
    let _ = write!(
        svg,
        "<rect x=\"{left}\" y=\"{TOP}\" width=\"{SIDE}\" height=\"{SIDE}\" fill=\"none\" stroke=\"{INK}\"/><line x1=\"{left}\" y1=\"{}\" x2=\"{}\" y2=\"{TOP}\" stroke=\"{INK}\" stroke-dasharray=\"4 4\"/>",
        TOP + SIDE,
        left + SIDE
    );
    for step in [0.0, 0.5, 1.0] {
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\" fill=\"{INK}\">{:.0} %</text><text x=\"{}\" y=\"{}\" text-anchor=\"end\" fill=\"{INK}\">{:.0} %</text>",
            x(step),
            TOP + SIDE + 18.0,
            100.0 * step,
            left - 6.0,
            y(step) + 4.0,
            100.0 * step
        );
    }
    for bin in score.top.iter().filter(|bin| bin.count >= 20.0) {
        let (stated, right) = (bin.stated / bin.count, bin.right / bin.count);
        let reach = 1.96 * (right * (1.0 - right) / bin.count).max(0.25 / (bin.count * bin.count)).sqrt();
        let (low, high) = ((right - reach).max(0.0), (right + reach).min(1.0));
        let _ = write!(
            svg,
            "<line x1=\"{0:.1}\" y1=\"{1:.1}\" x2=\"{0:.1}\" y2=\"{2:.1}\" stroke=\"#8a4b2a\" stroke-width=\"2\"/><circle cx=\"{0:.1}\" cy=\"{3:.1}\" r=\"4\" fill=\"#8a4b2a\"/>",
            x(stated),
            y(low),
            y(high),
            y(right)
        );
    }
    let _ = write!(
        svg,
        "<text x=\"{}\" y=\"20\" text-anchor=\"middle\" fill=\"{INK}\">{name}: {:.0} circuits</text><text x=\"{}\" y=\"{}\" text-anchor=\"middle\" fill=\"{INK}\">stated; upwards: how often it was true</text>",
        left + SIDE / 2.0,
        score.count(),
        left + SIDE / 2.0,
        TOP + SIDE + 38.0
    );
}
