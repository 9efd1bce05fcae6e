//! `borewise demo`: the invented plant, every visit judged, and a page that leads to the sheets.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use exchange::write::{Existing, write_all};
use include_dir::{Dir, include_dir};
use report::{PlantVisit, plant_page};

use crate::assess::{PROGRAM, judge};
use crate::output::{Failure, Verdict, print};
use crate::simulate;

static PLANS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../data/demo/plans");

/// Name of the invented plant.
const PLANT: &str = "Alder Beck Garden Products";
/// The page that leads to all sheets.
const INDEX: &str = "index.html";

/// Writes the plant into a folder, prints what was found, and opens the page unless told not to.
pub fn run(folder: &Path, no_open: bool) -> Result<Verdict, Failure> {
    let source: BTreeMap<String, Vec<u8>> = PLANS
        .files()
        .map(|file| (file.path().to_string_lossy().into_owned(), file.contents().to_vec()))
        .collect();
    let mut visits = Vec::new();
    for name in source.keys() {
        let plan = simulate::read(&source, name)?;
        let place = folder.join(&plan.mould.0);
        let visit = simulate::write(&plan, &place, Existing::Replace)?;
        let judged = judge(&visit)?;
        crate::assess::write(&place, &judged)?;
        visits.push((place, judged));
    }
    let page = plant_page(PLANT, &rows(&visits), PROGRAM);
    write_all(folder, &[(INDEX.to_owned(), page.into_bytes())], Existing::Replace)
        .map_err(|error| Failure::Could { text: error.to_string() })?;
    let index = folder.join(INDEX);
    print(&summary(&visits, &index))?;
    if !no_open {
        open(&index);
    }
    Ok(Verdict::Done)
}

fn rows<'a>(visits: &'a [(PathBuf, crate::assess::Judged)]) -> Vec<PlantVisit<'a>> {
    visits
        .iter()
        .map(|(place, judged)| PlantVisit {
            findings: &judged.findings,
            sheet: format!("{}/visit-sheet.html", place.file_name().unwrap_or_default().to_string_lossy()),
        })
        .collect()
}

/// One line a mould, then where to look.
fn summary(visits: &[(PathBuf, crate::assess::Judged)], index: &Path) -> String {
    let mut lines = vec![format!("{PLANT}: {} moulds on the bench", visits.len()), String::new()];
    for (place, judged) in visits {
        let findings = &judged.findings;
        lines.push(format!("{}  {}", findings.mould, findings.mould_name));
        lines.push(format!("    {}: {}", findings.headline, findings.because.join("; ")));
        lines.push(format!("    {}", place.join("visit-sheet.html").display()));
    }
    lines.push(String::new());
    lines.push(format!("All sheets: {}", index.display()));
    lines.join("\n")
}

/// Opens the page with whatever the desktop uses; a machine without a desktop has been told the path.
fn open(index: &Path) {
    let (program, first) = if cfg!(target_os = "windows") {
        ("cmd", &["/C", "start", ""][..])
    } else if cfg!(target_os = "macos") {
        ("open", &[][..])
    } else {
        ("xdg-open", &[][..])
    };
    let quiet = std::process::Stdio::null;
    // Nothing is lost if this fails: the path has been printed.
    let _ =
        Command::new(program).args(first).arg(index).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn();
}
