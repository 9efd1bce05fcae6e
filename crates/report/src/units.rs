//! The units that somebody chose to read and type in, in place of those of the fields.
//!
//! Everything is kept and judged in bar, l/min, degC and mm. What is written in these units is written anew in the ones
//! chosen, with as many digits as say the same; conversions are those of [`calc::quantity`].

use calc::numeric::math;
use calc::quantity::{GaugePressure, Length, Temperature, VolumeFlow};

use crate::number::{NARROW, at_place, plain, with_unit};

/// A unit of the fields that may be replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Replaced {
    Bar,
    LitresPerMinute,
    DegreesCelsius,
    Millimetres,
}

impl Replaced {
    /// How it is written, and what replaces it.
    const ALL: [(Self, &'static str, &'static str); 4] = [
        (Self::LitresPerMinute, "l/min", "gpm"),
        (Self::DegreesCelsius, "°C", "°F"),
        (Self::Bar, "bar", "psi"),
        (Self::Millimetres, "mm", "in"),
    ];

    fn written(self) -> (&'static str, &'static str) {
        let found = Self::ALL.into_iter().find(|(unit, ..)| *unit == self);
        found.map_or(("", ""), |(_, own, chosen)| (own, chosen))
    }

    const fn chosen_of(self, value: f64) -> f64 {
        match self {
            Self::Bar => GaugePressure::from_bar(value).psi(),
            Self::LitresPerMinute => VolumeFlow::from_l_min(value).gpm_us(),
            Self::DegreesCelsius => Temperature::from_deg_c(value).deg_f(),
            Self::Millimetres => Length::from_mm(value).inch(),
        }
    }

    const fn own_of(self, value: f64) -> f64 {
        match self {
            Self::Bar => GaugePressure::from_psi(value).bar(),
            Self::LitresPerMinute => VolumeFlow::from_gpm_us(value).l_min(),
            Self::DegreesCelsius => Temperature::from_deg_f(value).deg_c(),
            Self::Millimetres => Length::from_inch(value).mm(),
        }
    }

    /// A difference of two values.
    fn step_of(self, step: f64) -> f64 {
        self.chosen_of(step) - self.chosen_of(0.0)
    }
}

/// The units that somebody chose; without a choice those of the fields.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Units {
    /// Pressures in psi in place of bar.
    pub psi: bool,
    /// Flows in US gallons a minute in place of l/min.
    pub gpm: bool,
    /// Temperatures in degrees Fahrenheit in place of Celsius.
    pub deg_f: bool,
    /// Lengths in inches in place of mm.
    pub inch: bool,
}

impl Units {
    /// From words: `psi gpm degF in`; other words say nothing.
    #[must_use]
    pub fn of(words: &str) -> Self {
        let has = |word: &str| words.split(' ').any(|one| one == word);
        Self { psi: has("psi"), gpm: has("gpm"), deg_f: has("degF"), inch: has("in") }
    }

    /// The words that [`Units::of`] reads.
    #[must_use]
    pub fn words(&self) -> String {
        let chosen = [(self.psi, "psi"), (self.gpm, "gpm"), (self.deg_f, "degF"), (self.inch, "in")];
        chosen.iter().filter(|(on, _)| *on).map(|(_, word)| *word).collect::<Vec<_>>().join(" ")
    }

    const fn replaces(&self, unit: Replaced) -> bool {
        match unit {
            Replaced::Bar => self.psi,
            Replaced::LitresPerMinute => self.gpm,
            Replaced::DegreesCelsius => self.deg_f,
            Replaced::Millimetres => self.inch,
        }
    }

    /// The replaced unit of a field whose unit is written like this.
    fn replaced(&self, unit: &str) -> Option<Replaced> {
        let own = match unit {
            "bar" | "bar (gauge)" | "bar (absolute)" => Replaced::Bar,
            "l/min" => Replaced::LitresPerMinute,
            "°C" => Replaced::DegreesCelsius,
            "mm" => Replaced::Millimetres,
            _ => return None,
        };
        Some(own).filter(|own| self.replaces(*own))
    }

