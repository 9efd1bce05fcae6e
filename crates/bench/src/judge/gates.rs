//! The three gates: may water go in, may acid go in, may the circuit go back to the press.
//!
//! A gate is closed unless everything that opens it is known. Each closed gate names every obstacle and what
//! would remove it. Some obstacles are firm: nobody may override them, because people could be hurt.

use super::facts::{Facts, FlowGrade};
use crate::finding::{Gate, Gates, HookUpDoubt, HookUpSlip, Passage, Tightness};
use crate::limits::Materials;
use crate::mould::CircuitId;

/// An obstacle: its fixed word, and what would remove it.
struct Obstacle(&'static str, String);

/// Obstacles of the gate 'descale' that nobody may override: acid could get out, stay under pressure, or meet something
/// that it makes gas of or eats through (own choice, on the side of people).
const FIRM_FOR_ACID: [&str; 14] = [
    "leak",
    "leak-hunt-only",
    "tightness-cannot-tell",
    "tightness-outdated",
    "tightness-untested",
    "tightness-unsure",
    "blocked",
    "passage-cannot-tell",
    "passage-outdated",
    "passage-untested",
    "hoses",
    "shared-port",
    "metal-unknown",
    "seal-unknown",
];
/// The same of the gate 'release' (own choice).
const FIRM_FOR_PRESS: [&str; 1] = ["acid-left"];

pub(crate) fn gates(facts: &Facts<'_>, materials: &Materials) -> Gates {
    Gates {
        wet: gate(wet(facts), &passable_in_words(facts), &[], ""),
        descale: gate(
            descale(facts, materials),
            &format!("{}; every metal and seal is known", passable_in_words(facts)),
            &FIRM_FOR_ACID,
            "acid could reach people",
        ),
        release: gate(
            release(facts),
            "tight, passage free, flow accounted for, dried",
            &FIRM_FOR_PRESS,
            "acid left in the circuit could reach people at the press",
        ),
    }
}

fn gate(obstacles: Vec<Obstacle>, open_because: &str, firm: &[&str], why_firm: &'static str) -> Gate {
    if obstacles.is_empty() {
        return Gate::by_rule(true, open_because);
    }
    let words: Vec<&'static str> = obstacles.iter().map(|obstacle| obstacle.0).collect();
    let reason = obstacles.into_iter().map(|obstacle| obstacle.1).collect::<Vec<_>>().join("; ");
    let firm = words.iter().any(|word| firm.contains(word)).then_some(why_firm);
    Gate { obstacles: words, firm, ..Gate::by_rule(false, reason) }
}

fn passable_in_words(facts: &Facts<'_>) -> String {
    match facts.passage.water_passed_l_min {
        Some(flow) if !air_passes(facts) => format!("tight, and water has passed ({flow:.1} l/min)"),
        _ if air_passes(facts) => "tight, and air passes".to_owned(),
        _ => "tight, and the air went out through it".to_owned(),
    }
}

fn air_passes(facts: &Facts<'_>) -> bool {
    matches!(facts.passage.verdict, Passage::Free | Passage::NarrowByDesign | Passage::Restricted)
}

fn tightness(facts: &Facts<'_>) -> Option<Obstacle> {
    let tight = &facts.tightness;
    let leak = |what: &str| Some(Obstacle("leak", format!("{what}; repair it first")));
    match tight.verdict {
        Tightness::Tight => None,
        Tightness::LeaksOut => leak("leaks to the outside"),
        Tightness::LeaksAcross => leak(&format!("leaks into {}", names(&tight.across_to))),
        Tightness::Leaks => leak("leaks, and where to is not known"),
        Tightness::CannotTell => Some(Obstacle(
            "tightness-cannot-tell",
            format!(
                "the leak-down does not tell whether it is tight{}",
                tight.would_tell.as_ref().map(|what| format!("; {what}")).unwrap_or_default()
            ),
        )),
        Tightness::Untested if tight.outdated => Some(Obstacle(
            "tightness-outdated",
            "tightness was last tested before the circuit was changed; test it again".to_owned(),
        )),
        Tightness::Untested => {
            Some(Obstacle("tightness-untested", "tightness not tested; hold air in it first".to_owned()))
        }
    }
}

fn passage(facts: &Facts<'_>) -> Option<Obstacle> {
    match facts.passage.verdict {
        Passage::Free | Passage::NarrowByDesign | Passage::Restricted => None,
        Passage::Blocked => Some(Obstacle(
            "blocked",
            "blocked: water in a dead end makes opening it harder; open it until air passes".to_owned(),
        )),
        Passage::CannotTell | Passage::Untested if facts.passage.is_no_dead_end() => None,
        Passage::CannotTell => Some(Obstacle(
            "passage-cannot-tell",
            format!(
                "the air does not tell whether there is a passage{}",
                facts.passage.would_tell.as_ref().map(|what| format!("; {what}")).unwrap_or_default()
            ),
        )),
        Passage::Untested if facts.passage.outdated => Some(Obstacle(
            "passage-outdated",
            "passage was last tested before the circuit was changed; test it again".to_owned(),
        )),
        Passage::Untested => {
            Some(Obstacle("passage-untested", "passage not tested; let air through it first".to_owned()))
        }
    }
}

fn hose_doubt(facts: &Facts<'_>) -> Option<Obstacle> {
    let doubt = facts.hose_doubt.as_ref()?;
    Some(Obstacle(
        "hoses",
        match others(doubt, facts).as_slice() {
            [] => match doubt.kind {
                HookUpSlip::Missing => {
                    "its hoses seem to lead to nothing; check the hook-up and measure again".to_owned()
                }
                _ => "its supply and return seem exchanged; check the hook-up and measure again".to_owned(),
            },
            with => {
                let seem = match doubt.kind {
                    HookUpSlip::Doubled => "it seems to share a port with",
                    HookUpSlip::Bridged => "its return seems exchanged with that of",
                    HookUpSlip::Exchanged | HookUpSlip::Missing | HookUpSlip::Reversed => {
                        "its hoses seem exchanged with those of"
                    }
                };
                format!("{seem} {}; check the hook-up and measure again", names(with))
            }
        },
    ))
}

/// Two circuits on one port let air and water through even if one of them is blocked.
fn hangs_beside(facts: &Facts<'_>) -> Option<Obstacle> {
    let lost = &facts.may_hang_beside;
    (!lost.is_empty() && facts.hose_doubt.is_none()).then(|| {
        let ids = names(lost);
        Obstacle("shared-port", format!(
            "the port of {ids} may be empty, and {ids} may hang beside this circuit; look at the hoses and measure again"
        ))
    })
}

/// The other circuits of a doubt.
pub(crate) fn others(doubt: &HookUpDoubt, facts: &Facts<'_>) -> Vec<CircuitId> {
    doubt.circuits.iter().filter(|id| **id != facts.circuit.id).cloned().collect()
}

fn wet(facts: &Facts<'_>) -> Vec<Obstacle> {
    let mut obstacles: Vec<Obstacle> =
        [tightness(facts), passage(facts), hose_doubt(facts), hangs_beside(facts)]
            .into_iter()
            .flatten()
            .collect();
    if matches!(facts.tightness.verdict, Tightness::LeaksOut | Tightness::LeaksAcross | Tightness::Leaks) {
        obstacles.push(Obstacle("leak-hunt-only", "water only for a leak hunt, under watch".to_owned()));
    }
    obstacles
}

fn descale(facts: &Facts<'_>, materials: &Materials) -> Vec<Obstacle> {
    let mut obstacles = wet(facts);
    if let Some(surely) = facts.tightness.surely_below_mbar_l_s
        && facts.tightness.verdict == Tightness::Tight
        && surely >= facts.tightness.limit_mbar_l_s
    {
        obstacles.push(Obstacle("tightness-nearly-sure", format!(
            "tight enough for water, but a leak up to {surely:.2} mbar·l/s is not ruled out with the certainty that \
             acid needs{}; hold air longer",
            at_test_pressure(facts)
        )));
    }
    if facts.tightness.verdict == Tightness::Tight && facts.tightness.surely_below_mbar_l_s.is_none() {
        obstacles.push(Obstacle("tightness-unsure", "how surely it is tight is not known".to_owned()));
    }
    obstacles.extend(unknown("metal", "metal-unknown", &facts.circuit.metals, |key| {
        materials.metals.contains_key(key)
    }));
    obstacles.extend(unknown("seal", "seal-unknown", &facts.circuit.seals, |key| {
        materials.seals.contains_key(key)
    }));
    obstacles
}

/// Says so where the pressure of the test, not its length, is what closes the gate.
fn at_test_pressure(facts: &Facts<'_>) -> String {
    if facts.tightness.tested_off_limit_pressure {
        let limit = facts.tightness.limit_mbar_l_s;
        format!(
            " (below {limit:.3} at the pressure of this test, since leaks may open or shut with pressure); test at 6 bar"
        )
    } else {
        String::new()
    }
}

/// The obstacle of a circuit whose metals or seals are not all known.
fn unknown(
    what: &str,
    word: &'static str,
    keys: &[String],
    known: impl Fn(&str) -> bool,
) -> Option<Obstacle> {
    if keys.is_empty() {
        return Some(Obstacle(
            word,
            format!("no {what} is named; find out every {what} that the medium would touch"),
        ));
    }
    let strangers: Vec<&str> = keys.iter().map(String::as_str).filter(|key| !known(key)).collect();
    (!strangers.is_empty()).then(|| {
        let list = strangers.join(", ");
        Obstacle(
            word,
            format!("the {what} table does not know {list}; add it with its source, or ask its supplier"),
        )
    })
}

fn release(facts: &Facts<'_>) -> Vec<Obstacle> {
    let mut obstacles: Vec<Obstacle> = [tightness(facts), passage(facts)].into_iter().flatten().collect();
    if facts.passage.verdict == Passage::Restricted {
        obstacles.push(Obstacle("restricted", facts.passage.reason.clone()));
    }
    obstacles.extend(match facts.flow.grade() {
        FlowGrade::Good => None,
        FlowGrade::Low => Some(Obstacle("flow-low", percent_in_words(facts, "flow too low"))),
        FlowGrade::High => {
            Some(Obstacle("flow-high", percent_in_words(facts, "more flow than the circuit can have")))
        }
        FlowGrade::Unsure => Some(Obstacle("flow-unsure", percent_in_words(facts, "flow near its limit"))),
        FlowGrade::NotKnown if facts.flow.outdated => Some(Obstacle(
            "flow-outdated",
            "flow was last measured before the circuit was changed; measure it again".to_owned(),
        )),
        FlowGrade::NotKnown if facts.flow.flow_factor_m3_h.is_some() => Some(Obstacle(
            "flow-unmatched",
            "flow measured, but nothing to compare it with: no baseline, drawing or sister".to_owned(),
        )),
        FlowGrade::NotKnown if facts.flow.measured => Some(Obstacle(
            "flow-undecided",
            "flow measured, but the readings do not tell the circuit's flow factor".to_owned(),
        )),
        FlowGrade::NotKnown => Some(Obstacle("flow-unmeasured", "flow not measured".to_owned())),
    });
    obstacles.extend(hose_doubt(facts));
    if facts.acid_left {
        obstacles.push(Obstacle("acid-left", "descaled, but not rinsed since".to_owned()));
    }
    if !facts.dried {
        obstacles.push(Obstacle(
            "not-dried",
            "not dried since it was last wet; blow out, dry and note it".to_owned(),
        ));
    }
    obstacles
}

fn percent_in_words(facts: &Facts<'_>, what: &str) -> String {
    facts.flow.ratio.as_ref().map_or_else(
        || what.to_owned(),
        |ratio| {
            let percent = ratio.percent();
            format!(
                "{what}: {:.0} % of {} ({:.0} to {:.0}), limits {:.0} to {:.0} %",
                percent.value,
                ratio.compared_with,
                percent.low,
                percent.high,
                facts.flow.low_percent,
                facts.flow.high_percent
            )
        },
    )
}

pub(crate) fn names(ids: &[crate::mould::CircuitId]) -> String {
    ids.iter().map(|id| id.0.as_str()).collect::<Vec<_>>().join(", ")
}
