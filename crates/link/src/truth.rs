//! What is true behind a simulated visit. No reading and no file of the visit holds any of it.

use bench::finding::BoreState;
use bench::mould::CircuitId;
use calc::form::Value;
use calc::hydraulics::piece::Piece;
use calc::quantity::{
    AbsolutePressure, FlowFactor, GaugePressure, LeakRate, Length, SonicConductance, Volume,
};

use crate::air::leak::Passage;
use crate::instruments::Instruments;
use crate::plan::{Leak, LeakAcross, LeakLaw, Slips, TooMuch};

/// Everything hidden.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Seed of the draws.
    pub seed: u64,
    /// Circuits, in the order of the mould.
    pub circuits: Vec<CircuitTruth>,
    /// Leaks from circuit to circuit.
    pub leaks_across: Vec<LeakAcross>,
    /// The rig.
    pub rig: RigTruth,
    /// Pairs whose hoses were exchanged.
    pub swapped: Vec<(CircuitId, CircuitId)>,
    /// Circuits whose port had an open hose, connected to nothing.
    pub missing: Vec<CircuitId>,
    /// Pairs that hung side by side on the port of the first; the second's port had open hoses.
    pub doubled: Vec<(CircuitId, CircuitId)>,
    /// Pairs whose returns were exchanged.
    pub bridged: Vec<(CircuitId, CircuitId)>,
    /// Circuits whose supply and return were exchanged.
    pub reversed: Vec<CircuitId>,
    /// Circuits whose leak-down was stopped early.
    pub stopped_early: Vec<CircuitId>,
}

/// One circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitTruth {
    /// Id.
    pub id: CircuitId,
    /// Inside of the bore.
    pub state: BoreState,
    /// Nothing passes from this share of the path on.
    pub blocked_at: Option<f64>,
    /// Layer, where there is one.
    pub thickness: Option<Length>,
    /// Share of the path under the layer.
    pub share_of_length: Option<f64>,
    /// Free bore of the plug, where there is one.
    pub plug_bore: Option<Length>,
    /// Share of the layer in the extra pressure loss, where there are layer and plug.
    pub layer_share: Option<f64>,
    /// Leak to the outside, at 7 bar absolute, 20 degC.
    pub leak_out: Option<(LeakRate, LeakLaw)>,
    /// A missing part.
    pub too_much: Option<TooMuch>,
    /// A plugged branch of a split.
    pub plugged_branch: Option<usize>,
    /// As drilled: flow factor, filled volume, sonic conductance.
    pub as_new: Numbers,
    /// As it is today, a block not counted.
    pub today: Numbers,
    /// Pieces as drilled.
    pub pieces_as_new: Vec<Piece>,
    /// Pieces on the way today.
    pub pieces_today: Vec<Piece>,
}

/// What readings try to find, hoses removed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Flow factor.
    pub flow_factor: FlowFactor,
    /// Filled volume.
    pub volume: Volume,
    /// Sonic conductance at 7 bar absolute.
    pub sonic_conductance: SonicConductance,
}

/// The rig.
#[derive(Clone, Debug, PartialEq)]
pub struct RigTruth {
    /// Errors of the instruments.
    pub instruments: Instruments,
    /// Volume of the rig's vessel of known volume.
    pub reference_volume: Option<Volume>,
    /// Volume of the vessel that empties through circuits.
    pub reservoir: Option<Volume>,
    /// Hoses and couplings by port: flow factor, volume, sonic conductance.
    pub ports: Vec<Numbers>,
}

impl CircuitTruth {
    /// What of a leak's stated rate, at 7 bar absolute, gets out at a gauge pressure.
    #[must_use]
    pub fn at_pressure(leak: Leak, pressure: GaugePressure, air: AbsolutePressure) -> LeakRate {
        Passage::new(leak, air).rate(pressure.absolute(air), air)
    }

    /// Flow factor today over that as drilled.
    #[must_use]
    pub fn flow_share(&self) -> f64 {
        self.today.flow_factor / self.as_new.flow_factor
    }
}

