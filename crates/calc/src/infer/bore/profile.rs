//! What the pieces of one design lose, hold and let through: clean, under layers, rough, with a plugged branch.

use super::{BoreError, BoreInput, Design, Seen};
use crate::air::sonic::line::conductance;
use crate::estimate::{Uncertain, root_sum_square};
use crate::hydraulics::circuit::{Conditions, HydraulicsError, clean_flow_factor, reference_conditions};
use crate::hydraulics::deposit::coated;
use crate::hydraulics::flow_factor::{
    FlowPoint, PointUncertainty, SCATTER_SHARE, TRANSITION_RELATIVE, widened,
};
use crate::hydraulics::path::{LossScale, Path};
use crate::hydraulics::piece::Piece;
use crate::hydraulics::volume::filled_volume;
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, FlowFactor, Length, Temperature, TemperatureDifference, VolumeFlow};
use crate::water;

/// Thinnest layer of the grid, and the factor from one to the next.
const THINNEST_MM: f64 = 0.02;
const THICKER: f64 = 1.3;
/// Smoothest wall of the rough class, and the factor from one to the next.
const SMOOTHEST_UM: f64 = 50.0;
const ROUGHER: f64 = 1.5;
const ROUGHNESSES: u32 = 6;
/// Narrowing beyond this factor of the clean drop is as good as a block.
const MOST_DROP: f64 = 25.0;
/// No meter of a bench repeats a flow better than this, relative (own proposal).
const REPEATS_RELATIVE: f64 = 0.003;
/// What no reading of a drop gets below, relative.
const FLOOR_RELATIVE: f64 = 1e-3;
/// Pressure at which the water's properties are taken; they hardly depend on it.
const PRESSURE: AbsolutePressure = AbsolutePressure::from_bar(3.0);

/// A drop of one kind of wall at one station, and how its logarithm changes with what is not known.
#[derive(Clone, Copy, Debug)]
pub struct At {
    pub bar: f64,
    /// d ln drop / d ln flow.
    pub exponent: f64,
    /// By one standard deviation each.
    pub turns: f64,
    pub factors: f64,
    pub roughness: f64,
}

/// Everything that one kind of wall does.
#[derive(Clone, Debug)]
pub struct Walls {
    /// Thickness of the layer in mm or roughness in µm; none for clean walls.
    pub size: f64,
    /// At the stations; the last is the reference.
    pub drops: Vec<At>,
    pub volume_ml: f64,
}

/// Where and how a drop is looked at.
#[derive(Clone, Copy, Debug)]
pub struct Station {
    conditions: Conditions,
    flow: VolumeFlow,
    /// Density over that of the reference.
    pub density_ratio: f64,
    /// Measured drop in bar.
    pub measured_bar: f64,
    /// Change of ln drop by one standard deviation of the temperature.
    pub warmth: f64,
    /// Relative standard uncertainty of the flow, and of the difference of pressures in bar.
    pub gain: f64,
    pub zero_bar: f64,
    /// Scatter in bar.
    pub scatter_bar: f64,
    /// Whether it belongs to the baseline.
    pub then: bool,
}

/// One design, computed.
#[derive(Clone, Debug)]
pub struct Profile {
    pub stations: Vec<Station>,
    pub clean: Walls,
    /// Change of ln drop by one standard deviation of the drilled widths, at the stations and the reference.
    pub width: Vec<f64>,
    /// The same of ln volume.
    pub volume_width: f64,
    pub layers: Vec<Walls>,
    pub rough: Vec<Walls>,
    /// Without one branch of the first split: clean, and under layers.
    pub branches: Vec<(Walls, Vec<Walls>)>,
    pub flow_factor_m3_h: f64,
    pub exponent: f64,
    pub ln_sonic: Option<f64>,
    pub width_sd_mm: f64,
    pub flow_ln: f64,
    pub by_sisters_m3_h: Option<Uncertain>,
    pub exponent_sd: f64,
    pub volume_ln: f64,
    pub air_ln: f64,
}

/// Natural logarithm of the factor between two layers, and between two roughnesses.
pub fn layer_step() -> f64 {
    math::ln(THICKER)
}

/// All designs that water can flow through, with their weights adding up to 1.
pub fn profiles(input: &BoreInput) -> Result<Vec<(Profile, f64)>, BoreError> {
    let total: f64 = input.designs.iter().map(|design| design.weight).sum();
    input
        .designs
        .iter()
        .filter(|design| design.weight > 0.0)
        .map(|design| Ok((Profile::new(design, input)?, design.weight / total)))
        .collect::<Result<Vec<_>, BoreError>>()
        .and_then(|found| if found.is_empty() { Err(BoreError::NoDesign) } else { Ok(found) })
}

