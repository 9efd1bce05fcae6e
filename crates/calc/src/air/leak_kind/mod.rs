//! What kind of leak it is, from its rate at two or more pressures.
//!
//! One pressure cannot tell a crack from a hole. Two can: from 3 to 6 bar a laminar crack lets 3.2 times as much
//! through, an orifice 1.75 times, a seat that is pressed shut less, and a crack that is pushed open more. Bayes' rule
//! weighs the kinds. The size of the leak is free, so that an error of the volume, which all rates share, drops out.

mod design;
pub(crate) mod law;
mod weigh;

pub use design::NextPressure;
pub use law::{OPENING_POWER, REFERENCE_BAR_G, SEAT_POWER};

use crate::air::equivalents::{AirSide, water_loss};
use crate::estimate::{Estimate, Uncertain, Z95, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::{math, stats};
use crate::quantity::{AbsolutePressure, GaugePressure, LeakRate, Temperature};
use law::Law;
use weigh::{Node, nodes};

/// Kind of a leak by how its rate depends on pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Long and narrow: a crack, a scratch across a seal, pores.
    LaminarCrack,
    /// Short and round: a hole, a missing seal, a plug that was left loose.
    Orifice,
    /// A seat or seal that pressure presses shut.
    SealingSeat,
    /// A crack or lip that pressure pushes open.
    OpeningCrack,
}

impl Kind {
    /// All kinds in a fixed order.
    pub const ALL: [Self; 4] = [Self::LaminarCrack, Self::Orifice, Self::SealingSeat, Self::OpeningCrack];

    /// Short fixed word for programs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::LaminarCrack => "laminar-crack",
            Self::Orifice => "orifice",
            Self::SealingSeat => "sealing-seat",
            Self::OpeningCrack => "opening-crack",
        }
    }

    /// In words for people.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::LaminarCrack => "a narrow crack or pores",
            Self::Orifice => "a short hole, such as a missing seal or a loose plug",
            Self::SealingSeat => "a seat or seal that pressure presses shut",
            Self::OpeningCrack => "a crack or lip that pressure pushes open",
        }
    }

    /// Probability before any reading (own proposal: most leaks are cracks across seals and pores, or holes; no count
    /// of kinds is published).
    #[must_use]
    pub const fn prior(self) -> f64 {
        match self {
            Self::LaminarCrack => 0.45,
            Self::Orifice => 0.30,
            Self::SealingSeat => 0.12,
            Self::OpeningCrack => 0.13,
        }
    }

    /// Laws of this kind, evenly over its range of shapes.
    fn laws(self) -> impl Iterator<Item = Law> {
        let range = match self {
            Self::LaminarCrack | Self::Orifice => None,
            Self::SealingSeat => Some(SEAT_POWER),
            Self::OpeningCrack => Some(OPENING_POWER),
        };
        let plain = range.is_none().then_some(0.0);
        let shaped = range.into_iter().flat_map(|range| law::middles(range, SHAPES));
        plain.into_iter().chain(shaped).map(move |power| Law { kind: self, power })
    }
}

/// Shapes into which the range of a kind is cut.
const SHAPES: u32 = 24;
/// Standard deviation of ln rate by which a real leak strays from its law from one pressure to another (own proposal).
pub const STRAY: f64 = 0.02;
/// Rates at 6 bar that are possible before any reading, evenly in the logarithm, mbar l/s (own proposal).
pub const RATE_RANGE_MBAR_L_S: (f64, f64) = (1e-3, 1e3);
/// A kind is named from this probability on (own choice).
pub const NAMED: f64 = 0.9;
/// Chance below which the readings are said to fit no kind (own choice).
const FITS_NONE: f64 = 1e-3;

/// The leak rate at one start pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Pressure at which the test began.
    pub pressure: GaugePressure,
    /// Leak rate at that pressure, 20 degC, mbar l/s, with the standard uncertainty that it does not share with the
    /// others: without the volume's part. Not cut off at zero.
    pub rate_mbar_l_s: Uncertain,
}

/// Leak rates of one circuit, same direction, nothing changed between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakKindInput<'a> {
    /// One point a test; one alone gives the probabilities before any reading and the pressure of the next test.
    pub points: &'a [Point],
    /// Relative standard uncertainty of the volume that all rates share (0.05 for 5 %).
    pub volume_uncertainty_relative: f64,
    /// Surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Pressure of the water whose loss is asked for.
    pub water_pressure: GaugePressure,
    /// Highest pressure that may be proposed for the next test.
    pub highest: GaugePressure,
}

