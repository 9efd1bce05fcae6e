//! The pieces of a circuit as rows of a form, in flow order; parallel branches are rows that carry a letter.

use calc::form::{Fault, Field, Kind, Value};
use exchange::json;
use exchange::one_mould::piece_kinds;

use crate::typed::{Typed, number};

/// Most rows of a form (own choice).
pub(crate) const MOST: usize = 200;
/// Letters of parallel branches.
pub(crate) const BRANCHES: [&str; 8] = ["A", "B", "C", "D", "E", "F", "G", "H"];

/// One row.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Row {
    /// Kind of the piece.
    pub kind: String,
    /// Letter of its branch; empty on the main path.
    pub branch: String,
    /// Its fields as typed.
    pub fields: Vec<(String, String)>,
    /// Row of the form that was sent.
    pub from: usize,
}

/// Name of a field in a row.
pub(crate) fn field(at: usize, name: &str) -> String {
    format!("piece-{at}.{name}")
}

/// The fields of a kind.
pub(crate) fn fields_of(kind: &str) -> &'static [Field] {
    piece_kinds().iter().find(|variant| variant.name == kind).map_or(&[], |variant| variant.fields)
}

/// The rows of pieces that are on record.
pub(crate) fn rows(pieces: &Value) -> Vec<Row> {
    pieces.items().iter().flat_map(|piece| rows_of(piece, "")).collect()
}

fn rows_of(piece: &Value, branch: &str) -> Vec<Row> {
    let kind = piece.get("kind").and_then(Value::as_text).unwrap_or_default();
    let branches = piece.get("branches").map(Value::items).unwrap_or_default();
    let is_split = |value: &Value| value.get("branches").is_some();
    let plain = branch.is_empty() && branches.len() <= BRANCHES.len();
    if kind == "split" && plain && !branches.iter().any(|branch| branch.items().iter().any(is_split)) {
        let one: Vec<Row> = branches
            .iter()
            .zip(BRANCHES)
            .flat_map(|(pieces, letter)| pieces.items().iter().flat_map(move |piece| rows_of(piece, letter)))
            .collect();
        let count = piece.get("count").and_then(Value::as_number).unwrap_or(1.0);
        let times = (1..=500_u32).take_while(|times| f64::from(*times) <= count).count().max(1);
        return core::iter::repeat_n(one, times).flatten().collect();
    }
    let text = |value: &Value| match value {
        Value::Number(number) => number.to_string(),
        Value::Text(text) => text.clone(),
        other => json::to_json(other).to_string(),
    };
    let fields = piece.fields().iter().filter(|(name, _)| name != "kind");
    let fields = fields.map(|(name, value)| (name.clone(), text(value))).collect();
    vec![Row { kind: kind.to_owned(), branch: branch.to_owned(), fields, from: 0 }]
}

/// The rows that were typed, in the order of their places; those marked to go are left out.
pub(crate) fn typed_rows(typed: &Typed) -> Vec<Row> {
    let count = typed.get("rows").parse::<usize>().unwrap_or_default().min(MOST);
    let mut rows: Vec<(f64, Row)> = Vec::new();
    for at in 0..count {
        let kind = typed.get(&field(at, "kind")).to_owned();
        if typed.get(&field(at, "go")) == "yes" {
            continue;
        }
        let place = match number(typed.get(&field(at, "place"))) {
            Value::Number(place) => place,
            _ => f64::from(u32::try_from(at + 1).unwrap_or(u32::MAX)),
        };
        let given = |known: &Field| {
            let text = typed.given(&field(at, known.name))?;
            Some((known.name.to_owned(), text.to_owned()))
        };
        let fields = fields_of(&kind).iter().filter_map(given).collect();
        let branch = typed.get(&field(at, "branch")).to_owned();
        rows.push((place, Row { kind, branch, fields, from: at }));
    }
    rows.sort_by(|(a, _), (b, _)| a.total_cmp(b));
    rows.into_iter().map(|(_, row)| row).collect()
}

/// Where a piece of the list came from: its row, and inside a split the branch and the place in it.
pub(crate) struct List {
    /// The pieces as a file holds them.
    pub value: Value,
    /// For each piece its rows, by branch; a piece of the main path has one branch with one row.
    from: Vec<Vec<Vec<usize>>>,
}

