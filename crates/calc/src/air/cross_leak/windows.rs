//! From readings to slopes: each reading becomes one or two slopes with their covariance.

use super::{CrossLeakError, Leaks, Seen, Test};
use crate::estimate::root_sum_square;

/// Pressure at which rates are stated, bar absolute, against the standard atmosphere.
pub(super) const STATED_BAR_ABS: f64 = 7.0;
const STATED_AIR_BAR: f64 = 1.013_25;
/// Most points that a trace is reduced to.
const POINTS: usize = 72;
/// Seconds after which the air of a charged bore has settled: four time constants of a 14 mm bore.
const SETTLED_S: f64 = 8.0;
/// A fall or rise within that time that is no settling, bar: the whole trace is then used.
const FAST_BAR: f64 = 0.3;
/// Standard deviation of what settling may take within the first seconds, mbar, where they are used.
const FIRST_SECONDS_MBAR: f64 = 40.0;
/// Hoses after the fill: the pressure falls by so many mbar/s times (seconds since the fill)^-3/2, from a simulation of
/// 2 m of hose on 100 ml (8.5), the creep of the wall doubling it or no hose at all halving it (own choice).
const HOSES: (f64, f64) = (6.0, 5.0);
/// Drift of a charged circuit, mbar/s at 7 bar absolute: steel that changes by 0.06 K a minute (own choice).
const CHARGED_DRIFT_MBAR_S: f64 = 0.024;
/// Share by which a slope may depart from the law of a narrow crack at the same pressure, and more as the driving
/// pressure falls: half of what a short hole would differ by, and a quarter at most, so that no leak is mistaken for
/// none (own choice).
const LAW: (f64, f64, f64) = (0.01, 0.5, 0.25);

/// (7 bar)^2 - (1 atm)^2.
pub(super) fn stated_squares() -> f64 {
    STATED_BAR_ABS * STATED_BAR_ABS - STATED_AIR_BAR * STATED_AIR_BAR
}

/// One reading: pressures on its own times, and the slopes taken from it.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub(super) circuit: usize,
    pub(super) test: usize,
    pub(super) time_s: Vec<f64>,
    pub(super) own_bar_abs: Vec<f64>,
    /// The other circuits' pressures on the same times; `None`: at the air's pressure.
    pub(super) others: Vec<Option<Vec<f64>>>,
    /// For each slope the weight of every sample, per second.
    pub(super) weights: Vec<Vec<f64>>,
    /// Slopes, mbar/s, expected settling taken off.
    pub(super) slopes: Vec<f64>,
    /// Inverse covariance of the slopes: first, second, and between.
    pub(super) inverse: [f64; 3],
}

/// A reading reduced to few points, bar absolute.
#[derive(Clone, Debug)]
struct Reduced {
    time_s: Vec<f64>,
    bar_abs: Vec<f64>,
    noise_mbar: f64,
    twice: bool,
}

/// Slopes of all readings of all tests.
pub(super) fn blocks(leaks: &Leaks) -> Result<Vec<Block>, CrossLeakError> {
    let mut blocks = Vec::new();
    for (number, test) in leaks.tests.iter().enumerate() {
        let reduced = reduced(leaks, number, test)?;
        let first_s = if is_fast(&reduced) { 0.0 } else { SETTLED_S };
        for (place, reading) in reduced.iter().enumerate() {
            if let Some(reading) = reading {
                let charged = test.charged.contains(&place);
                let part = Part { leaks, test, number, place, charged, first_s };
                blocks.push(part.block(reading, &reduced));
            }
        }
    }
    Ok(blocks)
}

fn is_fast(readings: &[Option<Reduced>]) -> bool {
    readings.iter().flatten().filter(|reading| !reading.twice).any(|reading| {
        let early = reading.time_s.iter().zip(&reading.bar_abs).filter(|(time, _)| **time <= SETTLED_S);
        let start = reading.bar_abs.first().copied().unwrap_or(0.0);
        early.map(|(_, bar)| (bar - start).abs()).fold(0.0, f64::max) > FAST_BAR
    })
}

