//! What is done with arbitrary bytes: each parser may refuse them, but never panics, and what it accepts is sound.
//!
//! The fuzz targets call these functions, and so do the tests of `crates/exchange` on a stable compiler.

use std::collections::BTreeMap;

use calc::calculators;
use calc::quantity::AbsolutePressure;
use exchange::csv::{KEPT_SAMPLES, Quantity, Wanted, read_trace};
use exchange::load::{load_mould_from, load_rig_from, load_visit_from};
use exchange::mould_list;
use exchange::reference::load_cases;
use exchange::write::{Beside, mould_text, visit_files};
use exchange::{json, schema};

type Files = BTreeMap<String, Vec<u8>>;

fn files<const N: usize>(files: [(&str, &[u8]); N]) -> Files {
    files.map(|(name, bytes)| (name.to_owned(), bytes.to_vec())).into()
}

const MOULD: &[u8] = b"format = \"borewise-mould/1\"\n[mould]\nid = \"M\"\n[[circuit]]\nid = \"F2\"\n[[circuit]]\nid = \"F3\"\n";
const RIG: &[u8] = b"format = \"borewise-rig/1\"\n[rig]\nreference_volume_ml = 500\n";
const TRACE: &[u8] = b"time_s,pressure_bar_g,flow_l_min\n0,6,1\n1,5.9,1\n";

/// A mould file: refused with at least one fault, or read and then written and read again as the same.
pub fn mould_file(bytes: &[u8]) {
    match load_mould_from(&files([("m", bytes)]), "m") {
        Ok((mould, _)) => {
            let text = mould_text(&mould);
            let again = load_mould_from(&files([("m", text.as_bytes())]), "m");
            let again =
                again.unwrap_or_else(|faults| panic!("what was written is refused: {faults}\n{text}")).0;
            assert_eq!(again.circuits.len(), mould.circuits.len());
        }
        Err(faults) => assert!(!faults.0.is_empty()),
    }
    let _ = load_rig_from(&files([("r", bytes)]), "r");
}

/// A visit file beside a mould, a rig and a trace.
pub fn visit_file(bytes: &[u8]) {
    let around = files([("v.toml", bytes), ("m.toml", MOULD), ("r.toml", RIG), ("t.csv", TRACE)]);
    match load_visit_from(&around, "v.toml") {
        Ok(loaded) => {
            let written = visit_files(&loaded.visit, Beside { mould: "m.toml", rig: None });
            assert!(written.len() <= 1 + 100 * loaded.visit.entries.len());
        }
        Err(faults) => {
            assert!(!faults.0.is_empty());
            assert!(
                faults.0.iter().all(|fault| fault.problem != "the visit does not fit together"),
                "{faults}"
            );
        }
    }
}

/// A spreadsheet of moulds: refused with faults, or moulds that are written and read again as the same.
pub fn mould_list(bytes: &[u8]) {
    let list = mould_list::read("l", bytes, &mould_list::Wishes::default());
    assert!(list.moulds.is_empty() != list.faults.is_empty(), "moulds or faults: {:?}", list.faults);
    for mould in &list.moulds {
        let text = mould_text(mould);
        let again = load_mould_from(&files([("m", text.as_bytes())]), "m");
        let again =
            again.unwrap_or_else(|faults| panic!("what was understood is refused: {faults}\n{text}")).0;
        assert_eq!(again.circuits.len(), mould.circuits.len());
    }
}

/// A trace: what is accepted has rising times and columns of one length, within the bound.
pub fn trace(bytes: &[u8]) {
    let told = [("Druck".to_owned(), "pressure_psi_g".to_owned())].into();
    for (columns, needed) in [(BTreeMap::new(), Quantity::Pressure), (told, Quantity::Flow)] {
        let wanted = Wanted {
            usual_columns: BTreeMap::new(),
            columns,
            needed,
            atmosphere: AbsolutePressure::STANDARD_ATMOSPHERE,
        };
        match read_trace(bytes, &wanted) {
            Ok((trace, _)) => {
                assert!((2..=KEPT_SAMPLES).contains(&trace.len()) || trace.len() == 1);
                assert!(trace.time_s.windows(2).all(|pair| pair[0] < pair[1]));
                let columns = [&trace.pressure_bar_g, &trace.flow_l_min, &trace.temperature_deg_c];
                for column in columns.into_iter().flatten() {
                    assert_eq!(column.len(), trace.len());
                    assert!(column.iter().all(|value| !value.is_infinite()));
                }
            }
            Err(faults) => assert!(!faults.is_empty()),
        }
    }
}

/// JSON for every calculator.
pub fn json_input(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if json::read(text).is_err() {
        return;
    }
    for calculator in calculators::all() {
        let reply = json::reply(calculator, text);
        assert!(reply.document().is_object());
        assert!(schema::schema(calculator).is_object());
    }
}

/// A case file with files beside it.
pub fn case_file(bytes: &[u8]) {
    let around = files([("t/c.toml", bytes), ("t/i.json", b"{\"x\": 1}"), ("t/s.csv", b"x,y\n1,2\n")]);
    if let Err(faults) = load_cases(&around, &["t/c.toml".to_owned()]) {
        assert!(!faults.0.is_empty());
    }
}