impl Profile {
    fn new(design: &Design, input: &BoreInput) -> Result<Self, BoreError> {
        let path = Path::new(&design.pieces)?;
        let factor = clean_flow_factor(&design.pieces)?;
        let mut stations = stations(&path, &input.today, false)?;
        stations.extend(self::stations(&path, &input.then, true)?);
        let scale = Spread::of(design);
        let looked = |pieces: &[Piece]| -> Result<Walls, BoreError> {
            let path = Path::new(pieces)?;
            walls(path, filled_volume(pieces).ml(), 0.0, &stations, factor, scale)
        };
        let clean = looked(&design.pieces)?;
        let exponent = clean.drops.last().map_or(1.9, |at| at.exponent);
        let (width, volume_width) = widths(design, &stations, factor)?;
        let rough = (0..ROUGHNESSES)
            .map(|step| SMOOTHEST_UM * math::powf(ROUGHER, f64::from(step)))
            .map(|um| rough_walls(&path, um, &clean, &stations, factor, scale))
            .collect::<Result<_, _>>()?;
        let branches = without_branches(&design.pieces)
            .iter()
            .map(|left| {
                let mut bare = looked(left)?;
                // A plugged branch still fills from both ends.
                bare.volume_ml = clean.volume_ml;
                Ok((bare, layers(left, &looked, clean.volume_ml)?))
            })
            .collect::<Result<_, BoreError>>()?;
        Ok(Self {
            layers: layers(&design.pieces, &looked, clean.volume_ml)?,
            rough,
            branches,
            flow_factor_m3_h: factor.m3_h(),
            exponent,
            ln_sonic: conductance(&design.pieces, Temperature::from_deg_c(20.0))
                .ok()
                .map(|line| math::ln(line.part.conductance().dm3_s_bar())),
            width_sd_mm: design.knowledge.bore_sd_mm,
            flow_ln: design.flow_ln,
            by_sisters_m3_h: design.by_sisters_m3_h,
            exponent_sd: design.knowledge.exponent_sd,
            volume_ln: design.volume_ln,
            air_ln: design.air_ln,
            stations,
            clean,
            width,
            volume_width,
        })
    }

    /// A further station, for a reading that could be taken.
    pub fn reference(&self) -> usize {
        self.stations.len()
    }
}

/// One standard deviation up of what scales losses.
#[derive(Clone, Copy)]
struct Spread {
    turns: f64,
    factors: f64,
    roughness: f64,
}

impl Spread {
    fn of(design: &Design) -> Self {
        let knowledge = design.knowledge;
        Self {
            turns: knowledge.elbow_ln_sd,
            factors: knowledge.coupling_ln_sd,
            roughness: knowledge.roughness_ln_sd,
        }
    }
}

fn stations(path: &Path, seen: &Seen, then: bool) -> Result<Vec<Station>, BoreError> {
    let Some(sweep) = &seen.sweep else { return Ok(Vec::new()) };
    sweep.points.iter().map(|point| Station::new(path, point, sweep.uncertainty, then)).collect()
}

impl Station {
    fn new(
        path: &Path,
        point: &FlowPoint,
        uncertainty: PointUncertainty,
        then: bool,
    ) -> Result<Self, BoreError> {
        let at = |temperature: Temperature| -> Result<(Conditions, f64, f64, f64), BoreError> {
            let conditions = Conditions::new(water::water(temperature, PRESSURE)?);
            let drop = path.drop(&conditions, point.flow)?;
            let exponent = drop.slope_pa_s_m3 * point.flow.m3_s() / drop.drop.pa();
            let doubtful = path.transition_share(&conditions, point.flow.m3_s())?;
            Ok((conditions, drop.drop.bar(), exponent, doubtful))
        };
        let (conditions, clean_bar, exponent, doubtful) = at(point.temperature)?;
        let beside = if point.temperature.deg_c() > 100.0 { -1.0 } else { 1.0 };
        let warmer = at(point.temperature + TemperatureDifference::from_k(beside))?.1;
        let measured_bar = point.drop.bar();
        let scatter_bar = root_sum_square(&[
            SCATTER_SHARE * uncertainty.flow_relative * exponent * measured_bar,
            REPEATS_RELATIVE * exponent * measured_bar,
            SCATTER_SHARE * uncertainty.drop_bar,
            TRANSITION_RELATIVE * doubtful * clean_bar,
            FLOOR_RELATIVE * measured_bar,
        ]);
        Ok(Self {
            conditions,
            flow: point.flow,
            density_ratio: conditions.fluid.density_kg_m3 / reference_conditions().fluid.density_kg_m3,
            measured_bar,
            warmth: math::ln(warmer / clean_bar) * beside * uncertainty.temperature_k,
            gain: uncertainty.flow_relative,
            zero_bar: uncertainty.drop_bar,
            scatter_bar,
            then,
        })
    }

    /// Flow in m3/h, as measured.
    pub fn flow_m3_h(&self) -> f64 {
        self.flow.m3_h()
    }
}

/// A path, and the same with each scale one standard deviation up and down.
struct Varied {
    path: Path,
    turns: (Path, Path),
    factors: (Path, Path),
    roughness: (Path, Path),
}

impl Varied {
    fn new(path: Path, spread: Spread) -> Self {
        let scaled = |turns: f64, flow_factors: f64, roughness: f64| {
            let by = |sign: f64| LossScale {
                turns: math::exp(sign * turns),
                flow_factors: math::exp(sign * flow_factors),
                roughness: math::exp(sign * roughness),
            };
            (path.scaled(by(1.0)), path.scaled(by(-1.0)))
        };
        Self {
            turns: scaled(spread.turns, 0.0, 0.0),
            factors: scaled(0.0, spread.factors, 0.0),
            roughness: scaled(0.0, 0.0, spread.roughness),
            path,
        }
    }

