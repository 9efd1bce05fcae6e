//! Traces as loggers write them. The files are our own; what they stand for is common practice, no source.

use std::collections::BTreeMap;

use calc::quantity::AbsolutePressure;
use calc::trace::Trace;
use exchange::csv::{Quantity, Remark, TraceFault, Wanted, read_trace};

fn wanted(needed: Quantity, columns: &[(&str, &str)]) -> Wanted {
    let columns = columns.iter().map(|(name, role)| ((*name).to_owned(), (*role).to_owned()));
    Wanted {
        columns: columns.collect(),
        usual_columns: BTreeMap::new(),
        needed,
        atmosphere: AbsolutePressure::from_bar(1.0),
    }
}

fn read(bytes: &[u8]) -> Result<(Trace, Vec<Remark>), Vec<TraceFault>> {
    read_trace(bytes, &wanted(Quantity::Pressure, &[]))
}

fn pressures(text: &str) -> (Vec<f64>, Vec<f64>) {
    let (trace, _) = read(text.as_bytes()).unwrap_or_else(|faults| panic!("{text}\n{faults:#?}"));
    (trace.time_s, trace.pressure_bar_g.expect("a pressure"))
}

fn near(numbers: &[f64], expected: &[f64]) {
    assert_eq!(numbers.len(), expected.len(), "{numbers:?}");
    for (number, expected) in numbers.iter().zip(expected) {
        assert!((number - expected).abs() < 1e-9, "{numbers:?} instead of {expected:?}");
    }
}

fn codes(remarks: &[Remark]) -> BTreeMap<&'static str, Option<u64>> {
    remarks.iter().map(|remark| (remark.code, remark.line)).collect()
}

#[test]
fn one_reading_in_many_writings() {
    let writings = [
        "time_s,pressure_bar_g\n0,6.0\n0.5,5.99\n1,5.98\n",
        "\u{feff}Zeit [s];Überdruck [bar]\r\n0,0;6,00\r\n0,5;5,99\r\n1,0;5,98\r\n",
        "Time (ms)\tp (mbar g)\n0\t6000\n500\t5990\n1000\t5980\n",
        "sep=;\nUhrzeit;Druck [bar(g)]\n23:59:59,5;6,0\n00:00:00,0;5,99\n00:00:00,5;5,98\n",
        "Logger 7\nSerial;1234\n\nTimestamp;Pressure [kPa abs];Remark\n2026-11-24T08:40:00.0Z;700;a\n\
         2026-11-24T08:40:00.5Z;699;\n2026-11-24T08:40:01.0Z;698;\n",
        "# comment\nTime,Pressure\n[s],[bar g]\n0,6\n.5,5.99\n1,5.98\n",
        "\"Time [min]\",\"Pressure, inlet [MPa gauge]\"\n0,\"0,6\"\n\"0,00833333333333333\",\"0,599\"\n\"0,0166666666666667\",\"0,598\"\n",
        "Date;Time;p1 [bar g];Comment\n24.11.2026;08:40:00.0;6.0;\n24.11.2026;08:40:00.5;5.99;x\n24.11.2026;08:40:01.0;5.98;\n",
    ];
    for text in writings {
        let (time, pressure) = pressures(text);
        near(&time, &[0.0, 0.5, 1.0]);
        near(&pressure, &[6.0, 5.99, 5.98]);
    }
}

#[test]
fn psi_and_fahrenheit_and_gallons() {
    // NIST SP 811, appendix B: 87 psi is 5.998439 bar; 68 degF is 20 degC; 2 gpm is 7.570824 l/min.
    let text = "Time [s],Pressure [psig],Temp [°F],Flow [gpm]\n0,87,68,2\n1,86,68,2\n";
    let (trace, remarks) = read(text.as_bytes()).expect("readable");
    assert!((trace.pressure_bar_g.expect("p")[0] - 5.998_439).abs() < 1e-5);
    near(&trace.temperature_deg_c.expect("t"), &[20.0, 20.0]);
    near(&trace.flow_l_min.expect("q"), &[7.570_823_568, 7.570_823_568]);
    assert!(remarks.is_empty());
}

