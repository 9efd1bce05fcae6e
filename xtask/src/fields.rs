//! Descriptions of inputs as Markdown: the one definition of a field, on a page.

use std::fmt::Write as _;

use calc::form::{Field, Kind, Need, Preset, Variant};
use calc::hydraulics::piece_form::PIECE;

/// The largest number that stands for 'no upper limit' in a field's range, and the smallest above 0.
const UNBOUNDED: f64 = 1e12;
const ABOVE_ZERO: f64 = 1e-12;

/// Endings of names and the units that they stand for; longer endings first.
const UNITS: &[(&str, &str)] = &[
    ("_dm3_s_bar", "dm³/(s·bar)"),
    ("_bar_per_min", "bar/min"),
    ("_mbar_l_s", "mbar·l/s"),
    ("_bar_per_s", "bar/s"),
    ("_j_kg_k", "J/(kg·K)"),
    ("_mbar_s", "mbar/s"),
    ("_bar_abs", "bar (absolute)"),
    ("_w_m_k", "W/(m·K)"),
    ("_kg_m3", "kg/m³"),
    ("_m2_s", "m²/s"),
    ("_mm2_s", "mm²/s"),
    ("_mpa_s", "mPa·s"),
    ("_pa_s", "Pa·s"),
    ("_l_min", "l/min"),
    ("_m3_h", "m³/h"),
    ("_ml_h", "ml/h"),
    ("_deg_c", "°C"),
    ("_percent", "%"),
    ("_bar_g", "bar (gauge)"),
    ("_per_min", "1/min"),
    ("_mbar", "mbar"),
    ("_m_s", "m/s"),
    ("_bar", "bar"),
    ("_min", "min"),
    ("_mm2", "mm²"),
    ("_mm", "mm"),
    ("_um", "µm"),
    ("_ml", "ml"),
    ("_hz", "Hz"),
    ("_ppm", "ppm"),
    ("_ohm", "Ω"),
    ("_kg", "kg"),
    ("_g", "g"),
    ("_k", "K"),
    ("_l", "l"),
    ("_m", "m"),
    ("_s", "s"),
    ("_j", "J"),
];

/// Names that are their own unit, or only look as if they ended in one.
const NAMES: &[(&str, &str)] = &[
    ("seconds", "s"),
    ("mbar_l_s", "mbar·l/s"),
    ("pa_m3_s", "Pa·m³/s"),
    ("torr_l_s", "Torr·l/s"),
    ("atm_cm3_s", "atm·cm³/s"),
    ("bubbles_2mm_per_s", "1/s"),
    ("cm3_min_0c", "cm³/min"),
    ("cm3_min_20c", "cm³/min"),
    ("seconds_needed", "s"),
    ("water_ml_h_capillary", "ml/h"),
    ("water_ml_h_orifice", "ml/h"),
    ("loss_k", ""),
    ("reynolds_min", ""),
];

/// Head of a table of fields.
const HEAD: &str = "| field | unit | holds | if left out | meaning |\n| --- | --- | --- | --- | --- |\n";

/// The unit that a name ends in, or an empty text.
pub fn unit(name: &str) -> &'static str {
    if let Some((_, unit)) = NAMES.iter().find(|(whole, _)| *whole == name) {
        return unit;
    }
    UNITS.iter().find(|(ending, _)| name.ends_with(ending)).map_or("", |(_, unit)| unit)
}

/// A table of fields; records inside are written out under their path, pieces are pointed at.
pub fn table(fields: &'static [Field]) -> String {
    if fields.is_empty() {
        return "No fields.\n".to_owned();
    }
    let mut text = HEAD.to_owned();
    rows(&mut text, "", "", fields);
    text
}

/// The fields of a whole file: a table of what stands at its top, then one for each of its tables.
pub fn file(fields: &'static [Field]) -> String {
    let (nested, plain): (Vec<&Field>, Vec<&Field>) = fields
        .iter()
        .partition(|field| matches!(inside(&field.kind), Inside::Record(..) | Inside::Tagged(..)));
    let mut text = String::from("At the top:\n\n");
    text.push_str(HEAD);
    for field in plain {
        row(&mut text, "", "", field);
    }
    for field in nested {
        let name = if matches!(field.kind, Kind::List { .. }) {
            format!("[[{}]]", field.name)
        } else {
            format!("[{}]", field.name)
        };
        let _ = write!(text, "\n`{name}`: {}, {}.\n\n", cell(field.text), needed(field));
        match inside(&field.kind) {
            Inside::Record(inner) => text.push_str(&table(inner)),
            Inside::Tagged(tag, variants) => {
                for variant in variants {
                    let _ = write!(
                        text,
                        "With `{tag} = \"{}\"`: {}.\n\n{}\n",
                        variant.name,
                        cell(variant.text),
                        table(variant.fields)
                    );
                }
            }
            Inside::Nothing => {}
        }
    }
    text
}

/// Every kind of piece with its fields.
pub fn pieces() -> String {
    let mut text = String::new();
    if let Kind::Tagged { tag, variants } = &PIECE {
        for variant in *variants {
            let _ = write!(
                text,
                "With `{tag} = \"{}\"`: {}.\n\n{}\n",
                variant.name,
                cell(variant.text),
                table(variant.fields)
            );
        }
    }
    text
}

