//! Values that are not exact: an estimate with its interval, and a value with its standard uncertainty.

use crate::numeric::math;

/// Two-sided 95 % quantile of the normal distribution.
pub const Z95: f64 = 1.959_963_984_540_054;

/// A value with the interval that holds the truth with the stated probability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Best single value.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Probability that the interval holds the truth, 0 to 1.
    pub coverage: f64,
}

impl Estimate {
    /// A 95 % interval from a value and its standard uncertainty, normal distribution.
    #[must_use]
    pub fn normal(value: f64, standard: f64) -> Self {
        Self { value, low: value - Z95 * standard, high: value + Z95 * standard, coverage: 0.95 }
    }

    /// A 95 % interval of a positive quantity whose logarithm is normal with this standard deviation.
    #[must_use]
    pub fn lognormal(value: f64, standard_ln: f64) -> Self {
        let factor = math::exp(Z95 * standard_ln);
        Self { value, low: value / factor, high: value * factor, coverage: 0.95 }
    }

    /// The same estimate with every number multiplied (unit change, ratio to an exact value); the factor is positive.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, low: self.low * factor, high: self.high * factor, ..self }
    }

    /// Whether the interval holds this number.
    #[must_use]
    pub fn holds(&self, truth: f64) -> bool {
        self.low <= truth && truth <= self.high
    }

    /// Value and standard uncertainty of a 95 % interval, by its wider side.
    #[must_use]
    pub fn uncertain(&self) -> Uncertain {
        let reach = (self.high - self.value).max(self.value - self.low);
        Uncertain::new(self.value, reach / Z95)
    }

    /// Half the width of the interval.
    #[must_use]
    pub fn half_width(&self) -> f64 {
        (self.high - self.low) / 2.0
    }
}

/// A value with its standard uncertainty, in the sense of the GUM (JCGM 100).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertain {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty (one standard deviation), same unit as the value.
    pub standard: f64,
}

impl Uncertain {
    /// A value with its standard uncertainty.
    #[must_use]
    pub const fn new(value: f64, standard: f64) -> Self {
        Self { value, standard }
    }

    /// A value with a relative standard uncertainty (0.02 for 2 %).
    #[must_use]
    pub fn relative(value: f64, relative: f64) -> Self {
        Self { value, standard: (value * relative).abs() }
    }

    /// Standard uncertainty divided by the value's size.
    #[must_use]
    pub fn relative_standard(&self) -> f64 {
        self.standard / self.value.abs()
    }

    /// The 95 % interval, normal distribution.
    #[must_use]
    pub fn estimate(&self) -> Estimate {
        Estimate::normal(self.value, self.standard)
    }
}

/// Root of the sum of squares: how independent standard uncertainties add.
#[must_use]
pub fn root_sum_square(parts: &[f64]) -> f64 {
    parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}
