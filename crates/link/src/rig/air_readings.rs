//! Readings with air on one circuit: leak-down, air passage, filled volume.

use bench::visit::{AirPassage, Charged, Decay, End, LeakDown, VolumeMethod, VolumeReading};
use calc::estimate::{Uncertain, root_sum_square};
use calc::numeric::math;
use calc::quantity::{Duration, GaugePressure, Temperature};
use calc::trace::Trace;

use super::SimulationError;
use super::bench::Bench;
use crate::air::discharge::{self, Charge, Way};
use crate::air::leak::{Network, Vessel};
use crate::air::path::AirPath;
use crate::air::settling::{Fill, HoseTail, Settling, Stretch};
use crate::chance::Chance;
use crate::instruments::{Instruments, rounded};
use crate::plan::{Logger, Sampling};
use crate::steel::stretches;

/// Drift of the steel's temperature, standard deviation, K/s (0.06 K/min).
const DRIFT_K_S: f64 = 0.001;
/// Heat of the fill that a hose's wall gives back: temperature at 1 s after a pulse, K s^1/2, with the spread of its
/// logarithm (about 1600 J/m2 into rubber or polyurethane; agrees with simulation in preparation).
const HOSE_WALL: (f64, f64) = (1.3, 0.25);
/// Creep of hoses per decade of time, with the spread of its logarithm (assumed: 1e-3).
const HOSE_CREEP: (f64, f64) = (5e-4, 0.4);
/// Width of the rig's dead ends, m.
const DEAD_END_M: f64 = 0.015;
/// Wall coefficient of a vessel, W/(m2 K), with the spread of its logarithm (simulated in preparation).
const VESSEL_FILM: (f64, f64) = (35.0, 0.3);
/// Seconds that the joined pressure is given to settle in a volume reading.
const JOINED_S: f64 = 10.0;

/// How a circuit is charged for one test.
#[derive(Clone, Copy, Debug)]
pub(super) struct Test {
    pub pressure: GaugePressure,
    pub sampling: Sampling,
    pub hold_s: f64,
}

/// Pressures of one test and the drift of the steel meanwhile.
pub(super) struct Watched {
    pub bar_g: Vec<f64>,
    pub drift_k_s: f64,
}

