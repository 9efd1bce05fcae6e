//! What the readings say about each circuit, and what may be done to it.

use std::collections::BTreeMap;

use calc::estimate::Estimate;

use crate::mould::{CircuitId, MouldId};
use crate::picture::{LeakMap, Picture};
use crate::working::Working;

pub use crate::rig::{MovedAlike, RigFinding, RigInstrument, RigVerdict};

/// Everything found in one visit.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// Version of the judgement; it changes when a finding may change.
    pub method: &'static str,
    /// Mould.
    pub mould: MouldId,
    /// What the mould makes.
    pub mould_name: String,
    /// Visit.
    pub visit: String,
    /// When the visit began.
    pub started: jiff::Timestamp,
    /// Who did it.
    pub by: String,
    /// Rig.
    pub rig: Option<String>,
    /// Whether the mould may go to the press.
    pub fit_for_press: Fitness,
    /// The most important sentence of the visit.
    pub headline: String,
    /// Short sentences that back the headline: what is wrong with how many circuits, in order of weight.
    pub because: Vec<String>,
    /// What to do next on this mould, in one sentence.
    pub next: String,
    /// Each circuit, in the order of the mould.
    pub circuits: Vec<CircuitFinding>,
    /// Hoses that seem to be on the wrong circuit.
    pub hook_up_doubts: Vec<HookUpDoubt>,
    /// What the reader should know.
    pub warnings: Vec<Warning>,
    /// Limits that were applied, with source and owner.
    pub limits: Vec<LimitUsed>,
    /// Cautions that apply to the next steps.
    pub cautions: Vec<&'static str>,
    /// Who leaks into whom, if anybody was watched.
    pub leak_map: Option<LeakMap>,
    /// What is known of the rig, if it was checked or something points to it.
    pub rig_check: Option<RigFinding>,
}

/// Whether the mould may go to the press.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fitness {
    /// Yes.
    Yes,
    /// No.
    No,
    /// The readings do not tell.
    CannotTell,
}

/// Whether the circuit holds air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tightness {
    /// Below the limit, uncertainty included.
    Tight,
    /// Above the limit, to the outside.
    LeaksOut,
    /// Above the limit, into another circuit.
    LeaksAcross,
    /// Above the limit; where to is not known.
    Leaks,
    /// The readings do not tell.
    CannotTell,
    /// Not tested.
    Untested,
}

/// Whether air passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Passage {
    /// As its geometry or baseline lets expect.
    Free,
    /// Slow, and so it should be.
    NarrowByDesign,
    /// Slower than it should be.
    Restricted,
    /// No passage.
    Blocked,
    /// The readings do not tell.
    CannotTell,
    /// Not tested.
    Untested,
}

/// What the bore looks like inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BoreState {
    /// As new.
    AsNew,
    /// A layer all along.
    EvenDeposit,
    /// One narrow place.
    LocalPlug,
    /// Both.
    Mixed,
    /// Rougher wall, same width.
    Rough,
    /// The readings do not tell.
    Unknown,
}

impl BoreState {
    /// All of them, in the order in which the science lists them.
    pub const ALL: [Self; 6] =
        [Self::AsNew, Self::EvenDeposit, Self::LocalPlug, Self::Mixed, Self::Rough, Self::Unknown];

    /// In words for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AsNew => "as new",
            Self::EvenDeposit => "even deposit",
            Self::LocalPlug => "local plug",
            Self::Mixed => "deposit and plug",
            Self::Rough => "rough",
            Self::Unknown => "not known",
        }
    }
}

/// One of the three gates of a circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum GateName {
    /// Water may go in.
    Wet,
    /// Acid or another descaler may go in.
    Descale,
    /// The circuit may go back to the press.
    Release,
}

impl GateName {
    /// All of them, in the order of the visit.
    pub const ALL: [Self; 3] = [Self::Wet, Self::Descale, Self::Release];

