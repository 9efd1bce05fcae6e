//! From a logged pressure to what the fit works on: level before the opening, noise, and the stretch worth fitting.

use super::Gauge;

/// Most samples of a fit; longer stretches are averaged.
const SAMPLES_MOST: usize = 160;
/// The fit begins where the pressure has fallen by this share: before, the circuit fills and the valve opens.
const FALLEN: f64 = 0.06;
/// The fit ends at this share of the starting gauge pressure.
const ENDS_AT: f64 = 0.05;

/// A logged pressure, prepared. Pressures are gauge, in bar.
#[derive(Clone, Debug)]
pub(super) struct Prepared {
    /// Level before the opening.
    pub rest: f64,
    /// Standard uncertainty of that level.
    pub rest_standard: f64,
    /// Whether samples from before the opening are there.
    pub rest_seen: bool,
    /// Time of the last sample before the fall.
    pub before_fall_s: f64,
    /// Standard deviation of one sample.
    pub noise: f64,
    /// Samples of the fall.
    pub fall: Vec<Sample>,
    /// Last sample and its time.
    pub last: f64,
    /// Pressure half-way through the trace and the time from there to the end; none for short traces.
    pub half: Option<(f64, f64)>,
    /// Time from the beginning of the fall to the last sample.
    pub watched_s: f64,
    /// Typical time between samples.
    pub interval_s: f64,
    /// Whether the pressure ended below the stretch that is fitted.
    pub emptied: bool,
    /// Time within which the pressure went from rest to gone, for falls too fast to fit.
    pub gone_within_s: Option<f64>,
}

/// One sample, or the mean of several.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sample {
    pub time_s: f64,
    pub pressure: f64,
    pub standard: f64,
}

/// Prepares finite samples with rising times; nothing with fewer than two or without pressure at the start.
pub(super) fn prepare(times: &[f64], pressures: &[f64], gauge: &Gauge) -> Option<Prepared> {
    let (&first_time, &last_time) = (times.first()?, times.last()?);
    let (&first, &last) = (pressures.first()?, pressures.last()?);
    if times.len() < 2 || last_time <= first_time || first <= 0.0 {
        return None;
    }
    let noise = gauge
        .noise
        .map_or_else(|| noise_of(pressures), |noise| noise.bar())
        .max(gauge.step.bar() / 12.0_f64.sqrt());
    let noise = noise.max(1e-5);
    let level = median(pressures.get(..pressures.len().min(3))?);
    let started = pressures.iter().position(|p| *p < level - (0.01 * level).max(5.0 * noise));
    let started = started.unwrap_or(pressures.len());
    // The sample in front of the first low one may already be on its way down.
    let rest_count = started.saturating_sub(1).max(1);
    let resting = pressures.get(..rest_count)?;
    let rest_seen = started >= 3;
    let rest = if rest_seen { mean(resting) } else { first };
    #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
    let rest_standard = noise / (resting.len() as f64).sqrt();
    let before = rest_count - 1;
    let before_fall_s = times.get(before).copied().unwrap_or(first_time);
    let (upper, lower) = ((1.0 - FALLEN) * rest, (ENDS_AT * rest).max(8.0 * noise));
    let begin = pressures.iter().skip(before).position(|p| *p < upper).map(|at| at + before);
    let end = begin.map(|begin| {
        let run = pressures.iter().skip(begin).position(|p| *p < lower);
        run.map_or(pressures.len(), |run| begin + run)
    });
    let mut fall = Vec::new();
    if let (Some(begin), Some(end)) = (begin, end) {
        fall = averaged(times.get(begin..end)?, pressures.get(begin..end)?, noise, gauge.step.bar());
    }
    let emptied = end.is_some_and(|end| end < pressures.len());
    #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
    let interval_s = (last_time - first_time) / (times.len() - 1) as f64;
    let gone_within_s =
        end.filter(|_| emptied).and_then(|end| times.get(end)).map(|gone| gone - before_fall_s);
    Some(Prepared {
        rest,
        rest_standard,
        rest_seen,
        before_fall_s,
        noise,
        fall,
        last,
        half: half(times, pressures),
        watched_s: last_time - before_fall_s,
        interval_s,
        emptied,
        gone_within_s,
    })
}

fn half(times: &[f64], pressures: &[f64]) -> Option<(f64, f64)> {
    let middle = times.len() / 2;
    let around = pressures.get(middle.checked_sub(1)?..=middle + 1)?;
    let seconds = times.last()? - times.get(middle)?;
    (times.len() >= 20).then(|| (mean(around), seconds))
}

/// Means of equal runs of samples. A shown step that is coarser than the noise does not average out.
fn averaged(times: &[f64], pressures: &[f64], noise: f64, step: f64) -> Vec<Sample> {
    let run = times.len().div_ceil(SAMPLES_MOST).max(1);
    let rounding = step / 12.0_f64.sqrt();
    let dithered = noise > 1.5 * rounding;
    times
        .chunks(run)
        .zip(pressures.chunks(run))
        .map(|(times, pressures)| {
            #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
            let count = times.len() as f64;
            let rounding = if dithered { 0.0 } else { rounding };
            let standard = (noise * noise / count + rounding * rounding).sqrt();
            Sample { time_s: mean(times), pressure: mean(pressures), standard }
        })
        .collect()
}

/// Noise from second differences, which a smooth fall hardly touches; their median is not moved by the opening.
fn noise_of(pressures: &[f64]) -> f64 {
    let mut second: Vec<f64> = pressures
        .windows(3)
        .filter_map(|three| match three {
            [a, b, c] => Some((a - 2.0 * b + c).abs()),
            _ => None,
        })
        .collect();
    second.sort_by(f64::total_cmp);
    // The median of |normal| is 0.6745 sd; a second difference has sqrt(6) times the sd of a sample.
    second.get(second.len() / 2).map_or(0.0, |middle| middle / (0.674_5 * 6.0_f64.sqrt()))
}

fn mean(values: &[f64]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
    let count = values.len() as f64;
    values.iter().sum::<f64>() / count
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}
