//! The shapes that a falling pressure is made of, and how large each may be.

use super::laws::ByLaw;
use super::series::Series;
use super::{LeakDownError, LeakDownInput};
use crate::air::gas::{REFERENCE_TEMPERATURE_K, thermal_diffusivity_m2_s};
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, Temperature};

/// `d^2 / (28.7 a)`: slowest settling of air in a closed bore by conduction, pressure uniform but free to fall.
/// 4 times the eigenvalue 7.183, which solves `(1 - e) x J0(x) + 2 e J1(x) = 0`, `e = (k - 1)/k`, for `x^2`.
pub(super) const CLOSED_BORE: f64 = 28.73;
/// The same at constant pressure, while the supply is held: 4 times 2.405^2.
const HELD_BORE: f64 = 23.13;
/// Air still warm from filling when the supply is shut at once: share of the pressure expected in the main bore and in
/// hoses together, and its standard deviation in each (ideal filling: 0.24).
const FRESH_EXPECTED: f64 = 0.10;
const FRESH_SHARE: f64 = 0.07;
/// What is left however long the supply is held: draughts, air that still flows.
const REST_SHARE: f64 = 3e-4;
/// Bore where none is known, a large one to be waited for, and the bores in m that are then thought possible, each with
/// the share of the air that is expected to lie in it and that may.
const USUAL_BORE_M: f64 = 0.010;
const LARGE_BORE_M: f64 = 0.014;
const POSSIBLE_BORES: [(f64, f64, f64); 4] =
    [(0.006, 0.0, 0.7), (0.010, 1.0, 0.7), (0.015, 0.0, 0.7), (0.030, 0.0, 0.05)];
/// Hoses: inner diameter, effusivity of rubber and plastics (600 to 750 W s^0.5/(m2 K)), relative uncertainty of the
/// heat tail, creep of the wall per decade of time. Assumptions, common practice, no source.
const HOSE_BORE_M: f64 = 0.0108;
const HOSE_EFFUSIVITY: f64 = 650.0;
const HOSE_TAIL_RELATIVE: f64 = 0.4;
const CREEP_PER_DECADE: f64 = 0.7e-3;
const CREEP_UNCERTAINTY: f64 = 0.45e-3;
/// Share of hose that is reckoned with where nobody knows, and how far its tail is allowed to go. No tail is expected
/// then, so that a bench without hoses is not accused of them.
const UNKNOWN_HOSE_SHARE: f64 = 0.3;
const UNKNOWN_HOSE_SD: f64 = 0.55;
/// Conductivity of mould steel, W/(m K), and relative uncertainty of the steel's tail.
const STEEL_CONDUCTIVITY: f64 = 29.0;
const STEEL_TAIL_RELATIVE: f64 = 0.6;

/// A part of the falling pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shape {
    /// Where the pressure stands.
    Level,
    /// The leak.
    Leak,
    /// Half the difference between a leak that goes with the pressure and one that goes with its square.
    Law,
    /// A seat that pressure presses shut instead of a hole.
    Seat,
    /// A crack that pressure opens instead of one that keeps its width.
    Opening,
    /// Air settling with this time constant.
    Settle { tau_s: f64 },
    /// Hose walls that give their heat on, `t^-1/2`.
    HoseTail,
    /// Steel around a bore, `1/t`.
    SteelTail,
    /// Hoses that swell, `ln t`.
    Creep,
    /// Temperature and gauge, straight.
    Drift,
    /// Temperature, bent.
    Bend,
}

/// A shape with the prior of its size.
#[derive(Clone, Copy, Debug)]
pub(super) struct Term {
    pub shape: Shape,
    pub mean: f64,
    pub sd: f64,
}

/// A part of the air that settles with one time constant: share of the whole that is expected to be such, and that may be.
struct Stretch {
    tau_s: f64,
    expected: f64,
    possible: f64,
}

