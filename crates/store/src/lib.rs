//! The record: an append-only, hash-chained history in one SQLite file, and what is known from it.
//!
//! Everything that somebody records is an entry of the history. Nothing recorded is altered or deleted: a correction is
//! a new entry that names the old one and the reason. What is known now (lists of moulds, visits, findings) is projected
//! from the history in the same transaction and can be rebuilt from it; what was known at an earlier entry is read from
//! the history itself. Time and person are told by the caller; this crate reads no clock.
//!
//! - [`Store`] opens the file, writes and reads.
//! - [`Write`] gathers entries ([`Fact`]) that are recorded together; when [`Store::write`] returns, they are on disk.
//! - [`Reader`] answers questions about one moment.
//! - [`audit`](audit::audit) proves a record whole, [`copy`] makes verified copies, [`dump`] gives everything away.
//!
//! The calls block: a server runs them on threads that may wait.

pub mod audit;
pub mod blob;
pub mod chain;
pub mod copy;
pub mod digest;
pub mod dump;
pub mod error;
pub mod fact;
pub mod read;
pub mod shapes;
pub mod take_in;
pub mod trace_pack;

mod credential;
mod disk;
mod project;
mod record;
mod schema;
mod token;
mod write;

pub use blob::Blob;
pub use chain::{Entry, Head};
pub use credential::Credential;
pub use digest::Digest;
pub use error::StoreError;
pub use fact::{Fact, Subject};
pub use read::{AsOf, Item, Reader};
pub use record::{Session, Store};
pub use token::{Answered, Token};
pub use write::{Write, Written};
