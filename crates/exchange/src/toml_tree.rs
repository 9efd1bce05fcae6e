//! TOML text as a neutral tree of values, with the place of every value in the text.

use calc::form::Value;
use toml::de::{DeTable, DeValue};

use crate::fault::Place;

/// Something that is not TOML.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SyntaxFault {
    /// Where.
    pub place: Option<Place>,
    /// What the reader of the text stumbled over.
    pub problem: String,
}

/// A document's values and their places.
#[derive(Clone, Debug)]
pub struct Document {
    /// The values. Dates and times are texts in the form of RFC 3339; whole numbers are numbers.
    pub value: Value,
    root: Spot,
    lines: Lines,
    text: String,
}

/// Reads a document. What could be read is there even if something is wrong; it may then be incomplete.
#[must_use]
pub fn read(text: &str) -> (Document, Vec<SyntaxFault>) {
    let lines = Lines::new(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    let faults = errors
        .iter()
        .map(|error| SyntaxFault {
            place: error.span().map(|span| lines.place(text, span.start)),
            problem: error.message().to_owned(),
        })
        .collect();
    let offset = table.span().start;
    let (value, root) = convert(&DeValue::Table(table.into_inner()), offset);
    (Document { value, root, lines, text: text.to_owned() }, faults)
}

impl Document {
    /// Where a field stands; if it is not there, where the nearest field around it stands.
    #[must_use]
    pub fn place(&self, path: &str) -> Option<Place> {
        let mut spot = &self.root;
        let mut rest = path;
        while !rest.is_empty() {
            let Some((inner, after)) = spot.step(rest) else { break };
            (spot, rest) = (inner, after);
        }
        (!path.is_empty()).then(|| self.lines.place(&self.text, spot.offset))
    }

    /// How many lines the document has.
    #[must_use]
    pub fn line_count(&self) -> usize {
        self.lines.0.len()
    }
}

/// Where a value begins, in bytes, and where the values inside it do, in the same order.
#[derive(Clone, Debug)]
struct Spot {
    offset: usize,
    inside: Vec<(String, Spot)>,
}

impl Spot {
    /// The spot inside whose name begins the path, and the path after it. Names may hold dots.
    fn step<'a>(&self, path: &'a str) -> Option<(&Self, &'a str)> {
        self.inside.iter().find_map(|(name, spot)| {
            let rest = path.strip_prefix(name.as_str())?;
            if rest.is_empty() { Some((spot, rest)) } else { Some((spot, rest.strip_prefix('.')?)) }
        })
    }
}

fn convert(value: &DeValue<'_>, offset: usize) -> (Value, Spot) {
    let mut inside = Vec::new();
    let converted = match value {
        DeValue::String(string) => Value::Text(string.clone().into_owned()),
        DeValue::Integer(integer) => {
            Value::Number(whole(&integer.as_str().replace('_', ""), integer.radix()))
        }
        DeValue::Float(float) => Value::Number(float.as_str().replace('_', "").parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Text(date.to_string()),
        DeValue::Array(items) => {
            let mut list = Vec::with_capacity(items.len());
            for (at, item) in items.iter().enumerate() {
                let (value, spot) = convert(item.get_ref(), item.span().start);
                list.push(value);
                inside.push((at.to_string(), spot));
            }
            Value::List(list)
        }
        DeValue::Table(table) => {
            let mut fields = Vec::with_capacity(table.len());
            for (key, item) in table {
                let (value, mut spot) = convert(item.get_ref(), item.span().start);
                spot.offset = key.span().start;
                let name = key.get_ref().clone().into_owned();
                fields.push((name.clone(), value));
                inside.push((name, spot));
            }
            Value::Record(fields)
        }
    };
    (converted, Spot { offset, inside })
}

/// A whole number; one too large for 64 bits becomes the nearest floating-point number.
fn whole(digits: &str, radix: u32) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "fields hold numbers far below 2^53")]
    i64::from_str_radix(digits, radix)
        .map_or_else(|_| digits.parse().unwrap_or(f64::NAN), |number| number as f64)
}

/// Offsets at which lines begin.
#[derive(Clone, Debug)]
struct Lines(Vec<usize>);

impl Lines {
    fn new(text: &str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at + 1);
        Self(std::iter::once(0).chain(breaks).collect())
    }

    fn place(&self, text: &str, offset: usize) -> Place {
        let line = self.0.partition_point(|start| *start <= offset);
        let start = line.checked_sub(1).and_then(|at| self.0.get(at)).copied().unwrap_or_default();
        let column = text.get(start..offset).map_or(0, |before| before.chars().count());
        Place { line: line as u64, column: column as u64 + 1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "a = 1_000\n[m]\nx = 3.5\n\"y.z\" = 0x10\n[[r]]\nk = 1\n[[t]]\nz = 2024-01-02\n[[r]]\nk = 2\np = [{ u = 1 }, { \"ü\" = 2, w = true }]\n";

    fn at(document: &Document, path: &str) -> (u64, u64) {
        document.place(path).map(|place| (place.line, place.column)).unwrap()
    }

    #[test]
    fn values_and_their_places() {
        let (document, faults) = read(TEXT);
        assert!(faults.is_empty());
        let value = &document.value;
        assert_eq!(value.get("a"), Some(&Value::Number(1000.0)));
        assert_eq!(value.get("m").and_then(|m| m.get("y.z")), Some(&Value::Number(16.0)));
        assert_eq!(value.get("t").unwrap().items()[0].get("z"), Some(&Value::from("2024-01-02")));
        assert_eq!(at(&document, "m.x"), (3, 1));
        assert_eq!(at(&document, "m.y.z"), (4, 1));
        assert_eq!(at(&document, "r.1"), (9, 1));
        assert_eq!(at(&document, "r.1.p.1.w"), (11, 28));
        assert_eq!(at(&document, "r.1.missing"), (9, 1), "the table around a missing field");
        assert!(document.place("").is_none());
    }

    #[test]
    fn every_syntax_fault_is_reported_with_its_line() {
        let (_, faults) = read("a = \nb = 2 3\na = 4\n");
        let lines: Vec<u64> = faults.iter().filter_map(|fault| fault.place.map(|p| p.line)).collect();
        assert_eq!(lines, [1, 2, 3]);
    }

    #[test]
    fn deep_nesting_is_refused_not_followed() {
        for text in [format!("{}=1", ["a"; 20_000].join(".")), format!("x={}", "[".repeat(20_000))] {
            assert!(!read(&text).1.is_empty());
        }
    }
}
