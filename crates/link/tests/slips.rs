//! Hoses that are not where the list has them: readings follow the hose, the list stays as it is.

mod common;

use bench::mould::CircuitId;
use bench::visit::{Decay, Flow, FlowReading, Visit, VolumeMethod, What};
use calc::form::Value;
use link::{Invention, Plan, Simulated, random_plan, simulate};

const PLAN: &str = r#"
format = "borewise-plan/1"
mould = {id = "T-1", name = "test"}
circuit = [
    {id = "F1", half = "fixed", pieces = [{kind = "bore", diameter_mm = 8, length_mm = 400}]},
    {id = "F2", half = "fixed", pieces = [{kind = "bore", diameter_mm = 10, length_mm = 600}]},
    {id = "F3", half = "fixed", pieces = [{kind = "bore", diameter_mm = 12, length_mm = 300}]},
]
reading = [
    {kind = "leak-down", seconds = 20},
    {kind = "volume"},
    {kind = "air-passage", seconds = 8},
    {kind = "flow", trace = false},
]
visit = {id = "v", started = "2026-11-24T08:40:00Z", by = "test"}
[rig]
ports = 4
flow_uncertainty_percent = 0
pressure_uncertainty_bar = 0
temperature_uncertainty_k = 0
reference_volume_ml = 500
reservoir_volume_ml = 5000
pump_curve = [[0, 6.0], [40, 5.0], [90, 0.0]]
supply = [{kind = "hose", diameter_mm = 13, length_mm = 1000}, {kind = "coupling", flow_factor_m3_h = 2.5}]
return = [{kind = "coupling", flow_factor_m3_h = 2.5}, {kind = "hose", diameter_mm = 13, length_mm = 1000}]
"#;

fn played(slips: &str, change: impl Fn(&mut Plan)) -> Simulated {
    let text = format!("{PLAN}\n[slips]\n{slips}");
    let mut plan = Plan::from_value(&common::tree(&text)).unwrap_or_else(|faults| panic!("{faults:?}"));
    change(&mut plan);
    simulate(&plan, 1).expect("a plan that can be played")
}

fn straight() -> Simulated {
    played("", |_| ())
}

fn all<'a>(visit: &'a Visit, id: &str) -> Vec<&'a What> {
    let on = CircuitId(id.to_owned());
    visit
        .entries
        .iter()
        .filter(|entry| entry.circuit.as_ref() == Some(&on))
        .map(|entry| &entry.what)
        .collect()
}

/// Gauge pressure a share of the way through a logged leak-down or passage, bar.
fn pressure(simulated: &Simulated, id: &str, passage: bool, share: f64) -> f64 {
    let decay = all(&simulated.visit, id)
        .into_iter()
        .find_map(|what| match what {
            What::LeakDown(reading) if !passage => Some(&reading.decay),
            What::AirPassage(reading) if passage => Some(&reading.decay),
            _ => None,
        })
        .expect("the reading");
    let Decay::Trace(trace) = decay else { panic!("a trace") };
    let seen = trace.pressure_bar_g.as_ref().expect("pressures");
    seen[((seen.len() - 1) as f64 * share) as usize]
}

fn flow<'a>(simulated: &'a Simulated, id: &str) -> Option<&'a Flow> {
    all(&simulated.visit, id).into_iter().find_map(|what| match what {
        What::Flow(flow) => Some(flow),
        _ => None,
    })
}

fn l_min(flow: &Flow) -> f64 {
    let FlowReading::Mean(mean) = flow.flow else { panic!("a mean") };
    mean.l_min()
}

/// Flow over the root of the drop: what adds up where circuits lie side by side.
fn factor(simulated: &Simulated, id: &str) -> f64 {
    let flow = flow(simulated, id).expect("a flow");
    l_min(flow) / (flow.pressure_in.bar() - flow.pressure_out.bar()).sqrt()
}

fn expansion(simulated: &Simulated, id: &str) -> (f64, f64, f64) {
    let found = all(&simulated.visit, id).into_iter().find_map(|what| match what {
        What::Volume(reading) => match reading.method {
            VolumeMethod::AirExpansion { reference, reference_before, joined, .. } => {
                Some((reference.ml(), reference_before.bar(), joined.bar()))
            }
            VolumeMethod::Drained { .. } => None,
        },
        _ => None,
    });
    found.expect("a volume")
}

/// Pressure left in the vessel and the circuit joined, bar.
fn joined_bar(simulated: &Simulated, id: &str) -> f64 {
    expansion(simulated, id).2
}

/// Volume by air expansion, hoses included, from the law of Boyle and Mariotte, ml.
fn volume_ml(simulated: &Simulated, id: &str) -> f64 {
    let (reference_ml, before_bar, joined_bar) = expansion(simulated, id);
    reference_ml * (before_bar - joined_bar) / joined_bar
}

