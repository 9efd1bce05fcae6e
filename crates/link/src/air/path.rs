//! Air through pieces in a row: marched from the outlet back to the inlet at the wall's temperature.

use core::f64::consts::PI;

use calc::air::gas;
use calc::hydraulics::circuit::HydraulicsError;
use calc::hydraulics::friction;
use calc::hydraulics::losses_table::{BENT_ELBOW, CONTRACTION_K, DRILLED_ELBOW, TIP_TURN};
use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::numeric::math;
use calc::quantity::{AbsolutePressure, Length, SonicConductance, Temperature};

use super::GAS;

/// Pressure in front at which conductances are stated, Pa absolute.
const STATED_AT_PA: f64 = 7e5;
/// Critical ratio of a coupling (0.2 to 0.4 for valves; common practice).
const COUPLING_RATIO: f64 = 0.3;
/// Critical ratio of a sharp hole.
const HOLE_RATIO: f64 = 0.5;
/// Roughness where the piece does not say.
const DRILLED_UM: f64 = 10.0;
/// Points of the table of mass flow against pressure.
const POINTS: u32 = 16;

#[derive(Clone, Debug)]
enum Element {
    /// A channel: area, hydraulic diameter, length, relative roughness, loss number.
    Duct { area_m2: f64, wide_m: f64, length_m: f64, rough: f64, k: f64 },
    /// A short part by mass flow per pressure when choked (kg/(s Pa)) and critical ratio.
    Nozzle { per_pa: f64, ratio: f64 },
    /// Parallel branches, each with its share of the flow.
    Split(Vec<(f64, Vec<Element>)>),
}

/// How much air passes, as a table.
#[derive(Clone, Debug)]
pub struct AirPath {
    /// Pressure in front squared, Pa2, and mass flow squared; from rest up.
    table: Vec<(f64, f64)>,
    air_pa: f64,
}

impl AirPath {
    /// Pieces that end in the surrounding air; the wall has this temperature.
    ///
    /// # Errors
    /// [`HydraulicsError`] for geometry beyond the friction law and for a path without resistance.
    pub fn new(pieces: &[Piece], wall: Temperature, air: AbsolutePressure) -> Result<Self, HydraulicsError> {
        let march = March::new(wall)?;
        let elements = march.elements(pieces);
        let resistance = march.square_resistance(&elements);
        if resistance <= 0.0 {
            return Err(HydraulicsError::NoResistance);
        }
        let most = 1.25 * STATED_AT_PA / resistance.sqrt();
        let mut table = vec![(air.pa() * air.pa(), 0.0)];
        for point in 1..=POINTS {
            let flow = most * f64::from(point) / f64::from(POINTS);
            let front = march.front(&elements, flow, air.pa())?;
            table.push((front * front, flow * flow));
        }
        Ok(Self { table, air_pa: air.pa() })
    }

    /// Mass flow at a pressure in front, kg/s; straight lines between the squares, in which isothermal flow is
    /// nearly straight.
    #[must_use]
    pub fn mass_flow_kg_s(&self, front_pa: f64) -> f64 {
        if front_pa <= self.air_pa {
            return 0.0;
        }
        let square = front_pa * front_pa;
        let after = self.table.partition_point(|(p2, _)| *p2 < square).clamp(1, self.table.len() - 1);
        let (low, high) = (self.table[after - 1], self.table[after]);
        let slope = (high.1 - low.1) / (high.0 - low.0);
        (low.1 + slope * (square - low.0)).max(0.0).sqrt()
    }

    /// Sonic conductance at 7 bar absolute in front.
    #[must_use]
    pub fn sonic_conductance(&self) -> SonicConductance {
        let flow = self.mass_flow_kg_s(STATED_AT_PA);
        SonicConductance::from_m3_s_pa(flow / (gas::REFERENCE_DENSITY_KG_M3 * STATED_AT_PA))
    }
}

struct March {
    rt: f64,
    viscosity_pa_s: f64,
}

impl March {
    fn new(wall: Temperature) -> Result<Self, HydraulicsError> {
        Ok(Self { rt: GAS * wall.k(), viscosity_pa_s: gas::viscosity_pa_s(wall)? })
    }

    fn elements(&self, pieces: &[Piece]) -> Vec<Element> {
        let mut elements = Vec::with_capacity(pieces.len());
        let mut before = None;
        for piece in pieces {
            let here = bore_of(piece);
            if let Some((from, to)) = before.zip(here)
                && let Some(step) = change_of_bore(from, to)
            {
                push(&mut elements, step);
            }
            before = here;
            self.piece(piece, &mut elements);
        }
        elements
    }

