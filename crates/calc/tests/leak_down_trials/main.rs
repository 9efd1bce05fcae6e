//! Leak-down on simulated circuits: does the interval hold the truth, and is no leaking circuit called tight?
//!
//! The circuits come from a small finite-volume model of their own (`air.rs`), not from the formulas of the fit; what the
//! bench knows of them is drawn with its stated uncertainty (`cases.rs`). The rule of thumb, 0.2 bar in 20 s, judges the
//! same circuits beside it. All of it is simulation: hose walls, creep and drift are assumptions, no bench was measured.
//!
//! Seeds 1 to 3, 100 to 111 and 20261125 were looked at while the fit was made; the held-out seed was not.

mod air;
mod cases;

use calc::air::leak_down::{LeakDownResult, Verdict, leak_down};
use cases::{Case, Dice, LIMIT};

/// Trials of one seed.
const TRIALS: usize = 2000;
const TUNED_ON: u64 = 1;
const HELD_OUT: u64 = 31_415_926;

/// What is counted in a class of circuits.
#[derive(Clone, Debug, Default)]
struct Count {
    trials: usize,
    refused: usize,
    held: usize,
    held_uncut: usize,
    undecided: usize,
    leaking: usize,
    leaking_tight: usize,
    leaking_undecided: usize,
    leaking_passed_by_rule: usize,
    good: usize,
    good_leaks: usize,
    good_undecided: usize,
    good_failed_by_rule: usize,
}

impl Count {
    fn add(&mut self, case: &Case, result: Option<&LeakDownResult>) {
        self.trials += 1;
        let Some(result) = result else {
            self.refused += 1;
            return;
        };
        let truth = case.truth_mbar_l_s;
        let (tight, undecided) = (result.verdict == Verdict::Tight, result.verdict == Verdict::CannotTell);
        let failed_by_rule = case.fails_rule_of_thumb();
        self.held += usize::from(result.leak_rate.holds(truth));
        self.held_uncut += usize::from(result.uncut_mbar_l_s.estimate().holds(truth));
        self.undecided += usize::from(undecided);
        if truth > 1.5 * LIMIT {
            self.leaking += 1;
            self.leaking_tight += usize::from(tight);
            self.leaking_undecided += usize::from(undecided);
            self.leaking_passed_by_rule += usize::from(!failed_by_rule);
        } else if truth < LIMIT / 1.5 {
            self.good += 1;
            self.good_leaks += usize::from(result.verdict == Verdict::Leaks);
            self.good_undecided += usize::from(undecided);
            self.good_failed_by_rule += usize::from(failed_by_rule);
        }
    }

    fn judged(&self) -> usize {
        self.trials - self.refused
    }
}

fn percent(part: usize, whole: usize) -> f64 {
    if whole == 0 { f64::NAN } else { 100.0 * part as f64 / whole as f64 }
}

