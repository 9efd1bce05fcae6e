//! Readings and treatments from and to the bench's own types.

use bench::mould::CircuitId;
use bench::visit::{
    AirPassage, BucketRun, Charged, CrossWatch, Decay, Entry, Filling, Flow, FlowReading, LeakDown, RigOn,
    RigRun, Treatment, VolumeMethod, VolumeReading, What,
};
use calc::quantity::{Duration, FlowFactor, GaugePressure, Temperature, Volume, VolumeFlow};
use calc::trace::Trace;

use super::{
    DecayCard, FillingCard, FlowCard, ReadingCard, ReferenceCard, RigOnCard, RigRunCard, VolumeCard,
    WatchedCard, WhatCard,
};
use crate::blob::Blob;
use crate::digest::Digest;
use crate::shapes::exactly;
use crate::trace_pack;

fn bar_g(pressure: GaugePressure) -> f64 {
    exactly(pressure, |pressure| pressure.bar(), GaugePressure::from_bar)
}
fn deg_c(temperature: Temperature) -> f64 {
    exactly(temperature, |temperature| temperature.deg_c(), Temperature::from_deg_c)
}
fn ml(volume: Volume) -> f64 {
    exactly(volume, |volume| volume.ml(), Volume::from_ml)
}
fn l_min(flow: VolumeFlow) -> f64 {
    exactly(flow, |flow| flow.l_min(), VolumeFlow::from_l_min)
}
fn seconds(time: Duration) -> f64 {
    exactly(time, |time| time.s(), Duration::from_s)
}

/// Puts a trace among the blobs.
fn keep(trace: &Trace, blobs: &mut Vec<Blob>) -> Digest {
    let blob = Blob::new(trace_pack::pack(trace));
    let digest = blob.digest();
    blobs.push(blob);
    digest
}

impl DecayCard {
    fn of(decay: &Decay, blobs: &mut Vec<Blob>) -> Self {
        match decay {
            Decay::Trace(trace) => Self::Trace(keep(trace, blobs)),
            Decay::TwoReadings { start, end, time } => {
                Self::Read { start_bar_g: bar_g(*start), end_bar_g: bar_g(*end), time_s: seconds(*time) }
            }
        }
    }

    fn decay<E>(self, traces: &mut impl FnMut(Digest) -> Result<Trace, E>) -> Result<Decay, E> {
        Ok(match self {
            Self::Trace(digest) => Decay::Trace(traces(digest)?),
            Self::Read { start_bar_g, end_bar_g, time_s } => Decay::TwoReadings {
                start: GaugePressure::from_bar(start_bar_g),
                end: GaugePressure::from_bar(end_bar_g),
                time: Duration::from_s(time_s),
            },
        })
    }
}

impl ReadingCard {
    /// The card of an entry of a visit; its traces are added to the blobs.
    #[must_use]
    pub fn of(mould: &str, visit: &str, place: u32, entry: &Entry, blobs: &mut Vec<Blob>) -> Self {
        Self {
            mould: mould.to_owned(),
            visit: visit.to_owned(),
            place,
            at: entry.at,
            circuit: entry.circuit.as_ref().map(|id| id.0.clone()),
            origin: entry.place.clone(),
            what: WhatCard::of(&entry.what, blobs),
        }
    }

    /// Whether two cards say the same, wherever they came from.
    #[must_use]
    pub fn says_the_same(&self, other: &Self) -> bool {
        let plain = |card: &Self| Self { origin: String::new(), ..card.clone() };
        plain(self) == plain(other)
    }

    /// The entry, with its traces from where they lie.
    ///
    /// # Errors
    /// Whatever keeps a trace from being read.
    pub fn entry<E>(&self, mut traces: impl FnMut(Digest) -> Result<Trace, E>) -> Result<Entry, E> {
        Ok(Entry {
            place: self.origin.clone(),
            at: self.at,
            circuit: self.circuit.clone().map(CircuitId),
            what: self.what.what(&mut traces)?,
        })
    }

