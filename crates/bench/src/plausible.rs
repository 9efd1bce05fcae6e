//! Whether a number that somebody typed is likely at all: ten-fold and sixty-fold slips, gauge and absolute pressure, units
//! mixed up.
//!
//! A number is questioned only where it is far from everything that is known of the circuit, its visit and its rig, and
//! one usual slip explains it. Nothing is refused here: whoever typed it knows best. All windows are our own choice.

use calc::numeric::math;

use crate::judge::expected::{filled_volume_ml, flow_factor};
use crate::mould::{CircuitId, Mould};
use crate::visit::{Decay, Entry, Flow, FlowReading, Visit, VolumeMethod, VolumeReading, What};

/// A number of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Number {
    /// Flow, in l/min.
    Flow,
    /// Pressure at the inlet, in bar.
    PressureIn,
    /// Pressure at the outlet, in bar.
    PressureOut,
    /// Pressure at the start, in bar.
    Start,
    /// Pressure at the end, in bar.
    End,
    /// Time between, in s.
    Time,
    /// Temperature of the water, in degC.
    WaterTemperature,
    /// Water drained, in ml.
    Drained,
}

/// A usual slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slip {
    /// The decimal point is one place off.
    TenFold,
    /// Per hour, per minute and per second, or minutes and seconds, were mixed up.
    SixtyFold,
    /// Litres and millilitres were mixed up.
    ThousandFold,
    /// The gauge shows absolute pressure.
    Absolute,
    /// psi and bar were mixed up.
    Psi,
    /// kPa and bar were mixed up.
    Kilopascal,
    /// degF and degC were mixed up.
    Fahrenheit,
}

impl Slip {
    /// The question, in words.
    #[must_use]
    pub const fn words(self, number: Number) -> &'static str {
        match (self, number) {
            (Self::TenFold, _) => "is the decimal point one place off?",
            (Self::SixtyFold, Number::Time) => "minutes and seconds mixed up?",
            (Self::SixtyFold, _) => "per hour, per minute and per second mixed up?",
            (Self::ThousandFold, _) => "litres and millilitres mixed up?",
            (Self::Absolute, _) => "absolute pressure in place of gauge pressure?",
            (Self::Psi, _) => "psi and bar mixed up?",
            (Self::Kilopascal, _) => "kPa and bar mixed up?",
            (Self::Fahrenheit, _) => "°F and °C mixed up?",
        }
    }
}

/// A number that is questioned.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Which.
    pub number: Number,
    /// The slip that explains it.
    pub slip: Slip,
    /// What speaks against it, in one sentence.
    pub reason: String,
    meant: f64,
}

impl Question {
    /// What was meant, most likely, in the unit of the number.
    #[must_use]
    pub const fn meant(&self) -> f64 {
        self.meant
    }
}

/// Standard atmosphere, which a gauge that shows absolute pressure adds.
const ATMOSPHERE_BAR: f64 = 1.013_25;
const PSI_PER_BAR: f64 = 14.503_77;
/// Pressure at which air tests begin unless the visit shows another (common practice, no source).
const AIR_TEST_BAR: f64 = 6.0;
/// Readings that agree within this are alike, in bar.
const ALIKE_BAR: f64 = 0.15;

/// What a number should be about, and how far off it may be unquestioned.
struct Expected {
    about: f64,
    /// Factors below and above which a number is questioned.
    far: (f64, f64),
    /// Factors between which what was meant has to lie.
    near: (f64, f64),
    from: String,
}

/// The numbers of a new reading that are likely slips, seen from the readings before it, the circuit, its sisters, its
/// baseline and the rig. An entry without circuit is not questioned.
#[must_use]
pub fn questions(mould: &Mould, visit: &Visit, new: &Entry) -> Vec<Question> {
    let Some(id) = &new.circuit else { return Vec::new() };
    match &new.what {
        What::Flow(flow) => of_flow(mould, visit, id, flow),
        What::LeakDown(test) => of_air(&test.decay, visit, |what| matches!(what, What::LeakDown(_))),
        What::AirPassage(test) => of_air(&test.decay, visit, |what| matches!(what, What::AirPassage(_))),
        What::Volume(volume) => drained(mould, visit, id, volume).into_iter().collect(),
        _ => Vec::new(),
    }
}

