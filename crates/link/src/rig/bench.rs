//! The bench before the first reading: steel, faults, hoses and instruments are drawn.

use bench::finding::BoreState;
use bench::mould::{Baseline, Circuit, CircuitId, Known, Mould};
use bench::visit::Rig;
use calc::estimate::Uncertain;
use calc::hydraulics::circuit::HydraulicsError;
use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::filled_volume;
use calc::quantity::{AbsolutePressure, FlowFactor, Length, SonicConductance, Temperature, Volume};

use super::SimulationError;
use super::hoses::{On, on};
use crate::air::leak::Passage;
use crate::air::path::AirPath;
use crate::chance::{Chance, Purpose};
use crate::instruments::{Instruments, rounded};
use crate::physics::{Physics, Way};
use crate::plan::{BaselinePlan, CircuitPlan, Condition, Plan};
use crate::steel::drilled::Shop;
use crate::steel::today::{Today, today};
use crate::steel::{drilled, paper};
use crate::truth::{CircuitTruth, Numbers, RigTruth, Truth};

/// Standard uncertainty of volume and sonic conductance of a baseline, relative.
const BASELINE_VOLUME: f64 = 0.015;
const BASELINE_AIR: f64 = 0.03;
/// How well the rig's file states volume and sonic conductance of the fixture, relative.
const FIXTURE_VOLUME: f64 = 0.02;
const FIXTURE_AIR: f64 = 0.03;
/// How well the volume of the vessel is stated, relative.
const VESSEL: f64 = 0.004;

/// Hoses and couplings of one port.
#[derive(Clone, Debug)]
pub(super) struct Port {
    pub supply: Vec<Piece>,
    pub back: Vec<Piece>,
    pub supply_volume: Volume,
    pub volume: Volume,
}

/// The bench with a mould on it.
#[derive(Debug)]
pub(super) struct Bench<'a> {
    pub plan: &'a Plan,
    /// Seed of the mould and of what is on record of it.
    pub seed: u64,
    /// Seed of the day: instruments, hoses and readings.
    pub day: u64,
    pub today: Vec<Today>,
    pub ports: Vec<Port>,
    pub air: AbsolutePressure,
    /// For each circuit of the hook-up list, the circuit that is really there.
    pub really: Vec<usize>,
    /// For each circuit of the hook-up list, what hangs on its port.
    pub on: Vec<On>,
    /// From, to (none: outside), law.
    pub leaks: Vec<(usize, Option<usize>, Passage)>,
    truth: Truth,
}

impl<'a> Bench<'a> {
    pub fn set_up(plan: &'a Plan, seed: u64, day: u64) -> Result<Self, SimulationError> {
        if plan.circuits.is_empty() {
            return Err(SimulationError::NoCircuit);
        }
        let mut chance = Chance::new(day, Purpose::Instruments, 0);
        let mut instruments = Instruments::drawn(&plan.rig.stated, &mut chance);
        if let Some(percent) = plan.slips.meter_drift_percent {
            instruments.flow_gain = percent / 100.0;
        }
        if let Some(zero_bar) = plan.slips.gauge_zero_drift_bar {
            instruments.inlet.zero_bar = zero_bar;
        }
        let air = plan.rig.stated.atmosphere * (1.0 + 0.001 * chance.normal());
        let reference_volume =
            plan.rig.stated.reference_volume.map(|volume| volume * (1.0 + VESSEL * chance.normal()));
        let reservoir = match plan.rig.stated.reservoir_volume {
            Some(volume) => Some(volume * (1.0 + VESSEL * chance.normal())),
            None => reference_volume,
        };
        let ports: Vec<Port> = (0..plan.rig.ports.max(1)).map(|_| port(plan, &mut chance)).collect();
        let port_numbers = ports
            .iter()
            .map(|port| port_numbers(plan.physics, port, plan.visit.steel, air))
            .collect::<Result<_, _>>()
            .map_err(SimulationError::Rig)?;
        let shop = Shop::drawn(&mut Chance::new(seed, Purpose::Shop, 0));
        let made: Vec<(Today, CircuitTruth)> = plan
            .circuits
            .iter()
            .enumerate()
            .map(|(place, circuit)| {
                one_circuit(plan, circuit, shop, Chance::new(seed, Purpose::Steel, place), air)
            })
            .collect::<Result<_, _>>()?;
        let (today, circuits) = made.into_iter().unzip();
        let rig = RigTruth { instruments, reference_volume, reservoir, ports: port_numbers };
        let leaks_across = plan.leaks_across.clone();
        let truth = Truth::new(seed, circuits, leaks_across, rig, &plan.slips);
        let really = really(plan)?;
        let on = on(plan, &really)?;
        let leaks = leaks(plan, air)?;
        Ok(Self { plan, seed, day, today, ports, air, really, on, leaks, truth })
    }

