//! Longer tables of the page.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use bench::finding::BoreState;
use calc::infer::bore::Reading;

use super::bound::Row;
use super::further::Further;
use super::score::{Coverage, Score};
use super::tally::Tally;
use super::{Size, Trials};

pub fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

pub const fn word(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "as new",
        BoreState::EvenDeposit => "even deposit",
        BoreState::LocalPlug => "local plug",
        BoreState::Mixed => "mixed",
        BoreState::Rough => "rough",
        BoreState::Unknown => "unknown",
    }
}

/// Column heads for each set of laws that was run.
fn heads(text: &mut String, trials: &Trials, first: &[&str], columns: &[&str]) {
    let mut line = format!("| {} |", first.join(" | "));
    let mut count = 0;
    for (name, _) in trials.both() {
        for (place, column) in columns.iter().enumerate() {
            let _ =
                if place == 0 { write!(line, " {name}: {column} |") } else { write!(line, " {column} |") };
            count += 1;
        }
    }
    let _ = writeln!(text, "{line}\n|{}{}", " --- |".repeat(first.len()), " --: |".repeat(count));
}

pub fn groups(text: &mut String, trials: &Trials) {
    const COLUMNS: [&str; 5] = ["circuits", "right", "calibration error", "confident", "of those wrong"];
    text.push_str("\n## By what was known and read\n\n");
    heads(text, trials, &[""], &COLUMNS);
    let by_seen = |tally: &Tally| -> BTreeMap<String, Score> { tally.scores.clone() };
    rows(text, trials, &by_seen, true);
    text.push_str(
        "\nThe same by what is true, which no judgement can know beforehand: where calls go wrong.\n\n",
    );
    heads(text, trials, &[""], &[COLUMNS[0], COLUMNS[1], COLUMNS[3], COLUMNS[4]]);
    let by_truth = |tally: &Tally| -> BTreeMap<String, Score> {
        tally.hidden.iter().map(|(name, score)| ((*name).to_owned(), score.clone())).collect()
    };
    rows(text, trials, &by_truth, false);
}

fn rows(
    text: &mut String,
    trials: &Trials,
    of: &dyn Fn(&Tally) -> BTreeMap<String, Score>,
    calibration: bool,
) {
    let tables: Vec<BTreeMap<String, Score>> = trials.both().map(|(_, tally)| of(tally)).collect();
    let mut names: Vec<&String> = tables.iter().flat_map(BTreeMap::keys).collect();
    names.sort();
    names.dedup();
    for name in names {
        let _ = write!(text, "| {name} |");
        for table in &tables {
            let none = Score::default();
            let score = table.get(name).unwrap_or(&none);
            let (sure, wrong) = score.confident_shares();
            let _ = write!(text, " {:.0} | {} |", score.count(), percent(score.right()));
            if calibration {
                let _ = write!(text, " {:.3} |", score.error().0);
            }
            let _ = write!(text, " {} | {} |", percent(sure), percent(wrong));
        }
        text.push('\n');
    }
}

pub fn coverage(text: &mut String, trials: &Trials) {
    text.push_str("\n## Intervals\n\nThe program states intervals of 95 %; here they are also cut to 90 % as a normal distribution has it (on a logarithmic scale for flow factor, layer and plug). Leak rates: circuits that leak at all, at the pressure of their test, and not those for which a way into a neighbour was found. Layer, plug and the layer's share: where the program states one and there is one.\n\n");
    heads(
        text,
        trials,
        &["quantity", "group"],
        &["given", "90 % hold the truth", "lie above it", "95 % hold the truth"],
    );
    let mut keys: Vec<_> = trials.both().flat_map(|(_, tally)| tally.coverage.keys().copied()).collect();
    keys.sort_unstable();
    keys.dedup();
    for key in keys {
        let _ = write!(text, "| {} | {} |", key.0, key.1);
        for (_, tally) in trials.both() {
            let held: Coverage = tally.coverage.get(&key).copied().unwrap_or_default();
            let of = |count: f64| percent(count / held.count.max(1.0));
            let _ = write!(
                text,
                " {:.0} | {} | {} | {} |",
                held.count,
                percent(held.share()),
                of(held.above),
                of(held.held_stated)
            );
        }
        text.push('\n');
    }
    text.push('\n');
    for (name, tally) in trials.both() {
        let (all, below, above) = tally.tight;
        let _ = writeln!(
            text,
            "{name}: of {all} circuits without any leak, the interval of {below} lies below the limit and of {above} above it."
        );
    }
}

