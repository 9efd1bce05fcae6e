//! Readings with water: flow points alone or with all circuits open.

use bench::visit::{Flow, FlowReading, Others};
use calc::hydraulics::circuit::{Conditions, HydraulicsError};
use calc::hydraulics::piece::Piece;
use calc::numeric::root;
use calc::quantity::{GaugePressure, PressureDrop, Temperature, VolumeFlow};
use calc::trace::Trace;
use calc::water;

use super::SimulationError;
use super::air_readings::times;
use super::bench::Bench;
use crate::chance::Chance;
use crate::instruments::rounded;
use crate::physics::Way;
use crate::plan::{Logger, Sampling};

/// Pressure that the return line keeps, bar at 20 l/min; it rises with the square of flow.
const RETURN_BAR_AT_20: f64 = 0.08;

/// Flow and the two gauges of one operating point.
pub(super) struct Point {
    pub flow: VolumeFlow,
    pub inlet_bar_g: f64,
    pub outlet_bar_g: f64,
}

impl Bench<'_> {
    fn problem(&self, listed: usize) -> impl Fn(HydraulicsError) -> SimulationError + use<> {
        let circuit = self.plan.circuits[self.really[listed]].id.clone();
        move |problem| SimulationError::Circuit { circuit: circuit.clone(), problem }
    }

    pub(super) fn conditions(&self, water: Temperature) -> Result<Conditions, SimulationError> {
        Ok(Conditions::new(water::water(water, calc::quantity::AbsolutePressure::from_bar(3.0))?))
    }

    /// Flow points of one circuit; the first is logged if a sampling is given. A blocked circuit shows no flow.
    pub fn flow_alone(
        &self,
        listed: usize,
        shares: &[f64],
        sampling: Option<Sampling>,
        logger: Logger,
        chance: &mut Chance,
    ) -> Result<Vec<Flow>, SimulationError> {
        // The pump warms the tank a little from circuit to circuit.
        let water = Temperature::from_deg_c(self.plan.visit.water.deg_c() + 0.05 * listed as f64);
        if self.is_dead_end(listed) {
            let shut_off = self.plan.rig.stated.pump_curve.first().map_or(0.0, |point| point.1.bar());
            let point = Point { flow: VolumeFlow::from_l_min(0.0), inlet_bar_g: shut_off, outlet_bar_g: 0.0 };
            return Ok(vec![self.flow_reading(&point, water, None, Others::Closed, chance)]);
        }
        let conditions = self.conditions(water)?;
        if self.is_open_hose(listed) {
            return Ok(vec![self.out_of_open_hose(listed, &conditions, water, Others::Closed, chance)]);
        }
        let pieces = self.on_the_way(listed);
        let problem = self.problem(listed);
        let way = Way::new(self.plan.physics, &pieces).map_err(&problem)?;
        let alone =
            on_common_pump(core::slice::from_ref(&way), &conditions, &self.plan.rig.stated.pump_curve);
        let open = alone.map_err(&problem)?.first().copied().unwrap_or(VolumeFlow::from_m3_s(0.0));
        let between = self.between_gauges(listed, pieces).map_err(&problem)?;
        shares
            .iter()
            .enumerate()
            .map(|(place, share)| {
                // A valve is set by eye.
                let set = if *share < 1.0 { share * chance.factor(0.03) } else { 1.0 };
                let flow = open * set.min(1.0);
                let drop = between.drop(&conditions, flow).map_err(&problem)?;
                let point = self.point(listed, flow, drop);
                let sampling = sampling.filter(|_| place == 0 && logger != Logger::Hand);
                Ok(self.flow_reading(&point, water, sampling, Others::Closed, chance))
            })
            .collect()
    }

    /// What lies between the two gauges.
    fn between_gauges(&self, listed: usize, all: Vec<Piece>) -> Result<Way, HydraulicsError> {
        if self.plan.rig.gauges_at_mould {
            Way::new(self.plan.physics, &self.pieces_on(listed))
        } else {
            Way::new(self.plan.physics, &all)
        }
    }

    /// One point for each of some circuits, all open on the one pump.
    pub fn flow_together(
        &self,
        listed: &[usize],
        chance: &mut Chance,
    ) -> Result<Vec<(usize, Flow)>, SimulationError> {
        let water = self.plan.visit.water;
        let conditions = self.conditions(water)?;
        let open: Vec<usize> = listed.iter().copied().filter(|place| !self.is_blocked(*place)).collect();
        let mut paths = Vec::with_capacity(open.len());
        for place in &open {
            paths.push(Way::new(self.plan.physics, &self.on_the_way(*place)).map_err(self.problem(*place))?);
        }
        let flows = on_common_pump(&paths, &conditions, &self.plan.rig.stated.pump_curve)
            .map_err(SimulationError::Rig)?;
        let mut readings = Vec::with_capacity(listed.len());
        for (place, flow) in open.iter().zip(flows) {
            let problem = self.problem(*place);
            if self.is_open_hose(*place) {
                readings
                    .push((*place, self.out_of_open_hose(*place, &conditions, water, Others::Open, chance)));
                continue;
            }
            let between = self.between_gauges(*place, self.on_the_way(*place)).map_err(&problem)?;
            let drop = between.drop(&conditions, flow).map_err(&problem)?;
            let point = self.point(*place, flow, drop);
            let reading = self.flow_reading(&point, water, None, Others::Open, chance);
            readings.push((*place, reading));
        }
        Ok(readings)
    }

    /// Water leaves by an open hose: the meter in the return stands still, the supply hose takes what pressure there is.
    fn out_of_open_hose(
        &self,
        listed: usize,
        conditions: &Conditions,
        water: Temperature,
        others: Others,
        chance: &mut Chance,
    ) -> Flow {
        let hose = self.on_the_way(listed);
        let drop = Way::new(self.plan.physics, &hose)
            .and_then(|way| {
                let curve = &self.plan.rig.stated.pump_curve;
                let flows = on_common_pump(core::slice::from_ref(&way), conditions, curve)?;
                let flow = flows.first().copied().unwrap_or(VolumeFlow::from_m3_s(0.0));
                Ok(way.drop(conditions, flow)?.bar())
            })
            .unwrap_or(0.0);
        let inlet_bar_g = if self.plan.rig.gauges_at_mould { 0.0 } else { drop };
        let point = Point { flow: VolumeFlow::from_l_min(0.0), inlet_bar_g, outlet_bar_g: 0.0 };
        self.flow_reading(&point, water, None, others, chance)
    }

    /// The gauges of a port; at the mould, those of a reversed circuit change places.
    fn point(&self, listed: usize, flow: VolumeFlow, drop: PressureDrop) -> Point {
        let point = point_at(flow, drop);
        let reversed = self.plan.slips.reversed.contains(&self.plan.circuits[listed].id);
        if reversed && self.plan.rig.gauges_at_mould {
            return Point { inlet_bar_g: point.outlet_bar_g, outlet_bar_g: point.inlet_bar_g, ..point };
        }
        point
    }

    fn flow_reading(
        &self,
        point: &Point,
        water: Temperature,
        sampling: Option<Sampling>,
        others: Others,
        chance: &mut Chance,
    ) -> Flow {
        let instruments = self.instruments();
        let flow = match sampling {
            Some(sampling) => {
                let (step_s, count) = (sampling.step_s(), sampling.count());
                FlowReading::Trace(Trace {
                    time_s: times(step_s, count),
                    flow_l_min: Some(instruments.log_flow(point.flow.l_min(), step_s, count, chance)),
                    ..Trace::default()
                })
            }
            None => {
                FlowReading::Mean(VolumeFlow::from_l_min(instruments.mean_flow(point.flow.l_min(), chance)))
            }
        };
        let read = |gauge: &crate::instruments::Gauge, bar_g: f64, chance: &mut Chance| {
            GaugePressure::from_bar(rounded(gauge.read(bar_g, chance), 0.001))
        };
        Flow {
            flow,
            pressure_in: read(&instruments.inlet, point.inlet_bar_g, chance),
            pressure_out: read(&instruments.outlet, point.outlet_bar_g, chance),
            water_temperature: Temperature::from_deg_c(instruments.temperature(water.deg_c(), chance)),
            others,
            through_fixture: !self.plan.rig.gauges_at_mould,
        }
    }
}

