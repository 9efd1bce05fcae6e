//! A way through pieces, prepared once for many evaluations.

use super::circuit::{Conditions, HydraulicsError};
use super::friction::{RELATIVE_ROUGHNESS_MAX, Regime};
use super::losses::{self, Element, Origin, Point, Turns};
use super::piece::Piece;
use crate::numeric::math;
use crate::quantity::{Length, PressureDrop, VolumeFlow};

/// Most steps of the solver; from any start fewer than 20 are needed.
const STEPS: u32 = 200;
/// Most steps that parallel branches take together; most need 4 to 6.
const TOGETHER: u32 = 25;
/// Largest change of the unknown in one step, as a factor.
const STRIDE: f64 = 1e4;
/// Relative miss at which one more Newton step lands on machine precision.
const CLOSE: f64 = 1e-7;

/// Pieces in a row with their equal parts merged.
///
/// Merging makes a run of forty equal passes as cheap as one. Bores of different width that meet lose what a
/// sudden change of bore loses, in the direction in which the pieces are listed; elbows take part with their bore,
/// all other pieces bring the losses of their own ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    elements: Vec<Element>,
}

/// How a solution was reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Effort {
    /// Evaluations of the path's drop.
    pub steps: u32,
    /// Steps that were cut short because they left the known bracket or were too long.
    pub clipped: u32,
}

impl Path {
    /// Prepares pieces.
    ///
    /// # Errors
    /// [`HydraulicsError::OutOfRange`] for geometry that cannot be, [`HydraulicsError::NoResistance`] for a
    /// branch of a split without any piece.
    pub fn new(pieces: &[Piece]) -> Result<Self, HydraulicsError> {
        let mut path = Self { elements: Vec::with_capacity(6) };
        let mut scratch = Vec::with_capacity(5);
        let mut bore = None;
        for piece in pieces {
            if let Some(change) = step_before(piece, &mut bore) {
                path.add(change);
            }
            losses::elements(piece, &mut scratch)?;
            scratch.drain(..).for_each(|element| path.add(element));
        }
        Ok(path)
    }

    fn add(&mut self, element: Element) {
        if !self.elements.iter_mut().any(|earlier| element.merged_into(earlier)) {
            self.elements.push(element);
        }
    }

    /// Drop and slope at a flow that is not negative.
    pub(super) fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<Point, HydraulicsError> {
        let mut sum = Point::NONE;
        for element in &self.elements {
            sum = sum.then(element.at(conditions, flow_m3_s)?);
        }
        Ok(sum)
    }

    /// Share of the drop that is lost in channels between laminar and turbulent flow.
    pub(crate) fn transition_share(
        &self,
        conditions: &Conditions,
        flow_m3_s: f64,
    ) -> Result<f64, HydraulicsError> {
        let (mut doubtful, mut total) = (0.0, 0.0);
        for element in &self.elements {
            let point = element.at(conditions, flow_m3_s)?;
            total += point.drop_pa;
            if point.regime == Some(Regime::Transition) {
                doubtful += point.drop_pa;
            }
        }
        Ok(if total > 0.0 { doubtful / total } else { 0.0 })
    }

    /// The flow at which the path loses this pressure, and how it was found.
    ///
    /// The drop rises with flow, so the root is unique; Newton's method in logarithms, kept inside the bracket
    /// that the signs show. The drop is met to 1e-12. Zero drop means zero flow, a negative drop the negative flow.
    ///
    /// # Errors
    /// [`HydraulicsError::NoResistance`] for a path that loses nothing, [`HydraulicsError::OutOfRange`] where the
    /// drop needs a flow beyond the friction law.
    pub fn flow(
        &self,
        conditions: &Conditions,
        drop: PressureDrop,
    ) -> Result<(VolumeFlow, Effort), HydraulicsError> {
        let target = losses::finite("pressure_drop_bar", drop.bar(), "bar")?.abs() * 1e5;
        let start = self.first_guess_m3_s(conditions, target);
        let (flow, effort) = self.flow_from(conditions, target, start)?;
        Ok((VolumeFlow::from_m3_s(flow.copysign(drop.pa())), effort))
    }

    fn first_guess_m3_s(&self, conditions: &Conditions, drop_pa: f64) -> f64 {
        let per_m4 = self.guess_per_m4() * conditions.fluid.density_kg_m3;
        if per_m4 > 0.0 { (drop_pa / per_m4).sqrt() } else { 1e-4 }
    }

    fn guess_per_m4(&self) -> f64 {
        self.elements.iter().map(Element::guess_per_m4).sum()
    }

    fn flow_from(
        &self,
        conditions: &Conditions,
        drop_pa: f64,
        start_m3_s: f64,
    ) -> Result<(f64, Effort), HydraulicsError> {
        if self.elements.is_empty() {
            return Err(HydraulicsError::NoResistance);
        }
        solve_rising(drop_pa, start_m3_s, |flow| {
            let point = self.at(conditions, flow)?;
            Ok((point.drop_pa, point.slope_pa_s_m3))
        })
    }
}

