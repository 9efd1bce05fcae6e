//! How well what was measured on a port fits a circuit.

use crate::estimate::root_sum_square;
use crate::numeric::{math, stats};

/// A value as logarithm with the standard uncertainty of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LnValue {
    /// Natural logarithm of the value in its unit.
    pub ln: f64,
    /// Standard uncertainty of the logarithm (0.02 for 2 %).
    pub sd: f64,
}

impl LnValue {
    /// A positive value with a relative standard uncertainty; none for a value that has no logarithm.
    #[must_use]
    pub fn of(value: f64, relative: f64) -> Option<Self> {
        let sound = value > 0.0 && value.is_finite() && relative >= 0.0 && relative.is_finite();
        sound.then(|| Self { ln: math::ln(value), sd: relative })
    }

    /// Of two values side by side: they add.
    fn joined(self, other: Self) -> Self {
        let share = 1.0 / (1.0 + math::exp((other.ln - self.ln).clamp(-700.0, 700.0)));
        Self {
            ln: self.ln - math::ln(share.max(1e-300)),
            sd: root_sum_square(&[share * self.sd, (1.0 - share) * other.sd]),
        }
    }
}

/// Quantities by which circuits are told apart; hoses are taken out of all three.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Quantities {
    /// Flow factor, m3/h.
    pub flow: Option<LnValue>,
    /// Filled volume, ml.
    pub volume: Option<LnValue>,
    /// Sonic conductance, dm3/(s bar).
    pub air: Option<LnValue>,
}

impl Quantities {
    /// Of two circuits side by side: flow factors, volumes and conductances add; what one lacks nobody knows of both.
    #[must_use]
    pub fn joined(&self, other: &Self) -> Self {
        let both = |a: Option<LnValue>, b: Option<LnValue>| Some(a?.joined(b?));
        Self {
            flow: both(self.flow, other.flow),
            volume: both(self.volume, other.volume),
            air: both(self.air, other.air),
        }
    }

    pub(super) fn list(&self) -> [Option<LnValue>; 3] {
        [self.flow, self.volume, self.air]
    }
}

/// How often a circuit is as it should be, has lost something, or is otherwise than anybody wrote down (own choice).
const SOUND: f64 = 0.60;
const FOULED: f64 = 0.37;
const ODD: f64 = 0.03;
/// What an odd circuit may pass, as ln of the ratio to what is expected, and the spread of its ln volume (own choice).
const ODD_RANGE: (f64, f64) = (-1.0, 2.0);
const ODD_VOLUME: f64 = 0.15;
/// Mean loss of ln flow factor (or conductance) and of ln volume in a fouled circuit (own choice).
const FLOW_TAIL: f64 = 0.6;
const VOLUME_TAIL: f64 = 0.25;
/// Share of fouled circuits with narrow places only, which take no volume (own choice).
const NARROW_PLACE: f64 = 0.4;
/// Air and water lose about alike in a fouled circuit: spread of the difference (own choice).
const ALIKE: f64 = 0.25;
/// Scatter that no stated uncertainty covers (own choice).
const UNSTATED: f64 = 0.02;
/// Drawing errors move water and air together: correlation of their expectations (own choice).
const TOGETHER: f64 = 0.7;
/// Density of any value of a quantity of which nothing is known: between a twentieth and twenty times (own choice).
pub(super) const UNKNOWN: f64 = 1.0 / 6.0;

/// Density of an exponentially modified normal distribution at `x`: the sum of a normal variable of mean 0 and standard
/// deviation `sd` and an exponential one of mean `tail`; both positive (source key `own-arithmetic`).
#[must_use]
pub fn exponnorm(x: f64, sd: f64, tail: f64) -> f64 {
    let shift = x / sd - sd / tail;
    if shift > -8.0 {
        return math::exp(sd * sd / (2.0 * tail * tail) - x / tail) / tail * stats::normal_below(shift);
    }
    // Mills' ratio far out, so that a tiny tail and a large power never meet.
    let square = shift * shift;
    let z = x / sd;
    normal(z, 1.0) / (tail * -shift)
        * (1.0 - 1.0 / square + 3.0 / (square * square) - 15.0 / (square * square * square))
}

fn normal(x: f64, sd: f64) -> f64 {
    let z = x / sd;
    math::exp(-0.5 * z * z) / (sd * (2.0 * core::f64::consts::PI).sqrt())
}

/// Density of two normal variables of mean 0.
fn normal_pair(x: f64, y: f64, sd_x: f64, sd_y: f64, covariance: f64) -> f64 {
    // The second, given the first.
    let slope = covariance / (sd_x * sd_x);
    let left = (sd_y * sd_y - slope * covariance).max(1e-12).sqrt();
    normal(x, sd_x) * normal(y - slope * x, left)
}

