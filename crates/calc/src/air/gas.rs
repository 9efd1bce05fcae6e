//! Dry air as a gas.

use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, Temperature};

/// Specific gas constant of dry air, J/(kg K) (source key `iso-2533`).
pub const GAS_CONSTANT_J_KG_K: f64 = 287.052_87;
/// Ratio of heat capacities (source key `iso-2533`).
pub const HEAT_CAPACITY_RATIO: f64 = 1.4;
/// Temperature to which leak rates and sonic conductances refer: 20 degC (source key `iso-8778`).
pub const REFERENCE_TEMPERATURE_K: f64 = 293.15;
/// Density of the reference air of ISO 8778 (20 degC, 1 bar, 65 % humidity), kg/m3.
pub const REFERENCE_DENSITY_KG_M3: f64 = 1.185;

/// Dynamic viscosity of air in Pa s by Sutherland's law (source key `iso-2533`).
///
/// # Errors
/// [`OutOfRange`] outside -40 to 200 degC.
pub fn viscosity_pa_s(temperature: Temperature) -> Result<f64, OutOfRange> {
    let kelvin = kelvin_in_range(temperature)?;
    Ok(1.458e-6 * math::powf(kelvin, 1.5) / (kelvin + 110.4))
}

/// Thermal conductivity of air in W/(m K) (source key `iso-2533`).
///
/// # Errors
/// [`OutOfRange`] outside -40 to 200 degC.
pub fn conductivity_w_m_k(temperature: Temperature) -> Result<f64, OutOfRange> {
    let kelvin = kelvin_in_range(temperature)?;
    Ok(2.648_151e-3 * math::powf(kelvin, 1.5) / (kelvin + 245.4 * math::powf(10.0, -12.0 / kelvin)))
}

/// Thermal diffusivity of air in m2/s, ideal gas: it falls as the pressure rises, which is why air at test
/// pressure settles more slowly than air in a room (source key `iso-2533`).
///
/// # Errors
/// [`OutOfRange`] outside -40 to 200 degC or 0.1 to 50 bar absolute.
pub fn thermal_diffusivity_m2_s(
    temperature: Temperature,
    pressure: AbsolutePressure,
) -> Result<f64, OutOfRange> {
    within("pressure_bar_abs", pressure.bar(), 0.1, 50.0, "bar")?;
    let conductivity = conductivity_w_m_k(temperature)?;
    let heat_capacity = GAS_CONSTANT_J_KG_K * HEAT_CAPACITY_RATIO / (HEAT_CAPACITY_RATIO - 1.0);
    let density = pressure.pa() / (GAS_CONSTANT_J_KG_K * temperature.k());
    Ok(conductivity / (density * heat_capacity))
}

/// Flow function of an isentropic nozzle: mass flow is `area * p1 / sqrt(R T) * nozzle_function(p2 / p1)`
/// (source key `white-fluid-mechanics`). Constant below the critical ratio 0.528, where the flow is choked; 0 where
/// there is no pressure difference.
#[must_use]
pub fn nozzle_function(pressure_ratio: f64) -> f64 {
    let k = HEAT_CAPACITY_RATIO;
    let critical = math::powf(2.0 / (k + 1.0), k / (k - 1.0));
    if pressure_ratio >= 1.0 {
        return 0.0;
    }
    let ratio = pressure_ratio.max(critical);
    let jet = math::powf(ratio, 2.0 / k) - math::powf(ratio, (k + 1.0) / k);
    (2.0 * k / (k - 1.0) * jet).sqrt()
}

fn kelvin_in_range(temperature: Temperature) -> Result<f64, OutOfRange> {
    within("temperature_deg_c", temperature.deg_c(), -40.0, 200.0, "degC")?;
    Ok(temperature.k())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_viscosity_and_conductivity_of_the_standard_atmosphere() {
        // ISO 2533:1975, table 1, sea level, 288.15 K: 1.7894e-5 Pa s and 0.025343 W/(m K).
        let at_15 = Temperature::from_deg_c(15.0);
        assert!((viscosity_pa_s(at_15).unwrap() / 1.7894e-5 - 1.0).abs() < 1e-4);
        assert!((conductivity_w_m_k(at_15).unwrap() / 0.025_343 - 1.0).abs() < 1e-3);
    }

    #[test]
    fn published_choked_flow_constant() {
        // White, Fluid Mechanics, section 9.4: choked mass flow 0.6847 p0 A / sqrt(R T0) for k = 1.4.
        assert!((nozzle_function(0.2) - 0.684_7).abs() < 5e-5);
        assert!((nozzle_function(0.528_28) - 0.684_7).abs() < 5e-5);
        assert!(nozzle_function(0.9) < 0.5 && nozzle_function(1.0).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_lies_outside() {
        assert!(viscosity_pa_s(Temperature::from_deg_c(500.0)).is_err());
        assert!(
            thermal_diffusivity_m2_s(Temperature::from_deg_c(20.0), AbsolutePressure::from_bar(0.0)).is_err()
        );
    }
}
