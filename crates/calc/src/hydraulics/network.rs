//! Steady flow in a network of links between nodes.

mod system;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use super::circuit::{Conditions, HydraulicsError};
use super::path::Path;
use super::piece::Piece;
use crate::quantity::{GaugePressure, Length, PressureDrop, VolumeFlow};
use system::System;

/// Standard acceleration of free fall, m/s2 (source key `si-brochure`).
pub const GRAVITY_M_S2: f64 = 9.806_65;
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

/// What is known at a node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NodeKind {
    /// The pressure is held.
    Fixed(GaugePressure),
    /// This flow is taken out (negative: fed in); zero for a plain junction.
    Demand(VolumeFlow),
}

/// A point at which links meet.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Name, unique among nodes.
    pub id: String,
    /// What is known.
    pub kind: NodeKind,
    /// Height above a common level.
    pub elevation: Length,
}

/// Pieces in a row from one node to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    /// Name, unique among links.
    pub id: String,
    /// Node at which the pieces begin.
    pub from: String,
    /// Node at which they end.
    pub to: String,
    /// Pieces in order from `from` to `to`.
    pub pieces: Vec<Piece>,
}

/// A node of the solved network.
#[derive(Clone, Debug, PartialEq)]
pub struct NodeState {
    /// Name.
    pub id: String,
    /// Pressure at the node's own height.
    pub pressure: GaugePressure,
    /// Flow out of the network here (negative: into it).
    pub outflow: VolumeFlow,
}

/// A link of the solved network.
#[derive(Clone, Debug, PartialEq)]
pub struct LinkState {
    /// Name.
    pub id: String,
    /// Flow, positive from `from` to `to`.
    pub flow: VolumeFlow,
    /// Loss in that direction, height not counted.
    pub drop: PressureDrop,
    /// Smallest Reynolds number on the way; infinite where no piece has one.
    pub reynolds_min: f64,
}

/// A solved network.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Nodes in the order given.
    pub nodes: Vec<NodeState>,
    /// Links in the order given.
    pub links: Vec<LinkState>,
    /// Newton steps taken.
    pub steps: u32,
    /// Steps that had to be cut short.
    pub clipped: u32,
    /// Largest imbalance at a node, as a share of the flow through the network.
    pub continuity_error: f64,
}

/// Why a network has no solution.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NetworkError {
    /// Two nodes or two links have one name.
    #[error("{what} '{id}' is there twice: give each its own name")]
    Twice {
        /// `node` or `link`.
        what: &'static str,
        /// The name.
        id: String,
    },
    /// A link names a node that is not there.
    #[error("link '{link}' ends at node '{node}', which is not there: add the node or correct the name")]
    UnknownNode {
        /// The link.
        link: String,
        /// The name it uses.
        node: String,
    },
    /// A link leads back to its own node.
    #[error("link '{link}' begins and ends at node '{node}': nothing would flow in it; name two nodes")]
    SelfLoop {
        /// The link.
        link: String,
        /// The node.
        node: String,
    },
    /// A part of the network has no node with a held pressure.
    #[error(
        "no held pressure is connected with node '{node}': give it or one of its neighbours a pressure, or link it"
    )]
    NoFixedPressure {
        /// A node of that part.
        node: String,
    },
    /// A number is missing or endless.
    #[error("{quantity} of node '{node}' is not a finite number")]
    NotFinite {
        /// Which number.
        quantity: &'static str,
        /// The node.
        node: String,
    },
    /// The pieces of a link have no drop that can be computed.
    #[error("link '{link}': {source}")]
    Link {
        /// The link.
        link: String,
        /// What is wrong.
        source: HydraulicsError,
    },
    /// The list of open circuits does not fit the circuits.
    #[error("{open} marks of open or closed for {circuits} circuits: give one each")]
    OpenMarks {
        /// Marks.
        open: usize,
        /// Circuits.
        circuits: usize,
    },
    /// The steps did not settle.
    #[error(
        "no steady flow found in {steps} steps, the drop of link '{link}' still misses by {miss_pa:.3} Pa; check its pieces"
    )]
    NotSettled {
        /// Steps taken.
        steps: u32,
        /// The worst link.
        link: String,
        /// Its miss.
        miss_pa: f64,
    },
}

