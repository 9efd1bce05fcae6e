//! The description of an input: fields, their kinds, ranges and defaults.

/// What a field holds.
#[derive(Debug)]
pub enum Kind {
    /// A number inside a closed range.
    Number {
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// A sample: a number inside a closed range, or missing (null).
    Sample {
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// A whole number inside a closed range.
    Count {
        /// Smallest value allowed.
        low: u32,
        /// Largest value allowed.
        high: u32,
    },
    /// True or false.
    Flag,
    /// Any text that is not empty.
    Text,
    /// One of the named words.
    Choice(&'static [&'static str]),
    /// A list of one kind with at least so many items.
    List {
        /// Kind of every item.
        of: &'static Kind,
        /// Fewest items.
        least: usize,
    },
    /// Named fields.
    Record(&'static [Field]),
    /// Named fields that depend on the word in one of them.
    Tagged {
        /// The field that holds the word.
        tag: &'static str,
        /// The words and their fields.
        variants: &'static [Variant],
    },
    /// Free names, each with the same kind of value.
    Map(&'static Kind),
    /// A text (a file's name, say) or a record in its place.
    TextOr(&'static Kind),
}

impl Kind {
    /// Any number above zero that a length, volume or pressure can sensibly have.
    pub const POSITIVE: Self = Self::Number { low: 1e-12, high: 1e12 };
    /// Any number not below zero.
    pub const NOT_NEGATIVE: Self = Self::Number { low: 0.0, high: 1e12 };
    /// A share in per cent.
    pub const PERCENT: Self = Self::Number { low: 0.0, high: 100.0 };
}

/// One word of a [`Kind::Tagged`] and the fields that go with it.
#[derive(Debug)]
pub struct Variant {
    /// The word.
    pub name: &'static str,
    /// What it stands for.
    pub text: &'static str,
    /// Its fields, without the tag itself.
    pub fields: &'static [Field],
}

/// A value that stands where none was given.
#[derive(Clone, Copy, Debug)]
pub enum Preset {
    /// A number.
    Number(f64),
    /// A text.
    Text(&'static str),
    /// A flag.
    Flag(bool),
}

/// Whether a field has to be there.
#[derive(Clone, Copy, Debug)]
pub enum Need {
    /// It has to be given.
    Required,
    /// It may be left out; the answer then does without it.
    Optional,
    /// It may be left out; this value is then used.
    Default(Preset),
}

/// One field of a record.
#[derive(Debug)]
pub struct Field {
    /// Name, ending in the unit where it has one.
    pub name: &'static str,
    /// What it means, in the trade's words.
    pub text: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Whether it has to be there.
    pub need: Need,
}

impl Field {
    /// A field that has to be given.
    #[must_use]
    pub const fn required(name: &'static str, kind: Kind, text: &'static str) -> Self {
        Self { name, text, kind, need: Need::Required }
    }

    /// A field that may be left out.
    #[must_use]
    pub const fn optional(name: &'static str, kind: Kind, text: &'static str) -> Self {
        Self { name, text, kind, need: Need::Optional }
    }

    /// A field that is a number unless told otherwise.
    #[must_use]
    pub const fn preset(name: &'static str, kind: Kind, preset: Preset, text: &'static str) -> Self {
        Self { name, text, kind, need: Need::Default(preset) }
    }
}
