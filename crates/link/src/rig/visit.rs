//! The readings of a plan, one after the other.

use bench::mould::CircuitId;
use bench::visit::{Decay, Entry, Flow, FlowReading, HookUp, Others, Treatment, Visit, What};

use super::SimulationError;
use super::air_readings::Test;
use super::bench::{Bench, place_of};
use crate::chance::{Chance, Purpose};
use crate::plan::{Logger, ReadingKind, ReadingPlan};

/// Seconds between two entries of a visit.
const BETWEEN_S: i64 = 150;

struct Diary {
    entries: Vec<Entry>,
    foreign: Vec<usize>,
    started: jiff::Timestamp,
}

impl Diary {
    fn write(&mut self, circuit: Option<CircuitId>, what: What, logger: Logger) {
        let number = self.entries.len();
        if logger == Logger::Foreign && has_trace(&what) {
            self.foreign.push(number);
        }
        let after = jiff::SignedDuration::from_secs(
            BETWEEN_S.saturating_mul(i64::try_from(number).unwrap_or(i64::MAX) + 4),
        );
        self.entries.push(Entry {
            place: format!("entry {}", number + 1),
            at: self.started.checked_add(after).ok(),
            circuit,
            what,
        });
    }
}

fn has_trace(what: &What) -> bool {
    match what {
        What::LeakDown(leak_down) => matches!(leak_down.decay, Decay::Trace(_)),
        What::AirPassage(passage) => matches!(passage.decay, Decay::Trace(_)),
        What::Flow(flow) => matches!(flow.flow, FlowReading::Trace(_)),
        What::CrossWatch(_)
        | What::Volume(_)
        | What::RigCheck(_)
        | What::Bucket(_)
        | What::Note(_)
        | What::Treatment(_) => false,
    }
}

