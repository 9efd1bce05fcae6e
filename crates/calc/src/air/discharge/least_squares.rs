//! Least squares with a handful of unknowns: damped Gauss-Newton (Levenberg-Marquardt), derivatives by differences.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Most steps of one run.
const STEPS: usize = 40;
/// A step that changes the sum of squares by less than this share is the last one.
const ENOUGH: f64 = 1e-6;
/// The same while derivatives are still one-sided.
const ROUGHLY_ENOUGH: f64 = 1e-5;

/// Where a run ended.
#[derive(Clone, Debug)]
pub(super) struct Minimum<const N: usize> {
    pub parameters: [f64; N],
    /// Inverse of the normal matrix: the covariance if residuals are in units of their standard deviation.
    pub covariance: SMatrix<f64, N, N>,
    pub sum_of_squares: f64,
}

/// Minimises the sum of squared residuals from a start. `scales` are steps for differences and bound the stride: a
/// parameter moves by at most 30 of them at once.
///
/// Nothing if the residuals are no numbers at the start or the normal matrix cannot be inverted at the end.
pub(super) fn minimise<const N: usize>(
    residuals: impl Fn(&[f64; N]) -> Vec<f64>,
    start: [f64; N],
    scales: [f64; N],
) -> Option<Minimum<N>> {
    let mut here = start;
    let mut values = DVector::from_vec(residuals(&here));
    let mut sum = values.norm_squared();
    if !sum.is_finite() {
        return None;
    }
    let mut damping = 1e-3;
    // One-sided differences cost half and lead close; two-sided ones finish, and give the covariance.
    let mut sides = Sides::One;
    let mut normal = normal_matrix(&residuals, &here, scales, &values, sides);
    for _ in 0..STEPS {
        let (matrix, gradient) = &normal;
        let mut damped = *matrix;
        for i in 0..N {
            damped[(i, i)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(gradient);
        let mut next = here;
        for ((x, dx), scale) in next.iter_mut().zip(step.iter()).zip(scales) {
            *x -= dx.clamp(-30.0 * scale, 30.0 * scale);
        }
        let trial = DVector::from_vec(residuals(&next));
        let trial_sum = trial.norm_squared();
        if trial_sum.is_finite() && trial_sum < sum {
            let gain = (sum - trial_sum) / sum.max(f64::MIN_POSITIVE);
            here = next;
            values = trial;
            sum = trial_sum;
            damping = (damping * 0.2).max(1e-9);
            if sides == Sides::One && gain < ROUGHLY_ENOUGH {
                (sides, damping) = (Sides::Two, 1e-3);
            } else if gain < ENOUGH && damping < 1e-4 {
                normal = normal_matrix(&residuals, &here, scales, &values, Sides::Two);
                break;
            }
            normal = normal_matrix(&residuals, &here, scales, &values, sides);
        } else {
            damping *= 8.0;
            if sides == Sides::One && damping > 10.0 {
                (sides, damping) = (Sides::Two, 1e-3);
                normal = normal_matrix(&residuals, &here, scales, &values, sides);
            } else if damping > 1e9 {
                break;
            }
        }
    }
    if sides == Sides::One {
        normal = normal_matrix(&residuals, &here, scales, &values, Sides::Two);
    }
    let covariance = normal.0.try_inverse()?;
    Some(Minimum { parameters: here, covariance, sum_of_squares: sum })
}

/// Differences towards one side, or towards both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sides {
    One,
    Two,
}

/// J'J and J'r.
fn normal_matrix<const N: usize>(
    residuals: &impl Fn(&[f64; N]) -> Vec<f64>,
    here: &[f64; N],
    scales: [f64; N],
    values: &DVector<f64>,
    sides: Sides,
) -> (SMatrix<f64, N, N>, SVector<f64, N>) {
    let mut jacobian = DMatrix::zeros(values.len(), N);
    for (at, scale) in scales.iter().enumerate() {
        let moved = |by: f64| {
            let mut point = *here;
            if let Some(x) = point.get_mut(at) {
                *x += by;
            }
            DVector::from_vec(residuals(&point))
        };
        let column = match sides {
            // A small step keeps the error of the one-sided difference small; the curves carry twelve digits.
            Sides::One => (moved(0.02 * scale) - values) / (0.02 * scale),
            Sides::Two => (moved(*scale) - moved(-*scale)) / (2.0 * scale),
        };
        jacobian.set_column(at, &column);
    }
    let transposed = jacobian.transpose();
    let matrix = &transposed * &jacobian;
    let gradient = &transposed * values;
    (SMatrix::from_fn(|i, j| matrix[(i, j)]), SVector::from_fn(|i, _| gradient[i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certified_nonlinear_case() {
        // NIST Statistical Reference Datasets, Misra1a (lower difficulty): y = b1 (1 - exp(-b2 x)); certified
        // b1 238.94212918, b2 5.5015643181E-04, residual sum of squares 0.12455138894.
        let x =
            [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let y = [
            10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78,
        ];
        let residuals = |b: &[f64; 2]| {
            x.iter()
                .zip(y)
                .map(|(x, y)| y - b[0] * (1.0 - crate::numeric::math::exp(-b[1] * 1e-4 * x)))
                .collect()
        };
        let found = minimise(residuals, [250.0, 5.0], [0.5, 0.01]).unwrap();
        assert!((found.parameters[0] / 238.942_129_18 - 1.0).abs() < 1e-6);
        assert!((found.parameters[1] / 5.501_564_318_1 - 1.0).abs() < 1e-6);
        assert!((found.sum_of_squares / 0.124_551_388_94 - 1.0).abs() < 1e-7);
        // Certified standard deviation of b1: 2.7070075241, residual standard deviation 0.10187876330.
        let standard = found.covariance[(0, 0)].sqrt() * 0.101_878_763_30;
        assert!((standard / 2.707_007_524_1 - 1.0).abs() < 1e-4);
    }

    #[test]
    fn says_nothing_where_nothing_can_be_said() {
        assert!(minimise(|_: &[f64; 1]| vec![f64::NAN], [1.0], [0.1]).is_none());
        // The second parameter has no influence.
        assert!(minimise(|p: &[f64; 2]| vec![p[0] - 1.0], [0.0, 0.0], [0.1, 0.1]).is_none());
    }
}