    /// The traces that it names.
    #[must_use]
    pub fn traces(&self) -> Vec<Digest> {
        let of = |decay: &DecayCard| match decay {
            DecayCard::Trace(digest) => Some(*digest),
            DecayCard::Read { .. } => None,
        };
        match &self.what {
            WhatCard::LeakDown { decay, .. } | WhatCard::AirPassage { decay, .. } => {
                of(decay).into_iter().collect()
            }
            WhatCard::Flow { flow: FlowCard::Trace(digest), .. } => vec![*digest],
            WhatCard::CrossWatch { charged, also_charged, watched, .. } => {
                let others = also_charged.iter().chain(watched).filter_map(|other| other.decay.as_ref());
                charged.iter().chain(others).filter_map(of).collect()
            }
            _ => Vec::new(),
        }
    }
}

impl WhatCard {
    /// Word of the kind.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::LeakDown { .. } => "leak-down",
            Self::AirPassage { .. } => "air-passage",
            Self::Flow { .. } => "flow",
            Self::CrossWatch { .. } => "cross-watch",
            Self::Volume { .. } => "volume",
            Self::RigCheck(_) => "rig-check",
            Self::Bucket { .. } => "bucket",
            Self::Note { .. } => "note",
            Self::Treatment { .. } => "treatment",
        }
    }

    fn of(what: &What, blobs: &mut Vec<Blob>) -> Self {
        match what {
            What::LeakDown(leak) => Self::LeakDown {
                decay: DecayCard::of(&leak.decay, blobs),
                wall_temperature_deg_c: leak.wall_temperature.map(deg_c),
                hold_s: seconds(leak.hold),
            },
            What::AirPassage(passage) => Self::AirPassage {
                reservoir_volume_ml: match passage.charged {
                    Charged::Circuit => None,
                    Charged::Reservoir(volume) => Some(ml(volume)),
                },
                decay: DecayCard::of(&passage.decay, blobs),
                air_temperature_deg_c: passage.air_temperature.map(deg_c),
            },
            What::Flow(flow) => Self::Flow {
                flow: match &flow.flow {
                    FlowReading::Mean(mean) => FlowCard::Mean(l_min(*mean)),
                    FlowReading::Trace(trace) => FlowCard::Trace(keep(trace, blobs)),
                },
                pressure_in_bar_g: bar_g(flow.pressure_in),
                pressure_out_bar_g: bar_g(flow.pressure_out),
                water_temperature_deg_c: deg_c(flow.water_temperature),
                others: flow.others.into(),
                through_fixture: flow.through_fixture,
            },
            What::CrossWatch(cross) => Self::cross_watch(cross, blobs),
            What::Volume(reading) => Self::volume(reading),
            What::RigCheck(run) => Self::RigCheck(run.into()),
            What::Bucket(run) => Self::bucket(run),
            What::Note(text) => Self::Note { text: text.clone() },
            What::Treatment(Treatment { kind, remark }) => {
                Self::Treatment { treatment: (*kind).into(), remark: remark.clone() }
            }
        }
    }

    fn cross_watch(cross: &CrossWatch, blobs: &mut Vec<Blob>) -> Self {
        let mut card = |id: &CircuitId, decay: Option<&Decay>| WatchedCard {
            circuit: id.0.clone(),
            decay: decay.map(|decay| DecayCard::of(decay, blobs)),
        };
        let also_charged = cross.also_charged.iter().map(|(id, decay)| card(id, decay.as_ref())).collect();
        let watched = cross.watched.iter().map(|(id, decay)| card(id, Some(decay))).collect();
        Self::CrossWatch {
            open: cross.open.iter().map(|id| id.0.clone()).collect(),
            charged: cross.charged_decay.as_ref().map(|decay| DecayCard::of(decay, blobs)),
            also_charged,
            watched,
        }
    }

    fn volume(reading: &VolumeReading) -> Self {
        let volume = match reading.method {
            VolumeMethod::AirExpansion { reference, reference_before, circuit_before, joined } => {
                VolumeCard::AirExpansion {
                    reference_ml: ml(reference),
                    reference_bar_g: bar_g(reference_before),
                    circuit_bar_g: bar_g(circuit_before),
                    joined_bar_g: bar_g(joined),
                }
            }
            VolumeMethod::Drained { volume_ml } => VolumeCard::Drained(volume_ml.into()),
        };
        Self::Volume { volume, through_fixture: reading.through_fixture, from: reading.from.into() }
    }

    fn bucket(run: &BucketRun) -> Self {
        let filling = |filling: &Filling| FillingCard {
            caught_l_or_kg: filling.caught_l_or_kg,
            time_s: seconds(filling.time),
            meter_l_min: l_min(filling.meter),
        };
        Self::Bucket {
            by: run.by.into(),
            fillings: run.fillings.iter().map(filling).collect(),
            caught_uncertainty_l_or_kg: run.caught_uncertainty_l_or_kg,
            timing_uncertainty_s: seconds(run.timing_uncertainty),
            water_temperature_deg_c: run.water_temperature.map(deg_c),
        }
    }

    fn what<E>(&self, traces: &mut impl FnMut(Digest) -> Result<Trace, E>) -> Result<What, E> {
        let deg_c = |known: &Option<f64>| known.map(Temperature::from_deg_c);
        Ok(match self {
            Self::LeakDown { decay, wall_temperature_deg_c, hold_s } => What::LeakDown(LeakDown {
                decay: decay.decay(traces)?,
                wall_temperature: deg_c(wall_temperature_deg_c),
                hold: Duration::from_s(*hold_s),
            }),
            Self::AirPassage { reservoir_volume_ml, decay, air_temperature_deg_c } => {
                let reservoir = reservoir_volume_ml.map(Volume::from_ml);
                What::AirPassage(AirPassage {
                    charged: reservoir.map_or(Charged::Circuit, Charged::Reservoir),
                    decay: decay.decay(traces)?,
                    air_temperature: deg_c(air_temperature_deg_c),
                })
            }
            Self::Flow {
                flow,
                pressure_in_bar_g,
                pressure_out_bar_g,
                water_temperature_deg_c,
                others,
                through_fixture,
            } => What::Flow(Flow {
                flow: match flow {
                    FlowCard::Trace(digest) => FlowReading::Trace(traces(*digest)?),
                    FlowCard::Mean(mean) => FlowReading::Mean(VolumeFlow::from_l_min(*mean)),
                },
                pressure_in: GaugePressure::from_bar(*pressure_in_bar_g),
                pressure_out: GaugePressure::from_bar(*pressure_out_bar_g),
                water_temperature: Temperature::from_deg_c(*water_temperature_deg_c),
                others: (*others).into(),
                through_fixture: *through_fixture,
            }),
            Self::CrossWatch { open, charged, also_charged, watched } => {
                What::CrossWatch(cross_watch(open, *charged, also_charged, watched, traces)?)
            }
            Self::Volume { volume, through_fixture, from } => What::Volume(VolumeReading {
                method: volume_method(*volume),
                through_fixture: *through_fixture,
                from: (*from).into(),
            }),
            Self::RigCheck(run) => What::RigCheck(run.into()),
            Self::Bucket {
                by,
                fillings,
                caught_uncertainty_l_or_kg,
                timing_uncertainty_s,
                water_temperature_deg_c,
            } => What::Bucket(BucketRun {
                by: (*by).into(),
                fillings: fillings.iter().map(filling).collect(),
                caught_uncertainty_l_or_kg: *caught_uncertainty_l_or_kg,
                timing_uncertainty: Duration::from_s(*timing_uncertainty_s),
                water_temperature: deg_c(water_temperature_deg_c),
            }),
            Self::Note { text } => What::Note(text.clone()),
            Self::Treatment { treatment, remark } => {
                What::Treatment(Treatment { kind: (*treatment).into(), remark: remark.clone() })
            }
        })
    }
}

