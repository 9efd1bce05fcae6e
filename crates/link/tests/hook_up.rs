//! Blind trial of the hook-up check: slips forced into simulated visits, and visits without any.
//!
//! `VISITS=3000 cargo test -p link --test hook_up -- --nocapture` runs a larger one.

use std::collections::BTreeMap;
use std::path::Path;

use bench::finding::{BoreState, HookUpSlip};
use bench::judge::HookUpCheck;
use bench::limits::Tables;
use bench::mould::CircuitId;
use calc::infer::hook_up::{LnValue, Port, Quantities, apart};
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{CircuitTruth, Invention, Simulated, random_plan, simulate};

/// Two circuits differ if it is by more than so many combined standard uncertainties.
const LEASTS: [f64; 8] = [0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9];
/// Two circuits differ if it is by more than so many combined standard uncertainties.
const DIFFER: f64 = 3.0;

fn tables() -> Tables {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().and_then(Path::parent).unwrap();
    read_tables(&Folder::new(root.join("data")), "limits/default.toml", "materials/materials.toml").unwrap()
}

/// Visits of a run; the larger figure is asked for by VISITS.
fn visits(ordinary: u64) -> u64 {
    std::env::var("VISITS").ok().and_then(|count| count.parse().ok()).unwrap_or(ordinary)
}

fn no_slips() -> Invention {
    Invention {
        swapped: 0.0,
        missing: 0.0,
        doubled: 0.0,
        bridged: 0.0,
        reversed: 0.0,
        ..Invention::default()
    }
}

/// Plays visits of consecutive seeds on two threads and judges them.
fn played<T: Send>(
    first: u64,
    count: u64,
    options: &Invention,
    judge: impl Fn(&Simulated, &HookUpCheck) -> T + Sync,
) -> Vec<T> {
    let tables = tables();
    let half = |odd: u64| -> Vec<T> {
        (first..first + count)
            .filter(|seed| seed % 2 == odd)
            .filter_map(|seed| simulate(&random_plan(seed, options), seed).ok())
            .map(|one| judge(&one, &HookUpCheck::of(&one.mould, &one.visit, &tables)))
            .collect()
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut all = half(0);
        all.extend(other.join().unwrap());
        all
    })
}

fn port_of<'a>(ports: &'a [(CircuitId, Port)], id: &CircuitId) -> &'a Port {
    &ports.iter().find(|(other, _)| other == id).unwrap().1
}

/// What is really on a hose, as the readings would show it without error.
fn really(port: &Port, truth: &CircuitTruth) -> [(Option<LnValue>, Option<LnValue>, f64); 3] {
    let Quantities { flow, volume, air } = port.measured;
    let expected = port.expected;
    [
        (flow, expected.flow, truth.today.flow_factor.m3_h().ln()),
        (volume, expected.volume, truth.today.volume.ml().ln()),
        (air, expected.air, truth.today.sonic_conductance.dm3_s_bar().ln()),
    ]
}

/// By how many combined standard uncertainties what is on a hose exceeds the listed circuit as new: fouling takes, it
/// does not add.
fn excess(port: &Port, truth: &CircuitTruth) -> f64 {
    really(port, truth)
        .into_iter()
        .filter_map(|(read, expected, real)| {
            let (read, expected) = (read?, expected?);
            Some((real - expected.ln) / (read.sd * read.sd + expected.sd * expected.sd).sqrt())
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

#[derive(Clone, Copy, Default)]
struct Found {
    all: u32,
    found: u32,
}

impl Found {
    fn share(self) -> f64 {
        f64::from(self.found) / f64::from(self.all.max(1))
    }
}

#[test]
fn exchanged_hoses_are_found_where_circuits_differ() {
    let options = Invention { swapped: 1.0, ..no_slips() };
    let seen = played(910_000, visits(600), &options, |one, check| {
        let ports = &check.ports;
        let (a, b) = one.truth.swapped.first()?;
        let (port_a, port_b) = (port_of(ports, a), port_of(ports, b));
        let (truth_a, truth_b) = (one.truth.circuit(a)?, one.truth.circuit(b)?);
        let expected = apart(port_a, port_b) > DIFFER;
        let sound = [truth_a, truth_b].iter().all(|truth| {
            truth.state == BoreState::AsNew
                && truth.blocked_at.is_none()
                && truth.plugged_branch.is_none()
                && truth.too_much.is_none()
        });
        let blocked = truth_a.blocked_at.is_some() || truth_b.blocked_at.is_some();
        let more = excess(port_a, truth_b).max(excess(port_b, truth_a)) > DIFFER;
        let found = LEASTS.map(|least| {
            check.doubts(least).iter().any(|doubt| {
                doubt.kind == HookUpSlip::Exchanged
                    && doubt.circuits.contains(a)
                    && doubt.circuits.contains(b)
            })
        });
        if std::env::var("LIST").is_ok() && more && !found[4] {
            println!(
                "miss {:?} {} {a} {b} apart {:.1} sound {sound} excess {:.1} {:.1} {:?} {:?}",
                found,
                one.truth.seed,
                apart(port_a, port_b),
                excess(port_a, truth_b),
                excess(port_b, truth_a),
                port_a,
                port_b
            );
        }
        Some((expected, sound, blocked, more, found))
    });
    for (at, least) in LEASTS.into_iter().enumerate() {
        let alarms = seen.iter().filter(|doubts| doubts[at]).count();
        println!("alarms at {least}: {alarms} of {} visits", seen.len());
    }
}
