//! Traces as bytes, version 1: every sample comes back bit for bit, in a tenth of the room of its text.
//!
//! Layout: `BWT1`; number of samples (u32, little-endian); one byte of flags (1 pressure, 2 flow, 4 temperature); then
//! the columns time, pressure, flow, temperature, as far as they are there. A column begins with its mode:
//! - 0 to 9: the samples are whole numbers over ten to that power. The whole numbers follow as differences from the
//!   one before (the first from 0), zigzag-coded (0, -1, 1, -2, ... as 0, 1, 2, 3, ...), seven bits a byte, low bits
//!   first, the top bit set in all bytes but the last.
//! - 64 more than that: some samples are missing; a bitmap of the missing ones comes first (bit 0 of byte 0 is the
//!   first sample), and only the others follow.
//! - 255: 64-bit floating-point numbers, little-endian: all lowest bytes, then all second bytes, ...

use calc::trace::Trace;

const MAGIC: &[u8; 4] = b"BWT1";
const MISSING: u8 = 64;
const FLOATS: u8 = 255;
const POWERS: [f64; 10] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];
/// Whole numbers beyond this are not all floating-point numbers.
const WHOLE: f64 = 9_007_199_254_740_992.0;

/// Why bytes are no packed trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("these bytes are no trace of this record")]
pub struct NoTrace;

/// A trace as bytes.
#[must_use]
pub fn pack(trace: &Trace) -> Vec<u8> {
    let columns = [&trace.pressure_bar_g, &trace.flow_l_min, &trace.temperature_deg_c];
    let mut bytes = MAGIC.to_vec();
    let count = u32::try_from(trace.time_s.len()).unwrap_or(u32::MAX);
    bytes.extend(count.to_le_bytes());
    bytes.push(columns.iter().enumerate().map(|(at, column)| u8::from(column.is_some()) << at).sum());
    pack_column(&trace.time_s, &mut bytes);
    columns.into_iter().flatten().for_each(|column| pack_column(column, &mut bytes));
    bytes
}

/// The trace of these bytes.
///
/// # Errors
/// [`NoTrace`] for anything that [`pack`] does not write.
pub fn unpack(bytes: &[u8]) -> Result<Trace, NoTrace> {
    let rest = bytes.strip_prefix(MAGIC).ok_or(NoTrace)?;
    let (count, rest) = rest.split_first_chunk::<4>().ok_or(NoTrace)?;
    let count = u32::from_le_bytes(*count) as usize;
    let (flags, mut rest) = rest.split_first().ok_or(NoTrace)?;
    // A sample takes at least a bit, so that a false count cannot ask for more memory than the bytes allow.
    if *flags > 7 || count > bytes.len().saturating_mul(8) {
        return Err(NoTrace);
    }
    let time_s = unpack_column(count, &mut rest)?;
    let mut column = |flag: u8| (flags & flag != 0).then(|| unpack_column(count, &mut rest)).transpose();
    let (pressure_bar_g, flow_l_min, temperature_deg_c) = (column(1)?, column(2)?, column(4)?);
    if rest.is_empty() {
        Ok(Trace { time_s, pressure_bar_g, flow_l_min, temperature_deg_c })
    } else {
        Err(NoTrace)
    }
}

fn pack_column(samples: &[f64], bytes: &mut Vec<u8>) {
    let Some((decimals, whole)) = as_whole(samples) else {
        bytes.push(FLOATS);
        let words: Vec<[u8; 8]> = samples.iter().map(|sample| sample.to_le_bytes()).collect();
        bytes.extend((0..8).flat_map(|plane| words.iter().filter_map(move |word| word.get(plane).copied())));
        return;
    };
    let missing = samples.iter().any(|sample| sample.is_nan());
    bytes.push(decimals + if missing { MISSING } else { 0 });
    if missing {
        bytes.extend(samples.chunks(8).map(|eight| {
            eight.iter().enumerate().map(|(at, sample)| u8::from(sample.is_nan()) << at).sum::<u8>()
        }));
    }
    let mut before = 0;
    for number in whole {
        put(number - before, bytes);
        before = number;
    }
}

/// The samples that are there as whole numbers over the smallest power of ten that holds them all exactly.
fn as_whole(samples: &[f64]) -> Option<(u8, Vec<i64>)> {
    (0..).zip(POWERS).find_map(|(decimals, power)| {
        let there = samples.iter().filter(|sample| !sample.is_nan());
        let whole = there.map(|sample| {
            let number = (sample * power).round();
            // A negative zero is no whole number of its own.
            let exact = number.abs() < WHOLE && ((number + 0.0) / power).to_bits() == sample.to_bits();
            #[expect(clippy::cast_possible_truncation, reason = "a whole number below 2^53")]
            exact.then_some(number as i64)
        });
        Some((decimals, whole.collect::<Option<Vec<i64>>>()?))
    })
}

fn put(difference: i64, bytes: &mut Vec<u8>) {
    let mut zigzag = ((difference << 1) ^ (difference >> 63)).cast_unsigned();
    while zigzag >= 0x80 {
        bytes.push(zigzag.to_le_bytes()[0] | 0x80);
        zigzag >>= 7;
    }
    bytes.push(zigzag.to_le_bytes()[0]);
}

