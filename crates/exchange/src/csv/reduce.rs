//! Keeps a long recording within bounds by averaging neighbouring samples.

/// Most samples that are kept of a trace.
pub const KEPT_SAMPLES: usize = 65_536;

/// Samples in the order of time; once there are too many, neighbours are averaged in pairs, then pairs of pairs.
///
/// A missing value takes no part in the average of its column.
#[derive(Clone, Debug)]
pub struct Reducer {
    most: usize,
    group: u64,
    times: Vec<f64>,
    columns: Vec<Column>,
    /// The group that is being filled: samples in it, and the sum of their times.
    open: u64,
    open_time: f64,
}

/// Samples that were kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Times.
    pub times: Vec<f64>,
    /// Each column, with `NaN` where all values were missing.
    pub columns: Vec<Vec<f64>>,
    /// How many neighbouring samples make one kept sample; the last one may be made of fewer.
    pub group: u64,
}

#[derive(Clone, Debug, Default)]
struct Column {
    sums: Vec<f64>,
    counts: Vec<u32>,
    open_sum: f64,
    open_count: u32,
}

impl Reducer {
    /// For so many columns, keeping at most so many samples (an even number).
    pub fn new(columns: usize, most: usize) -> Self {
        let columns = vec![Column::default(); columns];
        Self { most: most.max(2) & !1, group: 1, times: Vec::new(), columns, open: 0, open_time: 0.0 }
    }

    /// Adds a sample; `NaN` is a missing value.
    pub fn push(&mut self, time_s: f64, values: &[f64]) {
        self.open += 1;
        self.open_time += time_s;
        for (column, value) in self.columns.iter_mut().zip(values) {
            if value.is_finite() {
                column.open_sum += value;
                column.open_count += 1;
            }
        }
        if self.open == self.group {
            self.close();
        }
    }

    /// What was kept.
    pub fn finish(mut self) -> Kept {
        if self.open > 0 {
            if self.times.len() == self.most {
                self.halve();
            }
            self.keep_open();
        }
        let mean = |(sum, count): (f64, u32)| if count == 0 { f64::NAN } else { sum / f64::from(count) };
        let columns = self.columns.into_iter();
        let columns = columns.map(|column| column.sums.into_iter().zip(column.counts).map(mean).collect());
        Kept { times: self.times, columns: columns.collect(), group: self.group }
    }

    fn close(&mut self) {
        if self.times.len() == self.most {
            self.halve();
            // The open group is now half of a larger one, and waits for its other half.
            if self.open < self.group {
                return;
            }
        }
        self.keep_open();
    }

    fn keep_open(&mut self) {
        #[expect(clippy::cast_precision_loss, reason = "a group is far smaller than 2^52 samples")]
        self.times.push(self.open_time / self.open as f64);
        (self.open, self.open_time) = (0, 0.0);
        for column in &mut self.columns {
            column.sums.push(std::mem::take(&mut column.open_sum));
            column.counts.push(std::mem::take(&mut column.open_count));
        }
    }

    fn halve(&mut self) {
        self.group = self.group.saturating_mul(2);
        self.times = self.times.chunks_exact(2).map(|pair| pair.iter().sum::<f64>() / 2.0).collect();
        for column in &mut self.columns {
            column.sums = column.sums.chunks_exact(2).map(|pair| pair.iter().sum()).collect();
            let counts = column.counts.chunks_exact(2);
            column.counts =
                counts.map(|pair| pair.iter().fold(0, |sum: u32, n| sum.saturating_add(*n))).collect();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn few_samples_stay_as_they_are() {
        let mut reducer = Reducer::new(1, 4);
        for at in 0..4 {
            reducer.push(f64::from(at), &[f64::from(at * at)]);
        }
        let (times, columns) = (vec![0.0, 1.0, 2.0, 3.0], vec![vec![0.0, 1.0, 4.0, 9.0]]);
        assert_eq!(reducer.finish(), Kept { times, columns, group: 1 });
    }

    proptest! {
        /// Averaging keeps the mean of what is there, within rounding, and the bound on the number kept.
        #[test]
        fn averaging_keeps_the_mean(values in prop::collection::vec(prop::option::of(-10.0..10.0_f64), 1..200)) {
            let mut reducer = Reducer::new(1, 8);
            for (at, value) in (0_u32..).zip(&values) {
                reducer.push(f64::from(at), &[value.unwrap_or(f64::NAN)]);
            }
            let Kept { times, columns, group } = reducer.finish();
            let group = usize::try_from(group).unwrap();
            prop_assert!(times.len() <= 8);
            prop_assert_eq!(times.len(), values.len().div_ceil(group));
            for (kept, samples) in columns[0].iter().zip(values.chunks(group)) {
                let there: Vec<f64> = samples.iter().filter_map(|value| *value).collect();
                if there.is_empty() {
                    prop_assert!(kept.is_nan());
                } else {
                    #[expect(clippy::cast_precision_loss, reason = "a few samples")]
                    let mean = there.iter().sum::<f64>() / there.len() as f64;
                    prop_assert!((kept - mean).abs() < 1e-9);
                }
            }
        }
    }
}
