//! The rows of the table: columns where they fit, a list where the terminal is narrow.

use bench::finding::{BoreState, CircuitFinding, Findings, NextStep, Passage, Tightness};

use super::Page;
use super::cell::{Ink, Text, wrapped};
use crate::cautions::Cautions;
use crate::{number, words};

/// A reason gets a column of its own only if it has this much room.
const LEAST_REASON: usize = 34;
/// Letters of a name where words are short.
const SHORT_NAME: usize = 8;
const COLUMNS: usize = 7;
const HEADINGS: [&str; COLUMNS] =
    ["", "half", "air, mbar·l/s", "passage", "flow factor", "bore", "next step"];

/// How much of the words is written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Words {
    Full,
    Short,
}

impl Words {
    fn name(self, name: &str) -> String {
        if self == Self::Full || name.chars().count() <= SHORT_NAME {
            return name.into();
        }
        name.chars().take(SHORT_NAME - 1).chain(['…']).collect()
    }
}

/// One circuit: its cells, and the reason.
struct Row {
    cells: [(Text, Ink); COLUMNS],
    reason: String,
}

pub(super) fn table(findings: &Findings, page: Page, out: &mut String) {
    let cautions = Cautions::of(findings);
    let rows_with = |words: Words| -> Vec<Row> {
        findings.circuits.iter().map(|circuit| row(circuit, &cautions, words)).collect()
    };
    for (words, gap) in [(Words::Full, 2), (Words::Short, 1)] {
        let rows = rows_with(words);
        let grid = Grid::holding(&rows, gap, page);
        if grid.width() <= page.width {
            return grid.draw(&rows, out);
        }
    }
    list(&rows_with(Words::Full), page, out);
}

/// Columns and the gap between them.
struct Grid {
    widths: [usize; COLUMNS],
    gap: usize,
    page: Page,
}

impl Grid {
    fn holding(rows: &[Row], gap: usize, page: Page) -> Self {
        let mut widths = HEADINGS.map(|heading| Text::new(heading).width());
        for row in rows {
            for (width, (text, _)) in widths.iter_mut().zip(&row.cells) {
                *width = (*width).max(text.width());
            }
        }
        Self { widths, gap, page }
    }

    fn width(&self) -> usize {
        self.widths.iter().sum::<usize>() + self.gap * (COLUMNS - 1)
    }

    fn draw(&self, rows: &[Row], out: &mut String) {
        let headings = HEADINGS.map(|heading| (Text::new(heading), Ink::Faint));
        let room = self.page.width.saturating_sub(self.width() + self.gap);
        if room < LEAST_REASON {
            push(&self.line(&headings), out);
            for row in rows {
                push(&self.line(&row.cells), out);
                self.page.paragraph(&" ".repeat(self.widths[0] + self.gap), &row.reason, Ink::Faint, out);
            }
            return;
        }
        let gap = " ".repeat(self.gap);
        let why = Text::new("why").inked(Ink::Faint, self.page.color);
        push(&format!("{}{gap}{why}", self.line(&headings)), out);
        for row in rows {
            let lines = wrapped(&row.reason, room);
            let mut reasons = lines.iter().map(|text| text.inked(Ink::Plain, self.page.color));
            push(&format!("{}{gap}{}", self.line(&row.cells), reasons.next().unwrap_or_default()), out);
            for more in reasons {
                push(&format!("{}{gap}{more}", " ".repeat(self.width())), out);
            }
        }
    }

    /// The cells side by side, each as wide as its column.
    fn line(&self, cells: &[(Text, Ink); COLUMNS]) -> String {
        let columns = cells.iter().zip(self.widths);
        let padded = columns.map(|((text, ink), width)| text.padded(width, *ink, self.page.color));
        padded.collect::<Vec<_>>().join(&" ".repeat(self.gap))
    }
}

fn push(line: &str, out: &mut String) {
    out.push_str(line.trim_end());
    out.push('\n');
}

/// A paragraph a circuit, for a narrow terminal: what to do first, then what was found.
fn list(rows: &[Row], page: Page, out: &mut String) {
    for row in rows {
        let [name, half, found @ .., step] = &row.cells;
        let head = [name, half, step].map(|(text, _)| text.as_str()).join("  ");
        page.paragraph("", &head, step.1, out);
        for (heading, (text, ink)) in HEADINGS[2..].iter().zip(found) {
            page.paragraph("  ", &format!("{heading}: {}", text.as_str()), *ink, out);
        }
        page.paragraph("  ", &row.reason, Ink::Plain, out);
    }
}

fn row(circuit: &CircuitFinding, cautions: &Cautions, words: Words) -> Row {
    let (step, step_ink) = next_step(circuit.next_step);
    let numbers = cautions.numbers(&circuit.cautions);
    let beside = if numbers.is_empty() { String::new() } else { format!(" (cautions {numbers})") };
    let blocked = circuit.passage == Passage::Blocked;
    let cells = [
        (words.name(&circuit.id.0), Ink::Strong),
        (words.name(&circuit.half), Ink::Plain),
        (air(circuit), if words::is_leak(circuit.tightness) { Ink::Alarm } else { Ink::Plain }),
        (words::passage(circuit.passage).into(), passage_ink(circuit.passage)),
        (flow(circuit), Ink::Plain),
        (bore(circuit, words), if blocked { Ink::Alarm } else { Ink::Plain }),
        (step, step_ink),
    ];
    Row {
        cells: cells.map(|(text, ink)| (Text::new(&text), ink)),
        reason: format!("{}{beside}", circuit.reason),
    }
}

/// Tightness and leak rate. That it is not known where a leak goes is left to the reason.
fn air(circuit: &CircuitFinding) -> String {
    let rate = &circuit.leak_rate_mbar_l_s;
    let rate = rate.as_ref().map_or_else(String::new, |rate| format!(" {}", number::estimate(rate)));
    match circuit.tightness {
        Tightness::Leaks => format!("leaks{rate}"),
        _ => format!("{}{rate}", words::tightness(circuit)),
    }
}

fn bore(circuit: &CircuitFinding, words: Words) -> String {
    match words::likeliest(circuit) {
        _ if circuit.passage == Passage::Blocked => "blocked".into(),
        Some((state, probability)) if words == Words::Short => {
            let doubt =
                if probability < words::RATHER_SURE && state != BoreState::Unknown { "?" } else { "" };
            format!("{}{doubt}", words::bore_state(state))
        }
        _ => words::state_in_short(circuit),
    }
}

fn flow(circuit: &CircuitFinding) -> String {
    match (&circuit.against_baseline_percent, &circuit.flow_factor_m3_h) {
        (Some(percent), _) => number::percent(percent),
        (None, Some(factor)) => number::estimate_with_unit(factor, "m³/h"),
        (None, None) => "no reading".into(),
    }
}

fn passage_ink(passage: Passage) -> Ink {
    match passage {
        Passage::Blocked => Ink::Alarm,
        Passage::Restricted => Ink::Care,
        _ => Ink::Plain,
    }
}

fn next_step(step: NextStep) -> (String, Ink) {
    let (sign, ink) = match step {
        NextStep::Leave => ("✓", Ink::Plain),
        NextStep::FindOut => ("?", Ink::Ask),
        NextStep::Open => ("»", Ink::Alarm),
        NextStep::Repair => ("!", Ink::Alarm),
        NextStep::Descale => ("~", Ink::Care),
        NextStep::Retire => ("✗", Ink::Alarm),
    };
    (format!("{sign} {}", words::next_step(step)), ink)
}
