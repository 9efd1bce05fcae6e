//! Why something could not be recorded or read.

use std::path::PathBuf;

use crate::audit::Break;
use crate::digest::Digest;
use crate::shapes::Role;

/// Why something could not be recorded or read. Nothing was recorded then.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The disk refused.
    #[error("cannot {doing} {}", path.display())]
    Disk {
        /// What was being done.
        doing: &'static str,
        /// To which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The database refused.
    #[error("the record's database says no")]
    Sql(#[from] rusqlite::Error),
    /// There is no record.
    #[error("there is no record at {}", .0.display())]
    Missing(PathBuf),
    /// Something is already there.
    #[error("{} is already there; choose another name, or move it away", .0.display())]
    Exists(PathBuf),
    /// A database of another program.
    #[error("{} is no record of Borewise", .0.display())]
    Foreign(PathBuf),
    /// A record of a later program.
    #[error(
        "the record has version {found}, this program knows versions up to {known}; use the newer program"
    )]
    TooNew {
        /// Version of the record.
        found: u32,
        /// Newest version that this program knows.
        known: u32,
    },
    /// Nothing to record.
    #[error("a write without entries")]
    NothingToWrite,
    /// An id or key that is empty, too long, or holds control characters.
    #[error("{what} cannot be {value:?}; give 1 to 200 characters without line breaks")]
    BadName {
        /// What it names.
        what: &'static str,
        /// What was given.
        value: String,
    },
    /// Something that is not on record.
    #[error("no {what} {id} is on record; record it first")]
    Unknown {
        /// What it would be.
        what: &'static str,
        /// Its id.
        id: String,
    },
    /// The same key for something else.
    #[error("key {key} was used for another write (entries from {first} on); a new write needs a new key")]
    KeyReused {
        /// Key.
        key: String,
        /// First entry of the write that has it.
        first: u64,
    },
    /// A correction without a reason.
    #[error("a correction needs a reason; entry {0} stays as it is")]
    ReasonMissing(u64),
    /// A correction of something that was corrected already.
    #[error("entry {number} is not the newest word: entry {newest} is; look at that one first")]
    NotNewest {
        /// The entry that was to be corrected.
        number: u64,
        /// The one that came after it.
        newest: u64,
    },
    /// A correction of something else.
    #[error("entry {number} cannot be corrected by this: {why}")]
    CannotCorrect {
        /// The entry.
        number: u64,
        /// Why not.
        why: &'static str,
    },
    /// Somebody who may not.
    #[error("{person} is {}, and this takes {}", found.words(), needed.or_more())]
    Role {
        /// Who.
        person: String,
        /// Role on record.
        found: Role,
        /// Role that it takes.
        needed: Role,
    },
    /// A place of a visit that is taken.
    #[error(
        "place {place} of the visit is taken by entry {number}; give the next free place, or correct that entry"
    )]
    PlaceTaken {
        /// Place.
        place: u32,
        /// Who has it.
        number: u64,
    },
    /// A name that was given before.
    #[error("the name {0} was given before; take another one")]
    NameTaken(String),
    /// A blob that an entry names and nobody brought.
    #[error("an entry names bytes with the digest {0}, and they are not here")]
    BlobMissing(Digest),
    /// A blob that no entry names.
    #[error("bytes with the digest {0} are brought, and no entry names them")]
    BlobUnused(Digest),
    /// A blob that is no longer what it was.
    #[error("the bytes kept under the digest {0} are no longer those")]
    BlobBroken(Digest),
    /// A blob that is too large.
    #[error("{size_bytes} bytes are more than the {limit_bytes} that may be kept in one piece")]
    BlobLarge {
        /// Size.
        size_bytes: usize,
        /// Limit.
        limit_bytes: usize,
    },
    /// Something that could not be read back the same: a number that is none, for example.
    #[error("a {kind} entry about {subject} holds a number that is none (infinite, or not a number)")]
    Unwritable {
        /// Kind.
        kind: &'static str,
        /// Subject.
        subject: String,
    },
    /// An entry whose shape this program does not know.
    #[error("entry {number} has a shape that this program does not know")]
    Unreadable {
        /// The entry.
        number: u64,
        /// What the reader stumbled over.
        source: serde_json::Error,
    },
    /// A record that is not whole.
    #[error("the record at {} is not whole: {first}", path.display())]
    NotWhole {
        /// Which.
        path: PathBuf,
        /// The first break.
        first: Box<Break>,
    },
    /// A copy that is not the same as its original.
    #[error("the copy at {} differs from its original", .0.display())]
    CopyDiffers(PathBuf),
    /// A file that is not the one whose digest was written down.
    #[error("{} does not have the digest that stands beside it", .0.display())]
    DigestDiffers(PathBuf),
}
