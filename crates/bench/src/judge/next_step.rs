//! What to do next with a circuit, why, and which further reading would help most.

use super::bore::DECIDED;
use super::facts::{Facts, FlowGrade, Ratio};
use super::gates::{names, others};
use crate::finding::{Gates, HookUpSlip, NextStep, Passage, Tightness};
use calc::infer::bore::BoreState;

/// A step with its reason.
pub(crate) struct Advice {
    pub(crate) step: NextStep,
    pub(crate) reason: String,
    pub(crate) best_next_reading: Option<String>,
}

impl Advice {
    fn new(step: NextStep, reason: impl Into<String>) -> Self {
        Self { step, reason: reason.into(), best_next_reading: None }
    }

    fn read(self, reading: impl Into<String>) -> Self {
        Self { best_next_reading: Some(reading.into()), ..self }
    }
}

const LEAK_DOWN: &str = "leak-down: 6 bar, settle 10 s, watch 60 s (3 minutes)";
const PASSAGE: &str = "air passage: a reservoir emptied through the circuit (2 minutes)";
const LOOK_INSIDE: &str = "look inside: endoscope through the nearest plug (10 minutes)";
const FLOW: &str = "flow alone, others closed, with both pressures and the water temperature (4 minutes)";
const WATCH: &str = "cross-watch: charge this circuit, close and watch its neighbours for 60 s (4 minutes)";

/// The next step; the first thing that stands in the way decides.
pub(crate) fn advise(facts: &Facts<'_>, gates: &Gates) -> Advice {
    doubt(facts)
        .or_else(|| blocked(facts))
        .or_else(|| leaking(facts))
        .or_else(|| untested(facts))
        .or_else(|| flow(facts, gates))
        .unwrap_or_else(|| fine(facts))
}

fn doubt(facts: &Facts<'_>) -> Option<Advice> {
    let doubt = facts.hose_doubt.as_ref()?;
    let with = names(&others(doubt, facts));
    let reason = match doubt.kind {
        HookUpSlip::Exchanged => {
            format!("The readings fit better if its hoses and those of {with} are exchanged")
        }
        HookUpSlip::Missing => "The readings fit better if its hoses lead to nothing".to_owned(),
        HookUpSlip::Doubled => format!("The readings fit better if it shares a port with {with}"),
        HookUpSlip::Bridged => {
            format!("The readings fit better if its return and that of {with} are exchanged")
        }
        HookUpSlip::Reversed => "The gauges show its outlet above its inlet".to_owned(),
    };
    Some(Advice::new(NextStep::FindOut, reason).read(doubt.settled_by.clone()))
}

fn blocked(facts: &Facts<'_>) -> Option<Advice> {
    (facts.passage.verdict == Passage::Blocked).then(|| {
        Advice::new(NextStep::Open, format!("{}: keep water out until air passes", facts.passage.reason))
            .read("air passage again, from the other end too (3 minutes)")
    })
}

fn leaking(facts: &Facts<'_>) -> Option<Advice> {
    let rate = || {
        facts.tightness.leak_rate_mbar_l_s.map_or_else(String::new, |rate| {
            format!(" {:.2} mbar·l/s ({:.2} to {:.2})", rate.value, rate.low, rate.high)
        })
    };
    match facts.tightness.verdict {
        Tightness::LeaksAcross if facts.repaired => Some(Advice::new(
            NextStep::Retire,
            format!(
                "Still loses air into {} after a repair: take it out of service",
                names(&facts.tightness.across_to)
            ),
        )),
        Tightness::LeaksAcross => Some(Advice::new(
            NextStep::Repair,
            format!(
                "Loses{} into {}: a wall eaten through until shown otherwise, do not descale{}",
                rate(),
                names(&facts.tightness.across_to),
                facts.tightness.kind_in_words()
            ),
        )),
        Tightness::LeaksOut => Some(Advice::new(
            NextStep::Repair,
            format!(
                "Loses{} to the outside: look at hoses, plugs and seals first, then repair{}",
                rate(),
                facts.tightness.kind_in_words()
            ),
        )),
        Tightness::Leaks => Some(
            Advice::new(NextStep::FindOut, format!("Loses{}, and where to is not known", rate())).read(WATCH),
        ),
        _ => None,
    }
}

fn untested(facts: &Facts<'_>) -> Option<Advice> {
    match facts.tightness.verdict {
        Tightness::Untested if facts.tightness.outdated => {
            return Some(
                Advice::new(NextStep::FindOut, "Changed since its leak-down: test again").read(LEAK_DOWN),
            );
        }
        Tightness::Untested => {
            return Some(Advice::new(NextStep::FindOut, "Not yet tested for leaks").read(LEAK_DOWN));
        }
        Tightness::CannotTell => {
            let what = facts.tightness.would_tell.clone().unwrap_or_else(|| LEAK_DOWN.to_owned());
            return Some(
                Advice::new(NextStep::FindOut, "The leak-down does not tell whether it is tight").read(what),
            );
        }
        _ => {}
    }
    match facts.passage.verdict {
        Passage::Untested if !facts.passage.is_no_dead_end() => {
            Some(Advice::new(NextStep::FindOut, "Not yet known whether air passes").read(PASSAGE))
        }
        Passage::CannotTell if !facts.passage.is_no_dead_end() => {
            let what = facts.passage.would_tell.clone().unwrap_or_else(|| PASSAGE.to_owned());
            Some(Advice::new(NextStep::FindOut, facts.passage.reason.clone()).read(what))
        }
        _ => None,
    }
}

