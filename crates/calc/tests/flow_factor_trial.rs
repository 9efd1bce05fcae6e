//! How accurate flow factors are, by seeded simulation of circuits and readings.
//!
//! Circuits: bores of 4 to 14 mm, 0.3 to 6 m, two drilled elbows and on average one more every 0.30 m, 1 to 6 m of
//! hose of 9 to 13 mm, four couplings; a pump of 6 bar and 50 l/min; water of 15 to 60 degC. The true circuit differs
//! from its drawing by 0.05 mm of bore, 25 % of loss numbers, 15 % of flow factors, 60 % of roughness.

#![expect(clippy::unwrap_used, reason = "a trial that cannot run should stop here")]

use calc::estimate::Estimate;
use calc::hydraulics::circuit::{Conditions, reference_conditions};
use calc::hydraulics::flow_factor::{
    Fixture, FlowFactorError, FlowPoint, PieceKnowledge, PointUncertainty, expected_flow_factor, flow_factor,
};
use calc::hydraulics::path::{LossScale, Path};
use calc::hydraulics::piece::{ElbowMake, Piece};
use calc::numeric::{math, root, stats};
use calc::quantity::{AbsolutePressure, FlowFactor, Length, PressureDrop, Temperature, VolumeFlow};
use calc::water;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const CIRCUITS: usize = 2000;
const EXACT: PointUncertainty = PointUncertainty { flow_relative: 0.0, drop_bar: 0.0, temperature_k: 0.0 };

struct Chance(ChaCha8Rng);

impl Chance {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    fn normal(&mut self) -> f64 {
        stats::normal_quantile(self.between(1e-12, 1.0 - 1e-12))
    }

    fn times(&mut self, ln_sd: f64) -> f64 {
        math::exp(ln_sd * self.normal())
    }

    fn poisson(&mut self, mean: f64) -> usize {
        let (mut count, mut product) = (0, self.between(0.0, 1.0));
        while product > math::exp(-mean) {
            count += 1;
            product *= self.between(0.0, 1.0);
        }
        count
    }
}

/// Numbers behind a circuit, so that drawing and truth can be built alike.
#[derive(Clone, Copy)]
struct Plan {
    bore_mm: f64,
    length_mm: f64,
    elbows: usize,
    hose_mm: f64,
    hose_length_mm: f64,
    coupling_m3_h: f64,
}

impl Plan {
    fn draw(chance: &mut Chance) -> Self {
        let length_mm = 300.0 * math::exp(chance.between(0.0, math::ln(20.0)));
        Self {
            bore_mm: chance.between(4.0, 14.0),
            length_mm,
            elbows: 2 + chance.poisson(length_mm / 300.0),
            hose_mm: chance.between(9.0, 13.0),
            hose_length_mm: chance.between(1000.0, 6000.0),
            coupling_m3_h: chance.between(1.0, 2.6),
        }
    }

    /// The circuit as it really is, of the pieces that `parts` picks.
    fn truth(self, parts: impl Fn(Self) -> Vec<Piece>, chance: &mut Chance) -> Path {
        let bored = Self {
            bore_mm: self.bore_mm + 0.05 * chance.normal(),
            hose_mm: self.hose_mm * (1.0 + 0.02 * chance.normal()),
            ..self
        };
        Path::new(&parts(bored)).unwrap().scaled(LossScale {
            turns: chance.times(0.25),
            flow_factors: chance.times(0.15),
            roughness: chance.times(0.6),
        })
    }

    fn mould(self) -> Vec<Piece> {
        let diameter = Length::from_mm(self.bore_mm);
        let elbow = Piece::Elbow { diameter, make: ElbowMake::Drilled, loss_k: None };
        let mut pieces = vec![Piece::Bore {
            diameter,
            length: Length::from_mm(self.length_mm),
            roughness: Length::from_um(10.0),
        }];
        pieces.extend(vec![elbow; self.elbows]);
        pieces
    }

    fn whole(self) -> Vec<Piece> {
        let mut pieces = self.mould();
        pieces.push(Piece::Hose {
            diameter: Length::from_mm(self.hose_mm),
            length: Length::from_mm(self.hose_length_mm),
            roughness: Length::from_um(2.0),
        });
        let coupling = Piece::Coupling { flow_factor: FlowFactor::from_m3_h(self.coupling_m3_h) };
        pieces.extend(vec![coupling; 4]);
        pieces
    }
}

fn conditions(deg_c: f64) -> Conditions {
    let bar = AbsolutePressure::from_bar(3.0);
    Conditions::new(water::water(Temperature::from_deg_c(deg_c), bar).unwrap())
}

