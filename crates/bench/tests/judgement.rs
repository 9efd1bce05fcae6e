//! The judgement over small visits written out by hand: every rule that opens or closes a gate, and what is said.
//!
//! Numbers are made so that the right answer follows from definitions (V dp/dt, Kv) or common practice, no source.

mod limits;

use std::collections::BTreeMap;

use bench::finding::{Findings, Fitness, NextStep, Passage, Tightness};
use bench::judge::{Memory, assess, assess_again};
use bench::limits::{Materials, Metal, Tables};
use bench::mould::{Baseline, Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::visit::{
    AirPassage, Charged, CrossWatch, Decay, Entry, Flow, FlowReading, LeakDown, Others, Rig, Treatment,
    TreatmentKind, Visit, What,
};
use calc::estimate::Uncertain;
use calc::quantity::{
    Duration, FlowFactor, GaugePressure, SonicConductance, Temperature, Volume, VolumeFlow,
};
use calc::trace::Trace;

fn tables() -> Tables {
    let metal = Metal { family: "tool-steel".into(), text: "mould steel".into() };
    let materials = Materials {
        metals: BTreeMap::from([("1.2311".into(), metal)]),
        seals: BTreeMap::from([("EPDM".into(), "rubber".into())]),
    };
    Tables { materials, ..limits::tables() }
}

fn id(name: &str) -> CircuitId {
    CircuitId(name.into())
}

/// A circuit with a baseline of 1 m3/h, 100 ml and 5 dm3/(s bar).
fn circuit(name: &str) -> Circuit {
    Circuit {
        id: id(name),
        half: "fixed".into(),
        serves: None,
        metals: vec!["1.2311".into()],
        seals: vec!["EPDM".into()],
        sisters: vec![],
        neighbours: vec![],
        baseline: Some(Baseline {
            flow_factor_m3_h: Uncertain::relative(1.0, 0.015),
            filled_volume_ml: Some(Uncertain::new(100.0, 2.0)),
            sonic_conductance_dm3_s_bar: Some(Uncertain::relative(5.0, 0.03)),
            date: Some("2026-01-15".into()),
            others: Others::Closed,
            sweep: None,
        }),
        pieces: vec![],
        known: Known::Unknown,
        rough_bore: None,
        rough_length: None,
        earlier: vec![],
    }
}

fn mould(circuits: Vec<Circuit>) -> Mould {
    Mould { id: MouldId("T-1".into()), name: "Test".into(), process: Process::InjectionMoulding, circuits }
}

fn rig() -> Rig {
    Rig {
        flow_uncertainty_relative: 0.01,
        pressure_uncertainty_bar: 0.005,
        fixture_flow_factor: Some(FlowFactor::from_m3_h(3.0)),
        fixture_volume: Some(Volume::from_ml(100.0)),
        fixture_sonic_conductance: Some(SonicConductance::from_dm3_s_bar(15.0)),
        ..Rig::default()
    }
}

fn entry(circuit: &str, what: What) -> Entry {
    Entry { place: "visit".into(), at: None, circuit: Some(id(circuit)), what }
}

fn samples(rate_hz: f64, seconds: f64, pressure: impl Fn(f64) -> f64) -> Trace {
    let count = (rate_hz * seconds) as u32;
    let times: Vec<f64> = (0..=count).map(|step| f64::from(step) / rate_hz).collect();
    // A millibar of flicker, as any logger has.
    let flicker = |step: usize| 0.0005 * [0.0, 4.0, 3.0, 2.0, 1.0][step % 5] - 0.001;
    let pressures = times.iter().enumerate().map(|(step, time)| pressure(*time) + flicker(step)).collect();
    Trace { time_s: times, pressure_bar_g: Some(pressures), ..Trace::default() }
}

/// Air held in circuit and hoses of 200 ml that loses this many mbar·l/s.
fn leak_down(circuit: &str, rate_mbar_l_s: f64) -> Entry {
    let fall_bar_s = rate_mbar_l_s / 0.2 / 1000.0;
    let mut trace = samples(10.0, 120.0, |time| 6.0 - fall_bar_s * time);
    trace.temperature_deg_c = Some(vec![20.0; trace.len()]);
    let held = LeakDown {
        decay: Decay::Trace(trace),
        wall_temperature: Some(Temperature::from_deg_c(20.0)),
        hold: Duration::from_s(20.0),
    };
    entry(circuit, What::LeakDown(held))
}

/// Ten litres let out through the circuit: isothermal and choked, p falls with V/C; or held.
fn air_passage(circuit: &str, conductance_dm3_s_bar: f64) -> Entry {
    let trace = samples(20.0, 15.0, |time| {
        let open = (time - 0.5).max(0.0);
        if conductance_dm3_s_bar < 1e-6 {
            6.0
        } else {
            (7.013 * calc::numeric::math::exp(-open * conductance_dm3_s_bar / 10.0) - 1.013).max(0.0)
        }
    });
    let let_out = AirPassage {
        charged: Charged::Reservoir(Volume::from_ml(10_000.0)),
        decay: Decay::Trace(trace),
        air_temperature: Some(Temperature::from_deg_c(20.0)),
    };
    entry(circuit, What::AirPassage(let_out))
}

/// Flow through a circuit of this flow factor (m3/h) behind hoses of 3 m3/h, 3 bar over all.
fn flow(circuit: &str, flow_factor: f64, others: Others) -> Entry {
    let both = 1.0 / (1.0 / flow_factor.powi(2) + 1.0 / 9.0).sqrt();
    let reading = Flow {
        flow: FlowReading::Mean(VolumeFlow::from_m3_h(both * 3.0_f64.sqrt())),
        pressure_in: GaugePressure::from_bar(3.0),
        pressure_out: GaugePressure::from_bar(0.0),
        water_temperature: Temperature::from_deg_c(20.0),
        others,
        through_fixture: true,
    };
    entry(circuit, What::Flow(reading))
}

fn treatment(circuit: &str, kind: TreatmentKind) -> Entry {
    entry(circuit, What::Treatment(Treatment { kind, remark: None }))
}

fn judged(mould: &Mould, entries: Vec<Entry>) -> Findings {
    assess(mould, &visit(mould, entries), &tables())
}

fn visit(mould: &Mould, entries: Vec<Entry>) -> Visit {
    Visit {
        id: "visit".into(),
        mould: mould.id.clone(),
        started: jiff::Timestamp::UNIX_EPOCH,
        by: "tester".into(),
        rig: rig(),
        hook_ups: vec![],
        entries,
    }
}

fn good(name: &str) -> Vec<Entry> {
    vec![
        leak_down(name, 0.0),
        air_passage(name, 4.7),
        flow(name, 1.0, Others::Closed),
        treatment(name, TreatmentKind::Dry),
    ]
}

#[test]
fn a_good_circuit_is_released() {
    let findings = judged(&mould(vec![circuit("F1")]), good("F1"));
    let found = &findings.circuits[0];
    assert_eq!(found.tightness, Tightness::Tight, "{:?}", found.leak_rate_mbar_l_s);
    assert_eq!(
        found.passage,
        Passage::Free,
        "{}",
        found.evidence.iter().map(|e| e.text.clone()).collect::<String>()
    );
    assert!(
        found.gates.wet.open && found.gates.descale.open && found.gates.release.open,
        "{:?}",
        found.gates
    );
    assert_eq!(found.next_step, NextStep::Leave);
    assert_eq!(findings.fit_for_press, Fitness::Yes);
    assert!(found.against_baseline_percent.unwrap().holds(100.0));
}

#[test]
fn the_same_visit_gives_the_same_findings() {
    let mould = mould(vec![circuit("F1")]);
    assert_eq!(format!("{:?}", judged(&mould, good("F1"))), format!("{:?}", judged(&mould, good("F1"))));
}

#[test]
fn a_memory_changes_no_byte() {
    let mut first = circuit("F1");
    first.sisters = vec![id("F2")];
    let mould = mould(vec![first, circuit("F2"), circuit("F3")]);
    let memory = Memory::default();
    let mut readings: Vec<Entry> = Vec::new();
    for more in [good("F1"), good("F2"), good("F3"), vec![flow("F2", 0.6, Others::Closed)]].concat() {
        readings.push(more);
        let visit = visit(&mould, readings.clone());
        let again = assess_again(&mould, &visit, &tables(), &[], &memory);
        assert_eq!(format!("{again:?}"), format!("{:?}", assess(&mould, &visit, &tables())));
    }
    let kept = format!("{memory:?}");
    assert!(["BoreState", "LeakDownResult", "PassageResult"].iter().all(|kind| kept.contains(kind)));
}

#[test]
fn water_stays_out_of_a_blocked_circuit() {
    let findings = judged(&mould(vec![circuit("F1")]), vec![leak_down("F1", 0.0), air_passage("F1", 0.0)]);
    let found = &findings.circuits[0];
    assert_eq!(found.passage, Passage::Blocked);
    assert!(!found.gates.wet.open && !found.gates.descale.open && !found.gates.release.open);
    assert!(found.gates.wet.reason.contains("dead end"), "{}", found.gates.wet.reason);
    assert_eq!(found.next_step, NextStep::Open);
    assert_eq!(findings.fit_for_press, Fitness::No);
}

#[test]
fn acid_stays_out_of_a_circuit_that_leaks_across() {
    // 1 mbar·l/s out of F1 arrives in F2, which holds 200 ml with its hoses: 5 mbar a second.
    let rise = samples(2.0, 60.0, |time| 0.005 * time);
    let watch = CrossWatch {
        open: vec![],
        charged_decay: None,
        also_charged: vec![],
        watched: vec![(id("F2"), Decay::Trace(rise))],
    };
    let entries = vec![leak_down("F1", 1.0), leak_down("F2", 0.0), entry("F1", What::CrossWatch(watch))];
    let findings = judged(&mould(vec![circuit("F1"), circuit("F2")]), entries);
    for (found, other) in findings.circuits.iter().zip(["F2", "F1"]) {
        assert_eq!(found.tightness, Tightness::LeaksAcross, "{}", found.id);
        assert_eq!(found.across_to, [id(other)]);
        assert!(!found.gates.descale.open && !found.gates.wet.open);
        assert_eq!(found.next_step, NextStep::Repair);
    }
    let map = findings.leak_map.unwrap();
    assert!(
        map.paths[0].rate_mbar_l_s.holds(1.0) && map.paths[0].probability > 0.95,
        "V dp/dt: 0.2 l at 5 mbar/s is 1 mbar·l/s, not {:?}",
        map.paths[0]
    );
}

#[test]
fn a_quiet_watch_sends_the_leak_outside() {
    let quiet = samples(2.0, 60.0, |_| 0.0);
    let watch = CrossWatch {
        open: vec![],
        charged_decay: None,
        also_charged: vec![],
        watched: vec![(id("F2"), Decay::Trace(quiet))],
    };
    let entries = vec![leak_down("F1", 1.0), entry("F1", What::CrossWatch(watch))];
    let found = &judged(&mould(vec![circuit("F1"), circuit("F2")]), entries).circuits[0];
    assert_eq!(found.tightness, Tightness::LeaksOut);
    assert!(found.leak_rate_mbar_l_s.unwrap().holds(1.0), "{:?}", found.leak_rate_mbar_l_s);
    assert!(!found.gates.wet.open && found.gates.wet.reason.contains("leak hunt"));
}

#[test]
fn a_half_split_closes_the_gates_of_sender_and_receiver() {
    // F1 and F2 are charged together; F3 rises by 5 mbar/s in 200 ml, and only F1 falls.
    let at = |start: f64, slope: f64| Decay::Trace(samples(2.0, 60.0, move |time| start + slope * time));
    let watch = CrossWatch {
        open: vec![],
        charged_decay: Some(at(6.0, -0.005)),
        also_charged: vec![(id("F2"), Some(at(6.0, 0.0)))],
        watched: vec![(id("F3"), at(0.0, 0.005))],
    };
    let tight = ["F1", "F2", "F3"].map(|id| leak_down(id, 0.0));
    let entries = tight.into_iter().chain([entry("F1", What::CrossWatch(watch))]).collect();
    let findings = judged(&mould(["F1", "F2", "F3"].map(circuit).to_vec()), entries);
    for place in [0, 2] {
        let found = &findings.circuits[place];
        assert_eq!(found.tightness, Tightness::LeaksAcross, "{}", found.id);
        assert!(!found.gates.descale.open && !found.gates.wet.open);
    }
    let map = findings.leak_map.unwrap();
    let first = &map.paths[0];
    assert_eq!((&first.from, first.to.as_ref()), (&id("F1"), Some(&id("F3"))));
    assert!(first.rate_mbar_l_s.holds(1.0) && first.probability > 0.95, "{first:?}");
    assert_ne!(findings.circuits[1].tightness, Tightness::LeaksAcross);
}

#[test]
fn a_half_split_without_the_senders_own_gauge_closes_both() {
    let rise = Decay::Trace(samples(2.0, 60.0, |time| 0.005 * time));
    let watch = CrossWatch {
        open: vec![],
        charged_decay: None,
        also_charged: vec![(id("F2"), None)],
        watched: vec![(id("F3"), rise)],
    };
    let tight = ["F1", "F2", "F3"].map(|id| leak_down(id, 0.0));
    let entries = tight.into_iter().chain([entry("F1", What::CrossWatch(watch))]).collect();
    let findings = judged(&mould(["F1", "F2", "F3"].map(circuit).to_vec()), entries);
    assert!(findings.circuits.iter().all(|found| !found.gates.descale.open && !found.gates.wet.open));
    let map = findings.leak_map.unwrap();
    assert!(map.paths.len() >= 2 && map.paths.iter().all(|path| path.probability < 0.95), "{:?}", map.paths);
    assert!(map.next_test.is_some());
}

#[test]
fn unknown_metals_and_seals_keep_acid_out() {
    for (metals, seals) in
        [(vec![], vec!["EPDM"]), (vec!["1.2311"], vec![]), (vec!["unobtainium"], vec!["EPDM"])]
    {
        let mut strange = circuit("F1");
        strange.metals = metals.into_iter().map(str::to_owned).collect();
        strange.seals = seals.into_iter().map(str::to_owned).collect();
        let named = strange.metals.contains(&"unobtainium".to_owned());
        let findings = judged(&mould(vec![strange]), good("F1"));
        let gates = &findings.circuits[0].gates;
        assert!(gates.wet.open && !gates.descale.open, "{gates:?}");
        assert_eq!(findings.warnings.iter().any(|warning| warning.code == "unknown-material"), named);
    }
}

#[test]
fn a_repair_makes_earlier_readings_outdated() {
    let mut entries = good("F1");
    entries.push(treatment("F1", TreatmentKind::Repair));
    let found = &judged(&mould(vec![circuit("F1")]), entries).circuits[0];
    assert_eq!(found.tightness, Tightness::Untested);
    assert!(
        !found.gates.release.open && found.gates.release.reason.contains("test it again"),
        "{:?}",
        found.gates
    );
}

#[test]
fn not_dried_is_not_released() {
    let mut entries = good("F1");
    entries.pop();
    let findings = judged(&mould(vec![circuit("F1")]), entries);
    assert!(!findings.circuits[0].gates.release.open);
    assert_eq!(findings.fit_for_press, Fitness::CannotTell);
}

#[test]
fn too_much_flow_is_a_finding() {
    let mut entries = good("F1");
    entries[2] = flow("F1", 1.6, Others::Closed);
    let found = &judged(&mould(vec![circuit("F1")]), entries).circuits[0];
    assert_eq!(found.next_step, NextStep::FindOut);
    assert!(found.reason.contains("baffle or plug missing"), "{}", found.reason);
    assert!(!found.gates.release.open);
}

#[test]
fn alone_and_all_open_are_never_compared() {
    let mut entries = good("F1");
    entries[2] = flow("F1", 0.5, Others::Open);
    let findings = judged(&mould(vec![circuit("F1")]), entries);
    assert_eq!(findings.circuits[0].against_baseline_percent, None);
    assert!(findings.warnings.iter().any(|warning| warning.code == "alone-against-all-open"));
}

#[test]
fn a_die_has_its_own_limit() {
    let mut die = mould(vec![circuit("F1")]);
    die.process = Process::DieCasting;
    let entries = vec![leak_down("F1", 0.085)];
    let found = &judged(&die, entries).circuits[0];
    assert!(matches!(found.tightness, Tightness::Leaks | Tightness::CannotTell), "{:?}", found.tightness);
    let limits = judged(&die, vec![]).limits;
    assert!(limits.iter().any(|limit| limit.applied && (limit.value - 0.05).abs() < 1e-12));
    assert!(limits.iter().any(|limit| !limit.applied), "the figures that conflict are shown beside");
}

#[test]
fn nothing_known_asks_for_the_first_reading() {
    let mut bare = circuit("F1");
    bare.baseline = None;
    let findings = judged(&mould(vec![bare]), vec![]);
    let found = &findings.circuits[0];
    assert_eq!(found.tightness, Tightness::Untested);
    assert_eq!(found.next_step, NextStep::FindOut);
    assert!(found.best_next_reading.as_ref().unwrap().contains("leak-down"));
    assert!(!found.gates.wet.open && !found.gates.descale.open && !found.gates.release.open);
    assert!((found.state.values().sum::<f64>() - 1.0).abs() < 1e-9);
    assert_eq!(findings.fit_for_press, Fitness::CannotTell);
}

#[test]
fn exchanged_hoses_are_doubted_and_stop_both_circuits() {
    let mut wide = circuit("F2");
    wide.baseline.as_mut().unwrap().flow_factor_m3_h = Uncertain::relative(2.0, 0.015);
    let mut entries = good("F1");
    entries[2] = flow("F1", 2.0, Others::Closed);
    entries.extend(good("F2"));
    let findings = judged(&mould(vec![circuit("F1"), wide]), entries);
    assert_eq!(findings.hook_up_doubts.len(), 1);
    assert!(findings.hook_up_doubts[0].probability > 0.8);
    assert!(
        findings.circuits.iter().all(|found| !found.gates.wet.open && found.next_step == NextStep::FindOut)
    );
}