pub fn bound(text: &mut String, rows: &[(String, Row)], size: Size) {
    let (designs, draws, tests) = size.bound;
    let _ = write!(
        text,
        "\n## How sure anybody could be\n\nThe ideal observer knows the virtual plant's own odds of every steel and fault, the drawing and the errors of the instruments. For each of {designs} circuit designs it holds {draws} circuits drawn as the virtual rig draws them, weighs them by the exact likelihood of the readings (importance sampling from the prior; errors common to several readings integrated as normal) and adds the weights up by state; {tests} further circuits a design are tested. Readings at the mould, no hoses, matching laws. The mean number of draws that carry the weight is shown; tests with too few are left out, of both.\n\n| instruments: readings | circuits | ideal: right | confident | wrong | program: right | confident | wrong | effective draws | left out (too few draws) |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n"
    );
    let (mut ideal, mut program) = (Score::default(), Score::default());
    let mut line = |name: &str, best: &Score, own: &Score, effective: &str, left_out: &str| {
        let cells = |score: &Score| {
            let (sure, wrong) = score.confident_shares();
            format!("{} | {} | {}", percent(score.right()), percent(sure), percent(wrong))
        };
        let _ = writeln!(
            text,
            "| {name} | {:.0} | {} | {} | {effective} | {left_out} |",
            best.count(),
            cells(best),
            cells(own)
        );
    };
    for (name, row) in rows {
        let effective = format!("{:.0}", row.effective / row.ideal.count().max(1.0));
        line(name, &row.ideal, &row.program, &effective, &row.left_out.to_string());
        ideal.add(&row.ideal);
        program.add(&row.program);
    }
    line("all", &ideal, &program, "", "");
    let _ = writeln!(
        text,
        "\nExpected calibration error over all rows: ideal {:.4}, program {:.4}. The same circuits are tested in every row, so rows are not independent.",
        ideal.error().0,
        program.error().0
    );
}

pub fn further(text: &mut String, further: &Further) {
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let circuits = (further.circuits as f64).max(1.0);
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let share = |count: u64| percent(count as f64 / circuits);
    let _ = write!(
        text,
        "\n## One further reading\n\n{} circuits without a confident call; the recommended reading and one drawn from all that could be taken were each taken and judged. A sure state was promised for {} of them.\n\n| | confident and right | confident and wrong |\n| --- | --: | --: |\n",
        further.circuits,
        percent(further.promised / circuits)
    );
    for (name, (right, wrong)) in [
        ("before", further.before),
        ("after the recommended reading", further.recommended),
        ("after a random one", further.random),
    ] {
        let _ = writeln!(text, "| {name} | {} | {} |", share(right), share(wrong));
    }
    let kinds: Vec<String> =
        further.kinds.iter().map(|(kind, count)| format!("{} {count}", reading(*kind))).collect();
    let _ = writeln!(text, "\nRecommended: {}.", kinds.join(", "));
}

const fn reading(kind: Reading) -> &'static str {
    match kind {
        Reading::FullFlow => "full flow",
        Reading::LowFlow => "low flow",
        Reading::VolumeWithHoses => "filled volume through hoses",
        Reading::VolumeAlone => "filled volume through short adapters",
        Reading::AirPassage => "air passage",
    }
}

pub fn hoses(text: &mut String, trials: &Trials) {
    text.push_str("\n## Exchanged hoses\n\nTold apart: flow factors as new that differ by more than three standard uncertainties of reading and expectation together.\n\n| | pairs | found | that can be told apart | found | visits without exchange | false alarms |\n| --- | --: | --: | --: | --: | --: | --: |\n");
    for (name, tally) in trials.both() {
        let hoses = &tally.hoses;
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {} | {} | {} |",
            hoses.all.0, hoses.all.1, hoses.apart.0, hoses.apart.1, hoses.without.0, hoses.without.1
        );
    }
    text.push_str("\n## Leaks from circuit to circuit\n\nIn visits in which neighbours were watched.\n\n| | pairs that leak above the limit | found | below the limit | found | named, but tight |\n| --- | --: | --: | --: | --: | --: |\n");
    for (name, tally) in trials.both() {
        let across = &tally.across;
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {} | {} |",
            across.above.0, across.above.1, across.below.0, across.below.1, across.invented
        );
    }
}
