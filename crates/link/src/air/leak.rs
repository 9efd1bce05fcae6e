//! Volumes that leak: to the outside and into one another.

use calc::numeric::math;
use calc::quantity::{AbsolutePressure, LeakRate};

use crate::plan::{Leak, LeakLaw};

/// Pressure at which leak rates are stated, Pa absolute.
const STATED_AT_PA: f64 = 7e5;
/// Temperature at which they are, K.
const STATED_AT_K: f64 = 293.15;
/// Critical ratio of an orifice (nozzle theory 0.528; 0.5 is the usual ellipse for air).
const ORIFICE_RATIO: f64 = 0.5;
/// Above this ratio the ellipse is replaced by a straight line, so that the slope stays finite.
const STRAIGHT_ABOVE: f64 = 0.99;

/// Stretch over which a leak that opens above a pressure goes from shut to open, bar.
const OPENING_BAR: f64 = 0.1;

/// A leak as a law of both pressures.
#[derive(Clone, Copy, Debug)]
pub struct Passage {
    law: LeakLaw,
    /// Laminar and opening crack: Pa m3/s per Pa2; orifice and seat: m3/s.
    strength: f64,
}

impl Passage {
    /// The law that gives the stated rate at 7 bar absolute against this air pressure.
    #[must_use]
    pub fn new(leak: Leak, air: AbsolutePressure) -> Self {
        let one = Self { law: leak.law, strength: 1.0 };
        Self { law: leak.law, strength: leak.rate.pa_m3_s() / one.rate_pa_m3_s(STATED_AT_PA, air.pa()) }
    }

    /// Rate from one side to the other, negative if it runs back.
    #[must_use]
    pub fn rate(&self, from: AbsolutePressure, to: AbsolutePressure) -> LeakRate {
        LeakRate::from_pa_m3_s(self.rate_pa_m3_s(from.pa(), to.pa()))
    }

    fn rate_pa_m3_s(&self, from: f64, to: f64) -> f64 {
        let crack = || from * from - to * to;
        let hole = || {
            if from >= to {
                from * ellipse(to / from, ORIFICE_RATIO)
            } else {
                -to * ellipse(from / to, ORIFICE_RATIO)
            }
        };
        let difference = (from - to).abs();
        self.strength
            * match self.law {
                LeakLaw::Laminar => crack(),
                LeakLaw::Orifice => hole(),
                LeakLaw::OpensAbove { difference_bar } => {
                    // It opens over a tenth of a bar, so that the slope stays finite.
                    crack() * ((difference / 1e5 - difference_bar) / OPENING_BAR).clamp(0.0, 1.0)
                }
                LeakLaw::Seat(shrinks) => hole() * math::exp(-difference / shrinks.pa()),
                // The flow of a slot goes with the cube of its width (source key `hagen-poiseuille`, plane slot).
                LeakLaw::OpeningCrack(doubles) => {
                    let width = 1.0 + difference / doubles.pa();
                    crack() * width * width * width
                }
            }
    }

    /// Largest rate into the air from any pressure up to the one at which rates are stated.
    fn largest_pa_m3_s(&self, air_pa: f64) -> f64 {
        (1..=12)
            .map(|step| air_pa + f64::from(step) / 12.0 * (STATED_AT_PA - air_pa))
            .map(|inner| self.rate_pa_m3_s(inner, air_pa))
            .fold(0.0, f64::max)
    }
}

/// Share of the choked flow at a pressure ratio (ISO 6358-1, exponent 0.5; source key `iso-6358-1`).
#[must_use]
pub fn ellipse(ratio: f64, critical: f64) -> f64 {
    let share = |r: f64| {
        let x = (r - critical) / (1.0 - critical);
        (1.0 - x * x).max(0.0).sqrt()
    };
    if ratio <= critical {
        1.0
    } else if ratio < STRAIGHT_ABOVE {
        share(ratio)
    } else {
        share(STRAIGHT_ABOVE) * (1.0 - ratio).max(0.0) / (1.0 - STRAIGHT_ABOVE)
    }
}

/// A closed volume.
#[derive(Clone, Debug)]
pub struct Vessel {
    /// Volume.
    pub volume_m3: f64,
    /// Pressure at the start, Pa absolute.
    pub start_pa: f64,
    /// Temperature of its air at the start, K: rates hold at 20 degC, and what is warmer takes more room.
    pub start_k: f64,
    /// Kept at its pressure: vented or on supply.
    pub kept: bool,
    /// Pressure relative to the start without leaks, at each step; empty: constant.
    pub factors: Vec<f64>,
}

/// Volumes and the leaks between them.
#[derive(Clone, Debug)]
pub struct Network {
    /// Volumes.
    pub vessels: Vec<Vessel>,
    /// From, to (none: outside), law.
    pub leaks: Vec<(usize, Option<usize>, Passage)>,
    /// Surrounding air, Pa absolute.
    pub air_pa: f64,
}

