//! `borewise simulate`: a visit from the virtual rig, with the hidden truth apart.

use std::path::{Path, PathBuf};

use bench::visit::{AirPassage, Decay, LeakDown, Visit, What};
use calc::trace::Trace;
use exchange::intake::Intake;
use exchange::source::Source;
use exchange::write::{Beside, Existing, NewFile, mould_text, rig_text, visit_files, write_all};
use link::Plan;

use crate::output::{Failure, Verdict, print};

/// Folder of the hidden truth, beside the visit's own files.
const TRUTH: &str = "truth";

/// Plays a plan and writes its files.
pub fn run(plan: &Path, out: &Path) -> Result<Verdict, Failure> {
    let (folder, name) =
        exchange::source::split_path(plan).map_err(|error| Failure::input(error.to_string()))?;
    let plan = read(&folder, &name)?;
    let visit = write(&plan, out, Existing::Refuse)?;
    print(&format!("{}", visit.display()))?;
    Ok(Verdict::Done)
}

/// Reads a plan.
pub fn read(source: &dyn Source, name: &str) -> Result<Plan, Failure> {
    let mut intake = Intake::new(source);
    let sheet = intake.sheet(name, link::plan_form());
    let plan = sheet.as_ref().and_then(|sheet| match Plan::from_value(sheet.filled.as_ref()?) {
        Ok(plan) => Some(plan),
        Err(faults) => {
            faults.into_iter().for_each(|fault| intake.fault(sheet, fault));
            None
        }
    });
    intake.finish().map_err(|faults| Failure::input(faults.to_string()))?;
    plan.ok_or_else(|| Failure::input(format!("{name}: no plan could be read")))
}

/// Plays a plan, writes mould, rig, visit and traces into a folder and the truth into a folder inside it, and gives
/// the path of the visit file.
pub fn write(plan: &Plan, out: &Path, existing: Existing) -> Result<PathBuf, Failure> {
    let played = link::simulate(plan, plan.seed).map_err(|error| Failure::input(error.to_string()))?;
    let mould_name = format!("{}.mould.toml", played.mould.id);
    let rig_name = "rig.rig.toml".to_owned();
    let beside = Beside { mould: &mould_name, rig: Some(&rig_name) };
    let mut files: Vec<NewFile> = vec![
        (mould_name.clone(), mould_text(&played.mould).into_bytes()),
        (rig_name.clone(), rig_text(&played.visit.rig).into_bytes()),
    ];
    files.extend(visit_files(&played.visit, beside));
    for place in &played.foreign {
        foreign_trace(&mut files, &played.visit, *place);
    }
    let could = |error: exchange::write::WriteError| Failure::Could { text: error.to_string() };
    write_all(out, &files, existing).map_err(could)?;
    let truth = format!("{:#}", exchange::json::to_json(&played.truth.to_value()));
    let truth_name = format!("{}.truth.json", played.visit.id);
    write_all(&out.join(TRUTH), &[(truth_name, truth.into_bytes())], existing).map_err(could)?;
    Ok(out.join(format!("{}.visit.toml", played.visit.id)))
}

/// Puts the trace of one entry as a foreign logger would have written it in place of our own form.
fn foreign_trace(files: &mut [NewFile], visit: &Visit, place: usize) {
    // Trace files are named after their entry's place, counted from 1.
    let prefix = format!("{:02}", place + 1);
    let trace = visit.entries.get(place).and_then(|entry| pressure_trace(&entry.what));
    let file = files.iter_mut().find(|(name, _)| name.starts_with(&prefix) && name.ends_with(".csv"));
    if let (Some(trace), Some((_, bytes))) = (trace, file) {
        *bytes = link::foreign_csv(trace, visit.started).into_bytes();
    }
}

const fn pressure_trace(what: &What) -> Option<&Trace> {
    match what {
        What::LeakDown(LeakDown { decay: Decay::Trace(trace), .. })
        | What::AirPassage(AirPassage { decay: Decay::Trace(trace), .. }) => Some(trace),
        _ => None,
    }
}
