//! Water-glycol mixtures: own correlations, fitted to Melinder's data as CoolProp gives them.

mod tables;

use super::{Properties, TEMPERATURE_RANGE_DEG_C, water};
use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, Temperature};

/// Strengths that the correlations cover, % glycol by mass.
pub const MASS_PERCENT_RANGE: (f64, f64) = (0.0, 60.0);
/// Highest temperature of the correlations, degC; the lowest is the freezing point.
pub const TEMPERATURE_MAX_DEG_C: f64 = 100.0;
/// Below this strength the mixture blends into plain water.
const BLEND_BELOW_PERCENT: f64 = 20.0;

/// Which glycol.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Glycol {
    /// Ethylene glycol.
    Ethylene,
    /// Propylene glycol.
    Propylene,
}

/// Coefficients of one mixture: `ln P = sum c[i][j] u^i v^j`, u = mass per cent / 60, v = (degC - 30) / 70.
struct Table {
    freezing_point_deg_c: [f64; 5],
    density_kg_m3: &'static [[f64; 4]],
    viscosity_pa_s: &'static [[f64; 4]],
    conductivity_w_m_k: &'static [[f64; 4]],
    heat_capacity_j_kg_k: &'static [[f64; 4]],
}

const fn table(glycol: Glycol) -> &'static Table {
    match glycol {
        Glycol::Ethylene => &tables::ETHYLENE,
        Glycol::Propylene => &tables::PROPYLENE,
    }
}

