//! What is taken in comes back the same, counts once, and stays readable as it was.

#![allow(clippy::unwrap_used)]

mod common;

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::{BaselineSweep, Circuit, CircuitId, Done, Earlier, EarlierFound, Known, Mould, MouldId};
use bench::visit::{
    AirPassage, BucketBy, BucketRun, Charged, CrossWatch, Decay, End, Entry, Filling, Flow, FlowReading,
    LeakDown, Others, RigOn, RigRun, Treatment, TreatmentKind, VolumeMethod, VolumeReading, What,
};
use calc::estimate::Uncertain;
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::quantity::{
    Duration, FlowFactor, GaugePressure, Length, PressureDrop, SonicConductance, Temperature, Volume,
    VolumeFlow,
};
use calc::trace::Trace;
use common::{Folder, opened, simulated, take_in, whole};
use store::{AsOf, Fact, StoreError, Subject};

/// Traces with gaps equal nothing, so they are compared by their packed bytes.
fn packed(entries: &[Entry]) -> String {
    let mut blobs = Vec::new();
    let cards: Vec<_> = (0..)
        .zip(entries)
        .map(|(place, entry)| store::shapes::ReadingCard::of("m", "v", place, entry, &mut blobs))
        .collect();
    format!("{cards:?}")
}

#[test]
fn simulated_visits_come_back_the_same_and_count_once() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    for seed in 0..12 {
        let (mut mould, mut visit) = simulated(seed);
        mould.id = MouldId(format!("S/{seed} %"));
        visit.mould = mould.id.clone();
        assert_eq!(take_in(&store, &mould, &visit, None).len(), 2);
        let before = store.read(|reader| reader.head()).unwrap();
        assert!(take_in(&store, &mould, &visit, None).is_empty(), "twice changes nothing");
        assert_eq!(store.read(|reader| reader.head()).unwrap(), before);
        let (id, name) = (mould.id.0.clone(), visit.id.clone());
        let back =
            store.read(|reader| Ok((reader.mould(&id, AsOf::Now)?, reader.visit(&id, &name, AsOf::Now)?)));
        let (mould_back, visit_back) = back.unwrap();
        assert_eq!(mould_back, mould, "seed {seed}");
        assert_eq!(packed(&visit_back.entries), packed(&visit.entries), "seed {seed}");
        assert_eq!(visit_back.rig, visit.rig);
        assert_eq!(
            (visit_back.hook_ups, visit_back.started, visit_back.by),
            (visit.hook_ups, visit.started, visit.by)
        );
    }
    whole(&folder.record());
}

fn mm(length_mm: f64) -> Length {
    Length::from_mm(length_mm)
}

/// A mould with every kind of piece.
fn every_piece() -> Mould {
    let elbow = |make| Piece::Elbow { diameter: mm(10.0), make, loss_k: Some(1.2) };
    let pieces = vec![
        Piece::Bore { diameter: mm(10.0), length: mm(420.3), roughness: Length::from_um(12.5) },
        elbow(ElbowMake::Bent),
        elbow(ElbowMake::Drilled),
        elbow(ElbowMake::Drilled),
        Piece::Hose { diameter: mm(9.0), length: mm(1200.0), roughness: Length::from_um(2.0) },
        Piece::Coupling { flow_factor: FlowFactor::from_m3_h(1.7) },
        Piece::Restrictor(Restrictor::Measured { flow_factor: FlowFactor::from_m3_h(0.33) }),
        Piece::Restrictor(Restrictor::Hole { diameter: mm(3.1), discharge_coefficient: 0.62 }),
        Piece::Baffle { diameter: mm(14.0), depth: mm(80.0), blade: mm(2.0) },
        Piece::Bubbler { diameter: mm(14.0), depth: mm(80.0), tube_outer: mm(8.0), tube_inner: mm(6.0) },
        Piece::Annulus { outer: mm(14.0), inner: mm(9.0), length: mm(60.0) },
        Piece::Split { branches: vec![vec![elbow(ElbowMake::Bent)], vec![elbow(ElbowMake::Drilled)]] },
    ];
    let circuit = |id: &str, pieces| Circuit {
        id: CircuitId(id.to_owned()),
        half: "moving".to_owned(),
        serves: None,
        metals: vec!["1.2311".to_owned()],
        seals: Vec::new(),
        sisters: Vec::new(),
        neighbours: Vec::new(),
        baseline: None,
        pieces,
        known: Known::Measured,
        rough_bore: Some(mm(8.1)),
        rough_length: None,
        earlier: Vec::new(),
    };
    Mould {
        id: MouldId("M-1".to_owned()),
        name: "lid".to_owned(),
        process: bench::mould::Process::DieCasting,
        circuits: vec![circuit("F2", pieces), circuit("F1", Vec::new())],
    }
}

