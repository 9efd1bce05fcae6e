//! Flow by bucket and stopwatch, with an honest uncertainty, and what it says of a flow meter.

use super::budget::{BudgetError, Component, combine};
use crate::estimate::{Estimate, Uncertain, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::stats;
use crate::quantity::{AbsolutePressure, Duration, Temperature, VolumeFlow};
use crate::water;

/// A meter is off where its error lies beyond so many of its stated standard uncertainties: what 95 % allow.
const ALLOWED: f64 = 2.0;
/// Width of a rectangular distribution over its standard deviation.
const RECTANGLE: f64 = 3.464_101_615_137_754_4;
/// Degrees of freedom of what a file says of a hand and its watch.
const KNOWN_FREEDOM: f64 = 3.0;
/// Longest collection that is proposed.
const LONGEST_S: f64 = 3_600.0;

/// One filling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Water caught with the bucket taken off: kg by scales, litres by mark.
    pub caught: f64,
    /// Filling time.
    pub time: Duration,
    /// What the flow meter showed meanwhile.
    pub meter: Option<VolumeFlow>,
}

/// How the water caught is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// By weight.
    Scales {
        /// Density of the surrounding air, kg/m3.
        air_density_kg_m3: f64,
        /// Density of the weights by which the scales were adjusted, kg/m3.
        weights_density_kg_m3: f64,
    },
    /// By the mark that the water reaches.
    Mark,
}

/// How well bucket and watch are known; standard uncertainties, and steps that the eye or a display resolves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// Standard uncertainty of what was caught (scales or marks), the same in every run: kg or litres.
    pub caught: f64,
    /// Smallest step of the scales or the mark; full and empty bucket are each read to it: kg or litres.
    pub step: f64,
    /// Most that splashes out or stays as a film and is not measured: kg or litres; half of it is added.
    pub lost: f64,
    /// Standard uncertainty of start and stop together, new in every run.
    pub reaction: Duration,
    /// Smallest step of the watch.
    pub watch_step: Duration,
    /// Standard uncertainty of the water's temperature, K.
    pub temperature_k: f64,
}

impl Doubt {
    /// Scales of 10 g and a watch in the hand (0.3 s for start and stop): common practice, no source.
    pub const BY_HAND: Self = Self {
        caught: 0.01,
        step: 0.0,
        lost: 0.0,
        reaction: Duration::from_s(0.3),
        watch_step: Duration::from_s(0.0),
        temperature_k: 0.0,
    };
}

/// One line of the budget.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// What it is.
    pub name: &'static str,
    /// Relative standard uncertainty that it adds to the flow.
    pub relative: f64,
    /// Degrees of freedom; none for infinitely many.
    pub degrees_of_freedom: Option<f64>,
}

/// What the bucket says of the meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeterCheck {
    /// Meter over bucket.
    pub ratio: Estimate,
    /// The same with its standard uncertainty: bucket and the meter's repeatability, not its calibration.
    pub ratio_standard: Uncertain,
    /// Whether the meter is off by more than its stated uncertainty allows (twice the standard uncertainty): yes, no,
    /// or none where the bucket cannot tell.
    pub off: Option<bool>,
}

/// Flow found with a bucket.
#[derive(Clone, Debug, PartialEq)]
pub struct BucketFlow {
    /// Flow in l/min, 95 % by Student's t for the effective degrees of freedom.
    pub flow_l_min: Estimate,
    /// Combined relative standard uncertainty.
    pub relative: f64,
    /// Expanded over standard uncertainty.
    pub coverage_factor: f64,
    /// Factor by which scales read too little because air bears part of the water; 1 by mark.
    pub buoyancy_factor: f64,
    /// The budget, one line for each cause.
    pub budget: Vec<Line>,
    /// Comparison with the meter, where every run has its reading.
    pub meter: Option<MeterCheck>,
    /// Collecting time of each run for a flow good to the wanted per cent (95 %); none if no time would do.
    pub seconds_needed: Option<f64>,
}

impl BucketFlow {
    /// The flow without its uncertainty.
    #[must_use]
    pub fn flow(&self) -> VolumeFlow {
        VolumeFlow::from_l_min(self.flow_l_min.value)
    }
}

/// The meter that is checked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meter {
    /// Stated relative standard uncertainty.
    pub stated: f64,
    /// Relative scatter of one reading.
    pub repeatability: f64,
}