/// A measured value against an expected one: their difference, its spread, and the expectation's own part.
#[derive(Clone, Copy)]
struct Miss {
    by: f64,
    sd: f64,
    expected_sd: f64,
}

fn miss(measured: Option<LnValue>, expected: Option<LnValue>) -> Option<Miss> {
    let (measured, expected) = (measured?, expected?);
    let sd = root_sum_square(&[measured.sd, expected.sd, UNSTATED]);
    Some(Miss { by: measured.ln - expected.ln, sd, expected_sd: expected.sd })
}

/// Density of what was measured (in logarithms) if this circuit was there and something passed through it.
///
/// A sum of three: sound (normal around what is expected, water and air correlated), fouled (less flow than as new, air
/// alike, a little less volume: one-sided exponential losses), odd (missing part or wrong drawing: anything, air as water).
/// With `two_sided` the expectation is that of sister circuits, which may be the fouled ones.
#[must_use]
pub fn passing(measured: &Quantities, expected: &Quantities, two_sided: bool) -> f64 {
    let nothing_known = measured
        .list()
        .iter()
        .zip(expected.list())
        .filter(|(measured, expected)| measured.is_some() && expected.is_none())
        .count();
    let flow = miss(measured.flow, expected.flow);
    let volume = miss(measured.volume, expected.volume);
    let air = miss(measured.air, expected.air);
    let loss = |miss: Miss, tail: f64| match two_sided {
        true => 0.5 * (exponnorm(-miss.by, miss.sd, tail) + exponnorm(miss.by, miss.sd, tail)),
        false => exponnorm(-miss.by, miss.sd, tail),
    };
    let (sound, fouled, odd) = match (flow, air) {
        (Some(flow), Some(air)) => {
            let covariance = TOGETHER * flow.expected_sd * air.expected_sd;
            let apart = (flow.sd * flow.sd + air.sd * air.sd - 2.0 * covariance + ALIKE * ALIKE).sqrt();
            let alike = normal(air.by - flow.by, apart);
            (
                normal_pair(flow.by, air.by, flow.sd, air.sd, covariance),
                loss(flow, FLOW_TAIL) * alike,
                anything(flow) * alike,
            )
        }
        (Some(one), None) | (None, Some(one)) => {
            (normal(one.by, one.sd), loss(one, FLOW_TAIL), anything(one))
        }
        (None, None) => (1.0, 1.0, 1.0),
    };
    let lost = flow.or(air).map(|one| if two_sided { one.by.abs() } else { (-one.by).max(0.0) });
    let (sound_volume, fouled_volume, odd_volume) = volume.map_or((1.0, 1.0, 1.0), |volume| {
        let wide = root_sum_square(&[volume.sd, ODD_VOLUME]);
        let fouled = |by: f64| match lost {
            Some(lost) => {
                NARROW_PLACE * normal(by, volume.sd) + (1.0 - NARROW_PLACE) * layered(by, volume.sd, lost)
            }
            None => exponnorm(-by, volume.sd, VOLUME_TAIL),
        };
        let fouled =
            if two_sided { 0.5 * (fouled(volume.by) + fouled(-volume.by)) } else { fouled(volume.by) };
        let odd = 0.7 * normal(volume.by, wide) + 0.3 * anything(volume);
        (normal(volume.by, volume.sd), fouled, odd)
    });
    let sum = SOUND * sound * sound_volume + FOULED * fouled * fouled_volume + ODD * odd * odd_volume;
    (0..nothing_known).fold(sum, |density, _| density * UNKNOWN)
}

/// What the filled-volume reading says behind a hose through which nothing passes.
///
/// The rig takes the volume of both hoses out; where the way back is not reached, its part was taken out too much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeadEnd {
    /// Filled volume, hoses taken out, ml; may be negative.
    pub filled_ml: f64,
    /// Standard uncertainty of it, ml.
    pub standard_ml: f64,
    /// Volume of the hose back that was taken out, ml; 0 for a reading without hoses.
    pub back_ml: f64,
}

/// How well the part of the hose back is known, relative (own choice).
const BACK_KNOWN: f64 = 0.15;
/// Part of a dead end's density that any volume up to ten litres has (own choice).
const STRAY: f64 = 0.02;
const STRAY_ML: f64 = 10_000.0;

impl DeadEnd {
    fn spread_ml(&self, further_ml: f64) -> f64 {
        root_sum_square(&[self.standard_ml, BACK_KNOWN * self.back_ml, further_ml, 1.0])
    }

    fn with_stray(density: f64) -> f64 {
        (1.0 - STRAY) * density + STRAY / STRAY_ML
    }

