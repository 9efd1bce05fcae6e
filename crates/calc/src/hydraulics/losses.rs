//! Pressure drop of one piece: value and slope together, without a step from rest to the turbulent end.
//!
//! Pieces are brought down to a few kinds of element whose drops add: a channel with wall friction, turns whose
//! loss number has a laminar share, and losses that go strictly with the square of flow.

use core::f64::consts::PI;

use super::circuit::{Conditions, HydraulicsError};
use super::friction::{self, LAMINAR_BELOW, Regime};
use super::losses_table::{
    BENT_ELBOW, CONTRACTION_K, DRAWN_TUBE_ROUGHNESS_UM, DRILLED_ELBOW, DRILLED_ROUGHNESS_UM,
    HALF_ROUND_LAMINAR, LossNumber, TIP_TURN,
};
use super::path::Split;
use super::piece::{ElbowMake, Piece, Restrictor};
use crate::limits::{OutOfRange, within};
use crate::numeric::math;
use crate::quantity::{FlowFactor, Length};

/// Density that belongs to a flow factor: water of 20 degC (see [`super::circuit::reference_conditions`]). With
/// it, a coupling of flow factor 1 is by itself a circuit of flow factor 1.
pub const FLOW_FACTOR_DENSITY_KG_M3: f64 = super::circuit::REFERENCE_DENSITY_KG_M3;

/// Drop and slope at one flow, in SI units.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Point {
    pub drop_pa: f64,
    /// d drop / d flow.
    pub slope_pa_s_m3: f64,
    /// Smallest Reynolds number on the way; infinite where no element has one.
    pub reynolds_min: f64,
    /// Most doubtful kind of flow on the way: transition before laminar before turbulent.
    pub regime: Option<Regime>,
}

impl Point {
    pub const NONE: Self =
        Self { drop_pa: 0.0, slope_pa_s_m3: 0.0, reynolds_min: f64::INFINITY, regime: None };

    /// This and another element in a row.
    pub fn then(self, next: Self) -> Self {
        Self {
            drop_pa: self.drop_pa + next.drop_pa,
            slope_pa_s_m3: self.slope_pa_s_m3 + next.slope_pa_s_m3,
            reynolds_min: self.reynolds_min.min(next.reynolds_min),
            regime: more_doubtful(self.regime, next.regime),
        }
    }

    /// So many of this in a row.
    pub fn times(self, count: f64) -> Self {
        Self { drop_pa: self.drop_pa * count, slope_pa_s_m3: self.slope_pa_s_m3 * count, ..self }
    }
}

pub(super) const fn more_doubtful(a: Option<Regime>, b: Option<Regime>) -> Option<Regime> {
    match (a, b) {
        (Some(Regime::Transition), _) | (_, Some(Regime::Transition)) => Some(Regime::Transition),
        (Some(Regime::Laminar), _) | (_, Some(Regime::Laminar)) => Some(Regime::Laminar),
        (Some(Regime::Turbulent), _) | (_, Some(Regime::Turbulent)) => Some(Regime::Turbulent),
        (None, None) => None,
    }
}

/// Cross-section of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Section {
    pub area_m2: f64,
    pub hydraulic_diameter_m: f64,
}

impl Section {
    pub fn round(diameter_m: f64) -> Self {
        Self { area_m2: PI / 4.0 * diameter_m * diameter_m, hydraulic_diameter_m: diameter_m }
    }

    fn ring(outer_m: f64, inner_m: f64) -> Self {
        let area_m2 = PI / 4.0 * (outer_m * outer_m - inner_m * inner_m);
        Self { area_m2, hydraulic_diameter_m: outer_m - inner_m }
    }

