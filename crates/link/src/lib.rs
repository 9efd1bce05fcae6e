//! The virtual rig: invented moulds with faults that are known, seen through instruments that err.
//!
//! [`simulate`] plays a [`Plan`] and gives a mould and a visit as the files will show them, and apart from both the
//! [`Truth`]. Water follows the hydraulics of `calc` on the true geometry; air has forward models of its own here,
//! so that the inference is tested against something that is not itself.

mod air;
mod chance;
mod instruments;
pub mod plan;
mod rig;
mod steel;
mod truth;

pub use instruments::{Gauge, Instruments};
pub use plan::Plan;
pub use rig::{Simulated, SimulationError, simulate};
pub use steel::today::FaultError;
pub use truth::{CircuitTruth, Numbers, RigTruth, Truth};
