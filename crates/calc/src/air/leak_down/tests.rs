//! Leak-downs with a known answer. The coverage of the intervals is tested by simulation in `tests/leak_down_trials`.

use super::*;
use crate::quantity::GaugePressure;

const ATMOSPHERE_BAR: f64 = 1.013;

fn trace(seconds: f64, every_s: f64, pressure: impl Fn(f64) -> f64) -> Trace {
    let count = (seconds / every_s).round() as u32;
    let time_s: Vec<f64> = (0..=count).map(|at| f64::from(at) * every_s).collect();
    let pressure_bar_g = Some(time_s.iter().map(|time| pressure(*time)).collect());
    Trace { time_s, pressure_bar_g, ..Trace::default() }
}

/// A steel circuit without hoses, bore 8 mm, 20 degC.
fn input<'a>(volume_ml: f64, decay: DecayData<'a>) -> LeakDownInput<'a> {
    LeakDownInput {
        volume: Volume::from_ml(volume_ml),
        volume_uncertainty_relative: 0.02,
        hose_volume: Some(Volume::from_ml(0.0)),
        bore: Some(Length::from_mm(8.0)),
        atmosphere: AbsolutePressure::from_bar(ATMOSPHERE_BAR),
        wall_temperature: Some(Temperature::from_deg_c(20.0)),
        hold: USUAL_HOLD,
        gauge: Gauge::logger(),
        limit: USUAL_LIMIT,
        decay,
    }
}

fn logged(volume_ml: f64, trace: &Trace) -> LeakDownResult {
    leak_down(&input(volume_ml, DecayData::Trace(trace))).unwrap()
}

fn two(start: f64, end: f64, seconds: f64) -> DecayData<'static> {
    DecayData::TwoReadings {
        start: GaugePressure::from_bar(start),
        end: GaugePressure::from_bar(end),
        time: Duration::from_s(seconds),
    }
}

/// Noise that is the same every time: a linear congruential generator, sum of four uniform numbers, sd 1.
fn noise(seed: u32) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / f64::from(u32::MAX)
        };
        (uniform() + uniform() + uniform() + uniform() - 2.0) * 3.0_f64.sqrt()
    }
}

fn choked(start_bar_g: f64, slope_bar_s: f64) -> impl Fn(f64) -> f64 {
    // Choked hole: dp/dt = -k p, closed form.
    let start = start_bar_g + ATMOSPHERE_BAR;
    move |time| start * crate::numeric::math::exp(-slope_bar_s / start * time) - ATMOSPHERE_BAR
}

#[test]
fn identity_choked_hole_is_read_at_the_start_pressure() {
    // 0.5 mbar l/s in 250 ml at 20 degC is 2 mbar/s at the start.
    let result = logged(250.0, &trace(60.0, 1.0, choked(6.0, 2e-3)));
    assert!((result.leak_rate.value / 0.5 - 1.0).abs() < 0.01, "{:?}", result.leak_rate);
    assert_eq!(result.verdict, Verdict::Leaks);
    assert!(result.leak_rate.holds(0.5));
}

#[test]
fn identity_large_drop_keeps_its_start_rate() {
    // 2 mbar l/s in 50 ml: 40 mbar/s at the start; after a minute two of six bar are left.
    let result = logged(50.0, &trace(60.0, 0.2, choked(6.0, 40e-3)));
    assert!((result.leak_rate.value / 2.0 - 1.0).abs() < 0.05, "{:?}", result.leak_rate);
    assert!(result.leak_rate.holds(2.0));
    assert!(result.notes.contains(&Note::GrossLeak));
}

