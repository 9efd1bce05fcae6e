//! A number that is unlikely is asked about before it is recorded: what was meant, or as typed.

use bench::plausible::{Number, Question, questions};
use bench::visit::Entry;
use maud::{Markup, html};
use report::Units;
use report::pieces::capital;
use store::AsOf;

use super::definitions::Form;
use super::reading::Spot;
use crate::app::App;
use crate::problem::Problem;
use crate::session::Session;
use crate::typed::Typed;
use crate::units::unit;

/// Name of the buttons that answer.
const SURE: &str = "sure";

/// A number that is asked about.
pub(crate) struct Asking {
    /// Its field.
    pub field: &'static str,
    /// What was meant, most likely, as it would be typed.
    pub meant: String,
    typed: String,
    label: String,
    unit: &'static str,
    reason: String,
}

/// How somebody answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Not yet.
    Nothing,
    /// What was typed is right, or there was nothing to ask.
    Kept,
    /// What was meant is taken.
    Corrected,
}

/// What there is to ask about a reading that could be recorded.
pub(crate) fn about(
    app: &App,
    spot: &Spot,
    session: &Session,
    form: &Form,
    typed: &Typed,
    entry: &Entry,
) -> Result<Vec<Asking>, Problem> {
    let (mould, visit) = app.store.read(|reader| {
        Ok((reader.mould(&spot.mould, AsOf::Now)?, reader.visit(&spot.mould, &spot.visit, AsOf::Now)?))
    })?;
    let all = questions(&mould, &visit, entry);
    Ok(all.into_iter().filter_map(|question| asking(question, session.units, form, typed)).collect())
}

fn asking(question: Question, units: Units, form: &Form, typed: &Typed) -> Option<Asking> {
    let field = field(question.number);
    let own = unit(field);
    Some(Asking {
        field,
        meant: units.to_type(question.meant(), own),
        // A number that came out of a pasted trace or another field has nothing to correct here.
        typed: typed.given(field)?.to_owned(),
        label: form.label(field)?,
        unit: units.shown(own),
        reason: format!("{}: {}", question.reason, question.slip.words(question.number)),
    })
}

/// The field of a visit file that holds this number.
pub(crate) const fn field(number: Number) -> &'static str {
    match number {
        Number::Flow => "flow_l_min",
        Number::PressureIn => "pressure_in_bar_g",
        Number::PressureOut => "pressure_out_bar_g",
        Number::Start => "start_bar_g",
        Number::End => "end_bar_g",
        Number::Time => "seconds",
        Number::WaterTemperature => "water_temperature_deg_c",
        Number::Drained => "drained_ml",
    }
}

/// What the answer is about: whoever changes a number after the question is asked again.
fn stamp(all: &[Asking]) -> String {
    all.iter().map(|one| format!(" {}={}", one.field, one.typed)).collect()
}

/// How the questions were answered, if they were.
pub(crate) fn answered(all: &[Asking], typed: &Typed) -> Answer {
    let given = typed.get(SURE);
    match given.split_once(' ') {
        _ if all.is_empty() => Answer::Kept,
        Some(("kept", about)) if about == stamp(all).trim_start() => Answer::Kept,
        Some(("meant", about)) if about == stamp(all).trim_start() => Answer::Corrected,
        _ => Answer::Nothing,
    }
}

/// The questions, with their three answers.
pub(crate) fn panel(form: &Form, all: &[Asking]) -> Markup {
    let numbers = |number: fn(&Asking) -> &str| {
        all.iter().map(|one| format!("{}\u{202f}{}", number(one), one.unit)).collect::<Vec<_>>().join(" and ")
    };
    html! {
        @if !all.is_empty() {
            div.question role="alert" tabindex="-1" id={ (form.word) "-question" } {
                p { strong data-as-typed="numbers" { "Did you mean " (numbers(|one| &one.meant)) "?" } " Nothing is recorded yet." }
                ul { @for one in all {
                    li { a href={ "#" (crate::forms::id(form.word, one.field)) } { (one.label) } ": " (capital(&one.reason)) }
                } }
                div.beside {
                    button type="submit" name=(SURE) value={ "meant" (stamp(all)) } { "Record " span data-as-typed="numbers" { (numbers(|one| &one.meant)) } }
                    button.quiet-button type="submit" name=(SURE) value={ "kept" (stamp(all)) } { "Keep " span data-as-typed="numbers" { (numbers(|one| &one.typed)) } }
                    span { "or change it below and record." }
                }
            }
        }
    }
}
