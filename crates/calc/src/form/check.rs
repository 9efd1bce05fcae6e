//! Holds a value against its description and collects every fault.

use super::{Fault, Field, Kind, Need, Preset, Value, Variant};

/// The value with defaults filled in, if it fits the description.
///
/// # Errors
/// Every fault there is: missing and unknown fields, wrong kinds, values out of range.
pub fn check(fields: &'static [Field], value: &Value) -> Result<Value, Vec<Fault>> {
    let mut faults = Vec::new();
    let filled = record(fields, None, value, "", &mut faults);
    if faults.is_empty() { Ok(filled) } else { Err(faults) }
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") }
}

fn record(
    fields: &'static [Field],
    tag: Option<&str>,
    value: &Value,
    path: &str,
    faults: &mut Vec<Fault>,
) -> Value {
    let Value::Record(given) = value else {
        faults.push(wrong_kind(path, value, "a table of fields"));
        return Value::Null;
    };
    for (position, (name, stray)) in given.iter().enumerate() {
        if given.iter().take(position).any(|(earlier, _)| earlier == name) {
            faults.push(Fault::new(join(path, name), "given twice", "give it once"));
        } else if Some(name.as_str()) != tag && !fields.iter().any(|field| field.name == name) {
            faults.push(
                Fault::new(join(path, name), "unknown field", nearest(name, fields))
                    .with_value(stray.clone()),
            );
        }
    }
    let mut filled: Vec<(String, Value)> = Vec::with_capacity(fields.len() + 1);
    if let Some(tag) = tag {
        filled.extend(value.get(tag).map(|word| (tag.to_owned(), word.clone())));
    }
    for field in fields {
        let place = join(path, field.name);
        match (value.get(field.name), field.need) {
            (Some(inner), _) if !matches!(inner, Value::Null) => {
                filled.push((field.name.to_owned(), one(&field.kind, inner, &place, faults)));
            }
            (_, Need::Required) => {
                faults.push(Fault::new(place, "missing", format!("give {}: {}", field.name, field.text)));
            }
            (_, Need::Default(preset)) => filled.push((field.name.to_owned(), preset_value(preset))),
            (_, Need::Optional) => {}
        }
    }
    Value::Record(filled)
}

fn preset_value(preset: Preset) -> Value {
    match preset {
        Preset::Number(number) => Value::Number(number),
        Preset::Text(text) => Value::from(text),
        Preset::Flag(flag) => Value::Flag(flag),
    }
}

fn one(kind: &'static Kind, value: &Value, path: &str, faults: &mut Vec<Fault>) -> Value {
    match (kind, value) {
        (Kind::Sample { .. }, Value::Null) => return Value::Null,
        (Kind::Number { low, high } | Kind::Sample { low, high }, Value::Number(number)) => {
            if !(number.is_finite() && low <= number && number <= high) {
                faults.push(out_of_range(path, value, *low, *high));
            }
        }
        (Kind::Count { low, high }, Value::Number(number)) => {
            let (low, high) = (f64::from(*low), f64::from(*high));
            if number.fract() != 0.0 || *number < low || *number > high {
                faults.push(
                    Fault::new(path, "not a whole number in range", format!("give {low} to {high}"))
                        .with_value(value.clone()),
                );
            }
        }
        (Kind::Text, Value::Text(text)) => {
            if text.trim().is_empty() {
                faults.push(Fault::new(path, "empty", "give a text, or leave the field out"));
            }
        }
        (Kind::Flag, Value::Flag(_)) | (Kind::TextOr(_), Value::Text(_)) => {}
        (Kind::Choice(words), Value::Text(text)) => choice(words, text, path, faults),
        (Kind::List { of, least }, Value::List(items)) => return list(of, *least, items, path, faults),
        (Kind::Record(fields), _) => return record(fields, None, value, path, faults),
        (Kind::TextOr(kind), _) => return one(kind, value, path, faults),
        (Kind::Tagged { tag, variants }, Value::Record(_)) => {
            return tagged(tag, variants, value, path, faults);
        }
        (Kind::Map(of), Value::Record(fields)) => {
            let inner =
                fields.iter().map(|(name, item)| (name.clone(), one(of, item, &join(path, name), faults)));
            return Value::Record(inner.collect());
        }
        _ => faults.push(wrong_kind(path, value, expected(kind))),
    }
    value.clone()
}

fn list(of: &'static Kind, least: usize, items: &[Value], path: &str, faults: &mut Vec<Fault>) -> Value {
    if items.len() < least {
        let problem = format!("{} given, at least {least} needed", items.len());
        faults.push(Fault::new(path, problem, format!("give {least} or more")));
    }
    let inner =
        items.iter().enumerate().map(|(at, item)| one(of, item, &join(path, &at.to_string()), faults));
    Value::List(inner.collect())
}

fn tagged(
    tag: &'static str,
    variants: &'static [Variant],
    value: &Value,
    path: &str,
    faults: &mut Vec<Fault>,
) -> Value {
    let words = || variants.iter().map(|variant| variant.name).collect::<Vec<_>>().join(", ");
    match value.get(tag) {
        Some(Value::Text(word)) => match variants.iter().find(|variant| variant.name == word) {
            Some(variant) => return record(variant.fields, Some(tag), value, path, faults),
            None => faults.push(
                Fault::new(join(path, tag), "unknown word", format!("one of: {}", words()))
                    .with_value(word.clone()),
            ),
        },
        Some(other) => faults.push(wrong_kind(&join(path, tag), other, "a text")),
        None => faults.push(Fault::new(join(path, tag), "missing", format!("one of: {}", words()))),
    }
    value.clone()
}

