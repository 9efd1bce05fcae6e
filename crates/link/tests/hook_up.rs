//! Blind trial of the hook-up check: slips forced into simulated visits, and visits without any.
//!
//! `VISITS=3000 cargo test -p link --test hook_up -- --nocapture` runs a larger one.

#![expect(clippy::unwrap_used, reason = "a trial that cannot be set up fails")]

use std::path::Path;

use bench::finding::{BoreState, HookUpSlip};
use bench::judge::HookUpCheck;
use bench::limits::Tables;
use bench::mould::CircuitId;
use calc::infer::hook_up::{LnValue, Port, Quantities, apart};
use calc::numeric::math;
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{CircuitTruth, Invention, Simulated, random_plan, simulate};

/// Two circuits differ if it is by more than so many combined standard uncertainties.
const DIFFER: f64 = 3.0;

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
        (flow, expected.flow, math::ln(truth.today.flow_factor.m3_h())),
        (volume, expected.volume, math::ln(truth.today.volume.ml())),
        (air, expected.air, math::ln(truth.today.sonic_conductance.dm3_s_bar())),
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

fn is_sound(truth: &CircuitTruth) -> bool {
    truth.state == BoreState::AsNew
        && truth.blocked_at.is_none()
        && truth.plugged_branch.is_none()
        && truth.too_much.is_none()
}

/// Whether a slip of this kind is called out on all these circuits.
fn called(check: &HookUpCheck, kind: HookUpSlip, circuits: &[&CircuitId]) -> bool {
    check
        .doubts()
        .iter()
        .any(|doubt| doubt.kind == kind && circuits.iter().all(|id| doubt.circuits.contains(id)))
}

/// Prints how many of some visits were called out; gives the share.
fn share(name: &str, called: impl Iterator<Item = bool>) -> f64 {
    let (mut all, mut found) = (0_u32, 0_u32);
    for called in called {
        all += 1;
        found += u32::from(called);
    }
    let share = f64::from(found) / f64::from(all.max(1));
    println!("{name}: {found} of {all}, {:.1} %", 100.0 * share);
    share
}

struct Exchange {
    /// By how many combined standard uncertainties the expected values differ.
    apart: f64,
    /// By how many what is on one hose exceeds the listed circuit as new.
    excess: f64,
    sound: bool,
    called: bool,
}

#[test]
fn exchanged_hoses_are_found_where_circuits_differ() {
    let options = Invention { swapped: 1.0, ..no_slips() };
    let seen = played(1_910_000, visits(600), &options, |one, check| {
        let (a, b) = one.truth.swapped.first()?;
        let (port_a, port_b) = (port_of(check, a), port_of(check, b));
        let (truth_a, truth_b) = (one.truth.circuit(a)?, one.truth.circuit(b)?);
        Some(Exchange {
            apart: apart(port_a, port_b),
            excess: excess(port_a, truth_b).max(excess(port_b, truth_a)),
            sound: is_sound(truth_a) && is_sound(truth_b),
            called: called(check, HookUpSlip::Exchanged, &[a, b]),
        })
    });
    assert!(seen.len() >= 500, "{} visits with an exchange", seen.len());
    let of = |name: &str, fits: &dyn Fn(&Exchange) -> bool| {
        share(name, seen.iter().filter(|one| fits(one)).map(|one| one.called))
    };
    of("all exchanges", &|_| true);
    of("expected values differ", &|one| one.apart > DIFFER);
    let sound = of("expected values differ, both circuits as new", &|one| one.apart > DIFFER && one.sound);
    let more = of("expected values differ, and more than fouling explains", &|one| {
        one.apart > DIFFER && one.excess > DIFFER
    });
    for wider in [4.0, 5.0, 6.0, 8.0] {
        of(&format!("the same by {wider} instead of {DIFFER}"), &|one| {
            one.apart > wider && one.excess > wider
        });
    }
    of("expected values differ, and fouling may explain it", &|one| {
        one.apart > DIFFER && one.excess <= DIFFER
    });
    of("expected values do not differ", &|one| one.apart <= DIFFER);
    // The bars are 95 %; these leave room for the scatter of some 40 and 110 cases.
    assert!(sound >= 0.86, "{sound}");
    assert!(more >= 0.85, "{more}");
}

#[test]
fn false_alarms_are_rare() {
    let seen = played(1_930_000, visits(600), &no_slips(), |_, check| Some(!check.doubts().is_empty()));
    let alarms = share("visits without a slip that are doubted", seen.into_iter());
    // The bar is 1 %; six of 600 scatter by 2.4.
    assert!(alarms <= 0.022, "{alarms}");
}

#[test]
fn other_slips_are_told_apart_or_left_open() {
    for (kind, at_least) in [
        (HookUpSlip::Missing, 0.6),
        (HookUpSlip::Doubled, 0.2),
        (HookUpSlip::Bridged, 0.05),
        (HookUpSlip::Reversed, 0.02),
    ] {
        let mut options = no_slips();
        match kind {
            HookUpSlip::Missing => options.missing = 1.0,
            HookUpSlip::Doubled => options.doubled = 1.0,
            HookUpSlip::Bridged => options.bridged = 1.0,
            HookUpSlip::Reversed | HookUpSlip::Exchanged => options.reversed = 1.0,
        }
        let seen = played(1_950_000, visits(600) / 5, &options, |one, check| {
            let truth = &one.truth;
            let pair = |pairs: &[(CircuitId, CircuitId)]| {
                pairs.first().map(|(a, b)| vec![a.clone(), b.clone()]).unwrap_or_default()
            };
            let circuits = match kind {
                HookUpSlip::Missing => truth.missing.clone(),
                HookUpSlip::Doubled => pair(&truth.doubled),
                HookUpSlip::Bridged => pair(&truth.bridged),
                HookUpSlip::Reversed | HookUpSlip::Exchanged => truth.reversed.clone(),
            };
            let circuits: Vec<&CircuitId> = circuits.iter().collect();
            let doubts = check.doubts();
            let doubted = |id: &&&CircuitId| doubts.iter().any(|doubt| doubt.circuits.contains(id));
            let some = circuits.iter().filter(doubted).count();
            (!circuits.is_empty()).then(|| (called(check, kind, &circuits), some > 0))
        });
        let named = share(kind.word(), seen.iter().map(|(named, _)| *named));
        share(&format!("{}, or another doubt", kind.word()), seen.iter().map(|(_, some)| *some));
        assert!(named >= at_least, "{kind:?}: {named}");
    }
}
