//! What is wrong with a file, and what its reader should know.

use calc::form::{Fault, Value};

/// Line and column of a place in a text, both from 1; columns count characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Line.
    pub line: u64,
    /// Column.
    pub column: u64,
}

/// One thing wrong with a file.
#[derive(Clone, Debug, PartialEq)]
pub struct FileFault {
    /// Name of the file.
    pub file: String,
    /// Where in the file, if it has a place.
    pub place: Option<Place>,
    /// Path of the field, such as `reading.2.flow_l_min` (list places count from 0), or the name of the column.
    pub field: String,
    /// The value that stands there.
    pub value: Option<Value>,
    /// What is wrong.
    pub problem: String,
    /// What would be right.
    pub hint: String,
}

impl FileFault {
    /// A fault of a whole file.
    #[must_use]
    pub fn of_file(file: &str, problem: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::at(file, None, Fault::new("", problem, hint))
    }

    /// A fault at a place of a file.
    #[must_use]
    pub fn at(file: &str, place: Option<Place>, fault: Fault) -> Self {
        let Fault { field, value, problem, hint } = fault;
        Self { file: file.to_owned(), place, field, value, problem, hint }
    }
}

impl core::fmt::Display for FileFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.file)?;
        if let Some(place) = self.place {
            write!(f, ", line {}, column {}", place.line, place.column)?;
        }
        f.write_str(": ")?;
        if !self.field.is_empty() {
            write!(f, "{}", self.field)?;
            if let Some(value) = self.value.as_ref().and_then(shown) {
                write!(f, " = {value}")?;
            }
            f.write_str(": ")?;
        }
        f.write_str(&self.problem)?;
        if self.hint.is_empty() { Ok(()) } else { write!(f, "; {}", self.hint) }
    }
}

/// A value short enough to be shown in one line.
fn shown(value: &Value) -> Option<String> {
    match value {
        Value::Flag(flag) => Some(flag.to_string()),
        Value::Number(number) => Some(number.to_string()),
        Value::Text(text) => Some(format!("{:?}", text.chars().take(60).collect::<String>())),
        Value::Null | Value::List(_) | Value::Record(_) => None,
    }
}

/// Everything wrong with a set of files that belong together, in the order of files and lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FileFaults(pub Vec<FileFault>);

impl core::fmt::Display for FileFaults {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        for (at, fault) in self.0.iter().enumerate() {
            if at > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl core::error::Error for FileFaults {}

/// Something a reader of a file should know, although the file was accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Short fixed word for programs.
    pub code: &'static str,
    /// Name of the file.
    pub file: String,
    /// Where in the file, if it has a place.
    pub place: Option<Place>,
    /// One sentence.
    pub text: String,
}

impl core::fmt::Display for Notice {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.file)?;
        if let Some(place) = self.place {
            write!(f, ", line {}", place.line)?;
        }
        write!(f, ": {}", self.text)
    }
}
