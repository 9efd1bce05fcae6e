//! Falling pressure of a vessel that empties through a part: heat balance between isothermal and adiabatic.

use crate::air::gas::{HEAT_CAPACITY_RATIO, REFERENCE_TEMPERATURE_K};
use crate::air::sonic::flow_share;
use crate::numeric::math;

/// Upstream pressure at which conductances are stated: friction in bores makes them rise slightly with pressure.
pub const STATED_AT_BAR_ABS: f64 = 7.0;
/// Pressure at 20 degC whose density is that of the wall coefficient.
const WALL_DENSITY_BAR: f64 = 4.5;
/// Below this share of the starting gauge pressure the model stops: gauges and flow function are poor there.
const STOP_SHARE: f64 = 0.02;
/// Steps of the integration per time constant.
const STEPS_PER_CONSTANT: f64 = 14.0;
/// Most steps of one curve.
const STEPS_MOST: f64 = 2_000.0;
/// Step times settling rate up to which the integration is stable (limit of the method: 2.78).
const STABLE: f64 = 1.5;

/// What the curve depends on. Pressures are absolute, in bar.
#[derive(Clone, Copy, Debug)]
pub struct Vessel {
    /// Sonic conductance of the outlet at [`STATED_AT_BAR_ABS`], in dm3/(s bar).
    pub conductance: f64,
    /// Critical ratio of the outlet.
    pub critical_ratio: f64,
    /// d ln C / d ln p.
    pub pressure_exponent: f64,
    /// Volume in dm3.
    pub volume: f64,
    /// Heat from the wall per kelvin and dm3, as d p/d t of the gas at the density of 4.5 bar and 20 degC: bar/(s K). It
    /// goes with the density to the power of `wall_exponent`.
    pub wall_bar_s_k: f64,
    /// 0 for a constant coefficient, 2/3 for free turbulent convection.
    pub wall_exponent: f64,
    /// How far the cold gas of the vessel has warmed to the wall's temperature where the flow is limited: 0 for a nozzle
    /// at the vessel, 1 for a long line.
    pub warming: f64,
    /// Temperature of the wall, and of the gas at the start, K.
    pub wall_temperature: f64,
    /// Pressure at the start.
    pub start: f64,
    /// Pressure behind the outlet.
    pub outlet: f64,
}

/// `W/(m3 K)` of wall heat as a rate of pressure: (k - 1) h A / V, in bar/(s K).
#[must_use]
pub fn wall_rate(wall_w_m3_k: f64) -> f64 {
    (HEAT_CAPACITY_RATIO - 1.0) * wall_w_m3_k * 1e-5
}

/// How the gas takes up heat from the wall: the two ends between which the truth lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heat {
    /// None.
    None,
    /// As much as keeps the wall's temperature.
    Full,
}

/// Time in units of V/C (with C at a reference pressure of 1 bar) in which the pressure falls from `from` to `to` bar
/// absolute; the gas has the reference temperature at `from`. Simpson's rule on ln p.
#[must_use]
pub fn emptying_number(from: f64, to: f64, outlet: f64, critical_ratio: f64, heat: Heat) -> f64 {
    const PANELS: u32 = 128;
    let (low, high) = (math::ln(to), math::ln(from));
    let width = (high - low) / f64::from(PANELS);
    let rate = |ln_p: f64| {
        let share = flow_share(outlet / math::exp(ln_p), critical_ratio).max(1e-6);
        match heat {
            Heat::Full => 1.0 / share,
            Heat::None => {
                let k = HEAT_CAPACITY_RATIO;
                let root_temperature = math::exp((k - 1.0) / (2.0 * k) * (ln_p - high));
                1.0 / (k * share * root_temperature)
            }
        }
    };
    let mut sum = rate(low) + rate(high);
    for panel in 1..PANELS {
        sum += rate(low + f64::from(panel) * width) * if panel % 2 == 1 { 4.0 } else { 2.0 };
    }
    sum * width / 3.0
}

/// Density over that to which the wall heat refers.
fn density(pressure: f64, temperature: f64) -> f64 {
    pressure * REFERENCE_TEMPERATURE_K / (temperature * WALL_DENSITY_BAR)
}

