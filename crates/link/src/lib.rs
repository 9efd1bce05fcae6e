//! The virtual rig: invented moulds with faults that are known, seen through instruments that err.
//!
//! [`simulate`] plays a [`Plan`] and gives a mould and a visit as the files will show them, and apart from both the
//! [`Truth`]. Water follows the hydraulics of `calc` on the true geometry; air has forward models of its own here,
//! so that the inference is tested against something that is not itself.

mod air;
mod chance;
mod foreign;
mod instruments;
mod invent;
mod physics;
pub mod plan;
mod rig;
mod steel;
mod truth;

pub use foreign::foreign_csv;
pub use instruments::{Gauge, Instruments};
pub use invent::{Invention, invented_fault, later_plan, random_plan};
pub use physics::Physics;
pub use plan::Plan;
pub use plan::form::plan_form;
pub use rig::{Simulated, SimulationError, simulate, simulate_day};
pub use steel::today::FaultError;
pub use truth::{CircuitTruth, Numbers, RigTruth, Truth};
