//! Finds the separator, the header row and a row of units in the first bytes of a trace.

use super::cell::trim;
use super::decode::text;
use super::header::{self, Heading, Meaning};
use super::rows::{Rows, Step};
use super::{TraceFault, Wanted};

/// Most rows that may stand before the header.
const ROWS_SEEN: usize = 200;
/// Longest column name.
const NAME_BYTES: usize = 200;
const SEPARATORS: [u8; 3] = [b'\t', b';', b','];

/// How a trace is laid out.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Between fields.
    pub separator: u8,
    /// Rows to pass over before the first sample.
    pub rows_before_samples: usize,
    /// Line of the header.
    pub header_line: u64,
    /// The columns.
    pub headings: Vec<Heading>,
}

type Row = (u64, Vec<Vec<u8>>);

/// Finds the layout in the first bytes of a trace.
pub fn layout(head: &[u8], wanted: &Wanted) -> Result<Layout, TraceFault> {
    let announced = announced_separator(head);
    let separators = announced.as_ref().map_or(SEPARATORS.as_slice(), std::slice::from_ref);
    let mut best: Option<(usize, Layout)> = None;
    let mut numeric = None;
    for separator in separators {
        let rows = rows(head, *separator);
        for (at, (line, cells)) in rows.iter().enumerate() {
            if cells.len() < 2 || cells.iter().any(|cell| cell.len() > NAME_BYTES) {
                continue;
            }
            let score = score(cells, rows.get(at + 1..).unwrap_or_default(), wanted);
            if score == 0 && numeric.is_none() && cells.iter().all(|cell| is_numeric(cell)) {
                numeric = Some(*line);
            }
            if score > best.as_ref().map_or(0, |(best, _)| *best) {
                let mut headings: Vec<Heading> =
                    cells.iter().map(|cell| header::read(&text(trim(cell)))).collect();
                let units = rows.get(at + 1).is_some_and(|(_, below)| take_units(&mut headings, below));
                let rows_before_samples = at + 1 + usize::from(units);
                let layout =
                    Layout { separator: *separator, rows_before_samples, header_line: *line, headings };
                best = Some((score, layout));
            }
        }
    }
    let example = "name the columns with their units, such as time_s,pressure_bar_g";
    best.map(|(_, layout)| layout).ok_or_else(|| match numeric {
        Some(line) => TraceFault::new(Some(line), "", "numbers without a header above them", example),
        None => {
            TraceFault::new(None, "", "no row that names a time column and another one was found", example)
        }
    })
}

/// The separator that spreadsheets announce in the first line, `sep=;`.
fn announced_separator(head: &[u8]) -> Option<u8> {
    let line = head.split(|byte| matches!(byte, b'\n' | b'\r')).next()?;
    match line.trim_ascii() {
        [b's' | b'S', b'e' | b'E', b'p' | b'P', b'=', separator] => Some(*separator),
        _ => None,
    }
}

fn rows(head: &[u8], separator: u8) -> Vec<Row> {
    let mut rows = Rows::new(head, separator);
    let mut all = Vec::new();
    while all.len() < ROWS_SEEN && matches!(rows.advance(), Ok(Step::Row)) {
        let cells = (0..rows.len()).filter_map(|at| rows.field(at)).map(<[u8]>::to_vec);
        all.push((rows.line(), cells.collect()));
    }
    all
}

/// How much a row looks like a header: the columns it names, if one of them may be time, and samples below it.
fn score(cells: &[Vec<u8>], below: &[Row], wanted: &Wanted) -> usize {
    let names: Vec<String> = cells.iter().map(|cell| text(trim(cell))).collect();
    let named = |name: &str| wanted.columns.contains_key(name) || wanted.usual_columns.contains_key(name);
    let told = names.iter().filter(|name| named(name)).count();
    let headings: Vec<Heading> = names.iter().map(|name| header::read(name)).collect();
    let understood = headings.iter().filter(|heading| heading.meaning.is_some()).count();
    let time = headings.iter().any(|heading| {
        matches!(heading.meaning, Some(Meaning::Clock | Meaning::Quantity(super::Quantity::Time)))
    });
    if told == 0 && !time {
        return 0;
    }
    let samples = below.iter().take(2).any(|(_, row)| {
        row.len() >= 2
            && row.iter().any(|cell| cell.first().is_some_and(|b| b.is_ascii_digit() || *b == b'-'))
    });
    1 + told * 2 + understood * 2 + if samples { 20 } else { 0 }
}

fn is_numeric(cell: &[u8]) -> bool {
    let cell = trim(cell);
    !cell.is_empty() && cell.iter().all(|byte| byte.is_ascii_digit() || b"+-.,:eE ".contains(byte))
}

/// Takes over the units of a row that holds nothing else; answers whether it is such a row.
fn take_units(headings: &mut [Heading], row: &[Vec<u8>]) -> bool {
    let cells: Vec<String> = row.iter().map(|cell| text(trim(cell))).collect();
    let units: Vec<_> = cells.iter().map(|cell| header::unit_cell(cell)).collect();
    let blank =
        |cell: &str| cell.chars().all(|c| !c.is_alphanumeric()) || cell.to_lowercase().contains("hh:mm");
    let only_units = cells.iter().zip(&units).all(|(cell, unit)| unit.is_some() || blank(cell));
    if !only_units || units.iter().all(Option::is_none) {
        return false;
    }
    for (heading, unit) in headings.iter_mut().zip(units) {
        let Some(unit) = unit else { continue };
        let combined = header::read(&format!("{} [{}]", heading.name, "x")).meaning.or(heading.meaning);
        let fits = match combined {
            None | Some(Meaning::Date) => heading.unit.is_none() && combined.is_none(),
            Some(Meaning::Clock) => unit.quantity == super::Quantity::Time,
            Some(Meaning::Quantity(quantity)) => {
                // A lone `t` may be either; the unit decides.
                quantity == unit.quantity || heading.name.trim().eq_ignore_ascii_case("t")
            }
        };
        if fits && heading.unit.is_none() {
            heading.meaning = Some(Meaning::Quantity(unit.quantity));
            heading.against = heading.against.or(unit.against);
            heading.unit = Some(unit);
        }
    }
    true
}
