//! Small sets of numbers from the bench: two samples, a straight line, a platinum thermometer.

use crate::limits::{OutOfRange, within};
use crate::numeric::{root, stats};
use crate::quantity::Temperature;

/// Why a set of numbers gives no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SamplesError {
    /// Too few numbers.
    #[error("{name} has {count} numbers, at least {least} needed")]
    TooFew {
        /// Which list.
        name: &'static str,
        /// Numbers there are.
        count: usize,
        /// Numbers needed.
        least: usize,
    },
    /// A number is missing or endless.
    #[error("{name} has no finite number at place {place}")]
    NotFinite {
        /// Which list.
        name: &'static str,
        /// Place, from 0.
        place: usize,
    },
    /// Two lists that belong together are not equally long.
    #[error("x has {x} numbers, y has {y}: give as many of each")]
    Unequal {
        /// Numbers in x.
        x: usize,
        /// Numbers in y.
        y: usize,
    },
    /// Nothing varies.
    #[error("all numbers of {name} are equal: give readings that differ, with more digits perhaps")]
    NoSpread {
        /// Which list or lists.
        name: &'static str,
    },
}

/// Two means compared by Welch's test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanDifference {
    /// First mean minus second mean.
    pub difference: f64,
    /// Standard uncertainty of the difference.
    pub standard_uncertainty: f64,
    /// Difference divided by its standard uncertainty.
    pub t: f64,
    /// Effective degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Probability of a difference at least as large, either way, if the true means are equal.
    pub p_value: f64,
    /// Mean of the first sample.
    pub mean_first: f64,
    /// Mean of the second sample.
    pub mean_second: f64,
    /// Standard deviation of the first sample.
    pub sd_first: f64,
    /// Standard deviation of the second sample.
    pub sd_second: f64,
}

fn finite(name: &'static str, numbers: &[f64], least: usize) -> Result<(), SamplesError> {
    if numbers.len() < least {
        return Err(SamplesError::TooFew { name, count: numbers.len(), least });
    }
    match numbers.iter().position(|number| !number.is_finite()) {
        Some(place) => Err(SamplesError::NotFinite { name, place }),
        None => Ok(()),
    }
}

fn mean_and_variance(numbers: &[f64]) -> (f64, f64) {
    let count = numbers.len() as f64;
    let mean = numbers.iter().sum::<f64>() / count;
    let squares: f64 = numbers.iter().map(|number| (number - mean) * (number - mean)).sum();
    (mean, squares / (count - 1.0))
}

/// Difference of two means whose samples may scatter differently, by Welch's test (source keys `welch-1947`,
/// `nist-ehandbook`).
///
/// The numbers of each sample are independent of each other and of the other sample.
///
/// # Errors
/// [`SamplesError`] for fewer than two numbers in a sample, or if neither sample varies.
pub fn mean_difference(first: &[f64], second: &[f64]) -> Result<MeanDifference, SamplesError> {
    finite("first", first, 2)?;
    finite("second", second, 2)?;
    let (mean_first, variance_first) = mean_and_variance(first);
    let (mean_second, variance_second) = mean_and_variance(second);
    let (a, b) = (variance_first / first.len() as f64, variance_second / second.len() as f64);
    let variance = a + b;
    if variance <= 0.0 {
        return Err(SamplesError::NoSpread { name: "first and second" });
    }
    let spread = a * a / (first.len() as f64 - 1.0) + b * b / (second.len() as f64 - 1.0);
    let degrees_of_freedom = variance * variance / spread;
    let difference = mean_first - mean_second;
    let standard_uncertainty = variance.sqrt();
    let t = difference / standard_uncertainty;
    Ok(MeanDifference {
        difference,
        standard_uncertainty,
        t,
        degrees_of_freedom,
        p_value: 2.0 * stats::student_below(-t.abs(), degrees_of_freedom),
        mean_first,
        mean_second,
        sd_first: variance_first.sqrt(),
        sd_second: variance_second.sqrt(),
    })
}

/// A straight line through points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// y at x = 0.
    pub intercept: f64,
    /// Rise of y per x.
    pub slope: f64,
    /// Standard error of the intercept.
    pub intercept_standard_error: f64,
    /// Standard error of the slope.
    pub slope_standard_error: f64,
    /// Standard deviation of the points around the line, with two degrees of freedom taken off.
    pub residual_sd: f64,
}