impl Truth {
    pub(crate) fn new(
        seed: u64,
        circuits: Vec<CircuitTruth>,
        leaks_across: Vec<LeakAcross>,
        rig: RigTruth,
        slips: &Slips,
    ) -> Self {
        Self {
            seed,
            circuits,
            leaks_across,
            rig,
            swapped: slips.swapped.clone(),
            missing: slips.missing.clone(),
            doubled: slips.doubled.clone(),
            bridged: slips.bridged.clone(),
            reversed: slips.reversed.clone(),
            stopped_early: slips.stopped_early.clone(),
        }
    }

    /// The circuit of this id.
    #[must_use]
    pub fn circuit(&self, id: &CircuitId) -> Option<&CircuitTruth> {
        self.circuits.iter().find(|circuit| circuit.id == *id)
    }

    /// Rates of all leaks between this circuit and others.
    #[must_use]
    pub fn across(&self, id: &CircuitId) -> Vec<(CircuitId, LeakRate)> {
        let other = |leak: &LeakAcross| match &leak.between {
            (a, b) if a == id => Some((b.clone(), leak.leak.rate)),
            (a, b) if b == id => Some((a.clone(), leak.leak.rate)),
            _ => None,
        };
        self.leaks_across.iter().filter_map(other).collect()
    }

    /// Circuits that the supply of this circuit's port really reached: mostly itself, another one, two side by side, or
    /// none.
    #[must_use]
    pub fn on_port(&self, id: &CircuitId) -> Vec<CircuitId> {
        if self.missing.contains(id) || self.doubled.iter().any(|(_, empty)| empty == id) {
            return Vec::new();
        }
        // Exchanges follow each other in the order of the plan, so the circuit on a port is found backwards.
        let own = self.swapped.iter().rev().fold(id, |at, (a, b)| match () {
            () if a == at => b,
            () if b == at => a,
            () => at,
        });
        let beside = self.doubled.iter().filter(|(first, _)| first == id).map(|(_, second)| second);
        core::iter::once(own).chain(beside).cloned().collect()
    }

    /// Whether every hose was where the list has it, the right way round.
    #[must_use]
    pub fn no_hose_slips(&self) -> bool {
        let pairs = [&self.swapped, &self.doubled, &self.bridged];
        pairs.iter().all(|pairs| pairs.is_empty()) && self.missing.is_empty() && self.reversed.is_empty()
    }

    /// Whether the port of this circuit had one circuit on it, its own or another, with both hoses.
    #[must_use]
    pub fn one_whole_circuit(&self, id: &CircuitId) -> bool {
        self.on_port(id).len() == 1 && !self.bridged.iter().any(|(a, b)| a == id || b == id)
    }

    /// As a tree of values, for whoever writes files.
    #[must_use]
    pub fn to_value(&self) -> Value {
        let pair = |(a, b): &(CircuitId, CircuitId)| {
            Value::List(vec![Value::from(a.0.as_str()), Value::from(b.0.as_str())])
        };
        let across = self.leaks_across.iter().map(|leak| {
            let mut fields = vec![
                ("circuits", pair(&leak.between)),
                ("rate_mbar_l_s", Value::from(leak.leak.rate.mbar_l_s())),
                ("law", Value::from(law_word(leak.leak.law))),
            ];
            fields.extend(law_pressure(leak.leak.law).map(|bar| ("law_pressure_bar", Value::from(bar))));
            Value::record(fields)
        });
        let ids = |ids: &[CircuitId]| Value::List(ids.iter().map(|id| Value::from(id.0.as_str())).collect());
        Value::record([
            ("format", Value::from("borewise-truth/1")),
            // Whole up to 2^53; larger seeds are written as text.
            ("seed", seed_value(self.seed)),
            ("swapped", Value::List(self.swapped.iter().map(pair).collect())),
            ("missing", ids(&self.missing)),
            ("doubled", Value::List(self.doubled.iter().map(pair).collect())),
            ("bridged", Value::List(self.bridged.iter().map(pair).collect())),
            ("reversed", ids(&self.reversed)),
            ("stopped_early", ids(&self.stopped_early)),
            ("rig", rig_value(&self.rig)),
            ("circuit", Value::List(self.circuits.iter().map(circuit_value).collect())),
            ("leak_across", Value::List(across.collect())),
        ])
    }
}

