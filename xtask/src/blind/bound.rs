//! How sure anybody could be: an observer who knows the virtual plant's own prior and instruments, on the same readings.
//!
//! For each design of a circuit, steels and faults are drawn as the virtual rig draws them. For one of them readings are
//! taken at the mould; the observer weighs every other draw by the exact likelihood of those readings (common errors of
//! meter and gauges integrated as normal, scatter of single readings beside them) and adds up the weights by state. No
//! judgement that sees the same readings can be sure more often without being wrong more often.

use bench::finding::BoreState;
use bench::judge::assess;
use bench::limits::Tables;
use bench::mould::{Known, Process};
use bench::visit::{End, FlowReading, Others, VolumeMethod, What};
use calc::estimate::root_sum_square;
use calc::hydraulics::circuit::Conditions;
use calc::hydraulics::path::Path;
use calc::hydraulics::piece::Piece;
use calc::numeric::math;
use calc::numeric::stats::normal_below;
use calc::quantity::{AbsolutePressure, VolumeFlow};
use link::plan::{BaselinePlan, CircuitPlan, Logger, ReadingKind, ReadingPlan};
use link::{CircuitTruth, Invention, Plan, Simulated, invented_fault, random_plan, simulate};
use nalgebra::{DMatrix, DVector};

use super::groups::true_state;
use super::halves;
use super::score::Score;

/// First seed of the designs.
const FIRST_SEED: u64 = 9_000_000;
/// Water that stays behind on average when a circuit is drained, ml: as the virtual rig has it.
const STAYS_ML: f64 = 1.5;
/// Draws with less than this share of effective ones tell nothing.
const LEAST_EFFECTIVE: f64 = 15.0;

/// One set of readings: name, flow points, volume, baseline.
pub const SETS: [(&str, usize, bool, bool); 5] = [
    ("one point", 1, false, false),
    ("sweep of five", 5, false, false),
    ("one point, baseline", 1, false, true),
    ("one point, volume, baseline", 1, true, true),
    ("sweep of five, volume, baseline", 5, true, true),
];
/// Meters and gauges: name, relative uncertainty of flow, of each gauge in bar.
pub const RIGS: [(&str, f64, f64); 3] =
    [("ordinary", 0.02, 0.05), ("good", 0.01, 0.015), ("excellent", 0.005, 0.004)];

/// Score of the ideal observer and of the program on the same readings.
#[derive(Clone, Debug, Default)]
pub struct Row {
    pub ideal: Score,
    pub program: Score,
    /// Sum of effective draws, and circuits left out for too few.
    pub effective: f64,
    pub left_out: u64,
}

/// A row for each instrument class and set of readings.
pub fn run(tables: &Tables, designs: u64, draws: u64, tests: u64) -> Vec<(String, Row)> {
    let half = |odd: u64| {
        let mut rows = vec![Row::default(); SETS.len() * RIGS.len()];
        (FIRST_SEED..FIRST_SEED + designs)
            .filter(|seed| seed % 2 == odd)
            .for_each(|seed| design(tables, seed, draws, tests, &mut rows));
        rows
    };
    let rows = halves(half, |rows: &mut Vec<Row>, other| {
        for (mine, theirs) in rows.iter_mut().zip(other) {
            mine.ideal.add(&theirs.ideal);
            mine.program.add(&theirs.program);
            mine.effective += theirs.effective;
            mine.left_out += theirs.left_out;
        }
    });
    let names = RIGS.iter().flat_map(|(rig, ..)| SETS.iter().map(move |(set, ..)| format!("{rig}: {set}")));
    names.zip(rows).collect()
}

struct Drawn {
    truth: CircuitTruth,
    path: Path,
}

fn design(tables: &Tables, seed: u64, draws: u64, tests: u64, rows: &mut [Row]) {
    let options = Invention {
        blocked: 0.0,
        leaks_out: 0.0,
        leaks_across: 0.0,
        swapped: 0.0,
        missing: 0.0,
        reversed: 0.0,
        ..Invention::default()
    };
    let Some(pieces) = random_plan(seed, &options).circuits.first().map(|circuit| circuit.pieces.clone())
    else {
        return;
    };
    let drawn: Vec<Drawn> = (0..draws)
        .filter_map(|at| {
            let draw = seed * 1_000_000 + at;
            let played = simulate(&plan(&pieces, draw, &options, None), draw).ok()?;
            let truth = played.truth.circuits.into_iter().next()?;
            Some(Drawn { path: Path::new(&truth.pieces_today).ok()?, truth })
        })
        .collect();
    for test in 0..tests {
        let at = seed * 1_000_000 + draws + test;
        for (place, (rig, set)) in
            RIGS.iter().flat_map(|rig| SETS.iter().map(move |set| (rig, set))).enumerate()
        {
            let plan = plan(&pieces, at, &options, Some((*rig, *set)));
            if let (Ok(played), Some(row)) = (simulate(&plan, at), rows.get_mut(place)) {
                one(tables, &played, &drawn, *rig, row);
            }
        }
    }
}

