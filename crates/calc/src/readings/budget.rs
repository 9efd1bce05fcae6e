//! Uncertainty budgets in the sense of the GUM (JCGM 100).

use nalgebra::{DMatrix, SymmetricEigen};

use crate::numeric::stats;

/// One line of a budget.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Standard uncertainty of the input, in its own unit.
    pub standard_uncertainty: f64,
    /// Change of the result per change of the input.
    pub sensitivity: f64,
    /// Degrees of freedom; none for infinitely many.
    pub degrees_of_freedom: Option<f64>,
}

/// Correlation of two lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Place of one line, from 0.
    pub i: usize,
    /// Place of the other line, from 0.
    pub j: usize,
    /// Correlation coefficient, -1 to 1.
    pub r: f64,
}

/// What a budget adds up to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom by Welch and Satterthwaite; none if infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    /// Factor from standard to expanded uncertainty: Student's t for the effective degrees of freedom, cut to a
    /// whole number.
    pub coverage_factor: f64,
    /// Expanded uncertainty.
    pub expanded_uncertainty: f64,
}

/// Why a budget does not add up.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BudgetError {
    /// No line.
    #[error("an empty budget: give at least one component")]
    Empty,
    /// A number of a line makes no sense.
    #[error("component {place}: {quantity} is {value}; give {hint}")]
    Component {
        /// Place of the line, from 0.
        place: usize,
        /// Which number.
        quantity: &'static str,
        /// What was given.
        value: f64,
        /// What would be right.
        hint: &'static str,
    },
    /// A correlation names no pair of lines, or names one twice, or is not between -1 and 1.
    #[error("correlation {place}: {problem}")]
    Correlation {
        /// Place of the correlation, from 0.
        place: usize,
        /// What is wrong.
        problem: &'static str,
    },
    /// The correlations contradict each other.
    #[error("the correlations contradict each other: no set of quantities can have them all")]
    Contradiction,
    /// The coverage is no probability.
    #[error("the coverage is {value}; give a probability between 0.5 and 0.9999")]
    Coverage {
        /// What was given.
        value: f64,
    },
}

/// Combines the lines of a budget.
///
/// `u_c^2 = sum (c_i u_i)^2 + 2 sum r_ij c_i u_i c_j u_j` (JCGM 100:2008, equation 16); effective degrees of freedom
/// `u_c^4 / sum ((c_i u_i)^4 / nu_i)` (equation G.2b), cut to the next lower whole number for the factor, as in G.4.1
/// and example H.1 (source key `jcgm-100`). Equation G.2b assumes independent lines; with correlations it is a guide.
///
/// # Errors
/// [`BudgetError`].
pub fn combine(
    components: &[Component],
    correlations: &[Correlation],
    coverage: f64,
) -> Result<Combined, BudgetError> {
    if components.is_empty() {
        return Err(BudgetError::Empty);
    }
    if !(0.5..=0.9999).contains(&coverage) {
        return Err(BudgetError::Coverage { value: coverage });
    }
    for (place, component) in components.iter().enumerate() {
        check(place, component)?;
    }
    let matrix = correlation_matrix(components.len(), correlations)?;
    let parts: Vec<f64> =
        components.iter().map(|part| part.sensitivity * part.standard_uncertainty).collect();
    let variance: f64 = parts
        .iter()
        .enumerate()
        .flat_map(|(i, a)| parts.iter().enumerate().map(move |(j, b)| (i, j, a * b)))
        .map(|(i, j, product)| matrix[(i, j)] * product)
        .sum();
    let standard_uncertainty = variance.max(0.0).sqrt();
    let spread: f64 = components
        .iter()
        .zip(&parts)
        .filter_map(|(component, part)| component.degrees_of_freedom.map(|nu| part * part * part * part / nu))
        .sum();
    let effective = (spread > 0.0 && variance > 0.0).then(|| variance * variance / spread);
    let whole = effective.map_or(f64::INFINITY, |nu| if nu < 1.0 { nu } else { (nu * (1.0 + 1e-9)).floor() });
    // With correlations the effective number may come out as nothing at all; the factor then stays finite.
    let coverage_factor = stats::student_quantile(0.5 + coverage / 2.0, whole.max(0.1));
    Ok(Combined {
        standard_uncertainty,
        effective_degrees_of_freedom: effective,
        coverage_factor,
        expanded_uncertainty: coverage_factor * standard_uncertainty,
    })
}