    /// Fixed word, as it stands on record.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wet => "wet",
            Self::Descale => "descale",
            Self::Release => "release",
        }
    }

    /// The gate of this word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|name| name.word() == word)
    }
}

/// A rule's answer for one step, and what a person said against it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gate {
    /// Whether the step is allowed.
    pub open: bool,
    /// Why; for a closed gate also what would open it, for an overridden one who overrode it and why.
    pub reason: String,
    /// Short fixed words of what shuts it by the rule; none where the rule opens it.
    pub obstacles: Vec<&'static str>,
    /// Why nobody may open it against the rule, where people could be hurt.
    pub firm: Option<&'static str>,
    /// Who decided against the rule; nothing where the rule decides.
    pub overridden: Option<Overridden>,
}

impl Gate {
    /// A gate of which only the answer of the rule is known.
    #[must_use]
    pub fn by_rule(open: bool, reason: impl Into<String>) -> Self {
        Self { open, reason: reason.into(), obstacles: Vec::new(), firm: None, overridden: None }
    }

    /// Whether the rule itself opens it.
    #[must_use]
    pub const fn opens_by_rule(&self) -> bool {
        self.open && self.overridden.is_none()
    }
}

/// A decision of a person that holds in place of the rule's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overridden {
    /// Short name of the person.
    pub by: String,
    /// When.
    pub at: jiff::Timestamp,
    /// Written reason.
    pub because: String,
    /// What the rule says.
    pub rule: String,
}

/// The three gates of a circuit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gates {
    /// Water may go in.
    pub wet: Gate,
    /// Acid or another descaler may go in.
    pub descale: Gate,
    /// The circuit may go back to the press.
    pub release: Gate,
}

impl Gates {
    /// One of them.
    #[must_use]
    pub const fn get(&self, name: GateName) -> &Gate {
        match name {
            GateName::Wet => &self.wet,
            GateName::Descale => &self.descale,
            GateName::Release => &self.release,
        }
    }
}

/// What to do next with a circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextStep {
    /// Nothing.
    Leave,
    /// Take a further reading.
    FindOut,
    /// Open the passage.
    Open,
    /// Repair.
    Repair,
    /// Descale.
    Descale,
    /// Take out of service.
    Retire,
}

/// A reading or calculation behind a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    /// What it is, in a few words.
    pub title: String,
    /// What it says, in one or two sentences with numbers and uncertainty.
    pub text: String,
    /// Where the reading stands.
    pub place: Option<String>,
    /// Source keys of the methods used.
    pub sources: Vec<&'static str>,
    /// Drawing.
    pub picture: Option<Picture>,
}