/// Flow by bucket and stopwatch: `q = m / (t rho) (1 + rho_air (1/rho_water - 1/rho_weights))` by weight (ISO 4185:1980,
/// static weighing; source key `iso-4185`), `q = V / t` by mark; density of water from [`water::water`].
///
/// The budget (source key `jcgm-100`) has lines for scales or mark, their steps (rectangular, full and empty bucket),
/// what is lost (rectangular from 0), the water's density, and for start and stop. What is new in every run falls with
/// the root of the runs; from two runs on the scatter seen (type A) is pooled with it, as if it came from four earlier
/// runs (three degrees of freedom, known to 40 %: JCGM 100:2008, G.4.2; the number is our own proposal). The 95 %
/// interval uses Student's t.
///
/// # Arguments
/// `runs`: one or more. `wanted_percent`: half width at 95 % for which the collecting time is answered.
///
/// # Errors
/// [`OutOfRange`] naming the number: catch and time above 0, uncertainties 0 or more, water 0.1 to 95 degC, air 0 to
/// 2 kg/m3, weights 2000 to 22000 kg/m3.
pub fn bucket_flow(
    runs: &[Run],
    measure: Measure,
    doubt: &Doubt,
    water_temperature: Temperature,
    meter: Meter,
    wanted_percent: f64,
) -> Result<BucketFlow, OutOfRange> {
    let (factor, density_line, buoyancy_factor) = litres_per_unit(measure, water_temperature, doubt)?;
    let flows = flows(runs, measure, doubt, factor)?;
    let count = flows.len() as f64;
    let mean = flows.iter().sum::<f64>() / count;
    let least = runs.iter().fold(f64::INFINITY, |least, run| least.min(run.caught));
    let caught = (least + doubt.lost / 2.0).max(f64::MIN_POSITIVE);
    let time_s = runs.iter().fold(f64::INFINITY, |least, run| least.min(run.time.s()));
    let steady = [
        ("scales or mark", doubt.caught / caught),
        ("lost water", doubt.lost / RECTANGLE / caught),
        ("density", density_line),
    ];
    let step = 2.0_f64.sqrt() * doubt.step / RECTANGLE / caught;
    let clock = root_sum_square(&[
        doubt.reaction.s() / time_s,
        2.0_f64.sqrt() * doubt.watch_step.s() / RECTANGLE / time_s,
    ]);
    let line = |name, relative| Line { name, relative, degrees_of_freedom: None };
    let steady = steady.map(|(name, relative)| line(name, relative));
    let mut budget = steady.to_vec();
    let known = root_sum_square(&[step, clock]) / count.sqrt();
    if flows.len() > 1 {
        budget.push(from_run_to_run(&flows, known));
    } else {
        budget.extend([line("step", step), line("start and stop", clock)]);
    }
    let (relative, k) = combined(&budget)?;
    let flow_l_min = interval(mean, mean * relative, k);
    Ok(BucketFlow {
        flow_l_min,
        relative,
        coverage_factor: k,
        buoyancy_factor,
        meter: meter_check(runs, &flows, (&steady, known), meter)?,
        seconds_needed: seconds_needed(doubt, mean / factor / 60.0, density_line, count, wanted_percent),
        budget,
    })
}

fn interval(value: f64, standard: f64, k: f64) -> Estimate {
    Estimate { value, low: value - k * standard, high: value + k * standard, coverage: 0.95 }
}

/// Litres of each unit caught, relative uncertainty of that, and the factor of buoyancy.
fn litres_per_unit(
    measure: Measure,
    water_temperature: Temperature,
    doubt: &Doubt,
) -> Result<(f64, f64, f64), OutOfRange> {
    within("water_temperature_deg_c", water_temperature.deg_c(), 0.1, 95.0, "degC")?;
    let spread = within("temperature_uncertainty_k", doubt.temperature_k, 0.0, 50.0, "K")?;
    let Measure::Scales { air_density_kg_m3, weights_density_kg_m3 } = measure else {
        return Ok((1.0, 0.0, 1.0));
    };
    let air = within("air_density_kg_m3", air_density_kg_m3, 0.0, 2.0, "kg/m3")?;
    let weights = within("weights_density_kg_m3", weights_density_kg_m3, 2e3, 2.2e4, "kg/m3")?;
    let density = |deg_c: f64| {
        let temperature = Temperature::from_deg_c(deg_c.clamp(0.1, 95.0));
        Ok(water::water(temperature, AbsolutePressure::STANDARD_ATMOSPHERE)?.density_kg_m3)
    };
    let here = density(water_temperature.deg_c())?;
    let warmer = density(water_temperature.deg_c() + spread)?;
    let colder = density(water_temperature.deg_c() - spread)?;
    let buoyancy = 1.0 + air * (1.0 / here - 1.0 / weights);
    Ok((1000.0 * buoyancy / here, ((warmer - colder) / 2.0 / here).abs(), buoyancy))
}

