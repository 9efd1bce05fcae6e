//! The simulated bench: circuits, hoses, a vessel, a gauge. Its physics is not that of the evaluation.
//!
//! - Pieces are marched adiabatically (constant total temperature, total pressure lost to friction and turns), with the
//!   explicit friction law of Haaland; the evaluation marches isothermally with Colebrook.
//! - The air between vessel and atmosphere is a chain of cells that fill and empty; the evaluation knows one volume.
//! - Wall heat follows the density of the gas with a random exponent; the evaluation has one constant.

use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::numeric::math;
use calc::quantity::{FlowFactor, Length};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const R: f64 = 287.05;
const T0: f64 = 293.15;
const K: f64 = 1.4;

pub struct Dice(ChaCha8Rng);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        math::exp(self.between(math::ln(low), math::ln(high)))
    }

    pub fn normal(&mut self) -> f64 {
        let (u, v) = (self.0.random::<f64>().max(1e-300), self.0.random::<f64>());
        (-2.0 * math::ln(u)).sqrt() * math::cos(core::f64::consts::TAU * v)
    }

    pub fn spread(&mut self, value: f64, standard_ln: f64) -> f64 {
        value * math::exp(standard_ln * self.normal())
    }

    pub fn poisson(&mut self, mean: f64) -> usize {
        let (limit, mut product, mut count) = (math::exp(-mean), 1.0, 0);
        loop {
            product *= self.0.random::<f64>();
            if product < limit {
                return count;
            }
            count += 1;
        }
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }
}

/// A stretch of the way: a bore or hose with turns (or a coupling) spread over it.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    pub diameter_mm: f64,
    pub length_mm: f64,
    pub roughness_um: f64,
    /// Sum of loss numbers.
    pub turns_k: f64,
    /// Flow factor of a coupling at its end, 0 without.
    pub coupling_kv: f64,
}

impl Stretch {
    pub fn volume_l(&self) -> f64 {
        core::f64::consts::FRAC_PI_4 * self.diameter_mm * self.diameter_mm * self.length_mm * 1e-6
    }

    /// Loss number in its own bore; a coupling's is K = 0.0015989 d^4/Kv^2 (identity of Kv and K).
    fn losses(&self) -> f64 {
        let coupling = if self.coupling_kv > 0.0 {
            0.001_598_9 * math::powf(self.diameter_mm, 4.0) / (self.coupling_kv * self.coupling_kv)
        } else {
            0.0
        };
        self.turns_k + coupling
    }
}

/// Mach number at which this share of the choked flow density passes, subsonic.
fn mach(density: f64) -> Option<f64> {
    // density = M (1 + 0.2 M^2)^-3, largest 0.5787 at M = 1.
    if density >= 0.578_703 {
        return None;
    }
    let mut m = density;
    for _ in 0..40 {
        let base = 1.0 + 0.2 * m * m;
        let value = m / (base * base * base);
        let slope = (1.0 - m * m) / (base * base * base * base);
        let step = (value - density) / slope.max(1e-3);
        m = (m - step).clamp(0.0, 1.0);
        if step.abs() < 1e-12 {
            break;
        }
    }
    Some(m)
}

/// Total pressure behind a sudden enlargement: momentum balance with the static pressure of the narrow end on the shoulder.
fn enlarged(static_pa: f64, total: f64, narrow: f64, wide: f64, mass_kg_s: f64) -> Option<f64> {
    let m1 = mach(mass_kg_s * (R * T0 / K).sqrt() / (narrow * total))?;
    let impulse = static_pa * (wide - narrow) + static_pa * narrow * (1.0 + K * m1 * m1);
    // impulse/(m sqrt(R T0/k)) = (1 + k M^2)/(M sqrt(1 + 0.2 M^2)), falling with M on the subsonic side.
    let wanted = impulse / (mass_kg_s * (R * T0 / K).sqrt());
    let (mut low, mut high) = (1e-6, 1.0);
    for _ in 0..50 {
        let m: f64 = 0.5 * (low + high);
        if (1.0 + K * m * m) / (m * (1.0 + 0.2 * m * m).sqrt()) > wanted { low = m } else { high = m }
    }
    let m: f64 = low;
    let pressure = mass_kg_s * (R * T0 / K).sqrt() / (wide * m * (1.0 + 0.2 * m * m).sqrt());
    Some(pressure * math::powf(1.0 + 0.2 * m * m, 3.5))
}

/// Total and static pressure after each stretch for this mass flow, or nothing if it chokes on the way.
fn march(way: &[Stretch], upstream_pa: f64, mass_kg_s: f64) -> Option<Vec<(f64, f64)>> {
    const VISCOSITY: f64 = 1.81e-5;
    let mut total = upstream_pa;
    let mut before: Option<(f64, f64)> = None;
    let mut out = Vec::with_capacity(way.len());
    for stretch in way {
        let d = stretch.diameter_mm * 1e-3;
        let area = core::f64::consts::FRAC_PI_4 * d * d;
        let reynolds = mass_kg_s * d / (area * VISCOSITY);
        let wall = math::powf(stretch.roughness_um * 1e-3 / stretch.diameter_mm / 3.7, 1.11);
        let root = -1.8 * math::log10(6.9 / reynolds + wall);
        let friction = if reynolds < 2300.0 { 64.0 / reynolds } else { 1.0 / (root * root) };
        let loss = friction * stretch.length_mm * 1e-3 / d + stretch.losses();
        if let Some((narrow, static_pa)) = before
            && area > narrow * 1.000_001
        {
            total = enlarged(static_pa, total, narrow, area, mass_kg_s)?;
        }
        let parts = (loss * 2.0).ceil().clamp(4.0, 40.0);
        let mut done = 0.0;
        while done < parts {
            let m = mach(mass_kg_s * (R * T0 / K).sqrt() / (area * total))?;
            total *= math::exp(-0.5 * K * m * m * loss / parts);
            done += 1.0;
        }
        let m = mach(mass_kg_s * (R * T0 / K).sqrt() / (area * total))?;
        let static_pa = total / math::powf(1.0 + 0.2 * m * m, 3.5);
        out.push((total, static_pa));
        before = Some((area, static_pa));
    }
    Some(out)
}