    fn piece(&self, piece: &Piece, into: &mut Vec<Element>) {
        match piece {
            Piece::Bore { diameter, length, roughness } | Piece::Hose { diameter, length, roughness } => {
                push(into, round(diameter.m(), length.m(), roughness.m(), 0.0));
            }
            Piece::Elbow { diameter, make, loss_k } => {
                let table = match make {
                    ElbowMake::Drilled => DRILLED_ELBOW,
                    ElbowMake::Bent => BENT_ELBOW,
                };
                push(into, round(diameter.m(), 0.0, 0.0, loss_k.unwrap_or(table.infinite)));
            }
            Piece::Coupling { flow_factor } | Piece::Restrictor(Restrictor::Measured { flow_factor }) => {
                // 1 bar at 1000 kg/m3 and the flow it names, so an area of A = Q sqrt(rho / (2 dp)).
                let area = flow_factor.m3_h() / 3600.0 * (1000.0_f64 / 2e5).sqrt();
                into.push(self.nozzle(area, COUPLING_RATIO));
            }
            Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => {
                into.push(self.nozzle(discharge_coefficient * disc(diameter.m()), HOLE_RATIO));
            }
            Piece::Baffle { diameter, depth, blade } => {
                let k = TIP_TURN.infinite + 2.0 * DRILLED_ELBOW.infinite;
                push(into, half_round(diameter.m(), blade.m(), 2.0 * depth.m(), k));
            }
            Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => {
                let entry = DRILLED_ELBOW.infinite + CONTRACTION_K;
                let (tube, gap) = (disc(tube_inner.m()), disc(diameter.m()) - disc(tube_outer.m()));
                let (tip_tube, tip_gap) =
                    if tube < gap { (TIP_TURN.infinite, 0.0) } else { (0.0, TIP_TURN.infinite) };
                push(into, round(tube_inner.m(), depth.m(), 1.5e-6, entry + tip_tube));
                push(into, ring(*diameter, *tube_outer, *depth, DRILLED_ELBOW.infinite + tip_gap));
            }
            Piece::Annulus { outer, inner, length } => push(into, ring(*outer, *inner, *length, 0.0)),
            Piece::Split { branches } => into.push(self.split(branches)),
        }
    }

    /// A short part that at small drops passes what an incompressible jet of this area would.
    fn nozzle(&self, area_m2: f64, ratio: f64) -> Element {
        Element::Nozzle { per_pa: area_m2 * ((1.0 - ratio) / self.rt).sqrt(), ratio }
    }

    fn split(&self, branches: &[Vec<Piece>]) -> Element {
        let ways: Vec<(f64, Vec<Element>)> = branches
            .iter()
            .map(|branch| {
                let elements = self.elements(branch);
                (1.0 / self.square_resistance(&elements).max(1e-30).sqrt(), elements)
            })
            .collect();
        let total: f64 = ways.iter().map(|(openness, _)| openness).sum();
        Element::Split(ways.into_iter().map(|(openness, way)| (openness / total, way)).collect())
    }

    /// Drop of the squared pressure per squared mass flow, friction taken as fully rough.
    fn square_resistance(&self, elements: &[Element]) -> f64 {
        elements
            .iter()
            .map(|element| match element {
                Element::Duct { area_m2, wide_m, length_m, k, .. } => {
                    (0.03 * length_m / wide_m + k) * self.rt / (area_m2 * area_m2)
                }
                Element::Nozzle { per_pa, ratio } => (1.0 - ratio) / (per_pa * per_pa),
                Element::Split(ways) => {
                    let openness: f64 =
                        ways.iter().map(|(_, way)| 1.0 / self.square_resistance(way).max(1e-30).sqrt()).sum();
                    1.0 / (openness * openness)
                }
            })
            .sum()
    }

    /// Pressure in front that drives this mass flow against a pressure behind.
    fn front(&self, elements: &[Element], flow: f64, behind_pa: f64) -> Result<f64, HydraulicsError> {
        let mut pressure = behind_pa;
        for element in elements.iter().rev() {
            pressure = match element {
                Element::Duct { area_m2, wide_m, length_m, rough, k } => {
                    let flux = flow / area_m2;
                    let reynolds = (flux * wide_m / self.viscosity_pa_s).max(1.0);
                    let friction = if *length_m > 0.0 {
                        friction::friction(reynolds, *rough)?.darcy_factor * length_m / wide_m
                    } else {
                        0.0
                    };
                    self.duct_front(flux, friction + k, pressure)
                }
                Element::Nozzle { per_pa, ratio } => nozzle_front(flow / per_pa, *ratio, pressure),
                Element::Split(ways) => {
                    // The way that takes most sets the pressure; the shares were chosen so that all agree.
                    let most = ways.iter().max_by(|a, b| a.0.total_cmp(&b.0));
                    match most {
                        Some((share, way)) => self.front(way, flow * share, pressure)?,
                        None => pressure,
                    }
                }
            };
        }
        Ok(pressure)
    }

