//! What a leak of air means otherwise: in other units, as a hole, as water lost at the press.

use super::gas::{GAS_CONSTANT_J_KG_K, REFERENCE_TEMPERATURE_K, nozzle_function, viscosity_pa_s};
use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{
    AbsolutePressure, GaugePressure, LeakRate, Length, STANDARD_ATMOSPHERE_PA, Temperature, VolumeFlow,
};
use crate::water;

/// Discharge coefficient of the equivalent hole: a short drilled hole, common practice, no source.
pub const HOLE_DISCHARGE_COEFFICIENT: f64 = 0.7;

/// Units in which leak rates are stated. A pressure-volume unit stands at the temperature of the leak rate that it is
/// turned into or out of; a normal or standard volume names its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeakUnit {
    /// mbar l/s.
    MbarLS,
    /// Pa m3/s.
    PaM3S,
    /// Cubic centimetre at 1 atm, per second.
    AtmCm3S,
    /// Cubic centimetre at 1 atm and 0 degC, per minute.
    AtmCm3Min0C,
    /// Cubic centimetre at 1 atm and 20 degC, per minute.
    AtmCm3Min20C,
    /// Torr litre per second.
    TorrLS,
}

/// Pressure of one torr: 1/760 of a standard atmosphere (source key `nist-sp-811`).
const TORR_PA: f64 = STANDARD_ATMOSPHERE_PA / 760.0;

/// One of a unit, in Pa m3/s at the temperature to which the leak rate refers.
fn unit_pa_m3_s(unit: LeakUnit, reference_k: f64) -> f64 {
    let cm3_min = STANDARD_ATMOSPHERE_PA * 1e-6 / 60.0;
    match unit {
        LeakUnit::MbarLS => 0.1,
        LeakUnit::PaM3S => 1.0,
        LeakUnit::AtmCm3S => STANDARD_ATMOSPHERE_PA * 1e-6,
        LeakUnit::AtmCm3Min0C => cm3_min * reference_k / 273.15,
        LeakUnit::AtmCm3Min20C => cm3_min * reference_k / 293.15,
        LeakUnit::TorrLS => TORR_PA * 1e-3,
    }
}

/// A leak rate from a number in another unit. `reference` is the temperature at which the leak rate counts: 20 degC
/// everywhere in this program; some published tables mean 0 degC, which is worth 7 %.
#[must_use]
pub fn from_unit(value: f64, unit: LeakUnit, reference: Temperature) -> LeakRate {
    LeakRate::from_pa_m3_s(value * unit_pa_m3_s(unit, reference.k()))
}

/// The number in another unit of a leak rate that counts at the temperature `reference`.
#[must_use]
pub fn to_unit(leak: LeakRate, unit: LeakUnit, reference: Temperature) -> f64 {
    leak.pa_m3_s() / unit_pa_m3_s(unit, reference.k())
}

/// Air bubbles per second at 1 atm, if each has this diameter (source key `leak-guidelines`).
#[must_use]
pub fn bubbles_per_second(leak: LeakRate, bubble: Length) -> f64 {
    let bubble_m3 = core::f64::consts::PI / 6.0 * bubble.m() * bubble.m() * bubble.m();
    leak.pa_m3_s() / STANDARD_ATMOSPHERE_PA / bubble_m3
}

/// What stands on both sides of a leak while it is measured with air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirSide {
    /// Test pressure.
    pub pressure: GaugePressure,
    /// Surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Temperature of gas and water in the leak.
    pub temperature: Temperature,
}

impl AirSide {
    fn checked(&self) -> Result<(f64, f64), OutOfRange> {
        within("pressure_bar_g", self.pressure.bar(), 0.05, 50.0, "bar")?;
        within("atmosphere_bar_abs", self.atmosphere.bar(), 0.5, 1.2, "bar")?;
        within("temperature_deg_c", self.temperature.deg_c(), 0.1, 95.0, "degC")?;
        Ok((self.pressure.absolute(self.atmosphere).pa(), self.atmosphere.pa()))
    }
}

/// Water that the same leak loses: less through a long narrow crack, more through a short hole. One pressure cannot
/// tell which, so the answer is the range between the two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaterLoss {
    /// Through a capillary with laminar flow.
    pub capillary: VolumeFlow,
    /// Through a hole with the same discharge coefficient for air and water.
    pub orifice: VolumeFlow,
}