/// Choked mass flow at this upstream pressure and the static pressures along the way.
pub fn choked(way: &[Stretch], upstream_pa: f64) -> (f64, Vec<(f64, f64)>) {
    let (mut low, mut high) = (1e-9_f64, 1.0_f64);
    for _ in 0..48 {
        let middle = (low * high).sqrt();
        if march(way, upstream_pa, middle).is_some() { low = middle } else { high = middle }
    }
    (low, march(way, upstream_pa, low).unwrap())
}

/// Sonic conductance at 7 bar absolute, dm3/(s bar).
pub fn conductance(way: &[Stretch]) -> f64 {
    let (mass, _) = choked(way, 7e5);
    mass * R * T0 / 1e5 / 7.0 * 1e3
}

pub struct Circuit {
    pub nominal: Vec<Stretch>,
    pub real: Vec<Stretch>,
}

/// A circuit of the usual range and how it was really made: bores to 0.05 mm, turns to 25 %.
pub fn circuit(dice: &mut Dice) -> Circuit {
    let diameter_mm =
        [4.76, 6.0, 6.35, 8.0, 8.0, 9.5, 10.0, 10.0, 11.1, 12.0, 14.0][(dice.between(0.0, 10.999)) as usize];
    let length_mm = dice.log_between(300.0, 6_000.0);
    let elbows = 2 + dice.poisson(length_mm / 300.0).min(20);
    let passes = elbows + 1;
    let nominal: Vec<Stretch> = (0..passes)
        .map(|at| Stretch {
            diameter_mm,
            length_mm: length_mm / passes as f64,
            roughness_um: 10.0,
            turns_k: if at + 1 < passes { 1.3 } else { 0.0 },
            coupling_kv: 0.0,
        })
        .collect();
    let (bore, turns, rough) = (0.05 * dice.normal(), dice.spread(1.0, 0.25), dice.spread(1.0, 0.4));
    let real = nominal
        .iter()
        .map(|stretch| Stretch {
            diameter_mm: stretch.diameter_mm + bore,
            turns_k: stretch.turns_k * turns,
            roughness_um: stretch.roughness_um * rough,
            ..*stretch
        })
        .collect();
    Circuit { nominal, real }
}

impl Circuit {
    /// The real circuit with a deposit that costs this share of the conductance: a plug at one place, or a layer all along.
    pub fn obstructed(&self, dice: &mut Dice, loss: f64) -> Vec<Stretch> {
        let wanted = conductance(&self.real) * (1.0 - loss);
        let place = dice.between(0.0, self.real.len() as f64 - 0.001) as usize;
        let plug = dice.chance(0.5);
        let with = |bore: f64| {
            let mut way = self.real.clone();
            if plug {
                let diameter_mm = way[place].diameter_mm * bore;
                way.insert(
                    place + 1,
                    Stretch {
                        diameter_mm,
                        length_mm: 5.0,
                        roughness_um: 30.0,
                        turns_k: 0.5,
                        coupling_kv: 0.0,
                    },
                );
            } else {
                for stretch in &mut way {
                    stretch.diameter_mm *= bore;
                    stretch.roughness_um = 60.0;
                }
            }
            way
        };
        let (mut low, mut high) = (0.03, 1.0);
        for _ in 0..18 {
            let middle = 0.5 * (low + high);
            if conductance(&with(middle)) < wanted { low = middle } else { high = middle }
        }
        with(0.5 * (low + high))
    }
}

/// Hose with couplings on each side.
pub fn fixture(dice: &mut Dice) -> (Vec<Stretch>, Vec<Stretch>) {
    let diameter_mm = [9.0, 11.0, 13.0][(dice.between(0.0, 2.999)) as usize];
    let hose = |dice: &mut Dice| {
        vec![Stretch {
            diameter_mm,
            length_mm: dice.between(500.0, 2_500.0),
            roughness_um: 2.0,
            turns_k: 0.0,
            coupling_kv: dice.between(1.7, 2.6),
        }]
    };
    let (before, mut after) = (hose(dice), hose(dice));
    // The coupling at the circuit comes first on the way out.
    if let Some(last) = after.last_mut() {
        last.coupling_kv = dice.between(1.7, 2.6);
    }
    (before, after)
}

pub fn pieces(way: &[Stretch]) -> Vec<Piece> {
    let mut out = Vec::new();
    for stretch in way {
        out.push(Piece::Bore {
            diameter: Length::from_mm(stretch.diameter_mm),
            length: Length::from_mm(stretch.length_mm),
            roughness: Length::from_um(stretch.roughness_um),
        });
        if stretch.turns_k > 0.0 {
            out.push(Piece::Elbow {
                diameter: Length::from_mm(stretch.diameter_mm),
                make: ElbowMake::Drilled,
                loss_k: None,
            });
        }
        if stretch.coupling_kv > 0.0 {
            out.push(Piece::Coupling { flow_factor: FlowFactor::from_m3_h(stretch.coupling_kv) });
        }
    }
    out
}

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
            lost.push((49.0 - bar * bar).max(*lost.last().unwrap()));
        }
        let all = *lost.last().unwrap();
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
        let end_ratio = (states.last().unwrap().1 / 1e5 / last).clamp(0.0, 0.97);
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
