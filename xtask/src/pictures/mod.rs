//! Writes `docs/pictures/*.svg`: drawings cut out of visit sheets of the invented plant.

mod drawing;
mod sheet;
mod style;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use sheet::Sheet;

const FOLDER: &str = "docs/pictures";

/// A drawing for the pages: its name, the plan of the visit, and what is cut out of the sheet.
struct Wanted {
    name: &'static str,
    plan: &'static str,
    what: What,
}

/// What is cut out.
enum What {
    /// A chart of this circuit, by the chart's title, with its key.
    Chart { circuit: &'static str, title: &'static str },
    /// The map of who leaks into whom.
    LeakMap,
    /// The bore eyes of these circuits, with what they are in words.
    BoreEyes(&'static [&'static str]),
}

const HOSE_REEL: &str = "hose-reel-drum.plan.toml";
const WATERING_CAN: &str = "watering-can-body.plan.toml";
const PLANT_POT: &str = "plant-pot-13cm.plan.toml";

const WANTED: &[Wanted] = &[
    Wanted {
        name: "flow-curve",
        plan: WATERING_CAN,
        what: What::Chart { circuit: "M2", title: "Pressure drop against flow" },
    },
    Wanted {
        name: "leak-down",
        plan: HOSE_REEL,
        what: What::Chart { circuit: "F6", title: "Pressure while air is held in" },
    },
    Wanted {
        name: "air-passage",
        plan: PLANT_POT,
        what: What::Chart { circuit: "F5", title: "Pressure while air is let out" },
    },
    Wanted { name: "leak-map", plan: HOSE_REEL, what: What::LeakMap },
    Wanted { name: "bore-eyes", plan: WATERING_CAN, what: What::BoreEyes(&["M1", "M2", "M3", "S1"]) },
];

/// Writes the drawings, or with `verify` compares them with those that are there.
pub fn run(root: &Path, verify: bool) -> ExitCode {
    let drawings = match drawings(root) {
        Ok(drawings) => drawings,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    for (name, text) in drawings {
        let file = format!("{FOLDER}/{name}.svg");
        let path = root.join(&file);
        if verify && fs::read_to_string(&path).is_ok_and(|there| there == text) {
            println!("{file} is what the program draws");
        } else if verify {
            eprintln!("{file} differs from what the program draws: look at why, then run `cargo xtask pictures`");
            return ExitCode::FAILURE;
        } else if let Err(error) = fs::write(&path, text) {
            eprintln!("cannot write {file}: {error}");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// Name and text of each drawing.
fn drawings(root: &Path) -> Result<Vec<(&'static str, String)>, String> {
    let mut sheets: BTreeMap<&str, String> = BTreeMap::new();
    for wanted in WANTED {
        if !sheets.contains_key(wanted.plan) {
            sheets.insert(wanted.plan, sheet::made(root, wanted.plan)?);
        }
    }
    WANTED
        .iter()
        .map(|wanted| {
            let page = sheets.get(wanted.plan).map(String::as_str).unwrap_or_default();
            let text = drawn(&Sheet::read(page)?, &wanted.what);
            Ok((wanted.name, text.map_err(|error| format!("{}: {error}", wanted.name))?))
        })
        .collect()
}

fn drawn(sheet: &Sheet<'_>, what: &What) -> Result<String, String> {
    match what {
        What::Chart { circuit, title } => {
            let chart = sheet.chart(circuit, title)?;
            Ok(drawing::chart(&format!("{title}, circuit {circuit}"), &chart, sheet.style()))
        }
        What::LeakMap => Ok(drawing::alone(&sheet.leak_map()?, sheet.style())),
        What::BoreEyes(circuits) => {
            let eyes = circuits.iter().map(|id| sheet.bore_eye(id)).collect::<Result<Vec<_>, _>>()?;
            Ok(drawing::row_of_eyes(&eyes, sheet.style()))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drawings_are_whole_and_need_nothing_else() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        for (name, text) in drawings(root).unwrap() {
            let read = roxmltree::Document::parse(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
            assert!(read.root_element().attribute("viewBox").is_some(), "{name}");
            assert!(!text.contains("var(") && !text.contains("href"), "{name}");
            assert!(text.len() < 60_000, "{name} has {} bytes", text.len());
        }
    }
}
