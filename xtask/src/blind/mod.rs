//! Blind trials: thousands of simulated benches, judged from what their files would show, scored against what is true.

mod bound;
mod found;
mod further;
mod groups;
mod page;
mod page_parts;
mod picture;
mod safety;
mod score;
mod second;
mod tally;

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use bench::judge::assess;
use bench::limits::Tables;
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{Invention, Physics, random_plan, simulate};

use tally::Tally;

/// First seed of the visits; others follow by counting.
pub const FIRST_SEED: u64 = 6_000_000;

/// How much is simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Visits under each of the two sets of laws.
    pub visits: u64,
    /// Cross-leaking and blocked circuits of the safety trial, each.
    pub safety: u64,
    /// Visits of the further-reading trial.
    pub further: u64,
    /// Moulds of the second-visit trial, under each set of laws.
    pub second: u64,
    /// Designs, draws and tests of the ideal observer.
    pub bound: (u64, u64, u64),
}

impl Size {
    /// Of the page.
    pub const PAGE: Self =
        Self { visits: 10_000, safety: 10_000, further: 3_000, second: 500, bound: (60, 20_000, 10) };

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
            second: of(page.second),
            bound: (of(designs), draws, tests),
        }
    }
}

/// A part of the trials.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    Matching,
    Other,
    Safety,
    Next,
    Second,
    Bound,
}

impl Part {
    /// Words of the command line.
    pub const WORDS: [(&str, Self); 6] = [
        ("matching", Self::Matching),
        ("other", Self::Other),
        ("safety", Self::Safety),
        ("next", Self::Next),
        ("second", Self::Second),
        ("bound", Self::Bound),
    ];
}

