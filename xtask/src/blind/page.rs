//! The page that shows the trials.

use std::fmt::Write as _;

use bench::finding::BoreState;

use super::score::{Coverage, STATES, Score};
use super::tally::Tally;
use super::{Size, Trials};

const HEAD: &str = "# Blind trials\n\nWritten by `cargo xtask blind-trial`. The virtual rig draws moulds, faults, rigs, instruments and operators' slips; the judgement sees what the files of a visit would show and nothing else. *Matching laws*: water loses pressure by the laws that the judgement believes in. *Other laws*: turns after another chart, friction by another formula, layers that are not even, plugs that are short pipes, couplings that depend on flow. All of it is simulated: it proves that the program keeps its word, not that real moulds behave like virtual ones.\n\n**How it is counted.** A circuit with a plugged branch of a split counts as local plug, and as mixed where there is a layer too; one with more flow than it can have as unknown. Blocked circuits and circuits without a reading of the bore are left out. A circuit whose hose was exchanged is scored as the one that was really connected. Where a fault costs less than 3 % of the flow, 'as new' counts as right too. The prior of the judgement (how often which trouble comes up) is that of the virtual plant; a plant with other habits has other odds. Intervals are stated with 95 % and made 90 % as a normal distribution has it.\n\n";

pub fn page(trials: &Trials, size: Size) -> String {
    let mut text = String::from(HEAD);
    for (name, tally) in [("matching", &trials.matching), ("other", &trials.other)] {
        let _ = writeln!(
            text,
            "{} visits under {name} laws, {} circuits ({} of {} plans could not be played).",
            tally.visits, tally.circuits, tally.unplayable, size.visits
        );
    }
    safety(&mut text, trials);
    calibration(&mut text, trials);
    confusion(&mut text, &trials.matching);
    groups(&mut text, trials);
    coverage(&mut text, trials);
    bound(&mut text, trials);
    further(&mut text, trials);
    hoses(&mut text, trials);
    text
}

fn safety(text: &mut String, trials: &Trials) {
    let safety = &trials.safety;
    let _ = write!(
        text,
        "\n## What must never happen\n\n{} visits full of leaks and blocks.\n\n| rule | circuits concerned | broken |\n| --- | --: | --: |\n| descale gate open on a circuit that leaks across above the limit | {} | {} |\n| wet gate open on a blocked circuit | {} | {} |\n",
        safety.visits, safety.across.0, safety.across.1, safety.blocked.0, safety.blocked.1
    );
    safety.broken_at.iter().take(20).for_each(|place| {
        let _ = writeln!(text, "\n- {place}");
    });
}

fn calibration(text: &mut String, trials: &Trials) {
    text.push_str("\n## Stated probabilities\n\n![Calibration](pictures/calibration.svg)\n\n| | matching laws | other laws |\n| --- | --: | --: |\n");
    let (Some(own), Some(other)) = (trials.matching.scores.get("all"), trials.other.scores.get("all")) else {
        return;
    };
    let mut row = |name: &str, of: &dyn Fn(&Score) -> String| {
        let _ = writeln!(text, "| {name} | {} | {} |", of(own), of(other));
    };
    row("circuits", &|score| format!("{:.0}", score.count()));
    row("most probable state is the true one", &|score| percent(score.right()));
    row("expected calibration error, most probable state", &|score| format!("{:.4}", score.error()));
    row("expected calibration error, every state", &|score| format!("{:.4}", score.class_error()));
    row("Brier score", &|score| format!("{:.3}", score.brier()));
    row("mean −ln of the true state's probability", &|score| format!("{:.3}", score.log_score()));
    row("confident calls (above 95 %)", &|score| percent(score.confident_shares().0));
    row("confident calls that are wrong", &|score| percent(score.confident_shares().1));
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

const fn word(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "as new",
        BoreState::EvenDeposit => "even deposit",
        BoreState::LocalPlug => "local plug",
        BoreState::Mixed => "mixed",
        BoreState::Rough => "rough",
        BoreState::Unknown => "unknown",
    }
}

fn confusion(text: &mut String, tally: &Tally) {
    text.push_str("\n## Most probable state against the truth, matching laws\n\nIn brackets: confident calls.\n\n| true state |");
    STATES.iter().for_each(|state| {
        let _ = write!(text, " {} |", word(*state));
    });
    let _ = writeln!(text, "\n| --- |{}", " --: |".repeat(STATES.len()));
    let Some(score) = tally.scores.get("all") else { return };
    for truth in STATES {
        let _ = write!(text, "| {} |", word(truth));
        for found in STATES {
            let count = |sure| score.confusion.get(&(truth, found, sure)).copied().unwrap_or(0);
            let _ = write!(text, " {} ({}) |", count(false) + count(true), count(true));
        }
        text.push('\n');
    }
}

