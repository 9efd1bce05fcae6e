//! Rows as moulds, by the rules of a mould file; every fault at the cell that it comes from.

use std::collections::{BTreeMap, BTreeSet};

use bench::mould::Mould;
use calc::form::{self, Fault, Value};

use super::cells;
use super::columns::{Column, Found, Target};
use super::grid::{Cell, Grid};
use super::{ColumnUse, MouldList};
use crate::fault::{FileFault, Notice, Place};
use crate::shapes;

/// A mould being gathered: what its rows say, and where.
#[derive(Default)]
struct Gathered {
    /// What is said of the mould, with the row that said it first.
    about: BTreeMap<Target, (Value, u64)>,
    /// Row and fields of each circuit.
    circuits: Vec<(u64, BTreeMap<Target, Value>)>,
}

/// Gathers faults at cells.
struct Faults<'a> {
    file: &'a str,
    columns: &'a [Column],
    list: Vec<FileFault>,
    /// Columns whose missing unit was named.
    unitless: BTreeSet<Target>,
}

impl Faults<'_> {
    /// A fault at the cell of this row in the column of this target; at the row if there is no such column.
    fn at(&mut self, row: u64, target: Target, value: Option<Value>, problem: &str, hint: &str) {
        let column = self.columns.iter().find(|column| column.shown.target == Some(target));
        let field = column.map_or_else(
            || format!("row {row}"),
            |column| format!("{}{row} {}", column.shown.letters, column.shown.header),
        );
        let place = Place { line: row, column: column.map_or(1, |column| column.at as u64 + 1) };
        let mut fault = Fault::new(field, problem, hint);
        fault.value = value;
        self.list.push(FileFault::at(self.file, Some(place), fault));
    }
}

/// The moulds of a sheet whose columns were found.
pub fn build(file: &str, grid: &Grid, found: Found) -> MouldList {
    let shown: Vec<ColumnUse> = found.columns.iter().map(|column| column.shown.clone()).collect();
    let mut faults = Faults { file, columns: &found.columns, list: Vec::new(), unitless: BTreeSet::new() };
    columns_clash(&mut faults, &found);
    let mut gathered = Vec::new();
    let mut notices = Vec::new();
    if faults.list.is_empty() {
        gathered = gather(grid, &found, &mut faults, &mut notices);
    }
    let moulds = gathered.iter().filter_map(|(id, mould)| finish(id, mould, &mut faults)).collect();
    let mut faults = faults.list;
    faults.sort_by_key(|fault| fault.place);
    if faults.is_empty() && gathered.is_empty() {
        faults.push(FileFault::of_file(
            file,
            "no row below the headers holds a circuit",
            "give a row for each circuit",
        ));
    }
    let moulds = if faults.is_empty() { moulds } else { Vec::new() };
    let (sheet, header_row) = (grid.name.clone(), Some(found.header_row));
    MouldList { sheet, header_row, columns: shown, moulds, faults, notices }
}

/// Two columns for one thing, and choices that no column has.
fn columns_clash(faults: &mut Faults<'_>, found: &Found) {
    for (at, column) in found.columns.iter().enumerate() {
        let Some(target) = column.shown.target else { continue };
        let earlier = found.columns.iter().take(at).find(|other| other.shown.target == Some(target));
        if let Some(earlier) = earlier {
            let problem = format!(
                "columns {} ({}) and {} ({}) both seem to be {}",
                earlier.shown.letters,
                earlier.shown.header,
                column.shown.letters,
                column.shown.header,
                target.word()
            );
            let hint = format!("say which is not: --column {}=", column.shown.letters);
            let place = Place { line: found.header_row, column: column.at as u64 + 1 };
            let fault = Fault::new(column.shown.header.clone(), problem, hint);
            faults.list.push(FileFault::at(faults.file, Some(place), fault));
        }
    }
    for header in &found.unmet {
        let problem = format!("no column has the header {header:?}");
        let headers: Vec<&str> = found.columns.iter().map(|column| column.shown.header.as_str()).collect();
        faults.list.push(FileFault::of_file(faults.file, problem, format!("one of: {}", headers.join(", "))));
    }
}

fn gather(
    grid: &Grid,
    found: &Found,
    faults: &mut Faults<'_>,
    notices: &mut Vec<Notice>,
) -> Vec<(String, Gathered)> {
    let mut moulds: Vec<(String, Gathered)> = Vec::new();
    let mut above: Option<String> = None;
    let mut filled = 0_usize;
    for (row, cells) in grid.rows.iter().skip(found.header_at + 1) {
        if found.columns.iter().all(|column| *Grid::cell(cells, column.at) == Cell::Empty) {
            continue;
        }
        let mut values = read_row(*row, cells, found, faults);
        let id = match values.remove(&Target::Mould) {
            Some(Value::Text(id)) => Some(id),
            // A merged cell, or one left out below the first row of its mould.
            _ if values.contains_key(&Target::Circuit) => {
                filled += usize::from(above.is_some());
                above.clone()
            }
            _ => None,
        };
        let Some(id) = id else {
            if values.contains_key(&Target::Circuit) {
                faults.at(
                    *row,
                    Target::Mould,
                    None,
                    "no mould is given, here or above",
                    "give the id of the mould",
                );
            }
            continue;
        };
        above = Some(id.clone());
        let at = moulds.iter().position(|(known, _)| *known == id).unwrap_or_else(|| {
            moulds.push((id.clone(), Gathered::default()));
            moulds.len() - 1
        });
        if let Some((_, mould)) = moulds.get_mut(at) {
            add(mould, *row, values, faults);
        }
    }
    if filled > 0 {
        let text = format!("{filled} rows without a mould were taken to belong to the mould above them");
        notices.push(Notice { code: "mould-from-above", file: faults.file.to_owned(), place: None, text });
    }
    moulds
}