    /// What a blade leaves on one side of a round hole: a segment of a circle.
    pub fn beside_blade(diameter_m: f64, blade_m: f64) -> Self {
        let radius = diameter_m / 2.0;
        let angle = math::acos((blade_m / diameter_m).clamp(0.0, 1.0));
        let (half_chord, distance) = (radius * math::sin(angle), radius * math::cos(angle));
        let area_m2 = radius * radius * angle - half_chord * distance;
        let perimeter = 2.0 * (radius * angle + half_chord);
        Self { area_m2, hydraulic_diameter_m: 4.0 * area_m2 / perimeter }
    }

    fn reynolds(&self, conditions: &Conditions, flow_m3_s: f64) -> f64 {
        flow_m3_s / self.area_m2 * self.hydraulic_diameter_m / conditions.fluid.kinematic_viscosity_m2_s()
    }
}

/// A stretch with wall friction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Channel {
    pub wall: Wall,
    pub length_m: f64,
}

/// Cross-section and wall of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Wall {
    pub section: Section,
    pub relative_roughness: f64,
    /// 64 over the laminar product of friction factor and Reynolds number. Multiplied with it, the Reynolds
    /// number gives the exact laminar drop of the shape, and, put into the turbulent law of the round tube, the
    /// measured turbulent one of ring gaps (`jones-leung-1981`).
    pub shape_factor: f64,
}

/// Turns with the same cross-section; their loss numbers add.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Turns {
    pub section: Section,
    pub one: f64,
    pub infinite: f64,
}

/// Losses strictly with the square of flow: drop over density and flow squared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Quadratic {
    pub origin: Origin,
    pub per_m4: f64,
}

/// Where a quadratic loss comes from: their uncertainties differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Origin {
    /// A flow factor.
    Factor,
    /// A hole or a change of bore.
    Geometry,
}

/// What drops add up from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Element {
    Channel(Channel),
    Turns(Turns),
    Quadratic(Quadratic),
    Split(Split),
}

impl Element {
    /// Adds `self` to an element of the same cross-section and wall, if it is one.
    pub fn merged_into(&self, earlier: &mut Self) -> bool {
        match (earlier, self) {
            (Self::Channel(sum), Self::Channel(more)) if sum.wall == more.wall => {
                sum.length_m += more.length_m;
            }
            (Self::Turns(sum), Self::Turns(more)) if sum.section == more.section => {
                sum.one += more.one;
                sum.infinite += more.infinite;
            }
            (Self::Quadratic(sum), Self::Quadratic(more)) if sum.origin == more.origin => {
                sum.per_m4 += more.per_m4;
            }
            (Self::Split(sum), Self::Split(more)) if sum.branches == more.branches => {
                sum.times += more.times;
            }
            _ => return false,
        }
        true
    }

    /// Drop and slope at a flow that is not negative.
    pub(super) fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<Point, HydraulicsError> {
        match self {
            Self::Channel(channel) => Ok(channel.at(conditions, flow_m3_s)?),
            Self::Turns(turns) => Ok(turns.at(conditions, flow_m3_s)),
            Self::Quadratic(quadratic) => Ok(quadratic.at(conditions, flow_m3_s)),
            Self::Split(split) => split.at(conditions, flow_m3_s),
        }
    }

    /// Rough loss as if all went with the square of flow, for a first guess: drop over density and flow squared.
    pub fn guess_per_m4(&self) -> f64 {
        match self {
            Self::Channel(channel) => {
                let section = channel.wall.section;
                let friction_number = 0.03 * channel.length_m / section.hydraulic_diameter_m;
                friction_number / (2.0 * section.area_m2 * section.area_m2)
            }
            Self::Turns(turns) => turns.infinite / (2.0 * turns.section.area_m2 * turns.section.area_m2),
            Self::Quadratic(quadratic) => quadratic.per_m4,
            Self::Split(split) => split.guess_per_m4(),
        }
    }
}