fn trace() -> Trace {
    Trace {
        time_s: vec![0.0, 0.1, 0.25],
        pressure_bar_g: Some(vec![6.0, f64::NAN, 1.0 / 3.0]),
        flow_l_min: Some(vec![1.0, 2.0, 3.0]),
        temperature_deg_c: Some(vec![20.0, 20.1, f64::NAN]),
    }
}

/// Every kind of reading and treatment.
fn every_reading() -> Vec<What> {
    let bar = GaugePressure::from_bar;
    let (id, ml) = (|id: &str| CircuitId(id.to_owned()), Volume::from_ml);
    let warm = Some(Temperature::from_deg_c(21.3));
    let read = Decay::TwoReadings { start: bar(6.1), end: bar(5.98), time: Duration::from_s(33.3) };
    let logged = || Decay::Trace(trace());
    let flow = |flow| {
        What::Flow(Flow {
            flow,
            pressure_in: bar(1.83),
            pressure_out: bar(-0.01),
            water_temperature: Temperature::from_deg_c(18.5),
            others: Others::Open,
            through_fixture: false,
        })
    };
    let run = |on| {
        What::RigCheck(RigRun {
            on,
            flow: Some(VolumeFlow::from_l_min(12.4)),
            pressure_in: Some(bar(2.0)),
            pressure_out: None,
            water_temperature: warm,
            reference_pressure: Some((bar(2.01), 0.01)),
            reference_temperature: Some((Temperature::from_deg_c(21.1), 0.2)),
        })
    };
    let volume = |method, from| What::Volume(VolumeReading { method, through_fixture: true, from });
    let orifice = RigOn::Orifice { flow_factor: FlowFactor::from_m3_h(0.7), relative: 0.013 };
    vec![
        What::LeakDown(LeakDown { decay: logged(), wall_temperature: warm, hold: Duration::from_s(5.5) }),
        What::LeakDown(LeakDown { decay: read.clone(), wall_temperature: None, hold: Duration::from_s(0.0) }),
        What::AirPassage(AirPassage { charged: Charged::Circuit, decay: logged(), air_temperature: warm }),
        What::AirPassage(AirPassage {
            charged: Charged::Reservoir(ml(4000.0)),
            decay: read.clone(),
            air_temperature: None,
        }),
        flow(FlowReading::Mean(VolumeFlow::from_l_min(12.37))),
        flow(FlowReading::Trace(trace())),
        What::CrossWatch(CrossWatch {
            open: vec![id("F1")],
            charged_decay: Some(logged()),
            also_charged: vec![(id("F1"), None), (id("F2"), Some(read.clone()))],
            watched: vec![(id("F1"), logged()), (id("F2"), read)],
        }),
        volume(
            VolumeMethod::AirExpansion {
                reference: ml(500.0),
                reference_before: bar(6.0),
                circuit_before: bar(0.0),
                joined: bar(3.21),
            },
            End::Inlet,
        ),
        volume(VolumeMethod::Drained { volume_ml: Uncertain::new(123.4, 1.7) }, End::Outlet),
        run(RigOn::Fixture),
        run(orifice),
        run(RigOn::AtRest),
        run(RigOn::ShutOff),
        What::Bucket(BucketRun {
            by: BucketBy::Mark,
            fillings: vec![Filling {
                caught_l_or_kg: 9.87,
                time: Duration::from_s(61.2),
                meter: VolumeFlow::from_l_min(9.7),
            }],
            caught_uncertainty_l_or_kg: 0.05,
            timing_uncertainty: Duration::from_s(0.3),
            water_temperature: None,
        }),
        What::Note("quotes \" and umlauts ü, a tab\tand a line\nbreak".to_owned()),
        What::Treatment(Treatment { kind: TreatmentKind::Descale, remark: Some("citric".to_owned()) }),
        What::Treatment(Treatment { kind: TreatmentKind::BlowOut, remark: None }),
    ]
}

