//! Reads case files and the files beside them.

use std::io::Read as _;

use calc::form::{self, Fault, Field, Input, Kind, Preset, Value};

use super::{Bounds, Case, Check, CheckKind, Expected, Point, Tolerance};
use crate::fault::FileFaults;
use crate::intake::{Intake, Sheet};
use crate::json;
use crate::source::Source;

/// Largest file beside a case file.
const BESIDE_LIMIT_BYTES: u64 = 16 << 20;

const TEXTS: Kind = Kind::List { of: &Kind::Text, least: 1 };
const BOUND: Kind = Kind::Number { low: 0.0, high: 1e12 };

static COMMON: [Field; 7] = [
    Field::required("title", Kind::Text, "title"),
    Field::required("kind", Kind::Choice(CheckKind::WORDS), "where the values come from"),
    Field::required("source", Kind::Text, "key in data/sources.bib"),
    Field::required("place", Kind::Text, "place in the source"),
    Field::required("calculator", Kind::Text, "calculator"),
    Field::optional("because", Kind::Text, "why this tolerance"),
    Field::preset("memory", Kind::Flag, Preset::Flag(false), "whether the value is quoted from memory"),
];
static CASE: [Field; 3] = [
    Field::optional("input_file", Kind::Text, "JSON file beside this one"),
    Field::optional("expect_file", Kind::Text, "JSON file beside this one"),
    Field::optional("refuse", TEXTS, "fields that must be named as faulty"),
];
static SWEEP: [Field; 5] = [
    Field::optional("generator", Kind::Text, "script that made the data"),
    Field::required("file", Kind::Text, "CSV file beside this one"),
    Field::required("inputs", TEXTS, "columns that are inputs"),
    Field::required("expect", TEXTS, "columns that are expected outputs"),
    Field::required("bounds", Kind::Record(BOUNDS), "bounds of the relative deviations"),
];
static BOUNDS: &[Field] = &[
    Field::optional("median", BOUND, "of the median"),
    Field::optional("p99", BOUND, "of the 99 % quantile"),
    Field::optional("max", BOUND, "of the largest"),
];
/// Fields that hold whatever the calculator takes; their shape is not checked here.
const FREE: [&str; 4] = ["input", "expect", "tolerance", "fixed"];

/// Reads case files of these names, with the files beside them.
///
/// # Errors
/// Every fault in all of them.
pub fn load_cases(source: &dyn Source, names: &[String]) -> Result<Vec<Case>, FileFaults> {
    let mut intake = Intake::new(source);
    let mut cases = Vec::new();
    for name in names {
        cases.extend(case_file(&mut intake, source, name));
    }
    intake.finish()?;
    Ok(cases)
}

/// Reads one case file; what is wrong with it goes to the intake.
pub fn case_file(intake: &mut Intake<'_>, source: &dyn Source, name: &str) -> Vec<Case> {
    // The fields of a case depend on its sort, so that they are checked case by case.
    let Some(sheet) = intake.free_sheet(name) else { return Vec::new() };
    let mut reader =
        Reader { source, sheet: &sheet, faults: Vec::new(), cases: Vec::new(), topic: String::new() };
    if !sheet.broken {
        reader.file();
    }
    let Reader { faults, cases, .. } = reader;
    for fault in faults {
        intake.fault(&sheet, fault);
    }
    cases
}

struct Reader<'a> {
    source: &'a dyn Source,
    sheet: &'a Sheet,
    faults: Vec<Fault>,
    cases: Vec<Case>,
    topic: String,
}

