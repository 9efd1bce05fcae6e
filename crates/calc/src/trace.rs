//! Sampled readings: time and the columns that a logger wrote beside it.

/// A sampled reading. All columns that are there have as many samples as `time_s`; a sample that the logger
/// left out is `NaN` in its column. Times rise strictly.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Seconds from the first sample.
    pub time_s: Vec<f64>,
    /// Gauge pressure at each sample.
    pub pressure_bar_g: Option<Vec<f64>>,
    /// Flow at each sample.
    pub flow_l_min: Option<Vec<f64>>,
    /// Temperature at each sample (of what, the reading says).
    pub temperature_deg_c: Option<Vec<f64>>,
}

impl Trace {
    /// Number of samples.
    #[must_use]
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Whether there is no sample.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// Times and pressures of the samples that have both.
    #[must_use]
    pub fn pressures(&self) -> Option<(Vec<f64>, Vec<f64>)> {
        self.pressure_bar_g.as_deref().map(|column| self.finite(column))
    }

    /// Times and flows of the samples that have both.
    #[must_use]
    pub fn flows(&self) -> Option<(Vec<f64>, Vec<f64>)> {
        self.flow_l_min.as_deref().map(|column| self.finite(column))
    }

    /// Times and temperatures of the samples that have both.
    #[must_use]
    pub fn temperatures(&self) -> Option<(Vec<f64>, Vec<f64>)> {
        self.temperature_deg_c.as_deref().map(|column| self.finite(column))
    }

    fn finite(&self, column: &[f64]) -> (Vec<f64>, Vec<f64>) {
        self.time_s
            .iter()
            .zip(column)
            .filter(|(time, value)| time.is_finite() && value.is_finite())
            .map(|(time, value)| (*time, *value))
            .unzip()
    }
}
