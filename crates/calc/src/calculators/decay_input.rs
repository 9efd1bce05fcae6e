//! A falling pressure as calculators take it: a trace, or two gauge readings.

use crate::air::leak_down::DecayData;
use crate::form::{Fault, Input};
use crate::quantity::{Duration, GaugePressure};
use crate::trace::Trace;

/// A trace of pressure, and of temperature where one was logged.
///
/// # Errors
/// Columns of other lengths than the times, and times that do not rise.
pub(super) fn read_trace(record: Input<'_>) -> Result<Trace, Vec<Fault>> {
    let trace = Trace {
        time_s: record.numbers("time_s"),
        pressure_bar_g: Some(record.numbers("pressure_bar_g")),
        temperature_deg_c: record.has("temperature_deg_c").then(|| record.numbers("temperature_deg_c")),
        ..Trace::default()
    };
    let mut faults = Vec::new();
    let columns = [
        ("trace.pressure_bar_g", &trace.pressure_bar_g),
        ("trace.temperature_deg_c", &trace.temperature_deg_c),
    ];
    for (name, column) in columns {
        if let Some(column) = column.as_ref().filter(|column| column.len() != trace.len()) {
            let problem = format!("{} samples, but {} times", column.len(), trace.len());
            faults.push(Fault::new(name, problem, "give one sample for each time; null where it is missing"));
        }
    }
    if let Some(at) = trace.time_s.windows(2).position(|pair| matches!(pair, [a, b] if b <= a)) {
        let problem = format!("time does not rise after sample {at}");
        faults.push(Fault::new("trace.time_s", problem, "give times that rise"));
    }
    if faults.is_empty() { Ok(trace) } else { Err(faults) }
}

/// The trace, or the two readings in its place.
///
/// # Errors
/// Both, neither, or half of the readings.
pub(super) fn decay<'a>(input: Input<'_>, trace: Option<&'a Trace>) -> Result<DecayData<'a>, Vec<Fault>> {
    let names = ["start_bar_g", "end_bar_g", "seconds"];
    let readings = names.map(|name| input.optional_number(name));
    match (trace, readings) {
        (Some(trace), [None, None, None]) => Ok(DecayData::Trace(trace)),
        (Some(_), _) => Err(vec![Fault::new(
            "trace",
            "given together with two readings",
            "give the trace or the two readings",
        )]),
        (None, [Some(start), Some(end), Some(seconds)]) => Ok(DecayData::TwoReadings {
            start: GaugePressure::from_bar(start),
            end: GaugePressure::from_bar(end),
            time: Duration::from_s(seconds),
        }),
        (None, [None, None, None]) => {
            Err(vec![Fault::new("trace", "missing", "give a trace, or start_bar_g, end_bar_g and seconds")])
        }
        (None, readings) => Err(names
            .iter()
            .zip(readings)
            .filter(|(_, reading)| reading.is_none())
            .map(|(name, _)| {
                Fault::new(*name, "missing", "two readings need start_bar_g, end_bar_g and seconds")
            })
            .collect()),
    }
}
