//! Flow factor of a circuit from readings at any water temperature and flow, hoses and couplings removed.
//!
//! For water in fixed geometry `drop / (density nu^2)` depends on `flow / nu` alone (`white-fluid-mechanics`), so every
//! point has an exact twin in water of 20 degC. From there the reading is moved along the circuit's own curve to
//! 1 bar. The curve's form comes from a typical circuit or, better, from the known pieces with one free loss
//! factor; further points correct its steepness and bend as far as their uncertainty lets them. The bore is never
//! adjusted: where hoses or couplings dominate, that goes wrong by a quarter and more.

mod expected;
mod fit;

pub(crate) use expected::widened;
pub use expected::{PieceKnowledge, expected_flow_factor};
pub(crate) use fit::{SCATTER_SHARE, TRANSITION_RELATIVE};

use super::circuit::{HydraulicsError, reference_conditions};
use super::friction::{Regime, TURBULENT_ABOVE};
use super::losses;
use super::path::Path;
use super::piece::Piece;
use crate::estimate::{Estimate, Uncertain, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, FlowFactor, PressureDrop, Temperature, VolumeFlow};
use crate::water;
use fit::{Fit, Reading, Shape};

/// Pressure at which the water's properties are taken; they hardly depend on it.
const PRESSURE: AbsolutePressure = AbsolutePressure::from_bar(3.0);
/// Largest loss number that a mould circuit has, all of it on the velocity in its bore: bounds the bore, and with it
/// the Reynolds number, where no pieces are known (common practice, no source).
const LOSS_NUMBER_MAX: f64 = 60.0;
/// A drop that is left must be so many times its standard uncertainty.
const CLEAR: f64 = 3.0;
/// A reference flow further outside the points than this factor is called far.
const FAR: f64 = 3.0;

/// One steady reading of flow and pressure drop, hoses and couplings included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowPoint {
    /// Flow.
    pub flow: VolumeFlow,
    /// Pressure drop.
    pub drop: PressureDrop,
    /// Temperature of the water.
    pub temperature: Temperature,
}

/// Standard uncertainties of the readings.
///
/// They are taken as errors of the instruments, common to all points of a sweep; three tenths of those of flow and
/// pressure come on top as scatter from point to point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointUncertainty {
    /// Relative, of the flow meter's gain.
    pub flow_relative: f64,
    /// Of the pressure drop, in bar.
    pub drop_bar: f64,
    /// Of the temperature, in K.
    pub temperature_k: f64,
}

/// Hoses and couplings between the rig's gauges and the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fixture {
    /// Flow factor of all of it joined together without a mould.
    pub flow_factor: FlowFactor,
    /// Relative standard uncertainty of the flow factor.
    pub relative_uncertainty: f64,
}

/// From where the form of the circuit's curve was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// A typical circuit's exponent, one point.
    TypicalExponent,
    /// A typical circuit's exponent, corrected by the points of a sweep.
    Sweep,
    /// The known pieces with one loss factor.
    KnownPieces,
    /// The known pieces with one loss factor, corrected by the points of a sweep.
    KnownPiecesSweep,
}

/// What the reader of a flow factor should know.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Flag {
    /// More than half of the measured drop belongs to hoses and couplings.
    FixtureDominates,
    /// So many points lie between laminar and turbulent flow, where friction is uncertain by 15 %.
    Transition(usize),
    /// So many points are laminar or may be: they say little about the circuit at 1 bar.
    Laminar(usize),
    /// The flow at 1 bar is more than three times beyond the points.
    FarFromPoints,
    /// The points do not lie on one curve; the interval was widened.
    PointsDisagree,
}

/// Flow factor of the circuit alone.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowFactorResult {
    /// Flow of water of 20 degC at 1 bar, m3/h, with its standard uncertainty.
    pub flow_factor_m3_h: Uncertain,
    /// The same as a 95 % interval.
    pub estimate: Estimate,
    /// Local exponent d ln drop / d ln flow at 1 bar.
    pub exponent: f64,
    /// Share of the measured drop that is hoses and couplings, at the point with most flow.
    pub fixture_share: f64,
    /// Where the form of the curve came from.
    pub method: Method,
    /// What the reader should know.
    pub flags: Vec<Flag>,
}