    pub fn instruments(&self) -> &Instruments {
        &self.truth.rig.instruments
    }

    /// The vessel that empties through circuits, as the rig's file states it.
    fn stated_reservoir(&self) -> Option<Volume> {
        self.plan.rig.stated.reservoir_volume.or(self.plan.rig.stated.reference_volume)
    }

    pub fn vessel(&self) -> Option<Volume> {
        self.truth.rig.reference_volume
    }

    /// Vessel that empties through circuits: true and stated volume.
    pub fn reservoir(&self) -> Option<(Volume, Volume)> {
        self.truth.rig.reservoir.zip(self.stated_reservoir())
    }

    /// Hoses on which a circuit of the hook-up list hangs.
    pub fn port(&self, listed: usize) -> &Port {
        &self.ports[listed % self.ports.len()]
    }

    pub fn blocked_at(&self, circuit: usize) -> Option<f64> {
        self.plan.circuits[circuit].fault.blocked_at
    }

    /// The mould, as its file shows it.
    pub fn mould_file(&self) -> Mould {
        let circuits = self.plan.circuits.iter().zip(&self.truth.circuits).enumerate();
        Mould {
            id: self.plan.mould.clone(),
            name: self.plan.name.clone(),
            process: self.plan.process,
            circuits: circuits.map(|(place, (plan, truth))| self.circuit_file(place, plan, truth)).collect(),
        }
    }

    fn circuit_file(&self, place: usize, plan: &CircuitPlan, truth: &CircuitTruth) -> Circuit {
        let mut chance = Chance::new(self.seed, Purpose::Record, place);
        // Whoever guesses, guesses the same for circuits that look the same.
        let alike = |other: &CircuitPlan| other.pieces == plan.pieces && other.known == plan.known;
        let first = match plan.known {
            Known::Guessed => self.plan.circuits.iter().position(alike).unwrap_or(place),
            _ => place,
        };
        let mut paper = Chance::new(self.seed, Purpose::Paper, first);
        Circuit {
            id: plan.id.clone(),
            half: plan.half.clone(),
            serves: plan.serves.clone(),
            metals: plan.metals.clone(),
            seals: plan.seals.clone(),
            sisters: plan.sisters.clone(),
            neighbours: plan.neighbours.clone(),
            baseline: plan.baseline.as_ref().map(|baseline| on_record(baseline, &truth.as_new, &mut chance)),
            pieces: paper::shown(&plan.pieces, &truth.pieces_as_new, plan.known, &mut paper),
            known: plan.known,
            rough_bore: plan.rough_bore,
            rough_length: plan.rough_length,
            earlier: Vec::new(),
        }
    }

