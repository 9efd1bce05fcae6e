//! A rig as a page says it: the fields and rules of the rig file.

use bench::visit::Rig;
use calc::form::{self, Fault, Field, Input, Kind, Value};

use crate::shapes::{self, Found};

static TABLE: &[Field] = &[Field::required("rig", shapes::rig::RIG, "the rig")];

/// The fields of a rig.
#[must_use]
pub fn fields() -> &'static [Field] {
    match shapes::rig::RIG {
        Kind::Record(fields) => fields,
        _ => &[],
    }
}

/// Reads a rig.
///
/// # Errors
/// Everything that is wrong with it, under the names of its fields.
pub fn read(rig: &Value) -> Result<Rig, Vec<Fault>> {
    let file = Value::record([("rig", rig.clone())]);
    let checked = form::check(TABLE, &file);
    let mut found = Found::default();
    shapes::rig::meaning(rig, &mut found);
    let mut faults: Vec<Fault> = checked.as_ref().err().cloned().unwrap_or_default();
    for fault in &mut faults {
        fault.field = fault.field.strip_prefix("rig.").unwrap_or(&fault.field).to_owned();
    }
    for fault in found.faults {
        if !faults.iter().any(|known| known.field == fault.field) {
            faults.push(fault);
        }
    }
    match checked {
        Ok(filled) if faults.is_empty() => {
            Input::checked(&filled).record("rig").map(shapes::rig::rig).ok_or_else(|| {
                vec![Fault::new("", "the rig does not fit together", "look at every field again")]
            })
        }
        _ => Err(faults),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rig_comes_back_and_every_fault_is_named() {
        let rig = Rig { name: Some("B1".into()), gauge_step_bar: 0.01, ..Rig::default() };
        assert_eq!(read(&shapes::rig_value(&rig)), Ok(rig));
        let bad = Value::record([
            ("flow_uncertainty_percent", Value::from("two")),
            ("calibrated_until", "soon".into()),
            (
                "pump_curve",
                Value::List(vec![
                    vec![Value::Number(0.0), 6.0.into()].into(),
                    vec![Value::Number(0.0), 7.0.into()].into(),
                ]),
            ),
        ]);
        let mut names: Vec<String> =
            read(&bad).expect_err("four faults").into_iter().map(|fault| fault.field).collect();
        names.sort_unstable();
        assert_eq!(
            names,
            ["calibrated_until", "flow_uncertainty_percent", "pump_curve.1.0", "pump_curve.1.1"]
        );
    }
}