impl Channel {
    fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<Point, OutOfRange> {
        let section = self.wall.section;
        let (diameter, velocity) = (section.hydraulic_diameter_m, flow_m3_s / section.area_m2);
        let reynolds = section.reynolds(conditions, flow_m3_s);
        let effective = reynolds * self.wall.shape_factor;
        if effective <= LAMINAR_BELOW {
            let slope = 32.0 * conditions.fluid.viscosity_pa_s * self.length_m
                / (diameter * diameter * self.wall.shape_factor * section.area_m2);
            return Ok(Point {
                drop_pa: slope * flow_m3_s,
                slope_pa_s_m3: slope,
                reynolds_min: reynolds,
                regime: Some(Regime::Laminar),
            });
        }
        let law = friction::friction_by(conditions.law, effective, self.wall.relative_roughness)?;
        let head_pa = conditions.fluid.density_kg_m3 * velocity * velocity / 2.0;
        let drop_pa = law.darcy_factor * self.length_m / diameter * head_pa;
        Ok(Point {
            drop_pa,
            slope_pa_s_m3: drop_pa / flow_m3_s * (2.0 + law.slope),
            reynolds_min: reynolds,
            regime: Some(law.regime),
        })
    }
}

impl Turns {
    fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Point {
        let section = self.section;
        let velocity = flow_m3_s / section.area_m2;
        let viscous = self.one * conditions.fluid.kinematic_viscosity_m2_s() / section.hydraulic_diameter_m;
        let half_density = conditions.fluid.density_kg_m3 / 2.0;
        Point {
            drop_pa: half_density * (viscous + self.infinite * velocity) * velocity,
            slope_pa_s_m3: half_density * (viscous + 2.0 * self.infinite * velocity) / section.area_m2,
            reynolds_min: section.reynolds(conditions, flow_m3_s),
            regime: None,
        }
    }
}

impl Quadratic {
    fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Point {
        let per_flow = self.per_m4 * conditions.fluid.density_kg_m3 * flow_m3_s;
        Point { drop_pa: per_flow * flow_m3_s, slope_pa_s_m3: 2.0 * per_flow, ..Point::NONE }
    }
}

/// The elements of one piece, without the change of bore before it.
///
/// # Errors
/// [`OutOfRange`] for a length that is not positive, a tube or blade that does not fit, a wall rougher than the
/// friction law covers; [`HydraulicsError::NoResistance`] for a split with an empty branch.
pub(crate) fn elements(piece: &Piece, into: &mut Vec<Element>) -> Result<(), HydraulicsError> {
    match piece {
        Piece::Bore { diameter, length, roughness } | Piece::Hose { diameter, length, roughness } => {
            into.push(round_channel(*diameter, *length, *roughness)?);
        }
        Piece::Elbow { diameter, make, loss_k } => into.push(elbow(*diameter, *make, *loss_k)?),
        Piece::Coupling { flow_factor } => into.push(by_factor(*flow_factor)?),
        Piece::Restrictor(Restrictor::Measured { flow_factor }) => into.push(by_factor(*flow_factor)?),
        Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => {
            into.push(hole(*diameter, *discharge_coefficient)?);
        }
        Piece::Baffle { diameter, depth, blade } => baffle(*diameter, *depth, *blade, into)?,
        Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => {
            bubbler(*diameter, *depth, *tube_outer, *tube_inner, into)?;
        }
        Piece::Annulus { outer, inner, length } => {
            into.push(ring(*outer, *inner, *length, Length::from_um(DRILLED_ROUGHNESS_UM))?);
        }
        Piece::Split { branches } => into.push(Element::Split(Split::new(branches)?)),
    }
    Ok(())
}

