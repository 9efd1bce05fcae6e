//! The emptying itself: a chain of cells, a vessel with wall heat, a gauge that lags, rounds and is noisy.

use calc::numeric::math;

use super::world::{Dice, K, R, Stretch, T0, choked};

/// The way as a chain of cells for the emptying: p^2 resistances between them, an orifice at the end.
pub struct Chain {
    /// Resistance in front of each cell: bar^2 per (dm3/s of reference air)^2.
    pub resistance: Vec<f64>,
    /// Volumes in dm3.
    pub volume: Vec<f64>,
    /// Choked conductance of the end and its critical ratio.
    pub end: f64,
    pub end_ratio: f64,
}

/// Share of the shortest cell time that one step takes.
const STEP: f64 = 0.4;
const CELLS: usize = 6;

impl Chain {
    /// Cells at equal losses of p^2; each slice of the way adds its volume to the cell whose pressure it has.
    pub fn new(way: &[Stretch]) -> Self {
        const SLICES: usize = 20;
        let (mass, states) = choked(way, 7e5);
        let flow = mass * R * T0 / 1e5 * 1e3;
        let mut lost = vec![0.0];
        for (_, pressure) in &states {
            let bar = pressure / 1e5;
            // Where a wide hose wins pressure back, the chain has no resistance.
            lost.push((49.0 - bar * bar).max(lost.last().copied().unwrap_or_default()));
        }
        let all = lost.last().copied().unwrap_or_default();
        let total_volume: f64 = way.iter().map(Stretch::volume_l).sum();
        let mut volume = vec![0.02 * total_volume; CELLS];
        for (stretch, ends) in way.iter().zip(lost.windows(2)) {
            for slice in 0..SLICES {
                let here = ends[0] + (ends[1] - ends[0]) * (slice as f64 + 0.5) / SLICES as f64;
                let cell = ((here / all * CELLS as f64) as usize).min(CELLS - 1);
                volume[cell] += (1.0 - 0.02 * CELLS as f64) * stretch.volume_l() / SLICES as f64;
            }
        }
        let part = all / CELLS as f64 / (flow * flow);
        let mut resistance = vec![part; CELLS];
        resistance[0] = 0.5 * part;
        // The last half part and the exit, choked up to the outlet pressure at which the way as a whole chokes.
        let last = (49.0 - all * (1.0 - 0.5 / CELLS as f64)).sqrt();
        let end_ratio = (states.last().map_or(0.0, |state| state.1) / 1e5 / last).clamp(0.0, 0.97);
        Self { resistance, volume, end: flow / last, end_ratio }
    }

    fn share(&self, ratio: f64) -> f64 {
        let along = (ratio - self.end_ratio) / (1.0 - self.end_ratio);
        if along <= 0.0 { 1.0 } else { (1.0 - along * along).max(0.0).sqrt() }
    }
}

/// What empties.
pub enum Source {
    /// A vessel: volume in dm3, wall heat coefficient, area over volume^(2/3), exponent of density.
    Vessel { volume: f64, coefficient: f64, shape: f64, exponent: f64 },
    /// The chain's own volume.
    Own,
}

pub struct Scene {
    pub chain: Chain,
    pub source: Source,
    pub start_bar_g: f64,
    pub atmosphere: f64,
    /// Gas and wall.
    pub gas_k: f64,
    pub wall_k: f64,
    pub opening_s: f64,
    pub valve_s: f64,
    /// Heat transfer units of the way.
    pub transfer_units: f64,
}

/// Heat transfer units of a way: 4 St L/d, Stanton number of turbulent air from Reynolds' analogy with friction 0.022.
pub fn transfer_units(way: &[Stretch]) -> f64 {
    way.iter().map(|stretch| 4.0 * 0.0033 * stretch.length_mm / stretch.diameter_mm).sum()
}