/// The change of bore in front of a piece, and the bore that the next piece will meet.
pub(crate) fn step_before(piece: &Piece, bore: &mut Option<Length>) -> Option<Element> {
    let here = match piece {
        Piece::Bore { diameter, .. } | Piece::Elbow { diameter, .. } => Some(*diameter),
        _ => None,
    };
    let change = bore.zip(here).and_then(|(before, after)| losses::change_of_bore(before, after));
    *bore = here;
    change
}

/// Parallel branches that join again; equal branches and equal splits in a row are counted, not repeated.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Split {
    pub branches: Vec<(Path, f64)>,
    pub times: f64,
}

impl Split {
    pub fn new(branches: &[Vec<Piece>]) -> Result<Self, HydraulicsError> {
        let mut counted: Vec<(Path, f64)> = Vec::with_capacity(branches.len());
        for pieces in branches {
            let path = Path::new(pieces)?;
            if path.elements.is_empty() {
                return Err(HydraulicsError::NoResistance);
            }
            match counted.iter_mut().find(|(known, _)| *known == path) {
                Some((_, count)) => *count += 1.0,
                None => counted.push((path, 1.0)),
            }
        }
        if counted.is_empty() {
            Err(HydraulicsError::NoResistance)
        } else {
            Ok(Self { branches: counted, times: 1.0 })
        }
    }

