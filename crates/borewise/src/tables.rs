//! The limits and materials that the binary carries.

use std::collections::BTreeMap;

use bench::limits::Tables;
use exchange::tables::read_tables;

use crate::output::Failure;

/// Name of the limits file.
pub const LIMITS: &str = "limits/default.toml";
/// Name of the materials file.
pub const MATERIALS: &str = "materials/materials.toml";

/// The files of both tables.
pub fn files() -> BTreeMap<String, Vec<u8>> {
    let file = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
    BTreeMap::from([
        file(LIMITS, include_str!("../../../data/limits/default.toml")),
        file(MATERIALS, include_str!("../../../data/materials/materials.toml")),
    ])
}

/// The tables of `data/limits` and `data/materials`.
pub fn shipped() -> Result<Tables, Failure> {
    read_tables(&files(), LIMITS, MATERIALS)
        .map_err(|faults| Failure::could(format!("the tables inside this program are broken:\n{faults}"), ""))
}
