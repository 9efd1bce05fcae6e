//! The forms about people: somebody new, what somebody may do, their password and PIN.

use calc::form::Fault;
use maud::{Markup, html};
use store::shapes::Person;

use super::people::{Answer, ROLES, Row, role_word};
use crate::access::called;
use crate::app::App;
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::encoded;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

/// Said where somebody could be anybody.
pub(super) fn without_password(app: &App, open: &[String]) -> Markup {
    html! {
        @if !open.is_empty() {
            p.about {
                "Without a password: " (open.join(", ")) ". "
                @if app.access.asks_for_proof() {
                    "They cannot sign in; Borewise will not open to other machines again before each has one."
                } @else {
                    "Anybody at this machine can record in their name. Borewise opens to other machines once each has one."
                }
            }
        }
    }
}

pub(super) fn line(row: &Row) -> Markup {
    let Row { person, password, pin } = row;
    html! {
        tr.gone[!person.active] {
            th.name scope="row" { (person.id) span.under { (person.name) } }
            td { (role_word(person.role)) @if !person.active { span.under { "has left" } } }
            td { @match (password, pin) {
                (true, true) => "password, PIN",
                (true, false) => "password",
                (false, true) => "PIN",
                (false, false) => "name alone",
            } }
        }
    }
}

/// The forms for one person: what they are, and their password and PIN.
pub(super) fn change_forms(session: &Session, row: &Row, answer: Option<&Answer<'_>>) -> Markup {
    let person = &row.person;
    let (role_form, secret_form) = (format!("role-{}", person.id), format!("secret-{}", person.id));
    let (typed, faults) = Answer::of(answer, &role_form);
    let (_, secret_faults) = Answer::of(answer, &secret_form);
    let own = person.id == session.person;
    let value = |name: &str, known: &str| typed.map_or(known.to_owned(), |typed| typed.get(name).to_owned());
    let (name, role) = (value("name", &person.name), value("role", role_word(person.role)));
    let here = value("active", if person.active { "yes" } else { "no" });
    let field = |name, label, control, value| line_field(&role_form, name, label, "", control, value);
    let roles: Vec<(&str, &str)> = ROLES.iter().map(|(_, word, _)| (*word, *word)).collect();
    let address = format!("/people/{}", encoded(&person.id));
    html! {
        details.form open[!faults.is_empty() || !secret_faults.is_empty()] {
            summary { (called(person)) }
            form.entry method="post" action=(address) novalidate {
                (summary(&role_form, faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    (field("name", "Name", Control::Line, &name).html(faults))
                    @if own { input type="hidden" name="role" value=(role); input type="hidden" name="active" value=(here); }
                    @else {
                        (field("role", "Role", choice(&roles), &role).html(faults))
                        (field("active", "Still here", choice(&[("yes", "works here"), ("no", "has left")]), &here).html(faults))
                    }
                }
                button type="submit" { "Record the change" }
                @if own { p.help { "Your own role is changed by another administrator." } }
                @else { p.help { "Whoever has left is signed out everywhere at once; password and PIN are forgotten." } }
            }
            @if person.active && !own { (secret_form_of(session, person, answer)) }
        }
    }
}

/// The form for password and PIN of somebody else.
fn secret_form_of(session: &Session, person: &Person, answer: Option<&Answer<'_>>) -> Markup {
    let form = format!("secret-{}", person.id);
    let (_, faults) = Answer::of(answer, &form);
    let address = format!("/people/{}/secret", encoded(&person.id));
    let field = |name, words, help, control| line_field(&form, name, words, help, control, "");
    let away = choice(&[("", "nothing"), ("pin", "the PIN"), ("all", "password and PIN")]);
    let pin_help = "For the change of person at the shared bench: 4 to 8 digits. Left empty, it stays.";
    html! {
        form.entry.small-form method="post" action=(address) novalidate {
            (summary(&form, faults, label))
            (sealed(session, &fresh_key()))
            div.fields {
                (field("password", "New password", "Left empty, it stays as it is.", Control::Secret("new-password", false)).html(faults))
                (field("pin", "New PIN", pin_help, Control::Secret("off", true)).html(faults))
                (field("forget", "Take away", "", away).html(faults))
            }
            button type="submit" { "Set" }
            p.help { "It ends the sessions of " (person.id) ". Ask " (person.id) " to choose an own one on My page." }
        }
    }
}

fn choice(pairs: &[(&str, &str)]) -> Control {
    Control::Choice(pairs.iter().map(|(value, words)| ((*value).to_owned(), (*words).to_owned())).collect())
}

pub(super) fn add_form(app: &App, session: &Session, answer: Option<&Answer<'_>>) -> Markup {
    let (typed, faults) = Answer::of(answer, "add");
    let nothing = Typed::default();
    let typed = typed.unwrap_or(&nothing);
    let role = typed.given("role").unwrap_or("technician");
    let roles = ROLES.iter().map(|(_, word, _)| ((*word).to_owned(), (*word).to_owned())).collect();
    let help = if app.access.asks_for_proof() {
        "Without one, only a viewer can be added."
    } else {
        "May be left out at this machine."
    };
    html! {
        form.entry method="post" action="/people" novalidate {
            (summary("add", faults, label))
            (sealed(session, &typed.given("key").map_or_else(fresh_key, str::to_owned)))
            (person_fields("add", typed, faults))
            div.fields {
                (line_field("add", "role", "Role", "", Control::Choice(roles), role).html(faults))
                (line_field("add", "password", "First password", help, Control::Secret("new-password", false), "").html(faults))
            }
            button type="submit" { "Add" }
        }
    }
}

/// The fields for name and short name.
pub(super) fn person_fields(form: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let short = "Initials, for example: it stands beside each reading, and cannot be changed later.";
    html! {
        div.fields {
            (line_field(form, "name", "Name", "As it should stand on papers.", Control::Line, typed.get("name")).html(faults))
            (line_field(form, "short", "Short name", short, Control::Line, typed.get("short")).html(faults))
        }
    }
}

/// A field of the forms about people.
pub(crate) fn line_field<'a>(
    form: &'a str,
    name: &'a str,
    label: &'a str,
    help: &'a str,
    control: Control,
    value: &'a str,
) -> Field<'a> {
    Field { form, name, label, help, unit: "", optional: false, control, value }
}

/// What the fields of these forms are called.
pub(super) fn label(name: &str) -> Option<String> {
    let words = match name {
        "name" => "Name",
        "short" => "Short name",
        "role" => "Role",
        "active" => "Still here",
        "password" => "Password",
        "current" => "Password so far",
        "pin" => "PIN",
        "forget" => "Take away",
        "token_name" => "Name of the token",
        "person" => "Answers for it",
        _ => return None,
    };
    Some(words.to_owned())
}
