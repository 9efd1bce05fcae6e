//! What was done to one circuit, in order, and which readings still count.

use crate::mould::CircuitId;
use crate::visit::{Entry, Treatment, TreatmentKind, Visit, What};

/// The entries of a visit that concern one circuit, in order.
pub(crate) struct Timeline<'a> {
    entries: Vec<&'a Entry>,
}

impl<'a> Timeline<'a> {
    /// The entries of this circuit and those of the whole mould.
    pub(crate) fn of(visit: &'a Visit, circuit: &CircuitId) -> Self {
        let concerns = |entry: &&Entry| entry.circuit.as_ref().is_none_or(|id| id == circuit);
        Self { entries: visit.entries.iter().filter(concerns).collect() }
    }

    /// The last place at which the circuit was changed: opened, repaired or descaled.
    pub(crate) fn last_change(&self) -> Option<(usize, TreatmentKind)> {
        self.last_treatment(TreatmentKind::changes_circuit)
    }

    /// Everything that changed the circuit in this visit, in order.
    pub(crate) fn changes(&self) -> Vec<TreatmentKind> {
        let kinds = self.entries.iter().filter_map(|entry| match &entry.what {
            What::Treatment(Treatment { kind, .. }) => Some(*kind),
            _ => None,
        });
        kinds.filter(|kind| kind.changes_circuit()).collect()
    }

    /// Whether the circuit was repaired in this visit.
    pub(crate) fn repaired(&self) -> bool {
        self.last_treatment(|kind| kind == TreatmentKind::Repair).is_some()
    }

    /// The entries after the last change; all if nothing was changed.
    pub(crate) fn since_change(&self) -> impl DoubleEndedIterator<Item = &'a Entry> + '_ {
        let from = self.last_change().map_or(0, |(place, _)| place + 1);
        self.entries.iter().skip(from).copied()
    }

    /// Whether a reading of this kind was taken before the last change, and none since.
    pub(crate) fn outdated(&self, kind: impl Fn(&What) -> bool) -> bool {
        let taken = self.entries.iter().any(|entry| kind(&entry.what));
        taken && !self.since_change().any(|entry| kind(&entry.what))
    }

    /// Whether the circuit was dried after the last time that liquid was in it.
    pub(crate) fn dried(&self) -> bool {
        let dried = self.last_treatment(|kind| kind == TreatmentKind::Dry).map(|(place, _)| place);
        let wetted = self.entries.iter().rposition(|entry| entry.what.wets());
        dried.is_some_and(|dried| wetted.is_none_or(|wetted| wetted < dried))
    }

    /// Whether acid was used and not neutralised or rinsed away since.
    pub(crate) fn acid_left(&self) -> bool {
        let descaled = self.last_treatment(|kind| kind == TreatmentKind::Descale).map(|(place, _)| place);
        let rinsed = self.last_treatment(|kind| kind == TreatmentKind::Rinse).map(|(place, _)| place);
        descaled.is_some_and(|descaled| rinsed.is_none_or(|rinsed| rinsed < descaled))
    }

    fn last_treatment(&self, wanted: impl Fn(TreatmentKind) -> bool) -> Option<(usize, TreatmentKind)> {
        self.entries.iter().enumerate().rev().find_map(|(place, entry)| match &entry.what {
            What::Treatment(Treatment { kind, .. }) if wanted(*kind) => Some((place, *kind)),
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mould::MouldId;
    use crate::visit::{Others, Rig};
    use calc::quantity::{GaugePressure, Temperature, VolumeFlow};

    fn entry(circuit: Option<&str>, what: What) -> Entry {
        Entry { place: String::new(), at: None, circuit: circuit.map(|id| CircuitId(id.into())), what }
    }

    fn treatment(kind: TreatmentKind) -> What {
        What::Treatment(Treatment { kind, remark: None })
    }

    fn flow() -> What {
        What::Flow(crate::visit::Flow {
            flow: crate::visit::FlowReading::Mean(VolumeFlow::from_l_min(10.0)),
            pressure_in: GaugePressure::from_bar(2.0),
            pressure_out: GaugePressure::from_bar(0.0),
            water_temperature: Temperature::from_deg_c(20.0),
            others: Others::Closed,
            through_fixture: true,
        })
    }

    fn visit(entries: Vec<Entry>) -> Visit {
        Visit {
            id: "v".into(),
            mould: MouldId("M".into()),
            started: jiff::Timestamp::UNIX_EPOCH,
            by: "x".into(),
            rig: Rig::default(),
            hook_ups: Vec::new(),
            entries,
        }
    }

    #[test]
    fn drying_counts_only_after_the_last_water() {
        let id = CircuitId("F1".into());
        let dried_early = visit(vec![entry(None, treatment(TreatmentKind::Dry)), entry(Some("F1"), flow())]);
        assert!(!Timeline::of(&dried_early, &id).dried());
        let dried_late = visit(vec![entry(Some("F1"), flow()), entry(None, treatment(TreatmentKind::Dry))]);
        assert!(Timeline::of(&dried_late, &id).dried());
        assert!(!Timeline::of(&visit(vec![]), &id).dried());
    }

    #[test]
    fn a_reading_before_a_repair_is_outdated() {
        let id = CircuitId("F1".into());
        let visit = visit(vec![
            entry(Some("F1"), flow()),
            entry(Some("F2"), treatment(TreatmentKind::Repair)),
            entry(Some("F1"), treatment(TreatmentKind::Repair)),
        ]);
        let timeline = Timeline::of(&visit, &id);
        assert!(timeline.outdated(|what| matches!(what, What::Flow(_))));
        assert!(!timeline.outdated(|what| matches!(what, What::LeakDown(_))));
        assert_eq!(timeline.since_change().count(), 0);
    }
}
