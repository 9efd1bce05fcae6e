//! What was understood of a spreadsheet, for people and programs.

use exchange::mould_list::{MouldList, Target};
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
