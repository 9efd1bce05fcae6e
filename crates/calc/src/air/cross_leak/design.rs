//! The linear model: what each path would add to every slope, summed up circuit by circuit.

use std::sync::Arc;

use super::prior::MEDIAN_MBAR_L_S;
use super::windows::{Block, stated_squares};
use super::{Leaks, UNKNOWN_VOLUME_LN, UNKNOWN_VOLUME_ML, USUAL_VOLUME_RELATIVE};
use crate::numeric::math;

/// A path between two circuits, smaller place first, or from one circuit to the outside (both places equal).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Edge(pub(super) usize, pub(super) usize);

impl Edge {
    pub(super) const fn is_outside(self) -> bool {
        self.0 == self.1
    }

    /// The ends that are circuits, each with the place of the other end.
    pub(super) fn sides(self) -> impl Iterator<Item = (usize, usize)> {
        [Some((self.0, self.1)), (self.0 != self.1).then_some((self.1, self.0))].into_iter().flatten()
    }

    /// All paths that a mould of so many circuits can have.
    pub(super) fn all(count: usize) -> impl Iterator<Item = Self> {
        (0..count).flat_map(move |a| (a..count).map(move |b| Self(a, b)))
    }
}

/// Sums over the slopes of one circuit; paths are named by the place of their other end, the outside by its own place.
#[derive(Clone, Debug)]
pub(super) struct Sums {
    /// Standard deviation of the logarithm of its volume.
    pub(super) volume_ln: f64,
    pub(super) volume_l: f64,
    /// Number of slopes.
    pub(super) slopes: usize,
    /// Weighted square of the slopes.
    pub(super) seen: f64,
    /// Weighted product of slopes and each path's effect at 1 mbar l/s.
    pub(super) product: Vec<f64>,
    /// Weighted products of the effects of two paths.
    pub(super) normal: Vec<f64>,
}

/// All slopes and what paths would do to them.
#[derive(Clone, Debug)]
pub(super) struct Design {
    pub(super) count: usize,
    pub(super) circuits: Vec<Sums>,
    blocks: Arc<Vec<Block>>,
    air_bar: f64,
    /// Paths that open only above a pressure difference, bar.
    pub(super) opens: Vec<(Edge, f64)>,
    /// For each block the effect of each path on each slope.
    effects: Vec<Vec<[f64; 2]>>,
}

impl Design {
    pub(super) fn new(leaks: &Leaks, blocks: Vec<Block>) -> Self {
        let count = leaks.circuits.len();
        let circuits = leaks
            .circuits
            .iter()
            .map(|circuit| {
                let known = circuit.volume.map(|volume| volume.ml());
                let relative = circuit.volume_relative.unwrap_or(USUAL_VOLUME_RELATIVE);
                let volume_ln = known.map_or(UNKNOWN_VOLUME_LN, |_| math::ln_1p(relative)).max(1e-3);
                let volume_l = known.unwrap_or(UNKNOWN_VOLUME_ML) / 1000.0;
                Sums {
                    volume_ln,
                    volume_l,
                    slopes: 0,
                    seen: 0.0,
                    product: vec![0.0; count],
                    normal: vec![0.0; count * count],
                }
            })
            .collect();
        let air_bar = leaks.atmosphere.bar();
        let blocks = Arc::new(blocks);
        let effects = Vec::new();
        let mut design = Self { count, circuits, blocks, air_bar, opens: Vec::new(), effects };
        design.effects = design.blocks.iter().map(|block| design.effects_on(block)).collect();
        design.add_up(|_| true);
        design
    }

    fn effects_on(&self, block: &Block) -> Vec<[f64; 2]> {
        let outside = self.effect(block, None, 0.0);
        (0..self.count)
            .map(|other| match block.others.get(other) {
                Some(Some(pressure)) => self.effect(block, Some(pressure), 0.0),
                _ => outside,
            })
            .collect()
    }

    /// The effect of a path of 1 mbar l/s on the slopes of a block, mbar/s: the same straight line through the time
    /// integral of the driving pressure.
    fn effect(&self, block: &Block, other: Option<&Vec<f64>>, opens_bar: f64) -> [f64; 2] {
        let volume_l = self.circuits.get(block.circuit).map_or(1.0, |sums| sums.volume_l);
        let scale = -1.0 / (stated_squares() * volume_l);
        let driving = |at: usize| {
            let own = block.own_bar_abs.get(at).copied().unwrap_or(self.air_bar);
            let far = other.and_then(|bar| bar.get(at)).copied().unwrap_or(self.air_bar);
            if (own - far).abs() <= opens_bar { 0.0 } else { (own * own - far * far) * scale }
        };
        let mut effect = [0.0; 2];
        let mut integral = 0.0;
        let (mut before, mut before_s) = (driving(0), block.time_s.first().copied().unwrap_or(0.0));
        for (at, time) in block.time_s.iter().enumerate() {
            let now = driving(at);
            integral += (now + before) / 2.0 * (time - before_s);
            (before, before_s) = (now, *time);
            for (sum, weights) in effect.iter_mut().zip(&block.weights) {
                *sum += weights.get(at).copied().unwrap_or(0.0) * integral;
            }
        }
        effect
    }

