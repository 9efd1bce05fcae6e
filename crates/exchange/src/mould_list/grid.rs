//! A sheet as rows of cells, whatever file it came in.

use std::io::{Cursor, Read as _};

use calamine::{Data, Reader as _, open_workbook_auto_from_rs};

use crate::csv::decode;
use crate::fault::FileFault;

/// Largest file; a plant of thousands of moulds takes a tenth of it.
const LIMIT_BYTES: usize = 64 << 20;
/// Most cells of a sheet.
const LIMIT_CELLS: usize = 5_000_000;
const SEPARATORS: [u8; 3] = [b';', b'\t', b','];

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing in it.
    Empty,
    /// Text.
    Text(String),
    /// A number of a workbook.
    Number(f64),
    /// A day of a workbook, YYYY-MM-DD.
    Day(String),
    /// Something that is no value, such as a formula's error.
    Bad(String),
}

impl Cell {
    fn text(text: &str) -> Self {
        let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\u{a0}' || c == '\u{feff}');
        if text.is_empty() { Self::Empty } else { Self::Text(text.to_owned()) }
    }

    /// As it is shown.
    pub fn shown(&self) -> Option<String> {
        match self {
            Self::Empty => None,
            Self::Text(text) | Self::Day(text) | Self::Bad(text) => Some(text.clone()),
            Self::Number(number) => Some(number.to_string()),
        }
    }
}

/// A sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Its name in a workbook.
    pub name: Option<String>,
    /// Row numbers, from 1, with their cells.
    pub rows: Vec<(u64, Vec<Cell>)>,
}

impl Grid {
    /// The cell of a row at this column.
    pub fn cell(row: &[Cell], column: usize) -> &Cell {
        row.get(column).unwrap_or(&Cell::Empty)
    }
}

/// The sheets of a file.
pub fn read(name: &str, bytes: &[u8], sheet: Option<&str>) -> Result<Vec<Grid>, Box<FileFault>> {
    if bytes.len() > LIMIT_BYTES {
        let problem = format!("larger than {} MiB", LIMIT_BYTES >> 20);
        return Err(Box::new(FileFault::of_file(name, problem, "split the list")));
    }
    let workbook = bytes.starts_with(b"PK") || bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]);
    if workbook { workbook_grids(name, bytes, sheet) } else { Ok(vec![text_grid(name, bytes)?]) }
}

fn workbook_grids(name: &str, bytes: &[u8], sheet: Option<&str>) -> Result<Vec<Grid>, Box<FileFault>> {
    let unreadable = |error: &dyn std::fmt::Display| {
        let problem = format!("not a workbook that can be read: {error}");
        Box::new(FileFault::of_file(name, problem, "save it as XLSX or CSV, without a password"))
    };
    let mut workbook = open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|error| unreadable(&error))?;
    let names = workbook.sheet_names();
    if let Some(wanted) = sheet
        && !names.iter().any(|name| name == wanted)
    {
        let problem = format!("there is no sheet {wanted:?}");
        return Err(Box::new(FileFault::of_file(name, problem, format!("one of: {}", names.join(", ")))));
    }
    let mut grids = Vec::new();
    for sheet_name in names.into_iter().filter(|name| sheet.is_none_or(|wanted| wanted == name)) {
        let range = workbook.worksheet_range(&sheet_name).map_err(|error| unreadable(&error))?;
        if range.get_size().0.saturating_mul(range.get_size().1) > LIMIT_CELLS {
            return Err(unreadable(&"too many cells"));
        }
        let (top, left) = range.start().unwrap_or_default();
        let rows = (u64::from(top) + 1..).zip(range.rows()).map(|(number, row)| {
            let before = std::iter::repeat_n(Cell::Empty, left as usize);
            (number, before.chain(row.iter().map(of_workbook)).collect())
        });
        grids.push(Grid { name: Some(sheet_name), rows: rows.collect() });
    }
    Ok(grids)
}

fn of_workbook(data: &Data) -> Cell {
    match data {
        Data::Empty => Cell::Empty,
        Data::String(text) => Cell::text(text),
        #[expect(clippy::cast_precision_loss, reason = "cells hold numbers far below 2^53")]
        Data::Int(number) => Cell::Number(*number as f64),
        Data::Float(number) => Cell::Number(*number),
        Data::Bool(flag) => Cell::Text(flag.to_string()),
        Data::DateTime(time) => {
            let (year, month, day, ..) = time.to_ymd_hms_milli();
            Cell::Day(format!("{year:04}-{month:02}-{day:02}"))
        }
        Data::DateTimeIso(text) => Cell::Day(text.chars().take(10).collect()),
        Data::DurationIso(text) => Cell::Bad(text.clone()),
        Data::Error(error) => Cell::Bad(error.to_string()),
    }
}

/// Text with the separator that gives the most columns in the most rows.
fn text_grid(name: &str, bytes: &[u8]) -> Result<Grid, Box<FileFault>> {
    let unreadable = |error: &dyn std::fmt::Display| {
        let problem = format!("cannot be read as a table: {error}");
        Box::new(FileFault::of_file(name, problem, "save it as CSV or XLSX"))
    };
    let mut plain = Vec::new();
    let opened = decode::open(bytes).and_then(|mut reader| reader.read_to_end(&mut plain));
    opened.map_err(|error| unreadable(&error))?;
    if plain.contains(&0) {
        return Err(unreadable(&"it is no text"));
    }
    let mut best: Option<(usize, Grid)> = None;
    for separator in SEPARATORS {
        let grid = split(&plain, separator).map_err(|error| unreadable(&error))?;
        let widest = grid.rows.iter().take(20).map(|(_, row)| row.len()).max().unwrap_or_default();
        if best.as_ref().is_none_or(|(width, _)| widest > *width) {
            best = Some((widest, grid));
        }
    }
    best.map(|(_, grid)| grid).ok_or_else(|| unreadable(&"it is empty"))
}

fn split(plain: &[u8], separator: u8) -> Result<Grid, csv::Error> {
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(separator).from_reader(plain);
    let mut rows = Vec::new();
    for record in reader.byte_records() {
        let record = record?;
        let line = record.position().map_or(0, csv::Position::line);
        rows.push((line, record.iter().map(|cell| Cell::text(&decode::text(cell))).collect()));
    }
    Ok(Grid { name: None, rows })
}
