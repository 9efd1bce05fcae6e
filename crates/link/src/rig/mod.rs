//! The visit itself: an operator takes the readings of a plan on a mould whose faults are known.

mod air_readings;
mod bench;
mod cross_readings;
mod hoses;
mod rig_readings;
mod visit;
mod water_readings;

use ::bench::mould::{CircuitId, Mould};
use ::bench::visit::Visit;
use calc::hydraulics::circuit::HydraulicsError;
use calc::limits::OutOfRange;

use crate::plan::Plan;
use crate::steel::today::FaultError;
use crate::truth::Truth;

/// A simulated visit: what the files will hold, and apart from it what is true.
#[derive(Clone, Debug, PartialEq)]
pub struct Simulated {
    /// Mould, as its file shows it.
    pub mould: Mould,
    /// Visit with its traces.
    pub visit: Visit,
    /// Places in `visit.entries` whose trace a foreign logger wrote.
    pub foreign: Vec<usize>,
    /// What is hidden.
    pub truth: Truth,
}

/// Why a plan cannot be played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SimulationError {
    /// A fault that does not fit its circuit.
    #[error("circuit {circuit}: {fault}")]
    Fault {
        /// Circuit.
        circuit: CircuitId,
        /// Why.
        fault: FaultError,
    },
    /// No flow through these pieces.
    #[error("circuit {circuit}: {problem}")]
    Circuit {
        /// Circuit.
        circuit: CircuitId,
        /// Why.
        problem: HydraulicsError,
    },
    /// No flow through the hoses, or a pump curve that cannot be used.
    #[error("rig: {0}")]
    Rig(HydraulicsError),
    /// Water outside the range of its formulas.
    #[error(transparent)]
    Water(#[from] OutOfRange),
    /// A circuit that the mould does not have.
    #[error("{place} names circuit {circuit}, which the mould does not have; check the spelling")]
    Unknown {
        /// Where it is named.
        place: &'static str,
        /// The name.
        circuit: CircuitId,
    },
    /// A reading that needs a vessel of known volume.
    #[error("a reading needs the rig's vessel; give reference_volume_ml or reservoir_volume_ml")]
    NoVessel,
    /// A mould without circuits.
    #[error("the plan has no circuit; give one or more")]
    NoCircuit,
}

/// Plays a plan. The same plan and seed give the same answer on every machine.
///
/// # Errors
/// [`SimulationError`] for a plan that contradicts itself; one read by [`Plan::from_value`] has been checked for
/// names, but whether a layer closes a passage or the pump is strong enough shows only here.
pub fn simulate(plan: &Plan, seed: u64) -> Result<Simulated, SimulationError> {
    simulate_day(plan, seed, seed)
}

/// Plays a plan on the mould of `seed` with instruments, hoses and readings drawn by another seed: a further visit to the
/// same steel.
///
/// # Errors
/// As [`simulate`].
pub fn simulate_day(plan: &Plan, seed: u64, day: u64) -> Result<Simulated, SimulationError> {
    let bench = bench::Bench::set_up(plan, seed, day)?;
    let mould = bench.mould_file();
    let (visit, foreign) = bench.visit()?;
    Ok(Simulated { mould, visit, foreign, truth: bench.into_truth() })
}
