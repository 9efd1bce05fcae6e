//! What the editors of things on record share: small fields, the reason, and the history of a thing.

use std::collections::BTreeMap;

use calc::form::{Fault, Value};
use maud::{Markup, html};
use report::pieces::moment;
use store::{AsOf, Entry, Reader, Subject};

use crate::forms::{Control, Place as Field};
use crate::problem::Problem;
use crate::typed::Typed;
use crate::units::{plain_name, unit};

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

/// Who said what when and why, and what each entry changed, as a list.
pub(crate) fn versions(entries: &[Entry]) -> Markup {
    html! {
        @if !entries.is_empty() {
            details.quiet-part {
                summary { "History of this" }
                ul.rows data-as-typed="numbers" { @for (at, entry) in entries.iter().enumerate() { li {
                    "Entry " (entry.number) ", " (entry.person) ", " (moment(entry.at()))
                    @if entry.kind == "withdrawal" { ", withdrawn" }
                    @if let Some(reason) = &entry.reason { span.under translate="no" { (reason) } }
                    @let changes = changes(entry, entries.get(at + 1..).unwrap_or_default());
                    @for change in changes.iter().take(SHOWN) { span.under { (change) } }
                    @if changes.len() > SHOWN { span.under { "and " (changes.len() - SHOWN) " more" } }
                } } }
            }
        }
    }
}

/// Changes of an entry that are listed (own choice).
const SHOWN: usize = 12;

/// What an entry says otherwise than the one before it; of something that stands by itself, what it says.
fn changes(entry: &Entry, earlier: &[Entry]) -> Vec<String> {
    let alike = |other: &&Entry| other.kind == entry.kind && other.subject == entry.subject;
    let beside = matches!(entry.kind.as_str(), "pin" | "calibration");
    let before = match entry.corrects {
        Some(number) => earlier.iter().find(|other| other.number == number),
        None if beside => None,
        None => earlier.iter().find(alike),
    };
    if entry.kind == "withdrawal" || (before.is_none() && !beside) {
        return Vec::new();
    }
    let (now, then) = (said(entry), before.map(said).unwrap_or_default());
    let mut names: Vec<&String> =
        then.keys().filter(|name| !now.contains_key(*name)).chain(now.keys()).collect();
    names.sort_unstable();
    let nothing = String::new();
    let change = |name: &String| {
        let (old, new) = (then.get(name).unwrap_or(&nothing), now.get(name).unwrap_or(&nothing));
        let field = in_words(name);
        match (old == new, old.is_empty(), new.is_empty()) {
            (true, ..) => None,
            (_, true, _) => Some(format!("{field}: {new}")),
            (_, _, true) => Some(format!("{field}: {old}, taken out")),
            _ => Some(format!("{field}: {old} → {new}")),
        }
    };
    names.into_iter().filter_map(change).collect()
}

/// The fields of an entry's body with their values, without the ids that say what it is about. The text of a table is
/// taken apart into its own fields.
fn said(entry: &Entry) -> BTreeMap<String, String> {
    let mut all = BTreeMap::new();
    if let Ok(read) = exchange::json::read(&entry.body) {
        for (name, value) in read.value.fields() {
            let table = value.as_text().filter(|_| name == "text").and_then(exchange::one_table::value);
            match (name.as_str(), table) {
                ("shape" | "mould" | "half" | "instrument", _) if value.as_text().is_some() => {}
                (_, Some(table)) => flat("", &table, &mut all),
                _ => flat(name, value, &mut all),
            }
        }
    }
    all
}

fn flat(path: &str, value: &Value, all: &mut BTreeMap<String, String>) {
    let join = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Record(fields) => fields.iter().for_each(|(name, value)| flat(&join(name), value, all)),
        // Places of lists count from 1 for people, and are written so that they stay in order.
        Value::List(items) => {
            for (at, item) in items.iter().enumerate() {
                flat(&join(&format!("{:03}", at + 1)), item, all);
            }
        }
        Value::Null => {}
        Value::Flag(flag) => drop(all.insert(path.to_owned(), if *flag { "yes" } else { "no" }.to_owned())),
        Value::Number(number) => drop(all.insert(path.to_owned(), number.to_string())),
        Value::Text(text) => drop(all.insert(path.to_owned(), text.clone())),
    }
}

/// A path in words: `pieces 2, length, mm`.
fn in_words(path: &str) -> String {
    let mut words = String::new();
    for part in path.split('.') {
        match part.parse::<u32>() {
            Ok(place) => words.push_str(&format!(" {place}")),
            Err(_) => {
                words.push_str(if words.is_empty() { "" } else { ", " });
                words.push_str(&plain_name(part));
            }
        }
    }
    // The one name whose ending is no unit.
    if path.ends_with("loss_k") {
        return words.replace("loss", "loss number");
    }
    let unit = unit(path);
    if unit.is_empty() { words } else { format!("{words}, {unit}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use store::Digest;

    fn entry(number: u64, kind: &str, corrects: Option<u64>, body: &str) -> Entry {
        Entry {
            number,
            at_us: 0,
            person: "KD".into(),
            kind: kind.into(),
            subject: "circuit/M/F1".into(),
            write_key: number.to_string(),
            part: 1,
            parts: 1,
            corrects,
            reason: None,
            body: body.into(),
            previous: Digest::NOTHING,
            hash: Digest::NOTHING,
        }
    }

    #[test]
    fn an_entry_says_what_it_changed() {
        let all = [
            entry(
                9,
                "pieces",
                Some(4),
                r#"{"shape": "pieces/1", "mould": "M", "known": "measured", "pieces": [{"length_mm": 425}]}"#,
            ),
            entry(
                4,
                "pieces",
                None,
                r#"{"shape": "pieces/1", "mould": "M", "known": "drawing", "pieces": [{"length_mm": 420, "loss_k": 1}]}"#,
            ),
        ];
        let said = changes(&all[0], &all[1..]);
        assert_eq!(
            said,
            [
                "known: drawing → measured",
                "pieces 1, length, mm: 420 → 425",
                "pieces 1, loss number: 1, taken out"
            ]
        );
        assert!(changes(&all[1], &[]).is_empty());
        let table =
            |text: &str| format!("{{\"shape\": \"limits/1\", \"text\": \"[[limit]]\\nvalue = {text}\\n\"}}");
        let tables = [entry(6, "limits", Some(5), &table("0.2")), entry(5, "limits", None, &table("0.1"))];
        assert_eq!(changes(&tables[0], &tables[1..]), ["limit 1, value: 0.1 → 0.2"]);
        let pin = entry(
            7,
            "pin",
            None,
            r#"{"shape": "pin/1", "mould": "M", "half": "fixed", "x_mm": 1.5, "what": "inlet"}"#,
        );
        assert_eq!(changes(&pin, &all), ["what: inlet", "x, mm: 1.5"]);
    }
}
