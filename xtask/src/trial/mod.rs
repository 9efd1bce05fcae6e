//! Simulated visits judged blind: what is found against what is true.
//!
//! The virtual rig draws moulds, faults, rigs and slips; the judgement sees only what the files would show. The page
//! `docs/trials.md` is written from the tally.

mod page;
pub mod tally;

use std::path::Path;
use std::process::ExitCode;

use bench::judge::assess;
use bench::limits::Tables;
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{Invention, random_plan, simulate};

use tally::Tally;

/// First seed of the trial; others follow by counting.
const FIRST_SEED: u64 = 2_026_000;
/// Visits of the page.
pub const VISITS: u64 = 2_000;

/// Judges this many simulated visits and writes the page.
pub fn run(root: &Path, visits: u64) -> ExitCode {
    let tables = match tables(root) {
        Ok(tables) => tables,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    let tally = trial(&tables, FIRST_SEED, visits);
    let text = page::page(&tally, visits);
    println!("{text}");
    let path = root.join("docs/trials.md");
    if let Err(error) = std::fs::write(&path, text) {
        eprintln!("cannot write {}: {error}", path.display());
        return ExitCode::FAILURE;
    }
    if tally.is_safe() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Limits and materials of the repository.
pub fn tables(root: &Path) -> Result<Tables, String> {
    read_tables(&Folder::new(root.join("data")), "limits/default.toml", "materials/materials.toml")
        .map_err(|faults| faults.to_string())
}

/// Tally over visits of consecutive seeds, shared between two threads; the sum does not depend on which did what.
fn trial(tables: &Tables, first_seed: u64, visits: u64) -> Tally {
    let half = |odd: u64| {
        let mut tally = Tally::default();
        for seed in (first_seed..first_seed + visits).filter(|seed| seed % 2 == odd) {
            one(tables, seed, &mut tally);
        }
        tally
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut tally = half(0);
        match other.join() {
            Ok(rest) => tally.add(&rest),
            Err(_) => tally.broken += visits / 2,
        }
        tally
    })
}

fn one(tables: &Tables, seed: u64, tally: &mut Tally) {
    let plan = random_plan(seed, &Invention::default());
    match simulate(&plan, seed) {
        Ok(played) => {
            let findings = assess(&played.mould, &played.visit, tables);
            tally.visit(&played, &findings, tables);
        }
        // A plan that cannot be played (a layer that closes its bore) is no visit.
        Err(_) => tally.unplayable += 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small part of the trial in every test run: the gates must never be wrong, and what is found must be about right.
    #[test]
    fn gates_hold_over_simulated_visits() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let tally = trial(&tables(root).unwrap(), 77_000, 60);
        assert_eq!(tally.broken, 0);
        assert!(tally.visits >= 50, "{} visits could be played", tally.visits);
        assert!(tally.is_safe(), "a gate stood open that must not: {:?}", tally.open_gates);
        let leak = tally.leak_rate.share();
        assert!((0.85..=1.0).contains(&leak), "leak-rate intervals hold the truth in {leak:.3} of the cases");
        let flow = tally.flow_factor.share();
        assert!(
            (0.85..=1.0).contains(&flow),
            "flow-factor intervals hold the truth in {flow:.3} of the cases"
        );
    }
}