fn read_row(row: u64, cells: &[Cell], found: &Found, faults: &mut Faults<'_>) -> BTreeMap<Target, Value> {
    let mut values = BTreeMap::new();
    for column in &found.columns {
        let Some(target) = column.shown.target else { continue };
        let cell = Grid::cell(cells, column.at);
        match cells::value(cell, target, column.factor) {
            Ok(Some(value)) => drop(values.insert(target, value)),
            Ok(None) => {}
            // Once a column is enough: the header mends it.
            Err((problem, _)) if problem == cells::NO_UNIT && !faults.unitless.insert(target) => {}
            Err((problem, hint)) => {
                faults.at(row, target, cell.shown().map(Value::Text), &problem, &hint);
            }
        }
    }
    values
}

/// Adds a row to its mould.
fn add(mould: &mut Gathered, row: u64, values: BTreeMap<Target, Value>, faults: &mut Faults<'_>) {
    let (about, circuit): (BTreeMap<_, _>, BTreeMap<_, _>) =
        values.into_iter().partition(|(target, _)| target.of_mould());
    for (target, value) in about {
        match mould.about.get(&target) {
            Some((known, first)) if *known != value => {
                let problem = format!("row {first} says otherwise of the same mould");
                faults.at(
                    row,
                    target,
                    Some(value),
                    &problem,
                    "let all rows of a mould say the same, or only the first",
                );
            }
            Some(_) => {}
            None => drop(mould.about.insert(target, (value, row))),
        }
    }
    if circuit.contains_key(&Target::Circuit) {
        mould.circuits.push((row, circuit));
    } else if !circuit.is_empty() {
        faults.at(
            row,
            Target::Circuit,
            None,
            "no circuit is given",
            "give the id of the circuit, or leave the row empty",
        );
    }
}

/// The mould, checked by the rules of a mould file.
fn finish(id: &str, gathered: &Gathered, faults: &mut Faults<'_>) -> Option<Mould> {
    let record = |fields: &mut dyn Iterator<Item = (&Target, &Value)>| {
        fields.map(|(target, value)| (target.field().to_owned(), value.clone())).collect::<Vec<_>>()
    };
    let mut about = vec![("id".to_owned(), Value::from(id))];
    about.extend(record(&mut gathered.about.iter().map(|(target, (value, _))| (target, value))));
    let circuits =
        gathered.circuits.iter().map(|(_, circuit)| Value::Record(record(&mut circuit.iter()))).collect();
    let file = Value::record([
        ("format", Value::from(shapes::mould::FORMAT)),
        ("mould", Value::Record(about)),
        ("circuit", Value::List(circuits)),
    ]);
    let before = faults.list.len();
    let checked = form::check(shapes::mould::FILE, &file);
    let mut meant = shapes::Found::default();
    shapes::mould::meaning(&file, &mut meant);
    let refused = checked.as_ref().err().cloned().unwrap_or_default();
    for fault in refused.into_iter().chain(meant.faults) {
        place(fault, gathered, faults);
    }
    let checked = checked.ok().filter(|_| faults.list.len() == before)?;
    shapes::mould::mould(&checked).ok()
}

/// Puts a fault of the mould file's rules at the cell that it comes from.
fn place(fault: Fault, gathered: &Gathered, faults: &mut Faults<'_>) {
    let parts: Vec<&str> = fault.field.split('.').collect();
    let circuit = match parts.as_slice() {
        ["circuit", at, ..] => at.parse::<usize>().ok().and_then(|at| gathered.circuits.get(at)),
        _ => None,
    };
    let field = parts.get(if circuit.is_some() { 2 } else { 1 }).copied().unwrap_or_default();
    let of_mould = circuit.is_none();
    let target = super::columns::targets()
        .find(|target| target.field() == field && target.of_mould() == of_mould)
        .unwrap_or(if of_mould { Target::Mould } else { Target::Circuit });
    let first = gathered.circuits.first().map_or(0, |(row, _)| *row);
    let row =
        circuit.map_or_else(|| gathered.about.get(&target).map_or(first, |(_, row)| *row), |(row, _)| *row);
    faults.at(row, target, fault.value, &fault.problem, &fault.hint);
}