    /// The rig, as its file shows it.
    pub fn rig_file(&self) -> Rig {
        let mut rig = self.plan.rig.stated.clone();
        if let (true, Some(port)) = (self.plan.rig.fixture_stated, self.truth.rig.ports.first()) {
            let mut chance = Chance::new(self.day, Purpose::Instruments, 1);
            let mut near = |value: f64, relative: f64, step: f64| {
                rounded(value * (1.0 + relative * chance.normal()), step)
            };
            let factor = near(port.flow_factor.m3_h(), rig.fixture_uncertainty_relative, 0.001);
            rig.fixture_flow_factor = Some(FlowFactor::from_m3_h(factor));
            rig.fixture_volume = Some(Volume::from_ml(near(port.volume.ml(), FIXTURE_VOLUME, 1.0)));
            let sonic = near(port.sonic_conductance.dm3_s_bar(), FIXTURE_AIR, 0.01);
            rig.fixture_sonic_conductance = Some(SonicConductance::from_dm3_s_bar(sonic));
        }
        rig
    }

    pub fn into_truth(self) -> Truth {
        self.truth
    }
}

/// A baseline as the record holds it.
fn on_record(plan: &BaselinePlan, as_new: &Numbers, chance: &mut Chance) -> Baseline {
    let mut near = |value: f64, relative: f64, step: f64| {
        let shown = rounded(value * (1.0 + relative * chance.normal()), step);
        Uncertain::relative(shown, relative)
    };
    let flow_factor_m3_h = near(as_new.flow_factor.m3_h(), plan.uncertainty_relative, 0.001);
    let volume = near(as_new.volume.ml(), BASELINE_VOLUME, 0.1);
    let air = near(as_new.sonic_conductance.dm3_s_bar(), BASELINE_AIR, 0.01);
    Baseline {
        flow_factor_m3_h,
        filled_volume_ml: plan.volume.then_some(volume),
        sonic_conductance_dm3_s_bar: plan.air.then_some(air),
        date: plan.date.clone(),
        others: plan.others,
        sweep: None,
    }
}

fn port(plan: &Plan, chance: &mut Chance) -> Port {
    let supply = drilled::fixture(&plan.rig.supply, chance);
    let back = drilled::fixture(&plan.rig.back, chance);
    let supply_volume = filled_volume(&supply) + plan.rig.dead_volume;
    let volume = supply_volume + filled_volume(&back);
    Port { supply, back, supply_volume, volume }
}

fn port_numbers(
    physics: Physics,
    port: &Port,
    steel: Temperature,
    air: AbsolutePressure,
) -> Result<Numbers, HydraulicsError> {
    let joined = [port.supply.as_slice(), port.back.as_slice()].concat();
    numbers(physics, &joined, port.volume, steel, air)
}

fn numbers(
    physics: Physics,
    pieces: &[Piece],
    volume: Volume,
    steel: Temperature,
    air: AbsolutePressure,
) -> Result<Numbers, HydraulicsError> {
    Ok(Numbers {
        flow_factor: Way::new(physics, pieces)?.flow_factor()?,
        volume,
        sonic_conductance: AirPath::new(pieces, steel, air)?.sonic_conductance(),
    })
}

fn one_circuit(
    plan: &Plan,
    circuit: &CircuitPlan,
    shop: Shop,
    mut chance: Chance,
    air: AbsolutePressure,
) -> Result<(Today, CircuitTruth), SimulationError> {
    let pieces_as_new = drilled::drilled(&circuit.pieces, shop, &mut chance);
    let now = today(&cut(plan.physics, &pieces_as_new), &circuit.fault, plan.physics, &mut chance)
        .map_err(|fault| SimulationError::Fault { circuit: circuit.id.clone(), fault })?;
    let problem = |problem| SimulationError::Circuit { circuit: circuit.id.clone(), problem };
    let steel = plan.visit.steel;
    let as_new =
        numbers(plan.physics, &pieces_as_new, filled_volume(&pieces_as_new), steel, air).map_err(problem)?;
    let numbers_today = if now.pieces == pieces_as_new || circuit.fault == crate::plan::Fault::default() {
        as_new
    } else {
        numbers(plan.physics, &now.pieces, now.volume(), steel, air).map_err(problem)?
    };
    let (state, layer, plug) = match circuit.fault.condition {
        Condition::AsNew => (BoreState::AsNew, None, None),
        Condition::EvenDeposit(layer) => (BoreState::EvenDeposit, Some(layer), None),
        Condition::LocalPlug(plug) => (BoreState::LocalPlug, None, Some(plug.bore)),
        Condition::Mixed(layer, plug) => (BoreState::Mixed, Some(layer), Some(plug.bore)),
        Condition::Rough { .. } => (BoreState::Rough, None, None),
    };
    let layer_share = match plug {
        Some(plug) if state == BoreState::Mixed => {
            Some(layer_share(plan.physics, &now.pieces, plug, &as_new, &numbers_today).map_err(problem)?)
        }
        _ => None,
    };
    let truth = CircuitTruth {
        id: circuit.id.clone(),
        state,
        blocked_at: circuit.fault.blocked_at,
        thickness: layer.map(|layer| layer.thickness),
        share_of_length: layer.map(|layer| layer.share_of_length),
        plug_bore: plug,
        layer_share,
        leak_out: circuit.fault.leak_out.map(|leak| (leak.rate, leak.law)),
        too_much: circuit.fault.too_much,
        plugged_branch: circuit.fault.plugged_branch,
        as_new,
        today: numbers_today,
        pieces_as_new,
        pieces_today: now.pieces.clone(),
    };
    Ok((now, truth))
}