impl Bench<'_> {
    /// The visit and the places of entries whose trace a foreign logger wrote.
    pub fn visit(&self) -> Result<(Visit, Vec<usize>), SimulationError> {
        let plan = &self.plan.visit;
        let mut diary = Diary { entries: Vec::new(), foreign: Vec::new(), started: plan.started };
        // Circuits through which air did not pass: nobody puts water into them.
        let mut held = Vec::new();
        for (number, reading) in plan.readings.iter().enumerate() {
            self.take(number, reading, &mut held, &mut diary)?;
        }
        let hook_ups = (0..self.plan.circuits.len())
            .map(|listed| HookUp {
                port: u32::try_from(listed % self.ports.len() + 1).unwrap_or(u32::MAX),
                circuit: self.plan.circuits[listed].id.clone(),
            })
            .collect();
        let visit = Visit {
            id: plan.id.clone(),
            mould: self.plan.mould.clone(),
            started: plan.started,
            by: plan.by.clone(),
            rig: self.rig_file(),
            hook_ups,
            entries: diary.entries,
        };
        Ok((visit, diary.foreign))
    }

    fn circuits_of(&self, reading: &ReadingPlan) -> Result<Vec<usize>, SimulationError> {
        match &reading.circuits {
            Some(named) => named.iter().map(|id| place_of(self.plan, id, "a reading")).collect(),
            None if matches!(reading.what, ReadingKind::CrossWatch { .. }) => Ok(self.suspects()),
            None => Ok((0..self.plan.circuits.len()).collect()),
        }
    }

    fn take(
        &self,
        number: usize,
        reading: &ReadingPlan,
        held: &mut Vec<usize>,
        diary: &mut Diary,
    ) -> Result<(), SimulationError> {
        let listed = self.circuits_of(reading)?;
        let logger = reading.logger;
        match &reading.what {
            ReadingKind::Note(words) => return self.note(reading, words, diary),
            ReadingKind::Treatment { kind, remark } => {
                let treatment = Treatment { kind: *kind, remark: remark.clone() };
                return self.for_each_named(reading, What::Treatment(treatment), diary);
            }
            ReadingKind::CrossWatch { together: true, pressure, sampling } => {
                let test = Test { pressure: *pressure, sampling: *sampling, hold_s: 10.0 };
                let Some(first) = listed.first() else { return Ok(()) };
                let mut chance = self.chance(number, *first);
                let id = Some(self.plan.circuits[*first].id.clone());
                diary.write(
                    id,
                    What::CrossWatch(self.cross_watch(&listed, test, logger, &mut chance)),
                    logger,
                );
                return Ok(());
            }
            ReadingKind::RigCheck { on } => {
                let run = self.rig_check(*on, &mut self.chance(number, 0))?;
                diary.write(None, What::RigCheck(run), logger);
                return Ok(());
            }
            ReadingKind::Bucket { seconds, fillings } => {
                let run = self.bucket(*seconds, *fillings, &mut self.chance(number, 0))?;
                diary.write(None, What::Bucket(run), logger);
                return Ok(());
            }
            ReadingKind::Flow { others: Others::Open, .. } => {
                return self.all_open(number, &listed, held, logger, diary);
            }
            _ => {}
        }
        for place in listed {
            let mut chance = self.chance(number, place);
            let id = Some(self.plan.circuits[place].id.clone());
            for what in self.on_one(place, reading, held, &mut chance)? {
                diary.write(id.clone(), what, logger);
            }
        }
        Ok(())
    }

    fn chance(&self, number: usize, place: usize) -> Chance {
        Chance::new(self.day, Purpose::Reading, number * 1000 + place)
    }

    fn note(&self, reading: &ReadingPlan, words: &str, diary: &mut Diary) -> Result<(), SimulationError> {
        self.for_each_named(reading, What::Note(words.to_owned()), diary)
    }

    /// One entry for each named circuit, or one for the whole mould.
    fn for_each_named(
        &self,
        reading: &ReadingPlan,
        what: What,
        diary: &mut Diary,
    ) -> Result<(), SimulationError> {
        match &reading.circuits {
            None => diary.write(None, what, reading.logger),
            Some(named) => {
                for id in named {
                    place_of(self.plan, id, "a reading")?;
                    diary.write(Some(id.clone()), what.clone(), reading.logger);
                }
            }
        }
        Ok(())
    }

    /// All circuits of a hook-up open on the one pump.
    fn all_open(
        &self,
        number: usize,
        listed: &[usize],
        held: &[usize],
        logger: Logger,
        diary: &mut Diary,
    ) -> Result<(), SimulationError> {
        let wetted: Vec<usize> = listed.iter().copied().filter(|place| !held.contains(place)).collect();
        for group in wetted.chunks(self.ports.len()) {
            let mut chance = self.chance(number, group.first().copied().unwrap_or(0));
            for (place, flow) in self.flow_together(group, &mut chance)? {
                diary.write(Some(self.plan.circuits[place].id.clone()), What::Flow(flow), logger);
            }
        }
        Ok(())
    }

    fn on_one(
        &self,
        place: usize,
        reading: &ReadingPlan,
        held: &mut Vec<usize>,
        chance: &mut Chance,
    ) -> Result<Vec<What>, SimulationError> {
        let logger = reading.logger;
        let one = |what: What| Ok(vec![what]);
        match &reading.what {
            ReadingKind::LeakDown { pressure, sampling, hold_s, together } => {
                let test = Test { pressure: *pressure, sampling: *sampling, hold_s: *hold_s };
                one(What::LeakDown(self.leak_down(place, test, *together, logger, chance)))
            }
            ReadingKind::AirPassage { from_reservoir, pressure, sampling } => {
                let test = Test { pressure: *pressure, sampling: *sampling, hold_s: 0.0 };
                if self.is_dead_end(place) {
                    held.push(place);
                }
                one(What::AirPassage(self.air_passage(place, *from_reservoir, test, logger, chance)?))
            }
            ReadingKind::Flow { shares, sampling, .. } => {
                if held.contains(&place) {
                    return Ok(Vec::new());
                }
                let flows: Vec<Flow> = self.flow_alone(place, shares, *sampling, logger, chance)?;
                Ok(flows.into_iter().map(What::Flow).collect())
            }
            ReadingKind::CrossWatch { pressure, sampling, .. } => {
                let test = Test { pressure: *pressure, sampling: *sampling, hold_s: 10.0 };
                one(What::CrossWatch(self.cross_watch(&[place], test, logger, chance)))
            }
            ReadingKind::Volume { by_air: true, through_fixture, from } => {
                one(What::Volume(self.volume_by_air(place, (*from, *through_fixture), chance)?))
            }
            // Draining needs water in the circuit first.
            ReadingKind::Volume { .. } if held.contains(&place) => Ok(Vec::new()),
            ReadingKind::Volume { through_fixture, from, .. } => {
                one(What::Volume(self.volume_by_draining(place, (*from, *through_fixture), chance)))
            }
            ReadingKind::RigCheck { .. }
            | ReadingKind::Bucket { .. }
            | ReadingKind::Treatment { .. }
            | ReadingKind::Note(_) => Ok(Vec::new()),
        }
    }
}
