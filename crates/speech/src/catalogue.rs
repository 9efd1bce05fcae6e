//! The message files, read and ordered for looking up.

use std::collections::{BTreeMap, BTreeSet};

use crate::message::{Message, Part};
use crate::quantity::Decimal;

/// The German message files; each is a table of English and German texts.
const GERMAN: [(&str, &str); 7] = [
    ("de/pages.toml", include_str!("../../../data/messages/de/pages.toml")),
    ("de/findings.toml", include_str!("../../../data/messages/de/findings.toml")),
    ("de/forms.toml", include_str!("../../../data/messages/de/forms.toml")),
    ("de/faults.toml", include_str!("../../../data/messages/de/faults.toml")),
    ("de/calculators.toml", include_str!("../../../data/messages/de/calculators.toml")),
    ("de/warnings.toml", include_str!("../../../data/messages/de/warnings.toml")),
    ("de/words.toml", include_str!("../../../data/messages/de/words.toml")),
];
/// British words and the American ones.
const AMERICAN: (&str, &str) = ("en-US.toml", include_str!("../../../data/messages/en-US.toml"));

/// Why message files cannot be used.
#[derive(Debug, PartialEq, Eq)]
pub struct CatalogueError {
    /// File, and message where one is at fault.
    pub place: String,
    /// What is wrong.
    pub problem: String,
}

/// The messages of one language.
#[derive(Debug)]
pub struct Catalogue {
    messages: Vec<Message>,
    /// Messages by their first word.
    by_word: BTreeMap<String, Vec<usize>>,
    /// Messages that begin with a hole, by a word that every text of theirs holds.
    by_inner: BTreeMap<String, Vec<usize>>,
    /// Messages that begin with a hole and have no such word.
    open: Vec<usize>,
    /// Words of the English texts.
    vocabulary: BTreeSet<String>,
    pub(crate) decimal: Decimal,
}

impl Catalogue {
    /// English to German.
    ///
    /// # Errors
    /// A file that is no table of texts, a message whose holes do not agree, or that stands twice.
    pub fn german() -> Result<Self, CatalogueError> {
        let mut messages = Vec::new();
        for (file, text) in GERMAN {
            for (key, other) in pairs(file, text)? {
                messages.push(message(file, &key, &other)?);
            }
        }
        Self::of(messages, Decimal::Comma)
    }

    /// British to American English: the same messages, with other words outside their holes.
    ///
    /// # Errors
    /// As for German.
    pub fn american() -> Result<Self, CatalogueError> {
        let words = pairs(AMERICAN.0, AMERICAN.1)?;
        let german = Self::german()?;
        let mut messages = Vec::new();
        for known in &german.messages {
            let mut hole = 0;
            let mut other = String::new();
            for part in &known.english {
                match part {
                    Part::Letters(letters) => other.push_str(&in_words(letters, &words)),
                    Part::Hole(_) => {
                        hole += 1;
                        other.push_str(&format!("{{{hole}}}"));
                    }
                }
            }
            messages.push(message(AMERICAN.0, &known.key, &other)?);
        }
        Self::of(messages, Decimal::Point)
    }

    fn of(messages: Vec<Message>, decimal: Decimal) -> Result<Self, CatalogueError> {
        let mut catalogue = Self {
            by_word: BTreeMap::new(),
            by_inner: BTreeMap::new(),
            open: Vec::new(),
            vocabulary: BTreeSet::new(),
            messages,
            decimal,
        };
        let mut known = BTreeSet::new();
        for (at, message) in catalogue.messages.iter().enumerate() {
            if !known.insert(shape(message)) {
                return Err(fault(&message.key, "this message stands twice"));
            }
            match (message.first_word(), message.inner_word()) {
                (Some(word), _) => catalogue.by_word.entry(word.to_owned()).or_default().push(at),
                (None, Some(word)) => catalogue.by_inner.entry(word.to_owned()).or_default().push(at),
                (None, None) => catalogue.open.push(at),
            }
            for part in &message.english {
                if let Part::Letters(letters) = part {
                    catalogue.vocabulary.extend(words(letters).map(str::to_lowercase));
                }
            }
        }
        Ok(catalogue)
    }