#[test]
fn air_leaves_an_open_hose_at_once_and_no_water_returns() {
    let open = played(r#"missing = ["F2"]"#, |_| ());
    assert_eq!(open.visit.hook_ups, straight().visit.hook_ups);
    // A second of twenty.
    assert!(pressure(&open, "F2", false, 0.05) < 0.1 && pressure(&open, "F1", false, 1.0) > 5.5);
    assert!(pressure(&open, "F2", true, 1.0) < pressure(&open, "F1", true, 1.0) + 0.05);
    assert!(joined_bar(&open, "F2").abs() < 0.01 && joined_bar(&open, "F1") > 2.0);
    let flow = flow(&open, "F2").unwrap();
    assert!(l_min(flow).abs() < 1e-6 && flow.pressure_in.bar() < 5.0);
    assert!(open.truth.on_port(&CircuitId("F2".into())).is_empty());
}

#[test]
fn two_circuits_on_one_port_add() {
    let (alone, double) = (straight(), played(r#"doubled = [["F1", "F2"]]"#, |_| ()));
    // The hoses of the first port are the same in both.
    let true_ml = |place: usize| alone.truth.circuits[place].today.volume.ml();
    let more = volume_ml(&double, "F1") - volume_ml(&alone, "F1");
    assert!((more - true_ml(1)).abs() < 3.0, "{more} instead of {}", true_ml(1));
    // Between gauges at the mould flow factors add; friction depends a little on flow.
    let at_mould = |slips: &str| played(slips, |plan| plan.rig.gauges_at_mould = true);
    let (one, sum) = (at_mould(""), factor(&at_mould(r#"doubled = [["F1", "F2"]]"#), "F1"));
    let added = factor(&one, "F1") + factor(&one, "F2");
    assert!((sum / added - 1.0).abs() < 0.05, "{sum} instead of {added}");
    // The second's port has open hoses.
    assert!(pressure(&double, "F2", false, 0.05) < 0.1);
    let ids = [CircuitId("F1".into()), CircuitId("F2".into())];
    assert_eq!(double.truth.on_port(&ids[0]), ids);
    assert!(!double.truth.one_whole_circuit(&ids[0]) && !double.truth.one_whole_circuit(&ids[1]));
}

#[test]
fn a_blocked_circuit_beside_an_open_one_does_not_show() {
    let block = |plan: &mut Plan| plan.circuits[1].fault.blocked_at = Some(0.5);
    let double = played(r#"doubled = [["F1", "F2"]]"#, block);
    assert!((factor(&double, "F1") / factor(&straight(), "F1") - 1.0).abs() < 0.01);
    assert!(pressure(&double, "F1", true, 1.0) < 1.0);
}

#[test]
fn bridged_circuits_are_dead_ends_that_fill() {
    let bridged = played(r#"bridged = [["F1", "F3"]]"#, |_| ());
    for id in ["F1", "F3"] {
        assert!(pressure(&bridged, id, true, 1.0) > 4.0);
        assert!(flow(&bridged, id).is_none(), "nobody wets a dead end");
        let share = volume_ml(&bridged, id) / volume_ml(&straight(), id);
        assert!((share - 1.0).abs() < 0.05, "{share}");
    }
    assert!(factor(&bridged, "F2") > 0.0);
    // With all ports open both circuits run.
    let open = played(r#"bridged = [["F1", "F3"]]"#, |plan| {
        let reading = plan.visit.readings.pop().unwrap();
        plan.visit.readings = vec![reading];
        let link::plan::ReadingKind::Flow { others, .. } = &mut plan.visit.readings[0].what else {
            panic!("flow")
        };
        *others = bench::visit::Others::Open;
    });
    assert!(["F1", "F2", "F3"].iter().all(|id| l_min(flow(&open, id).unwrap()) > 1.0));
}

#[test]
fn direction_shows_only_where_gauges_sit_at_the_mould() {
    let drop = |simulated: &Simulated| {
        let flow = flow(simulated, "F1").unwrap();
        flow.pressure_in.bar() - flow.pressure_out.bar()
    };
    let hidden = played(r#"reversed = ["F1"]"#, |_| ());
    assert_eq!(hidden.visit, straight().visit);
    let seen = played(r#"reversed = ["F1"]"#, |plan| plan.rig.gauges_at_mould = true);
    let forward = played("", |plan| plan.rig.gauges_at_mould = true);
    assert!(drop(&seen) < -0.1 && (drop(&seen) + drop(&forward)).abs() < 0.01);
}

#[test]
fn slips_are_checked_and_written_down() {
    let faults = |slips: &str| {
        let text = format!("{PLAN}\n[slips]\n{slips}");
        let found = Plan::from_value(&common::tree(&text)).unwrap_err();
        found.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
    };
    assert_eq!(faults(r#"missing = ["F9"]"#), ["slips.missing"]);
    assert_eq!(faults(r#"bridged = [["F1", "F9"]]"#), ["slips.bridged"]);
    assert_eq!(faults("missing = [\"F1\"]\ndoubled = [[\"F1\", \"F2\"]]"), ["slips.missing"]);
    let value = played(r#"bridged = [["F1", "F3"]]"#, |_| ()).truth.to_value();
    assert_eq!(value.get("bridged").unwrap().items()[0].items()[1].as_text(), Some("F3"));
    assert_eq!(value.get("reversed").map(Value::items).map(<[Value]>::len), Some(0));
}

#[test]
fn invented_slips_stay_within_one_hook_up_and_can_be_played() {
    let options = Invention {
        swapped: 0.5,
        missing: 0.5,
        doubled: 0.5,
        bridged: 0.5,
        reversed: 0.5,
        ..Invention::default()
    };
    let (mut pairs, mut singles) = (0, 0);
    for seed in 0..40 {
        let plan = random_plan(seed, &options);
        let at = |id: &CircuitId| plan.circuits.iter().position(|circuit| circuit.id == *id).unwrap();
        let slips = &plan.slips;
        for (a, b) in slips.swapped.iter().chain(&slips.doubled).chain(&slips.bridged) {
            assert_ne!(a, b);
            assert_eq!(at(a) / plan.rig.ports, at(b) / plan.rig.ports, "seed {seed}: {a} and {b}");
            pairs += 1;
        }
        singles += slips.missing.len() + slips.reversed.len();
        simulate(&plan, seed).unwrap_or_else(|error| panic!("seed {seed}: {error}"));
    }
    assert!(pairs > 35 && singles > 20, "{pairs} {singles}");
}
