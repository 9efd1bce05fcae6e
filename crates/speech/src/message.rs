//! One message: an English text with holes, and what it is in another language.

/// What may stand in a hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hole {
    /// `{n}`: numbers with their units.
    Number,
    /// `{a}`: a name, which stays as it is.
    Name,
    /// `{o}`: what a person wrote, whatever it is.
    Own,
    /// `{i}`: names of capitals and digits, as circuits have them, one or a list.
    Ids,
    /// `{t}`: a phrase that has a translation of its own.
    Phrase,
}

/// A part of a text with holes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    /// Letters as they stand.
    Letters(String),
    /// A hole.
    Hole(Hole),
}

/// A message.
#[derive(Clone, Debug)]
pub(crate) struct Message {
    /// English text as it stands in the file.
    pub key: String,
    /// Its parts.
    pub english: Vec<Part>,
    /// The other text: letters, and numbers of the holes that they are put in behind.
    pub other: Vec<(String, Option<usize>)>,
    /// The longest letters of the English text.
    pub mark: String,
    /// How many letters it has outside holes.
    pub weight: usize,
}

impl Message {
    /// A message from the two texts of a file.
    pub(crate) fn read(key: &str, other: &str) -> Result<Self, String> {
        // A full stop at the end is left to the text: the same words may stand in the middle of a line.
        let whole = key;
        let (key, other) = match (key.strip_suffix('.'), other.strip_suffix('.')) {
            (Some(key), Some(other)) => (key, other),
            _ => (key, other),
        };
        let mut english = Vec::new();
        let mut rest = key;
        while let Some((before, tail)) = rest.split_once('{') {
            let (name, after) = tail.split_once('}').ok_or("a hole is not closed")?;
            if !before.is_empty() {
                english.push(Part::Letters(before.to_owned()));
            } else if matches!(english.last(), Some(Part::Hole(_))) {
                return Err("two holes touch each other".into());
            }
            english.push(Part::Hole(match name {
                "n" => Hole::Number,
                "a" => Hole::Name,
                "i" => Hole::Ids,
                "o" => Hole::Own,
                "t" => Hole::Phrase,
                _ => return Err(format!("{{{name}}} is no hole; {{n}}, {{a}}, {{i}}, {{o}} and {{t}} are")),
            }));
            rest = after;
        }
        if !rest.is_empty() {
            english.push(Part::Letters(rest.to_owned()));
        }
        let holes = english.iter().filter(|part| matches!(part, Part::Hole(_))).count();
        let letters = english.iter().filter_map(|part| match part {
            Part::Letters(letters) => Some(letters.clone()),
            Part::Hole(_) => None,
        });
        let mark = letters.clone().max_by_key(String::len).ok_or("there are no letters in it")?;
        let weight = letters.map(|letters| letters.len()).sum();
        let other = translated(other, holes)?;
        Ok(Self { key: whole.to_owned(), english, other, mark, weight })
    }

    /// The word with which every text of this message begins; nothing where it begins with a hole.
    pub(crate) fn first_word(&self) -> Option<&str> {
        let Some(Part::Letters(letters)) = self.english.first() else { return None };
        match letters.split_once(' ') {
            Some((word, _)) => Some(word),
            None => (self.english.len() == 1).then_some(letters),
        }
    }

    /// A word that stands between blanks in every text of this message; the longest one.
    pub(crate) fn inner_word(&self) -> Option<&str> {
        let mut words = Vec::new();
        for (at, part) in self.english.iter().enumerate() {
            let Part::Letters(letters) = part else { continue };
            let all: Vec<&str> = letters.split(' ').collect();
            // What touches a hole is part of a longer word.
            let last = if at + 1 == self.english.len() { all.len() } else { all.len() - 1 };
            words.extend(all.into_iter().take(last).skip(usize::from(at > 0)));
        }
        words.into_iter().filter(|word| !word.is_empty()).max_by_key(|word| word.len())
    }

    /// The translation with its holes filled.
    pub(crate) fn filled(&self, values: &[String]) -> String {
        let mut out = String::new();
        for (letters, hole) in &self.other {
            out.push_str(letters);
            out.push_str(hole.and_then(|hole| values.get(hole)).map_or("", String::as_str));
        }
        out
    }
}

/// Parts of a translation, in which every hole is named by its number, `{1}` the first; each stands in it.
fn translated(text: &str, holes: usize) -> Result<Vec<(String, Option<usize>)>, String> {
    let mut parts = Vec::new();
    let mut rest = text;
    while let Some((before, tail)) = rest.split_once('{') {
        let (name, after) = tail.split_once('}').ok_or("a hole of the translation is not closed")?;
        let number: usize = name.parse().map_err(|_| format!("{{{name}}} is no number of a hole"))?;
        if number == 0 || number > holes {
            return Err(format!("there is no hole {number}"));
        }
        parts.push((before.to_owned(), Some(number - 1)));
        rest = after;
    }
    parts.push((rest.to_owned(), None));
    for hole in 0..holes {
        if !parts.iter().any(|(_, named)| *named == Some(hole)) {
            return Err(format!("hole {} is missing from the translation", hole + 1));
        }
    }
    Ok(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holes_of_both_texts_agree_or_it_is_no_message() {
        let message = Message::read("{n} leak: {a}", "{2} leckt, {1}").expect("a message");
        assert_eq!(message.filled(&["2".into(), "F1".into()]), "F1 leckt, 2");
        assert_eq!((message.mark.as_str(), message.weight, message.first_word()), (" leak: ", 7, None));
        for (key, other) in [
            ("{n} leak", "lecken"),
            ("leak", "{1}"),
            ("{n}{a} leak", "{1}{2}"),
            ("{x} leak", "{1}"),
            ("{n", ""),
            ("{n}", "{1}"),
            ("a {n}", "{0} {1}"),
        ] {
            assert!(Message::read(key, other).is_err(), "{key}");
        }
    }
}
