//! Loads a visit with its mould, its rig and all its traces, or says everything that is wrong with them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use bench::mould::Mould;
use bench::visit::{Rig, Visit};
use calc::form::{self, Fault, Field, Input, Value};
use calc::quantity::AbsolutePressure;
use calc::trace::Trace;

use crate::csv::{self, Wanted};
use crate::fault::{FileFault, FileFaults, Notice, Place};
use crate::intake::{Hashing, InputFile, Intake, Sheet, digest_of};
use crate::shapes::visit_meaning::{Around, TraceUse, TraceWanted};
use crate::shapes::{self, Found, text};
use crate::source::{Source, plain_name, split_path};

/// A visit with everything that belongs to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// The mould.
    pub mould: Mould,
    /// The visit.
    pub visit: Visit,
    /// What the reader should know about the files.
    pub notices: Vec<Notice>,
    /// The files that were read, in the order of their names.
    pub inputs: Vec<InputFile>,
    /// One digest over them; see [`digest_of`].
    pub digest: String,
}

/// Loads a visit file and the files beside it.
///
/// # Errors
/// Every fault in the visit file, the mould file, the rig file and all traces.
pub fn load_visit(path: &Path) -> Result<Loaded, FileFaults> {
    let (folder, name) = split_path(path).map_err(|error| {
        let shown = path.display().to_string();
        FileFaults(vec![FileFault::of_file(&shown, error.to_string(), "give the path of a visit file")])
    })?;
    load_visit_from(&folder, &name)
}

/// Loads a visit file of this name, and the files that it names, from a source.
///
/// # Errors
/// Every fault in the visit file, the mould file, the rig file and all traces.
pub fn load_visit_from(source: &dyn Source, name: &str) -> Result<Loaded, FileFaults> {
    let mut intake = Intake::new(source);
    let parts = Parts::read(&mut intake, name);
    let inputs = intake.inputs();
    let clean = intake.is_clean();
    let notices = intake.finish()?;
    let assembled = parts.filter(|_| clean).and_then(Parts::assemble);
    let Some((mould, visit)) = assembled else {
        // Every way to get here is a gap between the checks and the conversion.
        let hint = "please report this file: its fault was noticed late";
        return Err(FileFaults(vec![FileFault::of_file(name, "the visit does not fit together", hint)]));
    };
    Ok(Loaded { mould, visit, notices, digest: digest_of(&inputs), inputs })
}

/// Loads a mould file.
///
/// # Errors
/// Every fault in it.
pub fn load_mould_from(source: &dyn Source, name: &str) -> Result<(Mould, Vec<Notice>), FileFaults> {
    let mut intake = Intake::new(source);
    let mould = read_mould(&mut intake, name).and_then(|sheet| sheet.filled);
    let notices = intake.finish()?;
    let mould = mould.and_then(|filled| shapes::mould::mould(&filled).ok());
    mould.map(|mould| (mould, notices)).ok_or_else(FileFaults::default)
}

/// Loads a rig file.
///
/// # Errors
/// Every fault in it.
pub fn load_rig_from(source: &dyn Source, name: &str) -> Result<Rig, FileFaults> {
    let mut intake = Intake::new(source);
    let rig = read_rig(&mut intake, name).and_then(|sheet| sheet.filled);
    intake.finish()?;
    let rig = rig.as_ref().and_then(|filled| Input::checked(filled).record("rig").map(shapes::rig::rig));
    rig.ok_or_else(FileFaults::default)
}

fn read_mould(intake: &mut Intake<'_>, name: &str) -> Option<Sheet> {
    let sheet = intake.sheet(name, shapes::mould::FILE)?;
    let mut found = Found::default();
    shapes::mould::meaning(&sheet.document.value, &mut found);
    intake.found(&sheet, found, "");
    Some(sheet)
}

fn read_rig(intake: &mut Intake<'_>, name: &str) -> Option<Sheet> {
    let sheet = intake.sheet(name, shapes::rig::FILE)?;
    let mut found = Found::default();
    if let Some(rig) = sheet.document.value.get("rig") {
        shapes::rig::meaning(rig, &mut found);
    }
    intake.found(&sheet, found, "rig");
    Some(sheet)
}

/// The parts of a visit, as far as they could be read.
struct Parts {
    sheet: Sheet,
    mould: Option<Sheet>,
    rig: Option<Rig>,
    traces: BTreeMap<String, Trace>,
}

impl Parts {
    fn read(intake: &mut Intake<'_>, name: &str) -> Option<Self> {
        let sheet = intake.sheet(name, shapes::visit::FILE)?;
        let mould = named_sheet(intake, &sheet, "mould", read_mould);
        let (rig, vessels) = read_visit_rig(intake, &sheet);
        let circuits = mould.as_ref().filter(|mould| !mould.broken).map(|mould| {
            let list = mould.document.value.get("circuit").map(Value::items).unwrap_or_default();
            list.iter().filter_map(|circuit| text(circuit, "id")).collect::<BTreeSet<_>>()
        });
        let mut found = Found::default();
        let around = Around {
            circuits,
            reference_volume: vessels.map(|vessels| vessels.reference),
            reservoir: vessels.map(|vessels| vessels.reservoir),
        };
        let wanted = shapes::visit_meaning::meaning(&sheet.document.value, &around, &mut found);
        intake.found(&sheet, found, "");
        let atmosphere = rig.as_ref().map_or(AbsolutePressure::STANDARD_ATMOSPHERE, |rig| rig.atmosphere);
        let mut traces = BTreeMap::new();
        for wanted in wanted {
            if let Some(trace) = read_trace(intake, &sheet, &wanted, atmosphere) {
                traces.insert(wanted.path, trace);
            }
        }
        Some(Self { sheet, mould, rig, traces })
    }

