//! The circuit's curve through the readings, in logarithms.
//!
//! `y = shape(x) + a + b u + c u^2` with `u = x - x*`, `x*` the place sought (drop 1 bar). `a` is free; `b` and `c`
//! are held by how much real circuits differ from the shape. The instruments' common errors are unknowns too, held
//! by their uncertainties, so the answer's variance holds everything (Bayesian
//! least squares; for the propagation `jcgm-100`).

use nalgebra::{SMatrix, SVector};

use super::{FlowFactorError, PieceKnowledge};
use crate::estimate::root_sum_square;
use crate::hydraulics::circuit::reference_conditions;
use crate::hydraulics::friction::Regime;
use crate::hydraulics::path::Path;
use crate::numeric::{math, stats};

/// Share of the instruments' uncertainty that comes again as scatter from point to point.
pub const SCATTER_SHARE: f64 = 0.3;
/// Relative uncertainty of friction between laminar and turbulent flow.
pub const TRANSITION_RELATIVE: f64 = 0.15;
/// Relative uncertainty of a drop whose kind of flow is not known.
pub const UNKNOWN_REGIME_RELATIVE: f64 = 0.05;
/// What a curve with three numbers misses of a real one, in ln flow (seeded simulation, exact sweeps).
const MODEL_LN: f64 = 3e-4;
/// What no reading of a drop gets below, relative.
pub const FLOOR_RELATIVE: f64 = 5e-5;

/// Most steps; fewer than 20 are needed.
const STEPS: usize = 200;
/// Change of ln flow and ln drop at which the fit has arrived: far below any uncertainty.
const CONVERGED: f64 = 1e-7;

/// Exponent of a typical circuit and how far circuits differ from it, in exponent and in bend (seeded simulation,
/// `tests/flow_factor_trial.rs`).
const TYPICAL: (f64, Prior) = (1.945, Prior { steepness: 0.025, bend: 0.005 });
/// How far circuits differ from the curve of their pieces.
const KNOWN: Prior = Prior { steepness: PieceKnowledge::DRAWING.exponent_sd, bend: 0.003 };

/// Standard deviations of a circuit's curve against its shape.
#[derive(Clone, Copy)]
struct Prior {
    steepness: f64,
    bend: f64,
}

/// Form of a circuit's curve.
pub enum Shape {
    /// A typical circuit's exponent.
    Typical,
    /// Known pieces.
    Pieces(Path),
}

/// A shape at one flow.
pub struct At {
    /// ln of the drop in bar.
    pub value: f64,
    /// d ln drop / d ln flow.
    pub slope: f64,
    /// Kind of flow, where pieces are known.
    pub regime: Option<Regime>,
    /// Share of the drop that is lost to friction between laminar and turbulent flow.
    pub transition_share: f64,
}

impl Shape {
    /// The shape at ln of a flow in m3/h of the reference water.
    pub fn at(&self, x: f64) -> Result<At, FlowFactorError> {
        match self {
            Self::Typical => {
                Ok(At { value: TYPICAL.0 * x, slope: TYPICAL.0, regime: None, transition_share: 0.0 })
            }
            Self::Pieces(path) => {
                let flow_m3_s = math::exp(x) / 3600.0;
                let point = path.at(&reference_conditions(), flow_m3_s)?;
                if point.drop_pa <= 0.0 {
                    return Err(FlowFactorError::NoFit);
                }
                Ok(At {
                    value: math::ln(point.drop_pa / 1e5),
                    slope: point.slope_pa_s_m3 * flow_m3_s / point.drop_pa,
                    regime: point.regime,
                    transition_share: path.transition_share(&reference_conditions(), flow_m3_s)?,
                })
            }
        }
    }

    const fn prior(&self) -> Prior {
        match self {
            Self::Typical => TYPICAL.1,
            Self::Pieces(_) => KNOWN,
        }
    }
}

/// One reading: where it lies in the reference water, and what one standard uncertainty of each error does to it.
#[derive(Clone, Copy)]
pub struct Reading {
    /// ln of the flow in m3/h of the reference water.
    pub x: f64,
    /// Measured drop, fixture included.
    pub drop_bar: f64,
    /// The fixture's drop at the measured flow.
    pub fixture_bar: f64,
    /// ln of the circuit's drop in bar that the shape gives here, in the water that was there.
    pub ln_shape_bar: f64,
    /// Local exponent of the shape.
    pub slope: f64,
    /// Flow meter's gain, relative.
    pub flow_relative: f64,
    /// Gauge's offset.
    pub offset_bar: f64,
    /// The thermometer's error, in ln of the circuit's drop.
    pub warmth_ln: f64,
    /// The fixture's flow factor, relative.
    pub fixture_relative: f64,
    /// What the shape itself is uncertain by here, relative.
    pub shape_relative: f64,
    /// Laminar, or maybe.
    pub laminar: bool,
    /// Between laminar and turbulent.
    pub transition: bool,
}

/// What the fit found.
pub struct Fit {
    /// ln of the flow in m3/h at 1 bar.
    pub ln_flow_m3_h: f64,
    /// Its standard uncertainty.
    pub standard_ln: f64,
    /// Local exponent there.
    pub exponent: f64,
    /// Whether the points scatter more than their uncertainty and the interval was widened.
    pub widened: bool,
}

/// Level, steepness, bend, gain, offset, warmth, fixture.
const UNKNOWNS: usize = 7;
const LEVEL: usize = 0;
const STEEPNESS: usize = 1;
type Row = SVector<f64, UNKNOWNS>;

/// The unknowns, each but the level in units of its prior standard deviation.
#[derive(Clone, Copy)]
struct Unknowns(Row);

