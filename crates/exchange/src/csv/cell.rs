//! One cell of a sample row: a number, nothing, or something that is refused.

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell {
    /// No sample.
    Missing,
    /// A number.
    Number(f64),
    /// Something else: what is wrong, and a hint.
    Wrong(&'static str, &'static str),
}

/// Reads numbers of one file, in which only one decimal mark is allowed.
#[derive(Clone, Debug)]
pub struct Numbers {
    /// The decimal mark, once one was seen.
    mark: Option<u8>,
    /// Whether a comma stands between fields, so that one inside a field was quoted.
    comma_between: bool,
}

const THOUSANDS: &str = "write numbers without separators between thousands: 1234.5";
const ONE_MARK: &str = "write all numbers of a file with the same decimal mark";

impl Numbers {
    /// Numbers of a file with this separator between fields.
    pub const fn new(separator: u8) -> Self {
        Self { mark: None, comma_between: separator == b',' }
    }

    /// Reads a cell.
    pub fn read(&mut self, cell: &[u8]) -> Cell {
        let cell = trim(cell);
        if is_missing(cell) {
            return Cell::Missing;
        }
        if !cell.iter().all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b',' | b'e' | b'E')) {
            let spaced = cell.iter().all(|byte| byte.is_ascii_digit() || b".,+-' \xA0\xC2".contains(byte));
            return if spaced && cell.iter().any(u8::is_ascii_digit) {
                Cell::Wrong("a separator between thousands", THOUSANDS)
            } else {
                Cell::Wrong(
                    "not a number",
                    "put # before lines that are no samples; leave missing samples empty",
                )
            };
        }
        match cell.iter().position(|byte| matches!(byte, b'.' | b',')) {
            None => number(cell),
            Some(at) => self.with_mark(cell, at),
        }
    }

    fn with_mark(&mut self, cell: &[u8], at: usize) -> Cell {
        let mark = cell.get(at).copied().unwrap_or(b'.');
        let (before, after) = (cell.get(..at).unwrap_or_default(), cell.get(at + 1..).unwrap_or_default());
        if after.iter().any(|byte| matches!(byte, b'.' | b',')) {
            return Cell::Wrong("a separator between thousands", THOUSANDS);
        }
        let unsigned = before.strip_prefix(b"-").or_else(|| before.strip_prefix(b"+")).unwrap_or(before);
        let group =
            after.len() == 3 && after.iter().all(u8::is_ascii_digit) && !matches!(unsigned, b"" | b"0");
        if self.mark.is_none() && mark == b',' && self.comma_between && group {
            return Cell::Wrong("a separator between thousands, or a decimal comma", THOUSANDS);
        }
        if *self.mark.get_or_insert(mark) != mark {
            return Cell::Wrong("another decimal mark than in the cells before", ONE_MARK);
        }
        if mark == b'.' {
            return number(cell);
        }
        let mut pointed = [0_u8; 64];
        let Some(copy) = pointed.get_mut(..cell.len()) else {
            return Cell::Wrong("a number with too many digits", "write at most 60 digits");
        };
        copy.copy_from_slice(cell);
        if let Some(comma) = copy.get_mut(at) {
            *comma = b'.';
        }
        number(copy)
    }
}

fn number(cell: &[u8]) -> Cell {
    let read = std::str::from_utf8(cell).ok().and_then(|text| text.parse::<f64>().ok());
    match read {
        Some(number) if number.is_finite() => Cell::Number(number),
        Some(_) => Cell::Wrong("a number too large", "is the unit right?"),
        None => Cell::Wrong("not a number", "write numbers like 12.5, or 12,5 in all cells"),
    }
}

/// A cell without blanks and non-breaking spaces around it.
pub fn trim(mut cell: &[u8]) -> &[u8] {
    loop {
        cell = cell.trim_ascii();
        let inner = [&b"\xC2\xA0"[..], b"\xA0"]
            .into_iter()
            .find_map(|blank| cell.strip_prefix(blank).or_else(|| cell.strip_suffix(blank)));
        match inner {
            Some(inner) => cell = inner,
            None => return cell,
        }
    }
}

/// Whether a logger means 'no sample' by this.
fn is_missing(cell: &[u8]) -> bool {
    const WORDS: [&[u8]; 12] = [
        b"nan",
        b"n/a",
        b"#n/a",
        b"na",
        b"null",
        b"none",
        b"nil",
        b"ol",
        b"over",
        b"overload",
        b"missing",
        b"-nan",
    ];
    let Some(first) = cell.first() else { return true };
    if first.is_ascii_digit() {
        return false;
    }
    cell.iter().all(|byte| matches!(byte, b'-' | b'*' | b'?' | b'.'))
        || WORDS.iter().any(|word| cell.eq_ignore_ascii_case(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(separator: u8, cells: &[&str]) -> Vec<Cell> {
        let mut numbers = Numbers::new(separator);
        cells.iter().map(|cell| numbers.read(cell.as_bytes())).collect()
    }

    #[test]
    fn numbers_and_gaps() {
        use Cell::{Missing, Number};
        let cells = read(b',', &["1.5", " -2e-3 ", "", "NaN", "---", "n/a", "+.5", "7", "\u{a0}3.0\u{a0}"]);
        let expected = [
            Number(1.5),
            Number(-0.002),
            Missing,
            Missing,
            Missing,
            Missing,
            Number(0.5),
            Number(7.0),
            Number(3.0),
        ];
        assert_eq!(cells, expected);
        assert_eq!(read(b';', &["6,012", "0,5", "12"]), [Number(6.012), Number(0.5), Number(12.0)]);
        assert_eq!(read(b',', &["0,123", "1,234"]), [Number(0.123), Number(1.234)]);
    }

    #[test]
    fn what_may_mean_two_things_is_refused() {
        for (separator, cells) in [
            (b';', &["1.234,5"][..]),
            (b';', &["1.234.567"]),
            (b',', &["1,234"]),
            (b';', &["1'234.5"]),
            (b';', &["1 234"]),
            (b';', &["0.5", "1,234"]),
            (b';', &["inf"]),
            (b';', &["1e999"]),
            (b';', &["12 bar"]),
            (b';', &["0x10"]),
        ] {
            let last = read(separator, cells).pop();
            assert!(matches!(last, Some(Cell::Wrong(..))), "{cells:?}: {last:?}");
        }
    }
}