fn flow(facts: &Facts<'_>, gates: &Gates) -> Option<Advice> {
    match facts.flow.grade() {
        FlowGrade::Low => Some(low_flow(facts, gates)),
        FlowGrade::High => Some(
            Advice::new(
                NextStep::FindOut,
                format!(
                    "More flow than it can have ({}): baffle or plug missing, short cut, hose straight back, or wrong port",
                    percent(facts)
                ),
            )
            .read("follow the hoses, then the filled volume (5 minutes)"),
        ),
        FlowGrade::Unsure => Some(unsure_flow(facts)),
        FlowGrade::NotKnown if facts.passage.verdict == Passage::Restricted => {
            Some(Advice::new(NextStep::FindOut, facts.passage.reason.clone()).read(FLOW))
        }
        FlowGrade::NotKnown if facts.flow.flow_factor_m3_h.is_none() && facts.flow.measured => Some(
            Advice::new(NextStep::FindOut, "Flow measured, but the readings do not tell the circuit's flow factor")
                .read(format!("{FLOW}, at the mould's own ports or through short wide hoses, gauges zeroed")),
        ),
        FlowGrade::NotKnown if facts.flow.flow_factor_m3_h.is_none() => {
            Some(Advice::new(NextStep::FindOut, "Tight and open, flow not yet measured").read(FLOW))
        }
        FlowGrade::NotKnown => Some(
            Advice::new(NextStep::FindOut, "Flow measured, but nothing to compare it with")
                .read("bore and length from the steel, or the flow of a sister circuit (5 minutes)"),
        ),
        FlowGrade::Good => None,
    }
}

/// A flow whose interval reaches beyond a limit: the reading is too coarse, or nobody knows what it should be.
fn unsure_flow(facts: &Facts<'_>) -> Advice {
    if facts.flow.ratio.as_ref().is_some_and(Ratio::is_poorly_expected) {
        let reason = format!("Flow {}: what it should be is known only roughly", percent(facts));
        return Advice::new(NextStep::FindOut, reason)
            .read("bore and turns from the steel, the flow of more sisters, or a baseline once it is known to be clean");
    }
    let advice = Advice::new(NextStep::FindOut, format!("Flow near its limit: {}", percent(facts)));
    if facts.flow.hoses_hide {
        advice.read(format!(
            "{FLOW}, at the mould's own ports or through short wide hoses: these hide the mould"
        ))
    } else {
        advice.read(format!("{FLOW}, at a larger flow or over 60 s"))
    }
}

fn low_flow(facts: &Facts<'_>, gates: &Gates) -> Advice {
    let flow = percent(facts);
    let Some(state) = facts.state.as_ref() else {
        return Advice::new(NextStep::FindOut, format!("Too little flow: {flow}")).read(LOOK_INSIDE);
    };
    if !state.fits() {
        let reason = format!("Too little flow ({flow}), and no single picture of the bore fits all readings");
        return bore_reading(facts, Advice::new(NextStep::FindOut, reason));
    }
    if state.even_deposit + state.mixed >= DECIDED {
        return deposit(state, &flow, gates);
    }
    if state.local_plug >= DECIDED {
        let what = if state.plugged_branch > 0.5 * state.local_plug {
            "A branch of its split is plugged, most likely"
        } else {
            "One narrow place, most likely"
        };
        return Advice::new(NextStep::Open, format!("{what}: {flow}, and no layer takes room"));
    }
    if state.rough >= DECIDED {
        let reason =
            format!("A rough wall without a layer, most likely ({flow}): acid would only make it rougher");
        return Advice::new(NextStep::FindOut, reason).read(LOOK_INSIDE);
    }
    let reason = format!(
        "Too little flow ({flow}), and the readings do not tell why: deposit {:.0} %, narrow place {:.0} %, both {:.0} %, rough wall {:.0} %, none of these {:.0} %",
        100.0 * state.even_deposit,
        100.0 * state.local_plug,
        100.0 * state.mixed,
        100.0 * state.rough,
        100.0 * state.unknown
    );
    bore_reading(facts, Advice::new(NextStep::FindOut, reason))
}

fn deposit(state: &BoreState, flow: &str, gates: &Gates) -> Advice {
    let thickness = state.thickness_mm.map_or_else(String::new, |layer| {
        format!(" of about {:.1} mm ({:.1} to {:.1})", layer.value, layer.low, layer.high)
    });
    if gates.descale.open {
        return Advice::new(NextStep::Descale, format!("Deposit{thickness}: {flow}"));
    }
    let reason = format!("Deposit{thickness}, but it may not be descaled yet: {}", gates.descale.reason);
    Advice::new(NextStep::FindOut, reason).read("what opens the descale gate")
}

/// The reading that tells most of the bore; where none tells much, eyes do.
fn bore_reading(facts: &Facts<'_>, advice: Advice) -> Advice {
    match &facts.next_reading {
        Some(next) => advice.read(next.text.clone()),
        None => advice.read(LOOK_INSIDE),
    }
}

fn percent(facts: &Facts<'_>) -> String {
    facts.flow.ratio.as_ref().map_or_else(String::new, |ratio| {
        let percent = ratio.percent();
        format!(
            "{:.0} % of {} ({:.0} to {:.0})",
            percent.value, ratio.compared_with, percent.low, percent.high
        )
    })
}

fn fine(facts: &Facts<'_>) -> Advice {
    Advice::new(NextStep::Leave, format!("Tight, free, and {}", percent(facts)))
}
