//! What a hypothesis says that the readings are, and how that changes with the unknowns.

use super::columns::{self as column, Row};
use super::evidence::Posterior;
use super::nodes::{Class, Node, Shape, plug_step};
use super::profile::{Profile, Walls, layer_step};
use super::{BoreInput, Hoses, Seen};
use crate::estimate::{Uncertain, root_sum_square};
use crate::numeric::math;

/// A node stands for a normal surrounding of this many steps; neighbours then add up to a smooth prior.
const KERNEL_STEPS: f64 = 0.7;
/// Exponent of drop against flow of hoses and couplings, and its standard deviation: between the friction of a smooth
/// hose and the square of a coupling (own proposal from simulated hoses).
const HOSES_EXPONENT: (f64, f64) = (1.9, 0.05);
/// Drop of a circuit with a short cut over that as new: a fifth more flow, on average (own choice).
const OPEN_DROP: f64 = 0.7;
/// Ordinary hoses where nothing is known of them, m3/h, and spread of ln (common practice, no source).
const ORDINARY_HOSES: (f64, f64) = (0.8, 0.45);
/// Spread of ln conductance where a design's own air cannot be computed.
const AIR_UNKNOWN_LN: f64 = 0.5;

/// What a fault does beside its model, as standard deviations of ln drop, exponent, ln volume, ln conductance. Zero
/// would claim that layers are even and plugs sharp: they are not (own choice, from simulated visits of both kinds of
/// physics).
struct Misfit {
    level: f64,
    steepness: f64,
    volume: f64,
    air: f64,
}

impl Misfit {
    const fn of(node: Node) -> Self {
        match node.class {
            Class::AsNew => Self { level: 0.008, steepness: 0.003, volume: 0.004, air: 0.02 },
            Class::EvenDeposit => Self { level: 0.05, steepness: 0.01, volume: 0.02, air: 0.05 },
            Class::LocalPlug => Self { level: 0.02, steepness: 0.01, volume: 0.008, air: 0.05 },
            Class::Mixed => Self { level: 0.05, steepness: 0.01, volume: 0.02, air: 0.06 },
            Class::Rough => Self { level: 0.03, steepness: 0.01, volume: 0.006, air: 0.03 },
            Class::Unknown if matches!(node.shape, Shape::Open) => {
                Self { level: 0.3, steepness: 0.05, volume: 0.1, air: 0.3 }
            }
            Class::Unknown => Self { level: 0.8, steepness: 0.12, volume: 0.25, air: 0.6 },
        }
    }
}

/// `value x exp(row . unknowns + curve/2 x severity^2)`.
#[derive(Clone, Copy, Debug)]
struct Term {
    value: f64,
    row: Row,
    curve: f64,
}

/// A predicted number with its derivatives.
#[derive(Clone, Copy, Debug)]
pub struct Predicted {
    pub value: f64,
    pub row: Row,
}

/// A reading as one row of the fit.
#[derive(Clone, Copy, Debug)]
pub struct Row1 {
    pub measured: f64,
    pub predicted: Predicted,
    pub standard: f64,
}

/// A hypothesis on a design.
pub struct Model<'a> {
    profile: &'a Profile,
    node: Node,
    misfit: Misfit,
    input: &'a BoreInput,
}

impl<'a> Model<'a> {
    pub const fn new(profile: &'a Profile, node: Node, input: &'a BoreInput) -> Self {
        Self { profile, node, misfit: Misfit::of(node), input }
    }

    /// All readings against what the hypothesis says at these unknowns.
    pub fn rows(&self, unknowns: &Row) -> Vec<Row1> {
        let mut rows = Vec::with_capacity(12);
        for (at, station) in self.profile.stations.iter().enumerate() {
            rows.push(Row1 {
                measured: station.measured_bar,
                predicted: self.drop(at, unknowns),
                standard: station.scatter_bar,
            });
        }
        self.singles(&self.input.today, false, unknowns, &mut rows);
        self.singles(&self.input.then, true, unknowns, &mut rows);
        rows
    }

