//! The limits and materials that the binary carries.

use std::collections::BTreeMap;

use bench::limits::Tables;
use exchange::tables::read_tables;

use crate::output::Failure;

/// The tables of `data/limits` and `data/materials`.
pub fn shipped() -> Result<Tables, Failure> {
    let file = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
    let source = BTreeMap::from([
        file("limits/default.toml", include_str!("../../../data/limits/default.toml")),
        file("materials/materials.toml", include_str!("../../../data/materials/materials.toml")),
    ]);
    read_tables(&source, "limits/default.toml", "materials/materials.toml")
        .map_err(|faults| Failure::could(format!("the tables inside this program are broken:\n{faults}"), ""))
}