/// A link as the solver sees it.
struct Strand<'a> {
    id: &'a str,
    ends: (usize, usize),
    path: Path,
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

/// Steady flow and pressure everywhere in a network.
///
/// Global gradient method (Todini and Pilati 1988; source key `todini-pilati-1988`): Newton's method on heads and
/// flows together, each step one sparse symmetric system; steps that overshoot the energy balance are cut short.
/// Heights count as `rho g z`.
///
/// # Arguments
/// Pressures are gauge pressures at the node's own height; a demand is taken out of the network.
///
/// # Range
/// That of the friction law and of each piece. Flow is steady, the coolant equally warm everywhere; nodes lose
/// nothing themselves: the losses of tees and manifolds are pieces.
///
/// # Errors
/// [`NetworkError`] naming the node or link.
pub fn solve(nodes: &[Node], links: &[Link], conditions: &Conditions) -> Result<Solution, NetworkError> {
    let strands = strands(nodes, links)?;
    connected(nodes, &strands)?;
    let head_per_m = conditions.fluid.density_kg_m3 * GRAVITY_M_S2;
    let mut heads = Vec::with_capacity(nodes.len());
    let mut demands = Vec::with_capacity(nodes.len());
    for node in nodes {
        let (pressure_pa, demand) = match node.kind {
            NodeKind::Fixed(pressure) => (pressure.pa(), 0.0),
            NodeKind::Demand(flow) => (0.0, flow.m3_s()),
        };
        let finite = |quantity, value: f64| {
            let fault = || NetworkError::NotFinite { quantity, node: node.id.clone() };
            value.is_finite().then_some(value).ok_or_else(fault)
        };
        let head = finite("pressure", pressure_pa)? + head_per_m * finite("elevation", node.elevation.m())?;
        heads.push(head);
        demands.push(finite("demand", demand)?);
    }
    let unknown: Vec<bool> = nodes.iter().map(|node| matches!(node.kind, NodeKind::Demand(_))).collect();
    let mut state = State::new(conditions, &strands, &unknown, heads, demands)?;
    state.settle()?;
    Ok(state.solution(nodes, head_per_m))
}

fn strands<'a>(nodes: &[Node], links: &'a [Link]) -> Result<Vec<Strand<'a>>, NetworkError> {
    let mut places = BTreeMap::new();
    for (place, node) in nodes.iter().enumerate() {
        if places.insert(node.id.as_str(), place).is_some() {
            return Err(NetworkError::Twice { what: "node", id: node.id.clone() });
        }
    }
    let mut names = BTreeSet::new();
    links
        .iter()
        .map(|link| {
            if !names.insert(link.id.as_str()) {
                return Err(NetworkError::Twice { what: "link", id: link.id.clone() });
            }
            let end = |node: &String| {
                let unknown = || NetworkError::UnknownNode { link: link.id.clone(), node: node.clone() };
                places.get(node.as_str()).copied().ok_or_else(unknown)
            };
            let ends = (end(&link.from)?, end(&link.to)?);
            if ends.0 == ends.1 {
                return Err(NetworkError::SelfLoop { link: link.id.clone(), node: link.from.clone() });
            }
            let fault = |source| NetworkError::Link { link: link.id.clone(), source };
            if link.pieces.is_empty() {
                return Err(fault(HydraulicsError::NoResistance));
            }
            Ok(Strand { id: &link.id, ends, path: Path::new(&link.pieces).map_err(fault)? })
        })
        .collect()
}

