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
    /// Looks after the people on record; may do everything that a lead may.
    Administrator,
}

impl Role {
    /// All of them, in the order in which they may do more.
    pub const ALL: [Self; 4] = [Self::Viewer, Self::Technician, Self::Lead, Self::Administrator];

    /// For people: `a lead`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Viewer => "a viewer",
            Self::Technician => "a technician",
            Self::Lead => "a lead",
            Self::Administrator => "an administrator",
        }
    }

    /// Those who may do what this one may: `a lead or an administrator`.
    #[must_use]
    pub const fn or_more(self) -> &'static str {
        match self {
            Self::Viewer => "anybody on record",
            Self::Technician => "a technician, a lead or an administrator",
            Self::Lead => "a lead or an administrator",
            Self::Administrator => "an administrator",
        }
    }

    /// Whether somebody of this role records anything.
    #[must_use]
    pub const fn records(self) -> bool {
        !matches!(self, Self::Viewer)
    }

    /// Whether somebody of this role may override a gate.
    #[must_use]
    pub const fn overrides(self) -> bool {
        matches!(self, Self::Lead | Self::Administrator)
    }
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