/// Straight line by ordinary least squares (source keys `nist-ehandbook`, `nist-strd`): x exact, y with equal independent errors.
///
/// # Errors
/// [`SamplesError`] for fewer than three points, lists of different length, or x values that are all equal.
pub fn line_fit(x: &[f64], y: &[f64]) -> Result<Line, SamplesError> {
    if x.len() != y.len() {
        return Err(SamplesError::Unequal { x: x.len(), y: y.len() });
    }
    finite("x", x, 3)?;
    finite("y", y, 3)?;
    let count = x.len() as f64;
    let (mean_x, mean_y) = (x.iter().sum::<f64>() / count, y.iter().sum::<f64>() / count);
    let sxx: f64 = x.iter().map(|x| (x - mean_x) * (x - mean_x)).sum();
    if sxx <= 0.0 {
        return Err(SamplesError::NoSpread { name: "x" });
    }
    let sxy: f64 = x.iter().zip(y).map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
    let slope = sxy / sxx;
    let rest = |(x, y): (&f64, &f64)| (y - mean_y) - slope * (x - mean_x);
    let squares: f64 = x.iter().zip(y).map(|point| rest(point) * rest(point)).sum();
    let residual_sd = (squares / (count - 2.0)).sqrt();
    Ok(Line {
        intercept: mean_y - slope * mean_x,
        slope,
        intercept_standard_error: residual_sd * (1.0 / count + mean_x * mean_x / sxx).sqrt(),
        slope_standard_error: residual_sd / sxx.sqrt(),
        residual_sd,
    })
}

/// A platinum resistance thermometer's reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlatinumReading {
    /// Temperature.
    pub temperature: Temperature,
    /// Tolerance of class A, K; none outside -100 to 450 degC, where the class does not reach.
    pub class_a_tolerance_k: Option<f64>,
    /// Tolerance of class B, K; none outside -196 to 600 degC.
    pub class_b_tolerance_k: Option<f64>,
}

/// Resistance of a platinum thermometer over its resistance at 0 degC (source key `iec-60751`).
fn platinum_ratio(deg_c: f64) -> f64 {
    const A: f64 = 3.9083e-3;
    const B: f64 = -5.775e-7;
    const C: f64 = -4.183e-12;
    let cold = if deg_c < 0.0 { C * (deg_c - 100.0) * deg_c * deg_c * deg_c } else { 0.0 };
    1.0 + A * deg_c + B * deg_c * deg_c + cold
}

