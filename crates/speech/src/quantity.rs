//! Numbers with their units, and days, in another language.

/// What stands before decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Decimal {
    /// `1.5`: the language is English, and words between numbers stay.
    Point,
    /// `1,5`: the language is German.
    Comma,
}

/// Narrow no-break space, between a number and its unit; no-break space, inside a number with its uncertainty.
const NARROW: char = '\u{202f}';
const JOIN: char = '\u{a0}';

/// Units, which are the same in all languages.
const UNITS: [&str; 44] = [
    "%",
    "bar",
    "mbar",
    "psi",
    "Pa",
    "mPa·s",
    "l/min",
    "gpm",
    "°C",
    "°F",
    "K",
    "mm",
    "in",
    "µm",
    "m",
    "ml",
    "l",
    "m³",
    "m³/h",
    "mbar·l/s",
    "dm³/(s·bar)",
    "dm3/(s·bar)",
    "s",
    "min",
    "h",
    "kg",
    "g",
    "kg/m³",
    "J",
    "W",
    "Ω",
    "bit",
    "ml/h",
    "J/(kg·K)",
    "W/(m·K)",
    "W/(m²·K)",
    "m²",
    "mm²",
    "l/h",
    "1/s",
    "nm",
    "Hz",
    "cm",
    "1/m³",
];

/// Words between numbers.
const WORDS: [(&str, &str); 14] = [
    ("to", "bis"),
    ("under", "unter"),
    ("over", "über"),
    ("about", "etwa"),
    ("and", "und"),
    ("or", "oder"),
    ("at", "bei"),
    ("from", "von"),
    ("between", "zwischen"),
    ("of", "von"),
    ("±", "±"),
    ("×", "×"),
    ("minutes", "Minuten"),
    ("days", "Tage"),
];

/// Months as they are written in short, and in German (DIN 1355-1 in spirit; from memory).
const MONTHS: [(&str, &str); 12] = [
    ("Jan", "Jan."),
    ("Feb", "Feb."),
    ("Mar", "März"),
    ("Apr", "Apr."),
    ("May", "Mai"),
    ("Jun", "Juni"),
    ("Jul", "Juli"),
    ("Aug", "Aug."),
    ("Sep", "Sept."),
    ("Oct", "Okt."),
    ("Nov", "Nov."),
    ("Dec", "Dez."),
];

/// Numbers, units and the words between them; nothing where anything else stands in the text.
pub(crate) fn quantity(text: &str, decimal: Decimal) -> Option<String> {
    let mut out = String::new();
    let (mut numbers, mut after_number) = (0, false);
    // A list of numbers with decimal commas needs another mark between them.
    let list = if decimal == Decimal::Comma && text.contains('.') { ';' } else { ',' };
    // A unit with a blank in it is one word all the same.
    let text = text.replace("dm3/(s bar)", "dm³/(s·bar)");
    for token in text.split(' ') {
        let opened = token.trim_start_matches('(');
        let open = &token[..token.len() - opened.len()];
        let (core, close) = split_end(opened);
        let is_number = is_number(core);
        let written = if is_number {
            numbers += 1;
            if decimal == Decimal::Comma { core.replace('.', ",") } else { core.to_owned() }
        } else if UNITS.contains(&core) && (after_number || numbers > 0) {
            core.to_owned()
        } else {
            let (_, other) = WORDS.iter().find(|(word, _)| *word == core)?;
            if decimal == Decimal::Comma { (*other).to_owned() } else { core.to_owned() }
        };
        if !out.is_empty() {
            out.push(space(&out, core, is_number, after_number));
        }
        out.push_str(open);
        out.push_str(&written);
        out.push_str(&close.replace(',', &list.to_string()));
        after_number = is_number && close.is_empty();
    }
    (numbers > 0).then_some(out)
}

/// Whether this is a unit and nothing else.
pub(crate) fn is_unit(text: &str) -> bool {
    UNITS.contains(&text)
}

/// What stands before this token: groups of thousands, units and uncertainties hold together.
fn space(before: &str, core: &str, is_number: bool, after_number: bool) -> char {
    let group =
        is_number && after_number && core.len() >= 3 && core.as_bytes()[..3].iter().all(u8::is_ascii_digit);
    if (after_number && UNITS.contains(&core)) || group {
        NARROW
    } else if core == "±"
        || before.ends_with('±')
        || core == "to"
        || before.ends_with("bis")
        || before.ends_with("to")
    {
        JOIN
    } else {
        ' '
    }
}

