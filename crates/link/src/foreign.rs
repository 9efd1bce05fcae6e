//! A trace as somebody else's logger writes it.

use core::fmt::Write as _;

use calc::quantity::GaugePressure;
use calc::trace::Trace;

/// CSV text of a logger from elsewhere: byte-order mark, semicolons, decimal comma, clock times, psi, gpm and degF,
/// CR LF; units and 'gauge' stand in the header. A missing sample is an empty cell.
#[must_use]
pub fn foreign_csv(trace: &Trace, started: jiff::Timestamp) -> String {
    let columns = [
        ("Pressure [psi g]", &trace.pressure_bar_g, psi as fn(f64) -> f64, 3),
        ("Flow [gpm]", &trace.flow_l_min, gpm, 3),
        ("Temperature [degF]", &trace.temperature_deg_c, deg_f, 2),
    ];
    let mut text = String::from("\u{feff}Time");
    for (name, column, _, _) in &columns {
        if column.is_some() {
            text.push(';');
            text.push_str(name);
        }
    }
    text.push_str("\r\n");
    for (place, time_s) in trace.time_s.iter().enumerate() {
        text.push_str(&clock(started, *time_s));
        for (_, column, convert, digits) in &columns {
            if let Some(column) = column {
                text.push(';');
                if let Some(value) = column.get(place).filter(|value| value.is_finite()) {
                    // Writing to a string cannot fail.
                    let _ = write!(text, "{}", format!("{:.*}", digits, convert(*value)).replace('.', ","));
                }
            }
        }
        text.push_str("\r\n");
    }
    text
}

fn psi(bar: f64) -> f64 {
    GaugePressure::from_bar(bar).psi()
}

fn gpm(l_min: f64) -> f64 {
    calc::quantity::VolumeFlow::from_l_min(l_min).gpm_us()
}

fn deg_f(deg_c: f64) -> f64 {
    deg_c * 1.8 + 32.0
}

/// Time of day with milliseconds, decimal comma.
#[expect(clippy::cast_possible_truncation, reason = "a trace lasts hours, not ages")]
fn clock(started: jiff::Timestamp, time_s: f64) -> String {
    let at = started.as_millisecond().saturating_add((time_s * 1000.0).round() as i64).rem_euclid(86_400_000);
    let (hours, minutes) = (at / 3_600_000, at / 60_000 % 60);
    format!("{hours:02}:{minutes:02}:{:02},{:03}", at / 1000 % 60, at % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn writes_units_commas_and_clock_times() {
        let trace = Trace {
            time_s: vec![0.0, 0.1],
            pressure_bar_g: Some(vec![6.0, f64::NAN]),
            flow_l_min: None,
            temperature_deg_c: Some(vec![20.0, 21.5]),
        };
        let started = "2026-11-24T23:59:59.950Z".parse().unwrap();
        // 6 bar are 87.023 psi (NIST SP 811: 1 psi = 6894.757 Pa).
        let expected = "\u{feff}Time;Pressure [psi g];Temperature [degF]\r\n\
                        23:59:59,950;87,023;68,00\r\n00:00:00,050;;70,70\r\n";
        assert_eq!(foreign_csv(&trace, started), expected);
    }
}
