//! Measures how fast a trace is read, and how much memory that takes.
//!
//! `cargo run --release -p exchange --example trace_speed -- make BIG.csv 200` writes a trace of so many MB;
//! `cargo run --release -p exchange --example trace_speed -- read BIG.csv` reads it.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::time::Instant;

use calc::quantity::AbsolutePressure;
use exchange::csv::{Quantity, Wanted, read_trace};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["make", path, megabytes] => make(path, megabytes.parse::<u64>()? * 1_000_000),
        ["read", path] => read(path),
        _ => Err("make PATH MEGABYTES, or read PATH".into()),
    }
}

fn make(path: &str, bytes: u64) -> Result<(), Box<dyn std::error::Error>> {
    let mut file = BufWriter::new(File::create(path)?);
    let mut written = file.write(b"time_s,pressure_bar_g,flow_l_min,temperature_deg_c\n")? as u64;
    let mut at = 0_u32;
    while written < bytes {
        let (second, tenth) = (at / 10, at % 10);
        let row =
            format!("{second}.{tenth},{:.4},{:.3},{:.2}\n", 6.0 - f64::from(at % 1000) / 1e4, 12.345, 18.5);
        file.write_all(row.as_bytes())?;
        written += row.len() as u64;
        at += 1;
    }
    Ok(file.flush()?)
}

fn read(path: &str) -> Result<(), Box<dyn std::error::Error>> {
    let bytes = std::fs::metadata(path)?.len();
    let wanted = Wanted {
        columns: BTreeMap::new(),
        usual_columns: BTreeMap::new(),
        needed: Quantity::Pressure,
        atmosphere: AbsolutePressure::STANDARD_ATMOSPHERE,
    };
    let start = Instant::now();
    let (trace, remarks) = read_trace(File::open(path)?, &wanted).map_err(|faults| format!("{faults:#?}"))?;
    let seconds = start.elapsed().as_secs_f64();
    #[expect(clippy::cast_precision_loss, reason = "a file is far below 2^52 bytes")]
    let speed = bytes as f64 / 1e6 / seconds;
    println!("{bytes} bytes, {} samples kept, {seconds:.2} s, {speed:.0} MB/s", trace.len());
    remarks.iter().for_each(|remark| println!("{}", remark.text));
    // Linux only: the largest resident size of this process.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        status.lines().filter(|line| line.starts_with("VmHWM")).for_each(|line| println!("{line}"));
    }
    Ok(())
}
