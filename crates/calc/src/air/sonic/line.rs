//! Air through the pieces of a circuit as new: mass flow, sonic conductance, critical ratio.
//!
//! The pressure is marched piece by piece at the wall's temperature (isothermal gas), with the friction law and the
//! loss numbers that water uses; a piece chokes where the exact isothermal balance has no solution any more.

use super::{REFERENCE_PRESSURE_PA, SonicPart, parallel};
use crate::air::gas::{self, GAS_CONSTANT_J_KG_K, REFERENCE_TEMPERATURE_K};
use crate::estimate::Uncertain;
use crate::hydraulics::circuit::HydraulicsError;
use crate::hydraulics::friction;
use crate::hydraulics::losses::{self, Element, Wall};
use crate::hydraulics::path::step_before;
use crate::hydraulics::piece::{Piece, Restrictor};
use crate::limits::within;
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, SonicConductance, Temperature};

/// Pressure in front at which conductances of pieces are stated.
pub const STATED_AT: AbsolutePressure = AbsolutePressure::from_bar(7.0);

/// Pressure ratio x = drop/upstream at which a coupling or a restrictor known by its flow factor chokes: the usual
/// value of IEC 60534-2-1 for globe-like paths (source key `iec-60534-2-1`; from memory).
const FACTOR_CHOKES_AT: f64 = 0.70;
/// The same for a sharp-edged hole, whose jet goes on contracting: with 0.62 as liquid coefficient it gives 0.78 at
/// choke, between the 0.72 and 0.84 of thin plates (source key `perry-handbook`; from memory).
const HOLE_CHOKES_AT: f64 = 0.84;

/// What heat exchange and friction law leave open in ln C: marching the circuits of the trials at constant total
/// temperature with another friction law gives 0.5 % more on average (spread 0.6 %); others report 1 to 3 % less for
/// adiabatic flow. Real walls lie between.
const HEAT_STANDARD_LN: f64 = 0.012;

/// How well the pieces are known; the figure is the standard deviation of ln C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drawing {
    /// Bores to 0.05 mm, turns to 25 %, couplings to 15 %.
    Good,
    /// Nominal bores, number of turns roughly known.
    Poor,
}

impl Drawing {
    /// Standard deviation of ln C of a circuit as new around the value from its drawing (simulated; see the module).
    #[must_use]
    pub const fn standard_ln(self) -> f64 {
        match self {
            Self::Good => 0.087,
            Self::Poor => 0.147,
        }
    }
}

/// What pieces as new let through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineConductance {
    /// As one part, at 7 bar absolute in front.
    pub part: SonicPart,
    /// d ln C / d ln p: friction weighs less at higher pressure.
    pub pressure_exponent: f64,
}

/// Sonic conductance and critical ratio of pieces in flow order, air of the given temperature.
///
/// The critical ratio is that of the ISO 6358 ellipse which follows the marched flow between equal pressures and
/// choking. Range: -40 to 200 degC. Sources `iso-6358`, isothermal gas `crane-tp410`, loss numbers as for water.
///
/// # Errors
/// [`HydraulicsError`] as for water: geometry that cannot be, no piece, or flow beyond the friction law.
pub fn conductance(pieces: &[Piece], temperature: Temperature) -> Result<LineConductance, HydraulicsError> {
    let line = Line::new(pieces, temperature)?;
    let stated = line.part_at(STATED_AT)?;
    let lower = line.part_at(STATED_AT * 0.5)?;
    let rise = math::ln(stated.conductance() / lower.conductance());
    Ok(LineConductance { part: stated, pressure_exponent: rise / core::f64::consts::LN_2 })
}

/// What to expect of the circuit: value of [`conductance`] in dm3/(s bar) with the model's standard uncertainty.
#[must_use]
pub fn expectation(line: &LineConductance, drawing: Drawing) -> Uncertain {
    let spread = crate::estimate::root_sum_square(&[drawing.standard_ln(), HEAT_STANDARD_LN]);
    Uncertain::relative(line.part.conductance().dm3_s_bar(), spread)
}

