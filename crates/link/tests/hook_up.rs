//! Blind trial of the hook-up check: slips forced into simulated visits, and visits without any.
//!
//! `VISITS=3000 cargo test -p link --test hook_up -- --nocapture` runs a larger one.

use std::path::Path;

use bench::finding::{BoreState, HookUpSlip};
use bench::judge::{HOSES_CALLED_OUT, HookUpCheck};
use bench::limits::Tables;
use bench::mould::CircuitId;
use calc::infer::hook_up::{LnValue, Port, Quantities, apart};
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{CircuitTruth, Invention, Simulated, random_plan, simulate};

/// Two circuits differ if it is by more than so many combined standard uncertainties.
const DIFFER: f64 = 3.0;
/// Probabilities for which figures are printed.
const LEASTS: [f64; 8] = [0.05, 0.1, 0.2, 0.35, HOSES_CALLED_OUT, 0.65, 0.8, 0.9];
const CALLED_OUT: usize = 4;

fn tables() -> Tables {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().and_then(Path::parent).unwrap();
    read_tables(&Folder::new(root.join("data")), "limits/default.toml", "materials/materials.toml").unwrap()
}

/// Visits of a run; more if VISITS says so.
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
    judge: impl Fn(&Simulated, &HookUpCheck) -> Option<T> + Sync,
) -> Vec<T> {
    let tables = tables();
    let half = |odd: u64| -> Vec<T> {
        (first..first + count)
            .filter(|seed| seed % 2 == odd)
            .filter_map(|seed| simulate(&random_plan(seed, options), seed).ok())
            .filter_map(|one| judge(&one, &HookUpCheck::of(&one.mould, &one.visit, &tables)))
            .collect()
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut all = half(0);
        all.extend(other.join().unwrap());
        all
    })
}

fn port_of<'a>(check: &'a HookUpCheck, id: &CircuitId) -> &'a Port {
    &check.ports.iter().find(|(other, _)| other == id).unwrap().1
}

/// For each quantity: as read, as expected, and as it really is on the hose.
fn really(port: &Port, truth: &CircuitTruth) -> [(Option<LnValue>, Option<LnValue>, f64); 3] {
    let (Quantities { flow, volume, air }, expected) = (port.measured, port.expected);
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
            Some((real - expected.ln) / read.sd.hypot(expected.sd))
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

fn is_sound(truth: &CircuitTruth) -> bool {
    truth.state == BoreState::AsNew
        && truth.blocked_at.is_none()
        && truth.plugged_branch.is_none()
        && truth.too_much.is_none()
}

/// Which of `LEASTS` call out a slip of this kind on all these circuits.
fn called(check: &HookUpCheck, kind: HookUpSlip, circuits: &[&CircuitId]) -> [bool; 8] {
    LEASTS.map(|least| {
        let fits = |doubt: &bench::finding::HookUpDoubt| {
            doubt.kind == kind && circuits.iter().all(|id| doubt.circuits.contains(id))
        };
        check.doubts(least).iter().any(fits)
    })
}

/// Prints how many of some visits were called out; gives the share at the probability in use.
fn share<'a>(name: &str, called: impl Iterator<Item = &'a [bool; 8]> + Clone) -> (f64, usize) {
    let all = called.clone().count();
    let found = |at: usize| called.clone().filter(|called| called[at]).count();
    let each: Vec<String> =
        LEASTS.iter().enumerate().map(|(at, least)| format!("{} from {least}", found(at))).collect();
    let share = found(CALLED_OUT) as f64 / all.max(1) as f64;
    println!("{name}: {:.1} % of {all} ({})", 100.0 * share, each.join(", "));
    (share, all)
}

struct Exchange {
    /// Expected values differ by more than three combined standard uncertainties.
    differ: bool,
    /// On one hose is more than the listed circuit passes as new, by as much.
    more: bool,
    sound: bool,
    called: [bool; 8],
}