/// The reading of each circuit, in the order of circuits.
fn reduced(leaks: &Leaks, number: usize, test: &Test) -> Result<Vec<Option<Reduced>>, CrossLeakError> {
    let air = leaks.atmosphere.bar();
    let mut list: Vec<Option<Reduced>> = vec![None; leaks.circuits.len()];
    for (place, seen) in &test.seen {
        let fault = CrossLeakError::NoSlope { test: number, place: *place };
        let reading = match seen {
            Seen::Logged(time_s, bar_g) => {
                logged(time_s, bar_g, air, leaks.gauges.step.mbar()).ok_or(fault)?
            }
            Seen::Twice { start, end, time } => {
                let sound = time.s() > 0.0 && time.is_finite() && start.is_finite() && end.is_finite();
                let step = leaks.gauges.step.mbar() * 0.289;
                let noise = root_sum_square(&[leaks.gauges.by_eye.mbar(), step]);
                sound.then(|| twice([start.bar() + air, end.bar() + air], time.s(), noise)).ok_or(fault)?
            }
        };
        if let Some(slot) = list.get_mut(*place) {
            *slot = Some(reading);
        }
    }
    Ok(list)
}

fn twice([start, end]: [f64; 2], seconds: f64, noise_mbar: f64) -> Reduced {
    let shares = || (0..=8).map(|step| f64::from(step) / 8.0);
    Reduced {
        time_s: shares().map(|share| share * seconds).collect(),
        bar_abs: shares().map(|share| start + (end - start) * share).collect(),
        noise_mbar,
        twice: true,
    }
}

fn logged(time_s: &[f64], bar_g: &[f64], air: f64, step_mbar: f64) -> Option<Reduced> {
    let whole = time_s.len() == bar_g.len() && time_s.len() >= 3;
    let rising = time_s.windows(2).all(|pair| matches!(pair, [a, b] if b > a));
    let sound = time_s.iter().chain(bar_g).all(|value| value.is_finite());
    if !(whole && rising && sound) {
        return None;
    }
    let size = time_s.len().div_ceil(POINTS);
    let begin = time_s.first().copied()?;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let reduced: Vec<(f64, f64)> = time_s
        .chunks(size)
        .zip(bar_g.chunks(size))
        .map(|(times, bars)| (mean(times) - begin, mean(bars) + air))
        .collect();
    // Second differences see the noise and not the curve: their variance is six times that of a point.
    let bends: Vec<f64> =
        reduced.windows(3).map(|three| three[0].1 - 2.0 * three[1].1 + three[2].1).collect();
    let mut squares: Vec<f64> = bends.iter().map(|bend| bend * bend).collect();
    squares.sort_by(f64::total_cmp);
    // Median of the squares over 0.455, the median of chi-squared with one degree of freedom: bends of a fast start count little.
    let median = squares.get(squares.len() / 2).copied().unwrap_or(0.0);
    let noise = (median / 0.455 / 6.0).sqrt() * 1000.0;
    let (time_s, bar_abs): (Vec<f64>, Vec<f64>) = reduced.into_iter().unzip();
    (time_s.len() >= 3).then_some(Reduced {
        time_s,
        bar_abs,
        noise_mbar: root_sum_square(&[noise.max(0.05), step_mbar * 0.289]),
        twice: false,
    })
}

/// One circuit of one test.
struct Part<'a> {
    leaks: &'a Leaks,
    test: &'a Test,
    number: usize,
    place: usize,
    charged: bool,
    first_s: f64,
}