    /// Density, per ml, if the circuit is blocked somewhere: its volume up to the block, anywhere alike.
    #[must_use]
    pub fn if_blocked(&self, volume: Option<LnValue>) -> f64 {
        let Some(volume) = volume else { return 1.0 / 500.0 };
        let full_ml = math::exp(volume.ln.min(16.0));
        let (from, to) = (-self.back_ml, full_ml - self.back_ml);
        let below = |x: f64, spread: f64| stats::normal_below((self.filled_ml - x) / spread);
        let inside = below(from, self.spread_ml(0.0)) - below(to, self.spread_ml(volume.sd * full_ml));
        Self::with_stray(inside.max(0.0) / full_ml)
    }

    /// Density, per ml, if the hose leads to nothing and its coupling shut itself.
    #[must_use]
    pub fn if_missing(&self) -> f64 {
        Self::with_stray(normal(self.filled_ml + self.back_ml, self.spread_ml(0.0)))
    }

    /// Density, per ml, if the whole circuit fills and a hose back with it, up to a shut valve.
    #[must_use]
    pub fn if_whole(&self, volume: Option<LnValue>) -> f64 {
        let Some(volume) = volume else { return 1.0 / 500.0 };
        let full_ml = math::exp(volume.ln.min(16.0));
        // A fouled circuit holds a little less.
        let sd = self.spread_ml(root_sum_square(&[volume.sd, UNSTATED]) * full_ml);
        let short_ml = full_ml - self.filled_ml;
        Self::with_stray(
            SOUND * normal(short_ml, sd) + (1.0 - SOUND) * exponnorm(short_ml, sd, VOLUME_TAIL * full_ml),
        )
    }
}

/// Density of ln volume under a layer of any length on the wall, where so much of ln flow is lost: the bore takes the flow
/// with its power 2.5 and the volume with its power 2.
fn layered(by: f64, sd: f64, lost: f64) -> f64 {
    let (most, sd) = (2.0 / 2.5 * lost + 0.02, root_sum_square(&[sd, 0.1 * lost]));
    ((stats::normal_below((by + most) / sd) - stats::normal_below(by / sd)) / most).max(0.0)
}

/// Density of a miss if anything from a third to seven times may be there, and a little beyond, with the scatter of the
/// reading.
fn anything(miss: Miss) -> f64 {
    let (low, high) = ODD_RANGE;
    let inside =
        stats::normal_below((miss.by - low) / miss.sd) - stats::normal_below((miss.by - high) / miss.sd);
    0.98 * inside.max(0.0) / (high - low) + 0.02 * 0.1 * math::exp(-0.2 * miss.by.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(mut density: impl FnMut(f64) -> f64) -> f64 {
        (-20_000..20_000).map(|step| density((f64::from(step) + 0.5) * 1e-3) * 1e-3).sum()
    }

    #[test]
    fn densities_add_up_to_one() {
        for (sd, tail) in [(0.02, 0.6), (0.4, 0.15), (1.5, 0.05)] {
            let total = steps(|x| exponnorm(x, sd, tail));
            assert!((total - 1.0).abs() < 1e-3, "{sd}, {tail}: {total}");
        }
        let expected = Quantities { flow: LnValue::of(1.0, 0.05), ..Quantities::default() };
        let total = steps(|ln| {
            let measured = Quantities { flow: Some(LnValue { ln, sd: 0.03 }), ..Quantities::default() };
            passing(&measured, &expected, false)
        });
        assert!((total - 1.0).abs() < 0.005, "{total}");
    }

    #[test]
    fn densities_of_a_dead_end_add_up_to_one() {
        let volume = LnValue::of(150.0, 0.05);
        let sum = |density: &dyn Fn(DeadEnd) -> f64| -> f64 {
            let end = |ml: i32| DeadEnd { filled_ml: f64::from(ml), standard_ml: 4.0, back_ml: 80.0 };
            (-1000..1000).map(|ml| density(end(ml))).sum()
        };
        let stray = STRAY * 2000.0 / STRAY_ML;
        for total in [
            sum(&|end| end.if_blocked(volume)),
            sum(&|end| end.if_missing()),
            sum(&|end| end.if_whole(volume)),
        ] {
            assert!((total - (1.0 - STRAY) - stray).abs() < 0.01, "{total}");
        }
    }

    #[test]
    fn both_forms_of_the_tail_meet() {
        // Either side of the place where Mills' ratio takes over.
        let (sd, tail) = (0.1, 0.02);
        let at = |shift: f64| exponnorm((shift + sd / tail) * sd, sd, tail);
        assert!((at(-8.000_001) / at(-7.999_999) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn two_side_by_side_add() {
        let (a, b) = (LnValue::of(0.6, 0.02).unwrap(), LnValue::of(0.9, 0.04).unwrap());
        let both = a.joined(b);
        assert!((math::exp(both.ln) - 1.5).abs() < 1e-12);
        let sd = ((0.6 * 0.02_f64).powi(2) + (0.9 * 0.04_f64).powi(2)).sqrt() / 1.5;
        assert!((both.sd - sd).abs() < 1e-12);
    }
}
