//! Text for a terminal: cleaned, measured, wrapped, coloured.

use unicode_width::UnicodeWidthStr as _;

use crate::words;

/// How a text is shown; the words say the same without it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    Plain,
    Faint,
    Strong,
    Ask,
    Care,
    Alarm,
}

impl Ink {
    fn code(self) -> Option<&'static str> {
        match self {
            Self::Plain => None,
            Self::Faint => Some("2"),
            Self::Strong => Some("1"),
            Self::Ask => Some("1;36"),
            Self::Care => Some("1;33"),
            Self::Alarm => Some("1;31"),
        }
    }
}

/// A piece of text that can do nothing to a terminal but stand there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Text(String);

impl Text {
    /// Special spaces become common ones, and what is no letter is shown as such.
    pub(super) fn new(text: &str) -> Self {
        let clean = |letter: char| match letter {
            '\u{202f}' | '\u{a0}' | '\n' | '\t' => ' ',
            letter if words::is_printable(letter) => letter,
            _ => '\u{fffd}',
        };
        Self(text.chars().map(clean).collect())
    }

    pub(super) fn as_str(&self) -> &str {
        &self.0
    }

    pub(super) fn width(&self) -> usize {
        self.0.as_str().width()
    }

    /// With its colour, if colours are wanted.
    pub(super) fn inked(&self, ink: Ink, color: bool) -> String {
        match ink.code().filter(|_| color && !self.0.is_empty()) {
            Some(code) => format!("\u{1b}[{code}m{}\u{1b}[0m", self.0),
            None => self.0.clone(),
        }
    }

    /// Filled with spaces on the right, outside the colour.
    pub(super) fn padded(&self, width: usize, ink: Ink, color: bool) -> String {
        self.inked(ink, color) + &" ".repeat(width.saturating_sub(self.width()))
    }
}

/// Lines of at most this width, broken at common spaces; a longer word is cut.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<Text> {
    let width = width.max(1);
    let mut lines = Vec::new();
    let mut line = Text(String::new());
    for word in text.split([' ', '\n', '\t']).filter(|word| !word.is_empty()) {
        let word = Text::new(word);
        let gap = usize::from(!line.0.is_empty());
        if line.width() + gap + word.width() <= width {
            if gap == 1 {
                line.0.push(' ');
            }
            line.0.push_str(&word.0);
            continue;
        }
        if gap == 1 {
            lines.push(core::mem::replace(&mut line, Text(String::new())));
        }
        for letter in word.0.chars() {
            let mut longer = line.clone();
            longer.0.push(letter);
            if longer.width() > width && !line.0.is_empty() {
                lines.push(core::mem::replace(&mut line, Text(letter.to_string())));
            } else {
                line = longer;
            }
        }
    }
    if !line.0.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_at_spaces_but_not_inside_numbers() {
        let lines: Vec<_> = wrapped("about 0.8\u{202f}mm thick", 9).into_iter().map(|line| line.0).collect();
        assert_eq!(lines, ["about", "0.8 mm", "thick"]);
        let cut: Vec<_> = wrapped("abcdefghij kl", 4).into_iter().map(|line| line.0).collect();
        assert_eq!(cut, ["abcd", "efgh", "ij", "kl"]);
        assert_eq!(wrapped("", 4), []);
    }

    #[test]
    fn wide_letters_take_two_columns() {
        assert_eq!(Text::new("水路").width(), 4);
        assert!(wrapped("水路水路水路", 5).iter().all(|line| line.width() <= 5));
    }

    #[test]
    fn a_text_cannot_colour_or_move_anything() {
        assert_eq!(Text::new("a\u{1b}[31mb\u{202e}\r").0, "a\u{fffd}[31mb\u{fffd}\u{fffd}");
    }
}
