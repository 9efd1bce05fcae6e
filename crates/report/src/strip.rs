//! Small drawings beside a number: the flow factor on a strip, and a probability as a bar.

use calc::estimate::Estimate;
use maud::Markup;

use crate::number;
use crate::svg::Svg;

const WIDTH: f64 = 150.0;
const HEIGHT: f64 = 22.0;
const LEFT: f64 = 5.0;
const RIGHT: f64 = 145.0;
const MIDDLE: f64 = 11.0;
/// End of the strip; a larger value is an arrow at the edge.
const FULL_PERCENT: f64 = 125.0;

/// Flow factor in per cent of what it should be: a dot with its interval, and a tall mark at 100 %.
pub(crate) fn flow_strip(percent: &Estimate) -> Markup {
    let mut svg = Svg::new(WIDTH, HEIGHT, "strip");
    svg.line("strip-axis", (LEFT, MIDDLE), (RIGHT, MIDDLE));
    for quarter in [0.0, 25.0, 50.0, 75.0] {
        svg.line("strip-axis", (place(quarter), MIDDLE - 3.0), (place(quarter), MIDDLE + 3.0));
    }
    svg.line("strip-baseline", (place(100.0), 1.0), (place(100.0), HEIGHT - 1.0));
    if percent.low.is_finite() && percent.high.is_finite() && percent.low <= percent.high {
        let (from, to) = (place(percent.low), place(percent.high));
        svg.rect("strip-interval", (from, MIDDLE - 4.0), ((to - from).max(0.5), 8.0), 1.0);
    }
    if percent.value > FULL_PERCENT {
        svg.polygon(
            "strip-value",
            &[(RIGHT + 4.0, MIDDLE), (RIGHT - 5.0, MIDDLE - 5.0), (RIGHT - 5.0, MIDDLE + 5.0)],
        );
    } else if percent.value.is_finite() {
        svg.circle("strip-value", (place(percent.value), MIDDLE), 3.6);
    }
    svg.described(
        &format!("Flow factor {} of what it should be", number::percent(percent)),
        "A dot with its interval; the tall line is 100 per cent.",
    )
}

fn place(percent: f64) -> f64 {
    LEFT + (RIGHT - LEFT) * percent.clamp(0.0, FULL_PERCENT) / FULL_PERCENT
}

/// A probability as a bar, beside its number.
pub(crate) fn probability_bar(probability: f64) -> Markup {
    let share = if probability.is_finite() { probability.clamp(0.0, 1.0) } else { 0.0 };
    let mut svg = Svg::new(100.0, 10.0, "bar");
    svg.rect("bar-all", (0.5, 0.5), (99.0, 9.0), 1.0);
    svg.rect("bar-share", (0.5, 0.5), (99.0 * share, 9.0), 1.0);
    svg.beside_word()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dot_stands_at_its_percentage() {
        let drawing =
            flow_strip(&Estimate { value: 50.0, low: 40.0, high: 60.0, coverage: 0.95 }).into_string();
        assert!(drawing.contains("class=\"strip-value\" cx=\"61\""), "{drawing}");
        assert!(drawing.contains("class=\"strip-interval\" x=\"49.8\""), "{drawing}");
    }

    #[test]
    fn beyond_the_strip_it_is_an_arrow() {
        let drawing =
            flow_strip(&Estimate { value: 180.0, low: 170.0, high: 190.0, coverage: 0.95 }).into_string();
        assert!(drawing.contains("polygon class=\"strip-value\""));
        let nothing =
            flow_strip(&Estimate { value: f64::NAN, low: f64::NAN, high: f64::NAN, coverage: 0.95 });
        assert!(!nothing.into_string().contains("strip-value"));
    }
}
