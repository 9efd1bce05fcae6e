//! The fit as curves, for a drawing.

use super::basis::{Setting, Shape};
use super::drift::Drift;
use super::fit::Outcome;
use super::laws::ByLaw;
use super::series::Series;

/// Most points of a curve.
const MOST_POINTS: usize = 240;

/// Time in s and gauge pressure in bar.
pub type Curve = Vec<(f64, f64)>;

/// The fit as curves.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FitCurves {
    /// Measured, thinned.
    pub measured: Curve,
    /// Fitted sum of leak, settling and drift, where it was fitted.
    pub fitted: Curve,
    /// What the leak alone would do.
    pub leak_only: Curve,
    /// What a leak of the limit alone would do.
    pub at_limit: Curve,
}

pub(super) fn curves(setting: &Setting, drift: &Drift, series: &Series, outcome: &Outcome) -> FitCurves {
    let stride = series.len().div_ceil(MOST_POINTS).max(1);
    let mut measured = Curve::new();
    let mut fitted = Curve::new();
    let mut leaked = Integral::default();
    for (at, (time, pressure)) in series.samples().enumerate() {
        let behind = leaked.add(time, setting.relative_leak(pressure));
        if at % stride != 0 && at + 1 != series.len() {
            continue;
        }
        measured.push((time, series.gauge_bar(pressure)));
        if outcome.window_s.0 <= time && time <= outcome.window_s.1 {
            let model: f64 = outcome
                .terms
                .iter()
                .zip(&outcome.sizes)
                .map(|(term, size)| {
                    size * match term.shape {
                        leak @ (Shape::Leak | Shape::Law | Shape::Seat | Shape::Opening) => -behind.of(leak),
                        shape => setting.value(shape, time),
                    }
                })
                .sum();
            let absolute = series.start_mbar() + model + drift.known_mbar(setting, time, pressure);
            fitted.push((time, series.gauge_bar(absolute)));
        }
    }
    let limit_slope = setting.limit_mbar_l_s / setting.rate_per_slope();
    FitCurves {
        measured,
        fitted,
        leak_only: leak_alone(setting, series, outcome.slope.max(0.0)),
        at_limit: leak_alone(setting, series, limit_slope),
    }
}

/// Pressure under a leak alone that begins with this slope: mean of crack and hole, midpoint rule.
fn leak_alone(setting: &Setting, series: &Series, slope_mbar_s: f64) -> Curve {
    const STEPS: u8 = 120;
    let width = setting.duration_s / f64::from(STEPS);
    let rate = |pressure: f64| slope_mbar_s * setting.relative_leak(pressure).usual();
    let mut pressure = setting.start_mbar;
    let mut curve = vec![(0.0, series.gauge_bar(pressure))];
    for step in 1..=STEPS {
        let middle = (pressure - rate(pressure) * width / 2.0).max(setting.atmosphere_mbar);
        pressure = (pressure - rate(middle) * width).max(setting.atmosphere_mbar);
        curve.push((width * f64::from(step), series.gauge_bar(pressure)));
    }
    curve
}

/// Running integral of each leak law by the trapezoidal rule.
#[derive(Default)]
struct Integral {
    before: Option<(f64, ByLaw)>,
    sum: ByLaw,
}

impl Integral {
    fn add(&mut self, time: f64, now: ByLaw) -> ByLaw {
        if let Some((earlier, rate)) = self.before {
            let half = (time - earlier) / 2.0;
            self.sum = self.sum.plus(half, rate).plus(half, now);
        }
        self.before = Some((time, now));
        self.sum
    }
}