/// A day of a circuit's past.
fn day(done: Done) -> Earlier {
    let states =
        |first: f64| BoreState::ALL.into_iter().zip([first, 0.1, 1.0 / 3.0, 0.0, 1e-9, 0.02]).collect();
    Earlier {
        date: jiff::civil::date(2025, 3, 9),
        visit: (done == Done::Rodded).then(|| "V7".to_owned()),
        found: (done != Done::Treated).then(|| EarlierFound {
            state: states(0.5),
            before: if done == Done::Descaled { states(0.25) } else { BTreeMap::new() },
            thickness_mm: Some(Uncertain::new(0.31, 0.07)),
        }),
        done: vec![done, Done::Treated],
        remark: Some("citric, 40 min".to_owned()),
    }
}

#[test]
fn every_kind_of_piece_and_reading_comes_back() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let mut mould = every_piece();
    mould.circuits[0].baseline = Some(bench::mould::Baseline {
        flow_factor_m3_h: Uncertain::new(0.71, 0.013),
        filled_volume_ml: Some(Uncertain::new(77.0, 1.0)),
        sonic_conductance_dm3_s_bar: Some(Uncertain::new(1.9, 0.1)),
        date: Some("2025-11-03".to_owned()),
        others: Others::Open,
        sweep: Some(BaselineSweep {
            points: vec![FlowPoint {
                flow: VolumeFlow::from_l_min(11.7),
                drop: PressureDrop::from_bar(1.03),
                temperature: Temperature::from_deg_c(19.7),
            }],
            uncertainty: PointUncertainty { flow_relative: 0.017, drop_bar: 0.03, temperature_k: 0.7 },
        }),
    });
    mould.circuits[1].earlier = Done::ALL.into_iter().map(day).collect();
    let (_, mut visit) = simulated(3);
    visit.mould = mould.id.clone();
    visit.hook_ups.clear();
    visit.rig.name = Some("B2".to_owned());
    visit.rig.fixture_sonic_conductance = Some(SonicConductance::from_dm3_s_bar(9.3));
    let entry = |(at, what): (usize, What)| Entry {
        place: format!("visit.toml, line {at}"),
        at: Some(common::at(at as i64)),
        circuit: Some(CircuitId("F2".to_owned())),
        what,
    };
    visit.entries = every_reading().into_iter().enumerate().map(entry).collect();
    take_in(&store, &mould, &visit, None);
    let (mould_back, visit_back) = store
        .read(|reader| Ok((reader.mould("M-1", AsOf::Now)?, reader.visit("M-1", &visit.id, AsOf::Now)?)))
        .unwrap();
    assert_eq!(mould_back, mould);
    assert_eq!(packed(&visit_back.entries), packed(&visit.entries));
    assert_eq!(visit_back.entries[4], visit.entries[4]);
    assert_eq!(visit_back.rig, visit.rig);
    assert_eq!(store.read(|reader| reader.rigs()).unwrap(), ["B2"]);
    assert!(take_in(&store, &mould, &visit, None).is_empty());
    whole(&folder.record());
}

#[test]
fn a_drawing_corrected_today_leaves_yesterday_as_it_was() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let old = every_piece();
    let (_, mut visit) = simulated(5);
    visit.mould = old.id.clone();
    (visit.hook_ups, visit.entries) = (Vec::new(), Vec::new());
    take_in(&store, &old, &visit, None);
    let yesterday = AsOf::Entry(store.read(|reader| reader.head()).unwrap().number);
    let inputs = |as_of| store.read(|reader| reader.inputs_of("M-1", &visit.id, as_of)).unwrap();
    let rested_on = inputs(yesterday);
    let mut new = every_piece();
    new.circuits[0].pieces.truncate(3);
    take_in(&store, &new, &visit, Some("the drawing of 2019 was of the sister tool"));
    let mould = |as_of| store.read(|reader| reader.mould("M-1", as_of)).unwrap();
    assert_eq!(mould(yesterday), old);
    assert_eq!(mould(AsOf::Now), new);
    assert!(
        take_in(&store, &old, &visit, None).is_empty(),
        "an old file does not bring the old drawing back"
    );
    assert!(take_in(&store, &new, &visit, None).is_empty());
    assert_eq!(inputs(yesterday), rested_on);
    assert_ne!(inputs(AsOf::Now), rested_on);
    let history = store.read(|reader| reader.history(&Subject::circuit("M-1", "F2"), AsOf::Now)).unwrap();
    let correction = history.iter().find(|entry| entry.corrects.is_some()).unwrap();
    assert_eq!(correction.reason.as_deref(), Some("the drawing of 2019 was of the sister tool"));
    whole(&folder.record());
}

