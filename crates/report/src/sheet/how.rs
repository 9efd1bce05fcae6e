//! How each number came about: formulas, inputs, what comes out by hand, and what the method does beyond.

use bench::working::{Term, Working};
use maud::{Markup, html};

use crate::number;

/// All workings of a circuit, behind one word.
pub(super) fn section(workings: &[Working]) -> Markup {
    html! {
        @if !workings.is_empty() {
            details.how {
                summary { "How these numbers came about" }
                div.workings { @for one in workings { (working(one)) } }
            }
        }
    }
}

fn working(one: &Working) -> Markup {
    html! {
        // Formulas hold in the units that they are written for.
        div.working data-as-typed {
            h5 { (one.number.words()) }
            @for formula in &one.formulas { p.formula { (formula) } }
            table { tbody {
                @for term in &one.inputs { (row(term)) }
                (row(&one.by_hand))
            } }
            @if let Some(found) = &one.value {
                p { span.label { "Found " } strong { (number::estimate_with_unit(found, one.by_hand.unit)) } }
            }
            p.quiet { (one.beyond) " Sources: " (one.sources.join(", ")) "." }
        }
    }
}

fn row(term: &Term) -> Markup {
    let value = number::long(term.value);
    html! {
        tr {
            th scope="row" { (term.letter) }
            td.number { "= " @if term.unit.is_empty() { (value) } @else { (number::with_unit(&value, term.unit)) } }
            td { (term.name) }
        }
    }
}
