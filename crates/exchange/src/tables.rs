//! Limits and materials: the tables that a judgement needs beside mould and visit.

use std::collections::BTreeMap;

use bench::limits::{Limit, Limits, Materials, Metal, Tables};
use calc::form::{Fault, Field, Input, Kind};

use crate::fault::{FileFault, FileFaults};
use crate::intake::Intake;
use crate::source::Source;

/// Value of `format` of a limits file.
pub const LIMITS_FORMAT: &str = "borewise-limits/1";
/// Value of `format` of a materials file.
pub const MATERIALS_FORMAT: &str = "borewise-materials/1";

static LIMITS_FILE: &[Field] = &[
    Field::required("format", Kind::Choice(&[LIMITS_FORMAT]), "format and version of this file"),
    Field::required("limit", Kind::List { of: &LIMIT, least: 1 }, "limits"),
];

static LIMIT: Kind = Kind::Record(&[
    Field::required("name", Kind::Choice(&Limits::NAMES), "fixed name of the limit"),
    Field::required("title", Kind::Text, "what is limited, with the unit"),
    Field::required("value", Kind::NOT_NEGATIVE, "value in use"),
    Field::required("source", Kind::Text, "where the value comes from"),
    Field::required("owner", Kind::Text, "who answers for it"),
    Field::optional("others", Kind::List { of: &OTHER, least: 0 }, "other public figures"),
]);

static OTHER: Kind = Kind::Record(&[
    Field::required("value", Kind::NOT_NEGATIVE, "value"),
    Field::required("source", Kind::Text, "where it comes from"),
]);

static MATERIALS_FILE: &[Field] = &[
    Field::required("format", Kind::Choice(&[MATERIALS_FORMAT]), "format and version of this file"),
    Field::required("metal", Kind::List { of: &METAL, least: 1 }, "metals"),
    Field::required("seal", Kind::List { of: &SEAL, least: 1 }, "seals"),
];

static METAL: Kind = Kind::Record(&[
    Field::required("key", Kind::Text, "key that mould files use"),
    Field::required("family", Kind::Text, "family, such as tool-steel"),
    Field::required("text", Kind::Text, "what it is"),
]);

static SEAL: Kind = Kind::Record(&[
    Field::required("key", Kind::Text, "key that mould files use"),
    Field::required("text", Kind::Text, "what it is"),
]);

/// Reads both tables from files of these names.
///
/// # Errors
/// Every fault in both files: shape, a limit named twice or missing, a key named twice.
pub fn read_tables(source: &dyn Source, limits: &str, materials: &str) -> Result<Tables, FileFaults> {
    let mut intake = Intake::new(source);
    let found_limits = read_limits(&mut intake, limits);
    let found_materials = read_materials(&mut intake, materials);
    intake.finish()?;
    match (found_limits, found_materials) {
        (Some(limits), Some(materials)) => Ok(Tables { limits, materials }),
        // Both are there when nothing was at fault; a gap would be a file that could not be opened.
        _ => Err(FileFaults(vec![FileFault::of_file(
            limits,
            "the tables could not be read",
            "restore the file",
        )])),
    }
}

pub(crate) fn read_limits(intake: &mut Intake<'_>, name: &str) -> Option<Limits> {
    let sheet = intake.sheet(name, LIMITS_FILE)?;
    let filled = sheet.filled.clone()?;
    let mut named = BTreeMap::new();
    for (place, limit) in Input::checked(&filled).records("limit").enumerate() {
        let others =
            limit.records("others").map(|other| (other.number("value"), other.text("source").to_owned()));
        let read = Limit {
            title: limit.text("title").to_owned(),
            value: limit.number("value"),
            source: limit.text("source").to_owned(),
            owner: limit.text("owner").to_owned(),
            others: others.collect(),
        };
        if named.insert(limit.text("name").to_owned(), read).is_some() {
            let field = format!("limit.{place}.name");
            intake.fault(&sheet, Fault::new(field, "named twice", "keep one").with_value(limit.text("name")));
        }
    }
    Limits::from_named(&named)
        .map_err(|missing| {
            let problem = format!("not given: {}", missing.join(", "));
            intake.fault(
                &sheet,
                Fault::new("limit", problem, "every limit needs a value, a source and an owner"),
            );
        })
        .ok()
}

pub(crate) fn read_materials(intake: &mut Intake<'_>, name: &str) -> Option<Materials> {
    let sheet = intake.sheet(name, MATERIALS_FILE)?;
    let filled = sheet.filled.clone()?;
    let mut materials = Materials::default();
    let input = Input::checked(&filled);
    for metal in input.records("metal") {
        let known = Metal { family: metal.text("family").to_owned(), text: metal.text("text").to_owned() };
        materials.metals.insert(metal.text("key").to_owned(), known);
    }
    for seal in input.records("seal") {
        materials.seals.insert(seal.text("key").to_owned(), seal.text("text").to_owned());
    }
    if materials.metals.len() + materials.seals.len() < input.items("metal").len() + input.items("seal").len()
    {
        intake.fault(&sheet, Fault::new("metal", "a key is given twice", "keep one entry a key"));
    }
    Some(materials)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: &str = include_str!("../../../data/limits/default.toml");
    const MATERIALS: &str = include_str!("../../../data/materials/materials.toml");

    fn source(limits: &str) -> BTreeMap<String, Vec<u8>> {
        BTreeMap::from([
            ("limits.toml".to_owned(), limits.as_bytes().to_vec()),
            ("materials.toml".to_owned(), MATERIALS.as_bytes().to_vec()),
        ])
    }

    #[test]
    fn the_shipped_tables_are_whole() {
        let tables = read_tables(&source(LIMITS), "limits.toml", "materials.toml").unwrap();
        assert!((tables.limits.leak_rate.value - 0.1).abs() < 1e-12);
        assert!(tables.limits.reynolds.others.iter().any(|(value, _)| (*value - 10_000.0).abs() < 1e-9));
        assert!(
            tables.materials.metals.contains_key("1.2311") && tables.materials.seals.contains_key("EPDM")
        );
    }

    #[test]
    fn a_missing_limit_and_a_bad_value_are_both_named() {
        let broken = LIMITS.replace("value = 90\n", "value = -90\n");
        let faults = read_tables(&source(&broken), "limits.toml", "materials.toml").unwrap_err();
        assert!(faults.to_string().contains("limit.2.value"), "{faults}");
        let short = LIMITS.split("[[limit]]").take(3).collect::<Vec<_>>().join("[[limit]]");
        let faults = read_tables(&source(&short), "limits.toml", "materials.toml").unwrap_err();
        assert!(faults.to_string().contains("flow-high"), "{faults}");
    }
}