    fn singles(&self, seen: &Seen, then: bool, unknowns: &Row, rows: &mut Vec<Row1>) {
        let mut in_ln = |reading: Option<Uncertain>, predicted: &dyn Fn() -> Option<Predicted>| {
            if let Some(reading) = reading.filter(|reading| reading.value > 0.0)
                && let Some(predicted) = predicted()
            {
                let standard = reading.relative_standard().max(1e-3);
                rows.push(Row1 { measured: math::ln(reading.value), predicted, standard });
            }
        };
        in_ln(seen.flow_factor_m3_h, &|| Some(self.ln_flow_factor(then, unknowns)));
        let sisters = self.profile.by_sisters_m3_h.filter(|_| then);
        in_ln(sisters, &|| Some(self.ln_flow_factor(then, unknowns)));
        in_ln(seen.sonic_dm3_s_bar, &|| self.ln_sonic(then, unknowns));
        if let Some(volume) = seen.volume_ml {
            rows.push(Row1 {
                measured: volume.value,
                predicted: self.volume_ml(then, unknowns),
                standard: volume.standard.max(1e-3 * volume.value.abs()),
            });
        }
    }

    /// Drop at a station, bar.
    fn drop(&self, at: usize, unknowns: &Row) -> Predicted {
        let Some(station) = self.profile.stations.get(at) else { return Predicted::NOTHING };
        let (gain, zero) =
            if station.then { (column::GAIN_THEN, column::ZERO_THEN) } else { (column::GAIN, column::ZERO) };
        let flow_ratio = station.flow_m3_h() / self.profile.flow_factor_m3_h;
        let mut terms = self.walls(at, math::ln(flow_ratio), station.then);
        for term in &mut terms {
            term.row[column::WARMTH] = -station.warmth;
        }
        if let Some(plug) = self.plug(station.then) {
            let square = flow_ratio * flow_ratio * station.density_ratio;
            terms.push(Term { value: plug.value * square, ..plug });
        }
        if let Some((factor_m3_h, relative)) = self.hoses(station.then) {
            let ratio = station.flow_m3_h() / factor_m3_h;
            let mut row = Row::zeros();
            row[column::HOSES] = -2.0 * relative;
            row[column::HOSES_STEEPNESS] = HOSES_EXPONENT.1 * math::ln(ratio);
            let value = station.density_ratio * math::powf(ratio, HOSES_EXPONENT.0);
            terms.push(Term { value, row, curve: 0.0 });
        }
        let exponent = self.exponent_at(at);
        for (place, term) in terms.iter_mut().enumerate() {
            let own = if place == 0 { exponent } else { 2.0 };
            term.row[gain] = -own * station.gain;
        }
        let mut sum = sum(&terms, unknowns);
        sum.value += station.zero_bar * unknowns[zero];
        sum.row[zero] += station.zero_bar;
        sum
    }

    fn exponent_at(&self, at: usize) -> f64 {
        self.profile.clean.drops.get(at).map_or(2.0, |at| at.exponent)
    }

    fn hoses(&self, then: bool) -> Option<(f64, f64)> {
        let seen = if then { &self.input.then } else { &self.input.today };
        match seen.sweep.as_ref().map_or(Hoses::None, |sweep| sweep.hoses) {
            Hoses::None => None,
            Hoses::Known(fixture) => Some((fixture.flow_factor.m3_h(), fixture.relative_uncertainty)),
            Hoses::Unknown => Some(ORDINARY_HOSES),
        }
    }

    /// The plug at the reference flow.
    fn plug(&self, then: bool) -> Option<Term> {
        let value = self.node.plug_bar.filter(|_| !then)?;
        let mut row = Row::zeros();
        row[column::PLUG] = KERNEL_STEPS * plug_step();
        Some(Term { value, row, curve: 0.0 })
    }

