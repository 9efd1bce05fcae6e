//! How the rate of each kind of leak grows with pressure.

use super::Kind;
use crate::air::gas::nozzle_function;
use crate::numeric::math;

/// Pressure at which all laws are 1, bar gauge: the pressure at which leak limits hold.
pub const REFERENCE_BAR_G: f64 = 6.0;
/// Power of the pressure difference with which a seat's opening narrows (own proposal; 4 is the slope at 6 bar of an
/// opening that shrinks to 1/e in every 1.5 bar).
pub const SEAT_POWER: (f64, f64) = (0.3, 4.0);
/// Power of the pressure difference with which a crack's conductance grows beside the laminar law (own proposal). A slot
/// that is shut without pressure and widens in proportion has 3: the laminar flow of a slot goes with its width cubed.
pub const OPENING_POWER: (f64, f64) = (0.3, 3.0);

/// A kind of leak with the one number that shapes it; crack and orifice need none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Law {
    pub(super) kind: Kind,
    pub(super) power: f64,
}

impl Law {
    /// Rate at a gauge pressure over the rate at 6 bar, same leak and air.
    ///
    /// Crack: `p1^2 - p2^2` (source key `hagen-poiseuille`, compressible). Orifice: nozzle flow, choked where `p2/p1`
    /// is under 0.528 (source key `white-fluid-mechanics`). Seat and opening crack: orifice and crack times a power of
    /// the pressure difference (own proposal).
    pub(super) fn share(self, bar_g: f64, atmosphere_bar: f64) -> f64 {
        self.raw(bar_g, atmosphere_bar) / self.raw(REFERENCE_BAR_G, atmosphere_bar)
    }

    fn raw(self, bar_g: f64, air: f64) -> f64 {
        let inner = bar_g + air;
        let crack = inner * inner - air * air;
        let hole = inner * nozzle_function(air / inner);
        match self.kind {
            Kind::LaminarCrack => crack,
            Kind::Orifice => hole,
            Kind::SealingSeat => hole * math::powf(bar_g, -self.power),
            Kind::OpeningCrack => crack * math::powf(bar_g, self.power),
        }
    }
}

/// Middles of equal parts of a range.
pub(super) fn middles((low, high): (f64, f64), count: u32) -> impl Iterator<Item = f64> {
    let step = (high - low) / f64::from(count);
    (0..count).map(move |place| low + (f64::from(place) + 0.5) * step)
}
