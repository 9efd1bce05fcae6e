//! Air in a bore and in a hose, by finite volumes: what the fit of a leak-down does not know.
//!
//! Each part of the circuit is a tube: gas in shells, then its wall in shells. Heat is conducted radially; the pressure
//! is the same everywhere and follows from the mass of gas and all its temperatures (ideal gas). Filling compresses the
//! gas; what warmth it has not yet given to the wall settles afterwards. None of the fit's formulas are used here.

use calc::numeric::math;

const GAS_J_KG_K: f64 = 287.05;
const GAS_CONDUCTIVITY: f64 = 0.0257;
const KAPPA: f64 = 1.4;
const GAS_SHELLS: usize = 8;
const WALL_SHELLS: usize = 12;
const SHELLS: usize = GAS_SHELLS + WALL_SHELLS;

/// What a tube is made of.
#[derive(Clone, Copy, Debug)]
pub struct Wall {
    pub conductivity: f64,
    pub heat_capacity_j_m3_k: f64,
    pub thickness_m: f64,
    /// Heat transfer to what is outside, W/(m2 K).
    pub outside_w_m2_k: f64,
}

/// One tube full of air. Temperatures count from the wall's own.
pub struct Tube {
    volume_m3: f64,
    gas_area_m2: f64,
    area_m2: [f64; SHELLS],
    /// Heat capacity per length of the wall shells; that of gas shells follows the pressure.
    wall_capacity: [f64; SHELLS],
    /// Conductance per length to the next shell, the last one to the outside.
    conductance: [f64; SHELLS],
    excess_k: [f64; SHELLS],
}

impl Tube {
    /// `stirring` multiplies the gas's conductivity: buoyancy moves warm gas.
    pub fn new(volume_m3: f64, bore_m: f64, wall: Wall, stirring: f64) -> Self {
        let radius = bore_m / 2.0;
        let mut edges = [0.0; SHELLS + 1];
        let growth = 1.45_f64;
        let first = wall.thickness_m * (growth - 1.0) / (growth.powi(WALL_SHELLS as i32) - 1.0);
        for (at, edge) in edges.iter_mut().enumerate() {
            *edge = if at <= GAS_SHELLS {
                radius * at as f64 / GAS_SHELLS as f64
            } else {
                radius + first * (growth.powi((at - GAS_SHELLS) as i32) - 1.0) / (growth - 1.0)
            };
        }
        let pi = std::f64::consts::PI;
        let middle = |at: usize| (edges[at] + edges[at + 1]) / 2.0;
        let conductivity =
            |at: usize| if at < GAS_SHELLS { GAS_CONDUCTIVITY * stirring } else { wall.conductivity };
        let mut tube = Self {
            volume_m3,
            gas_area_m2: pi * radius * radius,
            area_m2: [0.0; SHELLS],
            wall_capacity: [0.0; SHELLS],
            conductance: [0.0; SHELLS],
            excess_k: [0.0; SHELLS],
        };
        for at in 0..SHELLS {
            tube.area_m2[at] = pi * (edges[at + 1] * edges[at + 1] - edges[at] * edges[at]);
            tube.wall_capacity[at] = tube.area_m2[at] * wall.heat_capacity_j_m3_k;
            let own = math::ln(edges[at + 1] / middle(at)) / conductivity(at);
            let other = if at + 1 < SHELLS {
                math::ln(middle(at + 1) / edges[at + 1]) / conductivity(at + 1)
            } else {
                1.0 / (wall.outside_w_m2_k * edges[at + 1])
            };
            tube.conductance[at] = 2.0 * pi / (own + other);
        }
        tube
    }

    /// Compressed air comes in: `warm_k` is left in the gas, `given_k` has already gone into the wall's skin.
    fn fill(&mut self, warm_k: f64, given_k: f64, pressure_pa: f64, wall_k: f64) {
        let skin = &self.wall_capacity[GAS_SHELLS..GAS_SHELLS + 3];
        let heat =
            given_k * pressure_pa / (wall_k + warm_k + given_k) * KAPPA / (KAPPA - 1.0) * self.gas_area_m2;
        let rise = heat / skin.iter().sum::<f64>();
        for (at, excess) in self.excess_k.iter_mut().enumerate() {
            *excess = match at {
                0..GAS_SHELLS => warm_k,
                _ if at < GAS_SHELLS + 3 => rise,
                _ => 0.0,
            };
        }
    }