    /// What the walls lose at a station (the last is the reference).
    fn walls(&self, at: usize, ln_flow_ratio: f64, then: bool) -> Vec<Term> {
        let profile = self.profile;
        let mut terms = match self.node.shape {
            _ if then => vec![self.bare(&profile.clean, at, 1.0)],
            Shape::Clean => vec![self.bare(&profile.clean, at, 1.0)],
            Shape::Open => vec![self.bare(&profile.clean, at, OPEN_DROP)],
            Shape::Rough { at: place } => vec![self.graded(&profile.rough, place, at, 1.0, false)],
            Shape::Layer { at: place, cover } => {
                let mut terms = vec![self.graded(&profile.layers, place, at, cover, true)];
                if cover < 1.0 {
                    terms.push(self.bare(&profile.clean, at, 1.0 - cover));
                }
                terms
            }
            Shape::Branch { branch, layer } => match (profile.branches.get(branch), layer) {
                (Some((_, layers)), Some(place)) => vec![self.graded(layers, place, at, 1.0, true)],
                (Some((bare, _)), None) => vec![self.bare(bare, at, 1.0)],
                (None, _) => vec![self.bare(&profile.clean, at, 1.0)],
            },
        };
        let exponent = self.exponent_at(at);
        for term in &mut terms {
            term.row[column::LEVEL] = exponent * profile.flow_ln;
            term.row[column::STEEPNESS] = profile.exponent_sd * ln_flow_ratio;
            if !then {
                term.row[column::LEVEL_TODAY] = self.misfit.level;
                term.row[column::STEEPNESS_TODAY] = self.misfit.steepness * ln_flow_ratio;
            }
        }
        terms
    }

    fn bare(&self, walls: &Walls, at: usize, share: f64) -> Term {
        let Some(drop) = walls.drops.get(at) else { return Term::NOTHING };
        let mut row = Row::zeros();
        row[column::WIDTH] = self.profile.width.get(at).copied().unwrap_or(0.0);
        row[column::TURNS] = drop.turns;
        row[column::FACTORS] = drop.factors;
        row[column::ROUGHNESS] = drop.roughness;
        Term { value: share * drop.bar, row, curve: 0.0 }
    }

    /// Walls of a grid of severities: between two nodes the logarithm is a parabola through the neighbours.
    fn graded(&self, list: &[Walls], place: usize, at: usize, share: f64, layer: bool) -> Term {
        let Some(drop) = list.get(place).and_then(|walls| walls.drops.get(at)) else { return Term::NOTHING };
        let ln_bar =
            |place: usize| list.get(place).and_then(|walls| walls.drops.get(at)).map(|at| math::ln(at.bar));
        let (slope, curve) = parabola(place, math::ln(drop.bar), ln_bar);
        let mut row = Row::zeros();
        row[column::TURNS] = drop.turns;
        row[column::FACTORS] = drop.factors;
        row[column::SEVERITY] = KERNEL_STEPS * slope;
        if layer {
            row[column::LAYER_ROUGHNESS] = drop.roughness;
            // A wider hole is as good as a thinner layer: half of the width on each wall.
            let thickness_mm = list.get(place).map_or(1.0, |walls| walls.size);
            row[column::WIDTH] = -0.5 * self.profile.width_sd_mm * slope / (layer_step() * thickness_mm);
        } else {
            row[column::WIDTH] = self.profile.width.get(at).copied().unwrap_or(0.0);
        }
        Term { value: share * drop.bar, row, curve: KERNEL_STEPS * KERNEL_STEPS * curve }
    }

