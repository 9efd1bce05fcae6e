//! How a number came about: formula, inputs and their sources, so that somebody with a calculator can follow it.

use calc::estimate::Estimate;

/// Which number of a circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Number {
    /// Leak rate at the starting pressure.
    LeakRate,
    /// Sonic conductance.
    Conductance,
    /// Filled volume, hoses removed.
    FilledVolume,
    /// Filled volume in per cent of what it should be.
    FilledVolumePercent,
    /// Flow factor at 20 degC water and 1 bar, hoses removed.
    FlowFactor,
    /// Flow factor in per cent of what it should be.
    FlowFactorPercent,
    /// Thickness of the layer.
    Thickness,
}

impl Number {
    /// In words for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::LeakRate => "Leak rate",
            Self::Conductance => "Sonic conductance",
            Self::FilledVolume => "Filled volume",
            Self::FilledVolumePercent => "Filled volume, of what it should be",
            Self::FlowFactor => "Flow factor",
            Self::FlowFactorPercent => "Flow factor, of what it should be",
            Self::Thickness => "Layer",
        }
    }
}

/// A value with its letter in the formula.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// Letter.
    pub letter: &'static str,
    /// What it is, and where it comes from.
    pub name: String,
    /// Value, in the unit below.
    pub value: f64,
    /// Unit; empty for a plain number.
    pub unit: &'static str,
}

/// How one number came about.
#[derive(Clone, Debug, PartialEq)]
pub struct Working {
    /// Which number.
    pub number: Number,
    /// Formulas, each on a line, in the order in which they are worked.
    pub formulas: Vec<&'static str>,
    /// What goes into them.
    pub inputs: Vec<Term>,
    /// What comes out by hand.
    pub by_hand: Term,
    /// The number as it was found, in the unit of `by_hand`; none where only what is worked by hand is a number.
    pub value: Option<Estimate>,
    /// What the method does beyond the formulas, in a sentence or two.
    pub beyond: &'static str,
    /// Source keys of the formulas.
    pub sources: Vec<&'static str>,
}