/// What a kind holds that has fields of its own.
enum Inside {
    Record(&'static [Field]),
    Tagged(&'static str, &'static [Variant]),
    Nothing,
}

fn inside(kind: &'static Kind) -> Inside {
    match kind {
        Kind::Record(fields) => Inside::Record(fields),
        Kind::Tagged { tag, variants } if !is_piece(kind) => Inside::Tagged(tag, variants),
        Kind::List { of, .. } => inside(of),
        _ => Inside::Nothing,
    }
}

fn rows(text: &mut String, under: &str, only: &str, fields: &'static [Field]) {
    for field in fields {
        row(text, under, only, field);
        let many = if matches!(field.kind, Kind::List { .. }) { "[]" } else { "" };
        let path = format!("{under}{}{many}.", field.name);
        match inside(&field.kind) {
            Inside::Record(inner) => rows(text, &path, only, inner),
            Inside::Tagged(tag, variants) => {
                for variant in variants {
                    let only = format!("with `{tag} = \"{}\"`: ", variant.name);
                    rows(text, &path, &only, variant.fields);
                }
            }
            Inside::Nothing => {}
        }
    }
}

fn row(text: &mut String, under: &str, only: &str, field: &'static Field) {
    let _ = writeln!(
        text,
        "| `{under}{}` | {} | {} | {} | {only}{} |",
        field.name,
        unit(field.name),
        holds(&field.kind),
        needed(field),
        cell(field.text)
    );
}

fn needed(field: &Field) -> String {
    match field.need {
        Need::Required => "needed".to_owned(),
        Need::Optional => "may be left out".to_owned(),
        Need::Default(Preset::Number(number)) => format!("{number}"),
        Need::Default(Preset::Text(word)) => format!("`{word}`"),
        Need::Default(Preset::Flag(flag)) => format!("{flag}"),
    }
}

fn holds(kind: &'static Kind) -> String {
    if is_piece(kind) {
        return "[piece](files.md#pieces)".to_owned();
    }
    match kind {
        Kind::Number { low, high } => range(*low, *high),
        Kind::Sample { low, high } => format!("{}, or missing", range(*low, *high)),
        Kind::Count { low, high } => format!("whole number, {low} to {high}"),
        Kind::Flag => "`true` or `false`".to_owned(),
        Kind::Text => "text".to_owned(),
        Kind::Choice(words) => words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", "),
        Kind::List { of, least } => {
            let least = if *least > 0 { format!(" ({least} or more)") } else { String::new() };
            format!("list{least} of: {}", holds(of))
        }
        Kind::Record(_) => "its own fields".to_owned(),
        Kind::Tagged { tag, variants } => {
            let words: Vec<String> = variants.iter().map(|variant| format!("`{}`", variant.name)).collect();
            format!("fields by `{tag}`: {}", words.join(", "))
        }
        Kind::Map(of) => format!("free names, each with: {}", holds(of)),
        Kind::TextOr(_) => "name of a file, or a table with its fields".to_owned(),
    }
}

fn range(low: f64, high: f64) -> String {
    let above_zero = low > 0.0 && low <= ABOVE_ZERO;
    match (low, high >= UNBOUNDED) {
        (_, true) if above_zero => "above 0".to_owned(),
        (_, false) if above_zero => format!("above 0, to {high}"),
        (low, true) if low <= -UNBOUNDED => "any number".to_owned(),
        (low, true) => format!("{low} and more"),
        (low, false) => format!("{low} to {high}"),
    }
}

/// Whether this is the kind of a piece, which may hold pieces and is described once.
fn is_piece(kind: &Kind) -> bool {
    match (kind, &PIECE) {
        (Kind::Tagged { variants, .. }, Kind::Tagged { variants: pieces, .. }) => {
            std::ptr::eq(variants.as_ptr(), pieces.as_ptr())
        }
        _ => false,
    }
}

/// A text as it may stand in a cell of a table.
pub fn cell(text: &str) -> String {
    text.replace('|', "/").replace('\n', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    static INNER: Kind = Kind::Record(&[Field::required("flow_l_min", Kind::POSITIVE, "flow")]);
    static FIELDS: &[Field] = &[
        Field::preset("hold_s", Kind::Number { low: 0.0, high: 60.0 }, Preset::Number(10.0), "hold"),
        Field::required("points", Kind::List { of: &INNER, least: 2 }, "points"),
        Field::optional("pieces", Kind::List { of: &PIECE, least: 1 }, "pieces"),
    ];

    #[test]
    fn fields_stand_with_unit_range_and_default() {
        let text = table(FIELDS);
        assert!(text.contains("| `hold_s` | s | 0 to 60 | 10 | hold |"), "{text}");
        assert!(text.contains("| `points[].flow_l_min` | l/min | above 0 | needed | flow |"), "{text}");
        assert!(text.contains("list (1 or more) of: [piece](files.md#pieces)"), "{text}");
    }

    #[test]
    fn pieces_are_described_once_although_they_hold_themselves() {
        let text = pieces();
        assert!(text.contains("`kind = \"split\"`") && text.contains("`branches`"), "{text}");
    }
}
