//! What somebody typed into a form, and how a typed number is read.

use std::collections::BTreeMap;

use calc::form::Value;

/// Field names and what was typed there, without blanks at the ends.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Typed(BTreeMap<String, String>);

impl Typed {
    /// From the pairs of a form; of a name that comes twice the last counts.
    pub(crate) fn new(pairs: Vec<(String, String)>) -> Self {
        Self(pairs.into_iter().map(|(name, text)| (name, text.trim().replace("\r\n", "\n"))).collect())
    }

    /// What was typed there; empty if nothing was.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    /// Whether the form had such a field.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// The same, if something was typed.
    pub(crate) fn given(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str).filter(|text| !text.is_empty())
    }

    /// Puts something into a field.
    pub(crate) fn set(&mut self, name: &str, text: &str) {
        self.0.insert(name.to_owned(), text.to_owned());
    }
}

/// A typed number: decimal point or comma, a minus of either kind. What is no number stays a text, so that the check of
/// fields names it. `1,200` may mean two things and stays a text too.
pub(crate) fn number(text: &str) -> Value {
    let plain: String = text
        .chars()
        .filter(|letter| !matches!(letter, '\u{a0}' | '\u{202f}' | ' '))
        .map(|letter| if letter == '\u{2212}' { '-' } else { letter })
        .collect();
    let starts_well = plain.starts_with(|letter: char| letter.is_ascii_digit() || "+-.,".contains(letter));
    let point = match plain.split_once(',') {
        None => plain,
        Some((_, behind)) if behind.contains([',', '.']) || behind.len() == 3 => return Value::from(text),
        Some((before, _)) if before.contains('.') => return Value::from(text),
        Some((before, behind)) => format!("{before}.{behind}"),
    };
    match point.parse::<f64>() {
        Ok(number) if number.is_finite() && starts_well => Value::Number(number),
        _ => Value::from(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_type_them() {
        for (text, value) in [
            ("6", 6.0),
            ("5.94", 5.94),
            ("5,94", 5.94),
            ("\u{2212}0,1", -0.1),
            ("1 200", 1200.0),
            (".5", 0.5),
        ] {
            assert_eq!(number(text), Value::Number(value), "{text}");
        }
        for text in ["six", "1,200", "1.200,5", "1,2,3", "inf", "nan", "--1", "12 l"] {
            assert_eq!(number(text), Value::from(text), "{text}");
        }
    }

    #[test]
    fn the_last_of_two_counts_and_blanks_are_nothing() {
        let typed =
            Typed::new(vec![("a".into(), " 1 ".into()), ("a".into(), "2".into()), ("b".into(), "  ".into())]);
        assert_eq!((typed.get("a"), typed.given("b"), typed.get("c")), ("2", None, ""));
    }
}
