//! Air in circuits, forward only: what a rig would see. Written apart from the code that infers from it.

pub mod discharge;
pub mod leak;
pub mod path;
pub mod settling;

/// Specific gas constant of dry air, J/(kg K) (source key `iso-2533`).
pub(crate) const GAS: f64 = calc::air::gas::GAS_CONSTANT_J_KG_K;
/// Thermal conductivity of air near 20 degC, W/(m K) (handbook value, from memory).
pub(crate) const CONDUCTIVITY_W_M_K: f64 = 0.0258;
/// Heat capacity of air at constant pressure, J/(kg K): 3.5 R.
pub(crate) const HEAT_CAPACITY_J_KG_K: f64 = 3.5 * GAS;
