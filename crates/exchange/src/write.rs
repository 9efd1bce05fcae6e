//! Writes moulds, rigs, visits and traces, all files of a set or none.

use core::fmt::Write as _;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use bench::mould::Mould;
use bench::visit::{Rig, Visit};
use calc::trace::Trace;

pub use crate::shapes::Beside;
use crate::shapes::{DATE_KEYS, mould_sheet, rig::FORMAT as RIG_FORMAT, rig_value, visit_sheet};
use crate::source::plain_name;
use crate::toml_text::{self, Section, Sheet};

/// A file to be written: name and bytes.
pub type NewFile = (String, Vec<u8>);

/// The text of a mould file.
#[must_use]
pub fn mould_text(mould: &Mould) -> String {
    toml_text::write(&mould_sheet(mould), DATE_KEYS)
}

/// The text of a rig file.
#[must_use]
pub fn rig_text(rig: &Rig) -> String {
    let head = vec![("format".to_owned(), RIG_FORMAT.into())];
    let sections = vec![Section::once("rig", rig_value(rig))];
    toml_text::write(&Sheet { head, sections }, DATE_KEYS)
}

/// A visit's files: first `<id>.visit.toml`, then a CSV file for each trace.
#[must_use]
pub fn visit_files(visit: &Visit, beside: Beside<'_>) -> Vec<NewFile> {
    let (sheet, traces) = visit_sheet(visit, beside);
    let text = toml_text::write(&sheet, DATE_KEYS).into_bytes();
    let traces = traces.into_iter().map(|(name, trace)| (name, trace_csv(&trace).into_bytes()));
    std::iter::once((format!("{}.visit.toml", visit.id), text)).chain(traces).collect()
}

/// A trace in our own form of CSV; missing samples are empty.
#[must_use]
pub fn trace_csv(trace: &Trace) -> String {
    let columns = [
        ("pressure_bar_g", &trace.pressure_bar_g),
        ("flow_l_min", &trace.flow_l_min),
        ("temperature_deg_c", &trace.temperature_deg_c),
    ];
    let columns: Vec<(&str, &Vec<f64>)> =
        columns.into_iter().filter_map(|(name, column)| Some((name, column.as_ref()?))).collect();
    let mut text = String::with_capacity(trace.len() * 16 * (columns.len() + 1));
    text.push_str("time_s");
    for (name, _) in &columns {
        text.push(',');
        text.push_str(name);
    }
    text.push('\n');
    for (at, time) in trace.time_s.iter().enumerate() {
        let _ = write!(text, "{time}");
        for (_, column) in &columns {
            text.push(',');
            if let Some(value) = column.get(at).filter(|value| value.is_finite()) {
                let _ = write!(text, "{value}");
            }
        }
        text.push('\n');
    }
    text
}

/// What happens to files that are already there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Existing {
    /// Nothing is written if one of the files is there.
    Refuse,
    /// They are replaced.
    Replace,
}

/// Why nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// Files are already there.
    #[error("already there: {}; choose another folder, or remove them", .0.join(", "))]
    Exists(Vec<String>),
    /// A name leads out of the folder, or stands twice.
    #[error("cannot be a file name here: {0}")]
    Name(String),
    /// The disk refused.
    #[error("could not write {}", path.display())]
    Disk {
        /// Where.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Writes all files into a folder, or none of them.
///
/// The files are first written whole into a new folder beside the target and flushed to disk. If the target does not
/// exist, that folder takes its name in one step. If it does, the files are moved in one by one, and moved back if
/// one of the moves fails; only a loss of power in between can then leave a part.
///
/// # Errors
/// [`WriteError`]; the target is then as it was.
pub fn write_all(folder: &Path, files: &[NewFile], existing: Existing) -> Result<(), WriteError> {
    for (at, (name, _)) in files.iter().enumerate() {
        let twice = files.iter().take(at).any(|(other, _)| other == name);
        if twice || plain_name(name).is_err() {
            return Err(WriteError::Name(name.clone()));
        }
    }
    let there: Vec<String> =
        files.iter().map(|(name, _)| name).filter(|name| folder.join(name).exists()).cloned().collect();
    if existing == Existing::Refuse && !there.is_empty() {
        return Err(WriteError::Exists(there));
    }
    let draft = Draft::beside(folder)?;
    for (name, bytes) in files {
        let path = draft.new.join(name);
        write_one(&path, bytes).map_err(|source| WriteError::Disk { path: path.clone(), source })?;
    }
    if folder.exists() {
        move_in(&draft, folder, files)
    } else {
        let renamed = fs::rename(&draft.new, folder);
        renamed.map_err(|source| WriteError::Disk { path: folder.to_owned(), source })
    }
}

fn write_one(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(parent) = path.parent() {
        fs::create_dir_all(parent)?;
    }
    let mut file = fs::File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// A folder for the new files and one for those that they replace; gone when dropped.
struct Draft {
    root: PathBuf,
    new: PathBuf,
    old: PathBuf,
}

impl Draft {
    fn beside(folder: &Path) -> Result<Self, WriteError> {
        let at = |path: &Path| {
            let path = path.to_owned();
            move |source| WriteError::Disk { path, source }
        };
        let parent =
            folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
        fs::create_dir_all(parent).map_err(at(parent))?;
        let name = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        for attempt in 0..1000 {
            let root = parent.join(format!(".{name}.part-{}-{attempt}", std::process::id()));
            match fs::create_dir(&root) {
                Ok(()) => {
                    let draft = Self { new: root.join("new"), old: root.join("old"), root };
                    fs::create_dir(&draft.new).map_err(at(&draft.new))?;
                    fs::create_dir(&draft.old).map_err(at(&draft.old))?;
                    return Ok(draft);
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(at(&root)(error)),
            }
        }
        Err(at(parent)(io::ErrorKind::AlreadyExists.into()))
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        // A draft that stays behind hides behind its dot and harms nobody.
        let _ = fs::remove_dir_all(&self.root);
    }
}

fn move_in(draft: &Draft, folder: &Path, files: &[NewFile]) -> Result<(), WriteError> {
    let mut done: Vec<(&str, bool)> = Vec::new();
    for (at, (name, _)) in files.iter().enumerate() {
        let (target, kept) = (folder.join(name), draft.old.join(at.to_string()));
        let result = (|| {
            if let Some(parent) = target.parent() {
                fs::create_dir_all(parent)?;
            }
            let replaced = target.exists();
            if replaced {
                fs::rename(&target, &kept)?;
            }
            done.push((name, replaced));
            fs::rename(draft.new.join(name), &target)
        })();
        if let Err(source) = result {
            undo(draft, folder, &done);
            return Err(WriteError::Disk { path: target, source });
        }
    }
    Ok(())
}

fn undo(draft: &Draft, folder: &Path, done: &[(&str, bool)]) {
    for (at, (name, replaced)) in done.iter().enumerate().rev() {
        let target = folder.join(name);
        let _ = if *replaced {
            fs::rename(draft.old.join(at.to_string()), &target)
        } else {
            fs::remove_file(&target)
        };
    }
}
