//! Filled volume without wetting, by letting air of a known volume expand into it; and from drained water.

use crate::estimate::{Uncertain, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::quantity::{
    AbsolutePressure, GaugePressure, PressureDrop, Temperature, TemperatureDifference, Volume,
};
use crate::water;

/// Air at test pressure takes this share less room than an ideal gas, at most (7 bar, 20 degC; source key `coolprop`).
const REAL_GAS_RELATIVE: f64 = 0.002;
/// Water that a drained circuit keeps back, in ml standard uncertainty per litre: common practice, no source.
const FILM_RELATIVE: f64 = 0.01;

/// A vessel of known volume was joined to the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expansion {
    /// Known volume, up to the valve.
    pub reference: Volume,
    /// Its relative standard uncertainty.
    pub reference_uncertainty_relative: f64,
    /// Pressure in the vessel before.
    pub reference_before: GaugePressure,
    /// Pressure in the circuit before: 0 if it was open.
    pub circuit_before: GaugePressure,
    /// Pressure in both, after temperatures came back.
    pub joined: GaugePressure,
    /// Surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Standard uncertainty of one reading against another of the same gauge. Gain and zero cancel, as long as one
    /// gauge reads all three.
    pub repeatability: PressureDrop,
    /// Standard uncertainty of the difference between the vessel's temperature and the circuit's.
    pub temperature_difference: TemperatureDifference,
    /// Hoses, couplings and dead ends between valve and circuit, to be taken off.
    pub fixture: Option<Fixture>,
}

/// What lies between valve and circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fixture {
    /// Volume, best from the same reading with the hoses joined to each other.
    pub volume: Volume,
    /// Its relative standard uncertainty; hoses swell by some per cent.
    pub uncertainty_relative: f64,
}

/// A volume found by expansion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrappedVolume {
    /// Volume of the circuit, fixture taken off, in ml with its standard uncertainty.
    pub volume_ml: Uncertain,
    /// Volume with the fixture, in ml with its standard uncertainty.
    pub with_fixture_ml: Uncertain,
    /// Whether the reading says anything about the circuit.
    pub measurable: Measurable,
}

/// Whether the reading says anything about the circuit behind the fixture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measurable {
    /// It does.
    Yes,
    /// Uncertainty above 10 %: too coarse to tell a layer from a plug.
    Coarse,
    /// The 95 % interval reaches zero: not measurable behind this hose (or with this vessel).
    BehindFixture,
}

/// Why no volume follows from the readings.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TrappedError {
    /// A number is outside its range.
    #[error(transparent)]
    Range(#[from] OutOfRange),
    /// Nothing expands.
    #[error(
        "vessel and circuit are both at {pressure_bar_g} bar: nothing expands; charge the vessel to 3 bar or more"
    )]
    NoDifference {
        /// Pressure of both.
        pressure_bar_g: f64,
    },
    /// A mixture lies between its parts.
    #[error(
        "the joined pressure {joined_bar_g} bar does not lie between the two before; read the gauges again"
    )]
    NotBetween {
        /// Pressure after joining.
        joined_bar_g: f64,
    },
}

/// Volume of the circuit from the pressures before and after joining it to a known volume:
/// `V (p_joined - p_circuit) = V_ref (p_ref - p_joined)`, ideal gas, same temperature before and long after
/// (source key `en-13184`); uncertainty by the law of propagation (source key `jcgm-100`).
///
/// # Errors
/// [`TrappedError`] for pressures that no expansion gives, or numbers out of range.
pub fn by_expansion(reading: &Expansion) -> Result<TrappedVolume, TrappedError> {
    let [vessel, circuit, joined] = checked_pressures(reading)?;
    let (fall, rise) = (vessel - joined, joined - circuit);
    let ratio = fall / rise;
    let reference = reading.reference.ml();
    let repeat = reading.repeatability.bar();
    // Sensitivities of the ratio to the three readings: 1/rise, (fall + rise)/rise^2, fall/rise^2.
    let readings = root_sum_square(&[
        repeat / rise,
        repeat * (fall + rise) / (rise * rise),
        if reading.circuit_before.pa().abs() > 0.0 { repeat * fall / (rise * rise) } else { 0.0 },
    ]);
    let warmth = reading.temperature_difference.k() / super::gas::REFERENCE_TEMPERATURE_K;
    let relative = root_sum_square(&[
        reading.reference_uncertainty_relative,
        warmth,
        REAL_GAS_RELATIVE / 3.0_f64.sqrt(),
    ]);
    let total = reference * ratio;
    let with_fixture = Uncertain::new(total, root_sum_square(&[reference * readings, total * relative]));
    let fixture = reading.fixture.map_or(Uncertain::new(0.0, 0.0), |fixture| {
        Uncertain::relative(fixture.volume.ml(), fixture.uncertainty_relative)
    });
    let volume = Uncertain::new(
        with_fixture.value - fixture.value,
        root_sum_square(&[with_fixture.standard, fixture.standard]),
    );
    Ok(TrappedVolume { volume_ml: volume, with_fixture_ml: with_fixture, measurable: measurable(volume) })
}