fn true_factor_m3_h(truth: &Path) -> f64 {
    truth.flow(&reference_conditions(), PressureDrop::from_bar(1.0)).unwrap().0.m3_h()
}

/// Exact readings at the given shares of the flow that the pump gives, through a circuit and a fixture.
fn sweep(circuit: &Path, fixture_m3_h: f64, deg_c: f64, shares: &[f64]) -> Vec<FlowPoint> {
    let conditions = conditions(deg_c);
    let fixture = Path::new(&[Piece::Coupling { flow_factor: FlowFactor::from_m3_h(fixture_m3_h) }]).unwrap();
    let drop_bar = |flow_l_min: f64| {
        let flow = VolumeFlow::from_l_min(flow_l_min);
        let lost = |path: &Path| path.drop(&conditions, flow).unwrap().drop.bar();
        lost(circuit) + lost(&fixture)
    };
    let spare = |flow_l_min: f64| 6.0 * (1.0 - flow_l_min / 50.0) - drop_bar(flow_l_min);
    let full = root::bracketed(spare, 0.0, 50.0, 1e-9).unwrap();
    let point = |share: &f64| FlowPoint {
        flow: VolumeFlow::from_l_min(full * share),
        drop: PressureDrop::from_bar(drop_bar(full * share)),
        temperature: Temperature::from_deg_c(deg_c),
    };
    shares.iter().map(point).collect()
}

