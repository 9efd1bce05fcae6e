//! The form of a calculator, from the description of its inputs, and back into an input.

use calc::form::{Fault, Field, Kind, Need, Preset, Value};
use maud::{Markup, html};
use report::Units;
use report::pieces::capital;

use crate::forms::{Control, Place};
use crate::typed::{Typed, number};
use crate::units::{plain_name, unit};

fn path(parent: &str, name: &str) -> String {
    if parent.is_empty() { name.to_owned() } else { format!("{parent}.{name}") }
}

/// The fields of a record, with fieldsets for the records inside.
pub(crate) fn fields(
    form: &str,
    all: &'static [Field],
    parent: &str,
    typed: &Typed,
    units: Units,
    faults: &[Fault],
) -> Markup {
    html! {
        div.fields { @for field in all {
            @let name = path(parent, field.name);
            @match &field.kind {
                Kind::Record(inner) => fieldset {
                    legend { (capital(field.text)) @if optional(field) { span.optional { " (may be left out)" } } }
                    (fields(form, inner, &name, typed, units, faults))
                },
                _ => (one(form, field, &name, typed, units, faults)),
            }
        } }
    }
}

const fn optional(field: &Field) -> bool {
    !matches!(field.need, Need::Required)
}

fn one(
    form: &str,
    field: &'static Field,
    name: &str,
    typed: &Typed,
    units: Units,
    faults: &[Fault],
) -> Markup {
    let (control, help) = control(field, units);
    let label = capital(field.text);
    let preset = match &field.need {
        Need::Default(Preset::Flag(flag)) => flag.to_string(),
        Need::Default(Preset::Text(text)) => (*text).to_owned(),
        _ => String::new(),
    };
    let value = typed.given(name).unwrap_or(&preset);
    // A fault deep inside what was written as JSON belongs to the field that holds it.
    let own: Vec<Fault> = faults
        .iter()
        .filter(|fault| fault.field == name || fault.field.starts_with(&format!("{name}.")))
        .map(|fault| {
            let inside = fault.field.strip_prefix(name).unwrap_or_default().trim_start_matches('.');
            let problem = if inside.is_empty() {
                fault.problem.clone()
            } else {
                format!("{inside}: {}", fault.problem)
            };
            Fault { field: name.to_owned(), problem, ..fault.clone() }
        })
        .collect();
    Place {
        form,
        name,
        label: &label,
        help: &help,
        unit: units.shown(unit(field.name)),
        optional: optional(field),
        control,
        value,
    }
    .html(&own)
}

/// Place to type in, and what to type.
fn control(field: &'static Field, units: Units) -> (Control, String) {
    let own = unit(field.name);
    let words = |all: &[&str]| {
        let mut choices: Vec<(String, String)> =
            all.iter().map(|word| ((*word).to_owned(), word.replace('-', " "))).collect();
        if !matches!(field.need, Need::Default(_)) {
            choices.insert(0, (String::new(), "choose".to_owned()));
        }
        Control::Choice(choices)
    };
    let usual = match &field.need {
        Need::Default(Preset::Number(value)) => format!(" {} if left out.", units.number(*value, own)),
        _ => String::new(),
    };
    match &field.kind {
        Kind::Number { low, high } | Kind::Sample { low, high } => (
            Control::Number,
            format!("{}{usual}", range(*low, *high, |value| units.number(value, own))).trim().to_owned(),
        ),
        Kind::Count { low, high } => {
            let help = format!("A whole number, {low} to {high}.{usual}");
            (Control::Number, help)
        }
        Kind::Flag => {
            let choices = [("", "choose"), ("true", "yes"), ("false", "no")]
                .map(|(value, words)| (value.to_owned(), words.to_owned()));
            (Control::Choice(choices.to_vec()), String::new())
        }
        Kind::Text => (Control::Line, String::new()),
        Kind::Choice(all) => (words(all), String::new()),
        Kind::List { of, .. } if is_number(of) => (
            Control::Lines,
            "Numbers, with a semicolon, a space or a line between them; - for one that is missing.".into(),
        ),
        kind => (Control::Lines, format!("In JSON: {}", example(kind))),
    }
}

/// The range, where it is narrow enough to tell anybody something.
fn range(low: f64, high: f64, number: impl Fn(f64) -> String) -> String {
    let wide = |value: f64| value.abs() >= 1e9 || (value != 0.0 && value.abs() <= 1e-9);
    match (wide(low), wide(high)) {
        (true, true) => String::new(),
        (false, true) => format!("{} or more.", number(low)),
        (true, false) if low > 0.0 => format!("Up to {}, above 0.", number(high)),
        (true, false) => format!("Up to {}.", number(high)),
        (false, false) => format!("{} to {}.", number(low), number(high)),
    }
}

const fn is_number(kind: &Kind) -> bool {
    matches!(kind, Kind::Number { .. } | Kind::Sample { .. } | Kind::Count { .. })
}

