//! Invented plans: moulds of all kinds with all kinds of trouble, for trials of many visits.

mod later;
mod pieces;
mod rigs;
mod trouble;

use bench::mould::{CircuitId, Known, MouldId, Process};
use bench::visit::Others;
use calc::hydraulics::piece::Piece;
use calc::hydraulics::volume::{main_bore, path_length};
use calc::quantity::Length;

use crate::chance::{Chance, Purpose};
use crate::instruments::rounded;
use crate::physics::Physics;
pub use later::later_plan;

use crate::plan::{BaselinePlan, CircuitPlan, Fault, LeakAcross, Plan, Slips};

/// What invented plans are like. Probabilities are from 0 to 1; all defaults are our own choice, so that every
/// kind of trouble comes up, not a claim about any plant.
#[derive(Clone, Debug, PartialEq)]
pub struct Invention {
    /// Fewest and most circuits of a mould.
    pub circuits: (usize, usize),
    /// A circuit's bore is not as new.
    pub fouled: f64,
    /// A circuit is blocked.
    pub blocked: f64,
    /// A circuit leaks to the outside.
    pub leaks_out: f64,
    /// A circuit leaks into the next one of its half.
    pub leaks_across: f64,
    /// More passes through a circuit than should.
    pub too_much: f64,
    /// A split has a plugged branch, where there is a split.
    pub plugged_branch: f64,
    /// Two circuits of the mould have their hoses exchanged.
    pub swapped: f64,
    /// A port of the mould has an open hose, connected to nothing.
    pub missing: f64,
    /// Two circuits of the mould hang side by side on one port.
    pub doubled: f64,
    /// Two circuits of the mould have their returns exchanged.
    pub bridged: f64,
    /// A circuit of the mould has supply and return exchanged.
    pub reversed: f64,
    /// A leak-down of the mould was stopped early.
    pub stopped_early: f64,
    /// The mould has baselines.
    pub baseline: f64,
    /// Whether pieces are as drawn, measured, guessed, unknown: weights.
    pub known: [f64; 4],
    /// Rigs: ordinary, good, excellent, gauges read by hand: weights.
    pub rigs: [f64; 4],
    /// The flow meter has drifted by three to eight of its stated uncertainties.
    pub meter_drifted: f64,
    /// The hoses are joined and read at the end of the visit.
    pub fixture_run: f64,
    /// The water is caught in a bucket at the end of the visit.
    pub bucket: f64,
    /// Laws of the simulated world.
    pub physics: Physics,
}

impl Default for Invention {
    fn default() -> Self {
        Self {
            circuits: (6, 24),
            fouled: 0.45,
            blocked: 0.05,
            leaks_out: 0.08,
            leaks_across: 0.03,
            too_much: 0.02,
            plugged_branch: 0.08,
            swapped: 0.08,
            missing: 0.02,
            doubled: 0.02,
            bridged: 0.02,
            reversed: 0.03,
            stopped_early: 0.05,
            baseline: 0.5,
            known: [0.5, 0.1, 0.2, 0.2],
            rigs: [0.45, 0.3, 0.1, 0.15],
            meter_drifted: 0.06,
            fixture_run: 0.3,
            bucket: 0.1,
            physics: Physics::Matching,
        }
    }
}

/// An invented plan. The same seed and options give the same plan.
#[must_use]
pub fn random_plan(seed: u64, options: &Invention) -> Plan {
    let mut chance = Chance::new(seed, Purpose::Invention, 0);
    let count = chance.whole(options.circuits.0.max(1), options.circuits.1.max(1));
    let mut circuits = circuits(count, options, &mut chance);
    for circuit in &mut circuits {
        circuit.fault = trouble::fault(&circuit.pieces, options, &mut chance);
    }
    let leaks_across = leaks_across(&circuits, options, &mut chance);
    let (rig, by_hand) = rigs::rig(options, &mut chance);
    let mut visit = rigs::visit(seed, &rig, by_hand, &mut chance);
    let process = if chance.happens(0.12) { Process::DieCasting } else { Process::InjectionMoulding };
    let mut slips = slips(&circuits, rig.ports, options, &mut chance);
    // A stream of its own: what the rig is asked changes nothing of the mould behind.
    let mut chance = Chance::new(seed, Purpose::Invention, 1);
    slips.meter_drift_percent = rigs::meter_drift(&rig, options, &mut chance);
    visit.readings.extend(rigs::checks(&rig, options, &mut chance));
    Plan {
        mould: MouldId(format!("T-{}", seed % 1_000_000)),
        name: "invented mould".to_owned(),
        process,
        circuits,
        leaks_across,
        rig,
        visit,
        slips,
        physics: options.physics,
        seed,
    }
}

/// A fault of these pieces as invented moulds have them: for whoever needs the prior of the virtual plant.
#[must_use]
pub fn invented_fault(pieces: &[Piece], options: &Invention, seed: u64) -> Fault {
    trouble::fault(pieces, options, &mut Chance::new(seed, Purpose::Invention, 2))
}

