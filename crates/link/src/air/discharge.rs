//! A vessel that empties through a circuit, seen by the gauge on the vessel.

use calc::numeric::math;

use super::path::AirPath;
use super::{GAS, HEAT_CAPACITY_J_KG_K};

/// Longest inner step, s.
const STEP_S: f64 = 0.01;

/// What empties.
#[derive(Clone, Copy, Debug)]
pub struct Charge {
    /// Volume, m3.
    pub volume_m3: f64,
    /// Wall area, m2.
    pub wall_m2: f64,
    /// Heat transfer from wall to gas, W/(m2 K).
    pub film_w_m2_k: f64,
    /// Wall, and the gas at the start, K.
    pub wall_k: f64,
    /// Pressure at the start, Pa absolute.
    pub start_pa: f64,
}

/// What the air goes into when the valve opens.
#[derive(Clone, Copy, Debug)]
pub struct Way<'a> {
    /// Passage to the outside; none: nothing passes.
    pub path: Option<&'a AirPath>,
    /// Volume behind the valve that fills on the way (all of it up to a block), m3.
    pub fills_m3: f64,
    /// Moment at which the valve begins to open, s.
    pub opens_s: f64,
    /// Time that the valve takes to open, s.
    pub opening_s: f64,
}

/// Pressures in the vessel at each step, Pa absolute.
///
/// Mass and heat balance of the vessel: dM = -m dt, M c_v dT = -m R T dt + h A (T_w - T) dt. The circuit's own
/// volume lags towards the pressure half way (in squares) between vessel and outside and takes its air from the
/// vessel, so that no mass is lost.
#[must_use]
pub fn run(charge: Charge, way: Way<'_>, air_pa: f64, step_s: f64, count: usize) -> Vec<f64> {
    let splits = (step_s / STEP_S).ceil().max(1.0);
    let dt = step_s / splits;
    let heat_cv = HEAT_CAPACITY_J_KG_K - GAS;
    let (mut mass, mut gas_k) = (charge.start_pa * charge.volume_m3 / (GAS * charge.wall_k), charge.wall_k);
    let mut behind_pa = air_pa;
    let mut seen = Vec::with_capacity(count);
    let mut time_s = 0.0;
    for _ in 0..count {
        seen.push(mass * GAS * gas_k / charge.volume_m3);
        let mut left = splits;
        while left > 0.5 {
            let front = mass * GAS * gas_k / charge.volume_m3;
            let open = if way.opening_s > 0.0 { (time_s - way.opens_s) / way.opening_s } else { 1.0 };
            let open = if time_s < way.opens_s { 0.0 } else { open.clamp(0.0, 1.0) };
            let passing = way.path.map_or(0.0, |path| path.mass_flow_kg_s(front))
                * open
                * (charge.wall_k / gas_k).sqrt();
            let filled = fill(&mut behind_pa, front, air_pa, &way, passing, open, dt);
            let lost = passing * dt + filled / (GAS * charge.wall_k);
            // Implicit in the wall's heat, so that a good conductor cannot overshoot.
            let (own, wall) = (mass * heat_cv, charge.film_w_m2_k * charge.wall_m2 * dt);
            gas_k = ((own - lost * GAS) * gas_k + wall * charge.wall_k) / (own + wall);
            mass -= lost;
            time_s += dt;
            left -= 1.0;
        }
    }
    seen
}

/// Moves the pressure behind the valve and gives the pV that it took.
fn fill(behind: &mut f64, front: f64, air: f64, way: &Way<'_>, passing: f64, open: f64, dt: f64) -> f64 {
    if open <= 0.0 || way.fills_m3 <= 0.0 {
        return 0.0;
    }
    let target = match way.path {
        Some(_) => ((front * front + air * air) / 2.0).sqrt(),
        None => front,
    };
    // Emptying time of the volume behind; a dead end fills through the open valve in about 50 ms.
    let lag_s = if passing > 0.0 { (way.fills_m3 * front / (GAS * 293.0 * passing)).min(0.05) } else { 0.05 };
    let moved = (target - *behind) * (1.0 - math::exp(-dt / lag_s.max(1e-4)));
    *behind += moved;
    moved * way.fills_m3
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::hydraulics::piece::{Piece, Restrictor};
    use calc::quantity::{AbsolutePressure, Length, Temperature};

    const AIR: AbsolutePressure = AbsolutePressure::STANDARD_ATMOSPHERE;

    fn hole(diameter_mm: f64) -> AirPath {
        let hole = Piece::Restrictor(Restrictor::Hole {
            diameter: Length::from_mm(diameter_mm),
            discharge_coefficient: 0.62,
        });
        AirPath::new(&[hole], Temperature::from_k(293.15), AIR).unwrap()
    }

    fn charge(film_w_m2_k: f64) -> Charge {
        Charge { volume_m3: 10e-3, wall_m2: 0.3, film_w_m2_k, wall_k: 293.15, start_pa: 7e5 }
    }

    fn way(path: Option<&AirPath>, fills_ml: f64) -> Way<'_> {
        Way { path, fills_m3: fills_ml * 1e-6, opens_s: 0.0, opening_s: 0.0 }
    }

    /// Time from 7 to 3.5 bar absolute.
    fn half_time(pressures: &[f64], step_s: f64) -> f64 {
        let after = pressures.iter().position(|p| *p < 3.5e5).unwrap();
        let (high, low) = (pressures[after - 1], pressures[after]);
        step_s * ((after - 1) as f64 + (high - 3.5e5) / (high - low))
    }

    #[test]
    fn isothermal_and_adiabatic_ends() {
        // Choked, V = 10 dm3: isothermal t = tau ln 2, adiabatic t = (tau/0.2) (2^(0.2/1.4) - 1) = 0.520 tau
        // (6.93 s and 5.20 s for tau = 10 s), tau = V/(C 1 bar) with C at 20 degC.
        let path = hole(3.0);
        let tau = 10.0 / path.sonic_conductance().dm3_s_bar();
        let tau = tau * 1e5 / (1.185 * GAS * 293.15);
        let slow = run(charge(1e5), way(Some(&path), 0.0), AIR.pa(), 0.01, 4000);
        assert!((half_time(&slow, 0.01) / (tau * core::f64::consts::LN_2) - 1.0).abs() < 0.01);
        let fast = run(charge(0.0), way(Some(&path), 0.0), AIR.pa(), 0.01, 4000);
        assert!((half_time(&fast, 0.01) / (tau * 0.5205) - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_block_holds_but_shows_the_volume_before_it() {
        let seen = run(charge(1e5), way(None, 200.0), AIR.pa(), 0.02, 500);
        // Boyle: 10 l at 7 bar and 0.2 l at the air's pressure.
        let expected = (7e5 * 10.0 + AIR.pa() * 0.2) / 10.2;
        assert!((seen[499] / expected - 1.0).abs() < 1e-3, "{}", seen[499]);
        assert!((seen[499] - seen[250]).abs() < 1.0);
    }

    #[test]
    fn nothing_moves_before_the_valve_opens() {
        let path = hole(3.0);
        let later = Way { opens_s: 0.5, opening_s: 0.05, ..way(Some(&path), 100.0) };
        let seen = run(charge(35.0), later, AIR.pa(), 0.02, 100);
        assert!(seen[..25].iter().all(|p| (p - 7e5).abs() < 1e-6));
        assert!(seen[40] < 6.9e5);
    }
}
