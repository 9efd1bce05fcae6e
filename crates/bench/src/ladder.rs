//! The ladder of a visit: its steps in their usual order, how far each circuit is on them, and which gate shuts which.
//!
//! The order is common practice, no source. Nothing here judges a reading: it asks what was found and what was done.

use crate::finding::{CircuitFinding, Findings, NextStep, Passage, Tightness};
use crate::judge::cautions;
use crate::mould::CircuitId;
use crate::visit::{Entry, TreatmentKind, Visit, What};

/// A step of the ladder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// Connect the circuits to the rig.
    HookUp,
    /// Blow the residual water out.
    BlowOut,
    /// Hold air in and watch the pressure.
    LeakDown,
    /// Find where a leak goes to.
    FindLeak,
    /// Let air through.
    AirPassage,
    /// Pump water through.
    Flow,
    /// Open or repair.
    OpenOrRepair,
    /// Dissolve the deposit.
    Descale,
    /// Neutralise and rinse.
    Rinse,
    /// Dry.
    Dry,
    /// Back to the press.
    Release,
}

impl Step {
    /// All of them, from the first to the last.
    pub const ALL: [Self; 11] = [
        Self::HookUp,
        Self::BlowOut,
        Self::LeakDown,
        Self::FindLeak,
        Self::AirPassage,
        Self::Flow,
        Self::OpenOrRepair,
        Self::Descale,
        Self::Rinse,
        Self::Dry,
        Self::Release,
    ];

    /// Name for people.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::HookUp => "Hook up",
            Self::BlowOut => "Blow out",
            Self::LeakDown => "Leak-down",
            Self::FindLeak => "Find the leak",
            Self::AirPassage => "Air passage",
            Self::Flow => "Flow",
            Self::OpenOrRepair => "Open or repair",
            Self::Descale => "Descale",
            Self::Rinse => "Neutralise and rinse",
            Self::Dry => "Dry",
            Self::Release => "Release",
        }
    }

    /// What to connect and do. Times and pressures in it are common practice, no source.
    #[must_use]
    pub const fn what_to_do(self) -> &'static str {
        match self {
            Self::HookUp => "Connect each circuit to a port, inlet and outlet, and note which is where.",
            Self::BlowOut => {
                "Blow the old water into a drain or drum, never into the rig's tanks: 45 s or more for each circuit."
            }
            Self::LeakDown => {
                "Fill with air to about 6 bar, let it settle, shut the supply, and read the gauge at the start and after \
                 20 s or more. Do it again after every repair or treatment."
            }
            Self::FindLeak => {
                "Look outside first: seals, plugs, fittings. If nothing bubbles there, charge the circuit and watch its \
                 neighbours."
            }
            Self::AirPassage => {
                "Charge with air, open the return, and read the gauge before and some seconds after."
            }
            Self::Flow => {
                "Pump water through until it runs steadily; read flow, both gauges and the water's temperature."
            }
            Self::OpenOrRepair => "Take out what blocks it, or mend what leaks. Then test again.",
            Self::Descale => {
                "Choose the medium for the deposit and for every metal and seal it will touch; watch the flow come back."
            }
            Self::Rinse => "Neutralise, and rinse until the rinse water is neutral.",
            Self::Dry => "Blow dry before the mould is stored or goes to the press.",
            Self::Release => {
                "Back to the press once every gate is open; otherwise hold it and say what is missing."
            }
        }
    }

    /// The cautions that belong beside it.
    #[must_use]
    pub const fn cautions(self) -> &'static [&'static str] {
        match self {
            Self::HookUp => &[cautions::TRAPPED, cautions::HOT],
            Self::BlowOut | Self::Dry => &[cautions::AIR, cautions::HOSES],
            Self::LeakDown | Self::AirPassage => &[cautions::AIR, cautions::TRAPPED, cautions::HOSES],
            Self::FindLeak => &[cautions::AIR, cautions::TRAPPED],
            Self::Flow => &[cautions::WET, cautions::HOSES],
            Self::OpenOrRepair => &[cautions::TRAPPED, cautions::OPENING],
            Self::Descale => &[cautions::ACID, cautions::TRAPPED, cautions::HOSES],
            Self::Rinse => &[cautions::ACID, cautions::WET],
            Self::Release => &[cautions::TRAPPED],
        }
    }
}

