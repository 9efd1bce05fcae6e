//! Rigs, instruments and calibrations as they are stored.

use bench::visit::Rig;
use calc::quantity::{AbsolutePressure, FlowFactor, GaugePressure, SonicConductance, Volume, VolumeFlow};
use serde::{Deserialize, Serialize};

use super::exactly;

/// A rig as it stood, version 1. Uncertainties are standard uncertainties.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RigCard {
    /// Name; a rig without one belongs to its visit alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// Flow meter (0.02 for 2 %).
    pub flow_uncertainty_relative: f64,
    /// Each pressure gauge.
    pub pressure_uncertainty_bar: f64,
    /// Smallest step of the gauges.
    pub gauge_step_bar: f64,
    /// Thermometer.
    pub temperature_uncertainty_k: f64,
    /// Pump: flow in l/min and pressure in bar (gauge).
    pub pump_curve_l_min_bar_g: Vec<(f64, f64)>,
    /// Hoses and couplings: flow factor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixture_flow_factor_m3_h: Option<f64>,
    /// Its uncertainty.
    pub fixture_uncertainty_relative: f64,
    /// Hoses and couplings: volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixture_volume_ml: Option<f64>,
    /// Hoses and couplings: sonic conductance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fixture_sonic_conductance_dm3_s_bar: Option<f64>,
    /// Vessel of known volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_volume_ml: Option<f64>,
    /// Vessel that empties through circuits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reservoir_volume_ml: Option<f64>,
    /// Surrounding air.
    pub atmosphere_bar_abs: f64,
    /// Date until which all calibrations hold.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibrated_until: Option<String>,
    /// The same of the flow meter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flow_calibrated_until: Option<String>,
    /// The same of the gauges.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pressure_calibrated_until: Option<String>,
    /// The same of the thermometer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_calibrated_until: Option<String>,
}

/// An instrument of a rig, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentCard {
    /// Id: inventory or serial number.
    pub instrument: String,
    /// Rig that it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// What it measures, in the plant's words.
    pub measures: String,
}

/// A calibration of an instrument, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CalibrationCard {
    /// Instrument.
    pub instrument: String,
    /// Date of it, YYYY-MM-DD.
    pub on: String,
    /// Date until which it holds, YYYY-MM-DD.
    pub until: String,
    /// Who calibrated.
    pub by: String,
    /// Number of the calibration's own certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
}

impl RigCard {
    /// The card of a rig.
    #[must_use]
    pub fn of(rig: &Rig) -> Self {
        let ml = |volume: Volume| exactly(volume, |volume| volume.ml(), Volume::from_ml);
        let point = |(flow, pressure): &(VolumeFlow, GaugePressure)| {
            (
                exactly(*flow, |flow| flow.l_min(), VolumeFlow::from_l_min),
                exactly(*pressure, |pressure| pressure.bar(), GaugePressure::from_bar),
            )
        };
        let sonic = |sonic: SonicConductance| {
            exactly(sonic, |sonic| sonic.dm3_s_bar(), SonicConductance::from_dm3_s_bar)
        };
        Self {
            rig: rig.name.clone(),
            flow_uncertainty_relative: rig.flow_uncertainty_relative,
            pressure_uncertainty_bar: rig.pressure_uncertainty_bar,
            gauge_step_bar: rig.gauge_step_bar,
            temperature_uncertainty_k: rig.temperature_uncertainty_k,
            pump_curve_l_min_bar_g: rig.pump_curve.iter().map(point).collect(),
            fixture_flow_factor_m3_h: rig.fixture_flow_factor.map(FlowFactor::m3_h),
            fixture_uncertainty_relative: rig.fixture_uncertainty_relative,
            fixture_volume_ml: rig.fixture_volume.map(ml),
            fixture_sonic_conductance_dm3_s_bar: rig.fixture_sonic_conductance.map(sonic),
            reference_volume_ml: rig.reference_volume.map(ml),
            reservoir_volume_ml: rig.reservoir_volume.map(ml),
            atmosphere_bar_abs: exactly(rig.atmosphere, |air| air.bar(), AbsolutePressure::from_bar),
            calibrated_until: rig.calibrated_until.clone(),
            flow_calibrated_until: rig.flow_calibrated_until.clone(),
            pressure_calibrated_until: rig.pressure_calibrated_until.clone(),
            temperature_calibrated_until: rig.temperature_calibrated_until.clone(),
        }
    }

    /// The rig.
    #[must_use]
    pub fn rig(&self) -> Rig {
        let point = |(flow, pressure): &(f64, f64)| {
            (VolumeFlow::from_l_min(*flow), GaugePressure::from_bar(*pressure))
        };
        Rig {
            name: self.rig.clone(),
            flow_uncertainty_relative: self.flow_uncertainty_relative,
            pressure_uncertainty_bar: self.pressure_uncertainty_bar,
            gauge_step_bar: self.gauge_step_bar,
            temperature_uncertainty_k: self.temperature_uncertainty_k,
            pump_curve: self.pump_curve_l_min_bar_g.iter().map(point).collect(),
            fixture_flow_factor: self.fixture_flow_factor_m3_h.map(FlowFactor::from_m3_h),
            fixture_uncertainty_relative: self.fixture_uncertainty_relative,
            fixture_volume: self.fixture_volume_ml.map(Volume::from_ml),
            fixture_sonic_conductance: self
                .fixture_sonic_conductance_dm3_s_bar
                .map(SonicConductance::from_dm3_s_bar),
            reference_volume: self.reference_volume_ml.map(Volume::from_ml),
            reservoir_volume: self.reservoir_volume_ml.map(Volume::from_ml),
            atmosphere: AbsolutePressure::from_bar(self.atmosphere_bar_abs),
            calibrated_until: self.calibrated_until.clone(),
            flow_calibrated_until: self.flow_calibrated_until.clone(),
            pressure_calibrated_until: self.pressure_calibrated_until.clone(),
            temperature_calibrated_until: self.temperature_calibrated_until.clone(),
        }
    }
}
