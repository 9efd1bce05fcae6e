//! Who may reach the pages: this machine alone, or others once everybody who may write has a password.

use std::net::{IpAddr, SocketAddr};

use store::shapes::{Person, Role};
use store::{Store, StoreError};

/// Longest name of a host (RFC 1035).
const HOST_LETTERS: usize = 253;

/// Where the pages are answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Access {
    /// To this machine alone; a name is enough for who has no password.
    ThisMachine,
    /// To other machines too; nobody sees or does anything without having signed in.
    Network(Beyond),
}

/// An address that other machines can reach. It can only be had for a record in which everybody who may write has a
/// password.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beyond {
    pub(crate) address: SocketAddr,
    names: Vec<String>,
}

/// Why the pages are not opened to other machines.
#[derive(Debug, thiserror::Error)]
pub enum Closed {
    /// Nobody is on record.
    #[error("nobody is on record yet; open the bench book on this machine first, and set a password")]
    Nobody,
    /// Somebody could be anybody.
    #[error("without a password, anybody could record as {}; set one on the page People first", .0.join(", "))]
    NoPassword(Vec<String>),
    /// No name of a machine.
    #[error("{0:?} is no name of a machine; give it without http:// and without a port")]
    BadHost(String),
    /// The record.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl Beyond {
    /// The address, if everybody on record who may write has a password. `names` are the names under which other machines
    /// know this one; its addresses need none.
    ///
    /// # Errors
    /// Who has no password; a name that is none; what the record says.
    pub fn of(address: SocketAddr, names: &[String], store: &Store) -> Result<Self, Closed> {
        if let Some(name) = names.iter().find(|name| !is_host_name(name)) {
            return Err(Closed::BadHost(name.clone()));
        }
        let (people, open) = store.read(|reader| {
            let people = reader.people()?;
            let mut open = Vec::new();
            for person in people.iter().filter(|person| person.active && person.role.records()) {
                if reader.credential(&person.id)?.is_none_or(|known| known.password_hash.is_none()) {
                    open.push(called(person));
                }
            }
            Ok((people, open))
        })?;
        if !people.iter().any(|person| person.active) {
            return Err(Closed::Nobody);
        }
        if !open.is_empty() {
            return Err(Closed::NoPassword(open));
        }
        Ok(Self { address, names: names.iter().map(|name| name.to_ascii_lowercase()).collect() })
    }
}

/// Whether somebody of this role looks after people and tokens: an administrator, or a lead where no administrator is on
/// record.
pub(crate) fn looks_after(people: &[Person], role: Role) -> bool {
    let nobody = !people.iter().any(|person| person.active && person.role == Role::Administrator);
    role == Role::Administrator || (nobody && role == Role::Lead)
}

/// Short name and name of a person.
pub(crate) fn called(person: &Person) -> String {
    if person.name == person.id { person.id.clone() } else { format!("{} ({})", person.id, person.name) }
}

fn is_host_name(name: &str) -> bool {
    let letter = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'.';
    !name.is_empty()
        && name.len() <= HOST_LETTERS
        && name.bytes().all(letter)
        && !name.starts_with(['-', '.'])
}

impl Access {
    /// Whether a request for this host is meant for these pages. A foreign name that was pointed at this machine would let
    /// a foreign page read the record; an address in figures belongs to no foreign page.
    pub(crate) fn answers(&self, host: &str) -> bool {
        let name = match host.strip_prefix('[') {
            Some(rest) => rest.split(']').next().unwrap_or_default(),
            None => host.split(':').next().unwrap_or_default(),
        };
        let address = name.parse::<IpAddr>().ok();
        if name.eq_ignore_ascii_case("localhost") || address.is_some_and(|address| address.is_loopback()) {
            return true;
        }
        match self {
            Self::ThisMachine => false,
            Self::Network(beyond) => {
                let listening = beyond.address.ip();
                beyond.names.contains(&name.to_ascii_lowercase())
                    || address.is_some_and(|address| address == listening || listening.is_unspecified())
            }
        }
    }

    /// Whether everybody has to sign in with a password or PIN.
    pub(crate) const fn asks_for_proof(&self) -> bool {
        matches!(self, Self::Network(_))
    }

    /// Beginnings of the origins that these pages may have.
    pub(crate) const fn schemes(&self) -> &'static [&'static str] {
        match self {
            Self::ThisMachine => &["http://"],
            // Something on this machine that speaks TLS may stand in front.
            Self::Network(_) => &["http://", "https://"],
        }
    }

    /// For tests of the guard.
    #[cfg(test)]
    pub(crate) fn at(address: &str, names: &[&str]) -> Self {
        let address = address.parse().expect("an address");
        Self::Network(Beyond { address, names: names.iter().map(|name| (*name).to_owned()).collect() })
    }
}