impl Reader<'_> {
    fn file(&mut self) {
        let value = &self.sheet.document.value;
        for (name, _) in value.fields() {
            if !matches!(name.as_str(), "topic" | "case" | "sweep") {
                self.faults.push(Fault::new(name, "unknown field", "known here: topic, case, sweep"));
            }
        }
        match value.get("topic").and_then(Value::as_text) {
            Some(topic) => topic.clone_into(&mut self.topic),
            None => self.faults.push(Fault::new("topic", "missing", "give the topic, the folder's name")),
        }
        let folder = self.sheet.name.rsplit('/').nth(1);
        if folder.is_some_and(|folder| folder != self.topic) {
            let hint = "one topic a folder: give the folder's name";
            self.faults
                .push(Fault::new("topic", "not the folder's name", hint).with_value(self.topic.as_str()));
        }
        for list in ["case", "sweep"] {
            for (at, item) in value.get(list).map(Value::items).unwrap_or_default().iter().enumerate() {
                let path = format!("{list}.{at}");
                match self.one(item, list == "sweep", &path) {
                    Ok(case) if self.cases.iter().any(|other| other.title == case.title) => {
                        let fault = Fault::new(
                            format!("{path}.title"),
                            "this title stands twice",
                            "give each its own",
                        );
                        self.faults.push(fault.with_value(case.title));
                    }
                    Ok(case) => self.cases.push(case),
                    Err(faults) => self.faults.extend(faults.into_iter().map(|fault| fault.under(&path))),
                }
            }
        }
    }

    fn one(&self, item: &Value, sweep: bool, path: &str) -> Result<Case, Vec<Fault>> {
        let own: &'static [Field] = if sweep { &SWEEP } else { &CASE };
        let mut faults = Vec::new();
        // A sweep's `expect` is a list of columns and is checked; a case's is free.
        let free = |name: &str| FREE.contains(&name) && !(sweep && name == "expect");
        let plain = item.fields().iter().filter(|(name, _)| !free(name));
        let (common, special): (Vec<_>, Vec<_>) =
            plain.cloned().partition(|(name, _)| COMMON.iter().any(|field| field.name == name));
        let common = form::check(&COMMON, &Value::Record(common)).map_err(|found| faults.extend(found)).ok();
        let special = form::check(own, &Value::Record(special)).map_err(|found| faults.extend(found)).ok();
        let (Some(common), Some(special)) = (common, special) else { return Err(faults) };
        let input = Input::checked(&common);
        let check = if sweep {
            self.sweep(item, Input::checked(&special))
        } else {
            self.values(item, Input::checked(&special))
        };
        let check = check?;
        if !input.has("because") && !matches!(check, Check::Refusal { .. }) {
            return Err(vec![Fault::new("because", "missing", "say why the tolerance is what it is")]);
        }
        let line = self.sheet.document.place(path).map_or(0, |place| place.line);
        Ok(Case {
            topic: self.topic.clone(),
            title: input.text("title").to_owned(),
            kind: CheckKind::from_word(input.text("kind")).unwrap_or(CheckKind::Pinned),
            source: input.text("source").to_owned(),
            place: input.text("place").to_owned(),
            because: input.text("because").to_owned(),
            memory: input.flag("memory"),
            calculator: input.text("calculator").to_owned(),
            stands_at: format!("{}, line {line}", self.sheet.name),
            check,
        })
    }

    fn values(&self, item: &Value, special: Input<'_>) -> Result<Check, Vec<Fault>> {
        let input = self.free_or_file(item, special, "input", "input_file")?;
        if special.has("refuse") {
            let fields = special.items("refuse").iter().filter_map(Value::as_text).map(str::to_owned);
            return Ok(Check::Refusal { input, fields: fields.collect() });
        }
        let expect = self.free_or_file(item, special, "expect", "expect_file")?;
        let tolerance = item.get("tolerance");
        let mut faults = Vec::new();
        let mut expected = Vec::new();
        for (path, value) in expect.fields() {
            match tolerance_of(tolerance, path, value) {
                Ok(tolerance) => {
                    expected.push(Expected { path: path.clone(), value: value.clone(), tolerance })
                }
                Err(fault) => faults.push(*fault),
            }
        }
        if expected.is_empty() && faults.is_empty() {
            faults.push(Fault::new("expect", "nothing is expected", "give at least one output"));
        }
        faults.dedup();
        if faults.is_empty() { Ok(Check::Values { input, expect: expected }) } else { Err(faults) }
    }

    fn free_or_file(
        &self,
        item: &Value,
        special: Input<'_>,
        name: &str,
        file: &str,
    ) -> Result<Value, Vec<Fault>> {
        match (item.get(name), special.has(file)) {
            (Some(value @ Value::Record(_)), false) => Ok(value.clone()),
            (Some(_), false) => Err(vec![Fault::new(name, "not a table of fields", "give { name = value }")]),
            (None, true) => {
                let text = self.beside(special.text(file)).map_err(|fault| vec![fault.under(file)])?;
                let read = json::read(&text).map_err(|fault| vec![fault.under(file)])?;
                let faults = read.duplicates.into_iter().map(|fault| fault.under(file));
                let faults: Vec<Fault> = faults.collect();
                if faults.is_empty() { Ok(read.value) } else { Err(faults) }
            }
            (Some(_), true) => {
                Err(vec![Fault::new(file, format!("given beside {name}"), "give one of the two")])
            }
            (None, false) => Err(vec![Fault::new(name, "missing", format!("give {name} or {file}"))]),
        }
    }

    /// The text of a file beside the case file.
    fn beside(&self, name: &str) -> Result<String, Fault> {
        let folder = self.sheet.name.rsplit_once('/').map_or("", |(folder, _)| folder);
        let full = if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") };
        let wrong =
            |problem: String| Fault::new("", problem, "put the file beside the case file").with_value(name);
        let plain = crate::source::plain_name(&full).map_err(|fault| wrong(fault.to_string()))?;
        let mut text = String::new();
        let read = self
            .source
            .open(plain)
            .and_then(|reader| reader.take(BESIDE_LIMIT_BYTES).read_to_string(&mut text));
        read.map_err(|error| wrong(format!("could not be read: {error}")))?;
        Ok(text)
    }

    fn sweep(&self, item: &Value, special: Input<'_>) -> Result<Check, Vec<Fault>> {
        let text = self.beside(special.text("file")).map_err(|fault| vec![fault.under("file")])?;
        let fixed = item.get("fixed").map(Value::fields).unwrap_or_default();
        let names = |list| {
            special.items(list).iter().filter_map(Value::as_text).map(str::to_owned).collect::<Vec<_>>()
        };
        let points = points(&text, &names("inputs"), &names("expect"), fixed)
            .map_err(|fault| vec![fault.under("file")])?;
        let bounds = special.record("bounds").map(|bounds| Bounds {
            median: bounds.optional_number("median"),
            p99: bounds.optional_number("p99"),
            max: bounds.optional_number("max"),
        });
        let bounds = bounds.unwrap_or_default();
        if bounds == Bounds::default() {
            return Err(vec![Fault::new("bounds", "no bound is given", "give median, p99 or max")]);
        }
        Ok(Check::Sweep { points, bounds })
    }
}