/// The pieces behind the rows. Rows that follow each other with letters are the branches of one split; a letter that falls
/// back begins another one.
pub(crate) fn list(rows: &[Row]) -> Result<List, Vec<Fault>> {
    let mut pieces: Vec<(Value, Vec<Vec<usize>>)> = Vec::new();
    let mut open: Vec<(String, Vec<Value>, Vec<usize>)> = Vec::new();
    let mut faults = Vec::new();
    let mut close = |open: &mut Vec<(String, Vec<Value>, Vec<usize>)>,
                     pieces: &mut Vec<(Value, Vec<Vec<usize>>)>| {
        if let [(_, _, from)] = open.as_slice()
            && let Some(row) = from.first()
        {
            let hint = "give at least two branches, A and B, or leave the letter out";
            faults.push(Fault::new(field(*row, "branch"), "one branch alone is no split", hint));
        }
        if !open.is_empty() {
            let (branches, from): (Vec<Value>, Vec<Vec<usize>>) =
                open.drain(..).map(|(_, pieces, from)| (Value::List(pieces), from)).unzip();
            let split = [("kind", Value::from("split")), ("branches", Value::List(branches))];
            pieces.push((Value::record(split), from));
        }
    };
    let mut unread = Vec::new();
    for row in rows {
        let piece = piece(row).unwrap_or_else(|fault| {
            unread.push(fault);
            Value::Null
        });
        if row.branch.is_empty() {
            close(&mut open, &mut pieces);
            pieces.push((piece, vec![vec![row.from]]));
            continue;
        }
        if open.last().is_some_and(|(letter, ..)| *letter > row.branch) {
            close(&mut open, &mut pieces);
        }
        match open.last_mut().filter(|(letter, ..)| *letter == row.branch) {
            Some((_, pieces, from)) => {
                pieces.push(piece);
                from.push(row.from);
            }
            None => open.push((row.branch.clone(), vec![piece], vec![row.from])),
        }
    }
    close(&mut open, &mut pieces);
    faults.extend(unread);
    let (value, from): (Vec<Value>, _) = pieces.into_iter().unzip();
    if faults.is_empty() { Ok(List { value: Value::List(value), from }) } else { Err(faults) }
}

fn piece(row: &Row) -> Result<Value, Fault> {
    let mut fields = vec![("kind".to_owned(), Value::from(row.kind.as_str()))];
    for (name, text) in &row.fields {
        let known = fields_of(&row.kind).iter().find(|field| field.name == name);
        let value = match known.map(|field| &field.kind) {
            Some(Kind::Number { .. } | Kind::Count { .. }) => number(text),
            Some(Kind::List { .. }) => match json::read(text) {
                Ok(read) if read.duplicates.is_empty() => read.value,
                _ => {
                    let hint = "write the branches as they stood, or as rows with letters";
                    return Err(Fault::new(field(row.from, name), "cannot be read", hint));
                }
            },
            _ => Value::from(text.as_str()),
        };
        fields.push((name.clone(), value));
    }
    Ok(Value::Record(fields))
}

impl List {
    /// A fault of the list under its field of the form.
    pub(crate) fn in_form(&self, fault: Fault) -> Fault {
        let path: Vec<&str> = fault.field.split('.').collect();
        let place = |text: &str| text.parse::<usize>().ok();
        let found = match path.as_slice() {
            ["pieces", piece, "branches", branch, inner, name @ ..] => place(piece)
                .and_then(|piece| self.from.get(piece)?.get(place(branch)?)?.get(place(inner)?))
                .map(|row| (*row, name.join("."))),
            ["pieces", piece, name @ ..] => place(piece)
                .and_then(|piece| self.from.get(piece)?.first()?.first())
                .map(|row| (*row, name.join("."))),
            _ => None,
        };
        match found {
            Some((row, name)) => {
                let name = if name.is_empty() { "kind" } else { &name };
                Fault { field: field(row, name), ..fault }
            }
            None => fault,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(text: &str) -> Value {
        json::read(text).expect("JSON").value
    }

    #[test]
    fn rows_give_the_pieces_back() {
        for text in [
            r#"[{"kind": "bore", "diameter_mm": 10, "length_mm": 420}, {"kind": "elbow", "diameter_mm": 10, "count": 4}]"#,
            r#"[{"kind": "hose", "diameter_mm": 13, "length_mm": 500},
                {"kind": "split", "branches": [[{"kind": "bore", "diameter_mm": 6, "length_mm": 80}],
                 [{"kind": "bore", "diameter_mm": 6, "length_mm": 80}, {"kind": "elbow", "diameter_mm": 6}]]},
                {"kind": "split", "branches": [[{"kind": "bore", "diameter_mm": 5, "length_mm": 80}],
                 [{"kind": "bore", "diameter_mm": 5, "length_mm": 90}]]}]"#,
            r#"[{"kind": "split", "branches": [[{"kind": "split", "branches": [[{"kind": "coupling", "flow_factor_m3_h": 1}],
                 [{"kind": "coupling", "flow_factor_m3_h": 2}]]}], [{"kind": "coupling", "flow_factor_m3_h": 3}]]}]"#,
        ] {
            let value = pieces(text);
            let mut all = rows(&value);
            for (at, row) in all.iter_mut().enumerate() {
                row.from = at;
            }
            assert_eq!(list(&all).map(|list| list.value), Ok(value), "{text}");
        }
    }

    #[test]
    fn a_fault_in_a_branch_is_named_at_its_row() {
        let row = |branch: &str, from: usize| Row {
            kind: "bore".into(),
            branch: branch.into(),
            fields: vec![("diameter_mm".into(), "8".into()), ("length_mm".into(), "90".into())],
            from,
        };
        let list = list(&[row("", 2), row("A", 0), row("B", 1), row("B", 4)]).map_err(drop).expect("sound");
        let named = |path: &str| list.in_form(Fault::new(path, "x", "")).field;
        assert_eq!(named("pieces.0.diameter_mm"), "piece-2.diameter_mm");
        assert_eq!(named("pieces.1.branches.1.1.length_mm"), "piece-4.length_mm");
        assert_eq!(named("reason"), "reason");
        let alone = super::list(&[row("A", 3)]).map(drop).expect_err("one branch");
        assert_eq!(alone[0].field, "piece-3.branch");
    }
}
