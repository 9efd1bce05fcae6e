//! Distributions, from `statrs`, with ranges checked so that nothing panics.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// Probability that a standard normal variable is below `x`.
#[must_use]
pub fn normal_below(x: f64) -> f64 {
    Normal::standard().cdf(x)
}

/// Quantile of the standard normal distribution; `NaN` unless `0 < p < 1`.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.0 && p < 1.0 { Normal::standard().inverse_cdf(p) } else { f64::NAN }
}

/// Quantile of Student's t; `NaN` unless `0 < p < 1` and the degrees of freedom are positive. Infinite degrees of
/// freedom give the normal quantile.
#[must_use]
pub fn student_quantile(p: f64, degrees_of_freedom: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    if degrees_of_freedom > 1e7 {
        return normal_quantile(p);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::NAN, |t| t.inverse_cdf(p))
}

/// Probability that Student's t is below `x`; `NaN` unless the degrees of freedom are positive.
#[must_use]
pub fn student_below(x: f64, degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom > 1e7 {
        return normal_below(x);
    }
    StudentsT::new(0.0, 1.0, degrees_of_freedom).map_or(f64::NAN, |t| t.cdf(x))
}

/// Probability that a chi-squared variable is above `x`; `NaN` unless the degrees of freedom are positive.
#[must_use]
pub fn chi_squared_above(x: f64, degrees_of_freedom: f64) -> f64 {
    ChiSquared::new(degrees_of_freedom).map_or(f64::NAN, |chi| chi.sf(x))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_values() {
        // NIST/SEMATECH e-Handbook, tables 1.3.6.7.2 and 1.3.6.7.4 (Student t 0.975 with 9 degrees: 2.262;
        // chi-squared 0.95 with 3 degrees: 7.815).
        assert!((student_quantile(0.975, 9.0) - 2.262).abs() < 5e-4);
        assert!((chi_squared_above(7.815, 3.0) - 0.05).abs() < 1e-4);
        assert!((normal_quantile(0.975) - 1.959_964).abs() < 1e-6);
        assert!(student_quantile(1.5, 9.0).is_nan());
        assert!(student_quantile(0.9, -1.0).is_nan());
    }
}
