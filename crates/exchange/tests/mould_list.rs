//! Spreadsheets of moulds: what is understood of them, and every bad cell by its place.
//!
//! The workbooks were written by openpyxl (`mould_list/generate.py`).

#![allow(clippy::unwrap_used)]

use calc::quantity::Length;
use exchange::mould_list::{Choice, MouldList, Target, Wishes, read};

const PLANT: &[u8] = include_bytes!("mould_list/plant.xlsx");
const FAULTY: &[u8] = include_bytes!("mould_list/faulty.xlsx");

fn list(text: &str) -> MouldList {
    read("list.csv", text.as_bytes(), &Wishes::default())
}

fn choices(texts: &[&str]) -> Wishes {
    Wishes { choices: texts.iter().map(|text| Choice::parse(text).unwrap()).collect(), sheet: None }
}

/// Field, problem of each fault.
fn faults(list: &MouldList) -> Vec<String> {
    list.faults.iter().map(ToString::to_string).collect()
}

#[test]
fn a_workbook_of_a_plant_is_understood() {
    let list = read("plant.xlsx", PLANT, &Wishes::default());
    assert_eq!(faults(&list), [""; 0]);
    assert_eq!((list.sheet.as_deref(), list.header_row), (Some("Moulds"), Some(4)));
    let used: Vec<(&str, Option<&str>, Option<&str>)> = list
        .columns
        .iter()
        .map(|column| (column.letters.as_str(), column.target.map(Target::word), column.unit))
        .collect();
    assert_eq!(used[0], ("B", Some("mould"), None));
    assert_eq!(used[7], ("I", Some("bore_mm"), Some("mm")));
    assert_eq!(used[8], ("J", Some("length_mm"), Some("m")));
    assert_eq!(used[9], ("K", Some("baseline_flow_factor_m3_h"), Some("m3/h")));
    assert_eq!(used[11], ("M", None, None), "remarks are not used");
    assert_eq!(list.notices.len(), 1, "rows below the merged cell belong to the mould above");
    let ids: Vec<&str> = list.moulds.iter().map(|mould| mould.id.0.as_str()).collect();
    assert_eq!(ids, ["301", "302-A"]);
    let [clip, vent] = list.moulds.as_slice() else { panic!("two moulds") };
    assert_eq!(clip.name, "Edging clip");
    let halves: Vec<&str> = clip.circuits.iter().map(|circuit| circuit.half.as_str()).collect();
    assert_eq!(halves, ["fixed", "fixed", "moving"]);
    let [f1, f2, m1] = clip.circuits.as_slice() else { panic!("three circuits") };
    assert_eq!(f1.metals, ["1.2311"]);
    assert_eq!(f2.metals, ["1.2340"], "a steel number that the workbook took for a number");
    assert_eq!(m1.metals, ["1.2343", "CuBe"]);
    assert_eq!(f1.rough_length, Some(Length::from_mm(1250.0)));
    assert_eq!(m1.rough_bore, Some(Length::from_mm(10.5)));
    // A quarter-inch line is drilled to about 11 mm, not 6.35 mm.
    assert!((11.0..12.5).contains(&f2.rough_bore.unwrap().mm()), "{:?}", f2.rough_bore);
    let baseline = f1.baseline.as_ref().unwrap();
    assert_eq!((baseline.flow_factor_m3_h.value, baseline.date.as_deref()), (0.71, Some("2025-11-03")));
    assert_eq!(vent.circuits[0].half, "slide left");
}

#[test]
fn every_bad_cell_is_named_at_once() {
    let list = read("faulty.xlsx", FAULTY, &Wishes::default());
    assert!(list.moulds.is_empty());
    let found = faults(&list).join("\n");
    for part in [
        "line 2, column 3: C2 bore = \"10\": a number without a unit; put the unit into the header: mm",
        "D2 length mm = \"long\": not a number",
        "E2 date = \"03/04/2025\": day and month cannot be told apart",
        "B3 circuit = \"a\": another circuit has this id",
        "F3 Kv = -1",
        "B4 circuit: no circuit is given",
        "C5 bore = \"1,234\": a comma that may stand for decimals or for thousands; write 1.234 or 1234",
        "D5 length mm = -5",
        "E5 date = \"yesterday\": not a date",
        "F5 Kv = \"#DIV/0!\"",
    ] {
        assert!(found.contains(part), "{part}\n--\n{found}");
    }
    assert_eq!(list.faults.len(), 10, "{found}");
    assert_eq!(list.columns.len(), 6, "what was understood is shown all the same");
}

