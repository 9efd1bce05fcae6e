//! The page that shows the trials.

use std::fmt::Write as _;

use super::found::{ACID_ACROSS, WET_BLOCKED};
use super::page_parts::{bound, coverage, further, groups, hoses, percent, word};
use super::score::{STATES, Score};
use super::tally::Tally;
use super::{FIRST_SEED, Size, Trials};

const HEAD: &str = "# Blind trials\n\nWritten by `cargo xtask blind-trial`. The virtual rig draws moulds of 3 to 8 circuits, faults, rigs, instruments and operators' slips; the judgement sees what the files of a visit would show and nothing else. *Matching laws*: water loses pressure by the laws that the judgement believes in. *Other laws*: turns after another chart, friction by another formula, layers that are neither even nor of the expected roughness, plugs that are short pipes, couplings that depend on flow. All of it is simulated: it proves that the program keeps its word, not that real moulds behave like virtual ones.\n\n**How it is counted.** A circuit with a plugged branch of a split counts as local plug, and as mixed where there is a layer too; one with more flow than it can have as unknown. Blocked circuits and circuits without a reading of the bore are left out of what is said about the bore. A circuit whose hose was exchanged is scored as the one that was really connected. Where a fault changes the flow by less than 3 %, 'as new' counts as right too; rows named *counted* below show what the two strict ways of counting would give. The prior of the judgement (how often which trouble comes up) is that of the virtual plant; a plant with other habits has other odds.\n\n";

pub fn page(trials: &Trials, size: Size) -> String {
    let mut text = String::from(HEAD);
    for (name, tally) in trials.both() {
        let _ = writeln!(
            text,
            "- {} visits under {name}, seeds from {FIRST_SEED}, {} circuits ({} of {} plans could not be played).",
            tally.visits, tally.circuits, tally.unplayable, size.visits
        );
    }
    safety(&mut text, trials);
    calibration(&mut text, trials);
    for (name, tally) in trials.both() {
        confusion(&mut text, name, tally);
    }
    if trials.both().next().is_some() {
        groups(&mut text, trials);
        coverage(&mut text, trials);
    }
    if let Some(rows) = &trials.bound {
        bound(&mut text, rows, size);
    }
    if let Some(further_one) = &trials.further {
        further(&mut text, further_one);
    }
    if let Some(both) = &trials.second {
        super::second::section(&mut text, both);
    }
    if trials.both().next().is_some() {
        hoses(&mut text, trials);
    }
    if let Some(tally) = &trials.matching {
        text.push_str("\n## Other verdicts, matching laws\n");
        tally.found.tables(&mut text);
    }
    text
}

impl Trials {
    /// The visits under both sets of laws, as far as they were run.
    pub fn both(&self) -> impl Iterator<Item = (&'static str, &Tally)> {
        let named = [("matching laws", &self.matching), ("other laws", &self.other)];
        named.into_iter().filter_map(|(name, tally)| Some((name, tally.as_ref()?)))
    }
}

fn safety(text: &mut String, trials: &Trials) {
    text.push_str(
        "\n## What must never happen\n\n| rule | visits | circuits concerned | broken |\n| --- | --- | --: | --: |\n",
    );
    let mut places: Vec<&String> = Vec::new();
    if let Some(safety) = &trials.safety {
        for (rule, (cases, broken)) in [(ACID_ACROSS, safety.across), (WET_BLOCKED, safety.blocked)] {
            let _ = writeln!(
                text,
                "| {rule} | {} full of leaks and blocks | {cases} | {broken} |",
                safety.visits
            );
        }
        places.extend(&safety.broken_at);
    }
    for (name, tally) in trials.both() {
        for (rule, (cases, broken)) in &tally.found.rules {
            let _ = writeln!(text, "| {rule} | {} under {name} | {cases} | {broken} |", tally.visits);
        }
        places.extend(&tally.found.broken_at);
    }
    places.iter().take(20).for_each(|place| {
        let _ = writeln!(text, "\n- {place}");
    });
}

fn calibration(text: &mut String, trials: &Trials) {
    let scores: Vec<(&str, &Score)> = trials
        .both()
        .filter_map(|(name, tally)| Some((name, tally.scores.get(super::groups::ALL)?)))
        .collect();
    if scores.is_empty() {
        return;
    }
    text.push_str("\n## Stated probabilities\n\n![Calibration of the most probable state](pictures/calibration.svg)\n\n![Calibration of each state](pictures/calibration-by-state.svg)\n\n| |");
    scores.iter().for_each(|(name, _)| {
        let _ = write!(text, " {name} |");
    });
    let _ = writeln!(text, "\n| --- |{}", " --: |".repeat(scores.len()));
    let mut row = |name: &str, of: &dyn Fn(&Score) -> String| {
        let cells: Vec<String> = scores.iter().map(|(_, score)| of(score)).collect();
        let _ = writeln!(text, "| {name} | {} |", cells.join(" | "));
    };
    row("circuits", &|score| format!("{:.0}", score.count()));
    row("most probable state is the true one", &|score| percent(score.right()));
    row("expected calibration error, most probable state", &|score| format!("{:.4}", score.error().0));
    row("what finite counts alone would make of it", &|score| format!("{:.4}", score.error().1));
    row("expected calibration error, every state", &|score| format!("{:.4}", score.state_error()));
    row("Brier score", &|score| format!("{:.3}", score.brier()));
    row("mean −ln of the true state's probability", &|score| format!("{:.3}", score.log_score()));
    row("confident calls (above 95 %)", &|score| format!("{:.0}", score.confident().0));
    row("share of circuits with a confident call", &|score| percent(score.confident_shares().0));
    row("confident calls that are wrong", &|score| percent(score.confident_shares().1));
}

fn confusion(text: &mut String, name: &str, tally: &Tally) {
    let Some(score) = tally.scores.get(super::groups::ALL) else { return };
    let _ = write!(
        text,
        "\n## Most probable state against the truth, {name}\n\nIn brackets: confident calls.\n\n| true state |"
    );
    STATES.iter().for_each(|state| {
        let _ = write!(text, " {} |", word(*state));
    });
    let _ = writeln!(text, "\n| --- |{}", " --: |".repeat(STATES.len()));
    for truth in STATES {
        let _ = write!(text, "| {} |", word(truth));
        for found in STATES {
            let count = |sure| score.confusion.get(&(truth, found, sure)).copied().unwrap_or(0);
            let _ = write!(text, " {} ({}) |", count(false) + count(true), count(true));
        }
        text.push('\n');
    }
}