/// A power of a quantity that moves by some per cent within a step: Taylor's series to third order around its value at
/// the step's beginning, which saves most logarithms and exponentials of a curve. Beyond a fifth it is exact again.
#[derive(Clone, Copy, Debug)]
struct PowerNear {
    at: f64,
    power: f64,
    exponent: f64,
}

impl PowerNear {
    fn new(at: f64, exponent: f64) -> Self {
        Self { at, power: math::exp(exponent * math::ln(at)), exponent }
    }

    fn of(&self, x: f64) -> f64 {
        let (moved, e) = (x / self.at - 1.0, self.exponent);
        if moved.abs() > 0.2 {
            return math::exp(e * math::ln(x));
        }
        let series = 1.0 + (e - 1.0) / 2.0 * moved * (1.0 + (e - 2.0) / 3.0 * moved);
        self.power * (1.0 + e * moved * series)
    }
}

/// The powers of a step.
#[derive(Clone, Copy, Debug)]
struct Near {
    pressure: PowerNear,
    density: PowerNear,
}

/// A curve of pressure over time since the opening.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    step_s: f64,
    /// Pressure and its rate at each step.
    points: Vec<(f64, f64)>,
}

impl Vessel {
    /// Rates of pressure and temperature (mass and energy balance of an ideal gas in a rigid vessel; source key
    /// `iso-6358-2` for the flow, textbook balance for the rest).
    fn rates(&self, near: &Near, pressure: f64, temperature: f64) -> (f64, f64) {
        let k = HEAT_CAPACITY_RATIO;
        let able = self.conductance * near.pressure.of(pressure / STATED_AT_BAR_ABS);
        let share = flow_share(self.outlet / pressure, self.critical_ratio);
        // Conductance times the reference pressure of 1 bar over the volume is a rate per second.
        let line = temperature + self.warming * (self.wall_temperature - temperature);
        let out = able / self.volume * share * temperature / (line * REFERENCE_TEMPERATURE_K).sqrt();
        let wall = self.wall_bar_s_k * near.density.of(density(pressure, temperature));
        let pressure_rate = -k * out * pressure + wall * (self.wall_temperature - temperature);
        let temperature_rate = temperature * (pressure_rate / pressure + out);
        (pressure_rate, temperature_rate)
    }

    /// The curve until the pressure is nearly gone or this time has passed (Runge-Kutta of fourth order).
    #[must_use]
    pub fn curve(&self, until_s: f64) -> Curve {
        let flow_step = self.volume / (self.conductance * STEPS_PER_CONSTANT);
        // The gas nears the wall's temperature at this rate when the vessel is nearly empty.
        let settling = self.wall_bar_s_k * self.wall_temperature / self.outlet;
        let step_s = flow_step.min(STABLE / settling.max(1e-12)).max(until_s / STEPS_MOST).max(1e-9);
        // Gas that settles far faster than the step has the wall's temperature; a slower wall gives the same curve.
        let wall_bar_s_k = self.wall_bar_s_k.min(STABLE / step_s * self.outlet / self.wall_temperature);
        Self { wall_bar_s_k, ..*self }.curve_with_step(until_s, step_s)
    }

    fn curve_with_step(&self, until_s: f64, step_s: f64) -> Curve {
        let stop = self.outlet + STOP_SHARE * (self.start - self.outlet);
        let (mut p, mut t) = (self.start, self.wall_temperature);
        let mut points = Vec::with_capacity(128);
        let mut time = 0.0;
        loop {
            let near = Near {
                pressure: PowerNear::new(p / STATED_AT_BAR_ABS, self.pressure_exponent),
                density: PowerNear::new(density(p, t), self.wall_exponent),
            };
            let (p1, t1) = self.rates(&near, p, t);
            points.push((p, p1));
            if p <= stop || time > until_s {
                break;
            }
            let half = 0.5 * step_s;
            let (p2, t2) = self.rates(&near, p + half * p1, t + half * t1);
            let (p3, t3) = self.rates(&near, p + half * p2, t + half * t2);
            let (p4, t4) = self.rates(&near, p + step_s * p3, t + step_s * t3);
            p += step_s / 6.0 * (p1 + 2.0 * p2 + 2.0 * p3 + p4);
            t += step_s / 6.0 * (t1 + 2.0 * t2 + 2.0 * t3 + t4);
            if !(p > self.outlet * 1.000_1 && t > 1.0) {
                break;
            }
            time += step_s;
        }
        Curve { step_s, points }
    }
}

