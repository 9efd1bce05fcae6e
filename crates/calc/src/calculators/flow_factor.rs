//! Calculators: flow_factor.

use super::Calculator;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[];
