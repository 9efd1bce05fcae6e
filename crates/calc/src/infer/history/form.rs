//! How files and calculators write the states of a bore and what was done to it.

use super::{Done, STATES, States, completed};
use crate::form::{Fault, Field, Kind, Value};

const SHARE: Kind = Kind::Number { low: 0.0, high: 1.0 };

/// Names of the states, in the order of [`States`].
pub const NAMES: [&str; STATES] = ["as-new", "even-deposit", "local-plug", "mixed", "rough", "unknown"];

/// Probabilities of the states by name.
pub const STATE: Kind = Kind::Record(&[
    Field::optional("as-new", SHARE, "as new"),
    Field::optional("even-deposit", SHARE, "a layer all along"),
    Field::optional("local-plug", SHARE, "one narrow place"),
    Field::optional("mixed", SHARE, "layer and narrow place"),
    Field::optional("rough", SHARE, "rough wall of the same width"),
    Field::optional("unknown", SHARE, "none of these"),
]);

/// What was done, in order; `nothing` stands alone.
pub const DONE: Kind = Kind::List {
    of: &Kind::Choice(&["nothing", "descaled", "rodded", "opened-and-repaired", "treated"]),
    least: 0,
};

/// The probabilities that a record names.
#[must_use]
pub fn named(record: &Value) -> [Option<f64>; STATES] {
    NAMES.map(|name| record.get(name).and_then(Value::as_number))
}

/// What is wrong with probabilities as a whole.
///
/// # Errors
/// One fault at `field`.
pub fn states(record: &Value, fresh: &States, field: &str) -> Result<States, Box<Fault>> {
    let named = named(record);
    let sum: f64 = named.iter().flatten().sum();
    let fault = |problem: String, hint: &str| Box::new(Fault::new(field, problem, hint));
    if named.iter().all(Option::is_none) {
        return Err(fault(
            "no state is given a probability".to_owned(),
            "give one, such as even-deposit = 0.8",
        ));
    }
    completed(&named, fresh).ok_or_else(|| {
        let hint = "probabilities from 0 to 1 that add up to 1; those left out share what is left";
        fault(format!("the probabilities add up to {sum:.3}"), hint)
    })
}

/// What was done, from its words.
///
/// # Errors
/// One fault at `field` if `nothing` stands beside something.
pub fn done(list: &Value, field: &str) -> Result<Vec<Done>, Box<Fault>> {
    let words: Vec<&str> = list.items().iter().filter_map(Value::as_text).collect();
    if words.len() > 1 && words.contains(&"nothing") {
        let hint = "give \"nothing\" alone, or leave it out";
        return Err(Box::new(Fault::new(field, "something and nothing were done at once", hint)));
    }
    Ok(words.iter().filter_map(|word| Done::ALL.into_iter().find(|done| done.word() == *word)).collect())
}
