//! Gauges, meters and loggers: what they show of what is there.

use bench::visit::Rig;
use calc::numeric::math;

use crate::chance::Chance;

/// Pressure at which a gauge's gain error counts in full, bar.
const FULL_BAR: f64 = 6.0;
/// Noise of a logged pressure, bar, and drift of a gauge, bar per minute (simulated in preparation).
const LOGGED_NOISE_BAR: f64 = 0.001;
const DRIFT_BAR_MIN: f64 = 0.0003;
/// Smallest step of a gauge read by hand, where the rig's file does not say, bar.
const HAND_STEP_BAR: f64 = 0.02;
/// Digits in which loggers write.
const PRESSURE_STEP_BAR: f64 = 0.0001;
const FLOW_STEP_L_MIN: f64 = 0.01;
const TEMPERATURE_STEP_K: f64 = 0.01;

/// A pressure gauge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Shown at rest.
    pub zero_bar: f64,
    /// Relative error of the slope.
    pub gain: f64,
    /// Smallest step shown.
    pub step_bar: f64,
}

impl Gauge {
    fn drawn(uncertainty_bar: f64, step_bar: f64, chance: &mut Chance) -> Self {
        // Four fifths of the stated uncertainty sit in the zero; with the slope's part it is whole at 6 bar.
        Self {
            zero_bar: 0.8 * uncertainty_bar * chance.normal(),
            gain: 0.6 * uncertainty_bar / FULL_BAR * chance.normal(),
            step_bar,
        }
    }

    fn shown(&self, bar_g: f64) -> f64 {
        self.zero_bar + bar_g * (1.0 + self.gain)
    }

    /// Read once from a display or a logger's mean.
    pub fn read(&self, bar_g: f64, chance: &mut Chance) -> f64 {
        let noisy = self.shown(bar_g) + 0.5 * LOGGED_NOISE_BAR * chance.normal();
        rounded(noisy, self.step_bar.max(PRESSURE_STEP_BAR))
    }

    /// Read once by a person.
    pub fn read_by_hand(&self, bar_g: f64, chance: &mut Chance) -> f64 {
        let step = if self.step_bar > 0.0 { self.step_bar } else { HAND_STEP_BAR };
        rounded(self.shown(bar_g) + 0.2 * step * chance.normal(), step)
    }

    /// Logged.
    pub fn log(&self, bar_g: &[f64], step_s: f64, chance: &mut Chance) -> Vec<f64> {
        let drift = DRIFT_BAR_MIN / 60.0 * step_s * chance.normal();
        let noise = chance.normals(bar_g.len());
        let step = self.step_bar.max(PRESSURE_STEP_BAR);
        let mut drifted = 0.0;
        bar_g
            .iter()
            .zip(noise)
            .map(|(bar_g, noise)| {
                drifted += drift;
                rounded(self.shown(*bar_g) + drifted + LOGGED_NOISE_BAR * noise, step)
            })
            .collect()
    }
}

/// Everything on the rig that measures, with its errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instruments {
    /// Gauge at the inlet.
    pub inlet: Gauge,
    /// Gauge at the outlet.
    pub outlet: Gauge,
    /// Gauge of the air side.
    pub air: Gauge,
    /// Relative error of the flow meter.
    pub flow_gain: f64,
    /// Error of the water thermometer, K.
    pub thermometer_k: f64,
}

impl Instruments {
    /// Errors drawn from what the rig's file states.
    pub fn drawn(rig: &Rig, chance: &mut Chance) -> Self {
        let mut gauge = || Gauge::drawn(rig.pressure_uncertainty_bar, rig.gauge_step_bar, chance);
        let (inlet, outlet, air) = (gauge(), gauge(), gauge());
        Self {
            inlet,
            outlet,
            air,
            flow_gain: rig.flow_uncertainty_relative * chance.normal(),
            thermometer_k: rig.temperature_uncertainty_k * chance.normal(),
        }
    }

    /// Mean flow as shown; repeats to 0.3 %.
    pub fn mean_flow(&self, l_min: f64, chance: &mut Chance) -> f64 {
        rounded(l_min * (1.0 + self.flow_gain) * (1.0 + 0.003 * chance.normal()), FLOW_STEP_L_MIN)
    }

    /// Water temperature as shown.
    pub fn temperature(&self, deg_c: f64, chance: &mut Chance) -> f64 {
        rounded(deg_c + self.thermometer_k + 0.05 * chance.normal(), 0.1)
    }

