//! The hypotheses: kinds of state on a grid of severities, with their prior weights.

use super::profile::{Profile, Walls};
use crate::numeric::math;

/// Kinds of state, in the order of [`Prior`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// As new.
    AsNew,
    /// A layer.
    EvenDeposit,
    /// One narrow place.
    LocalPlug,
    /// Both.
    Mixed,
    /// A rough wall.
    Rough,
    /// None of these.
    Unknown,
}

/// How many kinds.
pub const CLASSES: usize = 6;

impl Class {
    /// Place in lists by class.
    pub const fn place(self) -> usize {
        self as usize
    }
}

/// What is likely before any reading of today.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Weights of as new, even deposit, local plug, mixed, rough, none of these; need not add up to 1.
    pub classes: [f64; CLASSES],
    /// Probability that a split has a plugged branch, in circuits that are as new or layered beside it.
    pub plugged_branch: f64,
    /// Where there is a split and the weights of local plug and mixed hold plugged branches already: their shares of both.
    pub branch_shares: Option<[f64; 2]>,
    /// Expected thickness of a layer from earlier visits: ln of mm, and its standard deviation.
    pub layer_ln_mm: Option<(f64, f64)>,
}

impl Default for Prior {
    /// Nine of twenty circuits that come to a bench are not as new (own proposal; no public figures exist).
    fn default() -> Self {
        Self {
            classes: [0.57, 0.205, 0.09, 0.04, 0.065, 0.02],
            plugged_branch: 0.08,
            branch_shares: None,
            layer_ln_mm: None,
        }
    }
}

impl Prior {
    /// Weights of the classes without plugged branches, then of a plugged branch alone and of one under a layer.
    fn weights(&self, split: bool) -> ([f64; CLASSES], f64, f64) {
        let total: f64 = self.classes.iter().sum();
        let [as_new, even, plug, mixed, rough, unknown] = self.classes.map(|weight| weight / total);
        match self.branch_shares {
            _ if !split => ([as_new, even, plug, mixed, rough, unknown], 0.0, 0.0),
            Some([of_plug, of_mixed]) => {
                let bare = [as_new, even, plug * (1.0 - of_plug), mixed * (1.0 - of_mixed), rough, unknown];
                (bare, plug * of_plug, mixed * of_mixed)
            }
            None => {
                let branch = self.plugged_branch;
                let bare = [as_new * (1.0 - branch), even * (1.0 - branch), plug, mixed, rough, unknown];
                (bare, as_new * branch, even * branch)
            }
        }
    }
}

/// The walls of a node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Clean.
    Clean,
    /// More ways than there should be: a blade or a plug left out.
    Open,
    /// Layer of this place in the grid on a share of the path.
    Layer { at: usize, cover: f64 },
    /// Rough walls of this place in the grid.
    Rough { at: usize },
    /// Without a branch; clean or under a layer.
    Branch { branch: usize, layer: Option<usize> },
}

/// One hypothesis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    pub class: Class,
    pub shape: Shape,
    /// Drop of the plug at the reference flow, bar (that of the clean circuit is 1 bar).
    pub plug_bar: Option<f64>,
    /// Probability before any reading, given the design.
    pub prior: f64,
}

impl Node {
    /// Thickness of the layer at the middle of the node, mm.
    pub fn thickness_mm(&self, profile: &Profile) -> Option<f64> {
        match self.shape {
            Shape::Layer { at, .. } => profile.layers.get(at).map(|walls| walls.size),
            Shape::Branch { branch, layer: Some(at) } => {
                profile.branches.get(branch).and_then(|(_, layers)| layers.get(at)).map(|walls| walls.size)
            }
            _ => None,
        }
    }
}

/// Flow left, as a share of that as new, that a fault may leave: any between these is as likely as any other.
const LEFT: (f64, f64) = (0.25, 0.975);
/// Share of the path under the layer, with weights (own proposal).
const COVERS: [(f64, f64); 4] = [(1.0, 0.7), (0.8, 0.1), (0.6, 0.1), (0.4, 0.1)];
/// The same where there is a plug too.
const COVERS_MIXED: [(f64, f64); 2] = [(1.0, 0.72), (0.6, 0.28)];
/// Layer's share of the extra loss in the mixed class.
const SHARES: (f64, f64) = (0.12, 0.88);
/// Of circuits in no known state: too open and otherwise as new (own choice).
const OPEN: f64 = 0.6;
/// Lightest plug in bar at the reference flow, and the factor from one to the next.
const LIGHTEST_BAR: f64 = 0.05;
const HEAVIER: f64 = 1.35;
const PLUGS: u32 = 20;

/// Natural logarithm of the factor between two plugs.
pub fn plug_step() -> f64 {
    math::ln(HEAVIER)
}