    /// One implicit step: temperatures without a change of pressure, and their change per pascal.
    fn step(&self, pressure_pa: f64, wall_k: f64, dt: f64) -> ([f64; SHELLS], [f64; SHELLS]) {
        let mut upper = [0.0; SHELLS];
        let mut plain = [0.0; SHELLS];
        let mut per_pa = [0.0; SHELLS];
        for at in 0..SHELLS {
            let gas = at < GAS_SHELLS;
            let capacity = if gas {
                let density_heat = KAPPA / (KAPPA - 1.0) * pressure_pa / (wall_k + self.excess_k[at]);
                density_heat * self.area_m2[at]
            } else {
                self.wall_capacity[at]
            };
            let inner = if at > 0 { self.conductance[at - 1] * dt } else { 0.0 };
            let outer = self.conductance[at] * dt;
            let (before, plain_before, per_pa_before) =
                if at > 0 { (upper[at - 1], plain[at - 1], per_pa[at - 1]) } else { (0.0, 0.0, 0.0) };
            let pivot = capacity + inner + outer + inner * before;
            upper[at] = -outer / pivot;
            plain[at] = (capacity * self.excess_k[at] + inner * plain_before) / pivot;
            per_pa[at] = (if gas { self.area_m2[at] } else { 0.0 } + inner * per_pa_before) / pivot;
        }
        for at in (0..SHELLS - 1).rev() {
            plain[at] -= upper[at] * plain[at + 1];
            per_pa[at] -= upper[at] * per_pa[at + 1];
        }
        (plain, per_pa)
    }

    /// Sum of volume over temperature, and its change per kelvin along a direction.
    fn volume_over_k(
        &self,
        swell: f64,
        wall_k: f64,
        excess: &[f64; SHELLS],
        along: &[f64; SHELLS],
    ) -> (f64, f64) {
        let mut sum = (0.0, 0.0);
        for at in 0..GAS_SHELLS {
            let kelvin = wall_k + excess[at];
            sum.0 += self.area_m2[at] / kelvin;
            sum.1 -= self.area_m2[at] * along[at] / (kelvin * kelvin);
        }
        let scale = self.volume_m3 * swell / self.gas_area_m2;
        (sum.0 * scale, sum.1 * scale)
    }
}

/// A leak: share of it that goes with the difference of squares, the rest with nozzle flow.
#[derive(Clone, Copy, Debug)]
pub struct Leak {
    pub pa_m3_s: f64,
    pub crack_share: f64,
}

impl Leak {
    fn at(&self, pressure: f64, start: f64, outer: f64) -> f64 {
        if pressure <= outer {
            return 0.0;
        }
        let crack = (pressure * pressure - outer * outer) / (start * start - outer * outer);
        let nozzle = |p: f64| {
            let ratio = (outer / p).max(0.528_28);
            p * (math::powf(ratio, 2.0 / KAPPA) - math::powf(ratio, (KAPPA + 1.0) / KAPPA)).sqrt()
        };
        self.pa_m3_s
            * (self.crack_share * crack + (1.0 - self.crack_share) * nozzle(pressure) / nozzle(start))
    }
}

/// A circuit under test.
pub struct Circuit {
    pub steel: Tube,
    pub hose: Option<Tube>,
    pub start_pa: f64,
    pub atmosphere_pa: f64,
    pub wall_k: f64,
    pub leak: Leak,
    /// Growth of the hose's volume per decade of time.
    pub creep: f64,
    /// Share of the filling's warmth that the gas still has at the end of the filling.
    pub warm_share: f64,
    pub hold_s: f64,
    /// Temperature of steel and of hose against their first one, by time.
    pub steel_drift: fn(f64, &[f64; 3]) -> f64,
    pub drift: [f64; 3],
    pub hose_drift_k_s: f64,
}