#[test]
fn german_text_with_decimal_commas() {
    let text = "sep=;\nWerkzeug-Nr.;Bezeichnung;Kühlkreis;Werkzeughälfte;Werkstoff;Bohrung in mm;Länge (cm);Kv-Wert;Messdatum\n\
        W 12;Gießkanne;K1;Düsenseite;1.2311;10,5;42;0,713;03.11.2025\n\
        W 12;;K2;Auswerferseite;1.2311;8;12,25;;\n";
    let latin: Vec<u8> = text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
    for bytes in [text.as_bytes(), &latin, &[b"\xEF\xBB\xBF", text.as_bytes()].concat()] {
        let list = read("liste.csv", bytes, &Wishes::default());
        assert_eq!(faults(&list), [""; 0]);
        let mould = &list.moulds[0];
        assert_eq!((mould.name.as_str(), mould.circuits.len()), ("Gießkanne", 2));
        assert_eq!(mould.circuits[0].half, "fixed");
        assert_eq!(mould.circuits[0].rough_bore, Some(Length::from_mm(10.5)));
        assert_eq!(mould.circuits[1].rough_length, Some(Length::from_mm(122.5)));
        let baseline = mould.circuits[0].baseline.as_ref().unwrap();
        assert_eq!((baseline.flow_factor_m3_h.value, baseline.date.as_deref()), (0.713, Some("2025-11-03")));
    }
}

#[test]
fn a_column_may_be_told() {
    let text = "tool,position,Ø Kanal,water\nT1,a,10,yes\n";
    let refused = list(text);
    assert_eq!(refused.faults.len(), 1);
    assert!(faults(&refused)[0].contains("tool | position | Ø Kanal | water"), "{:?}", refused.faults);
    let told = read("list.csv", text.as_bytes(), &choices(&["position=circuit", "c=bore_mm"]));
    assert_eq!(faults(&told), [""; 0]);
    assert_eq!(told.moulds[0].circuits[0].rough_bore, Some(Length::from_mm(10.0)));
    let missing = read("list.csv", text.as_bytes(), &choices(&["position=circuit", "depth=bore_mm"]));
    assert!(faults(&missing)[0].contains("no column has the header \"depth\""));
    assert!(Choice::parse("x=depth").unwrap_err().contains("bore_mm"));
    assert!(Choice::parse("x").is_err());
}

#[test]
fn two_columns_for_one_thing_are_refused_until_told() {
    let text = "mould;tool;circuit\nM;T;c\n";
    assert!(
        faults(&list(text))[0]
            .contains("columns A (mould) and B (tool) both seem to be mould; say which is not: --column B=")
    );
    let told = read("list.csv", text.as_bytes(), &choices(&["B="]));
    assert_eq!(told.moulds[0].id.0, "M");
}

#[test]
fn rows_of_one_mould_must_agree() {
    let list = list("mould;name;circuit\nM;lid;a\nM;tray;b\n;;c\n");
    assert!(
        faults(&list)[0].contains("line 3, column 2: B3 name = \"tray\": row 2 says otherwise"),
        "{:?}",
        list.faults
    );
}

#[test]
fn units_in_cells_count() {
    let list = list("mould;circuit;bore;length\nM;a;10 mm;1,2 m\nM;b;3/8;2 ft\nM;c;NPT 1/4;0.5 in\n");
    let found = faults(&list).join("\n");
    assert!(found.contains("C3 bore = \"3/8\": not a number"), "{found}");
    assert!(
        found.contains("D3 length = \"2 ft\": a unit that is not known here; one of: mm, cm, m, in"),
        "{found}"
    );
    assert_eq!(list.faults.len(), 2, "{found}");
}

#[test]
fn what_is_no_list_is_refused_in_words() {
    for bytes in
        [&b""[..], b"\n\n", b"PK\x03\x04 no zip", b"\xD0\xCF\x11\xE0 no book", b"a\0b", b"x,y\n1,2\n"]
    {
        let list = read("list.xlsx", bytes, &Wishes::default());
        assert!(list.moulds.is_empty() && list.faults.len() == 1, "{bytes:?}: {:?}", list.faults);
    }
    let sheet = Wishes { sheet: Some("none".to_owned()), ..Wishes::default() };
    assert!(faults(&read("plant.xlsx", PLANT, &sheet))[0].contains("one of: Read me, Moulds"));
}

proptest::proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "(mould|tool|circuit|bore \\(mm\\)|[ -~äö]{0,6}|[,;\t\n]|[0-9.,/-]{0,8}){0,60}") {
        let list = list(&format!("mould;circuit;bore mm;date\n{text}"));
        proptest::prop_assert!(list.moulds.is_empty() || list.faults.is_empty());
    }

    #[test]
    fn any_bytes_of_a_workbook_are_read_or_refused(at in 0..PLANT.len(), byte: u8) {
        let mut bytes = PLANT.to_vec();
        bytes[at] = byte;
        let list = read("plant.xlsx", &bytes, &Wishes::default());
        proptest::prop_assert!(list.moulds.is_empty() || list.faults.is_empty());
    }
}