/// Share of the layer in the extra loss: the same pieces without the plug tell.
fn layer_share(
    physics: Physics,
    pieces: &[Piece],
    plug: Length,
    as_new: &Numbers,
    today: &Numbers,
) -> Result<f64, HydraulicsError> {
    use calc::hydraulics::piece::Restrictor;
    let is_plug = |piece: &Piece| matches!(piece, Piece::Restrictor(Restrictor::Hole { diameter, .. }) if *diameter == plug);
    let bare: Vec<Piece> = pieces.iter().filter(|piece| !is_plug(piece)).cloned().collect();
    let extra = |factor: FlowFactor| {
        let ratio = as_new.flow_factor / factor;
        ratio * ratio - 1.0
    };
    Ok((extra(Way::new(physics, &bare)?.flow_factor()?) / extra(today.flow_factor)).clamp(0.0, 1.0))
}

pub(super) fn place_of(
    plan: &Plan,
    circuit: &CircuitId,
    place: &'static str,
) -> Result<usize, SimulationError> {
    plan.circuits
        .iter()
        .position(|other| other.id == *circuit)
        .ok_or_else(|| SimulationError::Unknown { place, circuit: circuit.clone() })
}

fn really(plan: &Plan) -> Result<Vec<usize>, SimulationError> {
    let mut really: Vec<usize> = (0..plan.circuits.len()).collect();
    for (a, b) in &plan.slips.swapped {
        really.swap(place_of(plan, a, "slips")?, place_of(plan, b, "slips")?);
    }
    Ok(really)
}

fn leaks(
    plan: &Plan,
    air: AbsolutePressure,
) -> Result<Vec<(usize, Option<usize>, Passage)>, SimulationError> {
    let out = plan.circuits.iter().enumerate().filter_map(|(place, circuit)| {
        circuit.fault.leak_out.map(|leak| Ok((place, None, Passage::new(leak, air))))
    });
    let across = plan.leaks_across.iter().map(|leak| {
        let from = place_of(plan, &leak.between.0, "leak_across")?;
        let to = place_of(plan, &leak.between.1, "leak_across")?;
        Ok((from, Some(to), Passage::new(leak.leak, air)))
    });
    out.chain(across).collect()
}

/// Under the other laws a layer is not the same everywhere: bores are looked at in thirds.
fn cut(physics: Physics, pieces: &[Piece]) -> Vec<Piece> {
    if physics == Physics::Matching {
        return pieces.to_vec();
    }
    let thirds = |piece: &Piece| match piece {
        Piece::Bore { diameter, length, roughness } => {
            vec![Piece::Bore { diameter: *diameter, length: *length * (1.0 / 3.0), roughness: *roughness }; 3]
        }
        piece => vec![piece.clone()],
    };
    pieces.iter().flat_map(thirds).collect()
}