impl Curve {
    /// The curve as a gauge with first-order lag L shows it: y' = (p - y)/L, exact for the cubic pieces of this curve.
    #[must_use]
    pub fn lagged(&self, lag_s: f64) -> Self {
        let Some(&(first, _)) = self.points.first() else { return self.clone() };
        if lag_s < 1e-3 * self.step_s {
            return self.clone();
        }
        let (h, lag) = (self.step_s, lag_s);
        let kept = math::exp(-h / lag);
        let mut points = Vec::with_capacity(self.points.len());
        // Until the opening the gauge has stood still at the start.
        points.push((first, 0.0));
        let mut shown = first;
        for pair in self.points.windows(2) {
            let [(a, da), (b, db)] = pair else { continue };
            // Derivatives of the cubic piece at both ends.
            let slope = (b - a) / h;
            let third = 6.0 * (da + db - 2.0 * slope) / (h * h);
            let second_a = 2.0 * (3.0 * slope - 2.0 * da - db) / h;
            let second_b = second_a + third * h;
            // What the gauge shows once its past is forgotten: p less lag times rate, and so on.
            let trail = |p: f64, d: f64, second: f64| p - lag * (d - lag * (second - lag * third));
            let past = (shown - trail(*a, *da, second_a)) * kept;
            shown = trail(*b, *db, second_b) + past;
            points.push((shown, db - lag * (second_b - lag * third) - past / lag));
        }
        Self { step_s: h, points }
    }