/// Water lost at a water pressure through a leak that was measured with air.
///
/// Capillary: Hagen-Poiseuille for both fluids, `qw = qa 2 eta_a dp / (eta_w (p1^2 - pa^2))`. Orifice: nozzle flow of
/// air and `CdA sqrt(2 dp / rho)` of water with the same CdA (source keys `hagen-poiseuille`, `white-fluid-mechanics`,
/// `en-1779`). Very small leaks may be held shut by surface tension or dry up unseen; neither is in the number.
///
/// # Errors
/// [`OutOfRange`] outside 0.05 to 50 bar, 0.1 to 95 degC, or a negative leak.
pub fn water_loss(
    leak: LeakRate,
    air: AirSide,
    water_pressure: GaugePressure,
) -> Result<WaterLoss, OutOfRange> {
    let (inner, outer) = air.checked()?;
    within("leak_rate_mbar_l_s", leak.mbar_l_s(), 0.0, 1e6, "mbar l/s")?;
    within("water_pressure_bar_g", water_pressure.bar(), 0.0, 45.0, "bar")?;
    let liquid = water::water(air.temperature, water_pressure.absolute(air.atmosphere))?;
    let throughput = at_temperature(leak, air.temperature);
    let ratio = 2.0 * viscosity_pa_s(air.temperature)? * water_pressure.pa()
        / (liquid.viscosity_pa_s * (inner * inner - outer * outer));
    let jet = (2.0 * water_pressure.pa() / liquid.density_kg_m3).sqrt();
    Ok(WaterLoss {
        capillary: VolumeFlow::from_m3_s(throughput * ratio),
        orifice: VolumeFlow::from_m3_s(effective_area_m2(throughput, inner, outer, air.temperature) * jet),
    })
}

/// Diameter of the drilled hole that passes this leak, discharge coefficient 0.7 (source key
/// `white-fluid-mechanics`).
///
/// # Errors
/// [`OutOfRange`] as [`water_loss`].
pub fn hole(leak: LeakRate, air: AirSide) -> Result<Length, OutOfRange> {
    let (inner, outer) = air.checked()?;
    within("leak_rate_mbar_l_s", leak.mbar_l_s(), 0.0, 1e6, "mbar l/s")?;
    let throughput = at_temperature(leak, air.temperature);
    let area = effective_area_m2(throughput, inner, outer, air.temperature) / HOLE_DISCHARGE_COEFFICIENT;
    Ok(Length::from_m((4.0 * area / core::f64::consts::PI).sqrt()))
}

/// Diameter of the capillary of this length that passes the leak in laminar flow: `qa = pi d^4 (p1^2 - pa^2) /
/// (256 eta L)` (source key `hagen-poiseuille`). Not checked for choking or turbulence: a short wide 'capillary' is a
/// hole.
///
/// # Errors
/// [`OutOfRange`] as [`water_loss`], and for a length outside 0.01 to 1000 mm.
pub fn capillary(leak: LeakRate, air: AirSide, length: Length) -> Result<Length, OutOfRange> {
    let (inner, outer) = air.checked()?;
    within("leak_rate_mbar_l_s", leak.mbar_l_s(), 0.0, 1e6, "mbar l/s")?;
    within("capillary_length_mm", length.mm(), 0.01, 1000.0, "mm")?;
    let throughput = at_temperature(leak, air.temperature);
    let fourth = 256.0 * viscosity_pa_s(air.temperature)? * length.m() * throughput
        / (core::f64::consts::PI * (inner * inner - outer * outer));
    Ok(Length::from_m(math::powf(fourth, 0.25)))
}

/// Pressure times volume per time at the gas's own temperature, Pa m3/s.
fn at_temperature(leak: LeakRate, temperature: Temperature) -> f64 {
    leak.pa_m3_s() * temperature.k() / REFERENCE_TEMPERATURE_K
}