    /// ln of the flow factor in m3/h.
    pub fn ln_flow_factor(&self, then: bool, unknowns: &Row) -> Predicted {
        let mut terms = self.walls(self.profile.reference(), 0.0, then);
        terms.extend(self.plug(then));
        let sum = sum(&terms, unknowns);
        let ln_new = math::ln(self.profile.flow_factor_m3_h);
        Predicted {
            value: ln_new - math::ln(sum.value / self.clean_reference_bar()) / self.profile.exponent,
            row: sum.row / (-sum.value * self.profile.exponent),
        }
    }

    fn clean_reference_bar(&self) -> f64 {
        self.profile.clean.drops.last().map_or(1.0, |at| at.bar)
    }

    /// ln of the sonic conductance in dm3/(s bar): what takes water's flow takes as much of the air's.
    pub fn ln_sonic(&self, then: bool, unknowns: &Row) -> Option<Predicted> {
        let factor = self.ln_flow_factor(then, unknowns);
        let (ln_new, level) = match self.profile.ln_sonic {
            Some(ln_new) => (ln_new, self.profile.air_ln),
            // Without a value as new a conductance of today says nothing.
            None if self.input.then.sonic_dm3_s_bar.is_none() => return None,
            None => (0.0, AIR_UNKNOWN_LN),
        };
        let mut row = factor.row;
        row[column::AIR] = level;
        let mut value = ln_new + factor.value - math::ln(self.profile.flow_factor_m3_h);
        value += level * unknowns[column::AIR];
        if !then {
            row[column::AIR_TODAY] = self.misfit.air;
            value += self.misfit.air * unknowns[column::AIR_TODAY];
        }
        Some(Predicted { value, row })
    }

    /// Filled volume, ml.
    pub fn volume_ml(&self, then: bool, unknowns: &Row) -> Predicted {
        let profile = self.profile;
        let mut base = Row::zeros();
        base[column::VOLUME] = profile.volume_ln;
        if !then {
            base[column::VOLUME_TODAY] = self.misfit.volume;
        }
        let clean = |share: f64| {
            let mut row = base;
            row[column::WIDTH] = profile.volume_width;
            Term { value: share * profile.clean.volume_ml, row, curve: 0.0 }
        };
        let graded = |list: &[Walls], place: usize, share: f64| {
            let ln_ml = |place: usize| list.get(place).map(|walls| math::ln(walls.volume_ml));
            let here = list.get(place).map_or(1.0, |walls| walls.volume_ml);
            let (slope, curve) = parabola(place, math::ln(here), ln_ml);
            let mut row = base;
            row[column::SEVERITY] = KERNEL_STEPS * slope;
            row[column::WIDTH] = profile.volume_width;
            Term { value: share * here, row, curve: KERNEL_STEPS * KERNEL_STEPS * curve }
        };
        let terms = match self.node.shape {
            Shape::Layer { at, cover } if !then => {
                vec![graded(&profile.layers, at, cover), clean(1.0 - cover)]
            }
            Shape::Branch { branch, layer: Some(at) } if !then => {
                profile.branches.get(branch).map(|(_, layers)| graded(layers, at, 1.0)).into_iter().collect()
            }
            _ => vec![clean(1.0)],
        };
        sum(&terms, unknowns)
    }

    /// A further drop reading at a share of the reference flow with other hoses' zero: for [`super::next`].
    pub fn drop_at_reference(&self, flow_share: f64, gain: f64, unknowns: &Row) -> Predicted {
        let ln_share = math::ln(flow_share);
        let mut terms = self.walls(self.profile.reference(), ln_share, false);
        let exponent = self.exponent_at(self.profile.reference());
        for term in &mut terms {
            term.value *= math::powf(flow_share, exponent);
        }
        if let Some(plug) = self.plug(false) {
            terms.push(Term { value: plug.value * flow_share * flow_share, ..plug });
        }
        if let Some((factor_m3_h, relative)) = self.hoses(false) {
            let ratio = flow_share * self.profile.flow_factor_m3_h / factor_m3_h;
            let mut row = Row::zeros();
            row[column::HOSES] = -2.0 * relative;
            row[column::HOSES_STEEPNESS] = HOSES_EXPONENT.1 * math::ln(ratio);
            terms.push(Term { value: math::powf(ratio, HOSES_EXPONENT.0), row, curve: 0.0 });
        }
        for term in &mut terms {
            term.row[column::GAIN] = -exponent * gain;
        }
        sum(&terms, unknowns)
    }

