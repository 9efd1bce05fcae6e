//! Chooses the columns that are read: what is said in the visit file first, then what the header says.

use std::collections::BTreeMap;

use super::header::{self, Heading, Meaning};
use super::units::{Against, Linear};
use super::{Quantity, Remark, TraceFault, Wanted};

/// How time is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeKind {
    /// Time run, in a unit.
    Elapsed(Linear),
    /// A clock.
    Clock,
    /// The column gives no unit: a clock if the cells look like one.
    Unsaid,
}

/// A column of values.
#[derive(Clone, Debug)]
pub struct ValueColumn {
    /// Its place.
    pub at: usize,
    /// Its name.
    pub name: String,
    /// What it holds.
    pub quantity: Quantity,
    /// How it converts.
    pub linear: Linear,
    /// Taken off then: the pressure of the surrounding air, for absolute pressures.
    pub less: f64,
}

/// The columns that are read.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Place of the time column.
    pub time_at: usize,
    /// Its name.
    pub time_name: String,
    /// How it is read.
    pub time: TimeKind,
    /// The other columns.
    pub values: Vec<ValueColumn>,
}

/// Chooses the columns.
pub fn choose(
    headings: &[Heading],
    line: u64,
    wanted: &Wanted,
) -> Result<(Plan, Vec<Remark>), Vec<TraceFault>> {
    let mut chooser =
        Chooser { headings, line, wanted, told: BTreeMap::new(), faults: Vec::new(), remarks: Vec::new() };
    chooser.apply_told();
    let time = chooser.time();
    let values: Vec<ValueColumn> = [Quantity::Pressure, Quantity::Flow, Quantity::Temperature]
        .into_iter()
        .filter_map(|quantity| chooser.value(quantity))
        .collect();
    chooser.mention_unused(time.as_ref().map(|(at, ..)| *at), &values);
    match time {
        Some((time_at, time_name, time)) if chooser.faults.is_empty() => {
            Ok((Plan { time_at, time_name, time, values }, chooser.remarks))
        }
        _ => Err(chooser.faults),
    }
}

struct Chooser<'a> {
    headings: &'a [Heading],
    line: u64,
    wanted: &'a Wanted,
    /// What the visit file says about a column; nothing for one to be ignored.
    told: BTreeMap<usize, Option<Heading>>,
    faults: Vec<TraceFault>,
    remarks: Vec<Remark>,
}

