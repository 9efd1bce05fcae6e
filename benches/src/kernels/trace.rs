//! Reading a long trace: every row checked, neighbours averaged so that memory stays bounded.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;

use calc::quantity::AbsolutePressure;
use exchange::csv::{Quantity, Wanted, read_trace};

use super::{Fault, Measured};
use crate::timing::{Effort, time, time_once};

/// Name of the file of so many megabytes.
pub fn file(megabytes: u64) -> String {
    format!("trace-{megabytes}.csv")
}

/// Writes a trace of four columns and so many megabytes.
pub fn write(path: &Path, megabytes: u64) -> Result<(), Fault> {
    let mut file = BufWriter::new(File::create(path)?);
    let header = "time_s,pressure_bar_g,flow_l_min,temperature_deg_c\n";
    file.write_all(header.as_bytes())?;
    let mut written = header.len() as u64;
    let mut at = 0_u32;
    while written < megabytes * 1_000_000 {
        let (second, tenth) = (at / 10, at % 10);
        let (pressure, flow) = (6.0 - f64::from(at % 1000) / 1e4, 12.0 + f64::from(at % 700) / 1e3);
        let row =
            format!("{second}.{tenth},{pressure:.4},{flow:.3},{:.2}\n", 18.0 + f64::from(at % 90) / 1e2);
        file.write_all(row.as_bytes())?;
        written += row.len() as u64;
        at += 1;
    }
    Ok(file.flush()?)
}

/// Times reading it.
pub fn measure(path: &Path, effort: Effort) -> Result<Measured, Fault> {
    let wanted = Wanted {
        columns: BTreeMap::new(),
        usual_columns: BTreeMap::new(),
        needed: Quantity::Pressure,
        atmosphere: AbsolutePressure::STANDARD_ATMOSPHERE,
    };
    let bytes = std::fs::metadata(path)?.len();
    let read = || -> Result<_, Fault> {
        read_trace(File::open(path)?, &wanted).map_err(|faults| Fault::from(format!("{faults:?}")))
    };
    let (seconds, found) = if effort.batches > 1 { time(effort, read) } else { time_once(read) };
    let (trace, _) = found?;
    let kept = trace.len();
    let pressures = trace.pressure_bar_g.unwrap_or_default();
    #[expect(clippy::cast_precision_loss, reason = "at most some 65 thousand samples are kept")]
    let mean = pressures.iter().sum::<f64>() / kept as f64;
    Ok(Measured::new(seconds, mean).with("bytes", bytes).with("samples_kept", kept))
}