/// The loss between two bores of different width that meet (`borda-carnot`, `crane-tp410`): enlargement
/// `(1 - a)^2`, contraction `0.5 (1 - a)` on the velocity head in the narrower one, `a` the ratio of the smaller
/// to the larger area.
pub(super) fn change_of_bore(before: Length, after: Length) -> Option<Element> {
    let (from, to) = (Section::round(before.m()).area_m2, Section::round(after.m()).area_m2);
    let narrow = from.min(to);
    let ratio = narrow / from.max(to);
    let k = if to > from { (1.0 - ratio) * (1.0 - ratio) } else { CONTRACTION_K * (1.0 - ratio) };
    // Two bores of one nominal size that differ by rounding make no step.
    (k > 1e-9).then(|| {
        Element::Quadratic(Quadratic { origin: Origin::Geometry, per_m4: k / (2.0 * narrow * narrow) })
    })
}

fn length_m(name: &'static str, length: Length) -> Result<f64, OutOfRange> {
    within(name, length.mm(), 1e-3, 1e7, "mm")?;
    Ok(length.m())
}

fn smaller(name: &'static str, inner_m: f64, outer_m: f64) -> Result<f64, OutOfRange> {
    // The gap that is left has to be a gap, not a rounding error.
    within(name, inner_m * 1e3, 0.0, outer_m * 1e3 * 0.9999, "mm")?;
    Ok(inner_m)
}

fn channel(
    section: Section,
    length_m: f64,
    roughness: Length,
    shape_factor: f64,
) -> Result<Element, OutOfRange> {
    let relative_roughness = within(
        "relative_roughness",
        roughness.m() / section.hydraulic_diameter_m,
        0.0,
        // The limit itself is allowed, however the quotient rounds.
        friction::RELATIVE_ROUGHNESS_MAX * (1.0 + 1e-9),
        "(pure number)",
    )?
    .min(friction::RELATIVE_ROUGHNESS_MAX);
    Ok(Element::Channel(Channel { wall: Wall { section, relative_roughness, shape_factor }, length_m }))
}

fn round_channel(diameter: Length, length: Length, roughness: Length) -> Result<Element, OutOfRange> {
    let section = Section::round(length_m("diameter_mm", diameter)?);
    channel(section, length_m("length_mm", length)?, roughness, 1.0)
}

const fn turns(section: Section, number: LossNumber) -> Element {
    Element::Turns(Turns { section, one: number.one, infinite: number.infinite })
}

/// A loss number that the user gives stands as it is, at any Reynolds number; the table's has a laminar share.
fn elbow(diameter: Length, make: ElbowMake, loss_k: Option<f64>) -> Result<Element, OutOfRange> {
    let section = Section::round(length_m("diameter_mm", diameter)?);
    let number = match (loss_k, make) {
        (Some(k), _) => {
            let infinite = within("loss_k", k, 0.0, 1e4, "(pure number)")?;
            LossNumber { one: 0.0, infinite, ..DRILLED_ELBOW }
        }
        (None, ElbowMake::Drilled) => DRILLED_ELBOW,
        (None, ElbowMake::Bent) => BENT_ELBOW,
    };
    Ok(turns(section, number))
}

/// Drop over density and flow squared of a flow factor: 1 bar at the reference density and the flow it names.
pub(super) fn factor_per_m4(flow_factor_m3_h: f64) -> f64 {
    let flow_m3_s = flow_factor_m3_h / 3600.0;
    1e5 / (FLOW_FACTOR_DENSITY_KG_M3 * flow_m3_s * flow_m3_s)
}

fn by_factor(flow_factor: FlowFactor) -> Result<Element, OutOfRange> {
    let factor = within("flow_factor_m3_h", flow_factor.m3_h(), 1e-9, 1e9, "m3/h")?;
    Ok(Element::Quadratic(Quadratic { origin: Origin::Factor, per_m4: factor_per_m4(factor) }))
}

/// A hole in a wall: flow = coefficient x area x sqrt(2 drop / density). The water arrives slowly and none of the
/// jet's pressure comes back, so the drop is the lasting one of a hole much narrower than the bore.
fn hole(diameter: Length, discharge_coefficient: f64) -> Result<Element, OutOfRange> {
    let area = Section::round(length_m("diameter_mm", diameter)?).area_m2;
    let coefficient = within("discharge_coefficient", discharge_coefficient, 0.05, 1.0, "(pure number)")?;
    let jet = coefficient * area;
    Ok(Element::Quadratic(Quadratic { origin: Origin::Geometry, per_m4: 1.0 / (2.0 * jet * jet) }))
}