#[test]
fn a_reading_is_corrected_only_with_a_reason() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let mould = every_piece();
    let (_, mut visit) = simulated(5);
    visit.mould = mould.id.clone();
    visit.hook_ups.clear();
    let reading = |flow_l_min| {
        let mut what = every_reading().swap_remove(4);
        if let What::Flow(flow) = &mut what {
            flow.flow = FlowReading::Mean(VolumeFlow::from_l_min(flow_l_min));
        }
        Entry { place: String::new(), at: None, circuit: Some(CircuitId("F1".to_owned())), what }
    };
    visit.entries = vec![reading(12.4), reading(9.1), reading(3.0)];
    take_in(&store, &mould, &visit, None);
    visit.entries = vec![reading(12.4), reading(1.9)];
    let refused = store.read(|reader| {
        let taken = reader.take_in_visit(&visit)?;
        assert_eq!((taken.new.len(), taken.changed.len(), taken.left.len()), (0, 1, 1));
        taken.write(reader, common::at(30), "kt", None).map(drop)
    });
    assert!(matches!(refused, Err(StoreError::ReasonMissing(_))));
    take_in(&store, &mould, &visit, Some("typed from the wrong line"));
    let back = store.read(|reader| reader.visit("M-1", &visit.id, AsOf::Now)).unwrap();
    assert_eq!(back.entries.len(), 3, "what does not come is left as it is");
    assert_eq!(back.entries[1], visit.entries[1]);
    // The old file again: it says what was corrected since, and changes nothing.
    visit.entries = vec![reading(12.4), reading(9.1), reading(3.0)];
    for reason in [None, Some("again")] {
        let taken = store.read(|reader| reader.take_in_visit(&visit)).unwrap();
        assert_eq!((taken.is_nothing(), taken.outdated.len()), (true, 1));
        assert!(take_in(&store, &mould, &visit, reason).is_empty());
    }
    whole(&folder.record());
}

#[test]
fn what_was_withdrawn_does_not_come_back_with_an_old_file() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let mould = every_piece();
    let (_, mut visit) = simulated(5);
    visit.mould = mould.id.clone();
    visit.hook_ups.clear();
    let entry =
        |what| Entry { place: String::new(), at: None, circuit: Some(CircuitId("F1".to_owned())), what };
    visit.entries = every_reading().into_iter().take(2).map(entry).collect();
    take_in(&store, &mould, &visit, None);
    let about = Subject::visit("M-1", &visit.id);
    let items = store.read(|reader| reader.items(&about, AsOf::Now)).unwrap();
    let reading = items.iter().find(|item| item.fact.kind() == "reading").unwrap();
    let mut write = store::Write::new("away", common::at(50), "kt");
    let away = Fact::Withdrawal(store::shapes::WithdrawalCard { about });
    write.correct(reading.entry.number, away, "taken on another mould");
    store.write(&write).unwrap();
    let taken = store.read(|reader| reader.take_in_visit(&visit)).unwrap();
    assert_eq!((taken.is_nothing(), taken.outdated.len()), (true, 1));
    // Its place is free for what was really read there.
    visit.entries[0] = visit.entries[1].clone();
    assert_eq!(take_in(&store, &mould, &visit, None).len(), 1);
    let back = store.read(|reader| reader.visit("M-1", &visit.id, AsOf::Now)).unwrap();
    assert_eq!(packed(&back.entries), packed(&visit.entries));
    whole(&folder.record());
}

#[test]
fn a_number_that_is_none_is_refused_whole() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let mut mould = every_piece();
    mould.circuits[0].rough_bore = Some(mm(f64::INFINITY));
    let refused = store.read(|reader| reader.take_in_mould(&mould)?.write(reader, common::at(1), "kt", None));
    let refused = store.write(&refused.unwrap());
    assert!(matches!(refused, Err(StoreError::Unwritable { kind: "circuit", .. })), "{refused:?}");
    assert_eq!(whole(&folder.record()), 2, "only the two people");
    let unknown = store.read(|reader| reader.mould("M-1", AsOf::Now).map(drop));
    assert!(matches!(unknown, Err(StoreError::Unknown { what: "mould", .. })));
}

#[test]
fn every_fact_has_the_subject_of_its_entry() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(8);
    take_in(&store, &mould, &visit, None);
    for entry in store.read(|reader| reader.entries_after(0, u32::MAX)).unwrap() {
        let fact: Fact = entry.fact().unwrap();
        assert_eq!(fact.subject().as_str(), entry.subject);
        assert_eq!(entry.seal(), entry.hash);
        assert_eq!(
            Subject::parse(&entry.subject).as_ref().map(Subject::as_str),
            Some(entry.subject.as_str())
        );
    }
}
