//! What a cell says, as a value of a mould file.

use calc::form::Value;
use calc::hydraulics::thread;

use super::columns::{Target, Unit};
use super::grid::Cell;

/// Why a cell cannot be what its column holds: the problem and the hint.
pub type CellFault = (String, String);

/// Problem of a number whose unit nobody told.
pub const NO_UNIT: &str = "a number without a unit";

fn fault(problem: &str, hint: impl Into<String>) -> CellFault {
    (problem.to_owned(), hint.into())
}

/// The value of a cell; nothing for an empty one.
pub fn value(cell: &Cell, target: Target, factor: Option<f64>) -> Result<Option<Value>, CellFault> {
    match (cell, target) {
        (Cell::Empty, _) => Ok(None),
        (Cell::Bad(_), _) => Err(fault("no value", "mend the formula, or write the value itself")),
        (_, Target::BaselineDate) => day(cell).map(|day| Some(Value::Text(day))),
        (Cell::Day(_), _) => {
            Err(fault("a date, where none is expected", "format the cell as text or as a number"))
        }
        (_, Target::Metals) => Ok(Some(words(cell, steel))),
        (_, Target::Seals) => Ok(Some(words(cell, |number| number.to_string()))),
        (_, Target::Process) => process(&text(cell)).map(|word| Some(word.into())),
        (_, Target::Half) => Ok(Some(half(&text(cell)).into())),
        (_, target) if target.units().is_empty() => Ok(Some(text(cell).into())),
        (cell, target) => quantity(cell, target, factor).map(|number| Some(Value::Number(number))),
    }
}

/// A text, or a number as somebody typed it.
pub fn text(cell: &Cell) -> String {
    cell.shown().unwrap_or_default()
}

/// A steel number that the workbook took for a number has four decimals.
fn steel(number: f64) -> String {
    if (1.0..2.0).contains(&number) { format!("{number:.4}") } else { number.to_string() }
}

fn words(cell: &Cell, number: impl Fn(f64) -> String) -> Value {
    let text = match cell {
        Cell::Number(value) => number(*value),
        other => text(other),
    };
    let words = text.split([',', ';', '/', '+', '&', '\n']).map(str::trim).filter(|word| !word.is_empty());
    Value::List(words.map(Value::from).collect())
}

/// Fixed or moving in the usual wordings; a plate or slide keeps the plant's name.
fn half(text: &str) -> String {
    const FIXED: &[&str] = &[
        "fixed",
        "fixed half",
        "stationary",
        "stationary half",
        "cover",
        "cover half",
        "feste seite",
        "feste",
        "düsenseite",
    ];
    const MOVING: &[&str] = &[
        "moving",
        "moving half",
        "movable",
        "movable half",
        "ejector",
        "ejector half",
        "ejector side",
        "bewegliche seite",
        "bewegliche",
        "auswerferseite",
    ];
    let lower = text.to_lowercase();
    if FIXED.contains(&lower.as_str()) {
        "fixed".to_owned()
    } else if MOVING.contains(&lower.as_str()) {
        "moving".to_owned()
    } else {
        text.to_owned()
    }
}

fn process(text: &str) -> Result<&'static str, CellFault> {
    match text.to_lowercase().replace('-', " ").as_str() {
        "injection" | "injection moulding" | "injection molding" | "spritzguss" | "spritzgiessen" => {
            Ok("injection-moulding")
        }
        "die casting" | "diecasting" | "hpdc" | "druckguss" => Ok("die-casting"),
        _ => Err(fault("not a process that is known", "injection moulding or die casting")),
    }
}

