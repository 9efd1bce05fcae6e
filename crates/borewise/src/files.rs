//! The files that a command is given, and those that it leaves.

use std::fs;
use std::io;
use std::path::Path;

use calc::form::Fault;
use exchange::source::{Folder, split_path};
use exchange::write::{Existing, NewFile, WriteError, write_all};

use crate::output::Failure;

/// The folder of a file that a command is given, and the file's name in it; `what` is what the command reads.
pub fn beside(path: &Path, what: &str) -> Result<(Folder, String), Failure> {
    if path == Path::new("-") {
        let hint = "files are looked for beside it, and standard input has no folder";
        return Err(Failure::input(&Fault::new("", format!("give the path of {what}"), hint)));
    }
    let kind = fs::metadata(path).map_err(|error| unreadable(path, &error))?;
    if !kind.is_file() {
        let problem = format!("{} is not a file", path.display());
        return Err(Failure::could(problem, &format!("give the path of {what}")));
    }
    split_path(path).map_err(|error| Failure::file("read", path, &error))
}

/// A file that cannot be read.
pub fn unreadable(path: &Path, error: &io::Error) -> Failure {
    match error.kind() {
        io::ErrorKind::NotFound => {
            Failure::could(format!("there is no file {}", path.display()), "look at its name and its folder")
        }
        _ => Failure::file("read", path, error),
    }
}

/// Says so before any work is done if this cannot be a folder, because a file stands in its place or above it.
pub fn can_be_folder(folder: &Path) -> Result<(), Failure> {
    match folder.ancestors().find(|above| above.exists()) {
        Some(above) if !above.is_dir() => {
            let problem = format!("{} cannot be a folder: {} is a file", folder.display(), above.display());
            Err(Failure::could(problem, "give a folder, or a name that is still free"))
        }
        _ => Ok(()),
    }
}

/// Writes all files into a folder, or none of them.
pub fn write(folder: &Path, files: &[NewFile], existing: Existing) -> Result<(), Failure> {
    can_be_folder(folder)?;
    // The writer moves aside whatever has the name of a file that it brings.
    if let Some((name, _)) = files.iter().find(|(name, _)| folder.join(name).is_dir()) {
        let problem = format!("{} is a folder, and a file would take its place", folder.join(name).display());
        return Err(Failure::could(problem, "rename it, or choose another folder"));
    }
    write_all(folder, files, existing).map_err(|error| match error {
        WriteError::Exists(names) => {
            let problem = format!("already in {}: {}", folder.display(), names.join(", "));
            Failure::could(problem, "choose another folder, or remove them")
        }
        WriteError::Name(name) => {
            let problem = format!("{name} cannot be a file name");
            let hint = "use letters, digits, dots and hyphens in the names of moulds, visits and circuits";
            Failure::input(&Fault::new("", problem, hint).with_value(name))
        }
        // The writer names its own draft, which nobody has asked for.
        WriteError::Disk { source, .. } => Failure::file("write into", folder, &source),
    })
}
