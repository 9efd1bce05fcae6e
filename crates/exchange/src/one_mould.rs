//! A mould as a page changes it: the fields and rules of the mould file.

use bench::mould::{Circuit, CircuitId, Mould};
use calc::form::{self, Fault, Kind, Value, Variant};
use calc::hydraulics::piece_form::PIECE;

use crate::shapes::{self, Found, mould_sheet};

/// The kinds of pieces and their fields.
#[must_use]
pub fn piece_kinds() -> &'static [Variant] {
    match &PIECE {
        Kind::Tagged { variants, .. } => variants,
        _ => &[],
    }
}

/// The mould with some fields of one circuit said anew; a field without a value is left out. A circuit that the mould does
/// not have is added at its end.
///
/// # Errors
/// Everything that is wrong with the circuit, under the names of its fields.
pub fn with_circuit(
    mould: &Mould,
    circuit: &CircuitId,
    said: &[(&str, Option<Value>)],
) -> Result<Circuit, Vec<Fault>> {
    let sheet = mould_sheet(mould);
    let named = |name: &'static str| sheet.sections.iter().filter(move |section| section.name == name);
    let about = named("mould").next().map_or(Value::Null, |section| section.fields.clone());
    let mut circuits: Vec<Value> = named("circuit").map(|section| section.fields.clone()).collect();
    let own = |value: &Value| value.get("id").and_then(Value::as_text) == Some(circuit.0.as_str());
    let at = circuits.iter().position(own).unwrap_or_else(|| {
        circuits.push(Value::record([("id", Value::from(circuit.0.as_str()))]));
        circuits.len() - 1
    });
    if let Some(one) = circuits.get_mut(at) {
        *one = changed(one, said);
    }
    let file = Value::record([
        ("format", Value::from(shapes::mould::FORMAT)),
        ("mould", about),
        ("circuit", Value::List(circuits)),
    ]);
    read(&file, at)
}

fn changed(circuit: &Value, said: &[(&str, Option<Value>)]) -> Value {
    let kept =
        circuit.fields().iter().filter(|(name, _)| !said.iter().any(|(other, _)| other == name)).cloned();
    let new = said.iter().filter_map(|(name, value)| Some(((*name).to_owned(), value.clone()?)));
    Value::Record(kept.chain(new).collect())
}

fn read(file: &Value, at: usize) -> Result<Circuit, Vec<Fault>> {
    let checked = form::check(shapes::mould::FILE, file);
    let mut found = Found::default();
    shapes::mould::meaning(file, &mut found);
    let mut faults = checked.as_ref().err().cloned().unwrap_or_default();
    let prefix = format!("circuit.{at}.");
    // What other circuits say of circuits that are gone by now is not for this one to put right.
    for fault in found.faults.into_iter().filter(|fault| fault.field.starts_with(&prefix)) {
        if !faults.iter().any(|known| known.field == fault.field) {
            faults.push(fault);
        }
    }
    let own = |fault: Fault| match fault.field.strip_prefix(&prefix) {
        Some(field) => Fault { field: field.to_owned(), ..fault },
        None => fault,
    };
    let read = match (checked, faults.is_empty()) {
        (Ok(filled), true) => shapes::mould::mould(&filled),
        _ => Err(faults),
    };
    let strange = || vec![Fault::new("", "the circuit does not fit together", "look at every field again")];
    match read {
        Ok(mould) => mould.circuits.into_iter().nth(at).ok_or_else(strange),
        Err(faults) => Err(faults.into_iter().map(own).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::mould::{MouldId, Process};

    fn mould() -> Mould {
        let (id, name) = (MouldId("M".into()), "Lid".into());
        Mould { id, name, process: Process::InjectionMoulding, circuits: vec![] }
    }

    #[test]
    fn a_circuit_is_added_and_changed_by_the_rules_of_the_file() {
        let id = CircuitId("F1".into());
        let mut mould = mould();
        let bore = Value::record([
            ("kind", Value::from("bore")),
            ("diameter_mm", 10.0.into()),
            ("length_mm", 300.0.into()),
        ]);
        let said = [("half", Some("fixed".into())), ("pieces", Some(Value::List(vec![bore])))];
        let circuit = with_circuit(&mould, &id, &said).expect("sound");
        assert_eq!((circuit.half.as_str(), circuit.pieces.len()), ("fixed", 1));
        mould.circuits.push(circuit);
        let circuit =
            with_circuit(&mould, &id, &[("pieces", None), ("serves", Some("lid".into()))]).expect("sound");
        assert_eq!((circuit.half.as_str(), circuit.pieces.len()), ("fixed", 0));
    }

    #[test]
    fn every_fault_is_named_at_its_own_field() {
        let id = CircuitId("F1".into());
        let bore = Value::record([("kind", Value::from("bore")), ("diameter_mm", 900.0.into())]);
        let said = [
            ("rough_bore_mm", Some("wide".into())),
            ("sisters", Some(Value::List(vec!["F9".into()]))),
            ("pieces", Some(Value::List(vec![bore]))),
        ];
        let faults = with_circuit(&mould(), &id, &said).expect_err("four faults");
        let mut names: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        names.sort_unstable();
        assert_eq!(names, ["pieces.0.diameter_mm", "pieces.0.length_mm", "rough_bore_mm", "sisters.0"]);
    }
}