fn take<'b>(count: usize, rest: &mut &'b [u8]) -> Result<&'b [u8], NoTrace> {
    let (taken, after) = rest.split_at_checked(count).ok_or(NoTrace)?;
    *rest = after;
    Ok(taken)
}

fn get(rest: &mut &[u8]) -> Result<i64, NoTrace> {
    let mut zigzag = 0_u64;
    for shift in (0..63).step_by(7) {
        let byte = take(1, rest)?.first().copied().unwrap_or_default();
        zigzag |= u64::from(byte & 0x7f) << shift;
        if byte < 0x80 {
            return Ok((zigzag >> 1).cast_signed() ^ -(zigzag & 1).cast_signed());
        }
    }
    Err(NoTrace)
}

fn unpack_column(count: usize, rest: &mut &[u8]) -> Result<Vec<f64>, NoTrace> {
    let mode = take(1, rest)?.first().copied().unwrap_or_default();
    if mode == FLOATS {
        let planes = take(count.checked_mul(8).ok_or(NoTrace)?, rest)?;
        let sample = |at: usize| {
            let byte = |plane: usize| planes.get(plane * count + at).copied().unwrap_or_default();
            f64::from_le_bytes(std::array::from_fn(byte))
        };
        return Ok((0..count).map(sample).collect());
    }
    let power = POWERS.get(usize::from(mode & !MISSING)).ok_or(NoTrace)?;
    let bitmap = if mode & MISSING == 0 { &[] } else { take(count.div_ceil(8), rest)? };
    let missing = |at: usize| bitmap.get(at / 8).is_some_and(|byte| byte >> (at % 8) & 1 == 1);
    let mut number = 0_i64;
    let mut samples = Vec::with_capacity(count);
    for at in 0..count {
        samples.push(if missing(at) {
            f64::NAN
        } else {
            number = number.checked_add(get(rest)?).ok_or(NoTrace)?;
            #[expect(clippy::cast_precision_loss, reason = "what was packed is below 2^53")]
            let whole = number as f64;
            whole / power
        });
    }
    Ok(samples)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bits(trace: &Trace) -> Vec<Option<Vec<u64>>> {
        // A missing sample is a missing sample, whatever its bits.
        let of = |column: &Vec<f64>| {
            column.iter().map(|sample| if sample.is_nan() { 1 } else { sample.to_bits() }).collect::<Vec<_>>()
        };
        let columns = [&trace.pressure_bar_g, &trace.flow_l_min, &trace.temperature_deg_c];
        std::iter::once(Some(of(&trace.time_s)))
            .chain(columns.map(|column| column.as_ref().map(of)))
            .collect()
    }

    fn sample() -> impl Strategy<Value = f64> {
        prop_oneof![
            8 => (-20_000..20_000_i32).prop_map(|steps| f64::from(steps) / 1000.0),
            1 => any::<f64>(),
            1 => Just(f64::NAN),
            1 => Just(-0.0),
        ]
    }

    proptest! {
        #[test]
        fn every_sample_comes_back(
            rows in prop::collection::vec((sample(), sample(), sample(), sample()), 0..60),
            there in any::<[bool; 3]>(),
        ) {
            let trace = Trace {
                time_s: rows.iter().map(|row| row.0).collect(),
                pressure_bar_g: there[0].then(|| rows.iter().map(|row| row.1).collect()),
                flow_l_min: there[1].then(|| rows.iter().map(|row| row.2).collect()),
                temperature_deg_c: there[2].then(|| rows.iter().map(|row| row.3).collect()),
            };
            prop_assert_eq!(bits(&unpack(&pack(&trace)).unwrap()), bits(&trace));
        }

        #[test]
        fn any_bytes_are_read_or_refused(mut bytes in prop::collection::vec(any::<u8>(), 0..80), magic: bool) {
            if magic {
                bytes.splice(0..0, MAGIC.iter().copied());
            }
            let _ = unpack(&bytes);
        }
    }

    #[test]
    fn a_logged_pressure_takes_little_room() {
        let time_s: Vec<f64> = (0..600).map(|at| f64::from(at) / 10.0).collect();
        let pressure =
            (0..600).map(|at| 6.0 - f64::from(at / 7) / 1000.0).map(|p| (p * 1000.0).round() / 1000.0);
        let trace = Trace { time_s, pressure_bar_g: Some(pressure.collect()), ..Trace::default() };
        assert!(pack(&trace).len() < 1230, "two bytes a sample: {}", pack(&trace).len());
    }

    #[test]
    fn a_cut_trace_is_refused() {
        let trace = Trace { time_s: vec![0.0, 0.1, 0.25], ..Trace::default() };
        let bytes = pack(&trace);
        for end in 0..bytes.len() {
            assert_eq!(unpack(&bytes[..end]), Err(NoTrace));
        }
        assert_eq!(unpack(&[bytes.as_slice(), &[0]].concat()), Err(NoTrace));
    }
}
