//! Axes: a range that holds the data and ends on ticks of 1, 2 or 5 times a power of ten.

use crate::number;

/// What an axis shows.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Axis {
    /// Quantity and unit.
    pub(crate) label: &'static str,
    /// Whether zero is always shown.
    pub(crate) from_zero: bool,
}

/// Ticks are aimed at this many steps.
const STEPS: f64 = 5.0;

/// Share of the axis by which noise may dip below zero without opening a step there.
const HARDLY_BELOW: f64 = 0.03;

/// An axis's range, in whole steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Scale {
    first: f64,
    last: f64,
    step: f64,
    /// Power of ten of the step.
    place: i32,
}

impl Scale {
    /// The narrowest range of whole steps that holds all values.
    pub(crate) fn holding(axis: &Axis, values: impl Iterator<Item = f64>) -> Self {
        let start = if axis.from_zero { (0.0, 0.0) } else { (f64::INFINITY, f64::NEG_INFINITY) };
        let (mut low, mut high) = values.fold(start, |(low, high), value| (low.min(value), high.max(value)));
        if axis.from_zero && low < 0.0 && -low <= HARDLY_BELOW * high {
            low = 0.0;
        }
        if high - low <= 1e-9 * high.abs().max(low.abs()) {
            let margin = if high == 0.0 { 1.0 } else { high.abs() * 0.01 };
            (low, high) = (low - if axis.from_zero { 0.0 } else { margin }, high + margin);
        }
        let (step, place) = round_step((high - low) / STEPS);
        // A hair's breadth, so that a value on a tick does not open a further step.
        let hair = 1e-6;
        Self { first: (low / step + hair).floor(), last: (high / step - hair).ceil(), step, place }
    }

    /// Where a value lies on the axis: 0 at its beginning, 1 at its end.
    pub(crate) fn share(&self, value: f64) -> f64 {
        (value / self.step - self.first) / (self.last - self.first)
    }

    /// Both ends.
    pub(crate) fn ends(&self) -> (f64, f64) {
        (self.first * self.step, self.last * self.step)
    }

    /// Each tick with its label.
    pub(crate) fn ticks(&self) -> Vec<(f64, String)> {
        // Twice the aim is never reached by finite data; it only bounds the loop.
        (0..=20)
            .map(|count| self.first + f64::from(count))
            .take_while(|index| *index <= self.last)
            .map(|index| (index * self.step, number::at_place(index * self.step, self.place)))
            .collect()
    }
}

/// The next 1, 2 or 5 times a power of ten, and that power.
fn round_step(raw: f64) -> (f64, i32) {
    let text = format!("{raw:e}");
    let place: i32 = text.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0);
    let unit = 10f64.powi(place);
    match raw / unit {
        lead if lead <= 1.0 => (unit, place),
        lead if lead <= 2.0 => (2.0 * unit, place),
        lead if lead <= 5.0 => (5.0 * unit, place),
        _ => (10.0 * unit, place + 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(from_zero: bool, values: &[f64]) -> Vec<String> {
        let scale = Scale::holding(&Axis { label: "", from_zero }, values.iter().copied());
        scale.ticks().into_iter().map(|(_, label)| label).collect()
    }

    #[test]
    fn ticks_are_round_and_hold_the_data() {
        assert_eq!(labels(true, &[0.9, 5.83]), ["0", "2", "4", "6"]);
        assert_eq!(labels(true, &[7.0, 30.0]), ["0", "10", "20", "30"]);
        assert_eq!(labels(false, &[5.871, 5.902]), ["5.87", "5.88", "5.89", "5.90", "5.91"]);
        assert_eq!(labels(true, &[-0.1, 5.9]), ["0", "2", "4", "6"]);
        assert_eq!(labels(true, &[-0.3, 5.9]), ["\u{2212}2", "0", "2", "4", "6"]);
        assert_eq!(labels(false, &[-1.0, 1.0]), ["\u{2212}1.0", "\u{2212}0.5", "0.0", "0.5", "1.0"]);
    }

    #[test]
    fn one_value_still_gives_a_range() {
        for values in [[0.0], [6.0], [-2.5], [1e-4]] {
            let scale = Scale::holding(&Axis { label: "", from_zero: false }, values.into_iter());
            assert!((0.0..=1.0).contains(&scale.share(values[0])), "{scale:?}");
            assert!(scale.ticks().len() >= 3, "{scale:?}");
        }
    }

    #[test]
    fn shares_run_from_end_to_end() {
        let scale = Scale::holding(&Axis { label: "", from_zero: true }, [3.0, 20.0].into_iter());
        assert!((scale.share(0.0)).abs() < 1e-12 && (scale.share(20.0) - 1.0).abs() < 1e-12);
    }
}