fn of_flow(mould: &Mould, visit: &Visit, id: &CircuitId, flow: &Flow) -> Vec<Question> {
    let others = || flows(visit).map(|(_, other)| other);
    let (inlet, outlet) = (flow.pressure_in.bar(), flow.pressure_out.bar());
    let temperatures: Vec<f64> = others().map(|other| other.water_temperature.deg_c()).collect();
    let inlets: Vec<f64> = others().map(|other| other.pressure_in.bar()).collect();
    let outlets: Vec<f64> = others().map(|other| other.pressure_out.bar()).collect();
    let mut all = Vec::new();
    all.extend(pressure(Number::PressureIn, inlet, &inlets));
    all.extend(pressure(Number::PressureOut, outlet, &outlets));
    all.extend(fahrenheit(flow.water_temperature.deg_c(), &temperatures));
    // A pressure that is wrong makes every expectation of the flow wrong.
    if all.iter().all(|one| one.number == Number::WaterTemperature)
        && let (FlowReading::Mean(mean), Some(expected)) = (&flow.flow, expected_flow(mould, visit, id, flow))
    {
        let slips = [
            (Slip::TenFold, 10.0),
            (Slip::TenFold, 0.1),
            (Slip::SixtyFold, 60.0),
            (Slip::SixtyFold, 1.0 / 60.0),
        ];
        all.extend(scaled(Number::Flow, mean.l_min(), &expected, &slips, "l/min"));
    }
    all
}

/// The flow readings of single numbers in this visit, with their circuit.
fn flows(visit: &Visit) -> impl Iterator<Item = (&CircuitId, &Flow)> {
    visit.entries.iter().filter_map(|entry| match (&entry.circuit, &entry.what) {
        (Some(id), What::Flow(flow)) => Some((id, flow)),
        _ => None,
    })
}

/// Flow factor of circuit and hoses together, as read.
fn seen_factor_m3_h(flow: &Flow) -> Option<f64> {
    let FlowReading::Mean(mean) = &flow.flow else { return None };
    let drop_bar = flow.pressure_in.bar() - flow.pressure_out.bar();
    let factor = mean.m3_h() / drop_bar.sqrt();
    (factor.is_finite() && factor > 0.0).then_some(factor)
}

/// The flow that this pressure drop should drive, in l/min: what the circuit itself showed before, else what its baseline,
/// its drawing or its sisters let expect, with the hoses in line.
fn expected_flow(mould: &Mould, visit: &Visit, id: &CircuitId, flow: &Flow) -> Option<Expected> {
    let drop_bar = flow.pressure_in.bar() - flow.pressure_out.bar();
    let driven = |factor_m3_h: f64| factor_m3_h * drop_bar.sqrt() / 0.06;
    if drop_bar <= 0.0 {
        return None;
    }
    let changed = visit.entries.iter().rposition(|entry| {
        entry.circuit.as_ref().is_none_or(|other| other == id)
            && matches!(&entry.what, What::Treatment(done) if done.kind.changes_circuit())
    });
    let since = visit.entries.iter().skip(changed.map_or(0, |at| at + 1));
    let own: Vec<f64> = since
        .filter(|entry| entry.circuit.as_ref() == Some(id))
        .filter_map(|entry| match &entry.what {
            What::Flow(other) if other.through_fixture == flow.through_fixture => seen_factor_m3_h(other),
            _ => None,
        })
        .collect();
    if let Some(factor) = median(&own) {
        let from = "as it was read before in this visit".to_owned();
        return Some(Expected { about: driven(factor), far: (0.25, 4.0), near: (0.6, 1.6), from });
    }
    let circuit = mould.circuits.iter().find(|circuit| circuit.id == *id)?;
    let sisters: Vec<f64> = flows(visit)
        .filter(|(other, _)| circuit.sisters.contains(other))
        .filter_map(|(_, other)| seen_factor_m3_h(other))
        .collect();
    let (alone, spread_ln, from) = match (flow_factor(circuit), median(&sisters)) {
        (Some(known), _) => known,
        (None, Some(factor)) => (factor, 0.2, "its sisters".to_owned()),
        (None, None) => return None,
    };
    let hoses = visit.rig.fixture_flow_factor.filter(|_| flow.through_fixture).map(|hoses| hoses.m3_h());
    let factor = hoses.map_or(alone, |hoses| 1.0 / (1.0 / (alone * alone) + 1.0 / (hoses * hoses)).sqrt());
    // A fouled circuit passes far less than a new one, and none passes much more.
    let wide = math::exp(3.0 * spread_ln);
    let far = (0.15f64.min(1.0 / wide), 2.5f64.max(wide));
    Some(Expected { about: driven(factor), far, near: (0.4, 1.6), from })
}

