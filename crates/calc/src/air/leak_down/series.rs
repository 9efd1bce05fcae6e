//! The samples of a leak-down, cleaned: absolute pressures from the shutting of the supply on, step of the gauge,
//! single spikes taken out.

use super::{DecayData, LEAST_START, LeakDownError, LeakDownInput};
use crate::estimate::root_sum_square;
use crate::limits::within;

/// Fewest samples of a trace.
const LEAST_SAMPLES: usize = 3;
/// Shortest time watched.
const LEAST_SECONDS: f64 = 1.0;
/// Highest pressure that the equivalents reckon with.
const HIGHEST_BAR_G: f64 = 40.0;
/// A pressure that rises by more than this share cannot come from warming alone (0.02 is 6 K).
const LARGEST_RISE: f64 = 0.02;
/// A gauge pressure below so many standard uncertainties may be anything down to zero.
const EMPTY_SIGMAS: f64 = 5.0;
/// Fewer samples than this do not show their own noise.
pub(super) const SAMPLES_THAT_SHOW_NOISE: usize = 12;

/// Cleaned samples.
#[derive(Clone, Debug)]
pub(super) struct Series {
    /// Seconds from the first sample.
    pub time_s: Vec<f64>,
    /// Absolute pressure.
    pub pressure_mbar: Vec<f64>,
    /// Surrounding air.
    pub atmosphere_mbar: f64,
    /// Step of the gauge, given or recognised; 0 if none shows.
    pub step_mbar: f64,
    /// Noise of one sample, from the gauge's description or from neighbouring samples.
    pub noise_mbar: f64,
    /// Samples left out as spikes.
    pub spikes: usize,
    /// Whether only two readings stand behind it.
    pub two_readings: bool,
    /// Whether the second of two readings is too close to zero to tell when the circuit was empty; it then stands at the
    /// lowest pressure that would still have shown, and the leak is a lower limit.
    pub emptied: bool,
}

impl Series {
    pub(super) fn read(input: &LeakDownInput<'_>) -> Result<Self, LeakDownError> {
        let series = match input.decay {
            DecayData::Trace(trace) => {
                let (time, pressure) = trace.pressures().ok_or(LeakDownError::NoPressure)?;
                Self::from_samples(input, &time, &pressure)?
            }
            DecayData::TwoReadings { start, end, time } => {
                within("seconds", time.s(), LEAST_SECONDS, 86_400.0, "s")?;
                let plain = Self::plain(input, vec![0.0, time.s()], &[start.bar(), end.bar()]);
                Self { two_readings: true, ..plain }.lifted_from_zero()
            }
        };
        series.check()?;
        Ok(series)
    }

    fn plain(input: &LeakDownInput<'_>, time_s: Vec<f64>, pressure_bar_g: &[f64]) -> Self {
        let atmosphere_mbar = input.atmosphere.mbar();
        Self {
            time_s,
            pressure_mbar: pressure_bar_g.iter().map(|bar| bar * 1e3 + atmosphere_mbar).collect(),
            atmosphere_mbar,
            step_mbar: input.gauge.step.mbar(),
            noise_mbar: input.gauge.standard_uncertainty.mbar(),
            spikes: 0,
            two_readings: false,
            emptied: false,
        }
    }

    fn lifted_from_zero(mut self) -> Self {
        let lowest = self.atmosphere_mbar + EMPTY_SIGMAS * self.reading_mbar();
        if let Some(end) = self.pressure_mbar.last_mut().filter(|end| **end < lowest) {
            *end = lowest;
            self.emptied = true;
        }
        self
    }

    /// Standard uncertainty of one reading: noise and rounding.
    pub(super) fn reading_mbar(&self) -> f64 {
        root_sum_square(&[self.noise_mbar, self.step_mbar / 12.0_f64.sqrt()])
    }

    fn from_samples(
        input: &LeakDownInput<'_>,
        time_s: &[f64],
        pressure_bar_g: &[f64],
    ) -> Result<Self, LeakDownError> {
        if time_s.len() < LEAST_SAMPLES {
            return Err(LeakDownError::TooFewSamples { samples: time_s.len(), least: LEAST_SAMPLES });
        }
        let first = time_s.first().copied().unwrap_or_default();
        let times = time_s.iter().map(|time| time - first).collect();
        let mut series = Self::plain(input, times, pressure_bar_g);
        series.recognise_step(input);
        series.drop_spikes();
        let seen = neighbour_noise(&series.pressure_mbar);
        series.noise_mbar =
            if series.len() >= SAMPLES_THAT_SHOW_NOISE { seen } else { seen.max(series.noise_mbar) };
        Ok(series)
    }