impl Circuit {
    /// Absolute pressures at these times after the supply was shut.
    pub fn decay(&mut self, times_s: &[f64]) -> Vec<f64> {
        let ratio = self.atmosphere_pa / self.start_pa;
        let ideal_k = self.wall_k * (KAPPA / (1.0 + (KAPPA - 1.0) * ratio) - 1.0);
        let (warm, given) = (ideal_k * self.warm_share, ideal_k * (1.0 - self.warm_share));
        self.steel.fill(warm, given, self.start_pa, self.wall_k);
        if let Some(hose) = &mut self.hose {
            hose.fill(warm, given, self.start_pa, self.wall_k);
        }
        let mut held = 0.0;
        while held < self.hold_s {
            self.hold(0.1);
            held += 0.1;
        }
        let mut state = State { time: 0.0, pressure: self.start_pa, change: 0.0, mass: 0.0 };
        state.mass = state.pressure * self.volume_over_k(0.0, None).0 / GAS_J_KG_K;
        times_s
            .iter()
            .map(|until| {
                while state.time < until - 1e-6 {
                    let fine = if state.time < 6.0 || self.leak.pa_m3_s > 0.05 { 0.05 } else { 0.1 };
                    let dt = (until - state.time).min(fine);
                    self.shut(&mut state, dt);
                }
                state.pressure
            })
            .collect()
    }

    fn hold(&mut self, dt: f64) {
        let (start, wall) = (self.start_pa, self.wall_k);
        for tube in std::iter::once(&mut self.steel).chain(&mut self.hose) {
            tube.excess_k = tube.step(start, wall, dt).0;
        }
    }

    fn shut(&mut self, state: &mut State, dt: f64) {
        let middle = state.pressure + state.change / 2.0;
        let leaked = self.leak.at(middle, self.start_pa, self.atmosphere_pa);
        state.mass -= leaked * dt / (GAS_J_KG_K * 293.15);
        state.time += dt;
        let steel = self.steel.step(state.pressure, self.wall_k, dt);
        let hose = self.hose.as_ref().map(|hose| hose.step(state.pressure, self.wall_k, dt));
        let mut change = state.change;
        for _ in 0..3 {
            let moved = |(plain, per_pa): &([f64; SHELLS], [f64; SHELLS])| {
                let mut excess = *plain;
                excess.iter_mut().zip(per_pa).for_each(|(excess, per_pa)| *excess += change * per_pa);
                (excess, *per_pa)
            };
            let now = (moved(&steel), hose.as_ref().map(moved));
            let (sum, slope) = self.volume_over_k(state.time, Some(&now));
            let pressure = state.pressure + change;
            change -= (pressure * sum - state.mass * GAS_J_KG_K) / (sum + pressure * slope);
        }
        let settle = |tube: &mut Tube, (plain, per_pa): &([f64; SHELLS], [f64; SHELLS])| {
            for at in 0..SHELLS {
                tube.excess_k[at] = plain[at] + change * per_pa[at];
            }
        };
        settle(&mut self.steel, &steel);
        if let (Some(tube), Some(found)) = (&mut self.hose, &hose) {
            settle(tube, found);
        }
        state.pressure += change;
        state.change = change;
    }

    #[allow(clippy::type_complexity)]
    fn volume_over_k(
        &self,
        time: f64,
        now: Option<&(([f64; SHELLS], [f64; SHELLS]), Option<([f64; SHELLS], [f64; SHELLS])>)>,
    ) -> (f64, f64) {
        let still = [0.0; SHELLS];
        let steel_k = self.wall_k + (self.steel_drift)(time, &self.drift);
        let steel = match now {
            Some((steel, _)) => self.steel.volume_over_k(1.0, steel_k, &steel.0, &steel.1),
            None => self.steel.volume_over_k(1.0, steel_k, &self.steel.excess_k, &still),
        };
        let Some(hose) = &self.hose else { return steel };
        let hose_k = self.wall_k + self.hose_drift_k_s * time;
        let age = (time + self.hold_s + 0.5) / (self.hold_s + 0.5);
        let swell = 1.0 + self.creep * math::log10(age);
        let part = match now {
            Some((_, Some(found))) => hose.volume_over_k(swell, hose_k, &found.0, &found.1),
            _ => hose.volume_over_k(swell, hose_k, &hose.excess_k, &still),
        };
        (steel.0 + part.0, steel.1 + part.1)
    }
}

struct State {
    time: f64,
    pressure: f64,
    change: f64,
    mass: f64,
}