/// Circuits in groups of the same geometry; a group stays within one half.
fn circuits(count: usize, options: &Invention, chance: &mut Chance) -> Vec<CircuitPlan> {
    let style = pieces::Style::drawn(chance);
    let known =
        [Known::Drawing, Known::Measured, Known::Guessed, Known::Unknown][chance.by_weight(&options.known)];
    let baseline = chance.happens(options.baseline).then(|| BaselinePlan {
        date: Some("2025-03-04".to_owned()),
        uncertainty_relative: chance.between(0.01, 0.03),
        volume: chance.happens(0.5),
        air: chance.happens(0.4),
        others: Others::Closed,
    });
    let fixed = count.div_ceil(2);
    let mut circuits: Vec<CircuitPlan> = Vec::with_capacity(count);
    while circuits.len() < count {
        let pieces = style.circuit(chance);
        let room = if circuits.len() < fixed { fixed - circuits.len() } else { count - circuits.len() };
        let group = chance.whole(1, 4).min(room);
        let first = circuits.len();
        let told = if known == Known::Unknown && chance.happens(0.6) {
            rough(&pieces, chance)
        } else {
            (None, None)
        };
        let ids: Vec<String> = (first..first + group).map(|place| name(place, fixed)).collect();
        for id in &ids {
            let half = if first < fixed { "fixed" } else { "moving" };
            let mut circuit = CircuitPlan::new(id, half, pieces.clone());
            circuit.sisters = ids.iter().filter(|o| *o != id).map(|o| CircuitId(o.clone())).collect();
            circuit.metals = vec!["1.2311".to_owned()];
            circuit.seals = vec!["EPDM".to_owned()];
            circuit.baseline.clone_from(&baseline);
            circuit.known = known;
            (circuit.rough_bore, circuit.rough_length) = told;
            circuits.push(circuit);
        }
    }
    neighbours(&mut circuits, chance);
    circuits
}

fn name(place: usize, fixed: usize) -> String {
    if place < fixed { format!("F{}", place + 1) } else { format!("M{}", place + 1 - fixed) }
}

/// Bore and length as somebody with a ruler tells them.
fn rough(pieces: &[Piece], chance: &mut Chance) -> (Option<Length>, Option<Length>) {
    let bore = main_bore(pieces)
        .map(|bore| Length::from_mm(rounded(bore.mm() + 0.5 * chance.normal(), 0.5).max(2.0)));
    let length = Length::from_mm(rounded(path_length(pieces).mm() * chance.factor(0.2), 10.0).max(50.0));
    (bore, Some(length))
}

/// Half of the moulds say which circuits lie side by side.
fn neighbours(circuits: &mut [CircuitPlan], chance: &mut Chance) {
    if chance.happens(0.5) {
        return;
    }
    let places: Vec<(CircuitId, String)> =
        circuits.iter().map(|circuit| (circuit.id.clone(), circuit.half.clone())).collect();
    for (at, circuit) in circuits.iter_mut().enumerate() {
        let beside = [at.checked_sub(1), Some(at + 1)].into_iter().flatten();
        circuit.neighbours = beside
            .filter_map(|other| places.get(other))
            .filter(|(_, half)| *half == circuit.half)
            .map(|(id, _)| id.clone())
            .collect();
    }
}

fn leaks_across(circuits: &[CircuitPlan], options: &Invention, chance: &mut Chance) -> Vec<LeakAcross> {
    let pairs = circuits.iter().zip(circuits.iter().skip(1)).filter(|(a, b)| a.half == b.half);
    let mut leaks = Vec::new();
    for (a, b) in pairs {
        if chance.happens(options.leaks_across) {
            let leak = trouble::leak(0.1, 10.0, chance);
            leaks.push(LeakAcross { between: (a.id.clone(), b.id.clone()), leak });
        }
    }
    leaks
}

fn slips(circuits: &[CircuitPlan], ports: usize, options: &Invention, chance: &mut Chance) -> Slips {
    let mut slips = Slips::default();
    if circuits.len() > 1 && chance.happens(options.swapped) {
        slips.swapped.extend(pair(circuits, ports, chance));
    }
    if chance.happens(options.stopped_early) {
        slips.stopped_early.push(circuits[chance.whole(0, circuits.len() - 1)].id.clone());
    }
    other_slips(&mut slips, circuits, ports, options, chance);
    slips
}

/// Slips other than an exchange, on circuits that have none yet.
fn other_slips(
    slips: &mut Slips,
    circuits: &[CircuitPlan],
    ports: usize,
    options: &Invention,
    chance: &mut Chance,
) {
    let mut taken: Vec<CircuitId> = slips.swapped.iter().flat_map(|(a, b)| [a.clone(), b.clone()]).collect();
    if chance.happens(options.missing) {
        let id = circuits[chance.whole(0, circuits.len() - 1)].id.clone();
        if !taken.contains(&id) {
            taken.push(id.clone());
            slips.missing.push(id);
        }
    }
    for (probability, list) in [(options.doubled, &mut slips.doubled), (options.bridged, &mut slips.bridged)]
    {
        if circuits.len() > 1
            && chance.happens(probability)
            && let Some((a, b)) = pair(circuits, ports, chance)
            && !taken.contains(&a)
            && !taken.contains(&b)
        {
            taken.extend([a.clone(), b.clone()]);
            list.push((a, b));
        }
    }
    if chance.happens(options.reversed) {
        slips.reversed.push(circuits[chance.whole(0, circuits.len() - 1)].id.clone());
    }
}

/// Two circuits that hang on the rig at the same time; none where the rig has one port.
fn pair(circuits: &[CircuitPlan], ports: usize, chance: &mut Chance) -> Option<(CircuitId, CircuitId)> {
    let first = chance.whole(0, circuits.len().saturating_sub(2));
    let begins = first - first % ports.max(1);
    let ends = (begins + ports.max(1)).min(circuits.len());
    if ends - begins < 2 {
        return None;
    }
    let drawn = chance.whole(begins, ends - 2);
    let second = if drawn >= first { drawn + 1 } else { drawn };
    Some((circuits[first].id.clone(), circuits[second].id.clone()))
}