#[expect(clippy::cast_precision_loss, reason = "checked to be exact")]
fn seed_value(seed: u64) -> Value {
    if seed < 1 << 53 { Value::Number(seed as f64) } else { Value::from(seed.to_string()) }
}

const fn law_word(law: LeakLaw) -> &'static str {
    match law {
        LeakLaw::Laminar => "laminar",
        LeakLaw::Orifice => "orifice",
        LeakLaw::OpensAbove { .. } => "opens-above",
        LeakLaw::Seat(_) => "seat",
        LeakLaw::OpeningCrack(_) => "opening-crack",
    }
}

/// The pressure that shapes a law, where there is one.
fn law_pressure(law: LeakLaw) -> Option<f64> {
    match law {
        LeakLaw::Laminar | LeakLaw::Orifice => None,
        LeakLaw::OpensAbove { difference_bar } => Some(difference_bar),
        LeakLaw::Seat(pressure) | LeakLaw::OpeningCrack(pressure) => Some(pressure.bar()),
    }
}

const fn state_word(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "as-new",
        BoreState::EvenDeposit => "even-deposit",
        BoreState::LocalPlug => "local-plug",
        BoreState::Mixed => "mixed",
        BoreState::Rough => "rough",
        BoreState::Unknown => "unknown",
    }
}

fn numbers_value(numbers: &Numbers) -> Value {
    Value::record([
        ("flow_factor_m3_h", Value::from(numbers.flow_factor.m3_h())),
        ("volume_ml", Value::from(numbers.volume.ml())),
        ("sonic_conductance_dm3_s_bar", Value::from(numbers.sonic_conductance.dm3_s_bar())),
    ])
}

fn circuit_value(circuit: &CircuitTruth) -> Value {
    let too_much = circuit.too_much.map(|kind| match kind {
        TooMuch::MissingBaffle => "missing-baffle",
        TooMuch::ShortCut => "short-cut",
    });
    #[expect(clippy::cast_precision_loss, reason = "a split has few branches")]
    let branch = circuit.plugged_branch.map(|branch| branch as f64);
    let mut fields = vec![
        ("id", Value::from(circuit.id.0.as_str())),
        ("state", Value::from(state_word(circuit.state))),
        ("blocked_at", Value::from(circuit.blocked_at)),
        ("thickness_mm", Value::from(circuit.thickness.map(Length::mm))),
        ("share_of_length", Value::from(circuit.share_of_length)),
        ("plug_bore_mm", Value::from(circuit.plug_bore.map(Length::mm))),
        ("layer_share", Value::from(circuit.layer_share)),
        ("leak_out_mbar_l_s", Value::from(circuit.leak_out.map(|(rate, _)| rate.mbar_l_s()))),
        ("leak_law", Value::from(circuit.leak_out.map(|(_, law)| law_word(law)))),
        ("leak_law_pressure_bar", Value::from(circuit.leak_out.and_then(|(_, law)| law_pressure(law)))),
        ("too_much", Value::from(too_much)),
        ("plugged_branch", Value::from(branch)),
        ("as_new", numbers_value(&circuit.as_new)),
        ("today", numbers_value(&circuit.today)),
    ];
    // TOML has no null: what is not there is left out.
    fields.retain(|(_, value)| *value != Value::Null);
    Value::record(fields)
}

fn rig_value(rig: &RigTruth) -> Value {
    let gauge = |gauge: &crate::instruments::Gauge| {
        Value::record([("zero_bar", Value::from(gauge.zero_bar)), ("gain", Value::from(gauge.gain))])
    };
    let mut fields = vec![
        ("inlet_gauge", gauge(&rig.instruments.inlet)),
        ("outlet_gauge", gauge(&rig.instruments.outlet)),
        ("air_gauge", gauge(&rig.instruments.air)),
        ("flow_gain", Value::from(rig.instruments.flow_gain)),
        ("thermometer_k", Value::from(rig.instruments.thermometer_k)),
        ("reference_volume_ml", Value::from(rig.reference_volume.map(Volume::ml))),
        ("reservoir_volume_ml", Value::from(rig.reservoir.map(Volume::ml))),
        ("ports", Value::List(rig.ports.iter().map(numbers_value).collect())),
    ];
    fields.retain(|(_, value)| *value != Value::Null);
    Value::record(fields)
}