/// All hypotheses of one design; priors add up to 1.
pub fn nodes(profile: &Profile, prior: &Prior) -> Vec<Node> {
    let (classes, branch, branch_under) = prior.weights(!profile.branches.is_empty());
    let weight = |class: Class| classes.get(class.place()).copied().unwrap_or(0.0);
    let single = |class, shape| Node { class, shape, plug_bar: None, prior: 1.0 };
    let mut all = vec![
        Node { prior: weight(Class::AsNew), ..single(Class::AsNew, Shape::Clean) },
        Node { prior: weight(Class::Unknown) * OPEN, ..single(Class::Unknown, Shape::Open) },
        Node { prior: weight(Class::Unknown) * (1.0 - OPEN), ..single(Class::Unknown, Shape::Clean) },
    ];
    let mut add = |mut group: Vec<Node>, weight: f64| {
        let sum: f64 = group.iter().map(|node| node.prior).sum();
        if sum > 0.0 {
            group.retain(|node| node.prior > 1e-9 * sum);
            group.iter_mut().for_each(|node| node.prior *= weight / sum);
            all.append(&mut group);
        }
    };
    add(even(profile, prior), weight(Class::EvenDeposit));
    add(plugs(), weight(Class::LocalPlug));
    add(mixed(profile, prior), weight(Class::Mixed));
    add(rough(profile), weight(Class::Rough));
    add(branches(profile), branch);
    add(branches_under_layers(profile), branch_under);
    all
}

/// Density of 'flow left' at an extra drop, times d left / d extra.
fn density(extra: f64) -> f64 {
    let left = 1.0 / (1.0 + extra).sqrt();
    if left > LEFT.0 && left < LEFT.1 { 0.5 * left * left * left } else { 0.0 }
}

/// Extra drop at the reference flow, and how it grows from node to node.
fn extra(list: &[Walls], at: usize, clean: f64) -> (f64, f64) {
    let bar = |place: usize| list.get(place).and_then(|walls| walls.drops.last()).map(|at| at.bar);
    let here = bar(at).unwrap_or(clean);
    let below = at.checked_sub(1).and_then(bar).unwrap_or(here);
    let above = bar(at + 1).unwrap_or(here);
    let steps = if at > 0 && bar(at + 1).is_some() { 2.0 } else { 1.0 };
    ((here - clean).max(0.0), ((above - below) / steps).max(0.0))
}

fn clean_bar(profile: &Profile) -> f64 {
    profile.clean.drops.last().map_or(1.0, |at| at.bar)
}

/// What earlier visits say of this thickness; a layer may also be a new one.
fn expected(prior: &Prior, thickness_mm: f64) -> f64 {
    prior.layer_ln_mm.map_or(1.0, |(mean, sd)| {
        let sd = sd.max(0.2);
        let z = (math::ln(thickness_mm) - mean) / sd;
        0.1 + math::exp(-0.5 * z * z) / sd
    })
}

fn even(profile: &Profile, prior: &Prior) -> Vec<Node> {
    let mut group = Vec::new();
    for (cover, likely) in COVERS {
        for (at, walls) in profile.layers.iter().enumerate() {
            let (whole, growth) = extra(&profile.layers, at, clean_bar(profile));
            let weight = density(cover * whole) * cover * growth * likely * expected(prior, walls.size);
            group.push(Node {
                class: Class::EvenDeposit,
                shape: Shape::Layer { at, cover },
                plug_bar: None,
                prior: weight,
            });
        }
    }
    group
}

fn plug_grid() -> impl Iterator<Item = f64> {
    (0..PLUGS).map(|step| LIGHTEST_BAR * math::powf(HEAVIER, f64::from(step)))
}

fn plugs() -> Vec<Node> {
    plug_grid()
        .map(|bar| Node {
            class: Class::LocalPlug,
            shape: Shape::Clean,
            plug_bar: Some(bar),
            prior: density(bar) * bar,
        })
        .collect()
}

/// Layer and plug: flow left and the layer's share of the extra drop are as likely as any other within their limits.
fn mixed(profile: &Profile, prior: &Prior) -> Vec<Node> {
    let mut group = Vec::new();
    for (cover, likely) in COVERS_MIXED {
        for (at, walls) in profile.layers.iter().enumerate() {
            let (whole, growth) = extra(&profile.layers, at, clean_bar(profile));
            let layer = cover * whole;
            for plug in plug_grid() {
                let sum = layer + plug;
                let share = layer / sum;
                if share < SHARES.0 || share > SHARES.1 {
                    continue;
                }
                // d(left, share) / d(layer, plug) times the growth of both from node to node.
                let weight = density(sum) / sum * cover * growth * plug;
                group.push(Node {
                    class: Class::Mixed,
                    shape: Shape::Layer { at, cover },
                    plug_bar: Some(plug),
                    prior: weight * likely * expected(prior, walls.size),
                });
            }
        }
    }
    group
}

/// Any roughness is as likely as any other.
fn rough(profile: &Profile) -> Vec<Node> {
    profile
        .rough
        .iter()
        .enumerate()
        .map(|(at, walls)| Node {
            class: Class::Rough,
            shape: Shape::Rough { at },
            plug_bar: None,
            prior: walls.size,
        })
        .collect()
}

fn branches(profile: &Profile) -> Vec<Node> {
    (0..profile.branches.len())
        .map(|branch| Node {
            class: Class::LocalPlug,
            shape: Shape::Branch { branch, layer: None },
            plug_bar: None,
            prior: 1.0,
        })
        .collect()
}

fn branches_under_layers(profile: &Profile) -> Vec<Node> {
    let mut group = Vec::new();
    for (branch, (bare, layers)) in profile.branches.iter().enumerate() {
        let clean = bare.drops.last().map_or(1.0, |at| at.bar);
        for at in 0..layers.len() {
            let (whole, growth) = extra(layers, at, clean);
            group.push(Node {
                class: Class::Mixed,
                shape: Shape::Branch { branch, layer: Some(at) },
                plug_bar: None,
                prior: density(whole) * growth,
            });
        }
    }
    group
}