/// The rate at the highest over the rate at the lowest pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// Lowest pressure.
    pub low: GaugePressure,
    /// Highest pressure.
    pub high: GaugePressure,
    /// The ratio with its 95 % interval after Fieller; the volume cancels. `None` if the rate at the lowest pressure
    /// cannot be told from zero.
    pub value: Option<Estimate>,
    /// Power of the absolute pressure that gives the ratio; `None` unless the ratio and its ends are positive.
    pub exponent: Option<Estimate>,
    /// Smallest and largest ratio that each kind gives.
    pub by_kind: [(Kind, f64, f64); 4],
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakKind {
    /// Probability of each kind, in the order of [`Kind::ALL`]; they add up to 1.
    pub probabilities: [(Kind, f64); 4],
    /// The kind, if one reaches [`NAMED`] and the readings fit it.
    pub kind: Option<Kind>,
    /// Whether the readings fit none of the kinds: two leaks of different kinds, or a leak that changed.
    pub fits_none: bool,
    /// Ratio of rates; `None` with pressures closer than 5 %.
    pub ratio: Option<Ratio>,
    /// Water lost at the water pressure, ml/h: the kinds taken together by their probability, volume included.
    pub water_ml_h: Estimate,
    /// Pressure of a further test that tells most; `None` if none tells anything.
    pub next: Option<NextPressure>,
}

/// Why the kinds cannot be weighed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LeakKindError {
    /// A number is outside its range.
    #[error(transparent)]
    Range(#[from] OutOfRange),
    /// Nothing was measured.
    #[error("no leak rate: give the rate at one start pressure or more")]
    NoPoint,
}

/// Weighs the kinds of leak (source keys `hagen-poiseuille`, `white-fluid-mechanics`, `en-1779`; ratio after
/// `fieller-1954`; ranges of shapes, priors and the stray of 2 % are our own).
///
/// # Errors
/// [`LeakKindError`] for a pressure outside 0.5 to 50 bar, a rate or uncertainty outside its range, or no point at all.
pub fn leak_kind(input: &LeakKindInput<'_>) -> Result<LeakKind, LeakKindError> {
    check(input)?;
    let air = input.atmosphere.bar();
    let nodes = nodes(input.points, air);
    let total: f64 = nodes.iter().map(|node| node.weight).sum();
    let probabilities = Kind::ALL.map(|kind| {
        let of_kind = nodes.iter().filter(|node| node.law.kind == kind);
        (kind, of_kind.map(|node| node.weight).sum::<f64>() / total)
    });
    let fits_none = fits_none(&nodes, input.points.len());
    let named = probabilities.iter().find(|(_, probability)| *probability >= NAMED && !fits_none);
    Ok(LeakKind {
        probabilities,
        kind: named.map(|(kind, _)| *kind),
        fits_none,
        ratio: ratio(input.points, air),
        water_ml_h: water_ml_h(input, &nodes)?,
        next: design::next_pressure(input, &nodes),
    })
}

/// Smallest share of a leak's rate at 6 bar that any of the kinds lets through at another pressure: what a test there
/// must be held against to be as strict as one at 6 bar. Below 6 bar an opening crack decides, above it a seat.
#[must_use]
pub fn least_share(pressure: GaugePressure, atmosphere: AbsolutePressure) -> f64 {
    let bar_g = pressure.bar().max(0.5);
    let ends = [
        Law { kind: Kind::OpeningCrack, power: OPENING_POWER.1 },
        Law { kind: Kind::SealingSeat, power: SEAT_POWER.1 },
    ];
    ends.iter().map(|law| law.share(bar_g, atmosphere.bar())).fold(1.0, f64::min)
}

fn check(input: &LeakKindInput<'_>) -> Result<(), LeakKindError> {
    if input.points.is_empty() {
        return Err(LeakKindError::NoPoint);
    }
    within("atmosphere_bar_abs", input.atmosphere.bar(), 0.5, 1.2, "bar")?;
    within("volume_uncertainty_percent", 100.0 * input.volume_uncertainty_relative, 0.0, 100.0, "%")?;
    within("water_pressure_bar_g", input.water_pressure.bar(), 0.5, 45.0, "bar")?;
    within("highest_pressure_bar_g", input.highest.bar(), 0.5, 50.0, "bar")?;
    for point in input.points {
        within("pressure_bar_g", point.pressure.bar(), 0.5, 50.0, "bar")?;
        within("leak_rate_mbar_l_s", point.rate_mbar_l_s.value, -1e3, 1e5, "mbar l/s")?;
        within("standard_uncertainty_mbar_l_s", point.rate_mbar_l_s.standard, 1e-9, 1e5, "mbar l/s")?;
    }
    Ok(())
}

