//! A plant's own spreadsheet of moulds and circuits: what its columns seem to mean is shown before anything counts.
//!
//! Reads CSV of any separator and workbooks (XLSX, XLS, ODS). A row is a circuit. What a row says is checked by the
//! same rules as a mould file, and every bad cell is named by its place in the sheet.

mod build;
mod cells;
mod columns;
mod grid;

use bench::mould::Mould;

use crate::fault::{FileFault, Notice};

pub use columns::{Choice, Target};

/// A column of the sheet and what was made of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ColumnUse {
    /// Its letters, as in a spreadsheet.
    pub letters: String,
    /// Its header.
    pub header: String,
    /// What it was taken for; nothing if it is not used.
    pub target: Option<Target>,
    /// Unit of its numbers, where it has one.
    pub unit: Option<&'static str>,
    /// The first value that stands in it.
    pub example: Option<String>,
}

/// A sheet as far as it was understood.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MouldList {
    /// Name of the sheet in a workbook.
    pub sheet: Option<String>,
    /// Row of the headers, from 1.
    pub header_row: Option<u64>,
    /// All columns that have a header.
    pub columns: Vec<ColumnUse>,
    /// The moulds, in the order in which they come; empty if there are faults.
    pub moulds: Vec<Mould>,
    /// Everything that is wrong, in the order of the rows.
    pub faults: Vec<FileFault>,
    /// What the reader should know.
    pub notices: Vec<Notice>,
}

/// What the caller says about the sheet beyond what stands in it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    /// Columns whose meaning is told.
    pub choices: Vec<Choice>,
    /// The sheet of a workbook; the first one that has a header of moulds and circuits if not told.
    pub sheet: Option<String>,
}

/// Reads a sheet from the bytes of its file; the ending of the name tells a workbook from text.
#[must_use]
pub fn read(name: &str, bytes: &[u8], wishes: &Wishes) -> MouldList {
    match grid::read(name, bytes, wishes.sheet.as_deref()) {
        Err(fault) => MouldList { faults: vec![*fault], ..MouldList::default() },
        Ok(grids) => best(name, &grids, wishes),
    }
}

/// The first sheet that holds moulds and circuits; if none does, what is wrong with the first.
fn best(name: &str, grids: &[grid::Grid], wishes: &Wishes) -> MouldList {
    let headed = grids.iter().find_map(|grid| Some((grid, columns::find(grid, &wishes.choices)?)));
    match headed {
        Some((grid, found)) => build::build(name, grid, found),
        None => MouldList { faults: vec![columns::no_header(name, grids.first())], ..MouldList::default() },
    }
}
