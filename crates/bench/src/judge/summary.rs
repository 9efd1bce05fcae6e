//! The visit as a whole: whether the mould is fit, and the most important sentences.

use super::cautions;
use super::cross::{Map, Watch};
use crate::finding::{
    CircuitFinding, Findings, Fitness, HookUpDoubt, LimitUsed, NextStep, Passage, Tightness, Warning,
};
use crate::limits::{Limit, Tables};
use crate::mould::{CircuitId, Mould, Process};
use crate::picture::{LeakMap, LeakPath};
use crate::visit::Visit;
use calc::numeric::stats::normal_below;

/// A way out that no leak-down confirms is drawn from this probability on (own choice).
const OUT_SHOWN: f64 = 0.5;
/// Probability that a verdict of the leak-down keeps on its side of the limit.
const GUARD_BAND: f64 = 0.95;

/// Findings of the visit from those of its circuits.
pub(crate) fn findings(
    mould: &Mould,
    visit: &Visit,
    tables: &Tables,
    circuits: Vec<CircuitFinding>,
    hook_up_doubts: Vec<HookUpDoubt>,
    warnings: Vec<Warning>,
    leak_map: Option<LeakMap>,
) -> Findings {
    let fit = fitness(&circuits);
    let mut all: Vec<&'static str> = Vec::new();
    for caution in circuits.iter().flat_map(|circuit| circuit.cautions.iter().copied()) {
        if !all.contains(&caution) {
            all.push(caution);
        }
    }
    all.push(cautions::AUTHORITY);
    Findings {
        method: super::METHOD,
        mould: mould.id.clone(),
        mould_name: mould.name.clone(),
        visit: visit.id.clone(),
        started: visit.started,
        by: visit.by.clone(),
        rig: visit.rig.name.clone(),
        fit_for_press: fit,
        headline: match fit {
            Fitness::Yes => "Ready for the press".to_owned(),
            Fitness::No => "Not ready for the press".to_owned(),
            Fitness::CannotTell => "Not yet known whether it is ready for the press".to_owned(),
        },
        because: because(&circuits, &hook_up_doubts),
        next: next(&circuits),
        circuits,
        hook_up_doubts,
        warnings,
        limits: limits(mould, tables),
        cautions: all,
        leak_map,
        rig_check: None,
    }
}

/// A fault beyond doubt makes it unfit; open questions leave it undecided.
fn fitness(circuits: &[CircuitFinding]) -> Fitness {
    if circuits.iter().any(faulty) {
        Fitness::No
    } else if !circuits.is_empty() && circuits.iter().all(|circuit| circuit.gates.release.opens_by_rule()) {
        Fitness::Yes
    } else {
        Fitness::CannotTell
    }
}

fn leaks(circuit: &CircuitFinding) -> bool {
    matches!(circuit.tightness, Tightness::LeaksOut | Tightness::LeaksAcross | Tightness::Leaks)
}

fn faulty(circuit: &CircuitFinding) -> bool {
    leaks(circuit)
        || matches!(circuit.passage, Passage::Blocked | Passage::Restricted)
        || matches!(
            circuit.next_step,
            NextStep::Descale | NextStep::Open | NextStep::Repair | NextStep::Retire
        )
}

/// What is wrong, gravest first, with the circuits it concerns.
fn because(circuits: &[CircuitFinding], doubts: &[HookUpDoubt]) -> Vec<String> {
    let named = |wanted: &dyn Fn(&CircuitFinding) -> bool, one: &str, many: &str| {
        let ids: Vec<&str> =
            circuits.iter().filter(|circuit| wanted(circuit)).map(|circuit| circuit.id.0.as_str()).collect();
        match ids.as_slice() {
            [] => None,
            [id] => Some(format!("{id} {one}")),
            _ => Some(format!("{} {many}: {}", ids.len(), ids.join(", "))),
        }
    };
    let across = |c: &CircuitFinding| c.tightness == Tightness::LeaksAcross;
    let out = |c: &CircuitFinding| matches!(c.tightness, Tightness::LeaksOut | Tightness::Leaks);
    let blocked = |c: &CircuitFinding| c.passage == Passage::Blocked;
    let descale = |c: &CircuitFinding| c.next_step == NextStep::Descale;
    let narrow = |c: &CircuitFinding| c.next_step == NextStep::Open && c.passage != Passage::Blocked;
    let open_question = |c: &CircuitFinding| c.next_step == NextStep::FindOut && !leaks(c);
    let wet = |c: &CircuitFinding| c.next_step == NextStep::Leave && !c.gates.release.open;
    let against = |c: &CircuitFinding| c.gates.release.open && !c.gates.release.opens_by_rule();
    let mut lines: Vec<String> = [
        named(&across, "leaks into a neighbour", "leak into neighbours"),
        named(&out, "leaks", "leak"),
        named(&blocked, "has no passage", "have no passage"),
        named(&narrow, "has a narrow place", "have a narrow place"),
        named(&descale, "is scaled", "are scaled"),
        named(&open_question, "needs a further reading", "need a further reading"),
        named(&wet, "is good but not yet released", "are good but not yet released"),
        named(&against, "may be released against the rule only", "may be released against the rule only"),
    ]
    .into_iter()
    .flatten()
    .collect();
    lines.extend(doubts.iter().map(|doubt| {
        let ids = doubt.circuits.iter().map(|id| id.0.as_str()).collect::<Vec<_>>().join(" and ");
        format!("hoses of {ids} may be exchanged")
    }));
    if lines.is_empty() {
        lines.push(format!("all {} circuits tight, free and dry", circuits.len()));
    }
    lines
}

