//! Air that arrives in a closed, vented circuit while a neighbour is charged.
//!
//! A watched circuit starts at the pressure of the surrounding air, so it has no filling heat to lose and a seventh
//! of the temperature sensitivity of a charged one: a slow rise is clear evidence.

use crate::estimate::{Estimate, Uncertain, root_sum_square};
use crate::quantity::{Duration, GaugePressure, Volume};

/// What may look like a rise without a leak, mbar/s: a gauge that drifts by 0.3 mbar a minute, steel or air that
/// warms by 0.2 K a minute at 1 bar absolute (3.4 mbar/K) and the air's creep after venting (simulated in preparation; the creep is our own allowance).
const DRIFT_MBAR_S: f64 = 0.015;
/// Only the first part of a large rise is a straight line: the neighbours equalise.
const STRAIGHT_BAR: f64 = 0.5;

/// The watched pressure.
#[derive(Clone, Copy, Debug)]
pub enum Watched<'a> {
    /// Logged: seconds and bar (gauge), of equal length.
    Logged(&'a [f64], &'a [f64]),
    /// Read twice.
    Twice {
        /// At the start.
        start: GaugePressure,
        /// At the end.
        end: GaugePressure,
        /// Time between.
        time: Duration,
    },
}

/// What arrives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Leak rate into the watched circuit, mbar·l/s (95 %).
    pub rate_mbar_l_s: Estimate,
    /// Standard uncertainty of the slope alone, mbar/s.
    pub slope_standard_mbar_s: f64,
    /// The slope, mbar/s.
    pub slope_mbar_s: f64,
    /// Smallest rate that this watch could have shown (3.3 standard uncertainties), mbar·l/s.
    pub detection_limit_mbar_l_s: f64,
}

impl Rise {
    /// Whether air arrives beyond reasonable doubt.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.slope_mbar_s > 3.3 * self.slope_standard_mbar_s
    }
}

/// The rate at which air arrives in a closed circuit: V dp/dt (source key `en-13184`, pressure change method).
///
/// `gauge` is the gauge's standard uncertainty and step in bar. Nothing if there are fewer than three samples or no
/// time between them.
#[must_use]
pub fn rise(volume: Volume, volume_relative: f64, watched: Watched<'_>, gauge: (f64, f64)) -> Option<Rise> {
    let slope = match watched {
        Watched::Logged(times, pressures) => logged_slope(times, pressures, gauge.1)?,
        Watched::Twice { start, end, time } => twice_slope(start, end, time, gauge)?,
    };
    let standard = root_sum_square(&[slope.standard, DRIFT_MBAR_S]);
    let litres = volume.l();
    let rate = litres * slope.value;
    let spread = root_sum_square(&[litres * standard, rate * volume_relative]);
    Some(Rise {
        rate_mbar_l_s: Estimate::normal(rate, spread),
        slope_standard_mbar_s: standard,
        slope_mbar_s: slope.value,
        detection_limit_mbar_l_s: 3.3 * litres * standard,
    })
}

/// Slope of the straight line through the first part, mbar/s.
fn logged_slope(times: &[f64], pressures: &[f64], step_bar: f64) -> Option<Uncertain> {
    let first = pressures.first()?;
    let straight: Vec<(f64, f64)> = times
        .iter()
        .zip(pressures)
        .take_while(|(_, pressure)| (*pressure - first).abs() <= STRAIGHT_BAR)
        .map(|(time, pressure)| (*time, pressure * 1000.0))
        .collect();
    // A rise so fast that it leaves the straight part at once: take what there is.
    let points = if straight.len() >= 3 {
        straight
    } else {
        times.iter().zip(pressures).take(3).map(|(t, p)| (*t, p * 1000.0)).collect()
    };
    let count = f64::from(u32::try_from(points.len()).ok()?);
    if count < 3.0 {
        return None;
    }
    let mean_time = points.iter().map(|(time, _)| time).sum::<f64>() / count;
    let mean = points.iter().map(|(_, pressure)| pressure).sum::<f64>() / count;
    let spread = points.iter().map(|(time, _)| (time - mean_time).powi(2)).sum::<f64>();
    if spread <= 0.0 {
        return None;
    }
    let slope =
        points.iter().map(|(time, pressure)| (time - mean_time) * (pressure - mean)).sum::<f64>() / spread;
    let left = points
        .iter()
        .map(|(time, pressure)| (pressure - mean - slope * (time - mean_time)).powi(2))
        .sum::<f64>();
    let from_noise = (left / (count - 2.0) / spread).sqrt();
    let span = points.last()?.0 - points.first()?.0;
    // Steps of a coarse gauge are not independent noise: the line may be off by a third of a step at each end.
    let from_steps = step_bar * 1000.0 * 0.47 / span;
    Some(Uncertain::new(slope, root_sum_square(&[from_noise, from_steps])))
}

/// Slope between two readings; both come from the same gauge, so only its steps and reading scatter count.
fn twice_slope(
    start: GaugePressure,
    end: GaugePressure,
    time: Duration,
    gauge: (f64, f64),
) -> Option<Uncertain> {
    if time.s() <= 0.0 {
        return None;
    }
    // Gain and zero are common to both readings; a tenth of the gauge's uncertainty is left as scatter (own choice).
    let each = root_sum_square(&[gauge.0 * 0.1, gauge.1 * 0.289]) * 1000.0;
    let slope = (end - start).mbar() / time.s();
    Some(Uncertain::new(slope, each * core::f64::consts::SQRT_2 / time.s()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_rise_gives_volume_times_slope() {
        // Definition of the throughput unit: 1 mbar per second in 1 l is 1 mbar·l/s.
        let times: Vec<f64> = (0..600).map(|step| f64::from(step) * 0.1).collect();
        let pressures: Vec<f64> = times.iter().map(|time| time * 0.001).collect();
        let found =
            rise(Volume::from_l(1.0), 0.05, Watched::Logged(&times, &pressures), (0.005, 0.0)).unwrap();
        assert!((found.rate_mbar_l_s.value - 1.0).abs() < 1e-9);
        assert!(found.rate_mbar_l_s.holds(1.0) && found.is_sure());
    }

    #[test]
    fn drift_is_no_leak() {
        let times: Vec<f64> = (0..600).map(|step| f64::from(step) * 0.1).collect();
        let pressures: Vec<f64> = times.iter().map(|time| time * 0.01e-3).collect();
        assert!(
            !rise(Volume::from_ml(200.0), 0.05, Watched::Logged(&times, &pressures), (0.005, 0.0))
                .unwrap()
                .is_sure()
        );
    }

    #[test]
    fn two_readings_and_too_little() {
        let at = GaugePressure::from_bar;
        let twice = |end: f64| Watched::Twice { start: at(0.0), end: at(end), time: Duration::from_s(60.0) };
        assert!(rise(Volume::from_l(0.3), 0.1, twice(1.2), (0.05, 0.05)).unwrap().is_sure());
        assert!(!rise(Volume::from_l(0.3), 0.1, twice(0.0), (0.05, 0.05)).unwrap().is_sure());
        assert!(rise(Volume::from_l(0.3), 0.1, Watched::Logged(&[0.0], &[0.0]), (0.05, 0.05)).is_none());
    }
}