    /// A logged flow that starts up, ripples, wanders and meets bubbles on its way to the steady value.
    pub fn log_flow(&self, l_min: f64, step_s: f64, count: usize, chance: &mut Chance) -> Vec<f64> {
        let (depth, settling_s) = (chance.between(0.1, 0.5), chance.between(0.8, 4.0));
        let (ripple, ripple_hz) = (chance.between(0.002, 0.008), chance.between(0.7, 3.0));
        let (noise, wander) = (0.004, 0.002);
        let repeat = 1.0 + 0.003 * chance.normal();
        let bubbles = bubbles(step_s * count as f64, chance);
        let white = chance.normals(count);
        let slow = chance.normals(count);
        let keep = math::exp(-step_s / 1.0);
        let kick = wander * (1.0 - keep * keep).sqrt();
        let (mut walk, mut start, decay) = (wander * chance.normal(), depth, math::exp(-step_s / settling_s));
        let mut seen = Vec::with_capacity(count);
        for (place, (white, slow)) in white.iter().zip(&slow).enumerate() {
            let time_s = step_s * place as f64;
            let wave = ripple * math::sin(core::f64::consts::TAU * ripple_hz * time_s);
            let share = (1.0 - start + wave + walk + noise * white) * repeat * (1.0 + self.flow_gain);
            let dip = bubbles.iter().find(|(at, long, _)| (*at..*at + *long).contains(&time_s));
            let dip = dip.map_or(1.0, |(_, _, left)| *left);
            seen.push(rounded((l_min * share * dip).max(0.0), FLOW_STEP_L_MIN));
            walk = walk * keep + kick * slow;
            start *= decay;
        }
        seen
    }

    /// A logged steel temperature, noise 0.02 K.
    pub fn log_temperature(deg_c: f64, k_s: f64, step_s: f64, count: usize, chance: &mut Chance) -> Vec<f64> {
        let offset = 0.2 * chance.normal();
        let noise = chance.normals(count);
        noise
            .iter()
            .enumerate()
            .map(|(place, noise)| {
                rounded(deg_c + offset + k_s * step_s * place as f64 + 0.02 * noise, TEMPERATURE_STEP_K)
            })
            .collect()
    }
}

/// Bubbles: moment, length in s, share of the flow shown meanwhile. Most come early.
fn bubbles(seconds: f64, chance: &mut Chance) -> Vec<(f64, f64, f64)> {
    let count = chance.whole(0, 4);
    (0..count)
        .map(|_| {
            let early = if chance.happens(0.7) { 0.3 } else { 1.0 };
            (chance.between(0.0, early * seconds), chance.between(0.15, 0.6), chance.between(0.5, 0.95))
        })
        .collect()
}

/// The nearest multiple of a step, as a decimal fraction without stray digits.
#[must_use]
pub fn rounded(value: f64, step: f64) -> f64 {
    if step <= 0.0 {
        return value;
    }
    let parts = (1.0 / step).round();
    if (parts * step - 1.0).abs() < 1e-9 {
        (value * parts).round() / parts
    } else {
        (value / step).round() * step
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Purpose;

    #[test]
    fn errors_are_as_large_as_the_rig_states() {
        let rig = Rig { pressure_uncertainty_bar: 0.05, flow_uncertainty_relative: 0.02, ..Rig::default() };
        let mut chance = Chance::new(11, Purpose::Instruments, 0);
        let (mut gauge, mut meter) = (0.0, 0.0);
        for _ in 0..4000 {
            let instruments = Instruments::drawn(&rig, &mut chance);
            let miss = instruments.inlet.read(6.0, &mut chance) - 6.0;
            gauge += miss * miss;
            let miss = instruments.mean_flow(20.0, &mut chance) / 20.0 - 1.0;
            meter += miss * miss;
        }
        assert!(((gauge / 4000.0).sqrt() / 0.05 - 1.0).abs() < 0.06, "{}", (gauge / 4000.0).sqrt());
        assert!(((meter / 4000.0).sqrt() / 0.02 - 1.0).abs() < 0.06, "{}", (meter / 4000.0).sqrt());
    }

    #[test]
    fn a_hand_gauge_shows_whole_steps() {
        let gauge = Gauge { zero_bar: 0.013, gain: 0.0, step_bar: 0.1 };
        let read = gauge.read_by_hand(5.96, &mut Chance::new(1, Purpose::Reading, 0));
        assert!((read * 10.0 - (read * 10.0).round()).abs() < 1e-9);
    }

    #[test]
    fn a_logged_flow_becomes_steady() {
        let rig = Rig { flow_uncertainty_relative: 0.0, ..Rig::default() };
        let mut chance = Chance::new(4, Purpose::Reading, 0);
        let instruments = Instruments::drawn(&rig, &mut chance);
        let seen = instruments.log_flow(12.0, 0.1, 601, &mut chance);
        let tail = &seen[400..];
        let mut sorted = tail.to_vec();
        sorted.sort_by(f64::total_cmp);
        assert!((sorted[100] / 12.0 - 1.0).abs() < 0.015, "{}", sorted[100]);
        assert!(seen[0] < 11.2);
    }
}
