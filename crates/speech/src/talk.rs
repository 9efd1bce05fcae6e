//! Looking up: a text as one message, as numbers, or piece by piece.

use std::collections::BTreeMap;

use crate::catalogue::Catalogue;
use crate::message::{Hole, Part};
use crate::quantity::{Decimal, day, is_unit, quantity};

/// What may stand between two pieces, each of which is looked up by itself.
const BETWEEN: [&str; 6] = [" · ", ". ", "; ", ": ", ", ", " "];
/// Length from which on a text is not taken apart any more, so that no page can keep us busy.
const LONGEST: usize = 2000;

/// How many cuts in two are tried for one mark.
const MOST_CUTS: usize = 4;

/// Looks up the texts of one page, and remembers them.
pub(crate) struct Talk<'a> {
    catalogue: &'a Catalogue,
    known: BTreeMap<String, Option<String>>,
    /// Pieces that look English and that no message knows, beside others that were found.
    pub(crate) left: Vec<String>,
}

impl<'a> Talk<'a> {
    pub(crate) const fn new(catalogue: &'a Catalogue) -> Self {
        Self { catalogue, known: BTreeMap::new(), left: Vec::new() }
    }

    /// A whole text of a page; nothing where a part of it is not known. Between points in the middle of a line names may stand.
    pub(crate) fn node(&mut self, text: &str) -> Option<String> {
        let plain: String =
            text.chars().map(|letter| if letter.is_whitespace() { ' ' } else { letter }).collect();
        let inner = plain.trim();
        let start = plain.len() - plain.trim_start().len();
        let (before, after) = (plain.get(..start)?, plain.get(start + inner.len()..)?);
        if inner.is_empty() {
            return Some(plain);
        }
        let found = self.phrase(inner).or_else(|| self.with_names(inner))?;
        Some(format!("{before}{found}{after}"))
    }

    /// Pieces between points, of which some are names; what looks English all the same is put on the list.
    fn with_names(&mut self, text: &str) -> Option<String> {
        let pieces: Vec<&str> = text.split(" · ").collect();
        let found: Vec<Option<String>> = pieces.iter().map(|piece| self.phrase(piece)).collect();
        if pieces.len() < 2 || found.iter().all(Option::is_none) {
            return None;
        }
        for (piece, _) in pieces.iter().zip(&found).filter(|(_, found)| found.is_none()) {
            if self.catalogue.is_english(piece) {
                self.left.push((*piece).to_owned());
            }
        }
        let all = pieces.iter().zip(found).map(|(piece, found)| found.unwrap_or_else(|| (*piece).to_owned()));
        Some(all.collect::<Vec<_>>().join(" · "))
    }

    /// A text of which every part is known.
    fn phrase(&mut self, text: &str) -> Option<String> {
        if let Some(known) = self.known.get(text) {
            return known.clone();
        }
        // Whatever asks for this text while it is looked up goes round in a circle.
        self.known.insert(text.to_owned(), None);
        let found = self.look_up(text);
        self.known.insert(text.to_owned(), found.clone());
        found
    }

    fn look_up(&mut self, text: &str) -> Option<String> {
        if text.is_empty() || text.len() > LONGEST {
            return None;
        }
        let decimal = self.catalogue.decimal;
        if is_unit(text) {
            return Some(text.to_owned());
        }
        if let Some(found) = self.message(text) {
            return Some(found);
        }
        if let Some(found) =
            day(text, decimal).or_else(|| quantity(text, decimal)).or_else(|| names(text, decimal))
        {
            return Some(found);
        }
        if let Some(small) = with_first(text, |letter| letter.to_lowercase().collect())
            && let Some(found) = self.message(&small)
        {
            return with_first(&found, |letter| letter.to_uppercase().collect()).or(Some(found));
        }
        // Who did something stands behind its moment.
        if let Some((moment, person)) = text.split_once(" UTC, ")
            && let Some(found) = day(&format!("{moment} UTC"), decimal)
        {
            return Some(format!("{found}, {person}"));
        }
        self.punctuated(text).or_else(|| self.pieces(text))
    }

    /// A text in brackets, or with a mark at its end or beginning.
    fn punctuated(&mut self, text: &str) -> Option<String> {
        if let Some(inner) = text.strip_prefix('(').and_then(|inner| inner.strip_suffix(')'))
            && let Some(found) = self.phrase(inner)
        {
            return Some(format!("({found})"));
        }
        for mark in ['.', ':', '?', ',', ';', ')', '!'] {
            if let Some(found) = text.strip_suffix(mark).and_then(|inner| self.phrase(inner.trim_end())) {
                return Some(format!("{found}{mark}"));
            }
        }
        for mark in [": ", ", ", ". ", "; ", "· ", "(", "+ "] {
            if let Some(found) = text.strip_prefix(mark).and_then(|inner| self.phrase(inner)) {
                return Some(format!("{mark}{found}"));
            }
        }
        None
    }