#[test]
fn published_mole_loss_of_a_closed_volume() {
    // 40 CFR 1065.644: 2 l, 25.3 kPa in 70 s at 293.15 K lose 0.00030 mol/s (result from memory; 2.9657e-4). The plain
    // quotient stands at the mean pressure, the leak rate at the start: 3.7 % (hole) to 7 % (crack) more.
    let result = leak_down(&input(2000.0, two(6.0, 6.0 - 0.253, 70.0))).unwrap();
    let mol_s = LeakRate::from_mbar_l_s(result.leak_rate.value).pa_m3_s() / (8.314_472 * 293.15);
    assert!(mol_s > 2.9657e-4 && mol_s < 2.9657e-4 * 1.04, "{mol_s}");
}

#[test]
fn settling_is_told_from_a_leak() {
    // 150 mbar of fresh air settle with 0.8 s, and no leak: tight, although the first second looks like a gross leak.
    let mut noise = noise(7);
    let noises: Vec<f64> = (0..1000).map(|_| noise() * 1e-3).collect();
    let samples = trace(60.0, 0.1, |time| {
        6.0 + 0.15 * crate::numeric::math::exp(-time / 0.8) + noises[(time * 10.0).round() as usize]
    });
    let result = logged(150.0, &samples);
    assert_eq!(result.verdict, Verdict::Tight, "{:?}", result.leak_rate);
    let settled = result.settled_from_s.unwrap();
    assert!(result.settled && settled < 10.0, "{settled}");
}

#[test]
fn an_obvious_curve_is_not_settled() {
    let samples = trace(20.0, 0.5, |time| 6.0 + 0.12 * crate::numeric::math::exp(-time / 12.0));
    let bare = LeakDownInput { bore: None, hose_volume: None, ..input(500.0, DecayData::Trace(&samples)) };
    assert!(!leak_down(&bare).unwrap().settled);
}

#[test]
fn published_temperature_effect_is_taken_off() {
    // 40 CFR 1065.644, n = (V/R)(p2/T2 - p1/T1)/t: zero for a sealed gas that cools from 20 to 19.5 degC (12 mbar).
    let cooled = |time: f64| 293.15 - 0.5 * time / 60.0;
    let mut samples = trace(60.0, 1.0, |time| 7.013 * cooled(time) / 293.15 - ATMOSPHERE_BAR);
    let raw = logged(500.0, &samples);
    assert!(raw.leak_rate.value > 0.09);
    samples.temperature_deg_c = Some(samples.time_s.iter().map(|time| cooled(*time) - 273.15).collect());
    let corrected = logged(500.0, &samples);
    assert!(corrected.leak_rate.value < 0.005, "{:?}", corrected.leak_rate);
    assert!(corrected.leak_rate.half_width() < raw.leak_rate.half_width());
}

#[test]
fn steps_of_a_gauge_are_recognised() {
    let stepped = |step: f64| {
        let samples = trace(60.0, 0.5, |time| ((6.0 - 0.0004 * time) / step).round() * step);
        logged(200.0, &samples)
    };
    let (fine, coarse) = (stepped(0.0001), stepped(0.01));
    assert!(fine.leak_rate.holds(0.08) && coarse.leak_rate.holds(0.08));
    assert!(coarse.leak_rate.half_width() > 1.5 * fine.leak_rate.half_width());
    assert_eq!(coarse.budget.first().map(|part| part.0), Some(Cause::Step));
    assert_eq!(coarse.verdict, Verdict::CannotTell);
    assert!(coarse.best_next_reading.is_some());
}

#[test]
fn a_gauge_that_never_moves_says_so() {
    let result = logged(150.0, &trace(60.0, 2.0, |_| 6.0));
    assert!(result.notes.contains(&Note::GaugeNeverMoved));
    assert!(result.leak_rate.value < 0.002 && result.leak_rate.high > 0.01);
}

#[test]
fn single_spikes_are_left_out() {
    let mut noise = noise(3);
    let mut samples = trace(60.0, 0.5, choked(6.0, 1e-3));
    if let Some(column) = &mut samples.pressure_bar_g {
        column.iter_mut().for_each(|bar| *bar += 1e-3 * noise());
        column[60] -= 0.4;
        column[90] = f64::NAN;
    }
    let result = logged(200.0, &samples);
    assert!(result.notes.contains(&Note::SpikesLeftOut { count: 1 }));
    assert!(result.leak_rate.holds(0.2) && (result.leak_rate.value / 0.2 - 1.0).abs() < 0.05);
}

