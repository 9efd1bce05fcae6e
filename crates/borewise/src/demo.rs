//! `borewise demo`: the invented plant, every visit judged, and a page that leads to the sheets.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use exchange::write::{Existing, NewFile};
use include_dir::{Dir, include_dir};
use report::{PlantVisit, plant_page};
use web::{Loopback, Seal};

use crate::assess::{Judged, PROGRAM, SHEET, judge};
use crate::files;
use crate::output::{Failure, Verdict, print};
use crate::record::{Place, take_in};
use crate::serve;
use crate::simulate::{self, Played};

static PLANS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../data/demo/plans");

/// Name of the invented plant.
const PLANT: &str = "Alder Beck Garden Products";
/// Who took the plant in.
const PERSON: &str = "KT";
/// The page that leads to all sheets.
const INDEX: &str = "index.html";

/// One mould of the plant: the folder of its files, and what was found.
struct Tool {
    folder: String,
    judged: Judged,
}

/// Writes the plant into a folder, prints what was found, and opens the page unless told not to.
pub fn run(folder: &Path, no_open: bool) -> Result<Verdict, Failure> {
    files::can_be_folder(folder)?;
    let plans: BTreeMap<String, Vec<u8>> = PLANS
        .files()
        .map(|file| (file.path().to_string_lossy().into_owned(), file.contents().to_vec()))
        .collect();
    let mut tools = Vec::new();
    let mut all: Vec<NewFile> = Vec::new();
    for name in plans.keys() {
        let plan = simulate::read(&plans, name)?;
        let Played { files, visit } = simulate::play(&plan, name)?;
        let source: BTreeMap<String, Vec<u8>> = files.into_iter().collect();
        let tool = Tool { judged: judge(&source, &visit)?, folder: plan.mould.0 };
        let files = source.into_iter().chain(tool.judged.files());
        all.extend(files.map(|(name, bytes)| (format!("{}/{name}", tool.folder), bytes)));
        tools.push(tool);
    }
    let page = plant_page(PLANT, &rows(&tools), PROGRAM);
    all.push((INDEX.to_owned(), page.into_bytes()));
    files::write(folder, &all, Existing::Replace)?;
    let index = folder.join(INDEX);
    print(&summary(&tools, folder, &index))?;
    if no_open {
        return Ok(Verdict::Done);
    }
    let folders: Vec<PathBuf> = tools.iter().map(|tool| folder.join(&tool.folder)).collect();
    let kept = Temporary::folder()?;
    let store = take_in::quietly(&Place::of(kept.0.clone()).file(), &folders, PERSON)?;
    serve::pages(
        store,
        Seal::for_this_run(),
        PLANT,
        None,
        &[Loopback::port(serve::PORT), Loopback::port(0)],
        open,
    )
}

/// A folder for this run alone.
struct Temporary(PathBuf);

impl Temporary {
    fn folder() -> Result<Self, Failure> {
        let folder = std::env::temp_dir().join(format!("borewise-demo-{}", std::process::id()));
        // What a killed run of the same number left behind is nobody's record.
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).map_err(|error| Failure::file("make", &folder, &error))?;
        Ok(Self(folder))
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        // The system clears its own folder of temporary files where this cannot.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn rows(tools: &[Tool]) -> Vec<PlantVisit<'_>> {
    let row = |tool: &'_ Tool| format!("{}/{SHEET}", tool.folder);
    tools.iter().map(|tool| PlantVisit { findings: &tool.judged.findings, sheet: row(tool) }).collect()
}

/// One paragraph a mould, then where to look.
fn summary(tools: &[Tool], folder: &Path, index: &Path) -> String {
    let mut lines = vec![format!("{PLANT}: {} moulds on the bench", tools.len()), String::new()];
    for tool in tools {
        let findings = &tool.judged.findings;
        lines.push(format!("{}  {}", findings.mould, findings.mould_name));
        lines.push(format!("    {}: {}", findings.headline, findings.because.join("; ")));
        lines.push(format!("    {}", folder.join(&tool.folder).join(SHEET).display()));
    }
    lines.push(String::new());
    lines.push(format!("All sheets: {}", index.display()));
    lines.join("\n")
}

/// Opens the page with whatever the desktop uses; a machine without a desktop has been told the address.
fn open(address: &str) {
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
        Command::new(program).args(first).arg(address).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn();
}