fn of_air(decay: &Decay, visit: &Visit, alike: fn(&What) -> bool) -> Vec<Question> {
    let Decay::TwoReadings { start, end, time } = decay else { return Vec::new() };
    let read = |what: &What| match what {
        What::LeakDown(test) => Some(test.decay.clone()),
        What::AirPassage(test) => Some(test.decay.clone()),
        _ => None,
    };
    let numbers = |decay: Decay| match decay {
        Decay::TwoReadings { start, time, .. } => Some((start.bar(), time.s())),
        Decay::Trace(_) => None,
    };
    let entries = || visit.entries.iter().map(|entry| &entry.what);
    let starts: Vec<f64> = entries().filter_map(read).filter_map(numbers).map(|(start, _)| start).collect();
    let times: Vec<f64> = entries()
        .filter(|what| alike(what))
        .filter_map(read)
        .filter_map(numbers)
        .map(|(_, time)| time)
        .collect();
    let first = if starts.is_empty() {
        far_pressure(Number::Start, start.bar(), AIR_TEST_BAR, "air tests usually begin there")
    } else {
        pressure(Number::Start, start.bar(), &starts)
    };
    let mut all: Vec<Question> = first.into_iter().collect();
    if all.is_empty() {
        all.extend(end_of(start.bar(), end.bar()));
    }
    if let Some(about) = median(&times).filter(|_| times.len() >= 2) {
        let from = "the other readings of this visit".to_owned();
        let expected = Expected { about, far: (0.2, 5.0), near: (0.6, 1.6), from };
        let slips = [
            (Slip::SixtyFold, 60.0),
            (Slip::SixtyFold, 1.0 / 60.0),
            (Slip::TenFold, 10.0),
            (Slip::TenFold, 0.1),
        ];
        all.extend(scaled(Number::Time, time.s(), &expected, &slips, "s"));
    }
    all
}

/// An end that lies above the start, or ten times below where it would be tight.
fn end_of(start_bar: f64, end_bar: f64) -> Option<Question> {
    let from = "the pressure at the start".to_owned();
    let far = (0.11, 1.0 + ALIKE_BAR);
    let expected = Expected { about: start_bar, far, near: (0.9, 1.001), from };
    let slips = [
        (Slip::TenFold, 10.0),
        (Slip::TenFold, 0.1),
        (Slip::Psi, 1.0 / PSI_PER_BAR),
        (Slip::Kilopascal, 0.01),
    ];
    scaled(Number::End, end_bar, &expected, &slips, "bar")
}

/// A pressure far from the others of its kind, or just an atmosphere above several that agree.
fn pressure(number: Number, typed_bar: f64, others_bar: &[f64]) -> Option<Question> {
    let about = median(others_bar)?;
    let agree = others_bar.len() >= 2 && others_bar.iter().all(|other| (other - about).abs() <= ALIKE_BAR);
    if agree && (typed_bar - about - ATMOSPHERE_BAR).abs() <= ALIKE_BAR {
        let reason =
            format!("The other readings of this visit have about {} bar, one atmosphere less", short(about));
        let meant = rounded(typed_bar - ATMOSPHERE_BAR);
        return Some(Question { number, slip: Slip::Absolute, reason, meant });
    }
    far_pressure(number, typed_bar, about, "the other readings of this visit")
}