impl From<&RigRun> for RigRunCard {
    fn from(run: &RigRun) -> Self {
        Self {
            on: match run.on {
                RigOn::Fixture => RigOnCard::Fixture,
                RigOn::Orifice { flow_factor, relative } => {
                    RigOnCard::Orifice { flow_factor_m3_h: flow_factor.m3_h(), relative }
                }
                RigOn::AtRest => RigOnCard::AtRest,
                RigOn::ShutOff => RigOnCard::ShutOff,
            },
            flow_l_min: run.flow.map(l_min),
            pressure_in_bar_g: run.pressure_in.map(bar_g),
            pressure_out_bar_g: run.pressure_out.map(bar_g),
            water_temperature_deg_c: run.water_temperature.map(deg_c),
            reference_pressure_bar_g: run
                .reference_pressure
                .map(|(shown, standard)| ReferenceCard { shown: bar_g(shown), standard }),
            reference_temperature_deg_c: run
                .reference_temperature
                .map(|(shown, standard)| ReferenceCard { shown: deg_c(shown), standard }),
        }
    }
}

impl From<&RigRunCard> for RigRun {
    fn from(card: &RigRunCard) -> Self {
        Self {
            on: match card.on {
                RigOnCard::Fixture => RigOn::Fixture,
                RigOnCard::Orifice { flow_factor_m3_h, relative } => {
                    RigOn::Orifice { flow_factor: FlowFactor::from_m3_h(flow_factor_m3_h), relative }
                }
                RigOnCard::AtRest => RigOn::AtRest,
                RigOnCard::ShutOff => RigOn::ShutOff,
            },
            flow: card.flow_l_min.map(VolumeFlow::from_l_min),
            pressure_in: card.pressure_in_bar_g.map(GaugePressure::from_bar),
            pressure_out: card.pressure_out_bar_g.map(GaugePressure::from_bar),
            water_temperature: card.water_temperature_deg_c.map(Temperature::from_deg_c),
            reference_pressure: card
                .reference_pressure_bar_g
                .map(|card| (GaugePressure::from_bar(card.shown), card.standard)),
            reference_temperature: card
                .reference_temperature_deg_c
                .map(|card| (Temperature::from_deg_c(card.shown), card.standard)),
        }
    }
}

