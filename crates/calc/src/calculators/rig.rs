//! Calculators: flow by bucket, what has drifted on a rig, and many things that moved by one factor.

mod bucket;
mod check;
mod common;

use super::Calculator;

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&bucket::BUCKET_CHECK, &check::RIG_CHECK, &common::COMMON_FACTOR];

#[cfg(test)]
mod tests;