    /// A text cut where a mark or a blank stands; a blank cuts off names and numbers only.
    fn pieces(&mut self, text: &str) -> Option<String> {
        for between in BETWEEN {
            let cuts: Vec<usize> = text.match_indices(between).map(|(at, _)| at).collect();
            if cuts.is_empty() {
                continue;
            }
            if between != " "
                && let Some(all) =
                    text.split(between).map(|piece| self.phrase(piece)).collect::<Option<Vec<_>>>()
            {
                return Some(all.join(between));
            }
            // A piece may hold the mark itself.
            for at in cuts.into_iter().take(MOST_CUTS) {
                let (left, right) = (text.get(..at)?, text.get(at + between.len()..)?);
                if between == " " && !is_name(left) && !is_name(right) {
                    continue;
                }
                let Some(first) = self.phrase(left) else { continue };
                if let Some(second) = self.phrase(right) {
                    return Some(format!("{first}{between}{second}"));
                }
            }
        }
        None
    }

    fn message(&mut self, text: &str) -> Option<String> {
        let catalogue = self.catalogue;
        catalogue.candidates(text).into_iter().find_map(|message| {
            let mut values = Vec::new();
            self.fits(&message.english, text, &mut values).then(|| message.filled(&values))
        })
    }

    /// Whether the parts make up the text; what stands in the holes, in the other language.
    fn fits(&mut self, parts: &[Part], text: &str, values: &mut Vec<String>) -> bool {
        let Some((first, rest)) = parts.split_first() else { return text.is_empty() };
        let hole = match first {
            Part::Letters(letters) => {
                return text.strip_prefix(letters.as_str()).is_some_and(|tail| self.fits(rest, tail, values));
            }
            Part::Hole(hole) => *hole,
        };
        let ends: Vec<usize> = match rest.first() {
            None => vec![text.len()],
            Some(Part::Letters(letters)) => text.match_indices(letters.as_str()).map(|(at, _)| at).collect(),
            Some(Part::Hole(_)) => return false,
        };
        for end in ends.into_iter().filter(|end| *end > 0) {
            let Some((inside, tail)) = text.split_at_checked(end) else { continue };
            let Some(value) = self.value(hole, inside) else { continue };
            values.push(value);
            if self.fits(rest, tail, values) {
                return true;
            }
            values.pop();
        }
        false
    }

    fn value(&mut self, hole: Hole, text: &str) -> Option<String> {
        let decimal = self.catalogue.decimal;
        match hole {
            Hole::Number => quantity(text, decimal),
            Hole::Own => Some(text.to_owned()),
            Hole::Name if ends_sentence(text) => None,
            Hole::Name => Some(names(text, decimal).unwrap_or_else(|| text.to_owned())),
            Hole::Ids => names(text, decimal),
            Hole::Phrase => self.phrase(text),
        }
    }
}

/// The text with another first letter, if that changes anything.
fn with_first(text: &str, change: impl Fn(char) -> String) -> Option<String> {
    let mut letters = text.chars();
    let changed = change(letters.next()?) + letters.as_str();
    (changed != text).then_some(changed)
}

/// Names as circuits, moulds and visits have them: capitals and digits.
fn is_name(text: &str) -> bool {
    let first = text.starts_with(|letter: char| letter.is_ascii_uppercase() || letter.is_ascii_digit());
    let own =
        |letter: char| letter.is_ascii_uppercase() || letter.is_ascii_digit() || "-_./:#".contains(letter);
    first && text.len() <= 40 && text.chars().all(own) && !text.ends_with(['.', ':'])
}

/// Whether a sentence or a part of one ends within the text, as in no name; an initial is no end.
fn ends_sentence(text: &str) -> bool {
    let initial = |before: &str| {
        let mut letters = before.chars().rev();
        letters.next().is_some_and(char::is_uppercase) && letters.next().is_none_or(|letter| letter == ' ')
    };
    text.contains("; ")
        || text.match_indices(". ").any(|(at, _)| !initial(text.get(..at).unwrap_or_default()))
}

/// A list of such names, with the word before the last one.
fn names(text: &str, decimal: Decimal) -> Option<String> {
    let list = text.replace(" and ", ", ");
    if !list.split(", ").all(is_name) {
        return None;
    }
    let word = if decimal == Decimal::Comma { " und " } else { " and " };
    Some(text.replace(" and ", word))
}