fn horner(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

impl Table {
    fn at(&self, mass_percent: f64, deg_c: f64) -> Properties {
        let (u, v) = (mass_percent / 60.0, (deg_c - 30.0) / 70.0);
        let value =
            |rows: &[[f64; 4]]| math::exp(rows.iter().rev().fold(0.0, |sum, row| sum * u + horner(row, v)));
        Properties {
            density_kg_m3: value(self.density_kg_m3),
            viscosity_pa_s: value(self.viscosity_pa_s),
            conductivity_w_m_k: value(self.conductivity_w_m_k),
            heat_capacity_j_kg_k: value(self.heat_capacity_j_kg_k),
        }
    }
}

/// Temperature at which the first ice forms in a mixture of 0 to 60 % glycol by mass.
///
/// Polynomial fitted to CoolProp 8.0.0 (source keys `coolprop-2014`, `melinder-2010`), within 0.03 K of it.
///
/// # Errors
/// [`OutOfRange`] outside 0 to 60 % by mass.
pub fn freezing_point(glycol: Glycol, mass_percent: f64) -> Result<Temperature, OutOfRange> {
    let (low, high) = MASS_PERCENT_RANGE;
    let u = within("glycol_mass_percent", mass_percent, low, high, "% by mass")? / 60.0;
    Ok(Temperature::from_deg_c(u * horner(&table(glycol).freezing_point_deg_c, u)))
}

/// Properties of a liquid mixture of 0 to 60 % glycol by mass, from its freezing point to 100 degC.
///
/// Exponentials of polynomials fitted to CoolProp 8.0.0 (source keys `coolprop-2014`, `melinder-2010`), within
/// 0.12 % of it from 20 % glycol on. Below that they are led into plain water of IAPWS, which they meet exactly
/// at 0 %; the reference's own water is off by up to 1.8 % (viscosity), so there the difference is as large.
/// Pressure acts only through that water part; real liquids change by 0.05 % per 10 bar in density. The
/// reference itself is good to about 0.5 % (density), 1 to 2 % (heat capacity), 3 % (conductivity) and 5 %
/// (viscosity), standard uncertainty, our judgement from the scatter between handbooks.
///
/// # Errors
/// [`OutOfRange`] outside these strengths and temperatures, so also for a mixture that starts to freeze, and
/// outside the pressures of [`super::water`].
pub fn mixture(
    glycol: Glycol,
    mass_percent: f64,
    temperature: Temperature,
    pressure: AbsolutePressure,
) -> Result<Properties, OutOfRange> {
    let freezing = freezing_point(glycol, mass_percent)?;
    if mass_percent <= 0.0 {
        return water(temperature, pressure);
    }
    // The limit is rounded away from the ice, so that the value shown to the user is itself accepted.
    let low = (freezing.deg_c() * 10.0).ceil() / 10.0;
    let deg_c = within("temperature_deg_c", temperature.deg_c(), low, TEMPERATURE_MAX_DEG_C, "degC")?;
    let liquid_water_deg_c = deg_c.max(TEMPERATURE_RANGE_DEG_C.0);
    let plain = water(Temperature::from_deg_c(liquid_water_deg_c), pressure)?;
    let table = table(glycol);
    let fitted = table.at(mass_percent, deg_c);
    let away = (1.0 - mass_percent / BLEND_BELOW_PERCENT).max(0.0);
    let weight = away * away;
    let base = table.at(0.0, liquid_water_deg_c);
    let led = |mixed: f64, plain: f64, base: f64| mixed * math::powf(plain / base, weight);
    Ok(Properties {
        density_kg_m3: led(fitted.density_kg_m3, plain.density_kg_m3, base.density_kg_m3),
        viscosity_pa_s: led(fitted.viscosity_pa_s, plain.viscosity_pa_s, base.viscosity_pa_s),
        conductivity_w_m_k: led(fitted.conductivity_w_m_k, plain.conductivity_w_m_k, base.conductivity_w_m_k),
        heat_capacity_j_kg_k: led(
            fitted.heat_capacity_j_kg_k,
            plain.heat_capacity_j_kg_k,
            base.heat_capacity_j_kg_k,
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOTH: [(Glycol, &str); 2] = [
        (Glycol::Ethylene, include_str!("../../../../data/media/ethylene-glycol.toml")),
        (Glycol::Propylene, include_str!("../../../../data/media/propylene-glycol.toml")),
    ];

    fn at(glycol: Glycol, percent: f64, deg_c: f64) -> Properties {
        mixture(glycol, percent, Temperature::from_deg_c(deg_c), AbsolutePressure::from_bar(3.0)).unwrap()
    }

    fn numbers(value: &toml::Value) -> Vec<u64> {
        value.as_array().unwrap().iter().map(|number| number.as_float().unwrap().to_bits()).collect()
    }

    #[test]
    fn tables_are_those_of_the_data_files() {
        for (glycol, text) in BOTH {
            let file: toml::Table = text.parse().unwrap();
            let table = table(glycol);
            let bits = |row: &[f64]| row.iter().map(|number| number.to_bits()).collect::<Vec<u64>>();
            let freezing = &file["freezing_point_deg_c"]["coefficients"];
            assert_eq!(numbers(freezing), bits(&table.freezing_point_deg_c));
            for (name, rows) in [
                ("density_kg_m3", table.density_kg_m3),
                ("viscosity_pa_s", table.viscosity_pa_s),
                ("conductivity_w_m_k", table.conductivity_w_m_k),
                ("heat_capacity_j_kg_k", table.heat_capacity_j_kg_k),
            ] {
                let filed = file[name]["coefficients"].as_array().unwrap();
                assert_eq!(filed.len(), rows.len(), "{name}");
                for (filed, row) in filed.iter().zip(rows) {
                    assert_eq!(numbers(filed), bits(row), "{name}");
                }
                assert!(file[name]["largest_error_percent"].as_float().unwrap() < 0.2, "{name}");
            }
        }
    }

    #[test]
    fn agrees_with_coolprop() {
        // CoolProp 8.0.0, PropsSI(.., "INCOMP::MEG[x]") and MPG: % by mass, degC, density, viscosity in mPa s,
        // conductivity, heat capacity. From 20 % on within 0.15 %; at 10 % the blend towards IAPWS water counts.
        let rows = [
            (Glycol::Ethylene, 30.0, 0.1, 1044.9433, 4.2809, 0.44602, 3658.396),
            (Glycol::Ethylene, 30.0, 20.0, 1038.0455, 2.1664, 0.464897, 3718.251),
            (Glycol::Ethylene, 50.0, 100.0, 1011.5201, 0.69, 0.437075, 3646.263),
            (Glycol::Ethylene, 60.0, 20.0, 1077.1378, 4.8448, 0.356652, 3097.974),
            (Glycol::Propylene, 20.0, 20.0, 1014.7766, 2.0301, 0.492214, 3976.769),
            (Glycol::Propylene, 30.0, 0.1, 1031.5284, 7.081, 0.428533, 3802.914),
            (Glycol::Propylene, 60.0, 100.0, 980.8339, 0.9094, 0.353437, 3697.694),
            (Glycol::Ethylene, 10.0, 20.0, 1010.5789, 1.2745, 0.552892, 4045.859),
            (Glycol::Propylene, 10.0, 100.0, 965.5019, 0.3457, 0.621282, 4190.139),
        ];
        for (glycol, percent, deg_c, density, viscosity_mpa_s, conductivity, capacity) in rows {
            let ours = at(glycol, percent, deg_c);
            let limit = if percent < BLEND_BELOW_PERCENT { 6e-3 } else { 1.5e-3 };
            for (name, value, reference) in [
                ("density", ours.density_kg_m3, density),
                ("viscosity", ours.viscosity_pa_s * 1e3, viscosity_mpa_s),
                ("conductivity", ours.conductivity_w_m_k, conductivity),
                ("heat capacity", ours.heat_capacity_j_kg_k, capacity),
            ] {
                let deviation = value / reference - 1.0;
                assert!(
                    deviation.abs() < limit,
                    "{glycol:?} {percent} %, {deg_c} degC, {name}: {deviation:.5}"
                );
            }
        }
    }

    #[test]
    fn no_glycol_is_plain_water_and_a_trace_of_it_nearly() {
        for deg_c in [0.1, 20.0, 60.0, 100.0] {
            let pressure = AbsolutePressure::from_bar(3.0);
            let plain = water(Temperature::from_deg_c(deg_c), pressure).unwrap();
            for (glycol, _) in BOTH {
                assert_eq!(at(glycol, 0.0, deg_c), plain);
                let trace = at(glycol, 1e-6, deg_c);
                for (mixed, plain) in [
                    (trace.density_kg_m3, plain.density_kg_m3),
                    (trace.viscosity_pa_s, plain.viscosity_pa_s),
                    (trace.conductivity_w_m_k, plain.conductivity_w_m_k),
                    (trace.heat_capacity_j_kg_k, plain.heat_capacity_j_kg_k),
                ] {
                    assert!((mixed / plain - 1.0).abs() < 1e-6, "{glycol:?} {deg_c}");
                }
            }
        }
    }

    #[test]
    fn freezing_points() {
        // CoolProp 8.0.0, T_freeze, % by mass.
        let rows = [
            (Glycol::Ethylene, 20.0, -7.95),
            (Glycol::Ethylene, 30.0, -14.58),
            (Glycol::Ethylene, 50.0, -35.99),
            (Glycol::Propylene, 30.0, -12.79),
            (Glycol::Propylene, 50.0, -32.19),
        ];
        for (glycol, percent, reference) in rows {
            let ours = freezing_point(glycol, percent).unwrap().deg_c();
            assert!((ours - reference).abs() < 0.03, "{glycol:?} {percent}: {ours}");
        }
        assert!(freezing_point(Glycol::Ethylene, 0.0).unwrap().deg_c().abs() < 1e-9);
    }

    #[test]
    fn refuses_ice_heat_and_strong_mixtures() {
        let ask = |percent, deg_c| {
            let temperature = Temperature::from_deg_c(deg_c);
            mixture(Glycol::Ethylene, percent, temperature, AbsolutePressure::from_bar(3.0))
        };
        let ice = ask(30.0, -15.0).unwrap_err();
        assert_eq!((ice.quantity, ice.unit), ("temperature_deg_c", "degC"));
        assert!((ice.low + 14.5).abs() < 1e-9 && (ice.high - 100.0).abs() < 1e-9);
        assert!(ask(30.0, ice.low).is_ok());
        assert!(ask(30.0, 100.5).is_err());
        assert_eq!(ask(60.5, 20.0).unwrap_err().quantity, "glycol_mass_percent");
        assert!(ask(f64::NAN, 20.0).is_err());
    }
}