#[test]
fn latin_1_and_utf_16() {
    let text = "Zeit [s];Überdruck [bar];Temperatur [°C]\n0;6,0;20\n1;5,9;21\n";
    let latin: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).expect("Latin-1")).collect();
    let wide: Vec<u8> = [0xFEFF].into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    for bytes in [latin, wide, text.as_bytes().to_vec()] {
        let (trace, _) = read(&bytes).expect("readable");
        near(&trace.pressure_bar_g.expect("p"), &[6.0, 5.9]);
        near(&trace.temperature_deg_c.expect("t"), &[20.0, 21.0]);
    }
}

#[test]
fn what_a_file_does_not_say_is_refused_with_a_hint() {
    for (text, column, problem) in [
        ("time_s,Pressure [bar]\n0,6\n1,5\n", "Pressure [bar]", "gauge or absolute"),
        ("time_s,Druck [psi]\n0,6\n1,5\n", "Druck [psi]", "gauge or absolute"),
        ("time_s,pressure\n0,6\n1,5\n", "pressure", "no unit"),
        ("Time,pressure_bar_g\n0,6\n1,5\n", "Time", "no unit"),
        ("time_s,p1 [bar g],p2 [bar g]\n0,6,6\n1,5,5\n", "p2 [bar g]", "two columns"),
        ("time_s,flow_l_min\n0,6\n1,5\n", "", "no pressure column"),
        ("0,6\n1,5\n", "", "without a header"),
        ("", "", "no row that names"),
        ("time_s,pressure_bar_g\n", "", "0 samples"),
        ("time_s,pressure_bar_g\n0,\n1,---\n", "pressure_bar_g", "no value"),
        ("time_s,pressure_bar_g\n0,6\n1,\"5,900\"\n", "pressure_bar_g", "thousands"),
        ("time_s;pressure_bar_g\n0;6\n1;1.005,9\n", "pressure_bar_g", "thousands"),
        ("time_s,pressure_bar_g\n0,6\n1,bad\n", "pressure_bar_g", "not a number"),
        ("time_s,pressure_bar_g\n0,6\n1,6e9\n", "pressure_bar_g", "no rig gives"),
        ("Zeit [s],Überdruck [bar]\n0,0,6,0\n1,0,5,9\n", "", "4 fields"),
        ("Time,pressure_bar_g\n08:40,6\n08:41,5\n", "Time", "not a clock time"),
        ("time_s,pressure_bar_g\n0,6\n1,\"5.9\n2,5.8\n", "pressure_bar_g", "not a number"),
    ] {
        let faults = read(text.as_bytes()).expect_err(text);
        let first = &faults[0].fault;
        assert_eq!(first.field, column, "{text}");
        assert!(first.problem.contains(problem), "{text}: {}", first.problem);
        assert!(!first.hint.is_empty(), "{text}");
    }
}

#[test]
fn every_faulty_line_is_named_up_to_a_bound() {
    let faults = read(b"time_s,pressure_bar_g\n0,6\nx,5\n2,y\n3,4\n4,z\n").expect_err("faulty");
    assert_eq!(faults.iter().map(|fault| fault.line).collect::<Vec<_>>(), [Some(3), Some(4), Some(6)]);
    let bad = format!("time_s,pressure_bar_g\n{}", "0,x\n".repeat(1000));
    assert_eq!(read(bad.as_bytes()).expect_err("faulty").len(), 21);
}