/// Why there is no flow factor.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FlowFactorError {
    /// No point was given.
    #[error("no reading; give at least one point of flow, pressure drop and temperature")]
    NoPoints,
    /// A number outside the range of a formula, at a point.
    #[error("point {at}: {range}")]
    Point {
        /// Place of the point, from 0.
        at: usize,
        /// What is out of range.
        range: OutOfRange,
    },
    /// A number outside its range, common to all points.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The pieces cannot be computed.
    #[error(transparent)]
    Pieces(#[from] HydraulicsError),
    /// What hoses and couplings leave of the drop is not clearly above zero.
    #[error(
        "hoses and couplings account for {hoses_bar:.2} of {drop_bar:.2} bar, and what is left is uncertain by \
         {uncertainty_bar:.2} bar: the circuit's share cannot be told; measure at a larger flow, with short wide hoses, and \
         zero the gauges",
        hoses_bar = drop_bar - left_bar
    )]
    CannotTell {
        /// Measured drop at the clearest point.
        drop_bar: f64,
        /// What is left of it.
        left_bar: f64,
        /// Standard uncertainty of what is left.
        uncertainty_bar: f64,
    },
    /// Hoses and couplings would lose clearly more than was measured in all.
    #[error(
        "a fixture of {fixture_m3_h:.3} m3/h would lose {fixture_bar:.4} bar at the measured flow, but only {drop_bar:.4} bar \
         were measured in all; check the fixture's flow factor, or the units of the reading"
    )]
    FixtureExceeds {
        /// Measured drop at the clearest point.
        drop_bar: f64,
        /// The fixture's drop there.
        fixture_bar: f64,
        /// The fixture's flow factor.
        fixture_m3_h: f64,
    },
    /// The points lead nowhere.
    #[error("no curve fits the points; check units and the order of magnitude of flow and pressure drop")]
    NoFit,
}

/// Flow factor of a circuit from one point or a sweep.
///
/// # Arguments
/// `points`: flow and drop above zero, water of 0.1 to 180 degC. `pieces`: the circuit without the fixture, as far as
/// known. `fixture`: what lies between the gauges besides the circuit; its drop is quadratic in flow.
///
/// # Accuracy
/// By seeded simulation (`tests/flow_factor_trial.rs`), readings of 15 to 60 degC over the pump's range: 1.7 % rms
/// from one exact point without pieces, 0.7 % with them, below 0.1 % from an exact sweep.
///
/// # Errors
/// [`FlowFactorError`]; `CannotTell` where the fixture leaves no clear drop.
pub fn flow_factor(
    points: &[FlowPoint],
    uncertainty: PointUncertainty,
    pieces: Option<&[Piece]>,
    fixture: Option<Fixture>,
) -> Result<FlowFactorResult, FlowFactorError> {
    within("flow_uncertainty_percent", uncertainty.flow_relative * 100.0, 0.0, 50.0, "%")?;
    within("pressure_uncertainty_bar", uncertainty.drop_bar, 0.0, 100.0, "bar")?;
    within("temperature_uncertainty_k", uncertainty.temperature_k, 0.0, 50.0, "K")?;
    let path = pieces.map(Path::new).transpose()?;
    let fixture = fixture.map(Removal::new).transpose()?;
    let all = points
        .iter()
        .enumerate()
        .map(|(at, point)| Brought::new(at, point, fixture))
        .collect::<Result<Vec<_>, _>>()?;
    let Some(clearest) = all.iter().copied().reduce(|best, next| next.clearer(best, uncertainty)) else {
        return Err(FlowFactorError::NoPoints);
    };
    if let Some(removal) = fixture.filter(|_| clearest.is_beyond(uncertainty)) {
        return Err(FlowFactorError::FixtureExceeds {
            drop_bar: clearest.drop_bar,
            fixture_bar: clearest.fixture_bar,
            fixture_m3_h: removal.flow_factor_m3_h,
        });
    }
    if !clearest.is_clear(uncertainty) {
        return Err(FlowFactorError::CannotTell {
            drop_bar: clearest.drop_bar,
            left_bar: clearest.left_bar,
            uncertainty_bar: clearest.left_standard_bar(uncertainty),
        });
    }
    let shape = path.map_or(Shape::Typical, Shape::Pieces);
    let readings = all
        .iter()
        .map(|point| point.reading(&shape, uncertainty, clearest.flow_factor_m3_h()))
        .collect::<Result<Vec<_>, _>>()?;
    let start = clearest.reading(&shape, uncertainty, clearest.flow_factor_m3_h())?;
    let fit = fit::fit(&shape, &readings, math::ln(clearest.left_bar) - start.ln_shape_bar)?;
    let widest = all.iter().fold(clearest, |a, b| if b.flow_m3_h > a.flow_m3_h { *b } else { a });
    let value = math::exp(fit.ln_flow_m3_h);
    Ok(FlowFactorResult {
        flow_factor_m3_h: Uncertain::relative(value, fit.standard_ln),
        estimate: interval(value, fit.standard_ln),
        exponent: fit.exponent,
        fixture_share: widest.fixture_share(),
        method: match (&shape, all.len() > 1) {
            (Shape::Typical, false) => Method::TypicalExponent,
            (Shape::Typical, true) => Method::Sweep,
            (Shape::Pieces(_), false) => Method::KnownPieces,
            (Shape::Pieces(_), true) => Method::KnownPiecesSweep,
        },
        flags: flags(&readings, &fit, widest.fixture_share()),
    })
}

