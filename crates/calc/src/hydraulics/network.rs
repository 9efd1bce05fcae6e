//! Steady flow in a network of links between nodes.

mod solver;
mod system;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use super::circuit::{Conditions, HydraulicsError};
use super::path::Path;
use super::piece::Piece;
use crate::quantity::{GaugePressure, Length, PressureDrop, VolumeFlow};
use solver::{State, Strand};

/// Standard acceleration of free fall, m/s2 (source key `nist-sp-811`).
pub const GRAVITY_M_S2: f64 = 9.806_65;

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