    /// Pressure at a time since the opening; the start before it, the last point after the end.
    #[must_use]
    pub fn at(&self, time_s: f64) -> f64 {
        let place = (time_s / self.step_s).max(0.0);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative, and `get` checks"
        )]
        let index = place as usize;
        match (self.points.get(index), self.points.get(index + 1)) {
            (Some((a, da)), Some((b, db))) => {
                #[expect(clippy::cast_precision_loss, reason = "a few thousand")]
                let x = place - index as f64;
                let (da, db) = (da * self.step_s, db * self.step_s);
                let (x2, x3) = (x * x, x * x * x);
                (2.0 * x3 - 3.0 * x2 + 1.0) * a
                    + (x3 - 2.0 * x2 + x) * da
                    + (3.0 * x2 - 2.0 * x3) * b
                    + (x3 - x2) * db
            }
            _ => self.points.last().map_or(f64::NAN, |(last, _)| *last),
        }
    }

    /// Time at which the pressure has fallen to this value, if the curve reaches it.
    #[must_use]
    pub fn time_to(&self, pressure: f64) -> Option<f64> {
        let index = self.points.iter().position(|(p, _)| *p <= pressure)?;
        #[expect(clippy::cast_precision_loss, reason = "a few thousand")]
        let (mut low, mut high) = ((index as f64 - 1.0).max(0.0) * self.step_s, index as f64 * self.step_s);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if self.at(middle) > pressure {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * (low + high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_power_near_a_value_is_the_power() {
        for exponent in [-0.1, 0.05, 2.0 / 3.0, 1.0] {
            let near = PowerNear::new(3.0, exponent);
            for x in [2.0, 2.7, 2.9, 3.0, 3.05, 3.3, 9.0] {
                assert!((near.of(x) / math::powf(x, exponent) - 1.0).abs() < 1e-5, "{x} to the {exponent}");
            }
        }
    }

    fn vessel(conductance: f64, ratio: f64, wall: f64) -> Vessel {
        Vessel {
            conductance,
            critical_ratio: ratio,
            pressure_exponent: 0.0,
            volume: 1.0,
            wall_bar_s_k: wall,
            wall_exponent: 1.0 / 3.0,
            warming: 0.0,
            wall_temperature: REFERENCE_TEMPERATURE_K,
            start: 7.013,
            outlet: 1.013,
        }
    }

    /// Wall heat so strong that the gas keeps the wall's temperature, yet not stiff for the step.
    const ISOTHERMAL: f64 = 1.0;

    #[test]
    fn isothermal_reference_times() {
        // Independent quadrature of the isothermal balance (own reference, no publication): V 1 dm3, C 0.5,
        // 7.01325 to 2.01325 bar abs: b 0.5: 2.496 s, b 0.3: 2.509 s, b 0.1: 2.573 s.
        for (ratio, seconds) in [(0.5, 2.496), (0.3, 2.509), (0.1, 2.573)] {
            let time = vessel(0.5, ratio, ISOTHERMAL).curve(10.0).time_to(2.013).unwrap();
            assert!((time / seconds - 1.0).abs() < 4e-3, "b {ratio}: {time}");
        }
    }

    #[test]
    fn emptying_numbers_of_the_two_ends() {
        // Choked, 7 to 3.5 bar: isothermal ln 2, adiabatic 5 (2^(1/7) - 1) (textbook), V/C = 1.
        let number = |heat| emptying_number(7.0, 3.5, 0.1, 0.5, heat);
        assert!((number(Heat::Full) - core::f64::consts::LN_2).abs() < 1e-9);
        assert!((number(Heat::None) - 5.0 * (math::powf(2.0, 1.0 / 7.0) - 1.0)).abs() < 1e-9);
        let subsonic = emptying_number(7.013, 2.013, 1.013, 0.1, Heat::Full);
        assert!((subsonic * 2.0 / 2.573 - 1.0).abs() < 1e-3, "own reference time 2.573 s for V/C = 2");
    }

    #[test]
    fn adiabatic_closed_form() {
        // Choked adiabatic discharge: t = 5 (V/C) [(p0/p)^(1/7) - 1] (textbook); V 10, C 1, 7 to 3.5 bar abs: 5.204 s.
        let vessel = Vessel { volume: 10.0, start: 7.0, outlet: 0.5, ..vessel(1.0, 0.5, 0.0) };
        let time = vessel.curve(20.0).time_to(3.5).unwrap();
        assert!((time - 50.0 * (math::powf(2.0, 1.0 / 7.0) - 1.0)).abs() < 1e-4, "{time}");
        assert!((time - 5.204).abs() < 1e-3);
    }

    #[test]
    fn wall_heat_lies_between() {
        let half = |wall| vessel(0.5, 0.3, wall).curve(10.0).time_to(3.5).unwrap();
        assert!(half(0.0) < half(wall_rate(1_500.0)) && half(wall_rate(1_500.0)) < half(ISOTHERMAL));
    }

    #[test]
    fn a_lagging_gauge_trails_an_exponential_by_its_lag() {
        // Choked isothermal fall is exp(-t/T); a lag L shows exp(-t/T)/(1 - L/T) once its own start is forgotten.
        let choked = Vessel { outlet: 0.01, ..vessel(0.5, 0.3, ISOTHERMAL) };
        let curve = choked.curve_with_step(4.0, 0.004);
        let shown = curve.lagged(0.1);
        let ratio = shown.at(1.5) / curve.at(1.5);
        let rate = -math::ln(curve.at(1.51) / curve.at(1.49)) / 0.02;
        assert!((ratio * (1.0 - 0.1 * rate) - 1.0).abs() < 2e-3, "{ratio}");
        // A coarse step shows the same.
        let coarse = choked.curve_with_step(4.0, 0.02).lagged(0.03);
        let fine = choked.curve_with_step(4.0, 0.002).lagged(0.03);
        for at in 5..30 {
            let time = f64::from(at) * 0.1;
            assert!((coarse.at(time) - fine.at(time)).abs() < 1e-3, "at {time}");
        }
        assert!((curve.lagged(0.0).at(1.0) - curve.at(1.0)).abs() < 1e-12);
    }

    #[test]
    fn finer_steps_change_nothing() {
        let coarse = vessel(0.5, 0.2, wall_rate(1_500.0));
        let curve = coarse.curve(8.0);
        let fine = coarse.curve_with_step(8.0, 1e-3);
        for step in 1..60 {
            let time = f64::from(step) * 0.1;
            if fine.at(time) < 1.013 + 0.04 * 6.0 {
                break;
            }
            assert!((curve.at(time) - fine.at(time)).abs() < 2e-5, "at {time}");
        }
    }
}