fn filling(card: &FillingCard) -> Filling {
    Filling {
        caught_l_or_kg: card.caught_l_or_kg,
        time: Duration::from_s(card.time_s),
        meter: VolumeFlow::from_l_min(card.meter_l_min),
    }
}

fn volume_method(card: VolumeCard) -> VolumeMethod {
    match card {
        VolumeCard::AirExpansion { reference_ml, reference_bar_g, circuit_bar_g, joined_bar_g } => {
            VolumeMethod::AirExpansion {
                reference: Volume::from_ml(reference_ml),
                reference_before: GaugePressure::from_bar(reference_bar_g),
                circuit_before: GaugePressure::from_bar(circuit_bar_g),
                joined: GaugePressure::from_bar(joined_bar_g),
            }
        }
        VolumeCard::Drained(volume_ml) => VolumeMethod::Drained { volume_ml: volume_ml.into() },
    }
}

fn cross_watch<E>(
    open: &[String],
    charged: Option<DecayCard>,
    also_charged: &[WatchedCard],
    watched: &[WatchedCard],
    traces: &mut impl FnMut(Digest) -> Result<Trace, E>,
) -> Result<CrossWatch, E> {
    let mut also = Vec::new();
    for card in also_charged {
        let decay = card.decay.map(|decay| decay.decay(traces)).transpose()?;
        also.push((CircuitId(card.circuit.clone()), decay));
    }
    let mut seen = Vec::new();
    for card in watched {
        if let Some(decay) = card.decay {
            seen.push((CircuitId(card.circuit.clone()), decay.decay(traces)?));
        }
    }
    Ok(CrossWatch {
        open: open.iter().cloned().map(CircuitId).collect(),
        charged_decay: charged.map(|decay| decay.decay(traces)).transpose()?,
        also_charged: also,
        watched: seen,
    })
}
