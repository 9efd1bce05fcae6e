//! `borewise simulate`: a visit from the virtual rig, with the hidden truth apart.

use std::path::Path;

use bench::visit::{AirPassage, Decay, LeakDown, Visit, What};
use calc::form::Fault;
use calc::trace::Trace;
use exchange::FileFaults;
use exchange::fault::FileFault;
use exchange::intake::Intake;
use exchange::source::Source;
use exchange::write::{Beside, Existing, NewFile, mould_text, rig_text, visit_files};
use link::Plan;

use crate::files;
use crate::output::{Failure, Verdict, print};

/// Folder of the hidden truth, beside the visit's own files.
const TRUTH: &str = "truth";

/// The files of a played plan.
pub struct Played {
    /// Mould, rig, visit, traces, and the truth in a folder of its own.
    pub files: Vec<NewFile>,
    /// Name of the visit file among them.
    pub visit: String,
}

/// Plays a plan and writes its files.
pub fn run(plan: &Path, out: &Path) -> Result<Verdict, Failure> {
    let (folder, name) = files::beside(plan, "a plan")?;
    let played = play(&read(&folder, &name)?, &name)?;
    files::write(out, &played.files, Existing::Refuse)?;
    print(&out.join(&played.visit).display().to_string())?;
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
    intake.finish().map_err(|faults| Failure::files(&faults))?;
    let unreadable = || Failure::input(&Fault::new("", format!("{name}: no plan could be read"), ""));
    plan.ok_or_else(unreadable)
}

/// Plays a plan of this name.
pub fn play(plan: &Plan, name: &str) -> Result<Played, Failure> {
    let played = link::simulate(plan, plan.seed).map_err(|error| {
        Failure::files(&FileFaults(vec![FileFault::of_file(name, error.to_string(), "")]))
    })?;
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
    let truth = format!("{:#}\n", exchange::json::to_json(&played.truth.to_value()));
    files.push((format!("{TRUTH}/{}.truth.json", played.visit.id), truth.into_bytes()));
    Ok(Played { files, visit: format!("{}.visit.toml", played.visit.id) })
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
