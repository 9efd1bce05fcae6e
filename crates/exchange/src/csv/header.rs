//! What a column's name says: quantity, unit, gauge or absolute.

use super::Quantity;
use super::units::{self, Against, Unit};

/// What a column's name says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heading {
    /// The name as it stands in the file.
    pub name: String,
    /// What the column holds, if the name says so.
    pub meaning: Option<Meaning>,
    /// Its unit, if the name says so.
    pub unit: Option<Unit>,
    /// Gauge or absolute, for a pressure, if the name says so.
    pub against: Option<Against>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// A quantity.
    Quantity(Quantity),
    /// A time of day, with or without the date.
    Clock,
    /// A date alone.
    Date,
}

/// Parts of words that name a quantity; a word that holds one of them names it (such as `Wassertemperatur`).
static STEMS: &[(&str, Meaning)] = &[
    ("timestamp", Meaning::Clock),
    ("zeitstempel", Meaning::Clock),
    ("datetime", Meaning::Clock),
    ("uhrzeit", Meaning::Clock),
    ("clock", Meaning::Clock),
    ("datum", Meaning::Date),
    ("time", Meaning::Quantity(Quantity::Time)),
    ("zeit", Meaning::Quantity(Quantity::Time)),
    ("elapsed", Meaning::Quantity(Quantity::Time)),
    ("dauer", Meaning::Quantity(Quantity::Time)),
    ("pressure", Meaning::Quantity(Quantity::Pressure)),
    ("druck", Meaning::Quantity(Quantity::Pressure)),
    ("durchfluss", Meaning::Quantity(Quantity::Flow)),
    ("volumenstrom", Meaning::Quantity(Quantity::Flow)),
    ("flow", Meaning::Quantity(Quantity::Flow)),
    ("temperatur", Meaning::Quantity(Quantity::Temperature)),
];

/// Whole words that name a quantity.
static WORDS: &[(&str, Meaning)] = &[
    ("date", Meaning::Date),
    ("p", Meaning::Quantity(Quantity::Pressure)),
    ("press", Meaning::Quantity(Quantity::Pressure)),
    ("q", Meaning::Quantity(Quantity::Flow)),
    ("fluss", Meaning::Quantity(Quantity::Flow)),
    ("temp", Meaning::Quantity(Quantity::Temperature)),
];

/// Words that make another thing of a quantity: a difference, a set value, the weather.
static OTHERWISE: &[&str] = &[
    "drop",
    "diff",
    "differential",
    "difference",
    "differenz",
    "differenzdruck",
    "druckdifferenz",
    "druckabfall",
    "druckverlust",
    "delta",
    "dp",
    "rate",
    "soll",
    "sollwert",
    "sollwertdruck",
    "solldruck",
    "set",
    "setpoint",
    "target",
    "limit",
    "grenzwert",
    "alarm",
    "status",
    "quality",
    "atmospheric",
    "barometric",
    "ambient",
    "luftdruck",
    "umgebung",
    "umgebungsdruck",
    "umgebungstemperatur",
    "total",
    "summe",
    "totaliser",
    "volume",
];

/// Reads a column's name.
pub fn read(name: &str) -> Heading {
    let (rest, brackets) = split_brackets(name);
    let rest = words(&rest);
    let brackets: Vec<Vec<String>> = brackets.iter().map(|text| words(text)).collect();
    let mut heading = Heading { name: name.trim().to_owned(), ..Heading::default() };
    let found = brackets.iter().find_map(|words| exact_unit(words));
    let named = meaning(&rest);
    let (unit, quantity_words) = match found {
        Some(unit) => (Some(unit), rest.len()),
        None => suffix_unit(&rest, named.is_some()),
    };
    let marks =
        rest.iter().take(quantity_words).chain(brackets.iter().filter_map(|words| match words.as_slice() {
            [only] => Some(only),
            _ => None,
        }));
    heading.against = unit
        .and_then(|unit| unit.against)
        .or_else(|| marks.into_iter().find_map(|w| long_mark(w, &brackets)));
    heading.meaning = settle(&rest, unit);
    heading.unit = unit;
    heading
}