fn groups(text: &mut String, trials: &Trials) {
    text.push_str("\n## By what was known and read\n\n| | circuits | right | calibration error | confident | of those wrong | other laws: calibration error | confident | of those wrong |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: |\n");
    for (group, score) in trials.matching.scores.iter().filter(|(group, _)| *group != "all") {
        let (sure, wrong) = score.confident_shares();
        let _ = write!(
            text,
            "| {group} | {:.0} | {} | {:.3} | {} | {} |",
            score.count(),
            percent(score.right()),
            score.error(),
            percent(sure),
            percent(wrong)
        );
        match trials.other.scores.get(group) {
            Some(other) => {
                let (sure, wrong) = other.confident_shares();
                let _ = writeln!(text, " {:.3} | {} | {} |", other.error(), percent(sure), percent(wrong));
            }
            None => text.push_str(" | | |\n"),
        }
    }
}

fn coverage(text: &mut String, trials: &Trials) {
    text.push_str("\n## Intervals of 90 %\n\nLeak rates: circuits that leak at all. Layer and plug: where the program states one and there is one.\n\n| quantity | instruments | given | hold the truth | lie above it | other laws: given | hold the truth | lie above it |\n| --- | --- | --: | --: | --: | --: | --: | --: |\n");
    for (key, held) in &trials.matching.coverage {
        let other = trials.other.coverage.get(key).copied().unwrap_or_default();
        let cells = |held: &Coverage| {
            format!(
                "{:.0} | {} | {}",
                held.count,
                percent(held.share()),
                percent(held.above / held.count.max(1.0))
            )
        };
        let _ = writeln!(text, "| {} | {} | {} | {} |", key.0, key.1, cells(held), cells(&other));
    }
}

fn bound(text: &mut String, trials: &Trials) {
    text.push_str("\n## How sure anybody could be\n\nThe ideal observer knows the virtual plant's own odds of every steel and fault, the drawing and the errors of the instruments, and weighs thousands of drawn circuits by the exact likelihood of the readings (importance sampling; the mean number of draws that carry the weight is shown). Readings at the mould, no hoses.\n\n| instruments: readings | circuits | ideal: right | confident | wrong | program: right | confident | wrong | effective draws | left out (too few draws) |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n");
    let (mut ideal, mut program) = (Score::default(), Score::default());
    let mut line = |name: &str, best: &Score, own: &Score, effective: String, left_out: String| {
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
    for (name, row) in &trials.bound {
        let effective = format!("{:.0}", row.effective / row.ideal.count().max(1.0));
        line(name, &row.ideal, &row.program, effective, row.left_out.to_string());
        ideal.add(&row.ideal);
        program.add(&row.program);
    }
    line("all", &ideal, &program, String::new(), String::new());
}

fn further(text: &mut String, trials: &Trials) {
    let further = &trials.further;
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let share = |count: u64| percent(count as f64 / (further.circuits as f64).max(1.0));
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    let promised = percent(further.promised / (further.circuits as f64).max(1.0));
    let _ = write!(
        text,
        "\n## One further reading\n\n{} circuits without a confident call; the recommended reading and one drawn from all that could be taken were each taken and judged. A sure state was promised for {promised} of them.\n\n| | confident and right | confident and wrong |\n| --- | --: | --: |\n",
        further.circuits
    );
    for (name, (right, wrong)) in [
        ("before", further.before),
        ("after the recommended reading", further.recommended),
        ("after a random one", further.random),
    ] {
        let _ = writeln!(text, "| {name} | {} | {} |", share(right), share(wrong));
    }
    let kinds: Vec<String> = further
        .kinds
        .iter()
        .map(|(kind, count)| format!("{} {count}", super::page::reading(*kind)))
        .collect();
    let _ = writeln!(text, "\nRecommended: {}.", kinds.join(", "));
}

const fn reading(kind: calc::infer::bore::Reading) -> &'static str {
    use calc::infer::bore::Reading::{AirPassage, FullFlow, LowFlow, VolumeAlone, VolumeWithHoses};
    match kind {
        FullFlow => "full flow",
        LowFlow => "low flow",
        VolumeWithHoses => "filled volume through hoses",
        VolumeAlone => "filled volume through short adapters",
        AirPassage => "air passage",
    }
}

fn hoses(text: &mut String, trials: &Trials) {
    text.push_str("\n## Exchanged hoses\n\nTold apart: flow factors as new that differ by more than three standard uncertainties of reading and expectation together.\n\n| | pairs | found | that can be told apart | found | visits without exchange | false alarms |\n| --- | --: | --: | --: | --: | --: | --: |\n");
    for (name, tally) in [("matching laws", &trials.matching), ("other laws", &trials.other)] {
        let [all, found, apart, apart_found, without, alarms] = tally.exchanged;
        let _ =
            writeln!(text, "| {name} | {all} | {found} | {apart} | {apart_found} | {without} | {alarms} |");
    }
}
