//! Bytes of a trace as ASCII-compatible text: UTF-16 is rewritten, byte-order marks and lone carriage returns go.

use std::io::{self, Cursor, Read};

/// How many bytes decide about the encoding.
const PROBE_BYTES: usize = 4096;

/// The text's bytes. UTF-8 and Latin-1 pass through; header names tell the two apart later.
pub fn open<'r>(mut reader: impl Read + 'r) -> io::Result<Box<dyn Read + 'r>> {
    let mut probe = Vec::with_capacity(PROBE_BYTES);
    reader.by_ref().take(PROBE_BYTES as u64).read_to_end(&mut probe)?;
    let (mark, wide) = match probe.as_slice() {
        [0xEF, 0xBB, 0xBF, ..] => (3, None),
        [0xFF, 0xFE, ..] => (2, Some(Order::Little)),
        [0xFE, 0xFF, ..] => (2, Some(Order::Big)),
        [0, first, 0, second, ..] if *first != 0 && *second != 0 => (0, Some(Order::Big)),
        [first, 0, second, 0, ..] if *first != 0 && *second != 0 => (0, Some(Order::Little)),
        _ => (0, None),
    };
    probe.drain(..mark);
    let lone_returns = wide.is_none() && probe.contains(&b'\r') && !probe.contains(&b'\n');
    let whole = Cursor::new(probe).chain(reader);
    Ok(match wide {
        Some(order) => Box::new(Wide { inner: whole, order, rest: Vec::new(), ready: Vec::new(), given: 0 }),
        None if lone_returns => Box::new(Returns(whole)),
        None => Box::new(whole),
    })
}

/// A header's text: UTF-8 if it is that, Latin-1 otherwise.
pub fn text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    }
}

/// Lines that end in a carriage return alone.
struct Returns<R>(R);

impl<R: Read> Read for Returns<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.0.read(buffer)?;
        for byte in buffer.iter_mut().take(count).filter(|byte| **byte == b'\r') {
            *byte = b'\n';
        }
        Ok(count)
    }
}

#[derive(Clone, Copy, Debug)]
enum Order {
    Little,
    Big,
}

/// UTF-16 read as UTF-8.
struct Wide<R> {
    inner: R,
    order: Order,
    /// Bytes read that do not make up a whole character yet.
    rest: Vec<u8>,
    /// UTF-8 ready to be given, and how much of it was.
    ready: Vec<u8>,
    given: usize,
}

impl<R: Read> Wide<R> {
    fn refill(&mut self) -> io::Result<()> {
        let mut chunk = [0_u8; 8192];
        let count = self.inner.read(&mut chunk)?;
        self.rest.extend_from_slice(chunk.get(..count).unwrap_or_default());
        let last = count == 0;
        let mut usable = self.rest.len() & !1;
        // The first half of a pair waits for its second half.
        if !last && usable >= 2 && self.unit(usable - 2).is_some_and(|unit| (0xD800..0xDC00).contains(&unit))
        {
            usable -= 2;
        }
        let units = (0..usable).step_by(2).filter_map(|at| self.unit(at));
        let text: String =
            char::decode_utf16(units).map(|letter| letter.unwrap_or(char::REPLACEMENT_CHARACTER)).collect();
        self.rest.drain(..usable);
        if last {
            self.rest.clear();
        }
        self.ready = text.into_bytes();
        self.given = 0;
        if self.ready.is_empty() && !last { self.refill() } else { Ok(()) }
    }

    fn unit(&self, at: usize) -> Option<u16> {
        let pair = [*self.rest.get(at)?, *self.rest.get(at + 1)?];
        Some(match self.order {
            Order::Little => u16::from_le_bytes(pair),
            Order::Big => u16::from_be_bytes(pair),
        })
    }
}

impl<R: Read> Read for Wide<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given == self.ready.len() {
            self.refill()?;
        }
        let ready = self.ready.get(self.given..).unwrap_or_default();
        let count = ready.len().min(buffer.len());
        if let (Some(to), Some(from)) = (buffer.get_mut(..count), ready.get(..count)) {
            to.copy_from_slice(from);
        }
        self.given += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(bytes: &[u8]) -> String {
        let mut read = Vec::new();
        open(bytes).unwrap().read_to_end(&mut read).unwrap();
        text(&read)
    }

    #[test]
    fn encodings() {
        let text = "t [s];Überdruck [bar] 𝄞\n0;1\n";
        let little: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(decoded(text.as_bytes()), text);
        assert_eq!(decoded(&[b"\xEF\xBB\xBF", text.as_bytes()].concat()), text);
        assert_eq!(decoded(&little), text);
        assert_eq!(decoded(&[b"\xFF\xFE", little.as_slice()].concat()), text);
        assert_eq!(decoded(&[b"\xFE\xFF", big.as_slice()].concat()), text);
        assert_eq!(decoded(b"T [\xB0C]"), "T [°C]");
        assert_eq!(decoded(b"a\rb\r"), "a\nb\n");
        let long = "0123456789,€\n".repeat(5000);
        let wide: Vec<u8> = long.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(decoded(&[b"\xFF\xFE", wide.as_slice()].concat()), long);
    }
}