/// Flow of each run, l/min.
fn flows(runs: &[Run], measure: Measure, doubt: &Doubt, factor: f64) -> Result<Vec<f64>, OutOfRange> {
    let (name, uncertainty, unit) = match measure {
        Measure::Scales { .. } => ("mass_kg", "mass_uncertainty_kg", "kg"),
        Measure::Mark => ("volume_l", "volume_uncertainty_l", "l"),
    };
    within("runs", runs.len() as f64, 1.0, 1000.0, "(count)")?;
    within("step", doubt.step, 0.0, 1e3, unit)?;
    within("lost", doubt.lost, 0.0, 1e3, unit)?;
    within("time_step_s", doubt.watch_step.s(), 0.0, 60.0, "s")?;
    runs.iter()
        .map(|run| {
            let caught = within(name, run.caught, 1e-6, 1e6, unit)?;
            let time_s = within("time_s", run.time.s(), 1e-3, 1e6, "s")?;
            within(uncertainty, doubt.caught, 0.0, caught, unit)?;
            within("time_uncertainty_s", doubt.reaction.s(), 0.0, time_s, "s")?;
            Ok((caught + doubt.lost / 2.0) * factor / time_s * 60.0)
        })
        .collect()
}

/// Relative standard uncertainty of a mean of two or more: what is known of each, pooled with the scatter seen. Where
/// nothing is known, the scatter alone.
fn from_run_to_run(values: &[f64], known: f64) -> Line {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value / mean - 1.0) * (value / mean - 1.0)).sum();
    let own = if known > 0.0 { KNOWN_FREEDOM } else { 0.0 };
    let freedom = own + count - 1.0;
    let variance = (own * known * known + squares / count) / freedom;
    Line { name: "from run to run", relative: variance.sqrt(), degrees_of_freedom: Some(freedom) }
}

/// Relative standard uncertainty and coverage factor of a budget.
fn combined(budget: &[Line]) -> Result<(f64, f64), OutOfRange> {
    let lines: Vec<Component> = budget
        .iter()
        .map(|line| Component {
            standard_uncertainty: line.relative,
            sensitivity: 1.0,
            degrees_of_freedom: line.degrees_of_freedom,
        })
        .collect();
    let wrong = |_: BudgetError| OutOfRange {
        quantity: "uncertainty",
        value: f64::NAN,
        low: 0.0,
        high: f64::MAX,
        unit: "(relative)",
    };
    let found = combine(&lines, &[], 0.95).map_err(wrong)?;
    Ok((found.standard_uncertainty, found.coverage_factor))
}

/// Meter over bucket run by run: a flow that changes between runs does no harm.
fn meter_check(
    runs: &[Run],
    flows: &[f64],
    (steady, known): (&[Line], f64),
    meter: Meter,
) -> Result<Option<MeterCheck>, OutOfRange> {
    let ratios: Option<Vec<f64>> =
        runs.iter().zip(flows).map(|(run, flow)| Some(run.meter?.l_min() / flow)).collect();
    let Some(ratios) = ratios else { return Ok(None) };
    let count = ratios.len() as f64;
    let mean = ratios.iter().sum::<f64>() / count;
    within("meter_flow_l_min", mean, 0.01, 100.0, "(meter over bucket)")?;
    let known = root_sum_square(&[meter.repeatability / count.sqrt(), known]);
    let mut lines = steady.to_vec();
    lines.push(if ratios.len() > 1 {
        from_run_to_run(&ratios, known)
    } else {
        Line { name: "step, start and stop", relative: known, degrees_of_freedom: None }
    });
    let (relative, k) = combined(&lines)?;
    let ratio = interval(mean, mean * relative, k);
    let allowed = ALLOWED * meter.stated;
    let off = if ratio.low > 1.0 + allowed || ratio.high < 1.0 - allowed {
        Some(true)
    } else if ratio.low >= 1.0 - allowed && ratio.high <= 1.0 + allowed {
        Some(false)
    } else {
        None
    };
    Ok(Some(MeterCheck { ratio, ratio_standard: Uncertain::relative(mean, relative), off }))
}