#[test]
fn the_visit_file_tells_what_columns_hold() {
    let text = "Zeit;Druck;Kanal 2\n0;87;1\n1;86;2\n";
    let told = [("Zeit", "time_s"), ("Druck", "pressure_psi_g"), ("Kanal 2", "ignore")];
    let (trace, remarks) = read_trace(text.as_bytes(), &wanted(Quantity::Pressure, &told)).expect("told");
    assert!((trace.pressure_bar_g.expect("p")[0] - 5.998_439).abs() < 1e-5);
    assert!(remarks.is_empty());
    for (name, role, problem) in [
        ("Durck", "pressure_bar_g", "no such column"),
        ("Druck", "pressure_bar", "gauge or absolute"),
        ("Druck", "something", "does not say"),
    ] {
        let told = [("Zeit", "time_s"), (name, role)];
        let faults = read_trace(text.as_bytes(), &wanted(Quantity::Pressure, &told)).expect_err(role);
        assert_eq!(faults[0].fault.field, format!("columns.{name}"));
        assert!(faults[0].fault.problem.contains(problem));
    }
    // Two pressure columns: what is told goes before what is guessed.
    let text = "time_s,p1 [bar g],p2 [bar g]\n0,6,1\n1,5,2\n";
    let (trace, _) =
        read_trace(text.as_bytes(), &wanted(Quantity::Pressure, &[("p2 [bar g]", "pressure_bar_g")]))
            .expect("told");
    near(&trace.pressure_bar_g.expect("p"), &[1.0, 2.0]);
}

#[test]
fn gaps_and_doubtful_times_are_reported() {
    let text = "time_s,pressure_bar_g,flow_l_min\n0,6,\n1,5.9,2\n1,5.7,4\n,5.5,1\n0.5,9,9\n2,,3\n3,5.4,NaN\n";
    let (trace, remarks) = read(text.as_bytes()).expect("readable");
    near(&trace.time_s, &[0.0, 1.0, 2.0, 3.0]);
    let pressure = trace.pressure_bar_g.expect("p");
    near(&[pressure[0], pressure[1], pressure[3]], &[6.0, 5.8, 5.4]);
    assert!(pressure[2].is_nan());
    let codes = codes(&remarks);
    assert_eq!(codes.get("same-time"), Some(&Some(4)));
    assert_eq!(codes.get("no-time"), Some(&Some(5)));
    assert_eq!(codes.get("time-back"), Some(&Some(6)));
    assert_eq!(codes.get("missing-samples"), Some(&None));
}

#[test]
fn a_clock_that_was_set_back_is_refused() {
    let rows = |from: u32, to: u32| (from..to).map(|s| format!("{s},6\n")).collect::<String>();
    let text = format!("time_s,pressure_bar_g\n{}{}", rows(0, 100), rows(40, 120));
    let faults = read(text.as_bytes()).expect_err("set back");
    assert_eq!(faults[0].line, Some(102));
    assert!(faults[0].fault.problem.contains("steps back"));
}

#[test]
fn a_column_that_is_not_needed_does_not_spoil_a_trace() {
    let (trace, remarks) = read(b"time_s,pressure_bar_g,Temp\n0,6,20\n1,5,20\n").expect("readable");
    assert!(trace.temperature_deg_c.is_none());
    assert!(remarks.iter().any(|remark| remark.code == "column-left-out" && remark.text.contains("Temp")));
}

#[test]
fn a_long_trace_is_averaged_and_says_so() {
    use std::fmt::Write as _;
    let mut text = String::from("time_s,pressure_bar_g\n");
    for at in 0..200_000_u32 {
        let _ = writeln!(text, "{}.{},{}", at / 10, at % 10, if at % 2 == 0 { "6.0" } else { "5.0" });
    }
    let (trace, remarks) = read(text.as_bytes()).expect("readable");
    assert_eq!(trace.len(), 50_000);
    near(&trace.pressure_bar_g.expect("p")[..2], &[5.5, 5.5]);
    near(&trace.time_s[..2], &[0.15, 0.55]);
    assert!(remarks.iter().any(|remark| remark.code == "samples-averaged" && remark.text.contains("each 4")));
}
