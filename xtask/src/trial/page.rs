//! The page that shows a tally.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::tally::{ACID_ACROSS, Coverage, Table, Tally, WET_BLOCKED};

const HEAD: &str = "# Simulated visits, judged blind\n\nWritten by `cargo xtask trial`. The virtual rig draws moulds of 6 to 24 \
                    circuits with deposits, plugs, blocks, leaks, exchanged hoses and readings stopped early, on rigs from \
                    hand-read gauges to good loggers; the judgement sees only what the files of a visit would show. All of \
                    this is simulated: it proves that the program does what it says, not that real moulds behave like the \
                    virtual ones.\n\nWater and acid go where the hose goes: a circuit whose hoses were exchanged is counted \
                    as the one that was really connected.\n\n";

/// The page.
pub fn page(tally: &Tally, asked: u64) -> String {
    let mut text = String::from(HEAD);
    let _ = writeln!(
        text,
        "{} visits of {asked} asked for ({} plans could not be played, {} broke), {} circuits.\n",
        tally.visits, tally.unplayable, tally.broken, tally.circuits
    );
    text.push_str(
        "## What must never happen\n\n| rule | circuits concerned | broken |\n| --- | --: | --: |\n",
    );
    for rule in [WET_BLOCKED, ACID_ACROSS] {
        let at_risk = tally.at_risk.get(rule).copied().unwrap_or_default();
        let broken = tally.open_gates.get(rule).copied().unwrap_or_default();
        let _ = writeln!(text, "| {rule} | {at_risk} | {broken} |");
    }
    tally.broken_at.iter().for_each(|place| {
        let _ = writeln!(text, "\n- {place}");
    });
    section(&mut text, "Tightness", "leak rate", &tally.tightness);
    section(&mut text, "Passage", "passage", &tally.passage);
    section(&mut text, "State of the bore", "state (blocked and too-wide circuits left out)", &tally.state);
    section(&mut text, "Next step", "what is wrong", &tally.step);
    text.push_str("\n## Intervals of 95 %\n\n| quantity | given | hold the truth |\n| --- | --: | --: |\n");
    for (name, coverage) in [
        ("leak rate", &tally.leak_rate),
        ("flow factor", &tally.flow_factor),
        ("filled volume", &tally.volume),
        ("thickness of an even layer", &tally.thickness),
    ] {
        text.push_str(&interval(name, coverage));
    }
    let (there, found, false_alarms) = tally.exchanged;
    let _ = write!(
        text,
        "\n## Exchanged hoses\n\n{there} pairs exchanged, {found} of them called out, {false_alarms} false alarms in {} \
         visits. Many exchanged circuits are alike: where readings and expectations cannot tell two circuits apart, nothing \
         can be called out.\n",
        tally.visits
    );
    text
}

fn interval(name: &str, coverage: &Coverage) -> String {
    format!("| {name} | {} | {:.1} % |\n", coverage.all(), 100.0 * coverage.share())
}

/// One table: rows are what is true, columns what was found. The leading number of a name only sorts it.
fn section(text: &mut String, title: &str, what: &str, table: &Table) {
    let rows: BTreeSet<&str> = table.keys().map(|(row, _)| *row).collect();
    let columns: BTreeSet<&str> = table.keys().map(|(_, column)| *column).collect();
    let plain = |name: &str| name.get(2..).unwrap_or_default().to_owned();
    let _ = write!(text, "\n## {title}\n\n| true {what} | all |");
    columns.iter().for_each(|column| {
        let _ = write!(text, " {} |", plain(column));
    });
    let _ = write!(text, "\n| --- | --: |{}\n", " --: |".repeat(columns.len()));
    for row in rows {
        let cells: Vec<u64> = columns
            .iter()
            .map(|column| {
                table.iter().find(|((r, c), _)| *r == row && c == column).map_or(0, |(_, count)| *count)
            })
            .collect();
        let _ = write!(text, "| {} | {} |", plain(row), cells.iter().sum::<u64>());
        cells.iter().for_each(|cell| {
            let _ = write!(text, " {cell} |");
        });
        text.push('\n');
    }
}