pub(super) fn point_at(flow: VolumeFlow, drop: PressureDrop) -> Point {
    let at_20 = flow.l_min() / 20.0;
    let outlet_bar_g = RETURN_BAR_AT_20 * at_20 * at_20;
    Point { flow, inlet_bar_g: outlet_bar_g + drop.bar(), outlet_bar_g }
}

/// Flows of parallel paths on one pump: the manifold's pressure at which pump and paths agree on the sum.
pub(super) fn on_common_pump(
    paths: &[Way],
    conditions: &Conditions,
    curve: &[(VolumeFlow, GaugePressure)],
) -> Result<Vec<VolumeFlow>, HydraulicsError> {
    let flows_at = |pressure_pa: f64| -> Result<Vec<VolumeFlow>, HydraulicsError> {
        let drop = PressureDrop::from_pa(pressure_pa);
        paths.iter().map(|path| path.flow(conditions, drop)).collect()
    };
    let shut_off = curve.first().map_or(0.0, |point| point.1.pa());
    let mut failed = None;
    let spare = |pressure_pa: f64| match flows_at(pressure_pa) {
        Ok(flows) => {
            let sum = flows.iter().map(|flow| flow.m3_s()).sum::<f64>();
            pump_pa(curve, sum) - pressure_pa
        }
        Err(error) => {
            failed = Some(error);
            f64::NAN
        }
    };
    let pressure = root::bracketed(spare, shut_off * 1e-5, shut_off, 20.0);
    match (pressure, failed) {
        (Ok(pressure), _) => flows_at(pressure),
        (Err(_), Some(error)) => Err(error),
        (Err(_), None) => Err(HydraulicsError::OffPumpCurve { flow_l_min: 0.0, direction: "up" }),
    }
}

