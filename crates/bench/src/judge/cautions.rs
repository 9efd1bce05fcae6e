//! The usual cautions, each written once and shown beside the steps that they belong to.

use crate::finding::NextStep;

/// Compressed air.
pub const AIR: &str = "Compressed air stores energy: goggles on, nobody in line with plugs and couplings, raise the pressure in \
                       steps, never tighten a fitting under pressure.";
/// Trapped pressure.
pub const TRAPPED: &str = "Pressure can stay trapped behind a plug or a shut-off coupling: vent on both sides before a hose comes off.";
/// Whipping hoses.
pub const HOSES: &str = "A hose that comes off under pressure whips: secure it, and depressurise first.";
/// Hot water.
pub const HOT: &str =
    "Water above 60 °C scalds and above 100 °C flashes to steam when opened: cool down first.";
/// Water on the floor and near heaters.
pub const WET: &str = "Water: isolate heaters and hot runner electrically, keep the floor dry, mind the drinking-water backflow \
                       protection on a mains rinse.";
/// Chemistry.
pub const ACID: &str = "Descaling medium: safety data sheet first, gloves and goggles, acid into water, ventilate (carbon dioxide and \
                        hydrogen form), never dead-end it, dispose of it by local rules.";
/// Opening plugs and inserts.
pub const OPENING: &str =
    "Lift mould and halves with rated gear only; before a plug comes out, vent the circuit and let it cool.";
/// Leak into a die.
pub const DIE: &str =
    "Die-casting: water that meets melt can explode; no release with an open leak question.";
/// What decides.
pub const AUTHORITY: &str = "Borewise advises; local codes, the maker's instructions, the safety data sheet and licensed practice decide.";

/// The cautions that go with a next step.
pub(crate) fn for_step(step: NextStep, die_casting: bool) -> Vec<&'static str> {
    let mut cautions = match step {
        NextStep::Leave => vec![],
        NextStep::FindOut => vec![AIR, TRAPPED, HOSES],
        NextStep::Open => vec![TRAPPED, OPENING, AIR],
        NextStep::Repair => vec![TRAPPED, HOT, WET, OPENING],
        NextStep::Descale => vec![ACID, TRAPPED, HOSES, WET],
        NextStep::Retire => vec![TRAPPED, OPENING],
    };
    if die_casting && step == NextStep::Repair {
        cautions.push(DIE);
    }
    cautions
}