impl Chooser<'_> {
    fn fault(&mut self, column: &str, problem: impl Into<String>, hint: impl Into<String>) {
        self.faults.push(TraceFault::new(Some(self.line), column, problem, hint));
    }

    fn names(&self) -> String {
        self.headings.iter().map(|heading| heading.name.as_str()).collect::<Vec<_>>().join(", ")
    }

    /// Reads the `columns` table.
    fn apply_told(&mut self) {
        let own = &self.wanted.columns;
        let usual = self.wanted.usual_columns.iter().filter(|(name, _)| {
            !own.contains_key(*name) && self.headings.iter().any(|heading| heading.name == name.trim())
        });
        for (name, role) in own.iter().chain(usual) {
            let places: Vec<usize> = (0..self.headings.len())
                .filter(|at| self.headings.get(*at).is_some_and(|heading| heading.name == name.trim()))
                .collect();
            let field = format!("columns.{name}");
            match places.as_slice() {
                [] => {
                    let names = self.names();
                    self.fault(&field, "the trace has no such column", format!("its columns: {names}"));
                }
                [at] => match said(role) {
                    Ok(heading) => drop(self.told.insert(*at, heading)),
                    Err((problem, hint)) => self.fault(&field, problem, hint),
                },
                _ => self.fault(&field, "several columns have this name", "give each column its own name"),
            }
        }
    }

    /// What is known of a column: what was told goes before what its name says.
    fn heading(&self, at: usize) -> Option<&Heading> {
        match self.told.get(&at) {
            Some(told) => told.as_ref(),
            None => self.headings.get(at),
        }
    }

    fn name(&self, at: usize) -> String {
        self.headings.get(at).map(|heading| heading.name.clone()).unwrap_or_default()
    }

    /// The columns that may hold this; only the told ones if there are any.
    fn candidates(&self, fits: impl Fn(&Heading) -> bool) -> Vec<usize> {
        let all = (0..self.headings.len()).filter(|at| self.heading(*at).is_some_and(&fits));
        let (told, guessed): (Vec<usize>, Vec<usize>) = all.partition(|at| self.told.contains_key(at));
        if told.is_empty() { guessed } else { told }
    }

    fn time(&mut self) -> Option<(usize, String, TimeKind)> {
        let is_time = |heading: &Heading| heading.meaning == Some(Meaning::Quantity(Quantity::Time));
        let told_clock = self.candidates(|heading| heading.meaning == Some(Meaning::Clock));
        let told_clock: Vec<usize> = told_clock.into_iter().filter(|at| self.told.contains_key(at)).collect();
        let elapsed = self.candidates(|heading| is_time(heading) && heading.unit.is_some());
        let clocks = self.candidates(|heading| heading.meaning == Some(Meaning::Clock));
        let unsaid = self.candidates(|heading| is_time(heading) && heading.unit.is_none());
        let chosen = match (told_clock.first(), elapsed.as_slice()) {
            (Some(at), _) => (*at, TimeKind::Clock),
            (None, [at]) => (*at, TimeKind::Elapsed(self.heading(*at)?.unit?.linear)),
            (None, [first, second, ..]) => {
                let (first, second) = (self.name(*first), self.name(*second));
                let hint = format!(
                    "say which one: columns = {{ \"{first}\" = \"time_s\", \"{second}\" = \"ignore\" }}"
                );
                self.fault(&second, format!("two columns with times: {first}, {second}"), hint);
                return None;
            }
            (None, []) => match (clocks.first(), unsaid.first()) {
                (Some(at), _) => (*at, TimeKind::Unsaid),
                (None, Some(at)) => (*at, TimeKind::Unsaid),
                (None, None) => {
                    let names = self.names();
                    self.fault(
                        "",
                        "no time column",
                        format!("the columns are {names}; {}", how_to_tell("time_s")),
                    );
                    return None;
                }
            },
        };
        Some((chosen.0, self.name(chosen.0), chosen.1))
    }

    fn value(&mut self, quantity: Quantity) -> Option<ValueColumn> {
        let needed = quantity == self.wanted.needed;
        let found = self.candidates(|heading| heading.meaning == Some(Meaning::Quantity(quantity)));
        let word = quantity.word();
        match found.as_slice() {
            [] => {
                if needed {
                    let hint =
                        format!("the columns are {}; {}", self.names(), how_to_tell(quantity.own_name()));
                    self.fault("", format!("no {word} column"), hint);
                }
                None
            }
            [at] => self.complete(*at, quantity, needed),
            [first, second, ..] => {
                let (first, second) = (self.name(*first), self.name(*second));
                let hint = format!(
                    "say which one: columns = {{ \"{first}\" = \"{}\", \"{second}\" = \"ignore\" }}",
                    quantity.own_name()
                );
                let problem = format!("two columns with a {word}: {first}, {second}");
                self.unsure(needed, &second, problem, hint);
                None
            }
        }
    }

    fn complete(&mut self, at: usize, quantity: Quantity, needed: bool) -> Option<ValueColumn> {
        let name = self.name(at);
        let heading = self.heading(at)?;
        let Some(unit) = heading.unit else {
            let hint = format!("write the unit into the header, or {}", how_to_tell(quantity.own_name()));
            self.unsure(needed, &name, "the column gives no unit".to_owned(), hint);
            return None;
        };
        let less = match (quantity, heading.against) {
            (Quantity::Pressure, None) => {
                let hint = format!(
                    "write bar g or bar abs into the header, or {}",
                    how_to_tell("pressure_bar_g\" or \"pressure_bar_abs")
                );
                self.unsure(needed, &name, "gauge or absolute pressure is not said".to_owned(), hint);
                return None;
            }
            (Quantity::Pressure, Some(Against::Absolute)) => self.wanted.atmosphere.bar(),
            _ => 0.0,
        };
        if less > 0.0 {
            let text =
                format!("column {name} is absolute; {less} bar were taken off for the surrounding air");
            self.remarks.push(Remark { code: "absolute-pressure", line: Some(self.line), text });
        }
        Some(ValueColumn { at, name, quantity, linear: unit.linear, less })
    }

    /// A needed column that is not sure is refused; another one is left out.
    fn unsure(&mut self, needed: bool, column: &str, problem: String, hint: String) {
        if needed {
            self.fault(column, problem, hint);
        } else {
            let text = format!("column {column} was left out: {problem}");
            self.remarks.push(Remark { code: "column-left-out", line: Some(self.line), text });
        }
    }

    fn mention_unused(&mut self, time: Option<usize>, values: &[ValueColumn]) {
        let used = |at: usize| Some(at) == time || values.iter().any(|column| column.at == at);
        let unused = (0..self.headings.len()).filter(|at| !used(*at) && !self.told.contains_key(at));
        let unused: Vec<String> = unused.map(|at| self.name(at)).filter(|name| !name.is_empty()).collect();
        if !unused.is_empty() {
            let text = format!("columns not used: {}", unused.join(", "));
            self.remarks.push(Remark { code: "columns-not-used", line: Some(self.line), text });
        }
    }
}

fn how_to_tell(own: &str) -> String {
    format!("say in the visit file: columns = {{ \"name of the column\" = \"{own}\" }}")
}

/// What the visit file says a column holds; nothing for one to be ignored.
fn said(role: &str) -> Result<Option<Heading>, (&'static str, &'static str)> {
    let hint = "give quantity and unit, such as pressure_bar_g, pressure_psi_abs, flow_gpm, time_s; or clock, or ignore";
    if role == "ignore" {
        return Ok(None);
    }
    let heading = header::read(role);
    match heading.meaning {
        Some(Meaning::Clock) => Ok(Some(heading)),
        Some(Meaning::Quantity(quantity)) if heading.unit.is_some() => {
            if quantity == Quantity::Pressure && heading.against.is_none() {
                return Err((
                    "gauge or absolute is not said",
                    "end the name in _g or _abs, such as pressure_psi_g",
                ));
            }
            Ok(Some(heading))
        }
        _ => Err(("this does not say what the column holds", hint)),
    }
}
