//! Limits and materials as data: what the judgement applies, with source and owner.

use std::collections::BTreeMap;

/// A limit in use, and the other public figures that conflict with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// What is limited, with the unit.
    pub title: String,
    /// Value in use.
    pub value: f64,
    /// Where the value comes from.
    pub source: String,
    /// Who answers for it in the plant.
    pub owner: String,
    /// Other figures and where they come from.
    pub others: Vec<(f64, String)>,
}

/// The limits of a plant.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Leak rate of an injection mould, mbar·l/s.
    pub leak_rate: Limit,
    /// Leak rate of a die-casting die, mbar·l/s.
    pub leak_rate_die_casting: Limit,
    /// Flow factor against what it should be, lower limit, %.
    pub flow_low: Limit,
    /// Flow factor against what it should be, upper limit, %.
    pub flow_high: Limit,
    /// Reynolds number.
    pub reynolds: Limit,
    /// Sonic conductance below which a passage is called narrow, dm3/(s·bar).
    pub narrow_conductance: Limit,
}

impl Limits {
    /// Names in the limits file, in the order of [`Limits::from_named`].
    pub const NAMES: [&'static str; 6] =
        ["leak-rate", "leak-rate-die-casting", "flow-low", "flow-high", "reynolds", "narrow-conductance"];

    /// The limits, from their names; the error is the names that are missing.
    ///
    /// # Errors
    /// The names of [`Limits::NAMES`] that the map does not hold.
    pub fn from_named(named: &BTreeMap<String, Limit>) -> Result<Self, Vec<&'static str>> {
        let found = Self::NAMES.map(|name| named.get(name).cloned());
        match found {
            [
                Some(leak_rate),
                Some(leak_rate_die_casting),
                Some(flow_low),
                Some(flow_high),
                Some(reynolds),
                Some(narrow_conductance),
            ] => Ok(Self {
                leak_rate,
                leak_rate_die_casting,
                flow_low,
                flow_high,
                reynolds,
                narrow_conductance,
            }),
            _ => Err(Self::NAMES.into_iter().filter(|name| !named.contains_key(*name)).collect()),
        }
    }
}

/// A metal that the gates know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Metal {
    /// Family, such as `tool-steel` or `aluminium`.
    pub family: String,
    /// What it is.
    pub text: String,
}

/// The materials that the gates know.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Materials {
    /// Metals by key.
    pub metals: BTreeMap<String, Metal>,
    /// Seals by key, with what they are.
    pub seals: BTreeMap<String, String>,
}

/// The tables that a judgement needs beside mould and visit.
#[derive(Clone, Debug, PartialEq)]
pub struct Tables {
    /// Limits.
    pub limits: Limits,
    /// Materials.
    pub materials: Materials,
}