/// The tolerance of one output: its own, or that of all.
fn tolerance_of(tolerance: Option<&Value>, path: &str, value: &Value) -> Result<Tolerance, Box<Fault>> {
    let one = |table: &Value| match table.fields() {
        [(name, Value::Number(number))] if *number >= 0.0 && number.is_finite() => match name.as_str() {
            "relative" => Some(Tolerance::Relative(*number)),
            "absolute" => Some(Tolerance::Absolute(*number)),
            _ => None,
        },
        _ => None,
    };
    let own = tolerance.and_then(|tolerance| tolerance.get(path));
    match own.map_or_else(|| tolerance.and_then(one), one) {
        Some(tolerance) => Ok(tolerance),
        None if !matches!(value, Value::Number(_) | Value::List(_)) => Ok(Tolerance::Absolute(0.0)),
        None => {
            let problem = format!("none is given for {path}");
            let hint = "give { relative = 0.01 } or { absolute = 0.1 }, for all or by the output's name";
            Err(Box::new(Fault::new("tolerance", problem, hint)))
        }
    }
}

/// The rows of a sweep's CSV file.
fn points(
    text: &str,
    inputs: &[String],
    expect: &[String],
    fixed: &[(String, Value)],
) -> Result<Vec<Point>, Fault> {
    let wrong =
        |problem: String| Fault::new("", problem, "a header with the input and output names, then numbers");
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|error| wrong(error.to_string()))?.clone();
    let place = |name: &String| {
        let at = header.iter().position(|column| column == name);
        at.ok_or_else(|| wrong(format!("there is no column {name}")))
    };
    let inputs = inputs.iter().map(|name| Ok((name, place(name)?))).collect::<Result<Vec<_>, Fault>>()?;
    let expect = expect.iter().map(|name| Ok((name, place(name)?))).collect::<Result<Vec<_>, Fault>>()?;
    let mut points = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|error| wrong(error.to_string()))?;
        let line = row.position().map_or(0, csv::Position::line);
        let cell = |at: usize| match row.get(at).unwrap_or_default() {
            "" => Value::Null,
            cell => cell.parse().map_or_else(|_| Value::from(cell), Value::Number),
        };
        let given = inputs.iter().map(|(name, at)| ((*name).clone(), cell(*at)));
        let input = Value::Record(fixed.iter().cloned().chain(given).collect());
        let expect = expect.iter().map(|(name, at)| ((*name).clone(), cell(*at))).collect();
        points.push(Point { line, input, expect });
    }
    if points.is_empty() { Err(wrong("there are no rows".to_owned())) } else { Ok(points) }
}
