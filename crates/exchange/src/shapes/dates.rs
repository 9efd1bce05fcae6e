//! Dates and times as files write them.

use calc::form::Fault;
use jiff::Timestamp;
use jiff::civil::Date;

/// Years that a record of a mould can sensibly carry.
const YEARS: core::ops::RangeInclusive<i16> = 1950..=2200;

/// A calendar date, `YYYY-MM-DD`.
///
/// # Errors
/// A fault without a field if there is no such day.
pub fn date(text: &str) -> Result<Date, Fault> {
    let wrong = |problem: &str| {
        Fault::new("", problem, "give a day that exists as YYYY-MM-DD, such as 2026-11-24").with_value(text)
    };
    // The calendar library also reads longer forms; a date field holds a date.
    if text.len() != 10 {
        return Err(wrong("not a date"));
    }
    let date: Date = text.parse().map_err(|_| wrong("not a date, or no such day"))?;
    if YEARS.contains(&date.year()) { Ok(date) } else { Err(wrong("a year that cannot be meant")) }
}

/// A moment, RFC 3339 with `Z` or an offset from it.
///
/// # Errors
/// A fault without a field if there is no such moment, or if its time zone is missing.
pub fn timestamp(text: &str) -> Result<Timestamp, Fault> {
    let hint = "give date, time and offset, such as 2026-11-24T08:40:00Z or 2026-11-24T09:40:00+01:00";
    let wrong = |problem: &str| Fault::new("", problem, hint).with_value(text);
    let moment: Timestamp = text.parse().map_err(|_| {
        let local = text.parse::<jiff::civil::DateTime>().is_ok();
        wrong(if local { "which time zone is not said" } else { "not a date and time, or no such moment" })
    })?;
    let year = jiff::tz::Offset::UTC.to_datetime(moment).year();
    if YEARS.contains(&year) { Ok(moment) } else { Err(wrong("a year that cannot be meant")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_days_that_exist() {
        assert!(date("2024-02-29").is_ok());
        for wrong in ["2023-02-29", "2026-13-01", "24.11.2026", "0001-01-01", "2026-11-24T08:00:00", ""] {
            assert!(date(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_moment_needs_its_offset() {
        let utc = timestamp("2026-11-24T08:40:00Z").unwrap();
        assert_eq!(utc, timestamp("2026-11-24T09:40:00+01:00").unwrap());
        assert_eq!(timestamp("2026-11-24T08:40:00").unwrap_err().problem, "which time zone is not said");
        assert!(timestamp("2026-11-24").is_err());
        assert!(timestamp("yesterday").is_err());
    }
}