    fn at(&self, conditions: &Conditions, flow: VolumeFlow) -> Result<At, HydraulicsError> {
        let drop = self.path.drop(conditions, flow)?;
        let half = |(up, down): &(Path, Path)| -> Result<f64, HydraulicsError> {
            // Nothing to scale, nothing to compute.
            if up == down {
                return Ok(0.0);
            }
            Ok(math::ln(up.drop(conditions, flow)?.drop / down.drop(conditions, flow)?.drop) / 2.0)
        };
        Ok(At {
            bar: drop.drop.bar(),
            exponent: drop.slope_pa_s_m3 * flow.m3_s() / drop.drop.pa(),
            turns: half(&self.turns)?,
            factors: half(&self.factors)?,
            roughness: half(&self.roughness)?,
        })
    }
}

fn walls(
    path: Path,
    volume_ml: f64,
    size: f64,
    stations: &[Station],
    factor: FlowFactor,
    spread: Spread,
) -> Result<Walls, BoreError> {
    let varied = Varied::new(path, spread);
    let mut drops = stations
        .iter()
        .map(|station| varied.at(&station.conditions, station.flow))
        .collect::<Result<Vec<_>, _>>()?;
    drops.push(varied.at(&reference_conditions(), VolumeFlow::from_m3_h(factor.m3_h()))?);
    Ok(Walls { size, drops, volume_ml })
}

fn rough_walls(
    path: &Path,
    um: f64,
    clean: &Walls,
    stations: &[Station],
    factor: FlowFactor,
    scale: Spread,
) -> Result<Walls, BoreError> {
    // Drilled walls are taken for 10 µm; what scales with them does no harm to hoses and tubes beside.
    let rougher = LossScale { turns: 1.0, flow_factors: 1.0, roughness: um / 10.0 };
    walls(path.scaled(rougher), clean.volume_ml, um, stations, factor, scale)
}

/// Layers of rising thickness, until hardly anything passes.
fn layers(
    pieces: &[Piece],
    looked: &impl Fn(&[Piece]) -> Result<Walls, BoreError>,
    clean_volume_ml: f64,
) -> Result<Vec<Walls>, BoreError> {
    let mut found = Vec::new();
    let beside_ml = clean_volume_ml - filled_volume(pieces).ml();
    let mut thickness_mm = THINNEST_MM;
    while let Some(narrowed) = coated(pieces, Length::from_mm(thickness_mm)) {
        // A layer on a very narrow passage may be rougher than any friction law covers: the grid ends there.
        let Ok(walls) = looked(&narrowed) else { break };
        let most = walls.drops.last().is_some_and(|at| at.bar > MOST_DROP);
        found.push(Walls { size: thickness_mm, volume_ml: walls.volume_ml + beside_ml, ..walls });
        if most {
            break;
        }
        thickness_mm *= THICKER;
    }
    Ok(found)
}

fn widths(
    design: &Design,
    stations: &[Station],
    factor: FlowFactor,
) -> Result<(Vec<f64>, f64), HydraulicsError> {
    let by_mm = design.knowledge.bore_sd_mm;
    let (wide, narrow) = (widened(&design.pieces, by_mm), widened(&design.pieces, -by_mm));
    let (up, down) = (Path::new(&wide)?, Path::new(&narrow)?);
    let half = |conditions: &Conditions, flow: VolumeFlow| -> Result<f64, HydraulicsError> {
        Ok(math::ln(up.drop(conditions, flow)?.drop / down.drop(conditions, flow)?.drop) / 2.0)
    };
    let mut width = stations
        .iter()
        .map(|station| half(&station.conditions, station.flow))
        .collect::<Result<Vec<_>, _>>()?;
    width.push(half(&reference_conditions(), VolumeFlow::from_m3_h(factor.m3_h()))?);
    Ok((width, math::ln(filled_volume(&wide) / filled_volume(&narrow)) / 2.0))
}

/// The pieces with one branch of the first split taken out, for each branch.
fn without_branches(pieces: &[Piece]) -> Vec<Vec<Piece>> {
    let Some((place, branches)) = pieces.iter().enumerate().find_map(|(place, piece)| match piece {
        Piece::Split { branches } if branches.len() > 1 => Some((place, branches)),
        _ => None,
    }) else {
        return Vec::new();
    };
    let mut all: Vec<Vec<Piece>> = Vec::new();
    for plugged in 0..branches.len() {
        let mut left = branches.clone();
        left.remove(plugged);
        let middle = if left.len() == 1 { left.concat() } else { vec![Piece::Split { branches: left }] };
        let (before, after) = pieces.split_at(place);
        let made = [before, &middle, after.get(1..).unwrap_or_default()].concat();
        // Equal branches tell the same story.
        if !all.contains(&made) {
            all.push(made);
        }
    }
    all
}
