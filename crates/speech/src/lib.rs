//! Finished pages in the language of the reader.
//!
//! Everything that Borewise writes is British English; what the judgement found, what a form asks, what went wrong. Here a
//! finished page is brought into another language at the very end, as units are: each text of it is looked up among
//! messages, which are English texts with holes for numbers, names and phrases, and their translations. What no message
//! knows stays English and is marked as such. Nothing is computed, and what a person wrote is left alone.

mod catalogue;
mod html;
mod message;
mod quantity;
mod talk;

use std::sync::LazyLock;

pub use catalogue::{Catalogue, CatalogueError};
use talk::Talk;

/// A language of the pages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Language {
    /// British English, as everything is written.
    #[default]
    British,
    /// British English with American words.
    American,
    /// German.
    German,
}

static GERMAN: LazyLock<Catalogue> =
    LazyLock::new(|| Catalogue::german().expect("the message files are read by a test"));
static AMERICAN: LazyLock<Catalogue> =
    LazyLock::new(|| Catalogue::american().expect("the message files are read by a test"));

impl Language {
    /// All of them, each with its tag (BCP 47) and what it calls itself.
    pub const ALL: [(Self, &'static str, &'static str); 3] = [
        (Self::British, "en-GB", "English"),
        (Self::American, "en-US", "English (US)"),
        (Self::German, "de", "Deutsch"),
    ];

    /// The language of exactly this tag.
    #[must_use]
    pub fn of(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|(_, known, _)| *known == tag).map(|(language, ..)| language)
    }

    /// The tag.
    #[must_use]
    pub fn tag(self) -> &'static str {
        Self::ALL.into_iter().find(|(language, ..)| *language == self).map_or("en-GB", |(_, tag, _)| tag)
    }

    /// The language that a browser likes best, from its `Accept-Language` (RFC 9110, 12.5.4); British English where it names
    /// none of ours.
    #[must_use]
    pub fn liked(accept: &str) -> Self {
        let mut best = (0.0, Self::British);
        for range in accept.split(',') {
            let mut parts = range.split(';');
            let tag = parts.next().unwrap_or_default().trim().to_ascii_lowercase();
            let weight = parts.find_map(|part| part.trim().strip_prefix("q="));
            let weight: f64 = weight.map_or(1.0, |weight| weight.parse().unwrap_or(0.0));
            let language = match tag.split('-').next() {
                Some("de") => Self::German,
                Some("en") if tag == "en-us" => Self::American,
                Some("en") => Self::British,
                _ => continue,
            };
            // The first of equal ones counts.
            if weight > best.0 {
                best = (weight, language);
            }
        }
        best.1
    }

    /// A finished page, or a part of one, in this language.
    #[must_use]
    pub fn page(self, html: &str) -> String {
        match self.catalogue() {
            Some(catalogue) => html::page(html, self.tag(), catalogue, &mut Vec::new()),
            None => html.to_owned(),
        }
    }

    /// Texts of a finished page that no message knows and that look like English.
    #[must_use]
    pub fn missing(self, html: &str) -> Vec<String> {
        let mut missing = Vec::new();
        if let Some(catalogue) = self.catalogue() {
            html::page(html, self.tag(), catalogue, &mut missing);
        }
        missing
    }

    /// One text in this language; nothing where no message knows it.
    #[must_use]
    pub fn text(self, english: &str) -> Option<String> {
        match self.catalogue() {
            Some(catalogue) => Talk::new(catalogue).node(english),
            None => Some(english.to_owned()),
        }
    }

    /// The messages of this language; none for the language in which everything is written.
    #[must_use]
    pub fn catalogue(self) -> Option<&'static Catalogue> {
        match self {
            Self::British => None,
            Self::American => Some(&AMERICAN),
            Self::German => Some(&GERMAN),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_browser_is_asked_what_it_likes() {
        // RFC 9110, 12.5.4: weights from 0 to 1, 1 where none is given.
        for (accept, language) in [
            ("de-AT,de;q=0.9,en;q=0.8", Language::German),
            ("fr, en-US;q=0.7, de;q=0.6", Language::American),
            ("en;q=0.3, de;q=0.4", Language::German),
            ("de;q=0, en-GB", Language::British),
            ("fr", Language::British),
            ("", Language::British),
        ] {
            assert_eq!(Language::liked(accept), language, "{accept}");
        }
        for (language, tag, _) in Language::ALL {
            assert_eq!((Language::of(tag), language.tag()), (Some(language), tag));
        }
    }
}
