//! Why the pressure of a closed, tight circuit still moves: the gas settles, hoses warm and creep, steel drifts.

use calc::numeric::math;

use super::{CONDUCTIVITY_W_M_K, GAS, HEAT_CAPACITY_J_KG_K};

/// Roots of x J0(x) + 2 (g - 1) J1(x) = 0 for g = 1.4: gas in a round bore at constant volume.
const CLOSED: [f64; 8] = [
    2.680_128_761_929_129_4,
    5.658_802_674_752_137,
    8.744_487_192_195_4,
    11.858_702_729_012_869,
    14.984_162_038_926_14,
    18.115_143_556_835_335,
    21.249_233_988_249_664,
    24.385_244_458_527_275,
];
/// Roots of J0(x) = 0: gas in a round bore at constant pressure.
const ON_SUPPLY: [f64; 12] = [
    2.404_825_557_695_773,
    5.520_078_110_286_311,
    8.653_727_912_911_013,
    11.791_534_439_014_281,
    14.930_917_708_487_787,
    18.071_063_967_910_924,
    21.211_636_629_879_26,
    24.352_471_530_749_305,
    27.493_479_132_040_257,
    30.634_606_468_431_976,
    33.775_820_213_573_57,
    36.917_098_353_664_045,
];
const GAMMA: f64 = 1.4;

/// A stretch of a circuit that settles by itself.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// Diameter.
    pub diameter_m: f64,
    /// Share of the whole volume.
    pub share: f64,
}

/// How hoses answer to a fill: heat that went into their wall comes back slowly, and they creep.
#[derive(Clone, Copy, Debug, Default)]
pub struct HoseTail {
    /// Share of the whole volume that hoses hold.
    pub share: f64,
    /// Temperature rise of the wall at one second after a short pulse, K s^1/2.
    pub wall_k_sqrt_s: f64,
    /// Relative growth of the volume per decade of time.
    pub creep_per_decade: f64,
}

/// What moves the pressure of a closed circuit beside leaks.
#[derive(Clone, Debug)]
pub struct Settling {
    /// Relative pressure part and rate in 1/s of each mode.
    modes: Vec<(f64, f64)>,
    tail: HoseTail,
    fill_s: f64,
    hold_s: f64,
    gas_k: f64,
    drift_k_s: f64,
}

/// How the circuit was filled.
#[derive(Clone, Copy, Debug)]
pub struct Fill {
    /// Pressure, Pa absolute.
    pub pressure_pa: f64,
    /// Temperature of the wall, K.
    pub wall_k: f64,
    /// Mean excess of the gas in steel bores at the end of the fill, K.
    pub excess_k: f64,
    /// Length of the fill, s.
    pub fill_s: f64,
    /// Seconds on supply after the fill.
    pub hold_s: f64,
    /// Drift of the steel's temperature, K/s.
    pub drift_k_s: f64,
}

impl Settling {
    /// From the stretches of the circuit and the way in which it was filled.
    #[must_use]
    pub fn new(stretches: &[Stretch], tail: HoseTail, fill: Fill) -> Self {
        let density = fill.pressure_pa / (GAS * fill.wall_k);
        let diffusivity_m2_s = CONDUCTIVITY_W_M_K / (density * HEAT_CAPACITY_J_KG_K);
        let relative = fill.excess_k / fill.wall_k;
        let modes = stretches.iter().flat_map(|stretch| {
            let rate = 4.0 * diffusivity_m2_s / (stretch.diameter_m * stretch.diameter_m);
            let held = rate * fill.hold_s;
            CLOSED
                .iter()
                .map(move |root| (stretch.share * relative * amplitude(*root, held), rate * root * root))
        });
        Self {
            modes: modes.filter(|(part, _)| part.abs() > 1e-9).collect(),
            tail,
            fill_s: fill.fill_s.max(0.1),
            hold_s: fill.hold_s,
            gas_k: fill.wall_k,
            drift_k_s: fill.drift_k_s,
        }
    }

    /// Pressure relative to that at the moment of shutting, without leaks, at every step.
    #[must_use]
    pub fn factors(&self, step_s: f64, count: usize) -> Vec<f64> {
        let mut modes: Vec<(f64, f64)> =
            self.modes.iter().map(|(part, rate)| (*part, math::exp(-rate * step_s))).collect();
        let all: f64 = self.modes.iter().map(|(part, _)| part).sum();
        let mut factors = Vec::with_capacity(count);
        let mut time_s = 0.0;
        for _ in 0..count {
            let left: f64 = modes.iter().map(|(part, _)| part).sum();
            factors.push(1.0 + left - all + self.slow(time_s));
            for (part, decay) in &mut modes {
                *part *= *decay;
            }
            time_s += step_s;
        }
        factors
    }

    /// Mean temperature of the air at the moment of shutting, K: what the modes lose, they lose down to the wall's.
    #[must_use]
    pub fn start_k(&self) -> f64 {
        let warm: f64 = self.modes.iter().map(|(part, _)| part).sum();
        self.gas_k / (1.0 - warm)
    }

    /// Hose wall, creep and drift since the moment of shutting.
    fn slow(&self, time_s: f64) -> f64 {
        let tail = &self.tail;
        let wall = |t: f64| {
            let since = t + self.hold_s;
            2.0 * tail.wall_k_sqrt_s * ((since + self.fill_s).sqrt() - since.sqrt()) / self.fill_s
        };
        let creep = tail.creep_per_decade
            * math::log10((time_s + self.hold_s + self.fill_s) / (self.hold_s + self.fill_s));
        tail.share * ((wall(time_s) - wall(0.0)) / self.gas_k - creep) + self.drift_k_s * time_s / self.gas_k
    }
}