#[test]
fn a_rising_pressure_is_never_tight() {
    let result = logged(200.0, &trace(60.0, 1.0, |time| 6.0 + 0.001 * time));
    assert_eq!(result.verdict, Verdict::CannotTell);
    assert!(result.notes.contains(&Note::Rising));
    assert!(result.leak_rate.value.abs() < 1e-12 && result.leak_rate.high > 0.0);
}

#[test]
fn the_rule_of_thumb_depends_on_the_volume() {
    // Common practice, no source: 0.2 bar in 20 s; by q = V dp/dt 0.2 mbar l/s in 20 ml, 20 mbar l/s in 2 l.
    for (volume_ml, rate) in [(20.0, 0.2), (2000.0, 20.0)] {
        let rule = logged(volume_ml, &trace(60.0, 1.0, |_| 6.0)).rule_of_thumb;
        assert!((rule.leak_rate.mbar_l_s() / rate - 1.0).abs() < 1e-9);
        assert!((rule.times_limit - rate / 0.1).abs() < 1e-9);
    }
}

#[test]
fn larger_volumes_need_longer() {
    let mut noise = noise(11);
    let noises: Vec<f64> = (0..700).map(|_| noise() * 1e-3).collect();
    let samples = trace(60.0, 0.1, |time| 6.0 + noises[(time * 10.0).round() as usize]);
    let needed = |volume_ml: f64| logged(volume_ml, &samples).seconds_needed.map(Duration::s);
    let (small, large) = (needed(50.0).unwrap(), needed(400.0).unwrap());
    assert!(small <= large && small < 20.0 && large < 120.0, "{small} {large}");
    assert!(logged(50.0, &samples).detection_limit < logged(400.0, &samples).detection_limit);
}

#[test]
fn two_readings_give_the_quotient_and_a_wider_interval() {
    let result = leak_down(&input(200.0, two(6.0, 5.985, 30.0))).unwrap();
    // The steel around the bore takes a little of the fall for its own.
    assert!((result.leak_rate.value / 0.1 - 1.0).abs() < 0.02, "{:?}", result.leak_rate);
    let traced = logged(200.0, &trace(30.0, 0.5, choked(6.0, 0.5e-3)));
    assert!(result.leak_rate.half_width() > 2.0 * traced.leak_rate.half_width());
    let emptied = leak_down(&input(20.0, two(6.0, 0.0, 60.0))).unwrap();
    assert!(emptied.notes.contains(&Note::LowerLimit));
    assert_eq!(emptied.verdict, Verdict::Leaks);
}

#[test]
fn budget_and_curves_are_complete() {
    let result = logged(250.0, &trace(60.0, 0.1, choked(6.0, 2e-3)));
    assert!((result.budget.iter().map(|part| part.1).sum::<f64>() - 1.0).abs() < 1e-9);
    assert!(result.budget.iter().all(|part| part.1 > -1e-9));
    let curves = &result.curves;
    assert!(curves.measured.len() <= 242 && curves.fitted.len() > 100);
    for (time, bar) in &curves.fitted {
        assert!((bar - choked(6.0, 2e-3)(*time)).abs() < 2e-4, "{time} s: {bar} bar");
    }
    let (_, end_of_leak) = curves.leak_only.last().copied().unwrap();
    assert!((end_of_leak - choked(6.0, 2e-3)(60.0)).abs() < 0.005);
    let (_, end_at_limit) = curves.at_limit.last().copied().unwrap();
    assert!((end_at_limit - choked(6.0, 0.4e-3)(60.0)).abs() < 0.001);
}

