//! What is simulated survives being written to files and read back, also through the text of a foreign logger.

mod common;

use std::collections::BTreeMap;
use std::path::PathBuf;

use bench::visit::{Decay, FlowReading, What};
use calc::trace::Trace;
use exchange::load_visit_from;
use exchange::write::{Beside, mould_text, visit_files};
use link::{Invention, Plan, Simulated, foreign_csv, random_plan, simulate};

fn trace(what: &What) -> Option<&Trace> {
    fn decay(decay: &Decay) -> Option<&Trace> {
        if let Decay::Trace(trace) = decay { Some(trace) } else { None }
    }
    match what {
        What::LeakDown(reading) => decay(&reading.decay),
        What::AirPassage(reading) => decay(&reading.decay),
        What::Flow(flow) => match &flow.flow {
            FlowReading::Trace(trace) => Some(trace),
            FlowReading::Mean(_) => None,
        },
        _ => None,
    }
}

fn files(simulated: &Simulated) -> BTreeMap<String, Vec<u8>> {
    let beside = Beside { mould: "m.mould.toml", rig: None };
    let mut files: BTreeMap<String, Vec<u8>> = visit_files(&simulated.visit, beside).into_iter().collect();
    files.insert("m.mould.toml".to_owned(), mould_text(&simulated.mould).into_bytes());
    files
}

/// Reads the files of a visit back and holds them against what was simulated.
fn survives(simulated: &Simulated, files: &BTreeMap<String, Vec<u8>>, bar: f64) {
    let name = format!("{}.visit.toml", simulated.visit.id);
    let loaded = load_visit_from(files, &name).unwrap_or_else(|faults| panic!("{name}: {faults:#?}"));
    assert_eq!(loaded.mould.circuits.len(), simulated.mould.circuits.len());
    assert_eq!(loaded.visit.hook_ups, simulated.visit.hook_ups);
    assert_eq!(loaded.visit.entries.len(), simulated.visit.entries.len(), "{name}");
    for (read, made) in loaded.visit.entries.iter().zip(&simulated.visit.entries) {
        assert_eq!(read.circuit, made.circuit, "{name}");
        assert_eq!(core::mem::discriminant(&read.what), core::mem::discriminant(&made.what), "{name}");
        let (Some(read), Some(made)) = (trace(&read.what), trace(&made.what)) else { continue };
        for (a, b) in [
            (Some(&read.time_s), Some(&made.time_s)),
            (read.pressure_bar_g.as_ref(), made.pressure_bar_g.as_ref()),
            (read.flow_l_min.as_ref(), made.flow_l_min.as_ref()),
        ] {
            let (Some(a), Some(b)) = (a, b) else {
                assert_eq!(a.is_some(), b.is_some(), "{name}");
                continue;
            };
            assert_eq!(a.len(), b.len(), "{name}");
            assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() <= bar), "{name}");
        }
    }
}

fn demo(name: &str) -> Simulated {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../data/demo/plans")
        .join(format!("{name}.plan.toml"));
    let plan =
        Plan::from_value(&common::tree(&std::fs::read_to_string(path).expect("a plan"))).expect("a plan");
    simulate(&plan, plan.seed).expect("a visit")
}

#[test]
fn demo_visits_survive_their_files() {
    for name in [
        "cold-frame-hinge",
        "hose-reel-drum",
        "plant-pot-13cm",
        "propagator-cover",
        "seed-tray-lid",
        "tool-hook",
        "trowel-handle",
        "watering-can-body",
    ] {
        let simulated = demo(name);
        survives(&simulated, &files(&simulated), 1e-9);
    }
}

#[test]
fn invented_visits_survive_their_files() {
    for seed in 0..6 {
        let options = Invention { circuits: (6, 8), ..Invention::default() };
        let simulated = simulate(&random_plan(seed, &options), seed).unwrap();
        survives(&simulated, &files(&simulated), 1e-9);
    }
}

#[test]
fn a_foreign_logger_is_understood() {
    let simulated = demo("propagator-cover");
    let mut files = files(&simulated);
    let entry = &simulated.visit.entries[simulated.foreign[0]];
    let prefix = format!("{:02}", simulated.foreign[0] + 1);
    let name = files.keys().find(|name| name.starts_with(&prefix)).cloned().expect("a trace file");
    let text = foreign_csv(trace(&entry.what).unwrap(), simulated.visit.started);
    assert_ne!(files.insert(name, text.clone().into_bytes()), Some(text.into_bytes()));
    // Three digits of psi and clock times of a millisecond.
    survives(&simulated, &files, 1e-3);
}
