//! The weight of every hypothesis: prior times evidence of the readings.

use super::BoreInput;
use super::columns::{COUNT, Row, Square};
use super::model::{Model, Row1};
use super::nodes::Node;
use super::profile::Profile;
use crate::numeric::math;

/// Steps of the solver; three or four are enough, wide unknowns need more.
const STEPS: u32 = 12;
/// Change of the unknowns at which it has arrived.
const CONVERGED: f64 = 1e-3;
/// Change below which a hypothesis may be given up.
const NEAR: f64 = 0.5;
/// Longest step of an unknown, in prior standard deviations.
const STRIDE: f64 = 2.0;
/// ln of the weight below the best at which a hypothesis is given up.
const HOPELESS: f64 = 25.0;
/// ln(2 pi).
const LN_TAU: f64 = 1.837_877_066_409_345_5;

/// A hypothesis with its weight and where the readings have moved its unknowns.
pub struct Judged<'a> {
    pub node: Node,
    pub profile: &'a Profile,
    /// Probability; all add up to 1.
    pub weight: f64,
    pub unknowns: Row,
    pub covariance: Square,
    /// Sum of squared misses, unknowns included: chi-squared with as many degrees as readings.
    pub misses: f64,
    /// Readings.
    pub readings: usize,
}

struct Solved {
    unknowns: Row,
    precision: Square,
    ln_evidence: f64,
    misses: f64,
    readings: usize,
}

/// Weighs all hypotheses; those that cannot matter are left out.
pub fn weigh<'a>(hypotheses: &[(Node, f64, &'a Profile)], input: &BoreInput) -> Vec<Judged<'a>> {
    let mut best = f64::NEG_INFINITY;
    let mut kept: Vec<(f64, Node, &Profile, Solved)> = Vec::new();
    for (node, ln_prior, profile) in hypotheses {
        let model = Model::new(profile, *node, input);
        let Some(solved) = solve(&model, |ln_evidence| ln_evidence + ln_prior < best - HOPELESS) else {
            continue;
        };
        let ln_weight = ln_prior + solved.ln_evidence;
        best = best.max(ln_weight);
        kept.push((ln_weight, *node, profile, solved));
    }
    kept.retain(|(ln_weight, ..)| *ln_weight > best - HOPELESS / 2.0);
    let total: f64 = kept.iter().map(|(ln_weight, ..)| math::exp(ln_weight - best)).sum();
    kept.into_iter()
        .filter_map(|(ln_weight, node, profile, solved)| {
            Some(Judged {
                node,
                profile,
                weight: math::exp(ln_weight - best) / total,
                unknowns: solved.unknowns,
                covariance: solved.precision.cholesky()?.inverse(),
                misses: solved.misses,
                readings: solved.readings,
            })
        })
        .collect()
}

/// The most probable unknowns, and the evidence there (Gauss-Newton; Laplace's approximation).
fn solve(model: &Model<'_>, hopeless: impl Fn(f64) -> bool) -> Option<Solved> {
    let mut unknowns = Row::zeros();
    let mut rows = model.rows(&unknowns);
    let mut misses = squares(&rows, &unknowns);
    for step in 0..STEPS {
        let precision = precision(&rows);
        let factor = precision.cholesky()?;
        let mut right = Row::zeros();
        for row in &rows {
            let slope = row.predicted.row / row.standard;
            right += slope * ((row.measured - row.predicted.value) / row.standard + slope.dot(&unknowns));
        }
        let target = factor.solve(&right);
        let mut change = (target - unknowns).map(|part| part.clamp(-STRIDE, STRIDE));
        // Half the step while it makes things worse; a step too far is rare.
        for _ in 0..4 {
            let trial = unknowns + change;
            let trial_rows = model.rows(&trial);
            let trial_misses = squares(&trial_rows, &trial);
            if trial_misses <= misses + 1e-9 || !misses.is_finite() {
                (unknowns, rows, misses) = (trial, trial_rows, trial_misses);
                break;
            }
            change *= 0.5;
        }
        let arrived = change.iter().all(|part| part.abs() < CONVERGED);
        // Far from its end a hypothesis looks worse than it is.
        let near = change.iter().all(|part| part.abs() < NEAR);
        if arrived || step + 1 == STEPS || near {
            let precision = self::precision(&rows);
            let ln_evidence = ln_evidence(&rows, misses, &precision)?;
            if arrived || step + 1 == STEPS {
                let readings = rows.len();
                return Some(Solved { unknowns, precision, ln_evidence, misses, readings });
            }
            if hopeless(ln_evidence) {
                return None;
            }
        }
    }
    None
}

fn squares(rows: &[Row1], unknowns: &Row) -> f64 {
    let seen: f64 = rows
        .iter()
        .map(|row| {
            let miss = (row.measured - row.predicted.value) / row.standard;
            miss * miss
        })
        .sum();
    seen + unknowns.norm_squared()
}

fn precision(rows: &[Row1]) -> Square {
    let mut sum = Square::identity();
    for row in rows {
        let slope = row.predicted.row / row.standard;
        for i in 0..COUNT {
            if slope[i] != 0.0 {
                for j in 0..COUNT {
                    sum[(i, j)] += slope[i] * slope[j];
                }
            }
        }
    }
    sum
}

fn ln_evidence(rows: &[Row1], misses: f64, precision: &Square) -> Option<f64> {
    let factor = precision.cholesky()?;
    let half_ln_determinant: f64 = (0..COUNT).map(|i| math::ln(factor.l_dirty()[(i, i)])).sum();
    let scatter: f64 = rows.iter().map(|row| math::ln(row.standard) + 0.5 * LN_TAU).sum();
    let ln_evidence = -0.5 * misses - half_ln_determinant - scatter;
    ln_evidence.is_finite().then_some(ln_evidence)
}