/// What a value looks like, for somebody who has to write one.
fn example(kind: &Kind) -> String {
    let record = |fields: &[Field]| {
        // Where nothing is needed by itself, one of several is: all are shown.
        let needs_none = !fields.iter().any(|field| matches!(field.need, Need::Required));
        let shown = fields.iter().filter(|field| needs_none || matches!(field.need, Need::Required));
        shown
            .map(|field| format!("\"{}\": {}", field.name, example(&field.kind)))
            .collect::<Vec<_>>()
            .join(", ")
    };
    match kind {
        Kind::Number { .. } | Kind::Sample { .. } | Kind::Count { .. } => "1".into(),
        Kind::Flag => "true".into(),
        Kind::Text => "\"name\"".into(),
        Kind::Choice(all) => format!("\"{}\"", all.first().copied().unwrap_or_default()),
        Kind::List { of, .. } => format!("[{}]", example(of)),
        Kind::Record(fields) => format!("{{{}}}", record(fields)),
        Kind::Tagged { tag, variants } => variants.first().map_or_else(String::new, |variant| {
            format!("{{\"{tag}\": \"{}\", {}}}", variant.name, record(variant.fields))
        }),
        Kind::Map(of) => format!("{{\"name\": {}}}", example(of)),
        Kind::TextOr(_) => "\"name\"".into(),
    }
}

/// What a field is called on the page.
pub(crate) fn label(all: &'static [Field], name: &str) -> Option<String> {
    let (first, rest) = name.split_once('.').unwrap_or((name, ""));
    let field = all.iter().find(|field| field.name == first)?;
    match &field.kind {
        Kind::Record(inner) if !rest.is_empty() => label(inner, rest),
        _ if rest.is_empty() => Some(capital(field.text)),
        _ => Some(capital(&plain_name(first))),
    }
}

type Half = (Value, Vec<Fault>);

/// The input that was typed; where something cannot be read, what could be and what is wrong.
pub(crate) fn input(all: &'static [Field], typed: &Typed, units: Units) -> Result<Value, Half> {
    let mut faults = Vec::new();
    let value = record(all, "", typed, units, &mut faults).unwrap_or_else(|| Value::Record(Vec::new()));
    if faults.is_empty() { Ok(value) } else { Err((value, faults)) }
}

fn record(
    all: &'static [Field],
    parent: &str,
    typed: &Typed,
    units: Units,
    faults: &mut Vec<Fault>,
) -> Option<Value> {
    let mut given = Vec::new();
    for field in all {
        let name = path(parent, field.name);
        let value = match &field.kind {
            Kind::Record(inner) => record(inner, &name, typed, units, faults),
            kind => typed.given(&name).and_then(|text| match value(kind, text) {
                Ok(value) => Some(in_own_unit(value, kind, units, unit(field.name))),
                Err(problem) => {
                    faults.push(Fault::new(name.as_str(), problem, "write it as shown beneath the field"));
                    None
                }
            }),
        };
        given.extend(value.map(|value| (field.name.to_owned(), value)));
    }
    (!given.is_empty()).then_some(Value::Record(given))
}

/// What was typed, in the unit of its field.
fn in_own_unit(value: Value, kind: &Kind, units: Units, own: &str) -> Value {
    match (value, kind) {
        (Value::Number(number), _) => Value::Number(units.typed(number, own)),
        (Value::List(items), Kind::List { of, .. }) if is_number(of) => {
            Value::List(items.into_iter().map(|item| in_own_unit(item, of, units, own)).collect())
        }
        (value, _) => value,
    }
}

fn value(kind: &Kind, text: &str) -> Result<Value, String> {
    match kind {
        Kind::Number { .. } | Kind::Sample { .. } | Kind::Count { .. } => Ok(number(text)),
        Kind::Flag => Ok(if text == "true" || text == "false" {
            Value::Flag(text == "true")
        } else {
            Value::from(text)
        }),
        Kind::Text | Kind::Choice(_) => Ok(Value::from(text)),
        Kind::List { of, .. } if is_number(of) => Ok(Value::List(
            text.split([';', '\n', '\t', ' '])
                .map(str::trim)
                .filter(|part| !part.is_empty())
                .map(sample)
                .collect(),
        )),
        Kind::TextOr(_) if !text.starts_with('{') => Ok(Value::from(text)),
        _ => match exchange::json::read(text) {
            Ok(read) if read.duplicates.is_empty() => Ok(read.value),
            Ok(read) => Err(read
                .duplicates
                .first()
                .map_or_else(String::new, |fault| format!("{} {}", fault.field, fault.problem))),
            Err(fault) => Err(fault.problem.clone()),
        },
    }
}

fn sample(text: &str) -> Value {
    if text == "-" || text == "\u{2013}" { Value::Null } else { number(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_calculator_has_a_form_and_a_readable_example() {
        for one in calc::calculators::all() {
            let page =
                fields(one.name, one.inputs, "", &Typed::default(), Units::default(), &[]).into_string();
            for field in one.inputs {
                assert!(
                    label(one.inputs, field.name).is_some_and(|label| !label.is_empty()),
                    "{} {}",
                    one.name,
                    field.name
                );
                if let (Control::Lines, help) = control(field, Units::default())
                    && let Some(json) = help.strip_prefix("In JSON: ")
                {
                    assert!(exchange::json::read(json.trim()).is_ok(), "{} {}: {json}", one.name, field.name);
                }
            }
            assert_eq!(
                page.matches("<label").count(),
                page.matches("<input").count()
                    + page.matches("<select").count()
                    + page.matches("<textarea").count()
            );
        }
    }

    #[test]
    fn lists_are_read_with_any_mark_between() {
        let kind = Kind::List { of: &Kind::POSITIVE, least: 1 };
        let read = value(&kind, "1; 2,5\n3 -").expect("a list");
        assert_eq!(read, Value::List(vec![1.0.into(), 2.5.into(), 3.0.into(), Value::Null]));
    }
}