    /// Isothermal gas in a channel: p1^2 - p2^2 = G^2 R T (X + 2 ln(p1/p2)), with p2 at least the choking pressure
    /// G sqrt(R T) at the outlet (`crane-tp410`, isothermal flow).
    fn duct_front(&self, flux: f64, losses: f64, behind_pa: f64) -> f64 {
        let drive = flux * flux * self.rt;
        let outlet2 = (behind_pa * behind_pa).max(drive);
        let mut square = outlet2 + drive * losses;
        for _ in 0..6 {
            let miss = square - outlet2 - drive * (losses + math::ln(square / outlet2));
            square -= miss / (1.0 - drive / square).max(0.05);
        }
        square.max(outlet2).sqrt()
    }
}

/// Pressure in front of a part of ISO 6358, from the pressure that would choke it and the pressure behind.
fn nozzle_front(choked_pa: f64, ratio: f64, behind_pa: f64) -> f64 {
    if behind_pa <= ratio * choked_pa {
        return choked_pa;
    }
    // (1-b)^2 (p1^2 - P^2) = (p2 - b p1)^2, solved for p1.
    let side = (1.0 - ratio) * (1.0 - ratio);
    let (a, half_b, c) =
        (1.0 - 2.0 * ratio, ratio * behind_pa, behind_pa * behind_pa + side * choked_pa * choked_pa);
    if a.abs() < 1e-9 { c / (2.0 * half_b) } else { ((half_b * half_b + a * c).sqrt() - half_b) / a }
}

/// Adds an element, joined with the one before it if both are ducts of the same section.
fn push(into: &mut Vec<Element>, element: Element) {
    if let (
        Some(Element::Duct { area_m2, wide_m, length_m, rough, k }),
        Element::Duct { area_m2: area, wide_m: wide, length_m: more, rough: rougher, k: turns },
    ) = (into.last_mut(), &element)
        && (*area_m2 - area).abs() < 1e-15
        && (*wide_m - wide).abs() < 1e-12
    {
        *length_m += more;
        *k += turns;
        *rough = rough.max(*rougher);
        return;
    }
    into.push(element);
}

fn bore_of(piece: &Piece) -> Option<f64> {
    match piece {
        Piece::Bore { diameter, .. } | Piece::Elbow { diameter, .. } => Some(diameter.m()),
        _ => None,
    }
}

fn change_of_bore(from_m: f64, to_m: f64) -> Option<Element> {
    let (narrow, wide) = (disc(from_m.min(to_m)), disc(from_m.max(to_m)));
    let open = 1.0 - narrow / wide;
    let k = if to_m > from_m { open * open } else { CONTRACTION_K * open };
    (k > 1e-9).then(|| round(from_m.min(to_m), 0.0, 0.0, k))
}

fn disc(diameter_m: f64) -> f64 {
    PI / 4.0 * diameter_m * diameter_m
}

fn duct(area_m2: f64, wide_m: f64, length_m: f64, roughness_m: f64, k: f64) -> Element {
    let rough = (roughness_m / wide_m).clamp(0.0, friction::RELATIVE_ROUGHNESS_MAX);
    Element::Duct { area_m2, wide_m, length_m, rough, k }
}

fn round(diameter_m: f64, length_m: f64, roughness_m: f64, k: f64) -> Element {
    duct(disc(diameter_m), diameter_m, length_m, roughness_m, k)
}

/// Half a disc beside a blade: area and perimeter of the half disc less the blade's half.
fn half_round(diameter_m: f64, blade_m: f64, length_m: f64, k: f64) -> Element {
    let area = disc(diameter_m) / 2.0 - diameter_m * blade_m / 2.0;
    let perimeter = PI * diameter_m / 2.0 + diameter_m;
    duct(area, 4.0 * area / perimeter, length_m, DRILLED_UM * 1e-6, k)
}

