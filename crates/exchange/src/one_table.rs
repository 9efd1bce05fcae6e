//! The plant's tables as a page changes them: limits and materials, by the rules of their files.

use std::collections::BTreeMap;

use calc::form::{Fault, Value};

use crate::intake::Intake;
use crate::tables::{read_limits, read_materials};
use crate::toml_text::{self, Section, Sheet};
use crate::toml_tree;

/// A table of the plant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Table {
    /// Limits that the judgement applies.
    Limits,
    /// Metals and seals that the gates know.
    Materials,
}

/// The value of a table's text; nothing if it cannot be read.
#[must_use]
pub fn value(text: &str) -> Option<Value> {
    let (document, faults) = toml_tree::read(text);
    faults.is_empty().then_some(document.value)
}

/// The text of a table, if it is sound.
///
/// # Errors
/// Everything that is wrong with it, under the paths of its fields: `limit.2.value`.
pub fn text(table: Table, value: &Value) -> Result<String, Vec<Fault>> {
    let is_list = |value: &Value| value.items().iter().any(|item| matches!(item, Value::Record(_)));
    let (lists, head): (Vec<_>, Vec<_>) =
        value.fields().iter().cloned().partition(|(_, value)| is_list(value));
    let section = |(name, list): &(String, Value)| {
        list.items().iter().map(|item| Section::repeated(name, item.clone())).collect::<Vec<_>>()
    };
    let sheet = Sheet { head, sections: lists.iter().flat_map(section).collect() };
    let text = toml_text::write(&sheet, &[]);
    let source = BTreeMap::from([(NAME.to_owned(), text.clone().into_bytes())]);
    let mut intake = Intake::new(&source);
    let sound = match table {
        Table::Limits => read_limits(&mut intake, NAME).is_some(),
        Table::Materials => read_materials(&mut intake, NAME).is_some(),
    };
    match intake.finish() {
        Ok(_) if sound => Ok(text),
        Ok(_) => Err(vec![Fault::new("", "the table does not fit together", "look at every field again")]),
        Err(faults) => Err(faults
            .0
            .into_iter()
            .map(|fault| Fault {
                field: fault.field,
                value: fault.value,
                problem: fault.problem,
                hint: fault.hint,
            })
            .collect()),
    }
}

const NAME: &str = "table.toml";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_tables_come_back() {
        for (table, file) in [
            (Table::Limits, include_str!("../../../data/limits/default.toml")),
            (Table::Materials, include_str!("../../../data/materials/materials.toml")),
        ] {
            let first = value(file).expect("TOML");
            let written = text(table, &first).expect("sound");
            assert_eq!(value(&written), Some(first));
        }
    }

    #[test]
    fn a_bad_value_is_named_at_its_path() {
        let file =
            include_str!("../../../data/limits/default.toml").replacen("value = 90\n", "value = -90\n", 1);
        let faults = text(Table::Limits, &value(&file).expect("TOML")).expect_err("a negative limit");
        assert!(faults.iter().any(|fault| fault.field == "limit.2.value"), "{faults:?}");
    }
}