/// True gauge pressure at these times.
pub fn pressures(scene: &Scene, times: &[f64]) -> Vec<f64> {
    let air = scene.atmosphere;
    let cells = scene.chain.volume.len();
    let own = matches!(scene.source, Source::Own);
    let start = scene.start_bar_g + air;
    let mut vessel = (start, scene.gas_k);
    let mut cell = vec![if own { start } else { air }; cells];
    // Explicit steps: a cell follows its neighbours within V / (d flow / d p), d flow/d p = p/(r flow).
    let typical = scene.start_bar_g + air;
    let fastest = scene
        .chain
        .volume
        .iter()
        .map(|volume| {
            let r = scene.chain.resistance.last().copied().unwrap_or(1.0);
            let flow = (typical * typical / (r * CELLS as f64)).sqrt();
            volume * r * flow / (2.0 * typical)
        })
        .fold(f64::INFINITY, f64::min);
    let step = (STEP * fastest).max(1e-6);
    let mut time = 0.0;
    let mut out = Vec::with_capacity(times.len());
    let mut flows = vec![0.0; cells + 1];
    for &wanted in times {
        while time < wanted {
            let dt = step.min(wanted - time);
            let opened = ((time - scene.opening_s) / scene.valve_s.max(1e-9)).clamp(0.0, 1.0);
            if opened > 0.0 {
                let mut before = if own { cell[0] } else { vessel.0 };
                for i in 0..cells {
                    let difference = before * before - cell[i] * cell[i];
                    let eased = 1e-3 * before * before;
                    let flow = difference / ((difference.abs() + eased) * scene.chain.resistance[i]).sqrt();
                    flows[i] = if own && i == 0 { 0.0 } else { flow * if own { 1.0 } else { opened } };
                    before = cell[i];
                }
                let gate = if own { opened } else { 1.0 };
                flows[cells] = gate * scene.chain.end * before * scene.chain.share(air / before);
                // Cold gas out of the vessel warms along the walls: number of transfer units up to each place.
                let colder = scene.wall_k - if own { scene.wall_k } else { vessel.1 };
                let at = |i: usize| {
                    let way = (i as f64 + 0.5) / (cells as f64 + 0.5);
                    (scene.wall_k - colder * math::exp(-scene.transfer_units * way)) / T0
                };
                for (i, flow) in flows.iter_mut().enumerate() {
                    *flow /= at(i).sqrt();
                }
                for i in 0..cells {
                    cell[i] += (flows[i] - flows[i + 1]) * at(i) / scene.chain.volume[i] * dt;
                }
                if let Source::Vessel { volume, coefficient, shape, exponent } = scene.source {
                    let (p, t) = vessel;
                    let out = flows[0] * t / T0 / volume;
                    let density = p / t * T0 / 4.5;
                    let area_per_m = shape / math::cbrt(volume * 1e-3);
                    let heat = (K - 1.0) * coefficient * math::powf(density, exponent) * area_per_m * 1e-5;
                    let dp = -K * out + heat * (scene.wall_k - t);
                    let dt_k = t * (dp / p + out / p);
                    vessel = (p + dp * dt, t + dt_k * dt);
                }
            }
            time += dt;
        }
        out.push(if own { cell[0] } else { vessel.0 } - air);
    }
    out
}

/// What a gauge makes of it: lag, noise, zero, step.
pub struct Watch {
    pub lag_s: f64,
    pub noise: f64,
    pub zero: f64,
    pub step: f64,
}

pub fn seen(watch: &Watch, dice: &mut Dice, scene: &Scene, times: &[f64]) -> Vec<f64> {
    let interval = times[1] - times[0];
    // The lag runs on a finer grid than the samples.
    let fine = ((interval / (0.2 * watch.lag_s).max(interval / 40.0)).ceil() as usize).clamp(1, 40);
    let grid: Vec<f64> =
        (0..times.len() * fine).map(|i| times[0] + interval * i as f64 / fine as f64).collect();
    let truth = pressures(scene, &grid);
    let mut shown = truth[0];
    let mut out = Vec::with_capacity(times.len());
    for (i, value) in truth.iter().enumerate() {
        let dt = interval / fine as f64;
        shown += (value - shown) * if watch.lag_s > 0.0 { 1.0 - math::exp(-dt / watch.lag_s) } else { 1.0 };
        if i % fine == 0 {
            let noisy = shown + watch.zero + watch.noise * dice.normal();
            out.push(if watch.step > 0.0 { (noisy / watch.step).round() * watch.step } else { noisy });
        }
    }
    out
}
