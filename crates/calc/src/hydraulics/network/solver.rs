//! Newton's method on heads and flows of a network.

use super::system::System;
use super::{LinkState, NetworkError, Node, NodeState, Solution};
use crate::hydraulics::circuit::Conditions;
use crate::hydraulics::path::Path;
use crate::quantity::{GaugePressure, PressureDrop, VolumeFlow};

/// Most Newton steps; grids of a thousand links need about ten.
const STEPS_MOST: u32 = 120;
/// Sum of changes over sum of flows at which the flows stand still.
const STILL: f64 = 1e-10;
/// Largest miss of a link's drop that is accepted, as a share of the largest drop.
const MISS: f64 = 1e-8;
/// Flow below which a slope is not trusted: a square law is flat at zero, and Newton would divide by nothing.
const FAINT_M3_S: f64 = 1e-10;
/// Drop with which the first guess of a flow is made.
const GUESS_PA: f64 = 2e4;

/// A link as the solver sees it.
pub(super) struct Strand<'a> {
    pub id: &'a str,
    pub ends: (usize, usize),
    pub path: Path,
}

impl Strand<'_> {
    fn drop(&self, conditions: &Conditions, flow_m3_s: f64) -> Result<(f64, f64, f64), NetworkError> {
        let found = self
            .path
            .drop(conditions, VolumeFlow::from_m3_s(flow_m3_s))
            .map_err(|source| NetworkError::Link { link: self.id.to_owned(), source })?;
        Ok((found.drop.pa(), found.slope_pa_s_m3, found.reynolds_min))
    }
}

/// Heads, flows and losses between two steps.
pub(super) struct State<'a> {
    conditions: &'a Conditions,
    strands: &'a [Strand<'a>],
    demands: Vec<f64>,
    system: System,
    heads: Vec<f64>,
    flows: Vec<f64>,
    /// Drop, slope and Reynolds number of each link.
    losses: Vec<(f64, f64, f64)>,
    /// Slope of each link at a faint flow: the least slope that is trusted.
    least_slopes: Vec<f64>,
    steps: u32,
    clipped: u32,
}