type Class = (&'static str, fn(&Case) -> bool);

const CLASSES: [Class; 12] = [
    ("all", |_| true),
    ("below 0.1 l", |case| case.volume_l < 0.1),
    ("0.1 to 0.4 l", |case| (0.1..0.4).contains(&case.volume_l)),
    ("above 0.4 l", |case| case.volume_l >= 0.4),
    ("no hose", |case| !case.with_hose),
    ("hose", |case| case.with_hose),
    ("steps of 5, 10", |case| case.step_mbar > 2.0),
    ("watched 20 s", |case| case.watched_s() < 25.0),
    ("no leak", |case| case.truth_mbar_l_s <= 0.0),
    ("up to limit", |case| case.truth_mbar_l_s > 0.0 && case.truth_mbar_l_s <= LIMIT),
    ("leak 0.1 to 1", |case| case.truth_mbar_l_s > LIMIT && case.truth_mbar_l_s <= 1.0),
    ("leak 1 to 10", |case| case.truth_mbar_l_s > 1.0),
];

fn trials(seed: u64, judge: fn(&Case) -> Option<LeakDownResult>) -> Vec<Count> {
    let mut dice = Dice::new(seed);
    let mut counts = vec![Count::default(); CLASSES.len()];
    for _ in 0..TRIALS {
        let case = dice.case();
        let result = judge(&case);
        for ((_, belongs), count) in CLASSES.iter().zip(&mut counts) {
            if belongs(&case) {
                count.add(&case, result.as_ref());
            }
        }
    }
    counts
}

fn print(title: &str, counts: &[Count]) {
    println!("{title}");
    println!(
        "                                       cannot | leak > 1.5 limit         rule   | good < limit/1.5         rule"
    );
    println!(
        "class              n  holds  (uncut)   tell | n     tight  cannot tell  passes | n     leaks  cannot tell  fails  %"
    );
    for ((name, _), c) in CLASSES.iter().zip(counts) {
        println!(
            "{name:15} {:5}  {:5.1}  {:5.1}    {:5.1} | {:4}  {:5.2}  {:6.1}       {:6.1} | {:5} {:5.2}  {:6.1}      {:6.1}",
            c.trials,
            percent(c.held, c.judged()),
            percent(c.held_uncut, c.judged()),
            percent(c.undecided, c.judged()),
            c.leaking,
            percent(c.leaking_tight, c.leaking),
            percent(c.leaking_undecided, c.leaking),
            percent(c.leaking_passed_by_rule, c.leaking),
            c.good,
            percent(c.good_leaks, c.good),
            percent(c.good_undecided, c.good),
            percent(c.good_failed_by_rule, c.good),
        );
    }
}

fn all(counts: &[Count]) -> &Count {
    counts.first().expect("the first class holds every trial")
}

/// The bars: interval 93 to 97 %, at most 1 in 1,000 of the leaking called tight, at most 1 in 200 of the good called
/// leaking, nothing refused.
fn assert_bars(counts: &[Count]) {
    let all = all(counts);
    let held = percent(all.held, all.judged());
    assert!((93.0..=97.0).contains(&held), "the interval holds the truth in {held:.1} %");
    assert!(all.leaking > 400, "{} leaking circuits are too few to judge", all.leaking);
    assert!(
        all.leaking_tight * 1000 <= all.leaking,
        "{} of {} leaking called tight",
        all.leaking_tight,
        all.leaking
    );
    assert!(all.good_leaks * 200 <= all.good, "{} of {} good called leaking", all.good_leaks, all.good);
    assert_eq!(all.refused, 0, "readings refused");
}

fn logged(case: &Case) -> Option<LeakDownResult> {
    leak_down(&case.logged()).ok()
}

fn read_twice(case: &Case) -> Option<LeakDownResult> {
    leak_down(&case.read_twice()).ok()
}

#[test]
fn logged_leak_downs_on_seeds_looked_at() {
    let counts = trials(TUNED_ON, logged);
    print("logged, seed looked at", &counts);
    assert_bars(&counts);
}

#[test]
fn logged_leak_downs_on_held_out_seeds() {
    let counts = trials(HELD_OUT, logged);
    print("logged, held-out seed", &counts);
    assert_bars(&counts);
    // Beside it the rule of thumb: it passes most leaking circuits above 0.4 l, the fit none.
    let large = counts.get(3).expect("class above 0.4 l");
    assert!(percent(large.leaking_passed_by_rule, large.leaking) > 50.0);
}

#[test]
fn two_readings_on_held_out_seeds() {
    let counts = trials(HELD_OUT, read_twice);
    print("two readings by eye, held-out seed", &counts);
    let all = all(&counts);
    // Wider is honest here: nobody knows what settled between the two readings.
    let held = percent(all.held, all.judged());
    assert!((94.0..=99.5).contains(&held), "the interval holds the truth in {held:.1} %");
    assert!(all.leaking_tight * 1000 <= all.leaking);
    assert_eq!(all.refused, 0);
}
