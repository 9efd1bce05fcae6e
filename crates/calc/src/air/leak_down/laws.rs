//! How a leak's rate goes with the pressure: through a crack, a hole, a seat that pressure presses shut, a crack that it
//! opens. While freshly filled air settles the pressure falls, so what is seen later is a rate at less than the starting
//! pressure, and what the rate was at the start depends on the law.

use super::basis::Shape;
use crate::air::gas::nozzle_function;
use crate::numeric::math;

/// A seat's opening shrinks by this factor of e from no pressure to that of the start; the middle of the seats of
/// [`super::super::leak_kind`] (own proposal).
const SEAT_SHRINKS: f64 = 2.15;
/// Power of the pressure difference by which an opening crack grows beside the laminar law; the middle of those there.
const OPENING_POWER: f64 = 1.65;

/// Something of a leak by each law: a rate against that at the start, or seconds of leak at the start pressure.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct ByLaw {
    crack: f64,
    hole: f64,
    seat: f64,
    opening: f64,
}

impl ByLaw {
    /// The same by every law.
    pub(super) const fn all(value: f64) -> Self {
        Self { crack: value, hole: value, seat: value, opening: value }
    }

    /// Rates at an absolute pressure against those at the start; nothing gets out where there is no overpressure.
    pub(super) fn relative_rate(pressure_mbar: f64, start_mbar: f64, atmosphere_mbar: f64) -> Self {
        let (outer, start) = (atmosphere_mbar, start_mbar);
        if pressure_mbar <= outer {
            return Self::default();
        }
        let crack = (pressure_mbar * pressure_mbar - outer * outer) / (start * start - outer * outer);
        let hole =
            pressure_mbar * nozzle_function(outer / pressure_mbar) / (start * nozzle_function(outer / start));
        let over = (pressure_mbar - outer) / (start - outer);
        Self {
            crack,
            hole,
            seat: hole * math::exp(SEAT_SHRINKS * (1.0 - over)),
            opening: crack * math::powf(over, OPENING_POWER),
        }
    }

    /// Sum of this and a part of another.
    pub(super) fn plus(self, part: f64, other: Self) -> Self {
        self.with(other, |mine, theirs| mine + part * theirs)
    }

    /// Law by law.
    pub(super) fn with(self, other: Self, made: impl Fn(f64, f64) -> f64) -> Self {
        Self {
            crack: made(self.crack, other.crack),
            hole: made(self.hole, other.hole),
            seat: made(self.seat, other.seat),
            opening: made(self.opening, other.opening),
        }
    }

    /// The mean of crack and hole, by which a leak is reckoned first.
    pub(super) const fn usual(self) -> f64 {
        (self.crack + self.hole) / 2.0
    }

    /// As [`Self::of`] for two readings, which show no course: ratios instead of differences, so that a law in which most
    /// would have got out late (or early) stays a factor of the rate.
    pub(super) fn of_two(self, shape: Shape) -> f64 {
        let ratio = |a: f64, b: f64| if a > 0.0 && b > 0.0 { math::ln(a / b) } else { 0.0 };
        self.usual()
            * match shape {
                Shape::Leak => 1.0,
                Shape::Law => ratio(self.crack, self.hole) / 2.0,
                Shape::Seat => ratio(self.seat, self.hole),
                Shape::Opening => ratio(self.opening, self.crack),
                _ => 0.0,
            }
    }

    /// What a shape of the fit has of it; shapes that are no leak have nothing.
    pub(super) const fn of(self, shape: Shape) -> f64 {
        match shape {
            Shape::Leak => self.usual(),
            Shape::Law => (self.crack - self.hole) / 2.0,
            Shape::Seat => self.seat - self.hole,
            Shape::Opening => self.opening - self.crack,
            _ => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_the_start_all_laws_are_one() {
        let start = ByLaw::relative_rate(7000.0, 7000.0, 1000.0);
        assert_eq!(start, ByLaw::all(1.0));
        for shape in [Shape::Law, Shape::Seat, Shape::Opening] {
            assert!(start.of(shape).abs() < 1e-12);
        }
    }

    #[test]
    fn slopes_at_the_start_are_those_of_the_laws() {
        // d ln(rate)/d ln(p): crack 2 p^2/(p^2 - a^2), choked hole 1, seat and opening with what they add p/(p - a) times.
        let (p, a, h) = (7000.0, 1000.0, 1.0);
        let near = ByLaw::relative_rate(p - h, p, a);
        let slope = |rate: f64| (1.0 - rate) * p / h;
        let crack = 2.0 * p * p / (p * p - a * a);
        for (found, expected) in [
            (near.crack, crack),
            (near.hole, 1.0),
            (near.seat, 1.0 - SEAT_SHRINKS * p / (p - a)),
            (near.opening, crack + OPENING_POWER * p / (p - a)),
        ] {
            assert!((slope(found) / expected - 1.0).abs() < 2e-3, "{} {expected}", slope(found));
        }
    }
}