    /// The unit in which a field of this unit is shown and typed.
    #[must_use]
    pub fn shown(&self, unit: &'static str) -> &'static str {
        match (self.replaced(unit), unit) {
            (None, _) => unit,
            (Some(_), "bar (gauge)") => "psi (gauge)",
            (Some(_), "bar (absolute)") => "psi (absolute)",
            (Some(own), _) => own.written().1,
        }
    }

    /// What was typed for a field of this unit, in the field's own unit.
    #[must_use]
    pub fn typed(&self, value: f64, unit: &str) -> f64 {
        self.replaced(unit).map_or(value, |own| own.own_of(value))
    }

    /// A value of a field of this unit as a number to type.
    #[must_use]
    pub fn to_type(&self, value: f64, unit: &str) -> String {
        let chosen = self.replaced(unit).map_or(value, |own| own.chosen_of(value));
        plain(chosen).replace('\u{2212}', "-").replace(NARROW, "")
    }

    /// Words of an axis in the units chosen, and by what its numbers are multiplied.
    pub(crate) fn axis(&self, label: &'static str) -> (&'static str, f64) {
        let (shown, own) = match label {
            "flow, l/min" => ("flow, gpm", Replaced::LitresPerMinute),
            "pressure drop, bar" => ("pressure drop, psi", Replaced::Bar),
            "pressure, bar (gauge)" => ("pressure, psi (gauge)", Replaced::Bar),
            _ => return (label, 1.0),
        };
        if self.replaces(own) { (shown, own.chosen_of(1.0)) } else { (label, 1.0) }
    }

    /// An exact number of this unit in up to four digits, without its unit.
    #[must_use]
    pub fn number(&self, value: f64, unit: &str) -> String {
        plain(self.replaced(unit).map_or(value, |own| own.chosen_of(value)))
    }

    /// The same with its unit, if it has one.
    #[must_use]
    pub fn exact(&self, value: f64, unit: &'static str) -> String {
        if unit.is_empty() {
            return self.number(value, unit);
        }
        with_unit(&self.number(value, unit), self.shown(unit))
    }

    /// A page in the units chosen: numbers that are followed by a replaced unit are written anew. What stands in tags stays,
    /// and so does what stands in an element with `data-as-typed`, because a person wrote it.
    #[must_use]
    pub fn page(&self, html: &str) -> String {
        if *self == Self::default() {
            return html.to_owned();
        }
        let mut out = String::with_capacity(html.len());
        let mut kept: Option<(String, usize)> = None;
        let mut rest = html;
        while let Some(start) = rest.find('<') {
            let (text, tagged) = rest.split_at(start);
            out.push_str(&if kept.is_some() { text.to_owned() } else { self.text(text) });
            let end = tagged.find('>').map_or(tagged.len(), |end| end + 1);
            let (tag, after) = tagged.split_at(end);
            kept = as_typed(kept, tag);
            out.push_str(tag);
            rest = after;
        }
        out + &if kept.is_some() { rest.to_owned() } else { self.text(rest) }
    }

    /// Words in the units chosen, except what stands in double quotes.
    #[must_use]
    pub fn text(&self, text: &str) -> String {
        let mut out = String::with_capacity(text.len());
        let mut rest = text;
        // A person's own words stand in these quotes.
        while let Some(start) = rest.find('\u{201c}') {
            let (before, quoted) = rest.split_at(start);
            let end = quoted.find('\u{201d}').unwrap_or(quoted.len());
            let (quoted, after) = quoted.split_at(end);
            out.push_str(&self.unquoted(before));
            out.push_str(quoted);
            rest = after;
        }
        out + &self.unquoted(rest)
    }

    fn unquoted(&self, text: &str) -> String {
        let mut text = text.to_owned();
        for (own, written, chosen) in Replaced::ALL {
            if self.replaces(own) && text.contains(written) {
                text = replaced(&text, own, written, chosen);
            }
        }
        text
    }
}

/// The element whose words stay as they are, and how deep inside it one of its own kind is, after this tag.
fn as_typed(kept: Option<(String, usize)>, tag: &str) -> Option<(String, usize)> {
    let name = tag.trim_start_matches(['<', '/']);
    let name = name.split([' ', '>', '\n']).next().unwrap_or_default();
    match kept {
        None => (name == "textarea" && !tag.starts_with("</") || tag.contains(" data-as-typed"))
            .then(|| (name.to_owned(), 0)),
        Some((own, depth)) if own == name && tag.starts_with("</") => {
            depth.checked_sub(1).map(|depth| (own, depth))
        }
        Some((own, depth)) if own == name => Some((own, depth + 1)),
        kept => kept,
    }
}

/// A text with one unit replaced wherever it follows a number.
fn replaced(text: &str, own: Replaced, written: &str, chosen: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(written) {
        let (before, tail) = rest.split_at(at);
        let after = tail.get(written.len()..).unwrap_or_default();
        let ends = !after.starts_with(|letter: char| letter.is_alphanumeric() || "·/²³*^_".contains(letter));
        match numbers_at_end(before).filter(|_| ends) {
            None => {
                out.push_str(before);
                out.push_str(written);
                rest = after;
            }
            Some(start) => {
                let (left, numbers) = before.split_at(start);
                out.push_str(left);
                out.push_str(&converted(numbers, own));
                out.push_str(chosen);
                rest = interval(after, own, &mut out);
            }
        }
    }
    out + rest
}

/// What may stand between the numbers that share a unit.
const BETWEEN: [&str; 9] =
    ["\u{a0}±\u{a0}", " ± ", "\u{a0}to\u{a0}", " to ", " and ", " or ", "–", "\u{a0}and\u{a0}", ", "];

/// Where the numbers begin with which a text ends: `6`, `6 to 5.99`, `1.4 ± 0.2`, `2, 4 and 6`, and the blank behind.
fn numbers_at_end(text: &str) -> Option<usize> {
    let trimmed = text.trim_end_matches([' ', '\u{a0}', NARROW]);
    let mut start = number_at_end(trimmed)?;
    let mut listed = false;
    loop {
        let left = trimmed.get(..start)?;
        let Some(mark) = BETWEEN.iter().find(|mark| left.ends_with(**mark)) else { return Some(start) };
        // A comma joins numbers only in a list that ends with a word.
        if *mark == ", " && !listed {
            return Some(start);
        }
        let Some(earlier) = left.get(..left.len() - mark.len()).and_then(number_at_end) else {
            return Some(start);
        };
        listed |= matches!(*mark, " and " | " or ");
        start = earlier;
    }
}

/// Where the number begins with which a text ends; nothing where it ends otherwise or the number is part of a name.
fn number_at_end(text: &str) -> Option<usize> {
    let digits =
        text.trim_end_matches(|letter: char| letter.is_ascii_digit() || letter == '.' || letter == NARROW);
    let number = text.get(digits.len()..)?;
    if !number.starts_with(|letter: char| letter.is_ascii_digit())
        || !number.ends_with(|letter: char| letter.is_ascii_digit())
    {
        return None;
    }
    let before = digits.chars().next_back();
    if before.is_some_and(|letter| letter.is_alphanumeric() || "_^".contains(letter)) {
        return None;
    }
    let minus = digits.strip_suffix('\u{2212}').or_else(|| {
        // A hyphen is a minus only where it does not join words.
        let left = digits.strip_suffix('-')?;
        (left.is_empty() || left.ends_with([' ', '(', '\u{a0}'])).then_some(left)
    });
    Some(minus.map_or(digits.len(), str::len))
}

/// Every number of a text in the unit chosen; what follows `±` is a difference.
fn converted(text: &str, own: Replaced) -> String {
    let mut out = String::new();
    let mut rest = text;
    let starts = |letter: char| letter.is_ascii_digit() || letter == '\u{2212}' || letter == '-';
    while let Some(at) = rest.find(starts) {
        let (before, number) = rest.split_at(at);
        let step = before.contains('±');
        out.push_str(before);
        let end = number
            .char_indices()
            .skip(1)
            .find(|(_, letter)| !(letter.is_ascii_digit() || *letter == '.' || *letter == NARROW))
            .map_or(number.len(), |(end, _)| end);
        let (token, after) = number.split_at(end);
        // A narrow blank at the end stands before the unit.
        let bare = token.trim_end_matches(NARROW);
        out.push_str(&one(bare, own, step).unwrap_or_else(|| bare.to_owned()));
        out.push_str(token.get(bare.len()..).unwrap_or_default());
        rest = after;
    }
    out + rest
}

/// One number with as many digits as say the same in the unit chosen. A whole number gets one digit more where it would be
/// more than a hundredth off: 1 bar is 14.5 psi.
fn one(token: &str, own: Replaced, step: bool) -> Option<String> {
    /// Part of a step by which a value may be off unnoticed (own choice).
    const SHARE: f64 = 0.6;
    let clean = token.replace(NARROW, "").replace('\u{2212}', "-");
    let value: f64 = clean.parse().ok()?;
    let decimals = clean.split_once('.').map_or(0, |(_, behind)| behind.len());
    let last = 10f64.powi(-i32::try_from(decimals).ok()?);
    let chosen = if step { own.step_of(value) } else { own.chosen_of(value) };
    let place = math::log10(own.step_of(last).abs() * SHARE).floor();
    let unit = math::powf(10.0, place);
    let off = ((chosen / unit).round() * unit - chosen).abs();
    let place = if decimals == 0 && !step && off > 0.01 * chosen.abs() { place - 1.0 } else { place };
    // The cast is of a whole number between -20 and 5.
    (-20.0..=5.0).contains(&place).then(|| at_place(chosen, place as i32))
}

/// The interval in brackets that may follow a unit, `(0.6 to 1.1)`, put out in the unit chosen; what is left of the text.
fn interval<'a>(after: &'a str, own: Replaced, out: &mut String) -> &'a str {
    let Some(inner) = after.strip_prefix(" (").or_else(|| after.strip_prefix("\u{a0}(")) else {
        return after;
    };
    let Some(end) = inner.find([')', ';', ',']) else { return after };
    let (text, rest) = inner.split_at(end);
    // `0.6 to 1.1` and nothing else, or with its coverage behind.
    let numbers = text.split(" at ").next().unwrap_or_default();
    if numbers_at_end(numbers) != Some(0) || !numbers.contains("to") {
        return after;
    }
    out.push_str(" (");
    out.push_str(&converted(numbers, own));
    out.push_str(text.get(numbers.len()..).unwrap_or_default());
    rest
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: Units = Units { psi: true, gpm: true, deg_f: true, inch: true };

    #[test]
    fn numbers_are_written_anew_with_as_many_digits_as_say_the_same() {
        // Factors of NIST SP 811, appendix B.8; the digits are ours.
        for (own, chosen) in [
            ("6 bar", "87 psi"),
            ("at 20 °C and 1 bar", "at 68 °F and 14.5 psi"),
            ("6 to 5.99 bar in 60 s", "87 to 86.88 psi in 60 s"),
            ("12.4\u{202f}l/min", "3.28\u{202f}gpm"),
            ("20 °C", "68 °F"),
            ("-40 °C", "\u{2212}40 °F"),
            ("10 mm bore", "0.39 in bore"),
            ("1.40\u{a0}±\u{a0}0.05\u{202f}l/min", "0.370\u{a0}±\u{a0}0.013\u{202f}gpm"),
            ("21.0\u{a0}±\u{a0}0.5\u{202f}°C", "69.8\u{a0}±\u{a0}0.9\u{202f}°F"),
            ("0.8\u{202f}mm (0.6\u{a0}to\u{a0}1.1)", "0.031\u{202f}in (0.024\u{a0}to\u{a0}0.043)"),
            ("about 1.2 mm (0.9 to 1.6): 66 %", "about 0.047 in (0.035 to 0.063): 66 %"),
            ("under\u{a0}0.3\u{202f}mm", "under\u{a0}0.012\u{202f}in"),
            ("at 2, 4 and 6 bar", "at 29, 58 and 87 psi"),
            ("at 60 s, 6 bar", "at 60 s, 87 psi"),
        ] {
            assert_eq!(ALL.text(own), chosen, "{own}");
        }
    }

    #[test]
    fn other_units_names_and_words_stay() {
        for text in [
            "0.02 mbar·l/s",
            "5 dm³/(s·bar)",
            "0.3 m3/h",
            "a bar of steel",
            "F2 bar",
            "12 mm²",
            "100 ml",
            "1.0 × 10^300 bar",
            "3 K",
            "5 barrels",
            "Flow, l/min",
        ] {
            assert_eq!(ALL.text(text), text);
        }
        assert_eq!(Units::default().page("6 bar"), "6 bar");
    }

    #[test]
    fn tags_and_what_a_person_wrote_stay() {
        let page =
            "<p title=\"6 bar\">6 bar</p><p data-as-typed>I saw 6 bar <b>and <p>5 bar</p></b> 4 bar</p>3 bar";
        let shown = "<p title=\"6 bar\">87 psi</p><p data-as-typed>I saw 6 bar <b>and <p>5 bar</p></b> 4 bar</p>43.5 psi";
        assert_eq!(ALL.page(page), shown);
        let form = "<textarea>6 bar</textarea> by KD: \u{201c}held at 6 bar\u{201d}, 6 bar";
        assert_eq!(ALL.page(form), "<textarea>6 bar</textarea> by KD: \u{201c}held at 6 bar\u{201d}, 87 psi");
    }

    #[test]
    fn what_is_typed_comes_back_in_the_units_of_the_field() {
        let psi = Units::of("psi degF strange");
        assert_eq!((psi.words().as_str(), psi.gpm), ("psi degF", false));
        assert!((psi.typed(87.022_64, "bar (gauge)") - 6.0).abs() < 1e-5);
        assert!((psi.typed(68.0, "°C") - 20.0).abs() < 1e-12);
        for (value, unit) in [(12.0, "l/min"), (12.0, "s"), (12.0, "mbar·l/s"), (12.0, "m³/h")] {
            assert!((psi.typed(value, unit) - value).abs() < f64::EPSILON, "{unit}");
        }
        assert_eq!(
            (psi.shown("bar (gauge)"), psi.shown("°C"), psi.shown("l/min")),
            ("psi (gauge)", "°F", "l/min")
        );
        assert_eq!(
            (psi.exact(psi.typed(87.0, "bar"), "bar"), psi.to_type(-10.0, "°C")),
            ("87\u{202f}psi".into(), "14".into())
        );
    }
}