/// A pressure many times the expected one, or a small part of it.
fn far_pressure(number: Number, typed_bar: f64, about: f64, from: &str) -> Option<Question> {
    if about < 2.0 * ALIKE_BAR {
        return None;
    }
    let expected = Expected { about, far: (0.2, 5.0), near: (0.6, 1.6), from: from.to_owned() };
    let slips = [
        (Slip::TenFold, 10.0),
        (Slip::TenFold, 0.1),
        (Slip::Psi, 1.0 / PSI_PER_BAR),
        (Slip::Psi, PSI_PER_BAR),
        (Slip::Kilopascal, 0.01),
    ];
    scaled(number, typed_bar, &expected, &slips, "bar")
}

/// A temperature that makes sense in the other scale only.
fn fahrenheit(typed_deg_c: f64, others_deg_c: &[f64]) -> Option<Question> {
    // Water of the bench is between cold and lukewarm unless the visit shows otherwise.
    let (about, near) = median(others_deg_c).map_or((20.0, 13.0), |about| (about, 8.0));
    if (typed_deg_c - about).abs() <= 20.0 {
        return None;
    }
    let candidates = [(typed_deg_c - 32.0) / 1.8, typed_deg_c * 1.8 + 32.0];
    let meant = candidates.into_iter().find(|meant| (meant - about).abs() <= near)?;
    let reason = format!("The water is at about {} °C here", short(about));
    let (number, meant) = (Number::WaterTemperature, rounded(meant));
    Some(Question { number, slip: Slip::Fahrenheit, reason, meant })
}

fn drained(mould: &Mould, visit: &Visit, id: &CircuitId, volume: &VolumeReading) -> Option<Question> {
    let VolumeMethod::Drained { volume_ml } = volume.method else { return None };
    let circuit = mould.circuits.iter().find(|circuit| circuit.id == *id)?;
    let (own, from) = filled_volume_ml(circuit)?;
    let hoses = visit.rig.fixture_volume.filter(|_| volume.through_fixture).map_or(0.0, |hoses| hoses.ml());
    let expected = Expected { about: own + hoses, far: (0.2, 4.0), near: (0.4, 1.6), from };
    let slips = [
        (Slip::TenFold, 10.0),
        (Slip::TenFold, 0.1),
        (Slip::ThousandFold, 1000.0),
        (Slip::ThousandFold, 0.001),
    ];
    scaled(Number::Drained, volume_ml.value, &expected, &slips, "ml")
}

/// The slip that brings a far number nearest to what is expected.
fn scaled(
    number: Number,
    typed: f64,
    expected: &Expected,
    slips: &[(Slip, f64)],
    unit: &str,
) -> Option<Question> {
    let ratio = typed / expected.about;
    let positive = expected.about.is_finite() && expected.about > 0.0 && ratio > 0.0;
    if !positive || (expected.far.0..=expected.far.1).contains(&ratio) {
        return None;
    }
    let off = |factor: f64| math::ln(ratio * factor).abs();
    let fits = slips.iter().filter(|(_, factor)| {
        let after = ratio * factor;
        (expected.near.0..=expected.near.1).contains(&after)
    });
    let (slip, factor) = fits.min_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
    let reason = format!("About {} {unit} is expected here ({})", short(expected.about), expected.from);
    Some(Question { number, slip: *slip, reason, meant: rounded(typed * factor) })
}

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    let upper = *sorted.get(half)?;
    Some(if sorted.len() % 2 == 1 { upper } else { (sorted.get(half.checked_sub(1)?)? + upper) / 2.0 })
}

/// Six digits, so that `0.6 · 10` is 6.
fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

/// Two or three digits, without zeros behind the point.
fn short(value: f64) -> String {
    let text = match value.abs() {
        size if size >= 10.0 => return format!("{value:.0}"),
        size if size >= 1.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    };
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
