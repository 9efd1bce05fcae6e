//! Rows of separated values from a stream, in a fixed amount of memory.

use std::io::{self, Read};

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Most bytes of one row, and most fields.
const ROW_BYTES: usize = 64 << 10;
const ROW_FIELDS: usize = 1024;
const CHUNK_BYTES: usize = 64 << 10;

/// What came next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A row.
    Row,
    /// A row that is longer than any row of samples; reading stops.
    TooLong,
    /// Nothing more.
    End,
}

/// A stream of rows.
pub struct Rows<R> {
    inner: R,
    core: Reader,
    chunk: Vec<u8>,
    start: usize,
    filled: usize,
    row: Vec<u8>,
    ends: Vec<usize>,
    fields: usize,
    line: u64,
}

impl<R: Read> Rows<R> {
    /// Rows of this stream; lines that start with `#` are left out.
    pub fn new(inner: R, separator: u8) -> Self {
        let core = ReaderBuilder::new().delimiter(separator).comment(Some(b'#')).build();
        let (chunk, row, ends) = (vec![0; CHUNK_BYTES], vec![0; ROW_BYTES], vec![0; ROW_FIELDS]);
        Self { inner, core, chunk, start: 0, filled: 0, row, ends, fields: 0, line: 0 }
    }

    /// Reads the next row.
    pub fn advance(&mut self) -> io::Result<Step> {
        let (mut row_end, mut fields) = (0, 0);
        let mut last_byte = b'\n';
        loop {
            if self.start == self.filled {
                self.filled = read_some(&mut self.inner, &mut self.chunk)?;
                self.start = 0;
            }
            let input = self.chunk.get(self.start..self.filled).unwrap_or_default();
            let row = self.row.get_mut(row_end..).unwrap_or_default();
            let ends = self.ends.get_mut(fields..).unwrap_or_default();
            let (result, taken, written, ended) = self.core.read_record(input, row, ends);
            last_byte = taken.checked_sub(1).and_then(|at| input.get(at)).copied().unwrap_or(last_byte);
            self.start += taken;
            row_end += written;
            fields += ended;
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {
                    self.line = self.core.line();
                    return Ok(Step::TooLong);
                }
                ReadRecordResult::Record => {
                    self.fields = fields;
                    // The core counts a line when it has passed its line feed, which a row's end may or may not have.
                    let passed = u64::from(last_byte == b'\n' && taken > 0);
                    self.line = self.core.line().saturating_sub(passed);
                    return Ok(Step::Row);
                }
                ReadRecordResult::End => return Ok(Step::End),
            }
        }
    }

    /// Number of fields of the row.
    pub fn len(&self) -> usize {
        self.fields
    }

    /// A field of the row; nothing beyond its end.
    pub fn field(&self, at: usize) -> Option<&[u8]> {
        if at >= self.fields {
            return None;
        }
        let start = at.checked_sub(1).and_then(|before| self.ends.get(before)).copied().unwrap_or_default();
        self.row.get(start..*self.ends.get(at)?)
    }

    /// The line on which the row ends, from 1.
    pub fn line(&self) -> u64 {
        self.line
    }
}

fn read_some(reader: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    loop {
        match reader.read(buffer) {
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<(u64, Vec<String>)> {
        let mut rows = Rows::new(text.as_bytes(), b';');
        let mut all = Vec::new();
        while rows.advance().unwrap() == Step::Row {
            let field = |at| String::from_utf8_lossy(rows.field(at).unwrap()).into_owned();
            all.push((rows.line(), (0..rows.len()).map(field).collect()));
        }
        all
    }

    #[test]
    fn lines_are_counted_with_either_ending() {
        for ending in ["\n", "\r\n"] {
            let text = ["a;b", "", "#c", "1;2", "3;4"].join(ending);
            let lines: Vec<u64> = rows(&text).iter().map(|(line, _)| *line).collect();
            assert_eq!(lines, [1, 4, 5], "{ending:?}");
        }
    }

    #[test]
    fn quotes_and_long_rows() {
        assert_eq!(rows("\"a;\"\"b\";c\n"), [(1, vec!["a;\"b".to_owned(), "c".to_owned()])]);
        let mut open_quote = Rows::new(io::repeat(b'x').take(1 << 20), b';');
        assert_eq!(open_quote.advance().unwrap(), Step::TooLong);
        let mut fields = Rows::new(io::repeat(b';').take(1 << 20), b';');
        assert_eq!(fields.advance().unwrap(), Step::TooLong);
    }
}