fn split_end(token: &str) -> (&str, &str) {
    // The bracket of a unit, as in dm³/(s·bar), belongs to it.
    let bare = token.trim_end_matches([',', ';', ':']);
    if UNITS.contains(&bare) {
        return token.split_at(bare.len());
    }
    let bare = token.trim_end_matches([',', ';', ':', ')']);
    let bare = if bare.contains('(') { token.trim_end_matches([',', ';', ':']) } else { bare };
    let bare =
        UNITS.iter().find(|unit| unit.ends_with(')') && token.starts_with(**unit)).map_or(bare, |unit| unit);
    token.split_at(bare.len())
}

/// `12`, `-0.5`, `10^5`; not `1.2.3`, not a day.
fn is_number(token: &str) -> bool {
    let digits = token.trim_start_matches(['\u{2212}', '-', '+']);
    let digits =
        digits.strip_prefix("10^").map_or(digits, |power| power.trim_start_matches(['\u{2212}', '-']));
    digits.starts_with(|letter: char| letter.is_ascii_digit())
        && digits.ends_with(|letter: char| letter.is_ascii_digit())
        && digits.chars().all(|letter| letter.is_ascii_digit() || letter == '.')
        && digits.matches('.').count() <= 1
}

/// A day, or a moment, as the pages write them: `3 Dec 2026`, `3 Dec 2026, 07:10 UTC`, `3 Dec`.
pub(crate) fn day(text: &str, decimal: Decimal) -> Option<String> {
    let (day, time) = text.split_once(", ").unwrap_or((text, ""));
    let mut parts = day.split(' ');
    let (number, month, year) = (parts.next()?, parts.next()?, parts.next());
    let (_, german) = MONTHS.iter().find(|(short, _)| *short == month)?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|letter| letter.is_ascii_digit());
    let clock = time.strip_suffix(" UTC").unwrap_or(time);
    let is_time = time.is_empty()
        || clock.len() == 5 && clock.bytes().all(|letter| letter.is_ascii_digit() || letter == b':');
    if parts.next().is_some()
        || !digits(number)
        || number.len() > 2
        || !is_time
        || year.is_some_and(|year| !digits(year))
    {
        return None;
    }
    if decimal == Decimal::Point {
        return Some(text.to_owned());
    }
    let year = year.map(|year| format!(" {year}")).unwrap_or_default();
    let time = if time.is_empty() { String::new() } else { format!(", {time}") };
    Some(format!("{number}.{JOIN}{german}{year}{time}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_get_a_comma_and_keep_their_units() {
        for (english, german) in [
            ("1.5", "1,5"),
            ("0.8 mm (0.6 to 1.1)", "0,8\u{202f}mm (0,6\u{a0}bis\u{a0}1,1)"),
            ("1.40 ± 0.05 l/min", "1,40\u{a0}±\u{a0}0,05\u{202f}l/min"),
            ("under 0.03 mbar·l/s", "unter 0,03\u{202f}mbar·l/s"),
            ("24 000", "24\u{202f}000"),
            ("1.2 dm³/(s·bar)", "1,2\u{202f}dm³/(s·bar)"),
            ("6.1 at 1.2, 8 at 2.0", "6,1 bei 1,2; 8 bei 2,0"),
            ("from 0.5 at 6 to 60 at 5.9", "von 0,5 bei 6\u{a0}bis\u{a0}60 bei 5,9"),
        ] {
            assert_eq!(quantity(english, Decimal::Comma).as_deref(), Some(german), "{english}");
        }
        for none in ["1.2.3", "F1", "to", "bar", "2026-11-24", "12 people", ""] {
            assert_eq!(quantity(none, Decimal::Comma), None, "{none}");
        }
    }

    #[test]
    fn days_are_written_as_the_language_does() {
        assert_eq!(
            day("3 Dec 2026, 07:10 UTC", Decimal::Comma).as_deref(),
            Some("3.\u{a0}Dez. 2026, 07:10 UTC")
        );
        assert_eq!(day("14 Mar", Decimal::Comma).as_deref(), Some("14.\u{a0}März"));
        for none in ["3 December 2026", "3", "F1 Dec", "3 Dec 2026, late"] {
            assert_eq!(day(none, Decimal::Comma), None, "{none}");
        }
    }
}