    fn check(&self) -> Result<(), LeakDownError> {
        let (start_bar_g, end_bar_g) = (self.gauge_bar(self.start_mbar()), self.gauge_bar(self.end_mbar()));
        within("start_bar_g", start_bar_g, -1.2, HIGHEST_BAR_G, "bar")?;
        within("end_bar_g", end_bar_g, -1.2, HIGHEST_BAR_G, "bar")?;
        if start_bar_g < LEAST_START.bar() {
            return Err(LeakDownError::StartTooLow { start_bar_g, least_bar_g: LEAST_START.bar() });
        }
        if self.duration_s() < LEAST_SECONDS {
            return Err(LeakDownError::TooShort { seconds: self.duration_s(), least: LEAST_SECONDS });
        }
        let noise = 3.0 * (self.noise_mbar + self.step_mbar);
        if self.end_mbar() > self.start_mbar() * (1.0 + LARGEST_RISE) + noise {
            return Err(LeakDownError::Rises { start_bar_g, end_bar_g });
        }
        Ok(())
    }

    pub(super) fn len(&self) -> usize {
        self.time_s.len()
    }

    pub(super) fn start_mbar(&self) -> f64 {
        self.pressure_mbar.first().copied().unwrap_or(f64::NAN)
    }

    pub(super) fn end_mbar(&self) -> f64 {
        self.pressure_mbar.last().copied().unwrap_or(f64::NAN)
    }

    pub(super) fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or_default()
    }

    pub(super) fn gauge_bar(&self, absolute_mbar: f64) -> f64 {
        (absolute_mbar - self.atmosphere_mbar) / 1e3
    }

    /// Time and pressure of each sample.
    pub(super) fn samples(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.time_s.iter().copied().zip(self.pressure_mbar.iter().copied())
    }

    /// First time at which the gauge pressure has fallen to this share of its start; the end if it never does.
    pub(super) fn falls_to_share_s(&self, share: f64) -> f64 {
        let level = self.atmosphere_mbar + share * (self.start_mbar() - self.atmosphere_mbar);
        self.samples().find(|(_, pressure)| *pressure < level).map_or(self.duration_s(), |(time, _)| time)
    }

    /// The step of a gauge shows in its samples: every difference is a multiple of the smallest one.
    fn recognise_step(&mut self, input: &LeakDownInput<'_>) {
        if self.step_mbar > 0.0 {
            return;
        }
        let changes = || {
            self.pressure_mbar.windows(2).filter_map(|pair| match pair {
                [a, b] if (b - a).abs() > 1e-7 => Some((b - a).abs()),
                _ => None,
            })
        };
        let smallest = changes().fold(f64::INFINITY, f64::min);
        if !smallest.is_finite() {
            self.step_mbar = input.gauge.standard_uncertainty.mbar().max(self.round_step_mbar());
            return;
        }
        let (mut count, mut multiples) = (0_u32, 0_u32);
        for change in changes() {
            let steps = change / smallest;
            count += 1;
            multiples += u32::from((steps - steps.round()).abs() < 0.02);
        }
        if f64::from(multiples) >= 0.98 * f64::from(count) {
            self.step_mbar = smallest;
        }
    }

    /// A gauge that never moved shows its step only in the roundness of its one value: the largest of 10, 1 and 0.1 mbar
    /// of which the value is a multiple.
    fn round_step_mbar(&self) -> f64 {
        let shown = self.start_mbar() - self.atmosphere_mbar;
        let fits = |step: &f64| (shown / step - (shown / step).round()).abs() < 1e-6;
        [10.0, 1.0, 0.1].into_iter().find(fits).unwrap_or(0.0)
    }

    /// Leaves out single samples that stand far from both neighbours.
    fn drop_spikes(&mut self) {
        if self.len() < SAMPLES_THAT_SHOW_NOISE {
            return;
        }
        let allowed = 8.0 * neighbour_noise(&self.pressure_mbar) + 2.0 * self.step_mbar + 0.5;
        let lonely: Vec<bool> = self
            .pressure_mbar
            .windows(3)
            .map(|three| match three {
                [a, b, c] => (b - a).abs().min((b - c).abs()) > allowed && (b - a) * (b - c) > 0.0,
                _ => false,
            })
            .collect();
        let spike = |at: usize| at > 0 && lonely.get(at - 1).copied().unwrap_or(false);
        let keep = |values: &[f64]| {
            values.iter().enumerate().filter(|(at, _)| !spike(*at)).map(|(_, value)| *value).collect()
        };
        self.spikes = lonely.iter().filter(|lonely| **lonely).count();
        (self.time_s, self.pressure_mbar) = (keep(&self.time_s), keep(&self.pressure_mbar));
    }
}

/// Noise of one sample from second differences, which a smooth fall does not enter: median of their sizes, scaled to a
/// standard deviation (0.6745 of a normal variable's; the second difference has six times the variance).
pub(super) fn neighbour_noise(values: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = values
        .windows(3)
        .filter_map(|three| match three {
            [a, b, c] => Some((a - 2.0 * b + c).abs()),
            _ => None,
        })
        .collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).copied().unwrap_or_default() / 0.6745 / 6.0_f64.sqrt()
}

/// How many independent roundings stand in these samples: a gauge that rests on one step repeats one rounding.
pub(super) fn independent_roundings(values: &[f64]) -> f64 {
    let changes = values.windows(2).filter(|pair| matches!(pair, [a, b] if (b - a).abs() > 1e-9)).count();
    #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
    let (changes, samples) = (changes as f64, values.len() as f64);
    (1.5 * changes + 3.0).min(samples)
}