fn ring(outer: Length, inner: Length, length: Length, k: f64) -> Element {
    duct(disc(outer.m()) - disc(inner.m()), (outer - inner).m(), length.m(), DRILLED_UM * 1e-6, k)
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::quantity::FlowFactor;

    const AIR: AbsolutePressure = AbsolutePressure::STANDARD_ATMOSPHERE;
    const WALL: Temperature = Temperature::from_deg_c(20.0);

    fn bore(diameter_mm: f64, length_m: f64) -> Piece {
        Piece::Bore {
            diameter: Length::from_mm(diameter_mm),
            length: Length::from_m(length_m),
            roughness: Length::from_um(0.1),
        }
    }

    fn turns(diameter_mm: f64, k: f64) -> Piece {
        Piece::Elbow { diameter: Length::from_mm(diameter_mm), make: ElbowMake::Drilled, loss_k: Some(k) }
    }

    #[test]
    fn long_pipes_as_another_program_marches_them() {
        // From our prototype in another language, isothermal pipe, 7 bar absolute, 20 degC: bore, length, K, C.
        for (d, length, k, c) in
            [(8.0, 1.0, 6.0, 4.2), (8.0, 3.0, 15.0, 2.8), (10.0, 2.0, 10.0, 5.4), (6.0, 1.0, 6.0, 2.3)]
        {
            let path = AirPath::new(&[bore(d, length), turns(d, k)], WALL, AIR).unwrap();
            let found = path.sonic_conductance().dm3_s_bar();
            assert!((found / c - 1.0).abs() < 0.05, "{d} {length}: {found} instead of {c}");
        }
    }

    #[test]
    fn a_duct_meets_the_isothermal_balance_and_chokes_at_its_end() {
        let march = March::new(WALL).unwrap();
        for (flux, losses) in [(50.0, 5.0), (400.0, 5.0), (2000.0, 20.0), (2000.0, 0.2)] {
            let front = march.duct_front(flux, losses, 1e5);
            let drive = flux * flux * march.rt;
            let outlet = 1e5_f64.max(drive.sqrt());
            let right = drive * (losses + 2.0 * math::ln(front / outlet));
            assert!(((front * front - outlet * outlet) / right - 1.0).abs() < 1e-6, "{flux}");
        }
        // Isothermal choking is at Mach 1/sqrt(1.4).
        let sound = (1.4 * march.rt).sqrt();
        let front = march.duct_front(2000.0, 0.0, 1e5);
        let velocity = 2000.0 * march.rt / front;
        assert!((velocity / sound - 1.0 / 1.4_f64.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn two_equal_parts_in_a_row() {
        // ISO 6358 parts solved for the pressure between them: two of C = 1, b = 0.3 make 0.757 (closed form of the ellipse, solved by hand).
        let march = March::new(WALL).unwrap();
        let one = march.nozzle(1e-5, 0.3);
        let Element::Nozzle { per_pa, .. } = &one else { panic!("a nozzle") };
        let choked = per_pa * 1e6;
        let flow = 0.757 * choked;
        let front = march.front(&[one.clone(), one.clone()], flow, 0.05e6).unwrap();
        assert!((front / 1e6 - 1.0).abs() < 2e-3, "{front}");
    }

    #[test]
    fn equal_branches_halve_the_flow() {
        let branch = vec![bore(8.0, 1.0), turns(8.0, 3.0)];
        let single = AirPath::new(&branch, WALL, AIR).unwrap();
        let double =
            AirPath::new(&[Piece::Split { branches: vec![branch.clone(), branch] }], WALL, AIR).unwrap();
        let ratio = double.sonic_conductance().dm3_s_bar() / single.sonic_conductance().dm3_s_bar();
        assert!((ratio - 2.0).abs() < 0.01, "{ratio}");
    }

    #[test]
    fn agrees_with_the_inference_code_within_what_it_claims() {
        // Two programs, one by marching back and one forth; the other takes 0.6 % off for colder gas.
        let pieces = [
            Piece::Hose {
                diameter: Length::from_mm(9.0),
                length: Length::from_m(2.0),
                roughness: Length::from_um(2.0),
            },
            Piece::Coupling { flow_factor: FlowFactor::from_m3_h(1.8) },
            bore(8.0, 1.5),
            turns(8.0, 6.5),
        ];
        let path = AirPath::new(&pieces, WALL, AIR).unwrap();
        for bar in [1.2, 2.0, 4.0, 7.0] {
            let front = AbsolutePressure::from_bar(bar);
            let other = calc::air::sonic::line::mass_flow_kg_s(&pieces, front, AIR, WALL).unwrap();
            let ratio = path.mass_flow_kg_s(front.pa()) / other;
            assert!((ratio - 1.0).abs() < 0.05, "{bar}: {ratio}");
        }
    }
}