fn effective_area_m2(throughput_pa_m3_s: f64, inner_pa: f64, outer_pa: f64, temperature: Temperature) -> f64 {
    let gas = (GAS_CONSTANT_J_KG_K * temperature.k()).sqrt();
    throughput_pa_m3_s / (inner_pa * gas * nozzle_function(outer_pa / inner_pa))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Temperature = Temperature::from_deg_c(20.0);

    fn bench() -> AirSide {
        AirSide {
            pressure: GaugePressure::from_bar(6.0),
            atmosphere: AbsolutePressure::from_bar(1.0),
            temperature: ROOM,
        }
    }

    fn close(value: f64, expected: f64, relative: f64) -> bool {
        (value / expected - 1.0).abs() < relative
    }

    #[test]
    fn published_leak_units() {
        // liwo.com, table of leak rate units: 1 mbar l/s = 59.2 cm3/min, 1 cm3/min = 0.0169 mbar l/s, both at 0 degC.
        let ice = Temperature::from_deg_c(0.0);
        let one = LeakRate::from_mbar_l_s(1.0);
        assert!(close(to_unit(one, LeakUnit::AtmCm3Min0C, ice), 59.2, 5e-4));
        assert!(close(from_unit(1.0, LeakUnit::AtmCm3Min0C, ice).mbar_l_s(), 0.0169, 1e-3));
        // Leak guideline page: 1 atm cm3/s = 1.013 mbar l/s = 60 cm3/min = 0.76 torr l/s; 1 mbar l/s = 0.987 atm cm3/s.
        let cubic = from_unit(1.0, LeakUnit::AtmCm3S, ROOM);
        assert!(close(cubic.mbar_l_s(), 1.013, 5e-4));
        assert!(close(to_unit(cubic, LeakUnit::AtmCm3Min20C, ROOM), 60.0, 1e-9));
        assert!(close(to_unit(cubic, LeakUnit::TorrLS, ROOM), 0.76, 1e-9));
        assert!(close(to_unit(one, LeakUnit::AtmCm3S, ROOM), 0.987, 5e-4));
        assert!(close(to_unit(LeakRate::from_pa_m3_s(1.0), LeakUnit::MbarLS, ROOM), 10.0, 1e-12));
    }

    #[test]
    fn published_bubbles() {
        // Leak guideline page: 0.1 cm3/s = 24 bubbles of 2 mm per second; 0.001 = one in 4.2 s; 1e-5 = one in 7.0 min.
        let bubbles =
            |cm3_s: f64| bubbles_per_second(from_unit(cm3_s, LeakUnit::AtmCm3S, ROOM), Length::from_mm(2.0));
        assert!(close(bubbles(0.1), 24.0, 0.01));
        assert!(close(1.0 / bubbles(0.001), 4.2, 0.005));
        assert!(close(1.0 / bubbles(1e-5) / 60.0, 7.0, 0.005));
    }

    #[test]
    fn water_of_a_known_leak() {
        // Closed forms computed apart from this code (facts B6): 4.54e-8 m3/s of water per Pa m3/s of air at 7 to
        // 1 bar absolute and 20 degC, so 1 mbar l/s loses 16 ml/h through a capillary; 90 ml/h through a hole.
        let loss = water_loss(LeakRate::from_mbar_l_s(1.0), bench(), GaugePressure::from_bar(6.0)).unwrap();
        assert!(close(loss.capillary.m3_s() / 0.1, 4.54e-8, 0.01));
        assert!(close(loss.orifice.l_min() * 60_000.0, 90.0, 0.01));
    }

    #[test]
    fn hole_of_a_known_leak() {
        // Same place: choked hole, Cd 0.7, 7 bar absolute: 0.01 -> 3.6 um, 0.1 -> 11 um, 1 mbar l/s -> 36 um; and
        // Cd 156 d2 p mbar l/s for d in mm and p in bar absolute.
        for (rate, um) in [(0.01, 3.6), (0.1, 11.4), (1.0, 36.0)] {
            let found = hole(LeakRate::from_mbar_l_s(rate), bench()).unwrap().um();
            assert!(close(found, um, 0.015), "{rate}: {found}");
            let mm = found / 1e3;
            assert!(close(0.7 * 156.0 * mm * mm * 7.0, rate, 0.005));
        }
    }

    #[test]
    fn identity_capillary_round_trip() {
        let d = capillary(LeakRate::from_mbar_l_s(0.1), bench(), Length::from_mm(10.0)).unwrap().m();
        let (p1, pa) = (7e5_f64, 1e5_f64);
        let back = core::f64::consts::PI * d * d * d * d * (p1 * p1 - pa * pa) / (256.0 * 1.813e-5 * 0.01);
        assert!(close(back, 0.01, 0.005));
    }
}
