//! Clock times, with or without a date.

/// A moment as a logger writes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stamp {
    /// Days since 1970, if the date is there and can mean only one day.
    pub day: Option<i64>,
    /// Seconds since midnight; may lie outside the day where a time zone was taken off.
    pub seconds: f64,
}

/// Reads `HH:MM:SS`, with parts of seconds, with AM or PM, after a date of ISO 8601 or `DD.MM.YYYY`, with an offset.
///
/// A date written with slashes may put day or month first; it is left aside, and only the time of day counts.
pub fn read(cell: &str) -> Option<Stamp> {
    let cell = cell.trim();
    let first_colon = cell.find(':')?;
    let split = cell.get(..first_colon)?.rfind(['T', ' ', '\t']);
    let (date, time) = match split {
        Some(at) => (cell.get(..at)?.trim().trim_end_matches(','), cell.get(at + 1..)?),
        None => ("", cell),
    };
    let (day, dated) = if date.is_empty() { (None, false) } else { day(date)? };
    let (time, offset) = split_offset(time.trim());
    let (time, half_day) = split_half_day(time.trim());
    let mut seconds = time_of_day(time, dated)?;
    if let Some(afternoon) = half_day {
        // 12 AM is midnight and 12 PM is noon.
        if !(3600.0..46_800.0).contains(&seconds) {
            return None;
        }
        seconds = seconds % 43_200.0 + if afternoon { 43_200.0 } else { 0.0 };
    }
    Some(Stamp { day, seconds: seconds - offset })
}

/// Day number of a date, and whether the text is a date at all.
fn day(date: &str) -> Option<(Option<i64>, bool)> {
    let mark = date.chars().find(|c| !c.is_ascii_digit())?;
    if !matches!(mark, '-' | '.' | '/') {
        return None;
    }
    let mut parts = date.split(mark);
    let (first, middle, last) = (parts.next()?, parts.next()?, parts.next()?);
    let all_digits = [first, middle, last]
        .iter()
        .all(|part| (1..=4).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit()));
    if !all_digits || parts.next().is_some() {
        return None;
    }
    let (year, month, day) = match (first.len(), mark, last.len()) {
        (4, ..) => (first, middle, last),
        (_, '.', 4) => (last, middle, first),
        _ => return Some((None, true)),
    };
    let date = jiff::civil::Date::new(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?).ok()?;
    let days = (date - jiff::civil::date(1970, 1, 1)).get_days();
    Some((Some(i64::from(days)), true))
}

/// `H:MM:SS` with parts; `HH:MM` alone only beside a date, since it may also be minutes and seconds.
fn time_of_day(time: &str, dated: bool) -> Option<f64> {
    let mut parts = time.split(':');
    let (hours, minutes, rest) = (parts.next()?, parts.next()?, parts.next());
    if parts.next().is_some() {
        return None;
    }
    let seconds = match rest {
        Some(seconds) => fraction(seconds)?,
        None if dated => 0.0,
        None => return None,
    };
    let (hours, minutes) = (small(hours)?, small(minutes)?);
    // Beyond a day it is a time run, not a time of day.
    let inside = minutes < 60.0 && seconds < 61.0 && (!dated || hours < 25.0);
    inside.then_some(hours * 3600.0 + minutes * 60.0 + seconds)
}

fn small(digits: &str) -> Option<f64> {
    let plain = (1..=4).contains(&digits.len()) && digits.bytes().all(|byte| byte.is_ascii_digit());
    if plain { digits.parse().ok() } else { None }
}

/// Seconds with a point or a comma before the parts.
fn fraction(text: &str) -> Option<f64> {
    let (whole, parts) = text.split_once(['.', ',']).unwrap_or((text, ""));
    let whole = if whole.len() <= 2 { small(whole)? } else { return None };
    if parts.is_empty() {
        return Some(whole);
    }
    if parts.len() > 12 || !parts.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let numerator: f64 = parts.parse().ok()?;
    let power = (0..parts.len()).fold(1.0, |power, _| power * 10.0);
    Some(whole + numerator / power)
}

/// The time without its offset from UTC, and the offset in seconds.
fn split_offset(time: &str) -> (&str, f64) {
    if let Some(utc) = time.strip_suffix(['Z', 'z']) {
        return (utc, 0.0);
    }
    let Some(at) = time.rfind(['+', '-']) else { return (time, 0.0) };
    let (Some(before), Some(offset)) = (time.get(..at), time.get(at..)) else { return (time, 0.0) };
    let sign = if offset.starts_with('-') { -1.0 } else { 1.0 };
    let digits = offset.get(1..).unwrap_or_default();
    let (hours, minutes) = match digits.split_once(':') {
        Some(pair) => pair,
        None => (digits.get(..2).unwrap_or(digits), digits.get(2..).filter(|m| !m.is_empty()).unwrap_or("0")),
    };
    match (small(hours), small(minutes)) {
        (Some(hours), Some(minutes)) => (before, sign * (hours * 3600.0 + minutes * 60.0)),
        _ => (time, 0.0),
    }
}

/// The time without AM or PM, and whether it was PM.
fn split_half_day(time: &str) -> (&str, Option<bool>) {
    let end = time.len().checked_sub(2).and_then(|at| Some((time.get(..at)?, time.get(at..)?)));
    match end {
        Some((before, mark)) if mark.eq_ignore_ascii_case("am") => (before.trim_end(), Some(false)),
        Some((before, mark)) if mark.eq_ignore_ascii_case("pm") => (before.trim_end(), Some(true)),
        _ => (time, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(cell: &str) -> Option<f64> {
        read(cell).map(|stamp| stamp.day.unwrap_or_default() as f64 * 86_400.0 + stamp.seconds)
    }

    #[test]
    fn clock_times() {
        assert_eq!(seconds("08:40:00"), Some(31_200.0));
        assert_eq!(seconds("8:40:00,25"), Some(31_200.25));
        assert_eq!(seconds("12:00:01 AM"), Some(1.0));
        assert_eq!(seconds("12:30:00 pm"), Some(45_000.0));
        // 2026-11-24T08:40:00Z is 1795509600 s after 1970 (Unix time, from the calendar library's own count).
        let unix = "2026-11-24T08:40:00Z".parse::<jiff::Timestamp>().unwrap().as_second() as f64;
        for same in [
            "2026-11-24T08:40:00Z",
            "2026-11-24 09:40:00+01:00",
            "2026-11-24T09:40:00+0100",
            "24.11.2026 08:40:00",
            "24.11.2026, 08:40",
            "2026/11/24 08:40:00.000",
        ] {
            assert_eq!(seconds(same), Some(unix), "{same}");
        }
        assert_eq!(read("11/24/2026 08:40:00").unwrap(), Stamp { day: None, seconds: 31_200.0 });
    }

    #[test]
    fn what_is_no_clock_time() {
        for cell in [
            "",
            "08:40",
            "12.5",
            "8:61:00",
            "2026-02-30 08:00:00",
            "a:b:c",
            "08:40:00:00",
            "1:2:3:",
            "13:00:00 PM",
        ] {
            assert!(read(cell).is_none(), "{cell}");
        }
    }
}