/// Everything around one leak-down, in the units of the fit: mbar, litre, second, kelvin.
#[derive(Clone, Debug)]
pub(super) struct Setting {
    pub volume_l: f64,
    pub volume_relative: f64,
    pub start_mbar: f64,
    pub atmosphere_mbar: f64,
    pub gas_k: f64,
    pub gas_sd_k: f64,
    pub hose_share: Option<f64>,
    pub hold_s: f64,
    /// Main bore, known or usual.
    pub bore_m: f64,
    pub bore_known: bool,
    pub diffusivity_m2_s: f64,
    pub limit_mbar_l_s: f64,
    pub duration_s: f64,
}

impl Setting {
    pub(super) fn new(input: &LeakDownInput<'_>, series: &Series) -> Result<Self, LeakDownError> {
        let (gas_k, gas_sd_k) = gas_temperature(input);
        let bore_m = input.bore.map_or(USUAL_BORE_M, |bore| bore.m());
        let diffusivity_m2_s = thermal_diffusivity_m2_s(
            Temperature::from_k(gas_k),
            AbsolutePressure::from_mbar(series.start_mbar()),
        )?;
        Ok(Self {
            volume_l: input.volume.l(),
            volume_relative: input.volume_uncertainty_relative,
            start_mbar: series.start_mbar(),
            atmosphere_mbar: series.atmosphere_mbar,
            gas_k,
            gas_sd_k,
            hose_share: input.hose_volume.map(|hose| (hose / input.volume).min(1.0)),
            hold_s: input.hold.s(),
            bore_m,
            bore_known: input.bore.is_some(),
            diffusivity_m2_s,
            limit_mbar_l_s: input.limit.mbar_l_s(),
            duration_s: series.duration_s(),
        })
    }

    /// From mbar/s at the gas's own temperature to mbar l/s at 20 degC.
    pub(super) fn rate_per_slope(&self) -> f64 {
        self.volume_l * REFERENCE_TEMPERATURE_K / self.gas_k
    }

    /// What one kelvin of the gas does to the pressure.
    pub(super) fn mbar_per_k(&self) -> f64 {
        self.start_mbar / self.gas_k
    }

    /// Share of hose that drift and tails reckon with.
    pub(super) fn share_or_usual(&self) -> f64 {
        self.hose_share.unwrap_or(UNKNOWN_HOSE_SHARE)
    }

    /// Slowest settling of air in this circuit that is likely; from four times this on the bore is quiet.
    pub(super) fn slowest_tau_s(&self) -> f64 {
        let hose =
            if self.hose_share.is_some_and(|share| share > 0.02) { self.tau_s(HOSE_BORE_M) } else { 0.0 };
        let bore = self.tau_s(if self.bore_known { self.bore_m } else { LARGE_BORE_M });
        bore.max(hose)
    }

    /// Time constant of a bore; it goes with the square of the diameter.
    fn tau_s(&self, bore_m: f64) -> f64 {
        bore_m * bore_m / (CLOSED_BORE * self.diffusivity_m2_s)
    }

    /// The settling terms.
    pub(super) fn settling(&self) -> Vec<Term> {
        let mut terms: Vec<Term> = self
            .stretches()
            .into_iter()
            .map(|Stretch { tau_s, expected, possible }| Term {
                shape: Shape::Settle { tau_s },
                mean: expected * self.start_mbar * FRESH_EXPECTED * self.still_warm(tau_s),
                sd: possible * self.start_mbar * (FRESH_SHARE * self.still_warm(tau_s) + REST_SHARE),
            })
            .collect();
        terms.extend(self.tails());
        terms
    }