/// Mass flow in kg/s through pieces between two static pressures, isothermal.
///
/// # Errors
/// As [`conductance`]; also a downstream pressure that is not below the upstream one.
pub fn mass_flow_kg_s(
    pieces: &[Piece],
    upstream: AbsolutePressure,
    downstream: AbsolutePressure,
    temperature: Temperature,
) -> Result<f64, HydraulicsError> {
    within("downstream_bar_abs", downstream.bar(), 0.0, upstream.bar(), "bar")?;
    Line::new(pieces, temperature)?.flow_to(upstream.pa(), downstream.pa())
}

/// One stretch of the way, as the marching sees it.
#[derive(Clone, Copy, Debug)]
enum Step {
    /// Wall friction along a length.
    Friction { wall: Wall, length_m: f64 },
    /// A turn: loss number with a laminar share.
    Turn { area_m2: f64, diameter_m: f64, one: f64, infinite: f64 },
    /// A change of bore: loss over density and flow squared.
    Square { per_m4: f64 },
    /// A coupling or a hole with its own choking.
    Throttle { per_m4: f64, chokes_at: f64 },
    /// Parallel branches as one part.
    Part(SonicPart),
}

/// Static pressure and the cross-section in which it holds, if one is known.
#[derive(Clone, Copy, Debug)]
struct State {
    pressure_pa: f64,
    area_m2: Option<f64>,
}

struct Line {
    steps: Vec<Step>,
    viscosity_pa_s: f64,
    /// R T.
    rt: f64,
    temperature_k: f64,
}

impl Line {
    fn new(pieces: &[Piece], temperature: Temperature) -> Result<Self, HydraulicsError> {
        let viscosity_pa_s = gas::viscosity_pa_s(temperature)?;
        let mut steps = Vec::with_capacity(pieces.len() * 2);
        let mut bore = None;
        for piece in pieces {
            let before = bore;
            let change = step_before(piece, &mut bore);
            // A step to a wider bore is a momentum balance in the marching itself, at any speed.
            if let Some(Element::Quadratic(change)) = change
                && bore < before
            {
                steps.push(Step::Square { per_m4: change.per_m4 });
            }
            steps_of(piece, temperature, &mut steps)?;
        }
        if steps.is_empty() {
            return Err(HydraulicsError::NoResistance);
        }
        let temperature_k = temperature.k();
        Ok(Self { steps, viscosity_pa_s, rt: GAS_CONSTANT_J_KG_K * temperature_k, temperature_k })
    }

    /// Static pressure at the end, or nothing if the line cannot pass this flow.
    fn outlet_pa(&self, upstream_pa: f64, mass_kg_s: f64) -> Result<Option<f64>, HydraulicsError> {
        let mut state = State { pressure_pa: upstream_pa, area_m2: None };
        for step in &self.steps {
            match self.march(*step, state, mass_kg_s)? {
                Some(next) => state = next,
                None => return Ok(None),
            }
        }
        Ok(Some(state.pressure_pa))
    }

    fn march(&self, step: Step, from: State, mass_kg_s: f64) -> Result<Option<State>, HydraulicsError> {
        let p = from.pressure_pa;
        let square = mass_kg_s * mass_kg_s * self.rt;
        let same = |pressure: Option<f64>| Ok(pressure.map(|pressure_pa| State { pressure_pa, ..from }));
        match step {
            Step::Friction { wall, length_m } => {
                let section = wall.section;
                let reynolds =
                    mass_kg_s * section.hydraulic_diameter_m / (section.area_m2 * self.viscosity_pa_s);
                let law = friction::friction(reynolds * wall.shape_factor, wall.relative_roughness)?;
                let loss = law.darcy_factor * length_m / section.hydraulic_diameter_m;
                Ok(through(from, section.area_m2, square, loss))
            }
            Step::Turn { area_m2, diameter_m, one, infinite } => {
                let reynolds = mass_kg_s * diameter_m / (area_m2 * self.viscosity_pa_s);
                Ok(through(from, area_m2, square, one / reynolds + infinite))
            }
            Step::Square { per_m4 } => {
                let rest = p * p - 2.0 * per_m4 * square;
                same((rest > 0.0).then(|| rest.sqrt()))
            }
            Step::Throttle { per_m4, chokes_at } => {
                same(throttle_drop(per_m4 * square / (p * p), chokes_at).map(|x| p * (1.0 - x)))
            }
            Step::Part(part) => {
                let able = part.conductance().m3_s_pa() * p * self.kg_per_reference_m3();
                let share = mass_kg_s / able;
                same((share <= 1.0).then(|| p * part.ratio_at_share(share)))
            }
        }
    }

