//! Energy that compressed air gives off when something bursts or lets go.

use super::gas::HEAT_CAPACITY_RATIO;
use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, Energy, GaugePressure, Volume};

/// What stands beside every stored energy.
pub const CAUTION: &str = "Compressed air is far more dangerous than water at the same pressure: keep out of line with \
plugs and hose ends, secure hoses against whipping, never tighten under pressure, vent and see the gauge at zero \
before anything is loosened. Shut-off couplings and check valves trap pressure. Local rules and the makers' \
instructions decide.";

/// Work of an isentropic expansion from the gauge pressure down to the surrounding air:
/// `E = p V / (k - 1) [1 - (pa / p)^((k - 1) / k)]` with absolute pressures and k = 1.4
/// (source key `asme-pcc-2`, form for pneumatic tests).
///
/// # Errors
/// [`OutOfRange`] outside 0 to 1e6 ml, 0 to 50 bar or an atmosphere outside 0.5 to 1.2 bar absolute.
pub fn stored_energy(
    volume: Volume,
    pressure: GaugePressure,
    atmosphere: AbsolutePressure,
) -> Result<Energy, OutOfRange> {
    within("volume_ml", volume.ml(), 0.0, 1e6, "ml")?;
    within("pressure_bar_g", pressure.bar(), 0.0, 50.0, "bar")?;
    within("atmosphere_bar_abs", atmosphere.bar(), 0.5, 1.2, "bar")?;
    let k = HEAT_CAPACITY_RATIO;
    let absolute = pressure.absolute(atmosphere).pa();
    let kept = math::powf(atmosphere.pa() / absolute, (k - 1.0) / k);
    Ok(Energy::from_j(absolute * volume.m3() / (k - 1.0) * (1.0 - kept)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn energy_j(volume_l: f64, bar: f64) -> f64 {
        let atmosphere = AbsolutePressure::STANDARD_ATMOSPHERE;
        stored_energy(Volume::from_l(volume_l), GaugePressure::from_bar(bar), atmosphere).unwrap().j()
    }

    #[test]
    fn published_form_of_asme_pcc_2() {
        // ASME PCC-2, article 501, E = 2.5 p V [1 - (pa/p)^0.286] (form from memory): 744 J and 1360 J for 1 l.
        assert!((energy_j(1.0, 6.0) / 744.0 - 1.0).abs() < 2e-3);
        assert!((energy_j(1.0, 10.0) / 1360.0 - 1.0).abs() < 2e-3);
    }

    #[test]
    fn identity_equals_the_work_integral() {
        // Work of the expansion, p dV along the isentrope in small steps, against the closed form.
        let (start, end, k) = (701_325.0_f64, 101_325.0_f64, 1.4);
        let last = 1e-3 * math::powf(start / end, 1.0 / k);
        let steps = 20_000;
        let width = (last - 1e-3) / f64::from(steps);
        let pressure = |v: f64| start * math::powf(1e-3 / v, k);
        let work: f64 = (0..steps).map(|i| pressure(1e-3 + (f64::from(i) + 0.5) * width) * width).sum();
        assert!((energy_j(1.0, 6.0) / work - 1.0).abs() < 1e-6);
    }

    #[test]
    fn refuses_vacuum() {
        let air = AbsolutePressure::STANDARD_ATMOSPHERE;
        assert!(stored_energy(Volume::from_l(1.0), GaugePressure::from_bar(-2.0), air).is_err());
    }
}
