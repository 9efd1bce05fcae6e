//! What was understood of a spreadsheet, for people and programs, and what it adds to the record.

use bench::mould::{Circuit, Mould};
use exchange::mould_list::{ColumnUse, MouldList, Target};
use serde_json::{Value as Json, json};

/// The columns and what they were taken for, one a line.
pub fn words(list: &MouldList) -> Vec<String> {
    let sheet = list.sheet.as_ref().map(|sheet| format!("sheet {sheet:?}, ")).unwrap_or_default();
    let row = list.header_row.map(|row| format!("headers in row {row}")).unwrap_or_default();
    let mut lines = vec![format!("  {sheet}{row}")];
    let width = list.columns.iter().map(|column| column.header.chars().count()).max().unwrap_or_default();
    for column in &list.columns {
        let meaning = match (column.target, column.unit) {
            (Some(target), Some(unit)) => format!("{} in {unit}", plain(target)),
            (Some(target), None) => plain(target).to_owned(),
            (None, _) => "not used".to_owned(),
        };
        let example =
            column.example.as_ref().map(|example| format!(" (such as {example})")).unwrap_or_default();
        lines.push(format!("  {:>3}  {:width$}  {meaning}{example}", column.letters, column.header));
    }
    lines
}

const fn plain(target: Target) -> &'static str {
    match target {
        Target::Mould => "mould",
        Target::Name => "name of the mould",
        Target::Process => "process",
        Target::Circuit => "circuit",
        Target::Half => "half",
        Target::Serves => "what the circuit cools",
        Target::Metals => "metals",
        Target::Seals => "seals",
        Target::Bore => "bore",
        Target::Length => "length",
        Target::FlowFactor => "baseline flow factor",
        Target::FlowFactorUncertainty => "uncertainty of the baseline",
        Target::BaselineDate => "date of the baseline",
        Target::FilledVolume => "filled volume",
    }
}

/// The same as a document.
pub fn document(list: &MouldList) -> Json {
    let columns: Vec<Json> = list
        .columns
        .iter()
        .map(|column| {
            json!({
                "column": column.letters,
                "header": column.header,
                "taken_for": column.target.map(Target::word),
                "unit": column.unit,
                "example": column.example,
            })
        })
        .collect();
    json!({"sheet": list.sheet, "header_row": list.header_row, "columns": columns})
}

/// The mould on record with what a sheet says of it. An empty cell says nothing, so it takes nothing away; circuits that
/// the sheet does not have stay, and new ones come after them.
pub fn added_to(known: Option<Mould>, listed: &Mould, columns: &[ColumnUse]) -> Mould {
    let Some(mut mould) = known else { return listed.clone() };
    let says = |target| columns.iter().any(|column| column.target == Some(target));
    if says(Target::Name) && listed.name != NOT_NAMED {
        mould.name.clone_from(&listed.name);
    }
    if says(Target::Process) {
        mould.process = listed.process;
    }
    for circuit in &listed.circuits {
        match mould.circuits.iter_mut().find(|known| known.id == circuit.id) {
            Some(known) => add(known, circuit),
            None => mould.circuits.push(circuit.clone()),
        }
    }
    mould
}

/// Name of a mould, and half of a circuit, of which nothing was said.
const NOT_NAMED: &str = "not named";
const NO_HALF: &str = "unknown";

fn add(known: &mut Circuit, listed: &Circuit) {
    if listed.half != NO_HALF {
        known.half.clone_from(&listed.half);
    }
    if !listed.metals.is_empty() {
        known.metals.clone_from(&listed.metals);
    }
    if !listed.seals.is_empty() {
        known.seals.clone_from(&listed.seals);
    }
    known.serves = listed.serves.clone().or_else(|| known.serves.take());
    known.rough_bore = listed.rough_bore.or(known.rough_bore);
    known.rough_length = listed.rough_length.or(known.rough_length);
    // The sheet tells no past, and of a baseline no flow points.
    known.baseline = listed.baseline.clone().or_else(|| known.baseline.take());
}
