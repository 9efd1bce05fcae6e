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

pub const R: f64 = 287.05;
pub const T0: f64 = 293.15;
pub const K: f64 = 1.4;

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
    (low, march(way, upstream_pa, low).unwrap_or_default())
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