/// A mark among the words of a name: single letters count only in brackets, where `bar (g)` puts them.
fn long_mark(word: &str, brackets: &[Vec<String>]) -> Option<Against> {
    let bracketed = brackets.iter().any(|words| matches!(words.as_slice(), [only] if only == word));
    if word.len() <= 2 && !bracketed { None } else { units::mark(word) }
}

/// The unit of a cell that holds nothing else, as in a row of units.
pub fn unit_cell(cell: &str) -> Option<Unit> {
    exact_unit(&words(&cell.replace(['[', ']', '(', ')'], " ")))
}

fn exact_unit(words: &[String]) -> Option<Unit> {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    units::unit(&words)
}

/// The unit at the end of a name, the longest that fits, and how many words stand before it.
fn suffix_unit(words: &[String], named: bool) -> (Option<Unit>, usize) {
    for start in 0..words.len() {
        let tail: Vec<&str> = words.iter().skip(start).map(String::as_str).collect();
        if let Some(unit) = units::unit(&tail) {
            // A lone letter after words that name nothing is part of a name: `channel F`.
            let letter = tail.len() == 1 && tail.first().is_some_and(|word| word.len() == 1);
            if start == 0 || named || !letter {
                return (Some(unit), start);
            }
        }
    }
    (None, words.len())
}

/// The one meaning that words name; nothing if they name none or two.
fn meaning(words: &[String]) -> Option<Meaning> {
    let meanings = meanings(words);
    match meanings.as_slice() {
        [one] => Some(*one),
        _ => None,
    }
}

fn meanings(words: &[String]) -> Vec<Meaning> {
    let mut found: Vec<Meaning> = Vec::new();
    for word in words {
        let whole = WORDS.iter().find(|(known, _)| numbered(word, known)).map(|(_, meaning)| *meaning);
        let named =
            whole.or_else(|| STEMS.iter().find(|(stem, _)| word.contains(stem)).map(|(_, meaning)| *meaning));
        if let Some(meaning) = named
            && !found.contains(&meaning)
        {
            found.push(meaning);
        }
    }
    found
}

/// Whether a word is a known one, with a number behind it or not: `p`, `p1`, `temp2`.
fn numbered(word: &str, known: &str) -> bool {
    word.strip_prefix(known).is_some_and(|rest| rest.chars().all(|c| c.is_ascii_digit()))
}

/// What the column holds, from its words and its unit together.
fn settle(words: &[String], unit: Option<Unit>) -> Option<Meaning> {
    if words.iter().any(|word| OTHERWISE.contains(&word.as_str())) {
        return None;
    }
    let unit = unit.map(|unit| unit.quantity);
    let named = meanings(words);
    match (named.as_slice(), unit) {
        ([], Some(quantity)) => Some(Meaning::Quantity(quantity)),
        ([], None) => words.iter().any(|word| word == "t").then_some(Meaning::Quantity(Quantity::Time)),
        ([Meaning::Date, _] | [_, Meaning::Date], None) => Some(Meaning::Clock),
        ([one], None) => Some(*one),
        // Two words and a unit, `flow temperature [degC]`: the unit tells which one is measured.
        (several, Some(quantity)) => {
            let fits = several.contains(&Meaning::Quantity(quantity))
                || (quantity == Quantity::Time && several.contains(&Meaning::Clock));
            fits.then_some(Meaning::Quantity(quantity))
        }
        (_, None) => None,
    }
}

/// The text outside brackets, and the texts of the outermost brackets.
fn split_brackets(name: &str) -> (String, Vec<String>) {
    let (mut rest, mut inside, mut all) = (String::new(), String::new(), Vec::new());
    let mut depth = 0_u32;
    for letter in name.chars() {
        match letter {
            '[' | '(' | '{' => depth += 1,
            ']' | ')' | '}' if depth > 0 => depth -= 1,
            _ if depth > 0 => inside.push(letter),
            _ => rest.push(letter),
        }
        let edge = matches!(letter, '[' | '(' | '{' | ']' | ')' | '}');
        if edge && depth > 0 {
            inside.push(' ');
        } else if edge {
            rest.push(' ');
            all.push(std::mem::take(&mut inside));
        }
    }
    if !inside.is_empty() {
        all.push(inside);
    }
    (rest, all)
}