/// Whether even the best law leaves more than chance leaves: one degree of freedom goes to the size of the leak, one
/// more to the shape where there is one. A seat that shuts, or a crack that opens, even more than the farthest shape does
/// is still a seat or a crack that opens.
fn fits_none(nodes: &[Node], points: usize) -> bool {
    let best = nodes.iter().min_by(|a, b| a.chi_squared.total_cmp(&b.chi_squared));
    let farthest = |node: &Node| node.law.kind.laws().last() == Some(node.law);
    if best.is_some_and(|node| node.law.power > 0.0 && farthest(node)) {
        return false;
    }
    let chance = |node: &Node| {
        let shaped = matches!(node.law.kind, Kind::SealingSeat | Kind::OpeningCrack);
        let used = if shaped && points > 2 { 2 } else { 1 };
        let free = u32::try_from(points.saturating_sub(used)).unwrap_or(u32::MAX);
        if free == 0 { 1.0 } else { stats::chi_squared_above(node.chi_squared, f64::from(free)) }
    };
    nodes.iter().map(chance).fold(0.0, f64::max) < FITS_NONE
}

fn ratio(points: &[Point], air: f64) -> Option<Ratio> {
    let by_pressure = |a: &&Point, b: &&Point| a.pressure.bar().total_cmp(&b.pressure.bar());
    let (low, high) = (points.iter().min_by(by_pressure)?, points.iter().max_by(by_pressure)?);
    let (low_bar, high_bar) = (low.pressure.bar(), high.pressure.bar());
    if high_bar < 1.05 * low_bar {
        return None;
    }
    let value = fieller(high.rate_mbar_l_s, low.rate_mbar_l_s);
    let span = math::ln((high_bar + air) / (low_bar + air));
    let power = |ratio: f64| math::ln(ratio) / span;
    let exponent = value.filter(|ratio| ratio.low > 0.0).map(|ratio| Estimate {
        value: power(ratio.value),
        low: power(ratio.low),
        high: power(ratio.high),
        coverage: ratio.coverage,
    });
    let by_kind = Kind::ALL.map(|kind| {
        let of = |law: Law| law.share(high_bar, air) / law.share(low_bar, air);
        let ends = match kind {
            Kind::LaminarCrack | Kind::Orifice => (0.0, 0.0),
            // A seat that narrows fastest gives the smallest ratio.
            Kind::SealingSeat => (SEAT_POWER.1, SEAT_POWER.0),
            Kind::OpeningCrack => OPENING_POWER,
        };
        (kind, of(Law { kind, power: ends.0 }), of(Law { kind, power: ends.1 }))
    });
    Some(Ratio { low: low.pressure, high: high.pressure, value, exponent, by_kind })
}

/// Ratio of two independent normal quantities with Fieller's 95 % interval (source key `fieller-1954`); `None` if the
/// lower one cannot be told from zero.
fn fieller(above: Uncertain, below: Uncertain) -> Option<Estimate> {
    let square = |x: f64| x * x;
    let (a, b) = (above.value, below.value);
    let margin = |value: Uncertain| square(value.value) - square(Z95 * value.standard);
    let (free_a, free_b) = (margin(above), margin(below));
    if free_b <= 0.0 || b <= 0.0 {
        return None;
    }
    let root = (square(a * b) - free_a * free_b).max(0.0).sqrt();
    Some(Estimate {
        value: a / b,
        low: (a * b - root) / free_b,
        high: (a * b + root) / free_b,
        coverage: 0.95,
    })
}

/// Water that gets out at the water pressure, over all kinds by their probability, with the volume's uncertainty.
fn water_ml_h(input: &LeakKindInput<'_>, nodes: &[Node]) -> Result<Estimate, OutOfRange> {
    let air = AirSide {
        pressure: input.water_pressure,
        atmosphere: input.atmosphere,
        temperature: Temperature::from_deg_c(20.0),
    };
    let one = water_loss(LeakRate::from_mbar_l_s(1.0), air, input.water_pressure)?;
    let parts: Vec<(f64, Uncertain)> = nodes
        .iter()
        .map(|node| {
            let each = match node.law.kind {
                Kind::LaminarCrack | Kind::OpeningCrack => one.capillary,
                Kind::Orifice | Kind::SealingSeat => one.orifice,
            };
            let factor = node.law.share(input.water_pressure.bar(), air.atmosphere.bar()) * each.m3_h() * 1e6;
            let size = node.size;
            let relative = input.volume_uncertainty_relative;
            let spread = root_sum_square(&[size.standard, size.value * relative]);
            (node.weight, Uncertain::new(size.value * factor, spread * factor))
        })
        .collect();
    Ok(weigh::of_mixture(&parts))
}

#[cfg(test)]
mod tests;
