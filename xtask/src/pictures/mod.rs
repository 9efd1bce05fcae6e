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

/// A drawing for the pages: its name, and what is cut out of a sheet.
struct Wanted {
    name: &'static str,
    what: What,
}

/// A circuit of the visit that this plan makes.
type Circuit = (&'static str, &'static str);

/// What is cut out.
enum What {
    /// The chart of this title of a circuit, with its key.
    Chart(Circuit, &'static str),
    /// The map of who leaks into whom of a plan's visit.
    LeakMap(&'static str),
    /// The bore eyes of these circuits, with what they are in words.
    BoreEyes(&'static [Circuit]),
}

const HOSE_REEL: &str = "hose-reel-drum.plan.toml";
const WATERING_CAN: &str = "watering-can-body.plan.toml";
const PLANT_POT: &str = "plant-pot-13cm.plan.toml";

const WANTED: &[Wanted] = &[
    Wanted { name: "flow-curve", what: What::Chart((WATERING_CAN, "M2"), "Pressure drop against flow") },
    Wanted { name: "leak-down", what: What::Chart((HOSE_REEL, "F6"), "Pressure while air is held in") },
    Wanted { name: "air-passage", what: What::Chart((PLANT_POT, "F5"), "Pressure while air is let out") },
    Wanted { name: "leak-map", what: What::LeakMap(HOSE_REEL) },
    Wanted {
        name: "bore-eyes",
        what: What::BoreEyes(&[
            (WATERING_CAN, "S2"),
            (WATERING_CAN, "F4"),
            (WATERING_CAN, "F6"),
            (PLANT_POT, "F5"),
            (WATERING_CAN, "S1"),
            (PLANT_POT, "M2"),
            (WATERING_CAN, "M1"),
            (WATERING_CAN, "M3"),
        ]),
    },
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
            eprintln!(
                "{file} differs from what the program draws: look at why, then run `cargo xtask pictures`"
            );
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
    let mut pages = BTreeMap::new();
    for plan in [HOSE_REEL, WATERING_CAN, PLANT_POT] {
        pages.insert(plan, sheet::made(root, plan)?);
    }
    let mut sheets = BTreeMap::new();
    for (plan, page) in &pages {
        sheets.insert(*plan, Sheet::read(page)?);
    }
    WANTED
        .iter()
        .map(|wanted| match drawn(&sheets, &wanted.what) {
            Ok(text) => Ok((wanted.name, text)),
            Err(error) => Err(format!("{}: {error}", wanted.name)),
        })
        .collect()
}

fn drawn(sheets: &BTreeMap<&str, Sheet<'_>>, what: &What) -> Result<String, String> {
    let of = |plan: &str| sheets.get(plan).ok_or_else(|| format!("no sheet was made of {plan}"));
    match what {
        What::Chart((plan, circuit), title) => {
            let chart = of(plan)?.chart(circuit, title)?;
            Ok(drawing::chart(&format!("{title}, circuit {circuit}"), &chart, of(plan)?.style()))
        }
        What::LeakMap(plan) => Ok(drawing::alone(&of(plan)?.leak_map()?, of(plan)?.style())),
        What::BoreEyes(circuits) => {
            let eyes =
                circuits.iter().map(|(plan, id)| of(plan)?.bore_eye(id)).collect::<Result<Vec<_>, _>>()?;
            Ok(drawing::eyes(&eyes, of(HOSE_REEL)?.style()))
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
