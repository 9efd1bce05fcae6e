//! What the editors of things on record share: small fields, the reason, and the history of a thing.

use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::moment;
use store::{AsOf, Entry, Reader, Subject};

use crate::forms::{Control, Place as Field};
use crate::problem::Problem;
use crate::typed::Typed;
use crate::units::unit;

/// A form as it is being filled in.
#[derive(Clone, Copy)]
pub(crate) struct Filling<'a> {
    /// Name of the form.
    pub form: &'a str,
    /// What stands in it.
    pub typed: &'a Typed,
    /// What is wrong.
    pub faults: &'a [Fault],
}

impl Filling<'_> {
    fn field(&self, name: &str, label: &str, help: &str, optional: bool, control: Control) -> Markup {
        Field {
            form: self.form,
            name,
            label,
            help,
            unit: unit(name),
            optional,
            control,
            value: self.typed.get(name),
        }
        .html(self.faults)
    }

    /// A line.
    pub(crate) fn line(&self, name: &str, label: &str, help: &str, optional: bool) -> Markup {
        self.field(name, label, help, optional, Control::Line)
    }

    /// A number; its unit is in its name.
    pub(crate) fn number(&self, name: &str, label: &str, help: &str, optional: bool) -> Markup {
        self.field(name, label, help, optional, Control::Number)
    }

    /// Several lines.
    pub(crate) fn lines(&self, name: &str, label: &str, help: &str, optional: bool) -> Markup {
        self.field(name, label, help, optional, Control::Lines)
    }

    /// One of these.
    pub(crate) fn choice<V: AsRef<str>, W: AsRef<str>>(
        &self,
        name: &str,
        label: &str,
        help: &str,
        choices: &[(V, W)],
    ) -> Markup {
        let choices =
            choices.iter().map(|(value, words)| (value.as_ref().to_owned(), words.as_ref().to_owned()));
        self.field(name, label, help, false, Control::Choice(choices.collect()))
    }

    /// Why something on record is changed.
    pub(crate) fn reason(&self) -> Markup {
        let help = "What stands on record now stays in the history, with this reason.";
        self.line("reason", "Why it changes", help, false)
    }
}

/// Every entry of these kinds about a thing, the newest first.
pub(crate) fn history(reader: &Reader<'_>, about: &Subject, kinds: &[&str]) -> Result<Vec<Entry>, Problem> {
    let mut all = reader.history(about, AsOf::Now)?;
    all.retain(|entry| kinds.contains(&entry.kind.as_str()));
    all.reverse();
    Ok(all)
}

/// Who said what when and why, as a list.
pub(crate) fn versions(entries: &[Entry]) -> Markup {
    html! {
        @if !entries.is_empty() {
            details.quiet-part {
                summary { "History of this" }
                ul.rows { @for entry in entries { li {
                    "Entry " (entry.number) ", " (entry.person) ", " (moment(entry.at()))
                    @if entry.kind == "withdrawal" { ", withdrawn" }
                    @if let Some(reason) = &entry.reason { span.under { (reason) } }
                } } }
            }
        }
    }
}
