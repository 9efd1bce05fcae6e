//! Fields of forms: a label, a place to type, the unit, and what is wrong, each tied to the others for a screen reader.

use calc::form::Fault;
use maud::{Markup, html};

use crate::session::Session;

/// What kind of place to type in.
#[derive(Clone, Debug)]
pub(crate) enum Control {
    /// A number.
    Number,
    /// A line.
    Line,
    /// A password or PIN, not shown while it is typed: what a browser may fill in there, and whether it is digits.
    Secret(&'static str, bool),
    /// Several lines.
    Lines,
    /// One of these: value and words.
    Choice(Vec<(String, String)>),
}

/// A field.
#[derive(Clone, Debug)]
pub(crate) struct Place<'a> {
    /// Form that it stands in; a page may hold several.
    pub form: &'a str,
    /// Name.
    pub name: &'a str,
    /// What to type.
    pub label: &'a str,
    /// More about it; may be empty.
    pub help: &'a str,
    /// Unit; may be empty.
    pub unit: &'a str,
    /// Whether it may be left out.
    pub optional: bool,
    /// Place to type in.
    pub control: Control,
    /// What stands there.
    pub value: &'a str,
}

impl Place<'_> {
    /// The field, with its own faults out of all.
    pub(crate) fn html(&self, faults: &[Fault]) -> Markup {
        let id = id(self.form, self.name);
        let own: Vec<&Fault> = faults.iter().filter(|fault| fault.field == self.name).collect();
        let wrong = (!own.is_empty()).then_some("true");
        let mut told = Vec::new();
        if !self.help.is_empty() {
            told.push(format!("{id}-help"));
        }
        if !own.is_empty() {
            told.push(format!("{id}-wrong"));
        }
        let described = (!told.is_empty()).then(|| told.join(" "));
        html! {
            div.field.wrong[wrong.is_some()] {
                label for=(id) {
                    (self.label)
                    @if !self.unit.is_empty() { span.unit { ", " (self.unit) } }
                    @if self.optional { span.optional { " (may be left out)" } }
                }
                @match &self.control {
                    Control::Number => {
                        input id=(id) name=(self.name) value=(self.value) type="text" inputmode="decimal"
                            aria-invalid=[wrong] aria-describedby=[described];
                    }
                    Control::Line => {
                        input id=(id) name=(self.name) value=(self.value) type="text"
                            aria-invalid=[wrong] aria-describedby=[described];
                    }
                    Control::Secret(fill, digits) => {
                        input id=(id) name=(self.name) type="password" autocomplete=(fill) inputmode=[digits.then_some("numeric")]
                            aria-invalid=[wrong] aria-describedby=[described];
                    }
                    Control::Lines => {
                        textarea id=(id) name=(self.name) rows="4" spellcheck="false" aria-invalid=[wrong] aria-describedby=[described] {
                            (self.value)
                        }
                    }
                    Control::Choice(choices) => {
                        select id=(id) name=(self.name) aria-invalid=[wrong] aria-describedby=[described] {
                            @for (value, words) in choices {
                                option value=(value) selected[value == self.value] { (words) }
                            }
                        }
                    }
                }
                @if !self.help.is_empty() { p.help id={ (id) "-help" } { (self.help) } }
                @if !own.is_empty() {
                    div.problem id={ (id) "-wrong" } { @for fault in own { p { (in_words(fault)) } } }
                }
            }
        }
    }
}

/// Address of a field within the page.
pub(crate) fn id(form: &str, name: &str) -> String {
    let letters = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '-' };
    format!("{form}--{name}").chars().map(letters).collect()
}

/// A fault as a sentence.
pub(crate) fn in_words(fault: &Fault) -> String {
    let problem = report::pieces::capital(&fault.problem);
    if fault.hint.is_empty() {
        format!("{problem}.")
    } else {
        format!("{problem}: {}.", fault.hint.trim_end_matches('.'))
    }
}

/// All faults at the head of a form, with the way to each field; `label` knows the fields that the form shows.
pub(crate) fn summary(form: &str, faults: &[Fault], label: impl Fn(&str) -> Option<String>) -> Markup {
    let count = faults.len();
    html! {
        @if count > 0 {
            div.problems role="alert" tabindex="-1" id={ (form) "-problems" } {
                p { strong { @if count == 1 { "One thing to put right. " } @else { (count) " things to put right. " } } "Nothing was recorded." }
                ul {
                    @for fault in faults {
                        li {
                            @match label(&fault.field) {
                                Some(words) => { a href={ "#" (id(form, &fault.field)) } { (words) } ": " (in_words(fault)) },
                                None => (in_words(fault)),
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The hidden fields of a form that records something.
pub(crate) fn sealed(session: &Session, key: &str) -> Markup {
    html! {
        input type="hidden" name="token" value=(session.token);
        input type="hidden" name="key" value=(key);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_field_says_so_and_keeps_what_was_typed() {
        let field = Place {
            form: "flow",
            name: "flow_l_min",
            label: "Flow",
            help: "",
            unit: "l/min",
            optional: false,
            control: Control::Number,
            value: "\"plenty\"",
        };
        let faults = [Fault::new("flow_l_min", "not a number", "write 12.4"), Fault::new("other", "x", "")];
        let page = field.html(&faults).into_string();
        assert!(page.contains("value=\"&quot;plenty&quot;\"") && page.contains("aria-invalid=\"true\""));
        assert!(page.contains("aria-describedby=\"flow--flow-l-min-wrong\""));
        assert!(page.contains("Not a number: write 12.4.") && !page.contains("X."));
    }
}