impl Network {
    /// Pressures of all volumes at each step, Pa absolute: Runge and Kutta's fourth-order steps, split where a
    /// small volume would be overrun.
    #[must_use]
    pub fn run(&self, step_s: f64, count: usize) -> Vec<Vec<f64>> {
        let mut content: Vec<f64> = self.vessels.iter().map(|vessel| vessel.start_pa).collect();
        let mut seen: Vec<Vec<f64>> = self.vessels.iter().map(|_| Vec::with_capacity(count)).collect();
        let splits = self.splits(step_s);
        let inner = step_s / f64::from(splits);
        for step in 0..count {
            let factors: Vec<f64> =
                self.vessels.iter().map(|vessel| vessel.factors.get(step).copied().unwrap_or(1.0)).collect();
            for ((column, content), factor) in seen.iter_mut().zip(&content).zip(&factors) {
                column.push(content * factor);
            }
            if !self.leaks.is_empty() {
                for _ in 0..splits {
                    self.advance(&mut content, &factors, inner);
                }
            }
        }
        seen
    }

    /// Steps into which one sample's time is split: the fastest volume may lose a tenth in one.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=500")]
    fn splits(&self, step_s: f64) -> u32 {
        let fastest = self
            .leaks
            .iter()
            .map(|(from, to, passage)| {
                let at = |place: usize| self.vessels.get(place);
                let volume = [at(*from), to.and_then(at)]
                    .into_iter()
                    .flatten()
                    .filter(|vessel| !vessel.kept)
                    .map(|vessel| vessel.volume_m3)
                    .fold(f64::INFINITY, f64::min);
                passage.largest_pa_m3_s(self.air_pa) / (volume * self.air_pa)
            })
            .sum::<f64>();
        (fastest * step_s / 0.3).ceil().clamp(1.0, 500.0) as u32
    }

    fn slopes(&self, content: &[f64], factors: &[f64], slopes: &mut [f64]) {
        slopes.fill(0.0);
        let pressure = |place: usize| content[place] * factors[place];
        for (from, to, passage) in &self.leaks {
            let other = to.map_or(self.air_pa, &pressure);
            let rate = passage.rate_pa_m3_s(pressure(*from), other);
            slopes[*from] -= rate;
            if let Some(to) = to {
                slopes[*to] += rate;
            }
        }
        for (slope, vessel) in slopes.iter_mut().zip(&self.vessels) {
            let warm = vessel.start_k / STATED_AT_K;
            *slope = if vessel.kept { 0.0 } else { *slope * warm / vessel.volume_m3 };
        }
    }