/// Root mean square and 95th percentile of relative errors, in per cent.
fn figures(mut errors: Vec<f64>) -> (f64, f64) {
    let rms = (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt();
    errors.iter_mut().for_each(|error| *error = error.abs());
    errors.sort_by(f64::total_cmp);
    (100.0 * rms, 100.0 * errors[errors.len() * 95 / 100])
}

#[derive(Clone, Copy)]
struct Set {
    name: &'static str,
    warm: (f64, f64),
    shares: &'static [f64],
    pieces: bool,
    scatter: f64,
    /// Largest even layer on the wall, as a share of the bore.
    layer: f64,
    /// What may not be exceeded, rms in per cent.
    bound: f64,
}

const FIVE: &[f64] = &[0.2, 0.4, 0.6, 0.8, 1.0];

/// Relative errors, and the share of intervals that hold the truth.
fn run(set: Set) -> (Vec<f64>, f64) {
    let mut chance = Chance(ChaCha8Rng::seed_from_u64(71));
    let mut held = 0;
    let errors = (0..CIRCUITS).map(|_| {
        let plan = Plan::draw(&mut chance);
        let coat = 1.0 - 2.0 * set.layer * chance.between(0.0, 1.0);
        let coated = Plan { bore_mm: plan.bore_mm * coat, ..plan };
        let truth = coated.truth(Plan::whole, &mut chance);
        let deg_c = chance.between(set.warm.0, set.warm.1);
        let mut points = sweep(&truth, 1e6, deg_c, set.shares);
        for point in &mut points {
            point.flow = point.flow * (1.0 + set.scatter * chance.normal());
        }
        // Scatter from point to point is three tenths of the stated uncertainty.
        let uncertainty = PointUncertainty { flow_relative: set.scatter / 0.3, ..EXACT };
        let drawing = plan.whole();
        let found =
            flow_factor(&points, uncertainty, set.pieces.then_some(drawing.as_slice()), None).unwrap();
        let true_factor = true_factor_m3_h(&truth);
        held += usize::from(found.estimate.holds(true_factor));
        found.flow_factor_m3_h.value / true_factor - 1.0
    });
    (errors.collect(), held as f64 / CIRCUITS as f64)
}

#[test]
fn errors_stay_within_what_the_method_book_says() {
    let one: &[f64] = &[1.0];
    let set = |name, warm, shares, pieces, scatter, bound| Set {
        name,
        warm,
        shares,
        pieces,
        scatter,
        bound,
        layer: 0.0,
    };
    let fouled = Set {
        layer: 0.15,
        ..set("one exact point, fouled, pieces as new, 15-60 degC", (15.0, 60.0), &[1.0], true, 0.0, 0.9)
    };
    let wide = (15.0, 60.0);
    for set in [
        set("one exact point, no pieces, 15-60 degC", wide, one, false, 0.0, 1.7),
        set("one exact point, no pieces, 18-25 degC", (18.0, 25.0), one, false, 0.0, 1.7),
        set("one exact point, no pieces, 50-60 degC", (50.0, 60.0), one, false, 0.0, 2.3),
        set("one exact point, known pieces, 15-60 degC", wide, one, true, 0.0, 0.7),
        set("five exact points, no pieces, 15-60 degC", wide, FIVE, false, 0.0, 0.04),
        set("five exact points, known pieces, 15-60 degC", wide, FIVE, true, 0.0, 0.04),
        set("five points, 1 % scatter, no pieces, 15-60 degC", wide, FIVE, false, 0.01, 1.5),
        fouled,
        set("five points, 1 % scatter, known pieces, 15-60 degC", wide, FIVE, true, 0.01, 0.8),
    ] {
        let (errors, coverage) = run(set);
        let (rms, p95) = figures(errors);
        println!(
            "{:<55} rms {rms:.3} %, 95 % within {p95:.3} %, interval holds {:.1} %",
            set.name,
            100.0 * coverage
        );
        assert!(rms <= set.bound, "{}: {rms} %", set.name);
        assert!((0.90..=1.0).contains(&coverage), "{}: {coverage}", set.name);
    }
}

/// Readings with every error of the instruments, the fixture taken away: does the interval hold the truth?
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let stated = PointUncertainty { flow_relative: 0.02, drop_bar: 0.02, temperature_k: 1.0 };
    for (name, shares, known) in [
        ("one point", &[1.0] as &[f64], false),
        ("one point, pieces", &[1.0], true),
        ("five points", FIVE, false),
        ("five points, pieces", FIVE, true),
    ] {
        let mut chance = Chance(ChaCha8Rng::seed_from_u64(5));
        let (mut held, mut told, mut errors) = (0, 0, Vec::new());
        for _ in 0..CIRCUITS {
            let plan = Plan::draw(&mut chance);
            let truth = plan.truth(Plan::mould, &mut chance);
            let fixture_m3_h = chance.between(0.8, 2.0);
            let deg_c = chance.between(15.0, 60.0);
            let mut points = sweep(&truth, fixture_m3_h, deg_c, shares);
            let (gain, offset, warmth) = (chance.normal(), chance.normal(), chance.normal());
            for point in &mut points {
                let (flow, drop) = (gain + 0.3 * chance.normal(), offset + 0.3 * chance.normal());
                point.flow = point.flow * (1.0 + 0.02 * flow);
                point.drop = point.drop + PressureDrop::from_bar(0.02 * drop);
                point.temperature = Temperature::from_deg_c(deg_c + warmth);
            }
            let fixture = Fixture {
                flow_factor: FlowFactor::from_m3_h(fixture_m3_h * chance.times(0.03)),
                relative_uncertainty: 0.03,
            };
            let drawing = plan.mould();
            match flow_factor(&points, stated, known.then_some(drawing.as_slice()), Some(fixture)) {
                Ok(found) => {
                    let true_factor = true_factor_m3_h(&truth);
                    told += 1;
                    held += i32::from(found.estimate.holds(true_factor));
                    errors.push(found.flow_factor_m3_h.value / true_factor - 1.0);
                }
                Err(FlowFactorError::CannotTell { .. }) => {}
                Err(other) => panic!("{other}"),
            }
        }
        let coverage = f64::from(held) / f64::from(told);
        let (rms, p95) = figures(errors);
        println!(
            "{name:<22} told {told} of {CIRCUITS}, interval holds {:.1} %, rms {rms:.1} %, 95 % within {p95:.1} %",
            100.0 * coverage
        );
        assert!(told > CIRCUITS as i32 * 9 / 10 && (0.925..=0.985).contains(&coverage), "{name}: {coverage}");
    }
}

#[test]
fn expected_flow_factors_are_as_uncertain_as_they_say() {
    let mut chance = Chance(ChaCha8Rng::seed_from_u64(12));
    let held: usize = (0..CIRCUITS)
        .map(|_| {
            let plan = Plan { bore_mm: chance.between(6.0, 14.0), ..Plan::draw(&mut chance) };
            let expected = expected_flow_factor(&plan.whole(), PieceKnowledge::DRAWING).unwrap();
            let interval = Estimate::lognormal(expected.value, expected.relative_standard());
            let truth = true_factor_m3_h(&plan.truth(Plan::whole, &mut chance));
            usize::from(interval.holds(truth))
        })
        .sum();
    let coverage = held as f64 / CIRCUITS as f64;
    println!("expected flow factor: interval holds {:.1} %", 100.0 * coverage);
    assert!((0.93..=0.97).contains(&coverage), "{coverage}");
}