impl Bench<'_> {
    /// How the closed circuit would move without leaks.
    pub fn settling(&self, listed: usize, test: Test, drift_k_s: f64, chance: &mut Chance) -> Settling {
        let port = self.port(listed);
        let hoses = stretches(&[port.supply.as_slice(), port.back.as_slice()].concat());
        let hose_m3: f64 = hoses.iter().map(|(_, volume)| volume).sum();
        let mut all = stretches(&self.pieces_on(listed));
        all.extend(hoses);
        all.push((DEAD_END_M, self.plan.rig.dead_volume.m3()));
        let total: f64 = all.iter().map(|(_, volume)| volume).sum();
        let parts: Vec<Stretch> = all
            .iter()
            .filter(|(_, volume)| *volume > 0.0)
            .map(|(diameter_m, volume)| Stretch { diameter_m: *diameter_m, share: volume / total })
            .collect();
        let share = if total > 0.0 { hose_m3 / total } else { 0.0 };
        let warm = test.pressure.bar() / 6.0;
        let tail = HoseTail {
            share,
            wall_k_sqrt_s: HOSE_WALL.0 * warm * chance.factor(HOSE_WALL.1),
            creep_per_decade: HOSE_CREEP.0 * chance.factor(HOSE_CREEP.1),
        };
        let fill = Fill {
            pressure_pa: test.pressure.absolute(self.air).pa(),
            wall_k: self.plan.visit.steel.k(),
            excess_k: chance.between(15.0, 45.0) * warm,
            fill_s: chance.between(1.0, 4.0),
            hold_s: test.hold_s,
            // Hoses lie in the room, not in the steel.
            drift_k_s: drift_k_s * (1.0 - share),
        };
        Settling::new(&parts, tail, fill)
    }

    /// Air held in; with `together`, all circuits are charged and leaks between them do not show.
    pub fn hold_air(&self, listed: usize, test: Test, together: bool, chance: &mut Chance) -> Watched {
        let circuits = self.circuits_on(listed);
        let drift_k_s = DRIFT_K_S * chance.normal();
        let count = test.sampling.count();
        let step_s = test.sampling.step_s();
        let supply = test.pressure.absolute(self.air).pa() + 5000.0 * chance.normal();
        let mut vessel = |listed: usize| {
            let settling = self.settling(listed, test, drift_k_s, chance);
            Vessel {
                volume_m3: self.chargeable(listed).m3(),
                start_pa: supply,
                start_k: settling.start_k(),
                kept: false,
                factors: settling.factors(step_s, count),
            }
        };
        let mut vessels = vec![vessel(listed)];
        let mut leaks: Vec<_> =
            self.open_hose(listed).map(|passage| (0, None, passage)).into_iter().collect();
        for (from, to, passage) in &self.leaks {
            let other = match (circuits.contains(from), to.is_some_and(|to| circuits.contains(&to))) {
                // Side by side on one port, nothing moves between them.
                (true, true) => continue,
                (true, false) => *to,
                (false, true) => Some(*from),
                (false, false) => continue,
            };
            match other.map(|other| (other, self.port_of(other))) {
                Some((other, Some(listed_other))) if together => {
                    // The neighbour is charged as well and leaks as it does.
                    let place = vessels.len();
                    vessels.push(vessel(listed_other));
                    leaks.push((0, Some(place), *passage));
                    let own = self.leaks.iter().filter(|(from, to, _)| *from == other && to.is_none());
                    leaks.extend(own.map(|(_, _, passage)| (place, None, *passage)));
                }
                _ => leaks.push((0, None, *passage)),
            }
        }
        let network = Network { vessels, leaks, air_pa: self.air.pa() };
        let seen = network.run(step_s, count);
        Watched { bar_g: self.gauge(seen.first().map_or(&[], Vec::as_slice)), drift_k_s }
    }

    pub fn gauge(&self, pressures_pa: &[f64]) -> Vec<f64> {
        pressures_pa.iter().map(|pressure| (pressure - self.air.pa()) * 1e-5).collect()
    }

    /// What the logger, or the person, writes down of a pressure.
    pub fn written(
        &self,
        watched: &Watched,
        sampling: Sampling,
        logger: Logger,
        chance: &mut Chance,
    ) -> Decay {
        let gauge = &self.instruments().air;
        let (Some(first), Some(last)) = (watched.bar_g.first(), watched.bar_g.last()) else {
            return Decay::Trace(Trace::default());
        };
        if logger == Logger::Hand {
            return Decay::TwoReadings {
                start: GaugePressure::from_bar(gauge.read_by_hand(*first, chance)),
                end: GaugePressure::from_bar(gauge.read_by_hand(*last, chance)),
                time: Duration::from_s(rounded(sampling.seconds + 0.3 * chance.normal(), 1.0)),
            };
        }
        let step_s = sampling.step_s();
        let count = watched.bar_g.len();
        let steel = self.plan.visit.steel.deg_c();
        Decay::Trace(Trace {
            time_s: times(step_s, count),
            pressure_bar_g: Some(gauge.log(&watched.bar_g, step_s, chance)),
            flow_l_min: None,
            temperature_deg_c: Some(Instruments::log_temperature(
                steel,
                watched.drift_k_s,
                step_s,
                count,
                chance,
            )),
        })
    }

    pub fn leak_down(
        &self,
        listed: usize,
        test: Test,
        together: bool,
        logger: Logger,
        chance: &mut Chance,
    ) -> LeakDown {
        let early = self.plan.slips.stopped_early.contains(&self.plan.circuits[listed].id);
        let seconds =
            if early { chance.between(4.0, 9.0).min(test.sampling.seconds) } else { test.sampling.seconds };
        let sampling = Sampling { seconds, ..test.sampling };
        let watched = self.hold_air(listed, Test { sampling, ..test }, together, chance);
        LeakDown {
            decay: self.written(&watched, sampling, logger, chance),
            wall_temperature: Some(self.steel_thermometer(chance)),
            hold: Duration::from_s(test.hold_s),
        }
    }

    fn steel_thermometer(&self, chance: &mut Chance) -> Temperature {
        Temperature::from_deg_c(rounded(self.plan.visit.steel.deg_c() + 0.5 * chance.normal(), 0.1))
    }

    /// Air let out, from the rig's vessel or from the circuit's own volume.
    pub fn air_passage(
        &self,
        listed: usize,
        from_reservoir: bool,
        test: Test,
        logger: Logger,
        chance: &mut Chance,
    ) -> Result<AirPassage, SimulationError> {
        let circuit = self.really[listed];
        let dead_end = self.is_dead_end(listed);
        let on_the_way = self.on_the_way(listed);
        let path = match dead_end {
            true => None,
            false => Some(AirPath::new(&on_the_way, self.plan.visit.steel, self.air).map_err(|problem| {
                SimulationError::Circuit { circuit: self.plan.circuits[circuit].id.clone(), problem }
            })?),
        };
        let start_pa = test.pressure.absolute(self.air).pa() + 5000.0 * chance.normal();
        let wall_k = self.plan.visit.steel.k();
        let behind = self.chargeable(listed);
        let reservoir = self.reservoir().filter(|_| from_reservoir);
        if from_reservoir && reservoir.is_none() {
            return Err(SimulationError::NoVessel);
        }
        let (charge, fills_m3) = if let Some((volume, _)) = reservoir {
            // A stout cylinder: area 5.8 V^(2/3).
            let cube = math::cbrt(volume.m3());
            let film_w_m2_k = VESSEL_FILM.0 * chance.factor(VESSEL_FILM.1);
            let charge =
                Charge { volume_m3: volume.m3(), wall_m2: 5.8 * cube * cube, film_w_m2_k, wall_k, start_pa };
            (charge, behind.m3())
        } else {
            // A volume spread along the way empties in 0.6 to 0.88 of the lumped time (simulated in preparation).
            let lumped = if dead_end { 1.0 } else { chance.between(0.6, 0.88) };
            let volume_m3 = behind.m3() * lumped;
            let charge =
                Charge { volume_m3, wall_m2: 4.0 * volume_m3 / 0.01, film_w_m2_k: 60.0, wall_k, start_pa };
            (charge, 0.0)
        };
        let opens_s = if logger == Logger::Hand { 0.0 } else { chance.between(0.2, 0.7) };
        let way = Way { path: path.as_ref(), fills_m3, opens_s, opening_s: chance.between(0.03, 0.08) };
        let sampling = test.sampling;
        let seen = discharge::run(charge, way, self.air.pa(), sampling.step_s(), sampling.count());
        let watched = Watched { bar_g: self.gauge(&seen), drift_k_s: 0.0 };
        Ok(AirPassage {
            charged: reservoir.map_or(Charged::Circuit, |(_, stated)| Charged::Reservoir(stated)),
            decay: without_temperature(self.written(&watched, sampling, logger, chance)),
            air_temperature: Some(self.steel_thermometer(chance)),
        })
    }

    /// Filled volume by air out of the rig's vessel.
    pub fn volume_by_air(
        &self,
        listed: usize,
        (from, through_fixture): (End, bool),
        chance: &mut Chance,
    ) -> Result<VolumeReading, SimulationError> {
        let circuits = self.circuits_on(listed);
        let vessel = self.vessel().ok_or(SimulationError::NoVessel)?;
        let stated = self.plan.rig.stated.reference_volume.ok_or(SimulationError::NoVessel)?;
        let volume =
            if through_fixture { self.chargeable_from(listed, from) } else { self.filled_from(listed, from) };
        let before = 6.0 + 0.05 * chance.normal();
        let air = self.air.bar();
        let even = (vessel.ml() * (before + air) + volume.ml() * air) / (vessel.ml() + volume.ml());
        let lost: f64 = self
            .leaks
            .iter()
            .filter(|(one, other, _)| {
                circuits.contains(one) || other.is_some_and(|other| circuits.contains(&other))
            })
            .map(|(_, _, passage)| {
                let joined = calc::quantity::AbsolutePressure::from_bar(even);
                passage.rate(joined, self.air).mbar_l_s() * JOINED_S / (vessel + volume).l() * 1e-3
            })
            .sum();
        // What is left of the heat of mixing.
        let left = if self.is_open_hose(listed) { air } else { (even - lost).max(air) };
        let joined = left * (1.0 + 4e-4 * chance.normal()) - air;
        let gauge = &self.instruments().air;
        let mut read = |bar_g: f64| GaugePressure::from_bar(gauge.read(bar_g, chance));
        Ok(VolumeReading {
            method: VolumeMethod::AirExpansion {
                reference: stated,
                reference_before: read(before),
                circuit_before: read(0.0),
                joined: read(joined),
            },
            through_fixture,
            from,
        })
    }

    /// Filled volume by draining into a measuring cup; some water stays behind.
    pub fn volume_by_draining(
        &self,
        listed: usize,
        (from, through_fixture): (End, bool),
        chance: &mut Chance,
    ) -> VolumeReading {
        let volume = match through_fixture {
            true => self.chargeable_from(listed, from),
            false => self.filled_from(listed, from),
        }
        .ml();
        let stays = -1.5 * math::ln(chance.between(1e-9, 1.0));
        let read =
            rounded(((volume - stays) * (1.0 + 0.01 * chance.normal()) + chance.normal()).max(0.0), 1.0);
        let standard = root_sum_square(&[2.0, 0.02 * read]);
        VolumeReading {
            method: VolumeMethod::Drained { volume_ml: Uncertain::new(read, standard) },
            through_fixture,
            from,
        }
    }
}

pub(super) fn times(step_s: f64, count: usize) -> Vec<f64> {
    (0..count).map(|place| rounded(step_s * place as f64, 0.0001)).collect()
}

fn without_temperature(decay: Decay) -> Decay {
    match decay {
        Decay::Trace(trace) => Decay::Trace(Trace { temperature_deg_c: None, ..trace }),
        two => two,
    }
}