/// How far a circuit is on a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// Nothing to do here.
    NotNeeded,
    /// To be done.
    ToDo,
    /// Done.
    Done,
    /// A gate shuts it, with the gate's reason.
    Shut(String),
}

/// A step with the state of each circuit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rung {
    /// The step.
    pub step: Step,
    /// Each circuit, in the order of the mould.
    pub circuits: Vec<(CircuitId, State)>,
}

impl Rung {
    /// The circuits in this state, in the order of the mould.
    pub fn in_state<'a>(&'a self, state: &'a State) -> impl Iterator<Item = &'a CircuitId> {
        self.circuits.iter().filter(move |(_, own)| own == state).map(|(id, _)| id)
    }

    /// The circuits for which a gate shuts it, with the gate's reason.
    pub fn shut(&self) -> impl Iterator<Item = (&CircuitId, &str)> {
        self.circuits.iter().filter_map(|(id, state)| match state {
            State::Shut(reason) => Some((id, reason.as_str())),
            _ => None,
        })
    }

    /// Whether no circuit has anything to do here.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        self.circuits.iter().all(|(_, state)| matches!(state, State::Done | State::NotNeeded))
    }
}

/// The ladder of a visit, from what was done and what was found.
#[must_use]
pub fn ladder(visit: &Visit, findings: &Findings) -> Vec<Rung> {
    let rung = |step: Step| Rung {
        step,
        circuits: findings
            .circuits
            .iter()
            .map(|found| (found.id.clone(), state(step, found, visit)))
            .collect(),
    };
    Step::ALL.into_iter().map(rung).collect()
}

fn state(step: Step, found: &CircuitFinding, visit: &Visit) -> State {
    let done = |yes: bool| if yes { State::Done } else { State::ToDo };
    let last = |what: fn(&What) -> bool| last_of(visit, &found.id, what);
    match step {
        Step::HookUp => done(visit.hook_ups.iter().any(|hook_up| hook_up.circuit == found.id)),
        Step::BlowOut => done(last(|what| is(what, TreatmentKind::BlowOut)).is_some()),
        Step::LeakDown => done(!matches!(found.tightness, Tightness::Untested | Tightness::CannotTell)),
        Step::FindLeak => match found.tightness {
            Tightness::Leaks => State::ToDo,
            Tightness::LeaksOut | Tightness::LeaksAcross => State::Done,
            _ => State::NotNeeded,
        },
        Step::AirPassage => done(!matches!(found.passage, Passage::Untested | Passage::CannotTell)),
        Step::Flow if found.flow_factor_m3_h.is_some() => State::Done,
        Step::Flow => gated(&found.gates.wet),
        Step::OpenOrRepair => match found.next_step {
            NextStep::Open | NextStep::Repair => State::ToDo,
            _ if last(|what| is(what, TreatmentKind::Open) || is(what, TreatmentKind::Repair)).is_some() => {
                State::Done
            }
            _ => State::NotNeeded,
        },
        Step::Descale if found.next_step == NextStep::Descale => gated(&found.gates.descale),
        Step::Descale => match last(|what| is(what, TreatmentKind::Descale)) {
            Some(_) => State::Done,
            None => State::NotNeeded,
        },
        Step::Rinse => {
            after(last(|what| is(what, TreatmentKind::Descale)), last(|what| is(what, TreatmentKind::Rinse)))
        }
        Step::Dry => after(last(What::wets), last(|what| is(what, TreatmentKind::Dry))),
        Step::Release => gated(&found.gates.release),
    }
}

/// To do where the gate is open.
fn gated(gate: &crate::finding::Gate) -> State {
    if gate.open { State::ToDo } else { State::Shut(gate.reason.clone()) }
}

/// What has to follow something: needed once that was done, done once it came later.
fn after(cause: Option<usize>, cure: Option<usize>) -> State {
    match (cause, cure) {
        (None, _) => State::NotNeeded,
        (Some(cause), Some(cure)) if cure > cause => State::Done,
        _ => State::ToDo,
    }
}

/// Place of the last such entry about this circuit or about the whole mould.
fn last_of(visit: &Visit, circuit: &CircuitId, what: fn(&What) -> bool) -> Option<usize> {
    let about = |entry: &Entry| entry.circuit.as_ref().is_none_or(|id| id == circuit);
    visit.entries.iter().rposition(|entry| about(entry) && what(&entry.what))
}

fn is(what: &What, kind: TreatmentKind) -> bool {
    matches!(what, What::Treatment(treatment) if treatment.kind == kind)
}