fn check(place: usize, component: &Component) -> Result<(), BudgetError> {
    let fault = |quantity, value, hint| Err(BudgetError::Component { place, quantity, value, hint });
    let u = component.standard_uncertainty;
    if !(u.is_finite() && u >= 0.0) {
        return fault("standard_uncertainty", u, "0 or more");
    }
    if !component.sensitivity.is_finite() {
        return fault("sensitivity", component.sensitivity, "a number");
    }
    match component.degrees_of_freedom {
        Some(nu) if nu.is_nan() || nu <= 0.0 => fault("degrees_of_freedom", nu, "a number above 0"),
        _ => Ok(()),
    }
}

fn correlation_matrix(lines: usize, correlations: &[Correlation]) -> Result<DMatrix<f64>, BudgetError> {
    let mut matrix = DMatrix::<f64>::identity(lines, lines);
    let mut named = std::collections::BTreeSet::new();
    for (place, &Correlation { i, j, r }) in correlations.iter().enumerate() {
        let fault = |problem| Err(BudgetError::Correlation { place, problem });
        if i >= lines || j >= lines {
            return fault("there is no component at that place; places count from 0");
        }
        if i == j {
            return fault("a component is fully correlated with itself anyway; name two");
        }
        if !(-1.0..=1.0).contains(&r) {
            return fault("a correlation lies between -1 and 1");
        }
        if !named.insert((i.min(j), i.max(j))) {
            return fault("this pair is given twice; give it once");
        }
        matrix[(i, j)] = r;
        matrix[(j, i)] = r;
    }
    let least = if named.is_empty() { 1.0 } else { SymmetricEigen::new(matrix.clone()).eigenvalues.min() };
    if least < -1e-9 { Err(BudgetError::Contradiction) } else { Ok(matrix) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(standard_uncertainty: f64, sensitivity: f64, degrees_of_freedom: Option<f64>) -> Component {
        Component { standard_uncertainty, sensitivity, degrees_of_freedom }
    }

    #[test]
    fn end_gauge_of_the_gum() {
        // JCGM 100:2008, H.1: 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 degrees: u 32 nm, nu 16, k99 2.92, U 93 nm.
        let lines = [
            line(25.0, 1.0, Some(18.0)),
            line(9.7, 1.0, Some(25.6)),
            line(2.9, 1.0, Some(50.0)),
            line(16.6, 1.0, Some(2.0)),
        ];
        let found = combine(&lines, &[], 0.99).unwrap();
        assert!((found.standard_uncertainty - 32.0).abs() < 0.5);
        assert_eq!(found.effective_degrees_of_freedom.unwrap().floor() as i64, 16);
        assert!((found.coverage_factor - 2.92).abs() < 0.005);
        assert!((found.expanded_uncertainty - 93.0).abs() < 1.0);
    }

    #[test]
    fn correlation_of_two_lines() {
        // JCGM 100:2008, equation 16, by hand: G = 10, u = 0.2 and 0.3 of a difference, r = 0.5: sqrt(4 + 9 - 6).
        let lines = [line(0.2, -10.0, None), line(0.3, 10.0, None)];
        for (r, u) in [(0.5, 7.0_f64.sqrt()), (0.0, 13.0_f64.sqrt()), (1.0, 1.0)] {
            let found = combine(&lines, &[Correlation { i: 0, j: 1, r }], 0.95).unwrap();
            assert!((found.standard_uncertainty - u).abs() < 1e-12, "{r}");
            assert_eq!(found.effective_degrees_of_freedom, None);
            assert!((found.coverage_factor - 1.959_964).abs() < 1e-6);
        }
    }

    #[test]
    fn refuses_what_does_not_add_up() {
        let lines = [line(1.0, 1.0, None); 3];
        let pair = |i, j, r| Correlation { i, j, r };
        let ask = |pairs: &[Correlation]| combine(&lines, pairs, 0.95).unwrap_err();
        assert_eq!(combine(&[], &[], 0.95), Err(BudgetError::Empty));
        assert!(matches!(ask(&[pair(0, 3, 0.1)]), BudgetError::Correlation { place: 0, .. }));
        assert!(matches!(
            ask(&[pair(0, 1, 0.1), pair(1, 0, 0.1)]),
            BudgetError::Correlation { place: 1, .. }
        ));
        assert_eq!(ask(&[pair(0, 1, 0.9), pair(1, 2, 0.9), pair(0, 2, -0.9)]), BudgetError::Contradiction);
        assert!(matches!(combine(&lines, &[], 1.0), Err(BudgetError::Coverage { .. })));
        let bad = [line(1.0, 1.0, Some(0.0))];
        assert!(matches!(combine(&bad, &[], 0.95), Err(BudgetError::Component { .. })));
    }
}