impl Part<'_> {
    fn block(&self, reading: &Reduced, all: &[Option<Reduced>]) -> Block {
        let others = (0..all.len()).map(|other| self.pressure_of(other, reading, all)).collect();
        let ranges = self.ranges(reading);
        let weights: Vec<Vec<f64>> = ranges.iter().map(|range| weights(reading, *range)).collect();
        let mut block = Block {
            circuit: self.place,
            test: self.number,
            time_s: reading.time_s.clone(),
            own_bar_abs: reading.bar_abs.clone(),
            others,
            weights,
            slopes: Vec::new(),
            inverse: [0.0; 3],
        };
        let slope = |weights: &Vec<f64>| {
            weights.iter().zip(&block.own_bar_abs).map(|(weight, bar)| weight * bar * 1000.0).sum::<f64>()
        };
        let seen: Vec<f64> = block.weights.iter().map(slope).collect();
        let hoses: Vec<f64> = ranges.iter().map(|range| self.hoses(reading, *range)).collect();
        let spread: Vec<f64> = ranges
            .iter()
            .zip(&block.weights)
            .zip(&seen)
            .map(|((range, weights), slope)| self.spread(reading, *range, weights, *slope))
            .collect();
        block.slopes = seen.iter().zip(&hoses).map(|(slope, hoses)| slope + HOSES.0 * hoses).collect();
        block.inverse = self.inverse(reading, &spread, &hoses);
        block
    }

    /// A circuit's pressure on the times of this reading; `None` for one at the air's pressure.
    fn pressure_of(&self, other: usize, reading: &Reduced, all: &[Option<Reduced>]) -> Option<Vec<f64>> {
        if other == self.place {
            return None;
        }
        if let Some(Some(seen)) = all.get(other) {
            if seen.time_s == reading.time_s {
                return Some(seen.bar_abs.clone());
            }
            return Some(interpolated(seen, &reading.time_s));
        }
        self.test.charged.contains(&other).then(|| {
            let charged = all.iter().enumerate().filter(|(place, _)| self.test.charged.contains(place));
            let starts: Vec<f64> =
                charged.filter_map(|(_, seen)| seen.as_ref()?.bar_abs.first().copied()).collect();
            let start = if starts.is_empty() {
                self.leaks.pressure.absolute(self.leaks.atmosphere).bar()
            } else {
                starts.iter().sum::<f64>() / starts.len() as f64
            };
            vec![start; reading.time_s.len()]
        })
    }

    /// First and last point of each slope.
    fn ranges(&self, reading: &Reduced) -> Vec<(usize, usize)> {
        let last = reading.time_s.len().saturating_sub(1);
        if reading.twice {
            return vec![(0, last)];
        }
        let end = reading.time_s.get(last).copied().unwrap_or(0.0);
        let first_s = if self.first_s > 0.3 * end { 0.0 } else { self.first_s };
        let at_or_after =
            |moment: f64| reading.time_s.iter().position(|time| *time >= moment).unwrap_or(last);
        let first = at_or_after(first_s);
        let middle = at_or_after((first_s + end) / 2.0);
        if middle.saturating_sub(first) >= 4 && last - middle >= 4 {
            vec![(first, middle - 1), (middle, last)]
        } else if last.saturating_sub(first) >= 2 {
            vec![(first, last)]
        } else {
            vec![(0, last)]
        }
    }

    /// Share of the hoses' fall in a slope, mbar/s for each unit of their strength.
    fn hoses(&self, reading: &Reduced, (first, last): (usize, usize)) -> f64 {
        if !self.charged {
            return 0.0;
        }
        let since = |at: usize| reading.time_s.get(at).copied().unwrap_or(0.0) + self.test.hold.s() + 1.0;
        let (from, to) = (since(first), since(last));
        let start = reading.bar_abs.first().copied().unwrap_or(1.0) - self.leaks.atmosphere.bar();
        (start / 6.0).max(0.0) * 2.0 * (1.0 / from.sqrt() - 1.0 / to.sqrt()) / (to - from).max(1e-9)
    }

    /// Standard deviation of a slope that is its own: noise, the first seconds, the law of the leak.
    fn spread(&self, reading: &Reduced, (first, last): (usize, usize), weights: &[f64], slope: f64) -> f64 {
        let noise = reading.noise_mbar * weights.iter().map(|weight| weight * weight).sum::<f64>().sqrt();
        let span = reading.time_s.get(last).copied().unwrap_or(1.0)
            - reading.time_s.get(first).copied().unwrap_or(0.0);
        let early = self.charged && first == 0 && !reading.twice;
        let settling = if early { FIRST_SECONDS_MBAR / span.max(1.0) } else { 0.0 };
        let steps = self.leaks.gauges.step.mbar() * 0.47 / span.max(1e-9);
        let law = slope * (LAW.0 + LAW.1 * self.driving_lost(reading, first, last)).min(LAW.2);
        root_sum_square(&[noise, settling, steps, law])
    }

    /// How much of the driving pressure's square is gone between the beginning and this stretch, 0 to 1.
    fn driving_lost(&self, reading: &Reduced, first: usize, last: usize) -> f64 {
        let at = |place: usize| reading.bar_abs.get(place).copied().unwrap_or(1.0);
        let (start, middle) = (at(0), (at(first) + at(last)) / 2.0);
        if self.charged {
            return (1.0 - middle * middle / (start * start)).clamp(0.0, 1.0);
        }
        // A watched circuit that has come up by a bar has been fed by one that fell.
        ((middle - start) / 3.0).clamp(0.0, 1.0)
    }

    /// Inverse covariance: what belongs to one slope, and drift and hoses that both share.
    fn inverse(&self, reading: &Reduced, spread: &[f64], hoses: &[f64]) -> [f64; 3] {
        let start = reading.bar_abs.first().copied().unwrap_or(1.0);
        let drift = if self.charged {
            CHARGED_DRIFT_MBAR_S * start / STATED_BAR_ABS
        } else {
            self.leaks.gauges.watched_drift_mbar_s
        };
        let square = |at: usize| {
            let (own, hose) = (spread.get(at).copied().unwrap_or(1.0), hoses.get(at).copied().unwrap_or(0.0));
            own * own + drift * drift + (HOSES.1 * hose).powi(2)
        };
        if spread.len() < 2 {
            return [1.0 / square(0), 0.0, 0.0];
        }
        let between = drift * drift + HOSES.1 * HOSES.1 * hoses.iter().product::<f64>();
        let determinant = square(0) * square(1) - between * between;
        [square(1) / determinant, square(0) / determinant, -between / determinant]
    }
}