    /// Parts of the air by how fast they settle.
    fn stretches(&self) -> Vec<Stretch> {
        let share = self.share_or_usual();
        let one = |tau_s, expected, possible| Stretch { tau_s, expected, possible };
        let mut list: Vec<Stretch> = if self.bore_known {
            let tau = self.tau_s(self.bore_m);
            vec![
                one(0.5 * tau, 0.0, 0.5),
                one(tau, 1.0 - share, 1.0),
                one(2.0 * tau, 0.0, 0.1),
                one(5.0 * tau, 0.0, 0.02),
            ]
        } else {
            POSSIBLE_BORES
                .iter()
                .map(|(bore_m, expected, possible)| {
                    one(self.tau_s(*bore_m), (1.0 - share) * expected, *possible)
                })
                .collect()
        };
        if share > 0.02 {
            list.push(one(self.tau_s(HOSE_BORE_M), share, share));
        }
        list
    }

    /// Share of the warmth that is left with this time constant when the supply is shut.
    fn still_warm(&self, tau_s: f64) -> f64 {
        let held_tau = tau_s * CLOSED_BORE / HELD_BORE;
        math::exp(-self.hold_s / held_tau)
    }

    /// Tails of walls: all the work of filling ends as heat in them (`V dp`), and goes on into the depth.
    fn tails(&self) -> Vec<Term> {
        let filled_pa = (self.start_mbar - self.atmosphere_mbar) * 1e2;
        let hose_k = filled_pa * HOSE_BORE_M / 4.0 / (HOSE_EFFUSIVITY * core::f64::consts::PI.sqrt());
        let hose_tail = self.mbar_per_k() * hose_k;
        let creep = self.start_mbar / core::f64::consts::LN_10;
        let steel_tail =
            self.mbar_per_k() * filled_pa * self.bore_m * self.bore_m / (16.0 * STEEL_CONDUCTIVITY);
        let (tail, swell, steel_share) = match self.hose_share {
            Some(share) => (
                (share * hose_tail, share * hose_tail * HOSE_TAIL_RELATIVE),
                (-share * creep * CREEP_PER_DECADE, share * creep * CREEP_UNCERTAINTY),
                1.0 - share,
            ),
            None => (
                (0.0, UNKNOWN_HOSE_SD * hose_tail),
                (0.0, UNKNOWN_HOSE_SD * creep * CREEP_PER_DECADE),
                1.0 - UNKNOWN_HOSE_SHARE,
            ),
        };
        let steel = steel_share * steel_tail;
        vec![
            Term { shape: Shape::HoseTail, mean: tail.0, sd: tail.1 },
            Term { shape: Shape::Creep, mean: swell.0, sd: swell.1 },
            Term { shape: Shape::SteelTail, mean: steel, sd: steel * STEEL_TAIL_RELATIVE },
        ]
        .into_iter()
        .filter(|term| term.sd > 0.0)
        .collect()
    }

    /// Value of a settling or drift shape; leak shapes depend on the pressures and are integrated apart.
    pub(super) fn value(&self, shape: Shape, time_s: f64) -> f64 {
        match shape {
            Shape::Level => 1.0,
            Shape::Leak | Shape::Law | Shape::Seat | Shape::Opening => 0.0,
            Shape::Settle { tau_s } => math::exp(-time_s / tau_s),
            Shape::HoseTail => 1.0 / (time_s + self.hold_s + 1.0).sqrt(),
            Shape::SteelTail => 1.0 / (time_s + self.hold_s + 1.0),
            Shape::Creep => math::ln(time_s + self.hold_s + 0.5),
            Shape::Drift => time_s,
            Shape::Bend => self.bend(time_s),
        }
    }

    /// Slope of a settling shape, per second.
    pub(super) fn slope(&self, shape: Shape, time_s: f64) -> f64 {
        match shape {
            Shape::Settle { tau_s } => -math::exp(-time_s / tau_s) / tau_s,
            Shape::HoseTail => -0.5 / (time_s + self.hold_s + 1.0).powi(3).sqrt(),
            Shape::SteelTail => -1.0 / (time_s + self.hold_s + 1.0).powi(2),
            Shape::Creep => 1.0 / (time_s + self.hold_s + 0.5),
            _ => 0.0,
        }
    }