type Rig = (&'static str, f64, f64);
type Set = (&'static str, usize, bool, bool);

fn plan(pieces: &[Piece], seed: u64, options: &Invention, readings: Option<(Rig, Set)>) -> Plan {
    let mut plan = random_plan(seed, &Invention { circuits: (1, 1), ..options.clone() });
    let mut circuit = CircuitPlan::new("F1", "fixed", pieces.to_vec());
    circuit.fault = invented_fault(pieces, options, seed);
    circuit.known = Known::Drawing;
    plan.process = Process::InjectionMoulding;
    plan.rig.gauges_at_mould = true;
    plan.visit.readings = Vec::new();
    if let Some(((_, flow, gauge), (_, points, volume, baseline))) = readings {
        plan.rig.stated.flow_uncertainty_relative = flow;
        plan.rig.stated.pressure_uncertainty_bar = gauge;
        plan.rig.stated.gauge_step_bar = 0.0;
        plan.rig.stated.temperature_uncertainty_k = 0.1;
        let reading = |what| ReadingPlan { circuits: None, logger: Logger::Own, what };
        let shares = [1.0, 0.8, 0.6, 0.45, 0.3].into_iter().take(points).collect();
        plan.visit.readings.push(reading(ReadingKind::Flow {
            shares,
            others: Others::Closed,
            sampling: None,
        }));
        if volume {
            plan.visit.readings.push(reading(ReadingKind::Volume {
                by_air: false,
                through_fixture: false,
                from: End::Inlet,
            }));
        }
        circuit.baseline = baseline.then_some(BaselinePlan {
            date: None,
            uncertainty_relative: 0.015,
            volume: false,
            air: false,
            others: Others::Closed,
        });
    }
    plan.circuits = vec![circuit];
    plan
}

fn one(tables: &Tables, played: &Simulated, drawn: &[Drawn], rig: Rig, row: &mut Row) {
    let findings = assess(&played.mould, &played.visit, tables);
    let (Some(found), Some(truth)) = (findings.circuits.first(), played.truth.circuits.first()) else {
        return;
    };
    let ln: Vec<f64> = drawn.iter().map(|draw| ln_likelihood(draw, played, rig)).collect();
    let best = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = ln.iter().map(|ln| math::exp(ln - best)).collect();
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    let effective = sum * sum / squares;
    if !effective.is_finite() || effective < LEAST_EFFECTIVE || found.state_fits.is_none() {
        row.left_out += 1;
        return;
    }
    row.effective += effective;
    let mut states: std::collections::BTreeMap<BoreState, f64> = std::collections::BTreeMap::new();
    for (draw, weight) in drawn.iter().zip(&weights) {
        // A call counts as right by the same rule as everywhere: a fault too light to matter may be called as new.
        let (state, as_new_too) = true_state(&draw.truth);
        let state = if as_new_too { BoreState::AsNew } else { state };
        *states.entry(state).or_default() += weight / sum;
    }
    let (state, as_new_too) = true_state(truth);
    row.ideal.note(&states, state, as_new_too);
    row.program.note(&found.state, state, as_new_too);
}

/// Drained volume as the virtual rig reads it: some water stays behind (exponential), the cup errs by 1 ml and 1 % and is
/// read to 1 ml; an exponentially modified normal distribution.
fn ln_drained(holds_ml: f64, read_ml: f64) -> f64 {
    let sd_ml = root_sum_square(&[1.0, 0.01 * holds_ml, 0.29]);
    let missing_ml = holds_ml - read_ml;
    let below = normal_below(missing_ml / sd_ml - sd_ml / STAYS_ML);
    sd_ml * sd_ml / (2.0 * STAYS_ML * STAYS_ML) - missing_ml / STAYS_ML + math::ln(below.max(1e-300))
}

/// Exact up to the linearised common errors: meter, zeros and slopes of the gauges; scatter as the simulator draws it.
fn ln_likelihood(draw: &Drawn, played: &Simulated, (_, gain, gauge_bar): Rig) -> f64 {
    let (mut miss, mut by_gain, mut inlet, mut outlet, mut scatter) =
        (vec![], vec![], vec![], vec![], vec![]);
    let mut ln = 0.0;
    for entry in &played.visit.entries {
        match &entry.what {
            What::Flow(flow) => {
                let FlowReading::Mean(mean) = flow.flow else { continue };
                let pressure = AbsolutePressure::from_bar(3.0);
                let Ok(fluid) = calc::water::water(flow.water_temperature, pressure) else { continue };
                let Ok(drop) = draw.path.drop(&Conditions::new(fluid), VolumeFlow::from_m3_s(mean.m3_s()))
                else {
                    return f64::NEG_INFINITY;
                };
                let per_relative_bar = drop.slope_pa_s_m3 * mean.m3_s() / 1e5;
                miss.push((flow.pressure_in - flow.pressure_out).bar() - drop.drop.bar());
                by_gain.push(per_relative_bar * gain);
                inlet.push(flow.pressure_in.bar());
                outlet.push(flow.pressure_out.bar());
                scatter.push(root_sum_square(&[0.003 * per_relative_bar, 0.001]));
            }
            What::Volume(volume) => {
                if let VolumeMethod::Drained { volume_ml } = volume.method {
                    ln += ln_drained(draw.truth.today.volume.ml(), volume_ml.value);
                }
            }
            _ => {}
        }
    }
    if let Some(base) = played.mould.circuits.first().and_then(|circuit| circuit.baseline.as_ref()) {
        let z = (base.flow_factor_m3_h.value - draw.truth.as_new.flow_factor.m3_h())
            / base.flow_factor_m3_h.standard;
        ln -= 0.5 * z * z;
    }
    let count = miss.len();
    let zero = 0.8 * gauge_bar;
    let slope = 0.6 * gauge_bar / 6.0;
    let covariance = DMatrix::from_fn(count, count, |i, j| {
        let common = by_gain[i] * by_gain[j]
            + 2.0 * zero * zero
            + slope * slope * (inlet[i] * inlet[j] + outlet[i] * outlet[j]);
        common + if i == j { scatter[i] * scatter[i] } else { 0.0 }
    });
    let Some(factor) = covariance.cholesky() else { return f64::NEG_INFINITY };
    let miss = DVector::from_vec(miss);
    let half_ln_determinant: f64 = (0..count).map(|i| math::ln(factor.l_dirty()[(i, i)])).sum();
    ln - 0.5 * miss.dot(&factor.solve(&miss)) - half_ln_determinant
}