impl<'a> State<'a> {
    pub fn new(
        conditions: &'a Conditions,
        strands: &'a [Strand<'a>],
        unknown: &[bool],
        heads: Vec<f64>,
        demands: Vec<f64>,
    ) -> Result<Self, NetworkError> {
        let ends: Vec<(usize, usize)> = strands.iter().map(|strand| strand.ends).collect();
        let mut flows = Vec::with_capacity(strands.len());
        let mut least_slopes = Vec::with_capacity(strands.len());
        for strand in strands {
            let guess = strand.path.flow(conditions, PressureDrop::from_pa(GUESS_PA));
            let guess = guess.map_err(|source| NetworkError::Link { link: strand.id.to_owned(), source })?;
            flows.push(guess.0.m3_s());
            least_slopes.push(strand.drop(conditions, FAINT_M3_S)?.1);
        }
        let system = System::new(unknown, &ends);
        let mut state = Self {
            conditions,
            strands,
            demands,
            system,
            heads,
            losses: Vec::new(),
            flows,
            least_slopes,
            steps: 0,
            clipped: 0,
        };
        state.losses = state.losses_at(&state.flows)?;
        Ok(state)
    }

    fn losses_at(&self, flows: &[f64]) -> Result<Vec<(f64, f64, f64)>, NetworkError> {
        self.strands.iter().zip(flows).map(|(strand, flow)| strand.drop(self.conditions, *flow)).collect()
    }

    /// Newton steps until flows stand still and every link's drop is met.
    pub fn settle(&mut self) -> Result<(), NetworkError> {
        loop {
            let step = self.step()?;
            self.steps += 1;
            let moved = self.advance(&step, self.steps > 1)?;
            let through: f64 = self.flows.iter().map(|flow| flow.abs()).sum();
            let still = moved <= STILL * through + FAINT_M3_S * STILL;
            let (worst, miss_pa) = self.worst_miss();
            let largest = self.losses.iter().map(|loss| loss.0.abs()).fold(0.0, f64::max);
            if still && miss_pa <= MISS * largest + 1e-6 {
                return Ok(());
            }
            if self.steps >= STEPS_MOST {
                let link = self.strands.get(worst).map_or_else(String::new, |strand| strand.id.to_owned());
                return Err(NetworkError::NotSettled { steps: self.steps, link, miss_pa });
            }
        }
    }

    fn slope(&self, link: usize) -> f64 {
        self.losses[link].1.max(self.least_slopes[link])
    }

    /// Solves for the heads of one step and gives the change of each link's flow.
    fn step(&mut self) -> Result<Vec<f64>, NetworkError> {
        let conductances: Vec<f64> = (0..self.strands.len()).map(|link| 1.0 / self.slope(link)).collect();
        let mut right = vec![0.0; self.demands.len()];
        for (node, demand) in self.demands.iter().enumerate() {
            right[node] -= demand;
        }
        for (link, strand) in self.strands.iter().enumerate() {
            let (from, to) = strand.ends;
            // What would flow without any difference of head.
            let idle = self.flows[link] - conductances[link] * self.losses[link].0;
            right[from] -= idle;
            right[to] += idle;
            for (here, there) in [(from, to), (to, from)] {
                if self.system.row(there).is_none() {
                    right[here] += conductances[link] * self.heads[there];
                }
            }
        }
        let mut rows = vec![0.0; (0..right.len()).filter(|node| self.system.row(*node).is_some()).count()];
        for (node, value) in right.iter().enumerate() {
            if let Some(row) = self.system.row(node) {
                rows[row] = *value;
            }
        }
        let Some(found) = self.system.solve(&conductances, &rows) else {
            let (worst, miss_pa) = self.worst_miss();
            let link = self.strands.get(worst).map_or_else(String::new, |strand| strand.id.to_owned());
            return Err(NetworkError::NotSettled { steps: self.steps, link, miss_pa });
        };
        for node in 0..self.heads.len() {
            if let Some(row) = self.system.row(node) {
                self.heads[node] = found[row];
            }
        }
        let change = |link: usize| conductances[link] * (self.difference(link) - self.losses[link].0);
        Ok((0..self.strands.len()).map(change).collect())
    }

    /// Difference of head that drives a link.
    fn difference(&self, link: usize) -> f64 {
        let (from, to) = self.strands[link].ends;
        self.heads[from] - self.heads[to]
    }

    /// Sum over links of miss times change: the slope of the network's energy along the step.
    fn energy_slope(&self, losses: &[(f64, f64, f64)], change: &[f64]) -> f64 {
        change
            .iter()
            .zip(losses)
            .enumerate()
            .map(|(link, (change, loss))| change * (loss.0 - self.difference(link)))
            .sum()
    }

    /// Goes along a step, less far if the energy balance is overshot; gives the sum of changes of flow.
    fn advance(&mut self, change: &[f64], balanced: bool) -> Result<f64, NetworkError> {
        let mut share = 1.0;
        let before = self.energy_slope(&self.losses, change);
        loop {
            let flows: Vec<f64> =
                self.flows.iter().zip(change).map(|(flow, change)| flow + share * change).collect();
            let losses = self.losses_at(&flows);
            // The first step only brings the guesses into balance; afterwards the energy falls along each step.
            let fits = losses
                .as_ref()
                .is_ok_and(|losses| !balanced || self.energy_slope(losses, change) <= 0.5 * before.abs());
            if fits || share < 1e-6 {
                self.losses = losses?;
                self.flows = flows;
                return Ok(change.iter().map(|change| (share * change).abs()).sum());
            }
            if share >= 1.0 {
                self.clipped += 1;
            }
            share *= 0.5;
        }
    }

    fn worst_miss(&self) -> (usize, f64) {
        let miss = |link: usize| (link, (self.losses[link].0 - self.difference(link)).abs());
        (0..self.strands.len()).map(miss).fold((0, 0.0), |a, b| if b.1 > a.1 { b } else { a })
    }

    pub fn solution(&self, nodes: &[Node], head_per_m: f64) -> Solution {
        let mut outflows = vec![0.0; nodes.len()];
        for (strand, flow) in self.strands.iter().zip(&self.flows) {
            outflows[strand.ends.0] -= flow;
            outflows[strand.ends.1] += flow;
        }
        let through = outflows.iter().map(|flow| flow.abs()).sum::<f64>() / 2.0;
        let through = through.max(self.flows.iter().map(|flow| flow.abs()).fold(0.0, f64::max));
        let imbalance = (0..nodes.len())
            .filter(|node| self.system.row(*node).is_some())
            .map(|node| (outflows[node] - self.demands[node]).abs())
            .fold(0.0, f64::max);
        Solution {
            nodes: nodes
                .iter()
                .enumerate()
                .map(|(place, node)| NodeState {
                    id: node.id.clone(),
                    pressure: GaugePressure::from_pa(self.heads[place] - head_per_m * node.elevation.m()),
                    outflow: VolumeFlow::from_m3_s(outflows[place]),
                })
                .collect(),
            links: self
                .strands
                .iter()
                .zip(self.flows.iter().zip(&self.losses))
                .map(|(strand, (flow, loss))| LinkState {
                    id: strand.id.to_owned(),
                    flow: VolumeFlow::from_m3_s(*flow),
                    drop: PressureDrop::from_pa(loss.0),
                    reynolds_min: loss.2,
                })
                .collect(),
            steps: self.steps,
            clipped: self.clipped,
            continuity_error: if through > 0.0 { imbalance / through } else { 0.0 },
        }
    }
}