    /// English texts of all messages, with their holes.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.messages.iter().map(|message| message.key.as_str())
    }

    /// The longest part of each message that stands outside its holes.
    pub fn marks(&self) -> impl Iterator<Item = (&str, &str)> {
        self.messages.iter().map(|message| (message.key.as_str(), message.mark.as_str()))
    }

    /// Messages that a text may be, those with most letters first.
    pub(crate) fn candidates(&self, text: &str) -> Vec<&Message> {
        let first = text.split(' ').next().unwrap_or_default();
        let own = self.by_word.get(first).into_iter();
        let inner = text.split(' ').filter_map(|word| self.by_inner.get(word));
        let all: BTreeSet<usize> = own.chain(inner).flatten().chain(&self.open).copied().collect();
        let all = all.into_iter().filter_map(|at| self.messages.get(at));
        let mut all: Vec<&Message> = all.filter(|message| text.contains(&message.mark)).collect();
        all.sort_by_key(|message| std::cmp::Reverse(message.weight));
        all
    }

    /// Whether a text that no message knows is English all the same: most of its words are words of the messages, and one of
    /// them is not a capitalised one, as names are.
    pub(crate) fn is_english(&self, text: &str) -> bool {
        let all: Vec<&str> = words(text).collect();
        let known = all.iter().filter(|word| self.vocabulary.contains(&word.to_lowercase())).count();
        let plain = all.iter().any(|word| word.starts_with(|letter: char| letter.is_lowercase()));
        plain && known >= 2 && known * 2 >= all.len()
    }
}

/// A key with its first letter small and all holes alike: two of the same shape would hide each other.
fn shape(message: &Message) -> String {
    message.english.iter().fold(String::new(), |all, part| match part {
        Part::Letters(letters) => all + letters,
        Part::Hole(hole) => all + &format!("{{{hole:?}}}"),
    })
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|letter: char| !(letter.is_alphabetic() || "-_".contains(letter)))
        .filter(|word| word.len() > 1 && !word.contains('_'))
}

/// Letters with each British word as the American one; capitals stay.
fn in_words(letters: &str, pairs: &[(String, String)]) -> String {
    let mut out = String::new();
    for piece in letters.split_inclusive(|letter: char| !letter.is_alphabetic()) {
        let word = piece.trim_end_matches(|letter: char| !letter.is_alphabetic());
        let behind = piece.get(word.len()..).unwrap_or_default();
        let small = word.to_lowercase();
        let found = pairs.iter().find(|(british, _)| *british == small);
        match found {
            None => out.push_str(word),
            Some((_, american)) if word == small => out.push_str(american),
            Some((_, american)) => {
                let mut letters = american.chars();
                out.extend(letters.next().into_iter().flat_map(char::to_uppercase));
                out.push_str(letters.as_str());
            }
        }
        out.push_str(behind);
    }
    out
}

fn pairs(file: &str, text: &str) -> Result<Vec<(String, String)>, CatalogueError> {
    let table: toml::Table = text.parse().map_err(|error: toml::de::Error| fault(file, error.message()))?;
    let pair = |(key, value): (String, toml::Value)| match value {
        toml::Value::String(other) => Ok((key, other)),
        _ => Err(fault(&format!("{file}: {key}"), "this is no text")),
    };
    table.into_iter().map(pair).collect()
}

fn message(file: &str, key: &str, other: &str) -> Result<Message, CatalogueError> {
    Message::read(key, other).map_err(|problem| fault(&format!("{file}: {key}"), &problem))
}

fn fault(place: &str, problem: &str) -> CatalogueError {
    CatalogueError { place: place.to_owned(), problem: problem.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_message_files_can_be_read() {
        let german = Catalogue::german().expect("German");
        assert!(german.keys().count() > 100);
        Catalogue::american().expect("American");
    }

    #[test]
    fn words_are_changed_whole_and_keep_their_capitals() {
        let pairs = [("mould".to_owned(), "mold".to_owned())];
        assert_eq!(in_words("Mould, mould; moulding-mould.", &pairs), "Mold, mold; moulding-mold.");
    }

    #[test]
    fn names_are_not_taken_for_english() {
        let german = Catalogue::german().expect("German");
        assert!(german.is_english("the mould of that circuit"));
        for name in ["Tool Hook", "F1", "Eimerhenkel links", "T. Marsh"] {
            assert!(!german.is_english(name), "{name}");
        }
    }
}