/// Weights of the samples in the slope: of the straight line through a stretch, or of its two ends.
fn weights(reading: &Reduced, (first, last): (usize, usize)) -> Vec<f64> {
    let mut weights = vec![0.0; reading.time_s.len()];
    let times = &reading.time_s[first..=last];
    if reading.twice {
        let span = times.last().copied().unwrap_or(1.0) - times.first().copied().unwrap_or(0.0);
        weights[first] = -1.0 / span;
        weights[last] = 1.0 / span;
        return weights;
    }
    let mean = times.iter().sum::<f64>() / times.len() as f64;
    let square: f64 = times.iter().map(|time| (time - mean) * (time - mean)).sum();
    for (weight, time) in weights[first..=last].iter_mut().zip(times) {
        *weight = (time - mean) / square;
    }
    weights
}

/// The pressure at these times; beyond its ends a trace keeps its value.
fn interpolated(seen: &Reduced, time_s: &[f64]) -> Vec<f64> {
    let mut right = 0;
    let at = |place: usize| {
        (seen.time_s.get(place).copied().unwrap_or(0.0), seen.bar_abs.get(place).copied().unwrap_or(0.0))
    };
    let last = seen.time_s.len() - 1;
    time_s
        .iter()
        .map(|moment| {
            while right < last && at(right).0 < *moment {
                right += 1;
            }
            let (after, left) = (at(right), at(right.saturating_sub(1)));
            if *moment >= after.0 || after.0 <= left.0 {
                return after.1;
            }
            left.1 + (after.1 - left.1) * ((moment - left.0) / (after.0 - left.0)).max(0.0)
        })
        .collect()
}
