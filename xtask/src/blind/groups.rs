//! By what circuits are told apart on the page: what was known, what was read and with what, and what is true.

use bench::finding::{BoreState, CircuitFinding};
use bench::mould::{Circuit, Known};
use bench::visit::What;
use calc::infer::bore::AS_NEW_LOSS;
use link::{CircuitTruth, Simulated};

use super::found::connected;

/// A layer on more than this share of the path is one all along.
const WHOLE: f64 = 0.999;

/// Group that holds everything.
pub const ALL: &str = "all";

/// The state that is right, and whether 'as new' is right as well.
pub fn true_state(truth: &CircuitTruth) -> (BoreState, bool) {
    if truth.too_much.is_some() {
        return (BoreState::Unknown, truth.flow_share() < 1.0 + AS_NEW_LOSS);
    }
    let state = match (truth.plugged_branch, truth.state) {
        (Some(_), BoreState::EvenDeposit | BoreState::Mixed) => BoreState::Mixed,
        (Some(_), _) => BoreState::LocalPlug,
        (None, state) => state,
    };
    // A plugged branch is grave even where the others carry its water.
    (state, truth.plugged_branch.is_none() && truth.flow_share() > 1.0 - AS_NEW_LOSS)
}

/// Class of the rig's instruments.
pub fn instruments(played: &Simulated) -> &'static str {
    match played.visit.rig.name.as_deref() {
        Some("trial rig 1") => "instruments: ordinary",
        Some("trial rig 2") => "instruments: good",
        Some("trial rig 3") => "instruments: excellent",
        _ => "instruments: read by hand",
    }
}

/// What was known of the circuit before the visit.
pub fn known(paper: &Circuit) -> &'static str {
    match (paper.known, paper.baseline.is_some()) {
        (Known::Measured, false) => "known: pieces measured",
        (Known::Measured, true) => "known: pieces measured, baseline",
        (Known::Drawing, false) => "known: drawing",
        (Known::Drawing, true) => "known: drawing, baseline",
        (Known::Guessed, false) => "known: guessed",
        (Known::Guessed, true) => "known: guessed, baseline",
        (Known::Unknown, true) => "known: baseline only",
        (Known::Unknown, false) if paper.rough_bore.is_some() => "known: rough bore only",
        (Known::Unknown, false) => "known: nothing",
    }
}

/// Groups that the judgement could name itself; a probability has to be right in each of them.
pub fn seen(played: &Simulated, found: &CircuitFinding, paper: &Circuit) -> Vec<String> {
    let points = played
        .visit
        .entries
        .iter()
        .filter(|entry| entry.circuit.as_ref() == Some(&found.id) && matches!(entry.what, What::Flow(_)))
        .count();
    let volume = if found.filled_volume_ml.is_some() { ", volume" } else { "" };
    let read = match points {
        0 => format!("no flow{volume}"),
        1 => format!("one flow point{volume}"),
        _ => format!("sweep of {points}{volume}"),
    };
    let fits = if found.state_fits == Some(true) { "fits" } else { "does not fit" };
    vec![
        ALL.to_owned(),
        known(paper).to_owned(),
        instruments(played).to_owned(),
        format!("read: {read}"),
        format!("fit: {fits}"),
    ]
}

/// Groups that only the truth knows: where confident calls go wrong.
pub fn hidden(played: &Simulated, found: &CircuitFinding, truth: &CircuitTruth) -> Vec<&'static str> {
    let state = match (truth.too_much.is_some(), truth.plugged_branch.is_some(), truth.state) {
        (true, ..) => "more flow than there can be",
        (_, true, _) => "plugged branch of a split",
        (.., BoreState::EvenDeposit) => cover(truth),
        (.., BoreState::AsNew | BoreState::Unknown) => "as new",
        (.., BoreState::LocalPlug) => "local plug",
        (.., BoreState::Mixed) => "layer and plug",
        (.., BoreState::Rough) => "rough",
    };
    let mut groups = vec![state];
    if is_exchanged(played, found) {
        groups.push("hoses exchanged");
    }
    groups
}

/// Where a layer lies.
pub fn cover(truth: &CircuitTruth) -> &'static str {
    if truth.share_of_length.is_none_or(|share| share > WHOLE) {
        "layer all along"
    } else {
        "layer on a part of the way"
    }
}

/// Whether another circuit hung on this one's hose.
pub fn is_exchanged(played: &Simulated, found: &CircuitFinding) -> bool {
    connected(&played.truth, &found.id) != found.id
}