#[test]
fn exchanged_hoses_are_found_where_circuits_differ() {
    let options = Invention { swapped: 1.0, ..no_slips() };
    let seen = played(910_000, visits(600), &options, |one, check| {
        let (a, b) = one.truth.swapped.first()?;
        let (port_a, port_b) = (port_of(check, a), port_of(check, b));
        let (truth_a, truth_b) = (one.truth.circuit(a)?, one.truth.circuit(b)?);
        let found = Exchange {
            differ: apart(port_a, port_b) > DIFFER,
            more: excess(port_a, truth_b).max(excess(port_b, truth_a)) > DIFFER,
            sound: is_sound(truth_a) && is_sound(truth_b),
            called: called(check, HookUpSlip::Exchanged, &[a, b]),
        };
        if std::env::var("LIST").is_ok() && found.more && found.differ && !found.called[CALLED_OUT] {
            println!(
                "miss {} {a} {b} {:.1} {:.1} {:.1}\n  {port_a:?}\n  {port_b:?}\n  {:?}\n  {:?}",
                one.truth.seed,
                apart(port_a, port_b),
                excess(port_a, truth_b),
                excess(port_b, truth_a),
                really(port_a, truth_b).map(|x| x.2),
                really(port_b, truth_a).map(|x| x.2)
            );
        }
        Some(found)
    });
    let of = |fits: fn(&Exchange) -> bool| seen.iter().filter(move |one| fits(one)).map(|one| &one.called);
    share("all exchanges", of(|_| true));
    share("expected values differ", of(|one| one.differ));
    share("expected values differ, both circuits as new", of(|one| one.differ && one.sound));
    share("more than fouling explains", of(|one| one.more));
    share("expected values differ and more than fouling explains", of(|one| one.differ && one.more));
    share("neither", of(|one| !one.differ && !one.more));
}

#[test]
fn false_alarms_are_rare() {
    let seen = played(930_000, visits(600), &no_slips(), |one, check| {
        if std::env::var("LIST").is_ok() {
            for doubt in check.doubts(HOSES_CALLED_OUT) {
                println!("false {} {:?} {} {:.3}", one.truth.seed, doubt.kind, doubt.text, doubt.probability);
                for id in &doubt.circuits {
                    println!(
                        "  {id} {:?}\n {:?}",
                        port_of(check, id),
                        one.truth.circuit(id).map(|t| really(port_of(check, id), t).map(|x| x.2))
                    );
                }
            }
        }
        Some(LEASTS.map(|least| !check.doubts(least).is_empty()))
    });
    share("visits without a slip that were doubted", seen.iter());
}

#[test]
fn other_slips_are_told_apart_or_left_open() {
    for kind in [HookUpSlip::Missing, HookUpSlip::Doubled, HookUpSlip::Bridged, HookUpSlip::Reversed] {
        let mut options = no_slips();
        match kind {
            HookUpSlip::Missing => options.missing = 1.0,
            HookUpSlip::Doubled => options.doubled = 1.0,
            HookUpSlip::Bridged => options.bridged = 1.0,
            _ => options.reversed = 1.0,
        }
        let seen = played(950_000, visits(600) / 4, &options, |one, check| {
            let truth = &one.truth;
            let pair =
                |pairs: &[(CircuitId, CircuitId)]| pairs.first().map(|(a, b)| vec![a.clone(), b.clone()]);
            let circuits = match kind {
                HookUpSlip::Missing => truth.missing.clone(),
                HookUpSlip::Doubled => pair(&truth.doubled)?,
                HookUpSlip::Bridged => pair(&truth.bridged)?,
                _ => truth.reversed.clone(),
            };
            let circuits: Vec<&CircuitId> = circuits.iter().collect();
            let any = LEASTS.map(|least| {
                let doubts = check.doubts(least);
                circuits.iter().all(|id| doubts.iter().any(|doubt| doubt.circuits.contains(id)))
            });
            (!circuits.is_empty()).then(|| (called(check, kind, &circuits), any))
        });
        share(kind.word(), seen.iter().map(|(called, _)| called));
        share(&format!("{}, some doubt on each circuit", kind.word()), seen.iter().map(|(_, any)| any));
    }
}