fn checked_pressures(reading: &Expansion) -> Result<[f64; 3], TrappedError> {
    within("reference_volume_ml", reading.reference.ml(), 1e-3, 1e6, "ml")?;
    within("reference_uncertainty_relative", reading.reference_uncertainty_relative, 0.0, 1.0, "")?;
    within("pressure_repeatability_bar", reading.repeatability.bar(), 0.0, 10.0, "bar")?;
    within("temperature_difference_k", reading.temperature_difference.k(), 0.0, 100.0, "K")?;
    let vacuum = -reading.atmosphere.bar();
    let [vessel, circuit, joined] = [
        ("reference_bar_g", reading.reference_before),
        ("circuit_bar_g", reading.circuit_before),
        ("joined_bar_g", reading.joined),
    ]
    .map(|(name, pressure)| within(name, pressure.bar(), vacuum, 50.0, "bar"));
    let (vessel, circuit, joined) = (vessel?, circuit?, joined?);
    if (vessel - circuit).abs() < 1e-9 {
        return Err(TrappedError::NoDifference { pressure_bar_g: vessel });
    }
    let (low, high) = (vessel.min(circuit), vessel.max(circuit));
    if joined <= low || joined >= high {
        return Err(TrappedError::NotBetween { joined_bar_g: joined });
    }
    Ok([vessel, circuit, joined])
}

fn measurable(volume: Uncertain) -> Measurable {
    if volume.estimate().low <= 0.0 {
        Measurable::BehindFixture
    } else if volume.relative_standard() > 0.1 {
        Measurable::Coarse
    } else {
        Measurable::Yes
    }
}

/// Volume of water that was drained, from its weight in air, in ml (source keys `iso-4185` for the buoyancy of steel
/// weights, `iapws-r7-97` for the density). `mass_g` is the reading of the balance with its standard uncertainty; 1 %
/// stands for the water that stays behind as a film.
///
/// # Errors
/// [`OutOfRange`] outside 0.1 to 95 degC or for a mass that is not positive.
pub fn by_drained_water(mass_g: Uncertain, temperature: Temperature) -> Result<Uncertain, OutOfRange> {
    within("mass_g", mass_g.value, 1e-3, 1e6, "g")?;
    within("temperature_deg_c", temperature.deg_c(), 0.1, 95.0, "degC")?;
    let liquid = water::water(temperature, AbsolutePressure::STANDARD_ATMOSPHERE)?.density_kg_m3;
    let (air, weights) = (1.2, 8000.0);
    let ml_per_g = 1e3 * (1.0 - air / weights) / (liquid - air);
    let volume = mass_g.value * ml_per_g;
    Ok(Uncertain::new(volume, root_sum_square(&[mass_g.standard * ml_per_g, volume * FILM_RELATIVE])))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(vessel: f64, circuit: f64, joined: f64) -> Expansion {
        Expansion {
            reference: Volume::from_ml(200.0),
            reference_uncertainty_relative: 0.0,
            reference_before: GaugePressure::from_bar(vessel),
            circuit_before: GaugePressure::from_bar(circuit),
            joined: GaugePressure::from_bar(joined),
            atmosphere: AbsolutePressure::from_bar(1.013),
            repeatability: PressureDrop::from_mbar(10.0),
            temperature_difference: TemperatureDifference::from_k(0.0),
            fixture: None,
        }
    }

    #[test]
    fn identity_ideal_gas_both_ways() {
        assert!((by_expansion(&reading(6.0, 0.0, 3.0)).unwrap().volume_ml.value - 200.0).abs() < 1e-9);
        assert!((by_expansion(&reading(6.0, 1.0, 4.5)).unwrap().volume_ml.value - 600.0 / 7.0).abs() < 1e-9);
        let backwards = Expansion { reference: Volume::from_ml(150.0), ..reading(0.0, 5.0, 2.0) };
        assert!((by_expansion(&backwards).unwrap().volume_ml.value - 100.0).abs() < 1e-9);
    }

    #[test]
    fn uncertainty_of_known_ratios() {
        // Independent prototype (10 mbar per reading, 6 bar): V/Vr 0.025 -> 10 %, 0.1 -> 2.7 %, 0.5 to 2 -> 0.7 to
        // 0.9 %, 10 -> 2 % relative standard deviation.
        for (ratio, low, high) in [
            (0.025, 0.095, 0.105),
            (0.1, 0.026, 0.028),
            (0.5, 0.006, 0.01),
            (2.0, 0.006, 0.01),
            (10.0, 0.018, 0.022),
        ] {
            let found = by_expansion(&reading(6.0, 0.0, 6.0 / (1.0 + ratio))).unwrap();
            let relative = found.volume_ml.relative_standard();
            assert!(low < relative && relative < high, "{ratio}: {relative}");
        }
    }

    #[test]
    fn small_circuit_behind_a_long_hose_is_not_measurable() {
        // 2 m of 11 mm hose, 190 ml +- 4 %, hides a circuit of 10 ml; 100 ml can be seen behind it.
        let hose = Some(Fixture { volume: Volume::from_ml(190.0), uncertainty_relative: 0.04 });
        let joined = |circuit: f64| 6.0 * 200.0 / (200.0 + 190.0 + circuit);
        let hidden = by_expansion(&Expansion { fixture: hose, ..reading(6.0, 0.0, joined(10.0)) }).unwrap();
        assert_eq!(hidden.measurable, Measurable::BehindFixture);
        let seen = by_expansion(&Expansion { fixture: hose, ..reading(6.0, 0.0, joined(100.0)) }).unwrap();
        assert_eq!(seen.measurable, Measurable::Yes);
        assert!((seen.volume_ml.value - 100.0).abs() < 1e-6);
    }

    #[test]
    fn refuses_impossible_pressures() {
        assert!(matches!(by_expansion(&reading(6.0, 0.0, 6.5)), Err(TrappedError::NotBetween { .. })));
        assert!(matches!(by_expansion(&reading(3.0, 3.0, 3.0)), Err(TrappedError::NoDifference { .. })));
    }

    #[test]
    fn published_weighing_factor() {
        // ISO 4787, table of Z factors: 1.0029 ml/g at 20 degC and 1013 hPa (from memory).
        let found = by_drained_water(Uncertain::new(100.0, 0.0), Temperature::from_deg_c(20.0)).unwrap();
        assert!((found.value / 100.29 - 1.0).abs() < 1e-4);
    }
}
