//! Files and folders that must be on the disk before anybody is told so.

use std::io;
use std::path::Path;

use crate::error::StoreError;

/// The folder of a file.
pub(crate) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Makes an error of the disk ours.
pub(crate) fn failed(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> StoreError {
    let path = path.to_owned();
    move |source| StoreError::Disk { doing, path, source }
}

/// Waits until a file is on the disk.
pub(crate) fn sync_file(path: &Path) -> Result<(), StoreError> {
    // Opened for writing: a handle that only reads cannot be flushed everywhere.
    let file = std::fs::OpenOptions::new().write(true).open(path);
    file.and_then(|file| file.sync_all()).map_err(failed("flush", path))
}

/// Waits until the names in a folder are on the disk; systems that cannot open a folder flush names by themselves.
pub(crate) fn sync_folder(folder: &Path) -> Result<(), StoreError> {
    if cfg!(unix) {
        return std::fs::File::open(folder).and_then(|open| open.sync_all()).map_err(failed("flush", folder));
    }
    Ok(())
}