/// What is known about one circuit after the visit.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitFinding {
    /// Circuit.
    pub id: CircuitId,
    /// Half.
    pub half: String,
    /// What it cools.
    pub serves: Option<String>,
    /// Port in this visit.
    pub port: Option<u32>,
    /// Whether it holds air.
    pub tightness: Tightness,
    /// Leak rate at the starting pressure, 20 degC.
    pub leak_rate_mbar_l_s: Option<Estimate>,
    /// Circuits that it leaks into.
    pub across_to: Vec<CircuitId>,
    /// Whether air passes.
    pub passage: Passage,
    /// Flow factor at 20 degC water and 1 bar, hoses removed.
    pub flow_factor_m3_h: Option<Estimate>,
    /// Flow factor in per cent of what it should be.
    pub against_baseline_percent: Option<Estimate>,
    /// What 'should be' was taken from, in words: `baseline of 2025-11-03`, `drawing`, `sisters F3, F4`.
    pub compared_with: Option<String>,
    /// Probability of each state; they add up to 1.
    pub state: BTreeMap<BoreState, f64>,
    /// The same before any reading of today, from any circuit's odds and this one's past; none without a state.
    pub state_before: Option<BTreeMap<BoreState, f64>>,
    /// What today's readings alone would say; none without a past.
    pub state_without_past: Option<BTreeMap<BoreState, f64>>,
    /// Whether some picture of the bore fits all readings; none without a state.
    pub state_fits: Option<bool>,
    /// Share of the layer in the extra pressure loss, where something is wrong inside.
    pub layer_share: Option<Estimate>,
    /// Thickness of the layer, where a layer is likely.
    pub deposit_thickness_mm: Option<Estimate>,
    /// Mass of the layer, where a layer is likely.
    pub deposit_mass_g: Option<Estimate>,
    /// Width of the hole that a narrow place leaves, where one is likely.
    pub plug_bore_mm: Option<Estimate>,
    /// Probability that a branch of a split is plugged.
    pub plugged_branch_probability: f64,
    /// The further reading that would tell most of the bore, unless nothing is left to tell.
    pub next_reading: Option<NextReading>,
    /// All further readings that were weighed, the most telling first.
    pub further_readings: Vec<NextReading>,
    /// Filled volume, hoses removed.
    pub filled_volume_ml: Option<Estimate>,
    /// Filled volume in per cent of what it should be.
    pub filled_volume_percent: Option<Estimate>,
    /// Main bore, for the drawing of the bore eye.
    pub bore_mm: Option<f64>,
    /// Gates.
    pub gates: Gates,
    /// What to do next.
    pub next_step: NextStep,
    /// Why, in one sentence.
    pub reason: String,
    /// The further reading that would help most.
    pub best_next_reading: Option<String>,
    /// Cautions that go with the next step.
    pub cautions: Vec<&'static str>,
    /// What it rests on.
    pub evidence: Vec<Evidence>,
    /// How its numbers came about, one for each that has formulas a person can follow.
    pub workings: Vec<Working>,
}

/// A further reading and what it would be worth.
#[derive(Clone, Debug, PartialEq)]
pub struct NextReading {
    /// The reading.
    pub kind: calc::infer::bore::Reading,
    /// Minutes at the bench.
    pub minutes: u32,
    /// In plain words, with the minutes.
    pub text: String,
    /// Expected information about the state of the bore, bits.
    pub information_bits: f64,
    /// Probability that the state is then known with 95 %.
    pub confident_probability: f64,
}

/// What is wrong with hoses.
pub use calc::infer::hook_up::Slip as HookUpSlip;

/// Hoses that seem to be otherwise than the hook-up list has them.
#[derive(Clone, Debug, PartialEq)]
pub struct HookUpDoubt {
    /// What seems wrong with them.
    pub kind: HookUpSlip,
    /// The circuits concerned; of a doubled pair the one whose port feeds both comes first.
    pub circuits: Vec<CircuitId>,
    /// Probability that they are.
    pub probability: f64,
    /// What was seen and what to look at, in a sentence or two.
    pub text: String,
    /// The further reading that would settle it, with its minutes.
    pub settled_by: String,
}

/// Something the reader should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// Short fixed word for programs.
    pub code: &'static str,
    /// Circuit, if it concerns one.
    pub circuit: Option<CircuitId>,
    /// One sentence.
    pub text: String,
}

impl Warning {
    /// A warning about one circuit; its text is made a sentence, without the circuit's name.
    #[must_use]
    pub fn about(circuit: &CircuitId, code: &'static str, text: impl Into<String>) -> Self {
        Self { code, circuit: Some(circuit.clone()), text: sentence(&text.into()) }
    }
}

/// The same words with a capital first letter and a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let trimmed = text.trim().trim_end_matches('.');
    let mut letters = trimmed.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// A limit that was applied.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitUsed {
    /// What is limited, with the unit: `leak rate, mbar·l/s`.
    pub name: String,
    /// Value.
    pub value: f64,
    /// Where it comes from.
    pub source: String,
    /// Who answers for it in the plant; empty for a figure that is only shown beside.
    pub owner: String,
    /// Whether it was applied, or is another public figure that conflicts with the one applied.
    pub applied: bool,
}