/// Smallest share of the remaining drop that an interval allows for.
const LEAST_LEFT: f64 = 0.05;

/// 95 % interval. What is uncertain is the drop that is left after the fixture; the flow factor goes with its inverse
/// root, so where little is left the interval reaches further up than down.
fn interval(value: f64, standard_ln: f64) -> Estimate {
    let spread = 2.0 * crate::estimate::Z95 * standard_ln;
    Estimate {
        value,
        low: value / (1.0 + spread).sqrt(),
        high: value / (1.0 - spread).max(LEAST_LEFT).sqrt(),
        coverage: 0.95,
    }
}

fn flags(readings: &[Reading], fit: &Fit, fixture_share: f64) -> Vec<Flag> {
    let transition = readings.iter().filter(|reading| reading.transition).count();
    let laminar = readings.iter().filter(|reading| reading.laminar).count();
    let far = math::ln(FAR);
    let reach = |reading: &Reading| (fit.ln_flow_m3_h - reading.x).abs();
    let low = readings.iter().map(|reading| reading.x).fold(f64::INFINITY, f64::min);
    let high = readings.iter().map(|reading| reading.x).fold(f64::NEG_INFINITY, f64::max);
    let outside = fit.ln_flow_m3_h < low || fit.ln_flow_m3_h > high;
    [
        (fixture_share > 0.5).then_some(Flag::FixtureDominates),
        (transition > 0).then_some(Flag::Transition(transition)),
        (laminar > 0).then_some(Flag::Laminar(laminar)),
        (outside && readings.iter().all(|reading| reach(reading) > far)).then_some(Flag::FarFromPoints),
        fit.widened.then_some(Flag::PointsDisagree),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// How the fixture is taken away.
#[derive(Clone, Copy, Debug)]
struct Removal {
    flow_factor_m3_h: f64,
    relative: f64,
}

impl Removal {
    fn new(fixture: Fixture) -> Result<Self, OutOfRange> {
        let factor = fixture.flow_factor.m3_h();
        Ok(Self {
            flow_factor_m3_h: within("fixture_flow_factor_m3_h", factor, 1e-6, 1e6, "m3/h")?,
            relative: within(
                "fixture_uncertainty_percent",
                fixture.relative_uncertainty,
                0.0,
                1.0,
                "(share)",
            )?,
        })
    }
}

/// A point with the water's properties and the fixture taken away.
#[derive(Clone, Copy, Debug)]
struct Brought {
    flow_m3_h: f64,
    drop_bar: f64,
    fixture_bar: f64,
    fixture_relative: f64,
    left_bar: f64,
    fluid: water::Properties,
    /// Relative change of density and kinematic viscosity per K.
    density_per_k: f64,
    viscosity_per_k: f64,
}

impl Brought {
    fn new(at: usize, point: &FlowPoint, fixture: Option<Removal>) -> Result<Self, FlowFactorError> {
        let here = |range| FlowFactorError::Point { at, range };
        let flow_m3_h = within("flow_l_min", point.flow.l_min(), 1e-6, 1e6, "l/min").map_err(here)? * 0.06;
        let drop_bar = within("pressure_drop_bar", point.drop.bar(), 1e-9, 1e4, "bar").map_err(here)?;
        let fluid = water::water(point.temperature, PRESSURE).map_err(here)?;
        let beside_deg_c = if point.temperature.deg_c() > 100.0 { -1.0 } else { 1.0 };
        let beside = Temperature::from_deg_c(point.temperature.deg_c() + beside_deg_c);
        let other = water::water(beside, PRESSURE).map_err(here)?;
        let per_k = |a: f64, b: f64| math::ln(b / a) / beside_deg_c;
        let (fixture_bar, fixture_relative) = fixture.map_or((0.0, 0.0), |fixture| {
            let ratio = flow_m3_h / fixture.flow_factor_m3_h;
            let relative_density = fluid.density_kg_m3 / losses::FLOW_FACTOR_DENSITY_KG_M3;
            (relative_density * ratio * ratio, fixture.relative)
        });
        Ok(Self {
            flow_m3_h,
            drop_bar,
            fixture_bar,
            fixture_relative,
            left_bar: drop_bar - fixture_bar,
            fluid,
            density_per_k: per_k(fluid.density_kg_m3, other.density_kg_m3),
            viscosity_per_k: per_k(fluid.kinematic_viscosity_m2_s(), other.kinematic_viscosity_m2_s()),
        })
    }

    fn fixture_share(&self) -> f64 {
        self.fixture_bar / self.drop_bar
    }

    fn left_standard_bar(&self, uncertainty: PointUncertainty) -> f64 {
        root_sum_square(&[
            uncertainty.drop_bar,
            2.0 * self.fixture_bar * uncertainty.flow_relative,
            2.0 * self.fixture_bar * self.fixture_relative,
        ])
    }

    fn is_clear(&self, uncertainty: PointUncertainty) -> bool {
        self.left_bar > CLEAR * self.left_standard_bar(uncertainty) && self.left_bar > 0.0
    }

    /// Whether the fixture has more than all of the drop, beyond doubt.
    fn is_beyond(&self, uncertainty: PointUncertainty) -> bool {
        self.left_bar < -CLEAR * self.left_standard_bar(uncertainty)
    }

    fn clearer(self, other: Self, uncertainty: PointUncertainty) -> Self {
        let clearness = |point: &Self| point.left_bar / point.left_standard_bar(uncertainty).max(1e-12);
        if clearness(&self) > clearness(&other) { self } else { other }
    }

    /// Rough flow factor of the circuit, as if all of it went with the square of flow.
    fn flow_factor_m3_h(&self) -> f64 {
        self.flow_m3_h / self.left_bar.max(1e-12).sqrt()
    }

    /// The point as the fit wants it: placed by its twin in the reference water.
    fn reading(
        &self,
        shape: &Shape,
        uncertainty: PointUncertainty,
        rough_factor_m3_h: f64,
    ) -> Result<Reading, FlowFactorError> {
        let reference = reference_conditions().fluid;
        let thinner = reference.kinematic_viscosity_m2_s() / self.fluid.kinematic_viscosity_m2_s();
        let x = math::ln(self.flow_m3_h * thinner);
        let twin = thinner * thinner * reference.density_kg_m3 / self.fluid.density_kg_m3;
        let at = shape.at(x)?;
        let laminar = match at.regime {
            Some(regime) => regime == Regime::Laminar,
            None => self.may_be_laminar(rough_factor_m3_h),
        };
        let unknown = if laminar && at.regime.is_none() { fit::UNKNOWN_REGIME_RELATIVE } else { 0.0 };
        Ok(Reading {
            x,
            drop_bar: self.drop_bar,
            fixture_bar: self.fixture_bar,
            ln_shape_bar: at.value - math::ln(twin),
            slope: at.slope,
            flow_relative: uncertainty.flow_relative,
            offset_bar: uncertainty.drop_bar,
            warmth_ln: ((at.slope - 2.0) * self.viscosity_per_k - self.density_per_k)
                * uncertainty.temperature_k,
            fixture_relative: self.fixture_relative,
            shape_relative: root_sum_square(&[fit::TRANSITION_RELATIVE * at.transition_share, unknown]),
            laminar,
            transition: at.regime == Some(Regime::Transition),
        })
    }

    /// Whether the flow may be laminar in the widest bore that has this flow factor: K = 0.0016 D^4 / Kv^2 with D in
    /// mm (definition of both).
    fn may_be_laminar(&self, factor_m3_h: f64) -> bool {
        let bore_m = math::powf(LOSS_NUMBER_MAX * factor_m3_h * factor_m3_h / 0.001_6, 0.25) * 1e-3;
        let per_area = 4.0 * self.flow_m3_h / 3600.0 / core::f64::consts::PI;
        per_area / (bore_m * self.fluid.kinematic_viscosity_m2_s()) < TURBULENT_ABOVE
    }
}