/// What was run.
#[derive(Default)]
pub struct Trials {
    pub matching: Option<Tally>,
    pub other: Option<Tally>,
    pub safety: Option<safety::Safety>,
    pub further: Option<further::Further>,
    pub second: Option<Vec<(&'static str, second::Second)>>,
    pub bound: Option<Vec<(String, bound::Row)>>,
}

/// The command's words: `[--visits N] [--only PART]`.
pub fn command(root: &Path, words: &[String]) -> ExitCode {
    let after = |name: &str| words.iter().position(|word| word == name).map(|at| words.get(at + 1));
    let visits = match after("--visits") {
        None => None,
        Some(count) => match count.and_then(|count| count.parse().ok()) {
            Some(count) => Some(count),
            None => return refused("--visits wants a whole number"),
        },
    };
    let only = match after("--only") {
        None => None,
        Some(word) => match Part::WORDS.iter().find(|(name, _)| word.is_some_and(|word| word == name)) {
            Some((_, part)) => Some(*part),
            None => return refused("--only wants one of matching, other, safety, next, second, bound"),
        },
    };
    match tables(root) {
        Ok(tables) => run(root, &tables, visits, only),
        Err(error) => refused(&error),
    }
}

fn refused(why: &str) -> ExitCode {
    eprintln!("{why}");
    ExitCode::FAILURE
}

/// Runs the trials. `visits` scales all parts alike. Page and pictures are written where all parts were run; a single
/// part is only printed.
fn run(root: &Path, tables: &Tables, visits: Option<u64>, only: Option<Part>) -> ExitCode {
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let size = visits.map_or(Size::PAGE, |visits| Size::part(visits as f64 / Size::PAGE.visits as f64));
    let wanted = |part: Part| only.is_none_or(|only| only == part);
    let (designs, draws, tests) = size.bound;
    let trials = Trials {
        matching: timed("matching laws", wanted(Part::Matching), || {
            visits_under(tables, Physics::Matching, FIRST_SEED, size.visits)
        }),
        other: timed("other laws", wanted(Part::Other), || {
            visits_under(tables, Physics::Other, FIRST_SEED, size.visits)
        }),
        safety: timed("safety", wanted(Part::Safety), || safety::run(tables, size.safety)),
        further: timed("further readings", wanted(Part::Next), || further::run(tables, size.further)),
        second: timed("second visits", wanted(Part::Second), || second::run(tables, size.second)),
        bound: timed("ideal observer", wanted(Part::Bound), || bound::run(tables, designs, draws, tests)),
    };
    let text = page::page(&trials, size);
    println!("{text}");
    if only.is_none() {
        let pictures = root.join("docs/pictures");
        let written = std::fs::write(root.join("docs/blind-trials.md"), &text)
            .and_then(|()| std::fs::write(pictures.join("calibration.svg"), picture::calibration(&trials)))
            .and_then(|()| {
                std::fs::write(pictures.join("calibration-by-state.svg"), picture::by_state(&trials))
            });
        if let Err(error) = written {
            return refused(&format!("cannot write the page: {error}"));
        }
    }
    if trials.is_safe() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Runs a part if it is wanted and tells how long it took.
fn timed<T>(what: &str, wanted: bool, part: impl FnOnce() -> T) -> Option<T> {
    wanted.then(|| {
        let start = Instant::now();
        let made = part();
        eprintln!("{what}: {:.0} s", start.elapsed().as_secs_f64());
        made
    })
}

impl Trials {
    /// Whether no gate stood open that must not, in any part.
    fn is_safe(&self) -> bool {
        [&self.matching, &self.other].into_iter().flatten().all(|tally| tally.found.broken_at.is_empty())
            && self.safety.as_ref().is_none_or(|safety| safety.broken_at.is_empty())
    }
}

/// Limits and materials of the repository.
fn tables(root: &Path) -> Result<Tables, String> {
    read_tables(&Folder::new(root.join("data")), "limits/default.toml", "materials/materials.toml")
        .map_err(|faults| faults.to_string())
}

/// Visits of consecutive seeds, shared between two threads; the sum does not depend on which did what.
fn visits_under(tables: &Tables, physics: Physics, first_seed: u64, visits: u64) -> Tally {
    let half = |odd: u64| {
        let mut tally = Tally::default();
        for seed in (first_seed..first_seed + visits).filter(|seed| seed % 2 == odd) {
            let plan = random_plan(seed, &Invention { circuits: (3, 8), physics, ..Invention::default() });
            match simulate(&plan, seed) {
                Ok(played) => {
                    let findings = assess(&played.mould, &played.visit, tables);
                    tally.visit(&played, &findings, tables);
                }
                // A plan that cannot be played (a layer that closes its bore) is no visit.
                Err(_) => tally.unplayable += 1,
            }
        }
        tally
    };
    halves(half, Tally::add)
}

/// Both halves of some work at once, added up.
fn halves<T: Send>(half: impl Fn(u64) -> T + Sync, add: impl FnOnce(&mut T, &T)) -> T {
    std::thread::scope(|scope| {
        let odd = scope.spawn(|| half(1));
        let mut all = half(0);
        match odd.join() {
            Ok(rest) => add(&mut all, &rest),
            // A half that is lost must not pass for a whole.
            Err(panic) => std::panic::resume_unwind(panic),
        }
        all
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small part of the trials in every test run, with bars as wide as chance at this size needs.
    #[test]
    fn stated_probabilities_are_about_true() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let tables = tables(root).unwrap();
        for physics in [Physics::Matching, Physics::Other] {
            let tally = visits_under(&tables, physics, FIRST_SEED, 60);
            let all = &tally.scores[groups::ALL];
            assert!(all.count() > 150.0, "{} circuits", all.count());
            assert!(all.error().0 < 0.15, "{physics:?}: calibration error {:.3}", all.error().0);
            assert!(all.confident_shares().1 < 0.15, "{physics:?}: {:?}", all.confident());
            assert!(tally.found.broken_at.is_empty(), "{physics:?}: {:?}", tally.found.broken_at);
            let flow = tally.coverage[&("flow factor", groups::ALL)];
            assert!(flow.share() > 0.8, "{physics:?}: flow-factor intervals hold {:.3}", flow.share());
        }
    }

    #[test]
    fn gates_hold_where_all_leaks_and_blocks() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let safety = safety::run(&tables(root).unwrap(), 40);
        assert!(safety.across.0 >= 40 && safety.blocked.0 >= 40);
        assert!(safety.broken_at.is_empty(), "{:?}", safety.broken_at);
    }
}