/// Words in lower case, letters with dots and signs written out, everything else a gap.
fn words(text: &str) -> Vec<String> {
    // Milli-pascal and mega-pascal differ by their first letter only.
    let mut plain = String::with_capacity(text.len() + 8);
    for letter in text.replace("mPa", "milli-pascal").chars() {
        match letter {
            'ä' | 'Ä' => plain.push_str("ae"),
            'ö' | 'Ö' => plain.push_str("oe"),
            'ü' | 'Ü' => plain.push_str("ue"),
            'ß' => plain.push_str("ss"),
            'µ' | 'μ' => plain.push('u'),
            '²' => plain.push('2'),
            '³' => plain.push('3'),
            '℃' => plain.push_str(" deg c "),
            '℉' => plain.push_str(" deg f "),
            '°' | 'º' => plain.push_str(" deg "),
            _ if letter.is_alphanumeric() => plain.extend(letter.to_lowercase()),
            _ => plain.push(' '),
        }
    }
    plain.split_whitespace().map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use Quantity::{Flow, Pressure, Temperature, Time};

    fn said(name: &str) -> (Option<Quantity>, Option<Unit>, Option<Against>) {
        let heading = read(name);
        let quantity = match heading.meaning {
            Some(Meaning::Quantity(quantity)) => Some(quantity),
            _ => None,
        };
        (quantity, heading.unit, heading.against)
    }

    #[test]
    fn names_of_our_own_and_of_loggers() {
        let gauge = Some(Against::Gauge);
        for (name, quantity, against) in [
            ("time_s", Time, None),
            ("pressure_bar_g", Pressure, gauge),
            ("pressure_bar_abs", Pressure, Some(Against::Absolute)),
            ("flow_l_min", Flow, None),
            ("temperature_deg_c", Temperature, None),
            ("Pressure [psi]", Pressure, None),
            ("p (bar g)", Pressure, gauge),
            ("P1 [bar(g)]", Pressure, gauge),
            ("Druck [bar]", Pressure, None),
            ("Überdruck [mbar]", Pressure, gauge),
            ("Absolutdruck in kPa", Pressure, Some(Against::Absolute)),
            ("Pressure (gauge), bar", Pressure, gauge),
            ("Druck bar (rel.)", Pressure, gauge),
            ("psig", Pressure, gauge),
            ("Durchfluss [l/h]", Flow, None),
            ("Volumenstrom / m³/h", Flow, None),
            ("Flow (US gpm)", Flow, None),
            ("Wassertemperatur [°C]", Temperature, None),
            ("T [°F]", Temperature, None),
            ("t [s]", Time, None),
            ("Zeit [ms]", Time, None),
            ("Inlet [bar g]", Pressure, gauge),
            ("flow temperature [degC]", Temperature, None),
            ("Elapsed time (min)", Time, None),
        ] {
            let (said_quantity, unit, said_against) = said(name);
            assert_eq!(said_quantity, Some(quantity), "{name}");
            assert_eq!(unit.map(|unit| unit.quantity), Some(quantity), "{name}");
            assert_eq!(said_against, against, "{name}");
        }
    }

    #[test]
    fn what_is_not_sure_is_not_said() {
        for name in [
            "Druckabfall [mbar/s]",
            "Pressure [°C]",
            "channel F",
            "dp [bar]",
            "Luftdruck [hPa]",
            "set pressure [bar g]",
        ] {
            assert_eq!(said(name).0, None, "{name}");
        }
        assert!(said("Pressure").1.is_none());
        assert!(said("Pressure [mPa]").1.is_none());
        assert_eq!(read("Date Time").meaning, Some(Meaning::Clock));
        assert_eq!(read("Datum").meaning, Some(Meaning::Date));
        assert_eq!(read("Uhrzeit").meaning, Some(Meaning::Clock));
    }
}
