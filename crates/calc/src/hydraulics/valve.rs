//! Flow factor that a valve or fitting needs for a duty, by the standard for control valves.

use crate::limits::{OutOfRange, within};
use crate::quantity::{AbsolutePressure, FlowFactor, VolumeFlow};

/// What a valve has to pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Duty {
    /// Flow.
    pub flow: VolumeFlow,
    /// Pressure before the valve.
    pub inlet: AbsolutePressure,
    /// Pressure behind it.
    pub outlet: AbsolutePressure,
    /// Density over that of water of 15 degC.
    pub relative_density: f64,
    /// Boiling pressure of the liquid at the inlet.
    pub vapour_pressure: AbsolutePressure,
    /// Critical pressure of the liquid.
    pub critical_pressure: AbsolutePressure,
    /// Pressure recovery factor FL of the valve; with reducers beside it, the joint factor FLP.
    pub pressure_recovery_factor: f64,
    /// Piping geometry factor Fp; 1 without reducers.
    pub piping_geometry_factor: f64,
}

/// The flow factor for a duty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ValveSize {
    /// Flow factor Kv.
    pub flow_factor: FlowFactor,
    /// Whether the liquid boils in the throat, so that a lower outlet pressure gives no more flow.
    pub choked: bool,
}

/// Flow factor for turbulent flow of a liquid (IEC 60534-2-1, incompressible flow; source key `iec-60534-2-1`).
///
/// # Errors
/// [`OutOfRange`] for a pressure or factor that cannot be; `inlet_bar_abs` where the inlet is at boiling.
pub fn size(duty: &Duty) -> Result<ValveSize, OutOfRange> {
    let flow_m3_h = within("flow_m3_h", duty.flow.m3_h(), 0.0, 1e9, "m3/h")?;
    let inlet = within("inlet_bar_abs", duty.inlet.bar(), 1e-6, 1e5, "bar")?;
    let outlet = within("outlet_bar_abs", duty.outlet.bar(), 0.0, inlet * (1.0 - 1e-9), "bar")?;
    let density = within("relative_density", duty.relative_density, 0.01, 30.0, "(pure number)")?;
    let recovery =
        within("pressure_recovery_factor", duty.pressure_recovery_factor, 0.05, 1.0, "(pure number)")?;
    let piping = within("piping_geometry_factor", duty.piping_geometry_factor, 0.05, 1.0, "(pure number)")?;
    let critical = within("critical_pressure_bar_abs", duty.critical_pressure.bar(), 1e-3, 1e5, "bar")?;
    let vapour = within("vapour_pressure_bar_abs", duty.vapour_pressure.bar(), 0.0, critical, "bar")?;
    // Critical pressure ratio factor FF: how far below boiling pressure the throat gets before it chokes.
    let throat_bar = (0.96 - 0.28 * (vapour / critical).sqrt()) * vapour;
    within("inlet_bar_abs", inlet, throat_bar * (1.0 + 1e-9), 1e5, "bar")?;
    let ratio = recovery / piping;
    let choked_bar = ratio * ratio * (inlet - throat_bar);
    let drop_bar = inlet - outlet;
    let sizing_bar = drop_bar.min(choked_bar);
    Ok(ValveSize {
        flow_factor: FlowFactor::from_m3_h(flow_m3_h / piping * (density / sizing_bar).sqrt()),
        choked: drop_bar >= choked_bar,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water_duty(recovery: f64) -> Duty {
        Duty {
            flow: VolumeFlow::from_m3_h(360.0),
            inlet: AbsolutePressure::from_kpa(680.0),
            outlet: AbsolutePressure::from_kpa(220.0),
            relative_density: 0.9654,
            vapour_pressure: AbsolutePressure::from_kpa(70.1),
            critical_pressure: AbsolutePressure::from_kpa(22_120.0),
            pressure_recovery_factor: recovery,
            piping_geometry_factor: 1.0,
        }
    }

    #[test]
    fn examples_of_the_standard() {
        // IEC 60534-2-1, annex of examples, 1 (not choked: Kv 165) and 2 (choked: Kv 238).
        let first = size(&water_duty(0.9)).unwrap();
        assert!((first.flow_factor.m3_h() / 165.0 - 1.0).abs() < 0.002 && !first.choked);
        let second = size(&water_duty(0.6)).unwrap();
        assert!((second.flow_factor.m3_h() / 238.0 - 1.0).abs() < 0.002 && second.choked);
    }

    #[test]
    fn crane_7_27() {
        // Crane TP 410, example 7-27: 250 gpm, 60.998 lb/ft3, 80.6 to 70.8 psia: Cv 79.94 with reducers. Cv = 1.156 Kv.
        let psi = |value: f64| AbsolutePressure::from_pa(value * 6_894.757_293);
        let duty = Duty {
            flow: VolumeFlow::from_gpm_us(250.0),
            inlet: psi(80.6),
            outlet: psi(70.8),
            relative_density: 60.998 * 16.018_463 / 1000.0,
            vapour_pressure: psi(4.75),
            critical_pressure: psi(3198.0),
            ..water_duty(0.9)
        };
        let plain = size(&duty).unwrap().flow_factor.m3_h() * 1.156;
        assert!((plain / 79.94 - 1.0).abs() < 0.015, "{plain}");
    }

    #[test]
    fn choking_sets_in_without_a_step() {
        // The boundary by hand: 0.36 (680 - 0.9442 x 70.1) = 221.0 kPa.
        let at = |drop_kpa: f64| {
            let outlet = AbsolutePressure::from_kpa(680.0 - drop_kpa);
            size(&Duty { outlet, ..water_duty(0.6) }).unwrap()
        };
        let (before, after) = (at(220.9), at(221.1));
        assert!(!before.choked && after.choked);
        assert!((before.flow_factor.m3_h() / after.flow_factor.m3_h() - 1.0).abs() < 1e-3);
        assert!((at(400.0).flow_factor.m3_h() - after.flow_factor.m3_h()).abs() < 1e-9);
    }

    #[test]
    fn impossible_duties_are_refused() {
        let name = |duty: Duty| size(&duty).unwrap_err().quantity;
        assert_eq!(
            name(Duty { outlet: AbsolutePressure::from_bar(7.0), ..water_duty(0.9) }),
            "outlet_bar_abs"
        );
        assert_eq!(
            name(Duty { pressure_recovery_factor: 1.2, ..water_duty(0.9) }),
            "pressure_recovery_factor"
        );
        let boiling = Duty {
            inlet: AbsolutePressure::from_bar(0.5),
            outlet: AbsolutePressure::from_bar(0.4),
            ..water_duty(0.9)
        };
        assert_eq!(name(boiling), "inlet_bar_abs");
    }
}