/// Time of each run: what falls with it must leave room for what does not.
fn seconds_needed(doubt: &Doubt, units_s: f64, density: f64, count: f64, wanted_percent: f64) -> Option<f64> {
    let freedom = if count > 1.0 { KNOWN_FREEDOM + count - 1.0 } else { f64::INFINITY };
    let target = wanted_percent / 100.0 / stats::student_quantile(0.975, freedom);
    let room = target * target - density * density;
    let per_run = [
        doubt.reaction.s(),
        2.0_f64.sqrt() * doubt.watch_step.s() / RECTANGLE,
        2.0_f64.sqrt() * doubt.step / RECTANGLE / units_s,
    ];
    let always = [doubt.caught / units_s, doubt.lost / RECTANGLE / units_s];
    let seconds = root_sum_square(&[root_sum_square(&per_run) / count.sqrt(), root_sum_square(&always)]);
    let needed = seconds / room.max(0.0).sqrt();
    (needed.is_finite() && needed <= LONGEST_S).then_some(needed)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEEL: Measure = Measure::Scales { air_density_kg_m3: 1.2, weights_density_kg_m3: 8_000.0 };
    const METER: Meter = Meter { stated: 0.02, repeatability: 0.0 };

    fn run(caught: f64, seconds: f64, meter: Option<f64>) -> Run {
        Run { caught, time: Duration::from_s(seconds), meter: meter.map(VolumeFlow::from_l_min) }
    }

    fn ask(runs: &[Run], measure: Measure, doubt: &Doubt) -> BucketFlow {
        bucket_flow(runs, measure, doubt, Temperature::from_deg_c(20.0), METER, 1.0).unwrap()
    }

    #[test]
    fn bucket_and_scales() {
        // ISO 4185: about 1.05e-3 for steel weights (1.2 kg/m3 (1/998.2 - 1/8000) = 1.052e-3 by hand).
        let found = ask(&[run(5.0, 30.0, None)], STEEL, &Doubt::BY_HAND);
        assert!((found.buoyancy_factor - 1.001_052).abs() < 1e-6);
        assert!((found.flow().l_min() - 5.0 * 1.001_052 / 998.2 * 1000.0 * 2.0).abs() < 1e-3);
        // 0.3 s in 30 s is 1 %; 10 g in 5 kg adds little.
        assert!((found.relative - 0.010_198).abs() < 1e-5);
        assert_eq!(found.meter, None);
        let refuse = bucket_flow(
            &[run(0.0, 30.0, None)],
            STEEL,
            &Doubt::BY_HAND,
            Temperature::from_deg_c(20.0),
            METER,
            1.0,
        );
        assert_eq!(refuse.unwrap_err().quantity, "mass_kg");
    }

    #[test]
    fn the_time_needed_is_the_time_that_suffices() {
        let doubt = Doubt { step: 0.005, lost: 0.01, temperature_k: 1.0, ..Doubt::BY_HAND };
        let first = ask(&[run(5.0, 30.0, None)], STEEL, &doubt);
        let seconds = first.seconds_needed.unwrap();
        // With that time at the same flow, the half width is the wanted 1 %.
        let again = ask(&[run(5.0 / 30.0 * seconds, seconds, None)], STEEL, &doubt);
        let half = again.flow_l_min.half_width() / again.flow_l_min.value;
        assert!((half - 0.01).abs() < 2e-4, "{half}");
        let hopeless = Doubt { temperature_k: 50.0, ..doubt };
        assert_eq!(ask(&[run(5.0, 30.0, None)], STEEL, &hopeless).seconds_needed, None);
    }

    #[test]
    fn repeated_runs_bring_students_factor() {
        // Three runs of 10.0, 10.2, 9.8 l/min by hand: s = 0.2, s / sqrt(3) = 0.11547; t(2 degrees) = 4.303.
        let exact = Doubt { caught: 0.0, reaction: Duration::from_s(0.0), ..Doubt::BY_HAND };
        let runs = [run(10.0, 60.0, None), run(10.2, 60.0, None), run(9.8, 60.0, None)];
        let found = ask(&runs, Measure::Mark, &exact);
        assert!((found.relative * 10.0 - 0.115_470).abs() < 1e-6);
        assert!((found.coverage_factor - 4.303).abs() < 5e-4);
    }

    #[test]
    fn a_meter_is_off_only_beyond_what_it_states() {
        let at = |meter| {
            let runs = [run(20.0, 60.0, Some(meter))];
            ask(&runs, Measure::Mark, &Doubt { reaction: Duration::from_s(0.2), ..Doubt::BY_HAND })
        };
        // Bucket 0.33 %: 3 % are within twice 2 %, 8 % are not, 4.2 % cannot be told.
        assert_eq!(at(20.6).meter.unwrap().off, Some(false));
        assert_eq!(at(21.6).meter.unwrap().off, Some(true));
        assert_eq!(at(20.84).meter.unwrap().off, None);
    }

    #[test]
    fn what_changes_between_runs_does_not_harm_the_ratio() {
        let runs = [run(20.0, 60.0, Some(20.2)), run(16.0, 60.0, Some(16.16)), run(24.0, 60.0, Some(24.24))];
        let found = ask(&runs, Measure::Mark, &Doubt::BY_HAND);
        assert!(found.relative > 0.05);
        let meter = found.meter.unwrap();
        assert!((meter.ratio.value - 1.01).abs() < 1e-9);
        assert!(meter.ratio.half_width() < 0.01, "{:?}", meter.ratio);
    }
}
