//! Dry air as a gas.

use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::Temperature;

/// Specific gas constant of dry air, J/(kg K) (source key `iso-2533`).
pub const GAS_CONSTANT_J_KG_K: f64 = 287.052_87;
/// Ratio of heat capacities (source key `iso-2533`).
pub const HEAT_CAPACITY_RATIO: f64 = 1.4;
/// Temperature to which leak rates and sonic conductances refer: 20 degC (source key `iso-8778`).
pub const REFERENCE_TEMPERATURE_K: f64 = 293.15;
/// Density of the reference air of ISO 8778 (20 degC, 1 bar, 65 % humidity), kg/m3.
pub const REFERENCE_DENSITY_KG_M3: f64 = 1.185;

/// Dynamic viscosity of air in Pa s by Sutherland's law (source key `sutherland-iso-2533`).
///
/// # Errors
/// [`OutOfRange`] outside -40 to 200 degC.
pub fn viscosity_pa_s(temperature: Temperature) -> Result<f64, OutOfRange> {
    within("temperature_deg_c", temperature.deg_c(), -40.0, 200.0, "degC")?;
    let kelvin = temperature.k();
    Ok(1.458e-6 * math::powf(kelvin, 1.5) / (kelvin + 110.4))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn viscosity_of_the_standard_atmosphere() {
        // ISO 2533:1975, table 1, sea level, 288.15 K: 1.7894e-5 Pa s.
        let at_15 = viscosity_pa_s(Temperature::from_deg_c(15.0)).unwrap();
        assert!((at_15 / 1.7894e-5 - 1.0).abs() < 1e-4);
    }
}