    /// Mass in a cubic metre of the reference state, with the flow's dependence on temperature.
    fn kg_per_reference_m3(&self) -> f64 {
        REFERENCE_PRESSURE_PA / (GAS_CONSTANT_J_KG_K * REFERENCE_TEMPERATURE_K)
            * (REFERENCE_TEMPERATURE_K / self.temperature_k).sqrt()
    }

    /// The largest flow whose outlet pressure is not below `downstream_pa`, by bisection in the logarithm.
    fn flow_to(&self, upstream_pa: f64, downstream_pa: f64) -> Result<f64, HydraulicsError> {
        let fits = |ln_flow: f64| -> Result<bool, HydraulicsError> {
            let outlet = self.outlet_pa(upstream_pa, math::exp(ln_flow))?;
            Ok(outlet.is_some_and(|pressure| pressure >= downstream_pa))
        };
        // From a flow that surely fits (1e-9 kg/s) upwards; 1e-3 in ln is far below any bore's first miss.
        let (mut low, mut high) = (math::ln(1e-9), math::ln(1e-9));
        let mut stride = 4.0;
        while fits(high)? {
            low = high;
            high += stride;
            if high > 20.0 {
                return Err(HydraulicsError::NoResistance);
            }
            stride = 2.0;
        }
        for _ in 0..44 {
            let middle = 0.5 * (low + high);
            if fits(middle)? {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ok(math::exp(low))
    }

    /// The line as one part, at this upstream pressure.
    fn part_at(&self, upstream: AbsolutePressure) -> Result<SonicPart, HydraulicsError> {
        let choked = self.flow_to(upstream.pa(), 0.0)?;
        let mut sum = 0.0;
        let shares = [0.5, 0.65, 0.8, 0.9, 0.96];
        for share in shares {
            let outlet = self.outlet_pa(upstream.pa(), choked * share)?.unwrap_or(0.0);
            // The ellipse through this point: share^2 + ((r - b)/(1 - b))^2 = 1, solved for b.
            let along = (1.0_f64 - share * share).sqrt();
            sum += (outlet / upstream.pa() - along) / (1.0 - along);
        }
        let ratio = (sum / 5.0).clamp(0.0, 0.9);
        let volume = choked / (self.kg_per_reference_m3() * upstream.pa());
        Ok(SonicPart::new(SonicConductance::from_m3_s_pa(volume), ratio)?)
    }
}

fn steps_of(piece: &Piece, temperature: Temperature, into: &mut Vec<Step>) -> Result<(), HydraulicsError> {
    let chokes_at = match piece {
        Piece::Split { branches } => {
            let parts: Vec<SonicPart> = branches
                .iter()
                .map(|branch| Line::new(branch, temperature)?.part_at(STATED_AT))
                .collect::<Result<_, _>>()?;
            into.push(Step::Part(parallel(&parts).map_err(|_| HydraulicsError::NoResistance)?));
            return Ok(());
        }
        Piece::Restrictor(Restrictor::Hole { .. }) => HOLE_CHOKES_AT,
        _ => FACTOR_CHOKES_AT,
    };
    let mut elements = Vec::with_capacity(5);
    losses::elements(piece, &mut elements)?;
    for element in elements {
        into.push(match element {
            Element::Channel(channel) => Step::Friction { wall: channel.wall, length_m: channel.length_m },
            Element::Turns(turns) => Step::Turn {
                area_m2: turns.section.area_m2,
                diameter_m: turns.section.hydraulic_diameter_m,
                one: turns.one,
                infinite: turns.infinite,
            },
            Element::Quadratic(loss) => Step::Throttle { per_m4: loss.per_m4, chokes_at },
            Element::Split(_) => return Err(HydraulicsError::NoResistance),
        });
    }
    Ok(())
}

/// Into a cross-section and through a loss number in it; nothing if the flow chokes there.
fn through(from: State, area_m2: f64, square: f64, loss: f64) -> Option<State> {
    let entered = match from.area_m2 {
        Some(before) if before > area_m2 * (1.0 + 1e-9) => {
            into_narrow(from.pressure_pa, square / (before * before), square / (area_m2 * area_m2))?
        }
        Some(before) if before < area_m2 * (1.0 - 1e-9) => {
            into_wide(from.pressure_pa, square / (before * before), before / area_m2)
        }
        _ => from.pressure_pa,
    };
    let behind = along(entered, square / (area_m2 * area_m2), loss)?;
    Some(State { pressure_pa: behind, area_m2: Some(area_m2) })
}

/// Pressure behind a channel with loss number `loss`: p1^2 - p2^2 = G^2 R T (loss + 2 ln(p1/p2)), the exact isothermal
/// balance (`crane-tp410`, equation 1-6 there). `momentum` is G^2 R T. Nothing if it has no solution: choked.
fn along(p1: f64, momentum: f64, loss: f64) -> Option<f64> {
    // With y = (p2/p1)^2 and k = G^2 R T/p1^2: 1 - y = k (loss - ln y), subsonic root y > k.
    let k = momentum / (p1 * p1);
    let miss = |y: f64| 1.0 - y - k * (loss - math::ln(y));
    if k >= 1.0 || miss(k) < 0.0 {
        return None;
    }
    // The function is concave and falls from the root on towards y = 1: Newton from the right never overshoots.
    let mut y = 1.0;
    for _ in 0..60 {
        let step = miss(y) / (k / y - 1.0);
        y -= step;
        if y <= k {
            y = k;
            break;
        }
        if step.abs() < 1e-15 {
            break;
        }
    }
    Some(p1 * y.sqrt())
}

/// Pressure behind a sudden enlargement, isothermal momentum balance with the narrow end's pressure on the shoulder:
/// p2 + G2^2 R T/p2 = p1 + a G1^2 R T/p1, `a` the ratio of areas; the subsonic root always exists. For slow flow this is
/// the loss `(1 - a)^2` of Borda and Carnot.
fn into_wide(p1: f64, momentum_before: f64, area_ratio: f64) -> f64 {
    let sum = p1 + area_ratio * momentum_before / p1;
    let momentum_after = momentum_before * area_ratio * area_ratio;
    0.5 * (sum + (sum * sum - 4.0 * momentum_after).max(0.0).sqrt())
}

/// Pressure after a narrowing without loss, isothermal: ln p + G^2 R T/(2 p^2) stays.
fn into_narrow(p1: f64, momentum_before: f64, momentum_after: f64) -> Option<f64> {
    let kept = momentum_before / (2.0 * p1 * p1);
    let k = momentum_after / (p1 * p1);
    // h(z) = z + k exp(-2 z)/2 - kept = 0 with z = ln(p2/p1); h rises for exp(2 z) > k.
    let least = 0.5 * math::ln(k);
    let h = |z: f64| z + 0.5 * k * math::exp(-2.0 * z) - kept;
    if h(least) > 0.0 {
        return None;
    }
    // Convex and rising on the subsonic side: Newton from the right never overshoots.
    let mut z: f64 = kept.max(least + 1e-12);
    for _ in 0..60 {
        let step = h(z) / (1.0 - k * math::exp(-2.0 * z));
        z -= step;
        if z <= least {
            z = least;
            break;
        }
        if step.abs() < 1e-15 {
            break;
        }
    }
    Some(p1 * math::exp(z))
}

/// Drop over upstream pressure of a throttle: load = x Y^2 with Y = 1 - x/(3 x_choke) (IEC 60534-2-1, air).
fn throttle_drop(load: f64, chokes_at: f64) -> Option<f64> {
    let reach = |x: f64| {
        let y = 1.0 - x / (3.0 * chokes_at);
        x * y * y
    };
    if load > reach(chokes_at) {
        return None;
    }
    let (mut low, mut high) = (0.0, chokes_at);
    for _ in 0..52 {
        let middle = 0.5 * (low + high);
        if reach(middle) < load {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests;