/// Checks that each node hangs together with one whose pressure is held.
fn connected(nodes: &[Node], strands: &[Strand<'_>]) -> Result<(), NetworkError> {
    let mut neighbours = vec![Vec::new(); nodes.len()];
    for Strand { ends: (from, to), .. } in strands {
        neighbours[*from].push(*to);
        neighbours[*to].push(*from);
    }
    let fixed = |place: &usize| matches!(nodes[*place].kind, NodeKind::Fixed(_));
    let mut queue: Vec<usize> = (0..nodes.len()).filter(fixed).collect();
    let mut reached = vec![false; nodes.len()];
    for place in &queue {
        reached[*place] = true;
    }
    while let Some(place) = queue.pop() {
        for next in &neighbours[place] {
            if !reached[*next] {
                reached[*next] = true;
                queue.push(*next);
            }
        }
    }
    match nodes.iter().zip(reached).find(|(_, reached)| !reached) {
        Some((node, _)) => Err(NetworkError::NoFixedPressure { node: node.id.clone() }),
        None => Ok(()),
    }
}

/// Heads, flows and losses between two steps.
struct State<'a> {
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
    fn new(
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
    fn settle(&mut self) -> Result<(), NetworkError> {
        loop {
            let step = self.step()?;
            self.steps += 1;
            let moved = self.advance(&step, self.steps > 1)?;
            let through: f64 = self.flows.iter().map(|flow| flow.abs()).sum();
            let still =
                moved <= STILL * through + f64::from(u32::try_from(self.flows.len()).unwrap_or(1)) * 1e-18;
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
        for _ in 0..30 {
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
        Ok(0.0)
    }

    fn worst_miss(&self) -> (usize, f64) {
        let miss = |link: usize| (link, (self.losses[link].0 - self.difference(link)).abs());
        (0..self.strands.len()).map(miss).fold((0, 0.0), |a, b| if b.1 > a.1 { b } else { a })
    }

    fn solution(&self, nodes: &[Node], head_per_m: f64) -> Solution {
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

/// What feeds several circuits side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Manifold {
    /// Pressure that the source holds.
    pub supply: GaugePressure,
    /// Pressure that the drain holds.
    pub drain: GaugePressure,
    /// Pieces between source and the point where the circuits part; may be empty.
    pub feed: Vec<Piece>,
    /// Pieces between the point where they join and the drain; may be empty.
    pub back: Vec<Piece>,
}

/// Flow through each of several circuits on one manifold; those that are not open carry none.
///
/// Answers 'all open against alone': with a narrow feed, circuits that run together get less than each alone.
///
/// # Errors
/// [`NetworkError`]; circuits are named by their place, from 0.
pub fn manifold_flows(
    circuits: &[Vec<Piece>],
    manifold: &Manifold,
    conditions: &Conditions,
    open: &[bool],
) -> Result<Vec<VolumeFlow>, NetworkError> {
    if open.len() != circuits.len() {
        return Err(NetworkError::OpenMarks { open: open.len(), circuits: circuits.len() });
    }
    let node = |id: &str, kind| Node { id: id.to_owned(), kind, elevation: Length::from_m(0.0) };
    let link = |id: String, from: &str, to: &str, pieces: &[Piece]| Link {
        id,
        from: from.to_owned(),
        to: to.to_owned(),
        pieces: pieces.to_vec(),
    };
    let mut nodes = vec![
        node("supply", NodeKind::Fixed(manifold.supply)),
        node("drain", NodeKind::Fixed(manifold.drain)),
    ];
    let mut links = Vec::new();
    let junction = NodeKind::Demand(VolumeFlow::from_m3_s(0.0));
    let (mut parting, mut joining) = ("supply", "drain");
    let any_open = open.iter().any(|open| *open);
    if any_open && !manifold.feed.is_empty() {
        parting = "parting";
        nodes.push(node(parting, junction));
        links.push(link("feed".to_owned(), "supply", parting, &manifold.feed));
    }
    if any_open && !manifold.back.is_empty() {
        joining = "joining";
        nodes.push(node(joining, junction));
        links.push(link("back".to_owned(), joining, "drain", &manifold.back));
    }
    let marked = circuits.iter().zip(open).enumerate();
    links.extend(
        marked
            .filter(|(_, (_, open))| **open)
            .map(|(place, (pieces, _))| link(place.to_string(), parting, joining, pieces)),
    );
    let solved = solve(&nodes, &links, conditions)?;
    let flow = |place: usize| {
        let name = place.to_string();
        let found = solved.links.iter().find(|state| state.id == name);
        found.map_or(VolumeFlow::from_m3_s(0.0), |state| state.flow)
    };
    Ok((0..circuits.len()).map(flow).collect())
}
