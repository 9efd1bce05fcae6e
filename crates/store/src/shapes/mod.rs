//! What is stored: the shapes of entries, version by version, and their conversion from and to the bench's own types.
//!
//! A shape that has been stored is never changed; a new version is added beside it. Numbers are in the unit that
//! their name ends in, written with the fewest digits that give the same quantity back.

mod card;
mod hook_up;
mod mould;
mod past;
mod people;
mod piece;
mod place;
mod reading;
mod rig;
mod visit;

pub use card::*;
pub use hook_up::{HookUpCard2, OnPortCard, PortCard2};
pub use mould::{
    BaselineCard, CircuitCard, HalfCard, KnownWord, MouldCard, OthersWord, PiecesCard, ProcessWord,
};
pub use past::{DoneWord, PastCard, PastDay, PastFound, StateWord, SweepCard, SweepPoint};
pub use people::{Person, Role};
pub use piece::PieceCard;
pub use place::*;
pub use reading::{
    BucketWord, DecayCard, EndWord, FillingCard, FlowCard, ReadingCard, ReferenceCard, RigOnCard, RigRunCard,
    TreatmentWord, VolumeCard, WatchedCard, WhatCard,
};
pub use rig::{CalibrationCard, InstrumentCard, RigCard};
pub use visit::{HookUpCard, OutcomeWord, PortCard, VisitCard, VisitEndCard};

use calc::estimate::Uncertain;
use calc::quantity::shortest;
use serde::{Deserialize, Serialize};

/// A value with its standard uncertainty, in the unit that the field's name ends in.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct UncertainCard {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub standard: f64,
}

impl From<Uncertain> for UncertainCard {
    fn from(known: Uncertain) -> Self {
        Self { value: known.value, standard: known.standard }
    }
}

impl From<UncertainCard> for Uncertain {
    fn from(card: UncertainCard) -> Self {
        Self::new(card.value, card.standard)
    }
}

/// A stored word for each variant of a domain enum.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident for $domain:path { $($(#[$inner:meta])* $variant:ident),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name { $($(#[$inner])* $variant),+ }

        impl From<$domain> for $name {
            fn from(domain: $domain) -> Self {
                match domain { $(<$domain>::$variant => Self::$variant),+ }
            }
        }
        impl From<$name> for $domain {
            fn from(word: $name) -> Self {
                match word { $($name::$variant => Self::$variant),+ }
            }
        }
    };
}
pub(crate) use words;

/// The fewest digits of a number that give the same quantity back.
pub(crate) fn exactly<Q: PartialEq>(quantity: Q, to: impl Fn(&Q) -> f64, from: impl Fn(f64) -> Q) -> f64 {
    shortest(to(&quantity), |candidate| from(candidate) == quantity)
}
