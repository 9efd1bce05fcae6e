//! Calculators: networks.

use super::Calculator;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[];
