//! What stands in the files and folders that are to be taken in; every fault of all of them at once.

use std::path::{Path, PathBuf};

use bench::mould::Mould;
use bench::visit::{Rig, Visit};
use exchange::load::{load_mould_from, load_rig_from};
use exchange::mould_list::{self, MouldList, Wishes};
use exchange::source::split_path;
use exchange::{FileFault, FileFaults, Notice, load_visit_from, toml_tree};

use exchange::tables::read_tables;
use store::Fact;
use store::shapes::TableCard;

use crate::files;
use crate::output::Failure;
use crate::tables::{self, LIMITS, MATERIALS};

/// One thing that was read.
pub enum What {
    /// A mould.
    Mould(Mould),
    /// A mould and a visit of it.
    Visit(Mould, Box<Visit>),
    /// A rig.
    Rig(Rig),
    /// A spreadsheet of moulds.
    List(MouldList),
    /// Limits or materials of the plant.
    Table(Fact),
}

/// A file and what it holds.
pub struct Read {
    /// As it was found.
    pub file: String,
    /// What is in it.
    pub what: What,
    /// What its reader should know.
    pub notices: Vec<Notice>,
}

/// Kinds of files that can be taken in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Limits,
    Materials,
    Rig,
    Mould,
    Visit,
    List,
}

/// Reads all files, and all folders with the folders below them; rigs and moulds come before visits.
pub fn read(paths: &[PathBuf], wishes: &Wishes) -> Result<Vec<Read>, Failure> {
    let mut found = Vec::new();
    let mut faults = Vec::new();
    for path in paths {
        if path.is_dir() {
            let before = found.len();
            below(path, &mut found).map_err(|error| Failure::file("read", path, &error))?;
            if found.len() == before {
                let hint = "files of moulds and visits end in .toml and say their format in the first line";
                faults.push(FileFault::of_file(&path.display().to_string(), "no mould or visit in it", hint));
            }
        } else {
            match kind_of(path) {
                Ok(Some(kind)) => found.push((kind, path.clone())),
                Ok(None) => faults.push(FileFault::of_file(
                    &path.display().to_string(),
                    "not a file of a mould, a visit, a rig, limits or materials, and no spreadsheet",
                    "give a TOML file with its format, or CSV or XLSX for a list of moulds",
                )),
                Err(error) => return Err(files::unreadable(path, &error)),
            }
        }
    }
    found.sort();
    found.dedup();
    let mut all = Vec::new();
    for (kind, path) in found {
        match one(kind, &path, wishes) {
            Ok(read) => all.push(read),
            Err(more) => faults.extend(more.0.into_iter().map(|fault| within(&path, fault))),
        }
    }
    if faults.is_empty() { Ok(all) } else { Err(Failure::files(&FileFaults(faults))) }
}

/// A fault with the folder of its file, since many files have the same name.
fn within(path: &Path, fault: FileFault) -> FileFault {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let file =
        folder.map_or_else(|| fault.file.clone(), |folder| folder.join(&fault.file).display().to_string());
    FileFault { file, ..fault }
}

fn below(folder: &Path, found: &mut Vec<(Kind, PathBuf)>) -> std::io::Result<()> {
    let mut inside: Vec<PathBuf> =
        std::fs::read_dir(folder)?.map(|entry| entry.map(|entry| entry.path())).collect::<Result<_, _>>()?;
    inside.sort();
    for path in inside {
        if path.is_dir() {
            below(&path, found)?;
        } else if path.extension().is_some_and(|ending| ending == "toml")
            // Rigs come with their visits, which keep them as they stood.
            && let Some(kind @ (Kind::Mould | Kind::Visit)) = kind_of(&path)?
        {
            found.push((kind, path));
        }
    }
    Ok(())
}

/// What a file says it is.
fn kind_of(path: &Path) -> std::io::Result<Option<Kind>> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    match ending.as_str() {
        "csv" | "txt" | "tsv" | "xlsx" | "xlsm" | "xls" | "ods" => {
            std::fs::metadata(path)?;
            Ok(Some(Kind::List))
        }
        "toml" => {
            let text = String::from_utf8_lossy(&std::fs::read(path)?).into_owned();
            let format = toml_tree::read(text.trim_start_matches('\u{feff}')).0.value;
            let format = format.get("format").and_then(|format| format.as_text().map(str::to_owned));
            Ok(match format.as_deref().and_then(|format| format.split('/').next()) {
                Some("borewise-mould") => Some(Kind::Mould),
                Some("borewise-visit") => Some(Kind::Visit),
                Some("borewise-rig") => Some(Kind::Rig),
                Some("borewise-limits") => Some(Kind::Limits),
                Some("borewise-materials") => Some(Kind::Materials),
                _ => None,
            })
        }
        _ => std::fs::metadata(path).map(|_| None),
    }
}

fn one(kind: Kind, path: &Path, wishes: &Wishes) -> Result<Read, FileFaults> {
    let file = path.display().to_string();
    let unreadable =
        |error: std::io::Error| FileFaults(vec![FileFault::of_file(&file, error.to_string(), "")]);
    let (folder, name) = split_path(path).map_err(unreadable)?;
    let (what, notices) = match kind {
        Kind::Mould => {
            let (mould, notices) = load_mould_from(&folder, &name)?;
            (What::Mould(mould), notices)
        }
        Kind::Visit => {
            let loaded = load_visit_from(&folder, &name)?;
            (What::Visit(loaded.mould, Box::new(loaded.visit)), loaded.notices)
        }
        Kind::Rig => (What::Rig(load_rig_from(&folder, &name)?), Vec::new()),
        Kind::Limits | Kind::Materials => {
            let text = std::fs::read_to_string(path).map_err(unreadable)?;
            (What::Table(table(kind, &name, text)?), Vec::new())
        }
        Kind::List => {
            let bytes = std::fs::read(path).map_err(unreadable)?;
            let mut list = mould_list::read(&name, &bytes, wishes);
            let notices = std::mem::take(&mut list.notices);
            (What::List(list), notices)
        }
    };
    Ok(Read { file, what, notices })
}

/// A table of the plant, read once beside the shipped other one to see whether it is sound.
fn table(kind: Kind, name: &str, text: String) -> Result<Fact, FileFaults> {
    let mut source = tables::files();
    source.insert(name.to_owned(), text.clone().into_bytes());
    let card = TableCard { text };
    if kind == Kind::Limits {
        read_tables(&source, name, MATERIALS)?;
        Ok(Fact::Limits(card))
    } else {
        read_tables(&source, LIMITS, name)?;
        Ok(Fact::Materials(card))
    }
}
