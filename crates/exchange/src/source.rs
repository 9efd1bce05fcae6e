//! Where files come from: a folder, an archive, a map in memory.
//!
//! Readers of this crate ask a [`Source`] for a name and never touch the file system themselves.

use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Gives a reader for a name.
pub trait Source {
    /// Opens the file of this name. Names come from [`plain_name`]: relative, `/` between folders, no `..`.
    ///
    /// # Errors
    /// [`io::ErrorKind::NotFound`] if there is no such file; whatever else keeps it from being read.
    fn open(&self, name: &str) -> io::Result<Box<dyn Read + '_>>;
}

impl<F: Fn(&str) -> io::Result<Vec<u8>>> Source for F {
    fn open(&self, name: &str) -> io::Result<Box<dyn Read + '_>> {
        Ok(Box::new(io::Cursor::new(self(name)?)))
    }
}

impl Source for std::collections::BTreeMap<String, Vec<u8>> {
    fn open(&self, name: &str) -> io::Result<Box<dyn Read + '_>> {
        self.get(name)
            .map(|bytes| Box::new(bytes.as_slice()) as Box<dyn Read>)
            .ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

/// The files of one folder and the folders below it.
#[derive(Clone, Debug)]
pub struct Folder {
    root: PathBuf,
}

impl Folder {
    /// The files below this folder.
    #[must_use]
    pub fn new(root: impl Into<PathBuf>) -> Self {
        Self { root: root.into() }
    }
}

impl Source for Folder {
    fn open(&self, name: &str) -> io::Result<Box<dyn Read + '_>> {
        // A link inside the folder may point out of it, so the resolved path decides.
        let root = self.root.canonicalize()?;
        let path = root.join(name).canonicalize()?;
        if !path.starts_with(&root) {
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, "leads out of the folder"));
        }
        // Opening a pipe would wait for a writer for ever.
        if !path.metadata()?.is_file() {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "is not a file"));
        }
        Ok(Box::new(std::fs::File::open(path)?))
    }
}

/// Why a name is not one of a file inside a folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameFault {
    /// Nothing in it.
    #[error("the name is empty")]
    Empty,
    /// It starts at the root of a disk.
    #[error("this is an absolute path")]
    Absolute,
    /// It climbs out of the folder.
    #[error("this leads out of the folder")]
    Outside,
    /// A character that file names on some system cannot hold.
    #[error("a file name here cannot hold a backslash, a colon or a control character")]
    Character,
}

/// Checks that a name stays inside its folder on every system.
///
/// # Errors
/// [`NameFault`] for an absolute path, `..`, or characters that mean something else elsewhere.
pub fn plain_name(name: &str) -> Result<&str, NameFault> {
    if name.trim().is_empty() {
        return Err(NameFault::Empty);
    }
    let drive = name.as_bytes().get(1) == Some(&b':');
    if name.starts_with(['/', '\\']) || drive {
        return Err(NameFault::Absolute);
    }
    if name.split(['/', '\\']).any(|part| part == "..") {
        return Err(NameFault::Outside);
    }
    if name.contains(|c: char| c == '\\' || c == ':' || c.is_control()) {
        return Err(NameFault::Character);
    }
    Ok(name)
}

/// The folder of a path and the name of the file in it.
///
/// # Errors
/// [`io::ErrorKind::InvalidInput`] if the path names no file, or not in Unicode.
pub fn split_path(path: &Path) -> io::Result<(Folder, String)> {
    let name = path.file_name().and_then(|name| name.to_str());
    let name = name.ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "names no file"))?;
    let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    Ok((Folder::new(parent.unwrap_or_else(|| Path::new("."))), name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_inside() {
        assert_eq!(plain_name("traces/F2 leak.csv"), Ok("traces/F2 leak.csv"));
        assert_eq!(plain_name("/etc/passwd"), Err(NameFault::Absolute));
        assert_eq!(plain_name("C:x.csv"), Err(NameFault::Absolute));
        assert_eq!(plain_name("\\\\server\\x"), Err(NameFault::Absolute));
        assert_eq!(plain_name("a/../../x"), Err(NameFault::Outside));
        assert_eq!(plain_name("a\\..\\x"), Err(NameFault::Outside));
        assert_eq!(plain_name("a\\x"), Err(NameFault::Character));
        assert_eq!(plain_name("..a/x..csv"), Ok("..a/x..csv"));
        assert_eq!(plain_name(" "), Err(NameFault::Empty));
    }

    #[test]
    #[cfg(unix)]
    fn a_link_out_of_the_folder_is_refused() {
        let base = std::env::temp_dir().join(format!("exchange-source-{}", std::process::id()));
        std::fs::create_dir_all(base.join("in")).unwrap();
        std::fs::write(base.join("secret"), "x").unwrap();
        std::fs::write(base.join("in/here"), "y").unwrap();
        std::os::unix::fs::symlink(base.join("secret"), base.join("in/link")).unwrap();
        let folder = Folder::new(base.join("in"));
        assert!(folder.open("here").is_ok());
        let refused = folder.open("link").err().map(|error| error.kind());
        let pipe = folder.open(".").err().map(|error| error.kind());
        std::fs::remove_dir_all(&base).unwrap();
        assert_eq!(refused, Some(io::ErrorKind::PermissionDenied));
        assert_eq!(pipe, Some(io::ErrorKind::InvalidInput));
    }
}