/// A day as YYYY-MM-DD. A day whose month cannot be told from its day is refused.
fn day(cell: &Cell) -> Result<String, CellFault> {
    let text = match cell {
        Cell::Day(day) => return Ok(day.clone()),
        Cell::Number(_) => {
            return Err(fault("a number, where a date is expected", "format the cell as a date"));
        }
        other => text(other),
    };
    let parts: Vec<&str> = text.split(['-', '.', '/']).map(str::trim).collect();
    let number = |part: &str| part.parse::<u32>().ok();
    let hint = "write it as YYYY-MM-DD";
    match parts.as_slice() {
        [year, month, day] if year.len() == 4 => Ok(format!("{year}-{month:0>2}-{day:0>2}")),
        // With dots the day comes first wherever dates are written with dots.
        [day, month, year] if year.len() == 4 && text.contains('.') => {
            Ok(format!("{year}-{month:0>2}-{day:0>2}"))
        }
        [first, second, year] if year.len() == 4 => match (number(first), number(second)) {
            (Some(day), Some(month)) if day > 12 && month <= 12 => Ok(format!("{year}-{month:02}-{day:02}")),
            (Some(month), Some(day)) if day > 12 && month <= 12 => Ok(format!("{year}-{month:02}-{day:02}")),
            (Some(first), Some(second)) if first == second => Ok(format!("{year}-{first:02}-{second:02}")),
            _ => Err(fault("day and month cannot be told apart", hint)),
        },
        _ => Err(fault("not a date", hint)),
    }
}

fn quantity(cell: &Cell, target: Target, factor: Option<f64>) -> Result<f64, CellFault> {
    let units = target.units();
    let known = || units.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
    let no_unit = || fault(NO_UNIT, format!("put the unit into the header: {}", known()));
    let times = |number: f64, unit: Option<f64>| {
        // Rounded to what people write, so that 3/8 in stays 9.525 mm and 1.2 m does not become 1199.9999999999998 mm.
        unit.or(factor)
            .map(|factor| format!("{:.9e}", number * factor).parse().unwrap_or(number * factor))
            .ok_or_else(no_unit)
    };
    let text = match cell {
        Cell::Number(number) => return times(*number, None),
        other => text(other),
    };
    if target == Target::Bore
        && let Some(diameter) = thread::drilled_diameter(&text)
    {
        return Ok(diameter.mm());
    }
    let (number, unit) = apart(&text, units);
    match (plain_number(number), unit) {
        (Ok(number), Unitful::Known(factor)) => times(number, Some(factor)),
        (Ok(number), Unitful::None) => times(number, None),
        (Ok(_), Unitful::Unknown) => {
            Err(fault("a unit that is not known here", format!("one of: {}", known())))
        }
        (Err(problem), _) => Err(problem),
    }
}

/// What stands behind a number.
enum Unitful {
    None,
    Known(f64),
    Unknown,
}

/// The number of a text and the unit behind it.
fn apart<'t>(text: &'t str, units: &[Unit]) -> (&'t str, Unitful) {
    let end = text.find(|c: char| c.is_alphabetic() || c == '%' || c == '"').unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let unit = unit.trim().to_lowercase();
    let unit = if unit == "\"" { "in" } else { unit.as_str() };
    let known = units.iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor);
    let unit = match known {
        _ if unit.is_empty() => Unitful::None,
        Some(factor) => Unitful::Known(factor),
        None => Unitful::Unknown,
    };
    (number.trim(), unit)
}

/// A number with a decimal point or comma; what could be two numbers is refused.
fn plain_number(text: &str) -> Result<f64, CellFault> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let decimal = match text.split_once(',') {
        Some((whole, rest)) if digits(whole) && digits(rest) => {
            if rest.len() == 3 && whole != "0" {
                let hint = format!("write {whole}.{rest} or {whole}{rest}");
                return Err(fault("a comma that may stand for decimals or for thousands", hint));
            }
            format!("{whole}.{rest}")
        }
        _ => text.to_owned(),
    };
    let sound = decimal.bytes().all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-' | b'+'));
    let number = decimal.parse::<f64>().ok().filter(|number| sound && number.is_finite());
    number.ok_or_else(|| fault("not a number", "write one number, such as 10.5"))
}