    fn advance(&self, content: &mut [f64], factors: &[f64], dt: f64) {
        let count = content.len();
        let mut sum = vec![0.0; count];
        let mut slopes = vec![0.0; count];
        let mut at = content.to_vec();
        for (weight, reach) in [(1.0, 0.5), (2.0, 0.5), (2.0, 1.0), (1.0, 0.0)] {
            self.slopes(&at, factors, &mut slopes);
            for i in 0..count {
                sum[i] += weight * slopes[i];
                at[i] = content[i] + reach * dt * slopes[i];
            }
        }
        for (value, sum) in content.iter_mut().zip(&sum) {
            *value += dt * sum / 6.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::quantity::PressureDrop;

    const LAWS: [LeakLaw; 4] = [
        LeakLaw::Laminar,
        LeakLaw::Orifice,
        LeakLaw::Seat(PressureDrop::from_bar(2.0)),
        LeakLaw::OpeningCrack(PressureDrop::from_bar(3.0)),
    ];
    const AIR: AbsolutePressure = AbsolutePressure::STANDARD_ATMOSPHERE;

    fn leak(mbar_l_s: f64, law: LeakLaw) -> Passage {
        Passage::new(Leak { rate: LeakRate::from_mbar_l_s(mbar_l_s), law }, AIR)
    }

    fn vessel(ml: f64, bar_abs: f64) -> Vessel {
        Vessel {
            volume_m3: ml * 1e-6,
            start_pa: bar_abs * 1e5,
            start_k: STATED_AT_K,
            kept: false,
            factors: Vec::new(),
        }
    }

    fn alone(vessel: Vessel, passage: Passage) -> Network {
        Network { vessels: vec![vessel], leaks: vec![(0, None, passage)], air_pa: AIR.pa() }
    }

    #[test]
    fn at_first_the_rate_is_volume_times_slope() {
        // Definition of the leak rate: q = -V dp/dt.
        for law in LAWS {
            let seen = alone(vessel(500.0, 7.0), leak(1.0, law)).run(0.1, 2);
            let mbar_s = (seen[0][0] - seen[0][1]) / 100.0 / 0.1;
            assert!((mbar_s * 0.5 - 1.0).abs() < 1e-3, "{law:?} {mbar_s}");
        }
    }

    #[test]
    fn air_that_was_warm_leaks_as_much_once_it_is_cold() {
        // Ideal gas: what leaves is counted at 20 degC, so the slope of the settled air does not know how warm it was.
        let slope = |start_k: f64, left: f64| {
            let settled = Vessel { start_k, factors: vec![left; 3], ..vessel(500.0, 7.0 / left) };
            let seen = alone(settled, leak(1.0, LeakLaw::Laminar)).run(0.1, 3);
            seen[0][0] - seen[0][1]
        };
        assert!((slope(293.15 / 0.9, 0.9) / slope(293.15, 1.0) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_choked_hole_empties_exponentially() {
        let seen = alone(vessel(100.0, 7.0), leak(70.0, LeakLaw::Orifice)).run(0.1, 100);
        for (step, pressure) in seen[0].iter().enumerate().take_while(|(_, p)| **p > 2.1e5) {
            // q = q0 p/p0, so p = p0 exp(-q0 t / (p0 V)): 70 mbar l/s out of 0.7 bar l gives 0.1 /s.
            let expected = 7e5 * math::exp(-0.1 * 0.1 * step as f64);
            assert!((pressure / expected - 1.0).abs() < 1e-6, "{step}");
        }
    }

    #[test]
    fn a_narrow_crack_follows_the_hyperbola() {
        let (volume_m3, air) = (50e-6, AIR.pa());
        let passage = leak(20.0, LeakLaw::Laminar);
        let seen = alone(vessel(50.0, 7.0), passage).run(0.1, 400);
        // dp/dt = -(G/V)(p^2 - a^2) has (p-a)/(p+a) = (p0-a)/(p0+a) exp(-2 a G t / V).
        for (step, pressure) in seen[0].iter().enumerate() {
            let share = (7e5 - air) / (7e5 + air)
                * math::exp(-2.0 * air * passage.strength * 0.1 * step as f64 / volume_m3);
            let expected = air * (1.0 + share) / (1.0 - share);
            assert!((pressure / expected - 1.0).abs() < 1e-6, "{step}: {pressure} {expected}");
        }
    }

    #[test]
    fn what_one_circuit_loses_the_other_gains() {
        for law in LAWS {
            let network = Network {
                vessels: vec![vessel(80.0, 7.0), vessel(300.0, 1.01325), vessel(40.0, 1.01325)],
                leaks: vec![(0, Some(1), leak(50.0, law)), (2, Some(1), leak(20.0, law))],
                air_pa: AIR.pa(),
            };
            let seen = network.run(0.5, 2000);
            let total = |step: usize| {
                seen.iter().zip(&network.vessels).map(|(p, v)| p[step] * v.volume_m3).sum::<f64>()
            };
            for step in [1, 100, 1999] {
                assert!((total(step) / total(0) - 1.0).abs() < 1e-9);
            }
            // In the end all three are equal; a crack that all but shuts again has not come as far.
            let even = total(0) / 420e-6;
            let nearly = if matches!(law, LeakLaw::OpeningCrack(_)) { 0.2 } else { 0.01 };
            assert!(seen.iter().all(|p| (p[1999] / even - 1.0).abs() < nearly), "{law:?}");
        }
    }

    #[test]
    fn a_leak_that_opens_above_a_pressure_is_shut_below_it() {
        let law = LeakLaw::OpensAbove { difference_bar: 4.0 };
        let (crack, opening) = (leak(1.0, LeakLaw::Laminar), leak(1.0, law));
        let at = |passage: Passage, bar: f64| passage.rate(AbsolutePressure::from_bar(bar), AIR).mbar_l_s();
        assert!((at(opening, 7.0) - at(crack, 7.0)).abs() < 1e-12);
        assert!(at(opening, 5.0).abs() < 1e-12 && at(crack, 5.0) > 0.4);
    }

    #[test]
    fn seats_and_opening_cracks_follow_their_closed_forms() {
        let at = |law, bar_g: f64| {
            leak(1.0, law).rate(AbsolutePressure::from_pa(AIR.pa() + bar_g * 1e5), AIR).mbar_l_s()
        };
        // A seat that shrinks to 1/e in 2 bar, 3 against 6 bar (5.98675 up to 7 bar absolute): choked, and exp(-dp/2).
        let stated = 7.0 - AIR.bar();
        let seat = at(LeakLaw::Seat(PressureDrop::from_bar(2.0)), 3.0);
        let expected = (3.0 + AIR.bar()) / 7.0 * math::exp((stated - 3.0) / 2.0);
        assert!((seat / expected - 1.0).abs() < 1e-9, "{seat} {expected}");
        // A crack twice as wide at 3 bar as without pressure: laminar, and the cube of the width.
        let crack = at(LeakLaw::OpeningCrack(PressureDrop::from_bar(3.0)), 3.0);
        let squares = |inner: f64| inner * inner - AIR.bar() * AIR.bar();
        let width = 2.0 / (1.0 + stated / 3.0);
        let expected = squares(3.0 + AIR.bar()) / squares(7.0) * width * width * width;
        assert!((crack / expected - 1.0).abs() < 1e-9, "{crack} {expected}");
    }

    #[test]
    fn the_rate_changes_sign_with_the_direction() {
        for law in LAWS {
            let passage = leak(1.0, law);
            let (high, low) = (AbsolutePressure::from_bar(5.0), AbsolutePressure::from_bar(2.0));
            let sum = passage.rate(high, low).mbar_l_s() + passage.rate(low, high).mbar_l_s();
            assert!(sum.abs() < 1e-12);
        }
    }
}