#[test]
fn water_and_hole_follow_the_interval() {
    // 16 ml/h (crack) to 90 ml/h (hole) per mbar l/s at 6 bar; hole of 36 um for 1 mbar l/s (closed forms, see
    // `equivalents`).
    let result = logged(1000.0, &trace(60.0, 1.0, choked(6.0, 1e-3)));
    assert!(result.water_ml_h.low < 16.3 && result.water_ml_h.high > 90.0);
    assert!((result.hole_um.value / 36.0 - 1.0).abs() < 0.02);
}

#[test]
fn refuses_what_cannot_be_judged() {
    let short = trace(0.5, 0.1, |_| 6.0);
    assert!(matches!(
        leak_down(&input(100.0, DecayData::Trace(&short))),
        Err(LeakDownError::TooShort { .. })
    ));
    let few = Trace { time_s: vec![0.0], pressure_bar_g: Some(vec![6.0]), ..Trace::default() };
    assert!(matches!(
        leak_down(&input(100.0, DecayData::Trace(&few))),
        Err(LeakDownError::TooFewSamples { samples: 1, .. })
    ));
    let blind = Trace { time_s: vec![0.0, 1.0, 2.0], ..Trace::default() };
    assert_eq!(leak_down(&input(100.0, DecayData::Trace(&blind))), Err(LeakDownError::NoPressure));
    assert!(matches!(leak_down(&input(100.0, two(0.5, 0.4, 30.0))), Err(LeakDownError::StartTooLow { .. })));
    assert!(matches!(leak_down(&input(100.0, two(5.0, 6.0, 30.0))), Err(LeakDownError::Rises { .. })));
    let hose =
        LeakDownInput { hose_volume: Some(Volume::from_ml(120.0)), ..input(100.0, two(6.0, 5.9, 30.0)) };
    assert!(matches!(leak_down(&hose), Err(LeakDownError::HoseLargerThanVolume { .. })));
    assert!(matches!(leak_down(&input(f64::NAN, two(6.0, 5.9, 30.0))), Err(LeakDownError::Range(_))));
}

#[test]
fn low_start_is_flagged() {
    let result = leak_down(&input(100.0, two(2.0, 1.99, 30.0))).unwrap();
    assert!(result.notes.contains(&Note::LowStart { start_bar_g: 2.0 }));
}

proptest::proptest! {
    /// Whatever a logger writes, the answer is an error or a complete and ordered result.
    #[test]
    fn any_trace_gives_an_answer_or_an_error(
        steps in proptest::collection::vec((0.01_f64..5.0, -0.5_f64..45.0, proptest::bool::weighted(0.1)), 0..60),
        volume_ml in 0.1_f64..1e5,
        hose_share in proptest::option::of(0.0_f64..1.0),
        bore_mm in proptest::option::of(0.3_f64..130.0),
        hold_s in 0.0_f64..100.0,
        falling in proptest::bool::ANY,
    ) {
        let mut samples = Trace { pressure_bar_g: Some(vec![]), ..Trace::default() };
        let (mut time, mut bar) = (0.0, 6.0);
        for (step, level, missing) in steps {
            time += step;
            bar = if falling { bar * (1.0 - 0.004 * step) } else { level };
            samples.time_s.push(time);
            if let Some(column) = &mut samples.pressure_bar_g {
                column.push(if missing { f64::NAN } else { bar });
            }
        }
        let asked = LeakDownInput {
            hose_volume: hose_share.map(|share| Volume::from_ml(volume_ml * share)),
            bore: bore_mm.map(Length::from_mm),
            hold: Duration::from_s(hold_s),
            ..input(volume_ml, DecayData::Trace(&samples))
        };
        if let Ok(result) = leak_down(&asked) {
            let rate = result.leak_rate;
            proptest::prop_assert!(rate.value.is_finite() && rate.low <= rate.value && rate.value <= rate.high);
            proptest::prop_assert!(result.water_ml_h.low <= result.water_ml_h.high && result.hole_um.high.is_finite());
            proptest::prop_assert!((result.budget.iter().map(|part| part.1).sum::<f64>() - 1.0).abs() < 1e-6);
        }
    }
}
