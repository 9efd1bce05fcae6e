//! Blind trials: thousands of simulated benches, judged from what their files would show, scored against what is true.

mod bound;
mod further;
mod page;
mod picture;
mod safety;
mod score;
mod tally;

use std::path::Path;
use std::process::ExitCode;

use bench::judge::assess;
use bench::limits::Tables;
use link::{Invention, Physics, random_plan, simulate};

use tally::Tally;

/// First seed of the visits; others follow by counting.
const FIRST_SEED: u64 = 6_000_000;

/// How much is simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Visits under each of the two sets of laws.
    pub visits: u64,
    /// Cross-leaking and blocked circuits of the safety trial, each.
    pub safety: u64,
    /// Visits of the further-reading trial.
    pub further: u64,
    /// Designs, draws and tests of the ideal observer.
    pub bound: (u64, u64, u64),
}

impl Size {
    /// Of the page.
    pub const PAGE: Self = Self { visits: 10_000, safety: 10_000, further: 3_000, bound: (30, 20_000, 20) };

    /// A share of that.
    fn part(share: f64) -> Self {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            clippy::cast_precision_loss,
            reason = "small counts"
        )]
        let of = |count: u64| ((count as f64 * share).round() as u64).max(2);
        let page = Self::PAGE;
        let (designs, draws, tests) = page.bound;
        Self {
            visits: of(page.visits),
            safety: of(page.safety),
            further: of(page.further),
            bound: (of(designs), draws, tests),
        }
    }
}

/// Everything that the page shows.
pub struct Trials {
    pub matching: Tally,
    pub other: Tally,
    pub safety: safety::Safety,
    pub further: further::Further,
    pub bound: Vec<(String, bound::Row)>,
}

/// Runs everything and writes page and pictures. `--visits N` scales all parts alike.
pub fn run(root: &Path, visits: Option<u64>) -> ExitCode {
    let tables = match crate::trial::tables(root) {
        Ok(tables) => tables,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let size = visits.map_or(Size::PAGE, |visits| Size::part(visits as f64 / Size::PAGE.visits as f64));
    let said = |what: &str| eprintln!("{what} done");
    let matching = visits_under(&tables, Physics::Matching, size.visits);
    said("matching laws");
    let other = visits_under(&tables, Physics::Other, size.visits);
    said("other laws");
    let safety = safety::run(&tables, size.safety);
    said("safety");
    let further = further::run(&tables, size.further);
    said("further readings");
    let (designs, draws, tests) = size.bound;
    let bound = bound::run(&tables, designs, draws, tests);
    let trials = Trials { matching, other, safety, further, bound };
    let text = page::page(&trials, size);
    println!("{text}");
    let drawn = picture::calibration(&trials);
    let written = std::fs::write(root.join("docs/blind-trials.md"), text)
        .and_then(|()| std::fs::write(root.join("docs/pictures/calibration.svg"), drawn));
    match written {
        Ok(()) if trials.safety.broken_at.is_empty() => ExitCode::SUCCESS,
        Ok(()) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("cannot write the page: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Visits of consecutive seeds, shared between two threads; the sum does not depend on which did what.
fn visits_under(tables: &Tables, physics: Physics, visits: u64) -> Tally {
    let half = |odd: u64| {
        let mut tally = Tally::default();
        for seed in (FIRST_SEED..FIRST_SEED + visits).filter(|seed| seed % 2 == odd) {
            let plan = random_plan(seed, &Invention { circuits: (3, 8), physics, ..Invention::default() });
            match simulate(&plan, seed) {
                Ok(played) => {
                    let findings = assess(&played.mould, &played.visit, tables);
                    tally.visit(&played, &findings);
                }
                // A plan that cannot be played (a layer that closes its bore) is no visit.
                Err(_) => tally.unplayable += 1,
            }
        }
        tally
    };
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        let mut tally = half(0);
        if let Ok(rest) = other.join() {
            tally.add(&rest);
        }
        tally
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small part of the trials in every test run, with bars as wide as chance at this size needs.
    #[test]
    fn stated_probabilities_are_about_true() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let tables = crate::trial::tables(root).unwrap();
        for physics in [Physics::Matching, Physics::Other] {
            let tally = visits_under(&tables, physics, 60);
            let all = &tally.scores["all"];
            assert!(all.count() > 150.0, "{} circuits", all.count());
            assert!(all.error() < 0.15, "{physics:?}: calibration error {:.3}", all.error());
            assert!(all.confident_shares().1 < 0.15, "{physics:?}: {:?}", all.confident);
        }
    }
}