    pub(super) fn at(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<Point, HydraulicsError> {
        let flows = self.flows_m3_s(conditions, flow_m3_s)?;
        let mut all = Point::NONE;
        let mut per_slope = 0.0;
        for ((path, count), flow) in self.branches.iter().zip(flows) {
            let branch = path.at(conditions, flow)?;
            per_slope += count / branch.slope_pa_s_m3;
            all = Point {
                drop_pa: branch.drop_pa,
                reynolds_min: all.reynolds_min.min(branch.reynolds_min),
                regime: losses::more_doubtful(all.regime, branch.regime),
                ..all
            };
        }
        Ok(Point { slope_pa_s_m3: 1.0 / per_slope, ..all }.times(self.times))
    }

    /// The flow in one of each kind of branch: all lose the same pressure, together they carry the flow.
    ///
    /// All branches step together, each along its tangent (the global gradient of one loop, `todini-pilati-1988`);
    /// where that does not settle, drop by drop inside brackets, which always does.
    fn flows_m3_s(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<Vec<f64>, HydraulicsError> {
        if flow_m3_s <= 0.0 {
            return Ok(vec![0.0; self.branches.len()]);
        }
        match self.flows_together(conditions, flow_m3_s)? {
            Some(flows) => Ok(flows),
            None => self.flows_in_brackets(conditions, flow_m3_s),
        }
    }

    fn flows_together(
        &self,
        conditions: &Conditions,
        flow_m3_s: f64,
    ) -> Result<Option<Vec<f64>>, HydraulicsError> {
        let share = |path: &Path| 1.0 / path.guess_per_m4().max(f64::MIN_POSITIVE).sqrt();
        let shares: f64 = self.branches.iter().map(|(path, count)| count * share(path)).sum();
        let mut flows: Vec<f64> =
            self.branches.iter().map(|(path, _)| flow_m3_s * share(path) / shares).collect();
        let mut tangents = vec![(0.0, 0.0); flows.len()];
        for _ in 0..TOGETHER {
            let (mut offset, mut conductance) = (0.0, 0.0);
            for (((path, count), flow), tangent) in self.branches.iter().zip(&flows).zip(&mut tangents) {
                let point = path.at(conditions, *flow)?;
                *tangent = (point.drop_pa, 1.0 / point.slope_pa_s_m3);
                offset += count * (flow - point.drop_pa / point.slope_pa_s_m3);
                conductance += count / point.slope_pa_s_m3;
            }
            let drop_pa = (flow_m3_s - offset) / conductance;
            let mut worst = 0.0_f64;
            for (flow, (lost_pa, conductance)) in flows.iter_mut().zip(&tangents) {
                worst = worst.max((lost_pa / drop_pa - 1.0).abs());
                *flow += (drop_pa - lost_pa) * conductance;
            }
            if !flows.iter().all(|flow| *flow > 0.0 && flow.is_finite()) {
                return Ok(None);
            }
            if worst < CLOSE {
                return Ok(Some(flows));
            }
        }
        Ok(None)
    }

    fn flows_in_brackets(
        &self,
        conditions: &Conditions,
        flow_m3_s: f64,
    ) -> Result<Vec<f64>, HydraulicsError> {
        let guess = self.guess_per_m4() / self.times * conditions.fluid.density_kg_m3 * flow_m3_s * flow_m3_s;
        let guess = guess.max(f64::MIN_POSITIVE);
        let mut flows: Vec<f64> =
            self.branches.iter().map(|(path, _)| path.first_guess_m3_s(conditions, guess)).collect();
        let (drop_pa, _) = solve_rising(flow_m3_s, guess, |drop_pa| {
            let (mut sum, mut slope) = (0.0, 0.0);
            for ((path, count), flow) in self.branches.iter().zip(&mut flows) {
                // The flow at the last trial drop is close to that at this one.
                (*flow, _) = path.flow_from(conditions, drop_pa, *flow)?;
                sum += count * *flow;
                slope += count / path.at(conditions, *flow)?.slope_pa_s_m3;
            }
            Ok((sum, slope))
        })?;
        for ((path, _), flow) in self.branches.iter().zip(&mut flows) {
            (*flow, _) = path.flow_from(conditions, drop_pa, *flow)?;
        }
        Ok(flows)
    }

    pub fn guess_per_m4(&self) -> f64 {
        let conductance: f64 =
            self.branches.iter().map(|(path, count)| count / path.guess_per_m4().sqrt()).sum();
        if conductance.is_finite() { self.times / (conductance * conductance) } else { 0.0 }
    }
}

/// Where a rising function with a positive argument reaches a target, in logarithms.
fn solve_rising(
    target: f64,
    start: f64,
    mut f: impl FnMut(f64) -> Result<(f64, f64), HydraulicsError>,
) -> Result<(f64, Effort), HydraulicsError> {
    let mut effort = Effort::default();
    if target <= 0.0 {
        return Ok((0.0, effort));
    }
    let (mut low, mut high) = (0.0, f64::INFINITY);
    let mut x = start;
    while effort.steps < STEPS {
        effort.steps += 1;
        let (value, slope) = f(x)?;
        let ratio = target / value;
        // Newton in logarithms: the local exponent is d ln value / d ln x.
        let next = x * math::powf(ratio, value / (slope * x));
        if (ratio - 1.0).abs() < CLOSE {
            return Ok((next, effort));
        }
        if value < target {
            low = x
        } else {
            high = x
        }
        let (least, most) = (low.max(x / STRIDE), high.min(x * STRIDE));
        x = if next > least && next < most {
            next
        } else {
            effort.clipped += 1;
            // Inside a bracket halve it; without one go as far as the stride.
            if low > 0.0 && high.is_finite() {
                (low * high).sqrt()
            } else if value < target {
                most
            } else {
                least
            }
        };
    }
    Err(HydraulicsError::NotFound { steps: effort.steps, clipped: effort.clipped })
}

/// By how much the losses of a path differ from what its pieces say, as factors above zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LossScale {
    /// On the loss numbers of turns at large Reynolds numbers; their laminar share stays.
    pub turns: f64,
    /// On given flow factors: couplings and measured restrictors.
    pub flow_factors: f64,
    /// On the roughness of all walls, up to the limit of the friction law.
    pub roughness: f64,
}

impl Path {
    /// The same path with other turns, flow factors and roughness; branches of splits included.
    #[must_use]
    pub fn scaled(&self, scale: LossScale) -> Self {
        Self { elements: self.elements.iter().map(|element| scale_element(element, scale)).collect() }
    }
}

fn scale_element(element: &Element, scale: LossScale) -> Element {
    let mut element = element.clone();
    match &mut element {
        Element::Channel(channel) => {
            let rougher = channel.wall.relative_roughness * scale.roughness;
            channel.wall.relative_roughness = rougher.min(RELATIVE_ROUGHNESS_MAX);
        }
        Element::Turns(Turns { infinite, .. }) => *infinite *= scale.turns,
        Element::Quadratic(quadratic) if quadratic.origin == Origin::Factor => {
            quadratic.per_m4 /= scale.flow_factors * scale.flow_factors;
        }
        Element::Quadratic(_) => {}
        Element::Split(split) => {
            for (path, _) in &mut split.branches {
                *path = path.scaled(scale);
            }
        }
    }
    element
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hydraulics::circuit::reference_conditions;
    use crate::hydraulics::tests::{bore, coupling, elbow, hose, split_in_split};
    use crate::numeric::math;

    #[test]
    fn both_ways_to_share_a_flow_agree() {
        let thin = vec![bore(3.0, 800.0, 10.0), elbow(3.0, None)];
        let wide = vec![hose(19.0, 300.0), coupling(4.0)];
        let Piece::Split { branches } = split_in_split() else { panic!("no split") };
        for split in [Split::new(&branches).unwrap(), Split::new(&[thin, wide]).unwrap()] {
            let mut settled = 0;
            for step in 0..300 {
                let flow = 1e-8 * math::exp(f64::from(step) * 0.05);
                let sure = split.flows_in_brackets(&reference_conditions(), flow).unwrap();
                let sum: f64 = sure.iter().zip(&split.branches).map(|(flow, (_, count))| flow * count).sum();
                assert!((sum / flow - 1.0).abs() < 1e-10);
                let Some(fast) = split.flows_together(&reference_conditions(), flow).unwrap() else {
                    continue;
                };
                settled += 1;
                for (sure, fast) in sure.iter().zip(&fast) {
                    assert!((sure / fast - 1.0).abs() < 1e-9, "{flow}: {sure} {fast}");
                }
            }
            assert!(settled > 270, "{settled} of 300");
        }
    }
}