/// The step to take first: doubts about hoses, then what needs no water, then water, then acid.
fn next(circuits: &[CircuitFinding]) -> String {
    let rank = |circuit: &CircuitFinding| match circuit.next_step {
        NextStep::FindOut if leaks(circuit) => 1,
        NextStep::FindOut if circuit.reason.contains("exchanged") => 0,
        NextStep::Repair | NextStep::Retire => 2,
        NextStep::Open => 3,
        NextStep::FindOut => 4,
        NextStep::Descale => 5,
        NextStep::Leave => 6,
    };
    let first = circuits.iter().min_by_key(|circuit| rank(circuit));
    match first {
        None => "No circuit is named in the mould file".to_owned(),
        Some(circuit) if circuit.next_step == NextStep::Leave => {
            let waiting: Vec<&CircuitFinding> =
                circuits.iter().filter(|other| !other.gates.release.open).collect();
            waiting.first().map_or_else(
                || "Tag and release".to_owned(),
                |other| format!("{}: {}", other.id, other.gates.release.reason),
            )
        }
        Some(circuit) => match &circuit.best_next_reading {
            Some(reading) => format!("{}: {reading}", circuit.id),
            None => format!("{}: {}", circuit.id, circuit.reason),
        },
    }
}

/// Whether the leak-down of a circuit leaves open whether it leaks, or where to.
fn undecided(circuit: &CircuitFinding) -> bool {
    matches!(circuit.tightness, Tightness::Leaks | Tightness::CannotTell | Tightness::Untested)
}

/// Who leaks into whom and to the outside, if anybody was watched: what all readings say together, and beside it every
/// sure rise and sure leak that stands for itself. A next test is named only while a leak-down or a
/// path leaves a question open.
pub(crate) fn leak_map(circuits: &[CircuitFinding], watches: &[Watch], found: &Map) -> Option<LeakMap> {
    if watches.is_empty() && found.paths.is_empty() {
        return None;
    }
    let leaking = |id: &CircuitId| circuits.iter().any(|circuit| circuit.id == *id && leaks(circuit));
    let mut paths: Vec<LeakPath> = found
        .paths
        .iter()
        .filter(|path| path.to.is_some() || path.probability >= OUT_SHOWN || leaking(&path.from))
        .cloned()
        .collect();
    for watch in watches.iter().filter(|watch| watch.rise.is_sure()) {
        let ends = [(&watch.charged, Some(&watch.watched)), (&watch.watched, Some(&watch.charged))];
        if !paths.iter().any(|path| ends.contains(&(&path.from, path.to.as_ref()))) {
            paths.push(LeakPath {
                from: watch.charged.clone(),
                to: Some(watch.watched.clone()),
                rate_mbar_l_s: watch.rise.rate_mbar_l_s,
                probability: normal_below(watch.rise.slope_mbar_s / watch.rise.slope_standard_mbar_s),
                opens_above_bar: None,
            });
        }
    }
    for circuit in circuits.iter().filter(|circuit| circuit.tightness == Tightness::LeaksOut) {
        let Some(rate_mbar_l_s) = circuit.leak_rate_mbar_l_s else { continue };
        match paths.iter_mut().find(|path| path.from == circuit.id && path.to.is_none()) {
            // The leak-down watched longer and knows the rate better; the verdict is at least as sure as its guard band.
            Some(path) => {
                (path.rate_mbar_l_s, path.probability) = (rate_mbar_l_s, path.probability.max(GUARD_BAND));
            }
            None => paths.push(LeakPath {
                from: circuit.id.clone(),
                to: None,
                rate_mbar_l_s,
                probability: GUARD_BAND,
                opens_above_bar: None,
            }),
        }
    }
    let sender_open = paths.iter().any(|path| path.to.is_some() && path.probability < GUARD_BAND);
    let worth_it = sender_open || circuits.iter().any(undecided);
    Some(LeakMap {
        circuits: circuits.iter().map(|circuit| circuit.id.clone()).collect(),
        paths,
        next_test: found.next_test.clone().filter(|_| worth_it),
    })
}

/// The limits applied, each followed by the figures that conflict with it.
fn limits(mould: &Mould, tables: &Tables) -> Vec<LimitUsed> {
    let leak = match mould.process {
        Process::InjectionMoulding => &tables.limits.leak_rate,
        Process::DieCasting => &tables.limits.leak_rate_die_casting,
    };
    let limits = &tables.limits;
    let used = [leak, &limits.flow_low, &limits.flow_high, &limits.reynolds, &limits.narrow_conductance];
    used.into_iter().flat_map(shown).collect()
}

fn shown(limit: &Limit) -> Vec<LimitUsed> {
    let mut rows = vec![LimitUsed {
        name: limit.title.clone(),
        value: limit.value,
        source: limit.source.clone(),
        owner: limit.owner.clone(),
        applied: true,
    }];
    rows.extend(limit.others.iter().map(|(value, source)| LimitUsed {
        name: limit.title.clone(),
        value: *value,
        source: source.clone(),
        owner: String::new(),
        applied: false,
    }));
    rows
}