/// Up one half-round side, over the tip, down the other; a right-angle turn at each foot. All loss numbers are on
/// the velocity beside the blade.
fn baffle(diameter: Length, depth: Length, blade: Length, into: &mut Vec<Element>) -> Result<(), OutOfRange> {
    let hole_m = length_m("diameter_mm", diameter)?;
    let section = Section::beside_blade(hole_m, smaller("blade_mm", blade.m(), hole_m)?);
    let both_ways = 2.0 * length_m("depth_mm", depth)?;
    let roughness = Length::from_um(DRILLED_ROUGHNESS_UM);
    into.push(channel(section, both_ways, roughness, 64.0 / HALF_ROUND_LAMINAR)?);
    into.push(turns(section, TIP_TURN));
    into.push(turns(section, DRILLED_ELBOW));
    into.push(turns(section, DRILLED_ELBOW));
    Ok(())
}

/// A turn with a sharp entry into the tube, up the tube, over its tip, back in the ring gap, a turn at the foot.
/// The tip turn counts on the faster of the two velocities, the turns at the foot on the one beside them.
fn bubbler(
    diameter: Length,
    depth: Length,
    tube_outer: Length,
    tube_inner: Length,
    into: &mut Vec<Element>,
) -> Result<(), OutOfRange> {
    let hole_m = length_m("diameter_mm", diameter)?;
    let outer_m = smaller("tube_outer_mm", tube_outer.m(), hole_m)?;
    smaller("tube_inner_mm", tube_inner.m(), outer_m)?;
    let tube = Section::round(length_m("tube_inner_mm", tube_inner)?);
    let gap = Section::ring(hole_m, outer_m);
    into.push(round_channel(tube_inner, depth, Length::from_um(DRAWN_TUBE_ROUGHNESS_UM))?);
    into.push(ring(diameter, tube_outer, depth, Length::from_um(DRILLED_ROUGHNESS_UM))?);
    let entry = LossNumber { infinite: DRILLED_ELBOW.infinite + CONTRACTION_K, ..DRILLED_ELBOW };
    into.push(turns(tube, entry));
    into.push(turns(if tube.area_m2 < gap.area_m2 { tube } else { gap }, TIP_TURN));
    into.push(turns(gap, DRILLED_ELBOW));
    Ok(())
}

fn ring(outer: Length, inner: Length, length: Length, roughness: Length) -> Result<Element, OutOfRange> {
    let outer_m = length_m("outer_mm", outer)?;
    let inner_m = smaller("inner_mm", inner.m(), outer_m)?;
    let section = Section::ring(outer_m, inner_m);
    channel(section, length_m("length_mm", length)?, roughness, 64.0 / ring_laminar(inner_m / outer_m))
}

/// Darcy friction factor times Reynolds number of laminar flow in a ring gap, on the hydraulic diameter: 64 for
/// a thread-thin core, 96 for a narrow slit (exact solution, `shah-london-1978`).
pub(super) fn ring_laminar(ratio: f64) -> f64 {
    let gap = 1.0 - ratio;
    // The closed form loses its digits in a narrow slit; its series does not.
    if gap < 1e-3 {
        return 96.0 * (1.0 - gap * gap / 60.0);
    }
    64.0 * gap * gap / (1.0 + ratio * ratio + (1.0 - ratio * ratio) / math::ln(ratio))
}

/// Checks that a number that may have any size is one.
pub(super) fn finite(name: &'static str, value: f64, unit: &'static str) -> Result<f64, OutOfRange> {
    within(name, value, -1e12, 1e12, unit)
}
