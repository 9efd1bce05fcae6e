//! A whole visit from its files: 24 circuits, 72 traces; judged, and written as JSON and as a visit sheet.

use std::fs;
use std::path::{Path, PathBuf};

use bench::visit::Others;
use calc::quantity::GaugePressure;
use exchange::findings_json::{Origin, document};
use exchange::load_visit;
use exchange::tables::read_tables;
use exchange::write::{Beside, Existing, NewFile, mould_text, rig_text, visit_files, write_all};
use link::plan::{Logger, ReadingKind, ReadingPlan, Sampling};
use link::{Invention, random_plan, simulate};
use report::{Footer, visit_sheet};

use super::{Fault, Measured};
use crate::timing::{Effort, time};

/// Folder of the visit.
pub const FOLDER: &str = "visit";

const CIRCUITS: usize = 24;
const TRACES_PER_CIRCUIT: usize = 3;
const SEED: u64 = 24;
const PROGRAM: &str = concat!("benches ", env!("CARGO_PKG_VERSION"));

/// Plays an invented visit whose three readings of each circuit are all logged, and writes its files.
pub fn write(folder: &Path) -> Result<(), Fault> {
    // Through a blocked circuit no flow is logged, so there is none here; other faults are as common as ever.
    let options = Invention {
        circuits: (CIRCUITS, CIRCUITS),
        blocked: 0.0,
        rigs: [0.0, 1.0, 0.0, 0.0],
        ..Invention::default()
    };
    let mut plan = random_plan(SEED, &options);
    let pressure = GaugePressure::from_bar(6.0);
    let at = |rate_hz: f64, seconds: f64| Sampling { rate_hz, seconds };
    let from_reservoir = plan.rig.stated.reference_volume.is_some();
    plan.visit.readings = [
        ReadingKind::LeakDown { pressure, sampling: at(10.0, 60.0), hold_s: 10.0, together: false },
        ReadingKind::AirPassage { from_reservoir, pressure, sampling: at(50.0, 6.0) },
        ReadingKind::Flow { shares: vec![1.0], others: Others::Closed, sampling: Some(at(10.0, 60.0)) },
    ]
    .map(|what| ReadingPlan { circuits: None, logger: Logger::Own, what })
    .to_vec();
    let played = simulate(&plan, plan.seed)?;
    let beside = Beside { mould: "mould.toml", rig: Some("rig.toml") };
    let mut files: Vec<NewFile> = vec![
        ("mould.toml".to_owned(), mould_text(&played.mould).into_bytes()),
        ("rig.toml".to_owned(), rig_text(&played.visit.rig).into_bytes()),
    ];
    files.extend(visit_files(&played.visit, beside));
    let traces = files.iter().filter(|(name, _)| ends_in(name, "csv")).count();
    if traces != CIRCUITS * TRACES_PER_CIRCUIT {
        return Err(Fault::from(format!("the visit has {traces} traces instead of 72: choose another seed")));
    }
    Ok(write_all(folder, &files, Existing::Replace)?)
}

fn ends_in(name: &str, ending: &str) -> bool {
    Path::new(name).extension().is_some_and(|found| found == ending)
}

/// Times loading, judging, writing JSON and writing the sheet, each apart and all together.
pub fn measure(folder: &Path, data: &Path, effort: Effort) -> Result<Measured, Fault> {
    let visit = visit_file(folder)?;
    let tables =
        read_tables(&exchange::source::Folder::new(data), "limits/default.toml", "materials/materials.toml")?;
    let load = || load_visit(&visit);
    let (loading, loaded) = time(effort, load);
    let loaded = loaded?;
    let judge = || bench::judge::assess(&loaded.mould, &loaded.visit, &tables);
    let (judging, findings) = time(effort, judge);
    let origin = Origin { program: PROGRAM, digest: &loaded.digest, inputs: &loaded.inputs };
    let (to_json, json) = time(effort, || format!("{:#}", document(&findings, origin)));
    let footer = Footer { program_version: PROGRAM, digest: &loaded.digest, printed_at: None };
    let (to_sheet, sheet) = time(effort, || visit_sheet(&findings, &footer));
    let (whole, ended) = time(effort, || -> Result<usize, Fault> {
        let loaded = load_visit(&visit)?;
        let findings = bench::judge::assess(&loaded.mould, &loaded.visit, &tables);
        let origin = Origin { program: PROGRAM, digest: &loaded.digest, inputs: &loaded.inputs };
        let json = format!("{:#}", document(&findings, origin));
        let footer = Footer { program_version: PROGRAM, digest: &loaded.digest, printed_at: None };
        Ok(json.len() + visit_sheet(&findings, &footer).len())
    });
    let (ended, circuits) = (ended?, findings.circuits.len());
    if ended != json.len() + sheet.len() {
        return Err(Fault::from("the same files gave other documents"));
    }
    #[expect(clippy::cast_precision_loss, reason = "a mould has a few dozen circuits")]
    let measured = Measured::new(whole, circuits as f64);
    Ok(measured
        .with("load_s", loading.median)
        .with("judge_s", judging.median)
        .with("json_s", to_json.median)
        .with("sheet_s", to_sheet.median)
        .with("files", loaded.inputs.len())
        .with("json_bytes", json.len())
        .with("sheet_bytes", sheet.len()))
}

fn visit_file(folder: &Path) -> Result<PathBuf, Fault> {
    let names =
        fs::read_dir(folder)?.map(|entry| Ok(entry?.path())).collect::<Result<Vec<_>, std::io::Error>>()?;
    let found = names.into_iter().find(|path| path.to_string_lossy().ends_with(".visit.toml"));
    found.ok_or_else(|| Fault::from("no visit file; run `benches make` first"))
}
