//! The short table for a terminal: read in ten seconds, from the top.

mod cell;
mod rows;

use bench::finding::{Findings, Fitness};

use crate::cautions::Cautions;
use crate::{number, words};
use cell::{Ink, Text, wrapped};

/// Narrower than this, a terminal is taken as this wide.
const NARROWEST: usize = 40;

/// The findings as lines of at most `width` columns (40 at least), ending in a line break.
///
/// The most important sentence comes first, then two lines a circuit (one where `width` allows), doubts,
/// warnings, and the cautions last. With `color`, ANSI colours are added to what the words and signs say already.
/// Words of the file are printed without control characters; a word that is wider than a line is cut at its end
/// and carried on below.
#[must_use]
pub fn terminal_table(findings: &Findings, width: usize, color: bool) -> String {
    let page = Page { width: width.max(NARROWEST), color };
    let mut out = String::new();
    headline(findings, page, &mut out);
    if !findings.circuits.is_empty() {
        out.push('\n');
        rows::table(findings, page, &mut out);
    }
    notes(findings, page, &mut out);
    out
}

/// How wide a line is, and whether it is coloured.
#[derive(Clone, Copy)]
struct Page {
    width: usize,
    color: bool,
}

impl Page {
    /// Adds a text, wrapped, with a first prefix and the same room before further lines.
    fn paragraph(self, prefix: &str, text: &str, ink: Ink, out: &mut String) {
        let indent = Text::new(prefix).width();
        for (index, line) in wrapped(text, self.width.saturating_sub(indent)).into_iter().enumerate() {
            out.push_str(&if index == 0 { prefix.to_owned() } else { " ".repeat(indent) });
            out.push_str(&line.inked(ink, self.color));
            out.push('\n');
        }
    }

    fn heading(self, text: &str, out: &mut String) {
        out.push('\n');
        self.paragraph("", text, Ink::Strong, out);
    }
}

fn headline(findings: &Findings, page: Page, out: &mut String) {
    let (sign, ink) = match findings.fit_for_press {
        Fitness::Yes => ("✓ ", Ink::Strong),
        Fitness::No => ("✗ ", Ink::Alarm),
        Fitness::CannotTell => ("? ", Ink::Care),
    };
    page.paragraph(sign, &findings.headline, ink, out);
    for reason in &findings.because {
        page.paragraph("  ", reason, Ink::Plain, out);
    }
    if !findings.next.is_empty() {
        page.paragraph("  Next: ", &findings.next, Ink::Strong, out);
    }
    let fit = words::fitness(findings.fit_for_press);
    let name =
        if findings.mould_name.is_empty() { String::new() } else { format!(" {}", findings.mould_name) };
    let visit =
        format!("Fit for the press: {fit}. Mould {}{name}, visit {}.", findings.mould, findings.visit);
    page.paragraph("  ", &visit, Ink::Faint, out);
}

fn notes(findings: &Findings, page: Page, out: &mut String) {
    if !findings.hook_up_doubts.is_empty() {
        page.heading("Check the hook-up", out);
        for doubt in &findings.hook_up_doubts {
            let probability = number::probability(doubt.probability);
            let (ids, slip) = (words::ids(&doubt.circuits), words::hose_slip(doubt.kind));
            let text = format!(
                "{ids}, {slip}: {} Probability {probability}. To settle it: {}.",
                doubt.text, doubt.settled_by
            );
            page.paragraph("- ", &text, Ink::Plain, out);
        }
    }
    if let Some(rig) = &findings.rig_check {
        page.heading(&format!("Rig: {}", words::rig_verdict(rig.verdict)), out);
        let next = rig.best_next_reading.iter().map(|reading| format!("To tell more: {reading}."));
        for line in rig.sentences.iter().cloned().chain(next) {
            page.paragraph("- ", &line, Ink::Plain, out);
        }
    }
    if !findings.warnings.is_empty() {
        page.heading("Worth knowing", out);
        for warning in &findings.warnings {
            let whose = warning.circuit.as_ref().map_or_else(String::new, |id| format!("{id}: "));
            page.paragraph("- ", &format!("{whose}{}", warning.text), Ink::Plain, out);
        }
    }
    let cautions = Cautions::of(findings);
    if !cautions.is_empty() {
        page.heading("Before pressure, water or chemistry", out);
        for (number, text) in cautions.numbered() {
            page.paragraph(&format!("{number:>2}. "), text, Ink::Plain, out);
        }
    }
}
