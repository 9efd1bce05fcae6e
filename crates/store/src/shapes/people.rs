//! The people of the record.

use serde::{Deserialize, Serialize};

/// What somebody may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Works at the bench.
    Technician,
    /// Answers for the bench; may override a gate.
    Lead,
    /// Reads.
    Viewer,
    /// Looks after the program.
    Administrator,
}

/// Somebody who records or reads.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// Short name under which entries are signed; initials, for example.
    pub id: String,
    /// Full name.
    pub name: String,
    /// Role.
    pub role: Role,
    /// Whether the person still works here.
    pub active: bool,
}