impl Unknowns {
    fn level(&self) -> f64 {
        self.0[LEVEL]
    }
}

/// The flow at 1 bar, from a first guess of the level: by how much ln drop lies above the shape.
///
/// The sum of circuit, fixture and offset is held against the measured drop, not their difference's logarithm
/// against the curve: an error common to all points, taken at the measured values, would drag the answer down
/// where the fixture has most of the drop (Peelle's puzzle).
pub fn fit(shape: &Shape, readings: &[Reading], level: f64) -> Result<Fit, FlowFactorError> {
    let prior = shape.prior();
    let mut centre = readings.iter().map(|reading| reading.x).sum::<f64>() / readings.len() as f64;
    let mut unknowns = Unknowns(Row::from([level, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]));
    for _ in 0..STEPS {
        let solved = Solved::new(prior, readings, centre, unknowns).ok_or(FlowFactorError::NoFit)?;
        let change = (solved.unknowns.level() - unknowns.level()).abs();
        unknowns = solved.unknowns;
        let at = shape.at(centre)?;
        let exponent = at.slope + unknowns.0[STEEPNESS] * prior.steepness;
        let step = -(at.value + unknowns.level()) / exponent;
        if !(step.is_finite() && exponent > 0.5) {
            return Err(FlowFactorError::NoFit);
        }
        if step.abs() < CONVERGED && change < CONVERGED {
            let widening = solved.widening(readings.len());
            return Ok(Fit {
                ln_flow_m3_h: centre + step,
                standard_ln: root_sum_square(&[solved.level_standard * widening / exponent, MODEL_LN]),
                exponent,
                widened: widening > 1.0,
            });
        }
        // Far away the shape's own bend misleads; a factor of twenty at a time is enough.
        centre += step.clamp(-3.0, 3.0);
    }
    Err(FlowFactorError::NoFit)
}

struct Solved {
    unknowns: Unknowns,
    level_standard: f64,
    chi_squared: f64,
}

/// A reading's drop by the unknowns: value, how it changes with each, and the scatter around it.
struct Predicted {
    drop_bar: f64,
    row: Row,
    scatter_bar: f64,
}

impl Reading {
    fn predicted(&self, prior: Prior, centre: f64, Unknowns(unknowns): Unknowns) -> Predicted {
        let u = self.x - centre;
        let in_ln = Row::from([
            1.0,
            u * prior.steepness,
            u * u * prior.bend,
            -self.slope * self.flow_relative,
            0.0,
            -self.warmth_ln,
            0.0,
        ]);
        let fixture_ln =
            Row::from([0.0, 0.0, 0.0, -2.0 * self.flow_relative, 0.0, 0.0, -2.0 * self.fixture_relative]);
        let circuit_bar = math::exp(self.ln_shape_bar + in_ln.dot(&unknowns));
        let fixture_bar = self.fixture_bar * math::exp(fixture_ln.dot(&unknowns));
        let offset = Row::from([0.0, 0.0, 0.0, 0.0, self.offset_bar, 0.0, 0.0]);
        let by_flow_bar = self.flow_relative * (self.slope * circuit_bar + 2.0 * fixture_bar);
        Predicted {
            drop_bar: circuit_bar + fixture_bar + offset.dot(&unknowns),
            row: in_ln * circuit_bar + fixture_ln * fixture_bar + offset,
            scatter_bar: root_sum_square(&[
                SCATTER_SHARE * by_flow_bar,
                SCATTER_SHARE * self.offset_bar,
                self.shape_relative * circuit_bar,
                FLOOR_RELATIVE * circuit_bar,
            ]),
        }
    }
}

impl Solved {
    /// One Gauss-Newton step.
    fn new(prior: Prior, readings: &[Reading], centre: f64, before: Unknowns) -> Option<Self> {
        let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity();
        // The level is free; a hair keeps the matrix regular.
        normal[(LEVEL, LEVEL)] = 1e-12;
        let mut right = Row::zeros();
        for reading in readings {
            let at = reading.predicted(prior, centre, before);
            let row = at.row / at.scatter_bar;
            let miss = (reading.drop_bar - at.drop_bar) / at.scatter_bar;
            normal += row * row.transpose();
            right += row * (miss + row.dot(&before.0));
        }
        let inverse = normal.cholesky()?.inverse();
        // A first guess far off makes the first steps wild; an e-fold of drop at a time is enough.
        let mut unknowns = inverse * right;
        unknowns[LEVEL] = before.0[LEVEL] + (unknowns[LEVEL] - before.0[LEVEL]).clamp(-1.0, 1.0);
        let misfit: f64 = readings
            .iter()
            .map(|reading| {
                let at = reading.predicted(prior, centre, Unknowns(unknowns));
                (reading.drop_bar - at.drop_bar) / at.scatter_bar
            })
            .map(|z| z * z)
            .sum();
        let held: f64 = unknowns.iter().skip(1).map(|unknown| unknown * unknown).sum();
        Some(Self {
            unknowns: Unknowns(unknowns),
            level_standard: inverse[(LEVEL, LEVEL)].sqrt(),
            chi_squared: misfit + held,
        })
    }

    /// Factor by which points that do not lie on one curve widen the interval (Birge ratio; as `nist-ehandbook`, residual standard deviation).
    fn widening(&self, points: usize) -> f64 {
        let freedom = points as f64 - 1.0;
        if points < 2 || stats::chi_squared_above(self.chi_squared, freedom) > 0.01 {
            1.0
        } else {
            (self.chi_squared / freedom).sqrt()
        }
    }
}