/// Temperature of a platinum resistance thermometer by IEC 60751 (source key `iec-60751`).
///
/// # Arguments
/// `resistance_ohm` of the sensor without its leads; `nominal_ohm` at 0 degC (100 for a Pt100).
///
/// # Range
/// -200 to 850 degC. Tolerances are those of wire-wound sensors; thin-film sensors keep them in a narrower range
/// (class A -30 to 300 degC, class B -50 to 500 degC).
///
/// # Errors
/// [`OutOfRange`] for a nominal resistance outside 1 to 10000 ohm, or a resistance outside the range.
pub fn platinum_thermometer(resistance_ohm: f64, nominal_ohm: f64) -> Result<PlatinumReading, OutOfRange> {
    const RANGE_DEG_C: (f64, f64) = (-200.0, 850.0);
    within("nominal_ohm", nominal_ohm, 1.0, 1e4, "ohm")?;
    let (low, high) =
        (nominal_ohm * platinum_ratio(RANGE_DEG_C.0), nominal_ohm * platinum_ratio(RANGE_DEG_C.1));
    within("resistance_ohm", resistance_ohm, low, high, "ohm")?;
    let wanted = resistance_ohm / nominal_ohm;
    let found = root::bracketed(|deg_c| platinum_ratio(deg_c) - wanted, RANGE_DEG_C.0, RANGE_DEG_C.1, 1e-9);
    // The ratio rises over the whole range, so only rounding at its very ends can leave no root inside.
    let deg_c = found.unwrap_or(if wanted < 1.0 { RANGE_DEG_C.0 } else { RANGE_DEG_C.1 });
    let inside = |low: f64, high: f64, base: f64, rise: f64| {
        (low..=high).contains(&deg_c).then_some(base + rise * deg_c.abs())
    };
    Ok(PlatinumReading {
        temperature: Temperature::from_deg_c(deg_c),
        class_a_tolerance_k: inside(-100.0, 450.0, 0.15, 0.002),
        class_b_tolerance_k: inside(-196.0, 600.0, 0.30, 0.005),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn welch_example_of_the_handbook() {
        // NIST/SEMATECH e-Handbook, section 7.3.1 (assembly times; from memory): t 2.269, 15.5 degrees of freedom.
        let old = [32.0, 37.0, 35.0, 28.0, 41.0, 44.0, 35.0, 31.0, 34.0, 38.0, 42.0];
        let new = [36.0, 31.0, 30.0, 31.0, 34.0, 36.0, 29.0, 32.0, 31.0];
        let found = mean_difference(&old, &new).unwrap();
        assert!((found.mean_first - 36.0909).abs() < 5e-5 && (found.mean_second - 32.2222).abs() < 5e-5);
        assert!((found.sd_first - 4.9082).abs() < 5e-5 && (found.sd_second - 2.5386).abs() < 5e-5);
        assert!((found.t - 2.269).abs() < 5e-4);
        assert!((found.degrees_of_freedom - 15.5).abs() < 0.05);
        assert!((found.p_value - 0.038).abs() < 5e-4);
        assert!(matches!(mean_difference(&[1.0], &new), Err(SamplesError::TooFew { .. })));
        assert!(matches!(mean_difference(&[1.0, 1.0], &[2.0, 2.0]), Err(SamplesError::NoSpread { .. })));
    }

    #[test]
    fn norris_certified_by_nist() {
        // NIST StRD, linear regression, data set Norris: certified to 15 digits.
        const X_Y: [(f64, f64); 36] = [
            (0.2, 0.1),
            (337.4, 338.8),
            (118.2, 118.1),
            (884.6, 888.0),
            (10.1, 9.2),
            (226.5, 228.1),
            (666.3, 668.5),
            (996.3, 998.5),
            (448.6, 449.1),
            (777.0, 778.9),
            (558.2, 559.2),
            (0.4, 0.3),
            (0.6, 0.1),
            (775.5, 778.1),
            (666.9, 668.8),
            (338.0, 339.3),
            (447.5, 448.9),
            (11.6, 10.8),
            (556.0, 557.7),
            (228.1, 228.3),
            (995.8, 998.0),
            (887.6, 888.8),
            (120.2, 119.6),
            (0.3, 0.3),
            (0.3, 0.6),
            (556.8, 557.6),
            (339.1, 339.3),
            (887.2, 888.0),
            (999.0, 998.5),
            (779.0, 778.9),
            (11.1, 10.2),
            (118.3, 117.6),
            (229.2, 228.9),
            (669.1, 668.4),
            (448.9, 449.2),
            (0.5, 0.2),
        ];
        let (x, y): (Vec<f64>, Vec<f64>) = X_Y.iter().copied().unzip();
        let line = line_fit(&x, &y).unwrap();
        for (ours, certified) in [
            (line.intercept, -0.262_323_073_774_029),
            (line.slope, 1.002_116_818_020_45),
            (line.intercept_standard_error, 0.232_818_234_301_152),
            (line.slope_standard_error, 0.429_796_848_199_937e-3),
            (line.residual_sd, 0.884_796_396_144_373),
        ] {
            assert!((ours / certified - 1.0).abs() < 1e-11, "{ours} {certified}");
        }
        assert!(matches!(line_fit(&x, &y[1..]), Err(SamplesError::Unequal { .. })));
        assert!(matches!(line_fit(&[1.0; 5], &[2.0; 5]), Err(SamplesError::NoSpread { .. })));
    }

    #[test]
    fn platinum_table() {
        // IEC 60751:2008, table 1, Pt100, printed to 0.01 ohm, so to 0.013 K.
        let rows = [
            (60.26, -100.0),
            (80.31, -50.0),
            (100.0, 0.0),
            (109.73, 25.0),
            (119.40, 50.0),
            (138.51, 100.0),
            (157.33, 150.0),
        ];
        for (ohm, deg_c) in rows {
            let found = platinum_thermometer(ohm, 100.0).unwrap();
            assert!((found.temperature.deg_c() - deg_c).abs() < 0.015, "{ohm}: {found:?}");
        }
        let warm = platinum_thermometer(1385.055, 1000.0).unwrap();
        // IEC 60751: class A 0.15 + 0.002 t, class B 0.30 + 0.005 t.
        assert!((warm.class_a_tolerance_k.unwrap() - 0.35).abs() < 1e-5);
        assert!((warm.class_b_tolerance_k.unwrap() - 0.80).abs() < 1e-5);
        assert_eq!(platinum_thermometer(300.0, 100.0).unwrap().class_a_tolerance_k, None);
        assert!(platinum_thermometer(100.0 * platinum_ratio(850.0), 100.0).is_ok());
        assert!(platinum_thermometer(10.0, 100.0).is_err());
    }
}