    /// Parabola over the time watched, straight part taken out: -1/3 to 2/3.
    pub(super) fn bend(&self, time_s: f64) -> f64 {
        let unit = 2.0 * time_s / self.duration_s - 1.0;
        unit * unit - 1.0 / 3.0
    }

    /// Leak rate at a pressure against that at the start, by each law.
    pub(super) fn relative_leak(&self, pressure_mbar: f64) -> ByLaw {
        ByLaw::relative_rate(pressure_mbar, self.start_mbar, self.atmosphere_mbar)
    }

    /// Seconds of leak at the start pressure that a fall to this pressure over the whole time stands for, if nothing but
    /// the leak moved it: `T dp / integral of dp / relative leak`, by each law. Simpson's rule in the logarithm of the
    /// gauge pressure, in which the integrands are smooth.
    pub(super) fn leaked_between(&self, end_mbar: f64) -> ByLaw {
        const PARTS: u8 = 64;
        let gauge = |pressure: f64| pressure - self.atmosphere_mbar;
        let fall = self.start_mbar - end_mbar;
        if fall < 1e-6 * self.start_mbar || gauge(end_mbar) <= 0.0 {
            return ByLaw::all(self.duration_s);
        }
        let span = math::ln(gauge(self.start_mbar) / gauge(end_mbar));
        let mut sum = ByLaw::default();
        for part in 0..=PARTS {
            let weight = match part {
                0 | PARTS => 1.0,
                odd if odd % 2 == 1 => 4.0,
                _ => 2.0,
            };
            let over = gauge(end_mbar) * math::exp(span * f64::from(part) / f64::from(PARTS));
            let rate = self.relative_leak(self.atmosphere_mbar + over);
            sum = sum.with(rate, |sum, rate| sum + weight * over / rate);
        }
        let width = span / f64::from(PARTS) / 3.0;
        ByLaw::all(self.duration_s * fall).with(sum, |seconds, sum| seconds / (sum * width))
    }
}

/// Gas temperature and its standard uncertainty: the steel's if taken, that of the trace, or a room's.
fn gas_temperature(input: &LeakDownInput<'_>) -> (f64, f64) {
    if let Some(wall) = input.wall_temperature {
        return (wall.k(), 1.5);
    }
    let logged = match input.decay {
        super::DecayData::Trace(trace) => trace.temperatures().map(|(_, degrees)| degrees),
        super::DecayData::TwoReadings { .. } => None,
    };
    match logged {
        Some(degrees) if !degrees.is_empty() => {
            #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
            let count = degrees.len() as f64;
            (273.15 + (degrees.iter().sum::<f64>() / count).clamp(-20.0, 180.0), 2.0)
        }
        _ => (REFERENCE_TEMPERATURE_K, 4.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_eigenvalue_of_the_closed_bore() {
        // Constant-volume conduction: (1 - e) x J0(x) + 2 e J1(x) = 0 with e = 0.4/1.4; libm's Bessel functions.
        let e = 0.4 / 1.4;
        let f = |x: f64| (1.0 - e) * x * libm::j0(x) + 2.0 * e * libm::j1(x);
        let root = crate::numeric::root::bracketed(f, 2.45, 3.5, 1e-12).unwrap();
        assert!((4.0 * root * root / CLOSED_BORE - 1.0).abs() < 1e-3, "{}", root * root);
    }

    #[test]
    fn settling_time_of_known_bores() {
        // Independent prototype: 0.0114 s per mm2 at 7 bar absolute and 20 degC: 0.18 s (4 mm) to 2.2 s (14 mm).
        let diffusivity =
            thermal_diffusivity_m2_s(Temperature::from_deg_c(20.0), AbsolutePressure::from_bar(7.0)).unwrap();
        let tau = |mm: f64| mm * mm * 1e-6 / (CLOSED_BORE * diffusivity);
        assert!((tau(4.0) - 0.18).abs() < 0.005);
        assert!((tau(14.0) - 2.2).abs() < 0.05);
    }
}