    /// ln of the layer's thickness in mm at these unknowns.
    pub fn ln_thickness_mm(&self, unknowns: &Row) -> Option<Predicted> {
        let mut row = Row::zeros();
        row[column::SEVERITY] = KERNEL_STEPS * layer_step();
        let middle = math::ln(self.node.thickness_mm(self.profile)?);
        Some(Predicted { value: middle + row.dot(unknowns), row })
    }

    /// ln of the plug's drop at the reference flow, bar.
    pub fn ln_plug_bar(&self, unknowns: &Row) -> Option<Predicted> {
        let plug = self.plug(false)?;
        Some(Predicted { value: math::ln(plug.value) + plug.row.dot(unknowns), row: plug.row })
    }

    /// Share of the layer in the extra drop at the reference flow.
    pub fn layer_share(&self, unknowns: &Row) -> f64 {
        let terms = self.walls(self.profile.reference(), 0.0, false);
        let layer = (sum(&terms, unknowns).value
            - self.clean_reference_bar()
                * math::exp(self.bare(&self.profile.clean, self.profile.reference(), 1.0).row.dot(unknowns)))
        .max(0.0);
        let plug = self.plug(false).map_or(0.0, |plug| plug.value * math::exp(plug.row.dot(unknowns)));
        if layer + plug > 0.0 { layer / (layer + plug) } else { 0.0 }
    }

    /// Room that the layer has taken, ml.
    pub fn lost_ml(&self, unknowns: &Row) -> f64 {
        let bare = Node { shape: Shape::Clean, ..self.node };
        let clean =
            Model { profile: self.profile, node: bare, misfit: Misfit::of(self.node), input: self.input };
        (clean.volume_ml(false, unknowns).value - self.volume_ml(false, unknowns).value).max(0.0)
    }
}

impl Predicted {
    const NOTHING: Self =
        Self { value: 0.0, row: Row::from_array_storage(nalgebra::ArrayStorage([[0.0; column::COUNT]])) };

    /// Standard deviation by what is left open of the unknowns, with scatter of its own.
    pub fn spread(&self, posterior: &Posterior, own: f64) -> f64 {
        root_sum_square(&[posterior.variance(&self.row).sqrt(), own])
    }
}

impl Term {
    const NOTHING: Self = Self { value: 0.0, row: Predicted::NOTHING.row, curve: 0.0 };
}

/// Sum of terms at these unknowns. Exponents are cut at the size of any sane reading, so that a wild step of the solver
/// cannot overflow.
fn sum(terms: &[Term], unknowns: &Row) -> Predicted {
    let mut total = Predicted::NOTHING;
    let severity = unknowns[column::SEVERITY];
    for term in terms {
        let exponent = term.row.dot(unknowns) + 0.5 * term.curve * severity * severity;
        let value = term.value * math::exp(exponent.clamp(-12.0, 12.0));
        total.value += value;
        total.row += term.row * value;
        total.row[column::SEVERITY] += value * term.curve * severity;
    }
    total
}

/// Slope and bend per step of a list's logarithm at a place.
fn parabola(place: usize, here: f64, ln: impl Fn(usize) -> Option<f64>) -> (f64, f64) {
    let below = place.checked_sub(1).and_then(&ln);
    let above = ln(place + 1);
    match (below, above) {
        (Some(below), Some(above)) => ((above - below) / 2.0, above - 2.0 * here + below),
        (None, Some(above)) => (above - here, 0.0),
        (Some(below), None) => (here - below, 0.0),
        (None, None) => (0.0, 0.0),
    }
}
