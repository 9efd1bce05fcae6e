//! Properties of water and of water-glycol mixtures.

pub mod glycol;

use crate::limits::{OutOfRange, within};
use crate::quantity::{AbsolutePressure, Temperature};

/// What runs through the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coolant {
    /// Plain water.
    Water,
    /// Water with ethylene glycol.
    EthyleneGlycol {
        /// Glycol by mass, 0 to 60 %.
        mass_percent: f64,
    },
    /// Water with propylene glycol.
    PropyleneGlycol {
        /// Glycol by mass, 0 to 60 %.
        mass_percent: f64,
    },
}

/// Properties of a liquid at one temperature and pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Properties {
    /// Density.
    pub density_kg_m3: f64,
    /// Dynamic viscosity.
    pub viscosity_pa_s: f64,
    /// Thermal conductivity.
    pub conductivity_w_m_k: f64,
    /// Specific heat capacity at constant pressure.
    pub heat_capacity_j_kg_k: f64,
}

impl Properties {
    /// Kinematic viscosity.
    #[must_use]
    pub fn kinematic_viscosity_m2_s(&self) -> f64 {
        self.viscosity_pa_s / self.density_kg_m3
    }

    /// Prandtl number.
    #[must_use]
    pub fn prandtl(&self) -> f64 {
        self.viscosity_pa_s * self.heat_capacity_j_kg_k / self.conductivity_w_m_k
    }
}

/// Temperature range of the water formulas, degC.
pub const TEMPERATURE_RANGE_DEG_C: (f64, f64) = (0.1, 180.0);
/// Pressure range of the water formulas, bar absolute.
pub const PRESSURE_RANGE_BAR_ABS: (f64, f64) = (0.5, 50.0);

/// Pressure at which water boils at this temperature (IAPWS-IF97, region 4; source key `iapws-r7-97`).
///
/// # Errors
/// [`OutOfRange`] outside 0.1 to 180 degC.
pub fn saturation_pressure(temperature: Temperature) -> Result<AbsolutePressure, OutOfRange> {
    let (low, high) = TEMPERATURE_RANGE_DEG_C;
    let deg_c = within("temperature_deg_c", temperature.deg_c(), low, high, "degC")?;
    Ok(AbsolutePressure::from_bar(seuif97::tx(deg_c, 0.0, seuif97::OP) * 10.0))
}

/// Properties of liquid water (IAPWS-IF97 region 1, IAPWS viscosity and conductivity; source keys `iapws-r7-97`,
/// `iapws-r12-08`, `iapws-r15-11`).
///
/// Below the boiling pressure the water is taken at the boiling pressure: the liquid's properties hardly depend
/// on pressure; whether it boils is the caller's question to [`saturation_pressure`].
///
/// # Errors
/// [`OutOfRange`] outside 0.1 to 180 degC or 0.5 to 50 bar absolute.
pub fn water(temperature: Temperature, pressure: AbsolutePressure) -> Result<Properties, OutOfRange> {
    let (low, high) = PRESSURE_RANGE_BAR_ABS;
    let bar = within("pressure_bar_abs", pressure.bar(), low, high, "bar")?;
    let boiling = saturation_pressure(temperature)?.bar();
    // A hair above the boiling line, so that rounding never puts the point into the steam.
    let (mpa, deg_c) = (bar.max(boiling * 1.000_001) / 10.0, temperature.deg_c());
    let liquid = |property| seuif97::pt(mpa, deg_c, (property, 1));
    Ok(Properties {
        density_kg_m3: liquid(seuif97::OD),
        viscosity_pa_s: liquid(seuif97::ODV),
        conductivity_w_m_k: liquid(seuif97::OTC),
        heat_capacity_j_kg_k: liquid(seuif97::OCP) * 1000.0,
    })
}

/// Properties of a liquid coolant: plain water ([`water`], 0.1 to 180 degC) or a mixture with glycol
/// ([`glycol::mixture`], from its freezing point to 100 degC).
///
/// # Errors
/// [`OutOfRange`] outside the range of the coolant's formula, naming `temperature_deg_c`, `pressure_bar_abs` or
/// `glycol_mass_percent`.
pub fn properties(
    coolant: Coolant,
    temperature: Temperature,
    pressure: AbsolutePressure,
) -> Result<Properties, OutOfRange> {
    match coolant {
        Coolant::Water => water(temperature, pressure),
        Coolant::EthyleneGlycol { mass_percent } => {
            glycol::mixture(glycol::Glycol::Ethylene, mass_percent, temperature, pressure)
        }
        Coolant::PropyleneGlycol { mass_percent } => {
            glycol::mixture(glycol::Glycol::Propylene, mass_percent, temperature, pressure)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn water_agrees_with_iapws_95() {
        // CoolProp 8.0.0 (IAPWS-95), 3 bar absolute: degC, density, viscosity in mPa s, conductivity, heat capacity.
        let rows = [
            (20.0, 998.298_142, 1.001_535, 0.598_129, 4183.43),
            (60.0, 983.282_726, 0.466_083, 0.651_104, 4184.51),
            (100.0, 958.442_319, 0.281_636, 0.677_323, 4215.22),
        ];
        for (deg_c, density, viscosity_mpa_s, conductivity, capacity) in rows {
            let ours = water(Temperature::from_deg_c(deg_c), AbsolutePressure::from_bar(3.0)).unwrap();
            assert!((ours.density_kg_m3 / density - 1.0).abs() < 2e-5, "{deg_c}");
            assert!((ours.viscosity_pa_s * 1e3 / viscosity_mpa_s - 1.0).abs() < 1e-4, "{deg_c}");
            assert!((ours.conductivity_w_m_k / conductivity - 1.0).abs() < 1e-3, "{deg_c}");
            assert!((ours.heat_capacity_j_kg_k / capacity - 1.0).abs() < 1e-3, "{deg_c}");
        }
    }

    #[test]
    fn boiling_pressure_of_if97() {
        // IAPWS R7-97(2012), table 35: 300 K 0.353658941e-2 MPa, 500 K is beyond our range.
        let at_300 = saturation_pressure(Temperature::from_k(300.0)).unwrap();
        assert!((at_300.pa() / 3_536.589_41 - 1.0).abs() < 1e-8);
        // Steam tables: 120 degC 1.987 bar.
        let at_120 = saturation_pressure(Temperature::from_deg_c(120.0)).unwrap();
        assert!((at_120.bar() - 1.987).abs() < 1e-3);
    }
}