/// Pressure of the pump at a flow; beyond the last point nothing is left.
fn pump_pa(curve: &[(VolumeFlow, GaugePressure)], flow_m3_s: f64) -> f64 {
    for (low, high) in curve.iter().zip(curve.iter().skip(1)) {
        if flow_m3_s <= high.0.m3_s() {
            let share = (flow_m3_s - low.0.m3_s()) / (high.0.m3_s() - low.0.m3_s());
            return low.1.pa() + share * (high.1.pa() - low.1.pa());
        }
    }
    0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::Physics;
    use calc::hydraulics::circuit::reference_conditions;
    use calc::quantity::FlowFactor;

    fn coupling(flow_factor_m3_h: f64) -> Way {
        Way::new(
            Physics::Matching,
            &[Piece::Coupling { flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h) }],
        )
        .unwrap()
    }

    fn curve() -> Vec<(VolumeFlow, GaugePressure)> {
        [(0.0, 6.0), (25.0, 5.1), (60.0, 0.0)]
            .map(|(flow, bar)| (VolumeFlow::from_l_min(flow), GaugePressure::from_bar(bar)))
            .to_vec()
    }

    #[test]
    fn equal_circuits_share_the_pump_as_one_of_their_sum() {
        // Flow factors of parallel parts add (IEC 60534 sense).
        let conditions = reference_conditions();
        let three = on_common_pump(&[coupling(0.5), coupling(0.5), coupling(0.5)], &conditions, &curve());
        let one = on_common_pump(&[coupling(1.5)], &conditions, &curve()).unwrap()[0];
        let sum: f64 = three.unwrap().iter().map(|flow| flow.l_min()).sum();
        assert!((sum / one.l_min() - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_further_circuit_takes_from_the_others() {
        let conditions = reference_conditions();
        let alone = on_common_pump(&[coupling(0.8)], &conditions, &curve()).unwrap()[0];
        let both = on_common_pump(&[coupling(0.8), coupling(1.2)], &conditions, &curve()).unwrap();
        assert!(both[0].l_min() < 0.9 * alone.l_min());
        assert!((both[1] / both[0] - 1.5).abs() < 1e-3);
    }
}