    fn assemble(self) -> Option<(Mould, Visit)> {
        let filled = self.sheet.filled.as_ref()?;
        let mould = shapes::mould::mould(self.mould?.filled.as_ref()?).ok()?;
        let mut lines = BTreeMap::new();
        for list in ["reading", "treatment"] {
            for at in 0..filled.get(list).map(Value::items).unwrap_or_default().len() {
                let path = format!("{list}.{at}");
                let line = self.sheet.document.place(&path).map(|place| place.line).unwrap_or_default();
                lines.insert(path, line);
            }
        }
        let belongings = shapes::visit::Belongings {
            file: &self.sheet.name,
            mould: mould.id.clone(),
            rig: self.rig?,
            traces: self.traces,
            lines,
        };
        let visit = shapes::visit::visit(filled, belongings)?;
        Some((mould, visit))
    }
}

/// Reads the sheet that a field of another one names.
fn named_sheet(
    intake: &mut Intake<'_>,
    sheet: &Sheet,
    field: &str,
    read: fn(&mut Intake<'_>, &str) -> Option<Sheet>,
) -> Option<Sheet> {
    let name = text(&sheet.document.value, field)?;
    if let Err(fault) = plain_name(name) {
        let fault = Fault::new(field, fault.to_string(), "give the name of a file beside this one");
        intake.fault(sheet, fault.with_value(name));
        return None;
    }
    // Opened once here, so that a missing file is reported where it is named.
    intake.open_named(sheet, field, name)?;
    read(intake, name)
}

/// Which vessels a rig has.
#[derive(Clone, Copy)]
struct Vessels {
    reference: bool,
    reservoir: bool,
}

/// The rig of a visit and its vessels; nothing if that cannot be known.
fn read_visit_rig(intake: &mut Intake<'_>, sheet: &Sheet) -> (Option<Rig>, Option<Vessels>) {
    static TABLE: &[Field] = &[Field::required("rig", shapes::rig::RIG, "the rig")];
    let vessels = |rig: &Value| {
        let reference = rig.get("reference_volume_ml").is_some();
        Some(Vessels { reference, reservoir: reference || rig.get("reservoir_volume_ml").is_some() })
    };
    let read = |table: &Value| {
        let checked = form::check(TABLE, &Value::record([("rig", table.clone())])).ok()?;
        Input::checked(&checked).record("rig").map(shapes::rig::rig)
    };
    match sheet.document.value.get("rig") {
        Some(Value::Text(_)) => {
            let rig = named_sheet(intake, sheet, "rig", read_rig);
            let table = rig.as_ref().filter(|rig| !rig.broken).and_then(|rig| rig.document.value.get("rig"));
            table.map_or((None, None), |table| (read(table), vessels(table)))
        }
        Some(table @ Value::Record(_)) => {
            let mut found = Found::default();
            shapes::rig::meaning(table, &mut found);
            intake.found(sheet, found, "rig");
            (read(table), vessels(table))
        }
        Some(_) => (None, None),
        None => {
            if !sheet.broken {
                let text = "no rig is given: meter 2 %, gauges 0.05 bar, thermometer 1 K and no hose losses are assumed";
                let (code, file) = ("rig-assumed", sheet.name.clone());
                intake.notice(Notice { code, file, place: None, text: text.to_owned() });
            }
            (Some(Rig::default()), Some(Vessels { reference: false, reservoir: false }))
        }
    }
}

fn read_trace(
    intake: &mut Intake<'_>,
    sheet: &Sheet,
    wanted: &TraceWanted,
    atmosphere: AbsolutePressure,
) -> Option<Trace> {
    let mut reader =
        Hashing::new(intake.open_named(sheet, &format!("{}.trace", wanted.path), &wanted.name)?);
    let options = Wanted {
        columns: wanted.columns.clone(),
        usual_columns: shapes::visit_meaning::columns(&sheet.document.value),
        needed: match wanted.needed {
            TraceUse::Pressure => csv::Quantity::Pressure,
            TraceUse::Flow => csv::Quantity::Flow,
        },
        atmosphere,
    };
    let place = |line: Option<u64>| line.map(|line| Place { line, column: 1 });
    match csv::read_trace(&mut reader, &options) {
        Ok((trace, remarks)) => {
            intake.digest(&wanted.name, reader.finish());
            for remark in remarks {
                let file = wanted.name.clone();
                let (code, text) = (remark.code, remark.text);
                intake.notice(Notice { code, file, place: place(remark.line), text });
            }
            Some(trace)
        }
        Err(faults) => {
            for fault in faults {
                intake.plain_fault(FileFault::at(&wanted.name, place(fault.line), fault.fault));
            }
            None
        }
    }
}
