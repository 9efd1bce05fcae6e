//! Copies of a record: backup while people write, and restore, both verified before they count.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};
use sha2::{Digest as _, Sha256};

use crate::audit::{Audit, audit};
use crate::chain::Head;
use crate::digest::Digest;
use crate::disk;
use crate::error::StoreError;
use crate::record::reader;

/// A copy that was made and verified.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copied {
    /// Where it is.
    pub path: PathBuf,
    /// The audit of the copy.
    pub audit: Audit,
    /// SHA-256 of the file.
    pub digest: Digest,
    /// Its size.
    pub size_bytes: u64,
}

/// What happens to a record that is in the place of a restored one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InPlace {
    /// Nothing is restored then.
    Refuse,
    /// It is set aside under a name with this ending.
    SetAside(jiff::Timestamp),
}

/// Copies a record that may be in use, looks at the whole copy, and only then gives it its name; its digest is put
/// beside it in the form that `sha256sum --check` reads.
///
/// # Errors
/// [`StoreError::Exists`]; [`StoreError::NotWhole`] if the record is broken (no copy is left then).
pub fn backup(from: &Path, to: &Path) -> Result<Copied, StoreError> {
    let beside = digest_path(to);
    if let Some(there) = [to, &beside].into_iter().find(|path| path.exists()) {
        return Err(StoreError::Exists(there.to_owned()));
    }
    no_log_left(to)?;
    let draft = Draft::beside(to)?;
    let copied = copy(from, &draft.path)?;
    let name = to.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    std::fs::write(&beside, format!("{}  {name}\n", copied.digest))
        .map_err(disk::failed("write", &beside))?;
    disk::sync_file(&beside)?;
    draft.becomes(to)?;
    Ok(Copied { path: to.to_owned(), ..copied })
}

/// Puts a backup in the place of a record. The backup is looked at as a whole, copied, and the copy looked at again.
///
/// # Errors
/// [`StoreError::Exists`] if a record is there and may not be set aside; [`StoreError::NotWhole`],
/// [`StoreError::DigestDiffers`] if the backup is not what it was. The record in place is then untouched.
pub fn restore(from: &Path, to: &Path, in_place: InPlace) -> Result<(Copied, Option<PathBuf>), StoreError> {
    if !from.is_file() {
        return Err(StoreError::Missing(from.to_owned()));
    }
    if in_place == InPlace::Refuse && to.exists() {
        return Err(StoreError::Exists(to.to_owned()));
    }
    let beside = digest_path(from);
    if beside.is_file() {
        let text = std::fs::read_to_string(&beside).map_err(disk::failed("read", &beside))?;
        let written = text.split_whitespace().next().and_then(Digest::from_hex);
        if written != Some(file_digest(from)?.0) {
            return Err(StoreError::DigestDiffers(from.to_owned()));
        }
    }
    let folder = disk::folder_of(to);
    std::fs::create_dir_all(folder).map_err(disk::failed("make the folder", folder))?;
    let draft = Draft::beside(to)?;
    let copied = copy(from, &draft.path)?;
    let aside = match in_place {
        InPlace::SetAside(at) if to.exists() => Some(set_aside(to, at)?),
        _ => None,
    };
    no_log_left(to)?;
    draft.becomes(to)?;
    Ok((Copied { path: to.to_owned(), ..copied }, aside))
}

/// Copies through SQLite's own online backup, and looks at the copy.
fn copy(from: &Path, to: &Path) -> Result<Copied, StoreError> {
    if !from.is_file() {
        return Err(StoreError::Missing(from.to_owned()));
    }
    let source = reader(from)?;
    let mut target = Connection::open(to)?;
    {
        let backup = Backup::new(&source, &mut target)?;
        // All pages in one step: one moment of the record, and writers are not kept waiting in this journal mode.
        while backup.step(-1)? != StepResult::Done {
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    }
    // One file without a log beside it, so that the file alone is the copy.
    target.pragma_update(None, "journal_mode", "DELETE")?;
    target.close().map_err(|(_, error)| error)?;
    disk::sync_file(to)?;
    let seen = audit(to, &[])?;
    if let Some(first) = seen.first_break {
        return Err(StoreError::NotWhole { path: from.to_owned(), first: Box::new(first) });
    }
    // The original may have grown meanwhile, but it must hold the copy's end.
    let held = if seen.head == Head::EMPTY {
        true
    } else {
        let sql = "SELECT 1 FROM entry WHERE number = ?1 AND hash = ?2";
        source.prepare(sql)?.exists((seen.head.number, seen.head.hash.0))?
    };
    if !held {
        return Err(StoreError::CopyDiffers(to.to_owned()));
    }
    let (digest, size_bytes) = file_digest(to)?;
    Ok(Copied { path: to.to_owned(), audit: seen, digest, size_bytes })
}

/// Where the digest of a backup stands.
fn digest_path(backup: &Path) -> PathBuf {
    with_ending(backup, ".sha256")
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn file_digest(path: &Path) -> Result<(Digest, u64), StoreError> {
    let mut file = std::fs::File::open(path).map_err(disk::failed("read", path))?;
    let mut hash = Sha256::new();
    let mut size_bytes = 0;
    let mut buffer = vec![0; 1 << 16];
    loop {
        let count = file.read(&mut buffer).map_err(disk::failed("read", path))?;
        let Some(read) = buffer.get(..count).filter(|read| !read.is_empty()) else { break };
        hash.update(read);
        size_bytes += count as u64;
    }
    Ok((Digest(hash.finalize().into()), size_bytes))
}

/// A log without its record would be read into whatever takes the record's name.
fn no_log_left(record: &Path) -> Result<(), StoreError> {
    let log = with_ending(record, "-wal");
    if log.exists() { Err(StoreError::Exists(log)) } else { Ok(()) }
}

/// Sets a record aside, with the log that may lie beside it.
fn set_aside(record: &Path, at: jiff::Timestamp) -> Result<PathBuf, StoreError> {
    let time = at.strftime("%Y%m%dT%H%M%SZ");
    let aside = with_ending(record, &format!(".before-restore-{time}"));
    if aside.exists() {
        return Err(StoreError::Exists(aside));
    }
    // The log is brought into the record, so that it is whole whatever happens between two names. A record that is too
    // damaged for that keeps its log beside it.
    let brought = Connection::open(record)
        .and_then(|open| open.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())));
    drop(brought);
    for ending in ["-wal", "-shm", ""] {
        let part = with_ending(record, ending);
        if part.exists() {
            std::fs::rename(&part, with_ending(&aside, ending)).map_err(disk::failed("set aside", &part))?;
        }
    }
    Ok(aside)
}

/// A file under a name of its own until it is whole; gone when dropped before that.
struct Draft {
    path: PathBuf,
}

impl Draft {
    fn beside(target: &Path) -> Result<Self, StoreError> {
        let path = with_ending(target, &format!(".part-{}", std::process::id()));
        if path.exists() {
            return Err(StoreError::Exists(path));
        }
        Ok(Self { path })
    }

    fn becomes(self, target: &Path) -> Result<(), StoreError> {
        std::fs::rename(&self.path, target).map_err(disk::failed("give its name to", target))?;
        disk::sync_folder(disk::folder_of(target))
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm", "-journal"] {
            // Nothing is lost if it is not there any more.
            let _ = std::fs::remove_file(with_ending(&self.path, ending));
        }
    }
}