    /// Sums over the blocks of the wanted circuits, anew.
    fn add_up(&mut self, wanted: impl Fn(usize) -> bool) {
        for (_, sums) in self.circuits.iter_mut().enumerate().filter(|(place, _)| wanted(*place)) {
            (sums.slopes, sums.seen) = (0, 0.0);
            sums.product.fill(0.0);
            sums.normal.fill(0.0);
        }
        let count = self.count;
        for (block, effects) in
            self.blocks.iter().zip(&self.effects).filter(|(block, _)| wanted(block.circuit))
        {
            let Some(sums) = self.circuits.get_mut(block.circuit) else { continue };
            let weighed_slopes = weighed(&block.slopes, block.inverse);
            sums.slopes += block.slopes.len();
            sums.seen += dot(&weighed_slopes, &block.slopes);
            for (one, effect) in effects.iter().enumerate() {
                sums.product[one] += dot(&weighed_slopes, effect);
                let weighed_effect = weighed(effect, block.inverse);
                for (two, other) in effects.iter().enumerate().skip(one) {
                    let product = dot(&weighed_effect, other);
                    sums.normal[one * count + two] += product;
                    if two != one {
                        sums.normal[two * count + one] += product;
                    }
                }
            }
        }
    }

    /// The same readings with a path that opens only above a pressure difference.
    pub(super) fn with_opening(&self, edge: Edge, opens_bar: f64) -> Self {
        let mut design = self.clone();
        design.opens.retain(|(other, _)| *other != edge);
        design.opens.push((edge, opens_bar));
        for (circuit, other) in edge.sides() {
            for at in 0..design.blocks.len() {
                let block = &design.blocks[at];
                if block.circuit == circuit {
                    let pressure = block.others.get(other).and_then(Option::as_ref);
                    let effect = design.effect(block, pressure, opens_bar);
                    design.effects[at][other] = effect;
                }
            }
        }
        design.add_up(|place| edge.sides().any(|(circuit, _)| circuit == place));
        design
    }

    /// Largest pressure difference across a path in each stretch that a slope was taken from, bar.
    pub(super) fn differences(&self, edge: Edge) -> Vec<f64> {
        let mut found = Vec::new();
        for (circuit, other) in edge.sides() {
            for block in self.blocks.iter().filter(|block| block.circuit == circuit) {
                let far = block.others.get(other).and_then(Option::as_ref);
                for weights in &block.weights {
                    let points = block
                        .own_bar_abs
                        .iter()
                        .enumerate()
                        .filter(|(at, _)| weights.get(*at).is_some_and(|weight| weight.abs() > 0.0));
                    let largest = points.map(|(at, own)| {
                        (own - far.and_then(|bar| bar.get(at)).copied().unwrap_or(self.air_bar)).abs()
                    });
                    found.push(largest.fold(0.0, f64::max));
                }
            }
        }
        found
    }

    /// Tests in which a path was driven, with the end that stood at the higher pressure.
    pub(super) fn driven_from(&self, edge: Edge) -> Option<usize> {
        let mut best: Option<(f64, usize)> = None;
        for (circuit, other) in edge.sides() {
            for block in self.blocks.iter().filter(|block| block.circuit == circuit) {
                let far = block.others.get(other).and_then(Option::as_ref).and_then(|bar| bar.first());
                let difference = block.own_bar_abs.first().copied().unwrap_or(self.air_bar)
                    - far.copied().unwrap_or(self.air_bar);
                let from = if difference >= 0.0 { circuit } else { other };
                if best.is_none_or(|(so_far, _)| difference.abs() > so_far + 0.2) {
                    best = Some((difference.abs(), from));
                }
            }
        }
        best.filter(|(difference, _)| *difference > 0.2).map(|(_, from)| from)
    }

    /// Whether the slopes would have shown an ordinary leak: its standard uncertainty is below the median rate.
    pub(super) fn was_tested(&self, edge: Edge) -> bool {
        let weight: f64 = edge
            .sides()
            .map(|(circuit, other)| self.circuits[circuit].normal[other * self.count + other])
            .sum();
        weight * MEDIAN_MBAR_L_S * MEDIAN_MBAR_L_S > 1.0
    }

    pub(super) fn tests(&self) -> usize {
        self.blocks.iter().map(|block| block.test + 1).max().unwrap_or(0)
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Inverse covariance times one or two values; a block of one slope has zeros in the second place.
fn weighed(values: &[f64], [first, second, between]: [f64; 3]) -> [f64; 2] {
    match values {
        [one] => [first * one, 0.0],
        [one, two, ..] => [first * one + between * two, between * one + second * two],
        [] => [0.0, 0.0],
    }
}
