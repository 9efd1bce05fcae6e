//! The weight of every hypothesis: prior times evidence of the readings.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::BoreInput;
use super::columns::Row;
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
    pub posterior: Posterior,
    /// Sum of squared misses, unknowns included: chi-squared with as many degrees as readings.
    pub misses: f64,
    /// Readings.
    pub readings: usize,
}

/// What the readings leave open of the unknowns.
///
/// There are fewer readings than unknowns, and the unknowns are independent of one another with a standard deviation of
/// 1 before any reading. So everything is solved in the space of the readings (Woodbury's identity): with slopes `A`,
/// one row a reading in units of its scatter, `(1 + AᵀA)⁻¹ = 1 - Aᵀ (1 + AAᵀ)⁻¹ A`, and both have the same determinant.
pub struct Posterior {
    slopes: Vec<Row>,
    factor: Cholesky<f64, Dyn>,
}

impl Posterior {
    fn of(rows: &[Row1]) -> Option<Self> {
        let slopes: Vec<Row> = rows.iter().map(|row| row.predicted.row / row.standard).collect();
        let square = DMatrix::from_fn(slopes.len(), slopes.len(), |i, j| {
            let own = if i == j { 1.0 } else { 0.0 };
            slopes.get(i).zip(slopes.get(j)).map_or(own, |(one, other)| own + one.dot(other))
        });
        Some(Self { slopes, factor: square.cholesky()? })
    }

    /// The most probable unknowns if the readings were linear in them.
    fn target(&self, rows: &[Row1], unknowns: &Row) -> Row {
        let seen =
            self.slopes.iter().zip(rows).map(|(slope, row)| {
                (row.measured - row.predicted.value) / row.standard + slope.dot(unknowns)
            });
        let pull = self.factor.solve(&DVector::from_iterator(self.slopes.len(), seen));
        let mut target = Row::zeros();
        for (slope, pull) in self.slopes.iter().zip(pull.iter()) {
            target.axpy(*pull, slope, 1.0);
        }
        target
    }

    /// Variance of a sum of the unknowns.
    pub fn variance(&self, of: &Row) -> f64 {
        let mut told =
            DVector::from_iterator(self.slopes.len(), self.slopes.iter().map(|slope| slope.dot(of)));
        if self.factor.l_dirty().solve_lower_triangular_mut(&mut told) {
            (of.norm_squared() - told.norm_squared()).max(0.0)
        } else {
            of.norm_squared()
        }
    }

    fn half_ln_determinant(&self) -> f64 {
        self.factor.l_dirty().diagonal().iter().map(|part| math::ln(*part)).sum()
    }
}

struct Solved {
    unknowns: Row,
    posterior: Posterior,
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
        .map(|(ln_weight, node, profile, solved)| Judged {
            node,
            profile,
            weight: math::exp(ln_weight - best) / total,
            unknowns: solved.unknowns,
            posterior: solved.posterior,
            misses: solved.misses,
            readings: solved.readings,
        })
        .collect()
}

/// The most probable unknowns, and the evidence there (Gauss-Newton; Laplace's approximation).
fn solve(model: &Model<'_>, hopeless: impl Fn(f64) -> bool) -> Option<Solved> {
    let mut unknowns = Row::zeros();
    let mut rows = model.rows(&unknowns);
    let mut misses = squares(&rows, &unknowns);
    let mut posterior = Posterior::of(&rows)?;
    for step in 0..STEPS {
        let target = posterior.target(&rows, &unknowns);
        let mut change = (target - unknowns).map(|part| part.clamp(-STRIDE, STRIDE));
        // Half the step while it makes things worse; a step too far is rare.
        for _ in 0..4 {
            let trial = unknowns + change;
            let trial_rows = model.rows(&trial);
            let trial_misses = squares(&trial_rows, &trial);
            if trial_misses <= misses + 1e-9 || !misses.is_finite() {
                (unknowns, rows, misses) = (trial, trial_rows, trial_misses);
                posterior = Posterior::of(&rows)?;
                break;
            }
            change *= 0.5;
        }
        let arrived = step + 1 == STEPS || change.iter().all(|part| part.abs() < CONVERGED);
        // Far from its end a hypothesis looks worse than it is.
        if arrived || change.iter().all(|part| part.abs() < NEAR) {
            let ln_evidence = ln_evidence(&rows, misses, &posterior)?;
            if arrived {
                let readings = rows.len();
                return Some(Solved { unknowns, posterior, ln_evidence, misses, readings });
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

fn ln_evidence(rows: &[Row1], misses: f64, posterior: &Posterior) -> Option<f64> {
    let scatter: f64 = rows.iter().map(|row| math::ln(row.standard) + 0.5 * LN_TAU).sum();
    let ln_evidence = -0.5 * misses - posterior.half_ln_determinant() - scatter;
    ln_evidence.is_finite().then_some(ln_evidence)
}