fn choice(words: &[&str], text: &str, path: &str, faults: &mut Vec<Fault>) {
    if !words.contains(&text) {
        faults
            .push(Fault::new(path, "unknown word", format!("one of: {}", words.join(", "))).with_value(text));
    }
}

const fn expected(kind: &Kind) -> &'static str {
    match kind {
        Kind::Number { .. } | Kind::Sample { .. } => "a number",
        Kind::Count { .. } => "a whole number",
        Kind::Flag => "true or false",
        Kind::Text | Kind::Choice(_) => "a text",
        Kind::List { .. } => "a list",
        Kind::Record(_) | Kind::Tagged { .. } | Kind::Map(_) => "a table of fields",
        Kind::TextOr(_) => "a text or a table of fields",
    }
}

fn wrong_kind(path: &str, value: &Value, expected: &str) -> Fault {
    Fault::new(path, format!("this is {}", value.kind_in_words()), format!("give {expected}"))
        .with_value(value.clone())
}

fn out_of_range(path: &str, value: &Value, low: f64, high: f64) -> Fault {
    let hint = if high >= 1e12 && low > 0.0 && low <= 1e-12 {
        "give a number above 0".to_owned()
    } else if high >= 1e12 {
        format!("give a number of {low} or more")
    } else {
        format!("give {low} to {high}")
    };
    Fault::new(path, "out of range", hint).with_value(value.clone())
}

/// The known name that looks most like this one, for the hint.
fn nearest(name: &str, fields: &[Field]) -> String {
    let best = fields.iter().map(|field| (distance(name, field.name), field.name)).min();
    // A value whose unit is another one must not just move to the name that is right.
    if let Some(known) = fields.iter().map(|field| field.name).find(|known| other_unit(name, known)) {
        return format!("give it as {known}, in that unit");
    }
    match best {
        Some((steps, known)) if steps <= 3 || known.starts_with(name) || name.starts_with(known) => {
            format!("did you mean {known}?")
        }
        _ => format!("known here: {}", fields.iter().map(|field| field.name).collect::<Vec<_>>().join(", ")),
    }
}

/// Whether two names say the same thing in different units.
fn other_unit(name: &str, known: &str) -> bool {
    const UNITS: &[&str] = &[
        "_bar_abs", "_bar_g", "_bar", "_mbar", "_psi", "_psig", "_psia", "_kpa", "_mpa", "_pa", "_deg_c",
        "_deg_f", "_k", "_l_min", "_l_h", "_gpm", "_m3_h", "_ml", "_l", "_mm", "_cm", "_m", "_inch", "_in",
        "_um", "_s", "_ms", "_min", "_h", "_kg", "_g",
    ];
    let parts = |name: &str| {
        let unit = UNITS.iter().filter(|unit| name.ends_with(**unit)).max_by_key(|unit| unit.len())?;
        Some((name.len() - unit.len(), *unit))
    };
    match (parts(name), parts(known)) {
        (Some((stem, unit)), Some((other, wanted))) => {
            unit != wanted && stem > 0 && name.get(..stem) == known.get(..other)
        }
        _ => false,
    }
}

/// Fewest single-letter edits between two names (Levenshtein distance).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut diagonal = i;
        let mut left = i + 1;
        for (cell, other) in row.iter_mut().skip(1).zip(&b) {
            let substituted = diagonal + usize::from(letter != *other);
            diagonal = *cell;
            left = substituted.min(*cell + 1).min(left + 1);
            *cell = left;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    static FIELDS: &[Field] = &[
        Field::required("length_mm", Kind::POSITIVE, "length"),
        Field::preset("count", Kind::Count { low: 1, high: 99 }, Preset::Number(1.0), "how many"),
        Field::optional("half", Kind::Choice(&["fixed", "moving"]), "half"),
    ];

    #[test]
    fn fills_defaults() {
        let filled = check(FIELDS, &Value::record([("length_mm", Value::Number(3.0))])).unwrap();
        assert_eq!(filled.get("count"), Some(&Value::Number(1.0)));
        assert_eq!(filled.get("half"), None);
    }

    #[test]
    fn reports_every_fault_at_once() {
        let bad = Value::record([
            ("lenght_mm", Value::Number(3.0)),
            ("count", Value::Number(1.5)),
            ("half", Value::from("upper")),
        ]);
        let faults = check(FIELDS, &bad).unwrap_err();
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["lenght_mm", "length_mm", "count", "half"]);
        assert_eq!(faults[0].hint, "did you mean length_mm?");
    }

    #[test]
    fn another_unit_is_no_slip_of_the_pen() {
        let hint = |name: &str| {
            let bad = Value::record([(name, Value::Number(1.0)), ("length_mm", Value::Number(1.0))]);
            check(FIELDS, &bad).unwrap_err().remove(0).hint
        };
        for name in ["length_cm", "length_inch", "length_in", "length_m"] {
            assert_eq!(hint(name), "give it as length_mm, in that unit", "{name}");
        }
        assert_eq!(hint("lenght_mm"), "did you mean length_mm?");
        assert_eq!(hint("length"), "did you mean length_mm?");
        assert!(!hint("mm").contains("in that unit"));
    }

    #[test]
    fn edit_distance_of_known_pairs() {
        // Levenshtein's own example pair in textbooks: kitten to sitting takes 3 edits.
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("flow", "flow"), 0);
    }
}
