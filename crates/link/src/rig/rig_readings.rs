//! Readings of the rig itself: on hoses joined, on an orifice, at rest, at shut-off, and by bucket.

use bench::visit::{BucketBy, BucketRun, Filling, RigOn, RigRun};
use calc::hydraulics::piece::Piece;
use calc::quantity::{Duration, GaugePressure, Temperature, VolumeFlow};

use super::SimulationError;
use super::bench::Bench;
use super::water_readings::{Point, on_common_pump, point_at};
use crate::chance::Chance;
use crate::instruments::rounded;
use crate::physics::Way;
use crate::plan::RigCheckOn;

/// A person's start and stop of a watch, together, s; scales, kg; and what the file says of both.
const WATCH_S: f64 = 0.3;
const SCALES_KG: f64 = 0.02;
const SCALES_STEP_KG: f64 = 0.005;
/// Buoyancy of weighed water: air of 1.2 kg/m3 against weights of steel (ISO 4185).
const AIR_KG_M3: f64 = 1.2;
const STEEL_KG_M3: f64 = 8_000.0;

impl Bench<'_> {
    /// Hoses of the first port with something between them, on the pump.
    fn joined(&self, between: Option<Piece>) -> Result<Point, SimulationError> {
        let port = self.port(0);
        let conditions = self.conditions(self.plan.visit.water)?;
        let pieces: Vec<Piece> =
            port.supply.iter().cloned().chain(between.clone()).chain(port.back.iter().cloned()).collect();
        let way = Way::new(self.plan.physics, &pieces).map_err(SimulationError::Rig)?;
        let curve = &self.plan.rig.stated.pump_curve;
        let alone = on_common_pump(core::slice::from_ref(&way), &conditions, curve);
        let flows = alone.map_err(SimulationError::Rig)?;
        let flow = flows.first().copied().unwrap_or(VolumeFlow::from_m3_s(0.0));
        // On an orifice the gauges stand right beside it; over joined hoses they stand where the rig has them.
        let seen = between.map_or(pieces, |orifice| vec![orifice]);
        let seen = Way::new(self.plan.physics, &seen).map_err(SimulationError::Rig)?;
        let drop = seen.drop(&conditions, flow).map_err(SimulationError::Rig)?;
        Ok(point_at(flow, drop))
    }

    /// The rig on a known thing.
    pub fn rig_check(&self, on: RigCheckOn, chance: &mut Chance) -> Result<RigRun, SimulationError> {
        let shut_off = self.plan.rig.stated.pump_curve.first().map_or(0.0, |point| point.1.bar());
        let still =
            |bar: f64| Point { flow: VolumeFlow::from_l_min(0.0), inlet_bar_g: bar, outlet_bar_g: bar };
        let (point, on) = match on {
            RigCheckOn::Fixture => (self.joined(None)?, RigOn::Fixture),
            RigCheckOn::Orifice { flow_factor, relative } => {
                let truth = flow_factor * (1.0 + relative * chance.normal());
                let point = self.joined(Some(Piece::Coupling { flow_factor: truth }))?;
                (point, RigOn::Orifice { flow_factor, relative })
            }
            RigCheckOn::AtRest => (still(0.0), RigOn::AtRest),
            RigCheckOn::ShutOff => (still(shut_off), RigOn::ShutOff),
        };
        let flows = point.flow.l_min() > 0.0;
        let instruments = self.instruments();
        let mut read = |gauge: &crate::instruments::Gauge, bar_g: f64| {
            Some(GaugePressure::from_bar(rounded(gauge.read(bar_g, chance), 0.001)))
        };
        let (pressure_in, pressure_out) =
            (read(&instruments.inlet, point.inlet_bar_g), read(&instruments.outlet, point.outlet_bar_g));
        let water = self.plan.visit.water.deg_c();
        let mean = flows.then(|| VolumeFlow::from_l_min(instruments.mean_flow(point.flow.l_min(), chance)));
        let shown = flows.then(|| Temperature::from_deg_c(instruments.temperature(water, chance)));
        Ok(RigRun {
            on,
            flow: mean,
            pressure_in,
            pressure_out,
            water_temperature: shown,
            reference_pressure: None,
            reference_temperature: None,
        })
    }

    /// Water of the joined hoses caught in a drum and weighed.
    pub fn bucket(
        &self,
        seconds: f64,
        fillings: usize,
        chance: &mut Chance,
    ) -> Result<BucketRun, SimulationError> {
        let flow = self.joined(None)?.flow;
        let instruments = self.instruments();
        let density = self.conditions(self.plan.visit.water)?.fluid.density_kg_m3;
        let buoyancy = 1.0 + AIR_KG_M3 * (1.0 / density - 1.0 / STEEL_KG_M3);
        // The scales are off by one amount in all fillings; the hand is new each time.
        let scales_kg = SCALES_KG * chance.normal();
        let fillings = (0..fillings.max(1))
            .map(|_| {
                let shown_s = seconds + 0.5 * chance.normal();
                let truly_s = shown_s + WATCH_S * chance.normal();
                let kg = flow.m3_s() * truly_s * density / buoyancy + scales_kg;
                Filling {
                    caught_l_or_kg: rounded(kg, SCALES_STEP_KG).max(SCALES_STEP_KG),
                    time: Duration::from_s(rounded(shown_s, 0.01)),
                    meter: VolumeFlow::from_l_min(instruments.mean_flow(flow.l_min(), chance)),
                }
            })
            .collect();
        let shown = instruments.temperature(self.plan.visit.water.deg_c(), chance);
        Ok(BucketRun {
            by: BucketBy::Weight,
            fillings,
            caught_uncertainty_l_or_kg: SCALES_KG,
            timing_uncertainty: Duration::from_s(WATCH_S),
            water_temperature: Some(Temperature::from_deg_c(shown)),
        })
    }
}
