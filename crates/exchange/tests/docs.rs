//! The page on files names every field that files may have.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use bench::limits::Limits;
use calc::form::{Field, Kind, Variant};
use exchange::shapes::{mould, rig, visit};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Names of fields and words of variants, each list of variants once: pieces may hold pieces.
#[derive(Default)]
struct Names {
    found: BTreeSet<&'static str>,
    seen: Vec<*const Variant>,
}

impl Names {
    fn fields(&mut self, fields: &'static [Field]) {
        for field in fields {
            self.found.insert(field.name);
            self.kind(&field.kind);
        }
    }

    fn kind(&mut self, kind: &'static Kind) {
        match kind {
            Kind::List { of, .. } | Kind::Map(of) | Kind::TextOr(of) => self.kind(of),
            Kind::Record(fields) => self.fields(fields),
            Kind::Choice(words) => self.found.extend(words.iter()),
            Kind::Tagged { variants, .. } if !self.seen.contains(&variants.as_ptr()) => {
                self.seen.push(variants.as_ptr());
                for variant in *variants {
                    self.fields(variant.fields);
                }
            }
            _ => {}
        }
    }
}

/// Whether the page has this name in code, alone or at the end of a path.
fn names(page: &str, name: &str) -> bool {
    ["`", "."].iter().any(|before| page.contains(&format!("{before}{name}`")))
}

#[test]
fn every_field_of_mould_visit_and_rig_is_on_the_page() {
    let page = read("docs/methods/files.md");
    let mut all = Names::default();
    for file in [mould::FILE, visit::FILE, rig::FILE] {
        all.fields(file);
    }
    assert!(all.found.len() > 80, "{} names", all.found.len());
    let missing: Vec<_> = all.found.into_iter().filter(|name| !names(&page, name)).collect();
    // The tables of a file stand in brackets.
    let missing: Vec<_> = missing.into_iter().filter(|name| !page.contains(&format!("[{name}]"))).collect();
    assert!(missing.is_empty(), "not on the page: {missing:?}");
}

#[test]
fn every_key_of_limits_and_materials_is_on_the_page() {
    let page = read("docs/methods/files.md");
    for file in ["data/limits/default.toml", "data/materials/materials.toml"] {
        let text = read(file);
        let keys = text.lines().filter_map(|line| line.split_once(" = ")).map(|(key, _)| key.trim());
        for key in keys.filter(|key| !key.starts_with(['#', '{'])) {
            assert!(names(&page, key), "{key} of {file} is not on the page");
        }
    }
}

#[test]
fn limits_stand_on_the_page_as_they_are_shipped() {
    let page = read("docs/methods/files.md");
    let shipped = read("data/limits/default.toml");
    for name in Limits::NAMES {
        let (_, entry) = shipped.split_once(&format!("name = \"{name}\"")).expect("the limit is shipped");
        let value = entry.lines().find_map(|line| line.strip_prefix("value = ")).expect("it has a value");
        let value: f64 = value.parse().expect("a number");
        assert!(page.contains(&format!("| `{name}` | {value} |")), "{name} = {value} is not on the page");
    }
}