/// Mean temperature of one closed mode after a hold on supply, for a gas that was evenly 1 K too warm at first.
///
/// Conduction in a round bore with the wall kept cold: on supply the pressure is constant (roots of J0), after
/// shutting the volume is (`x J0 + 2 (g-1) J1 = 0`). Both series by Laplace transform; `held` is the hold in
/// units of radius squared over diffusivity. The first closed root squared is 7.183.
fn amplitude(root: f64, held: f64) -> f64 {
    let x2 = root * root;
    let weight = 1.0 + x2 / (4.0 * GAMMA * (GAMMA - 1.0));
    if held <= 0.0 {
        return 1.0 / ((GAMMA - 1.0) * weight);
    }
    let sum: f64 =
        ON_SUPPLY.iter().map(|zero| zero * zero).map(|z2| 4.0 * math::exp(-z2 * held) / (x2 - z2)).sum();
    sum / weight
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bessel function of the first kind by Bessel's integral (Abramowitz and Stegun 9.1.21), trapezoid rule.
    fn bessel(order: f64, x: f64) -> f64 {
        let steps = 400;
        (0..steps)
            .map(|k| core::f64::consts::PI * (f64::from(k) + 0.5) / f64::from(steps))
            .map(|t| math::cos(order * t - x * math::sin(t)))
            .sum::<f64>()
            / f64::from(steps)
    }

    #[test]
    fn the_roots_are_roots() {
        for x in CLOSED {
            assert!((x * bessel(0.0, x) + 0.8 * bessel(1.0, x)).abs() < 1e-10, "{x}");
        }
        for z in ON_SUPPLY {
            assert!(bessel(0.0, z).abs() < 1e-10, "{z}");
        }
    }

    #[test]
    fn at_first_all_of_the_excess_is_there() {
        let sum: f64 = CLOSED.iter().map(|x| amplitude(*x, 0.0)).sum();
        // The series beyond eight roots is about 4 g / (pi^2 8.5).
        assert!((sum + 4.0 * GAMMA / (9.87 * 8.7) - 1.0).abs() < 0.005, "{sum}");
    }

    /// Radial conduction by finite volumes with the mean's own heating, the same problem without any series.
    fn finite_volumes(hold: f64, after: f64) -> f64 {
        let cells = 80_usize;
        let dr = 1.0 / 80.0;
        let mut excess = vec![1.0; cells];
        let dt = 0.2 * dr * dr;
        let mut time = 0.0;
        while time < hold + after {
            let mut rate = vec![0.0; cells];
            let mut mean_rate = 0.0;
            let mut radius = 0.0;
            let mut inflow = 0.0;
            for i in 0..cells {
                let outer = radius + dr;
                let next = if i + 1 < cells { excess[i + 1] } else { -excess[i] };
                let outflow = outer * (excess[i] - next) / dr;
                let area = (outer * outer - radius * radius) / 2.0;
                rate[i] = (inflow - outflow) / area;
                mean_rate += 2.0 * area * rate[i];
                inflow = outflow;
                radius = outer;
            }
            // At constant volume the pressure follows the mean: dT = conduction + (g-1)/g dT_mean.
            let lift = if time >= hold { mean_rate * (GAMMA - 1.0) } else { 0.0 };
            for (value, rate) in excess.iter_mut().zip(&rate) {
                *value += dt * (rate + lift);
            }
            time += dt;
        }
        let mut mean = 0.0;
        let mut radius = 0.0;
        for value in excess {
            mean += value * ((radius + dr) * (radius + dr) - radius * radius);
            radius += dr;
        }
        mean
    }

    #[test]
    fn the_series_agree_with_finite_volumes() {
        for (hold, after) in [(0.0, 0.05), (0.0, 0.2), (0.1, 0.1), (0.3, 0.05)] {
            let series: f64 = CLOSED.iter().map(|x| amplitude(*x, hold) * math::exp(-x * x * after)).sum();
            let numeric = finite_volumes(hold, after);
            assert!((series / numeric - 1.0).abs() < 0.01, "{hold} {after}: {series} {numeric}");
        }
    }

    #[test]
    fn a_hose_moves_as_the_design_pages_say() {
        // Design pages, section 4: 100 ml bore and 2 m hose (190 ml), closed at once: 0.27, 0.10 and 0.020 mbar/s at 10,
        // 20 and 60 s; with 30 s on supply 0.036, 0.026 and 0.011. Their law: a pulse one second before shutting.
        let tail = HoseTail { share: 190.0 / 290.0, wall_k_sqrt_s: 1.26, creep_per_decade: 0.0 };
        let slope = |hold_s: f64, at: f64| {
            let fill =
                Fill { pressure_pa: 7e5, wall_k: 293.15, excess_k: 0.0, fill_s: 1.0, hold_s, drift_k_s: 0.0 };
            let settling = Settling::new(&[], tail, fill);
            (settling.slow(at) - settling.slow(at + 0.1)) * 7000.0 / 0.1
        };
        for (hold, at, expected) in [
            (0.0, 10.0, 0.27),
            (0.0, 20.0, 0.10),
            (0.0, 60.0, 0.020),
            (30.0, 10.0, 0.036),
            (30.0, 60.0, 0.011),
        ] {
            let found = slope(hold, at);
            assert!((found / expected - 1.0).abs() < 0.12, "{hold} {at}: {found}");
        }
    }
}
