//! What is written is read back the same: identity, for any mould and visit.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::{
    Baseline, BaselineSweep, Circuit, CircuitId, Done, Earlier, EarlierFound, Known, Mould, MouldId, Process,
};
use bench::visit::{
    AirPassage, BucketBy, BucketRun, Charged, CrossWatch, Decay, End, Entry, Filling, Flow, FlowReading,
    HookUp, LeakDown, Others, Rig, RigOn, RigRun, Treatment, TreatmentKind, Visit, VolumeMethod,
    VolumeReading, What,
};
use calc::estimate::Uncertain;
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::quantity::{
    AbsolutePressure, Duration, FlowFactor, GaugePressure, Length, PressureDrop, SonicConductance,
    Temperature, Volume, VolumeFlow,
};
use calc::trace::Trace;
use exchange::load_visit_from;
use exchange::write::{Beside, mould_text, rig_text, visit_files};
use proptest::option::of;
use proptest::prelude::*;

/// Numbers as people write them, between two bounds, in steps.
fn decimal(low: i32, high: i32, per_unit: f64) -> impl Strategy<Value = f64> + Clone {
    (low..=high).prop_map(move |steps| f64::from(steps) / per_unit)
}

fn mm() -> impl Strategy<Value = Length> + Clone {
    decimal(600, 9_900, 100.0).prop_map(Length::from_mm)
}

fn bar(low: i32) -> impl Strategy<Value = GaugePressure> + Clone {
    decimal(low, 10_000, 1000.0).prop_map(GaugePressure::from_bar)
}

fn words() -> impl Strategy<Value = String> {
    "[ -~äöü°\"\\\\]{0,12}[a-z]"
}

fn uncertain() -> impl Strategy<Value = Uncertain> {
    (decimal(1, 90_000, 1000.0), decimal(1, 500, 10.0))
        .prop_map(|(value, percent)| Uncertain::relative(value, percent / 100.0))
}

fn day() -> impl Strategy<Value = String> {
    (2000..2030, 1..13, 1..29).prop_map(|(year, month, day)| format!("{year:04}-{month:02}-{day:02}"))
}

fn piece() -> impl Strategy<Value = Piece> {
    let factor = || decimal(1, 9_000, 1000.0).prop_map(FlowFactor::from_m3_h);
    let um = || decimal(0, 500, 10.0).prop_map(Length::from_um);
    let plain = prop_oneof![
        (mm(), mm(), um()).prop_map(|(diameter, length, roughness)| Piece::Bore {
            diameter,
            length,
            roughness
        }),
        (mm(), mm(), um()).prop_map(|(diameter, length, roughness)| Piece::Hose {
            diameter,
            length,
            roughness
        }),
        (mm(), any::<bool>(), of(decimal(0, 90, 10.0))).prop_map(|(diameter, bent, loss_k)| {
            Piece::Elbow { diameter, make: if bent { ElbowMake::Bent } else { ElbowMake::Drilled }, loss_k }
        }),
        factor().prop_map(|flow_factor| Piece::Coupling { flow_factor }),
        factor().prop_map(|flow_factor| Piece::Restrictor(Restrictor::Measured { flow_factor })),
        (mm(), decimal(50, 100, 100.0)).prop_map(|(diameter, discharge_coefficient)| {
            Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient })
        }),
        mm().prop_map(|depth| {
            let (diameter, blade) = (Length::from_mm(12.5), Length::from_mm(1.7));
            Piece::Baffle { diameter, depth, blade }
        }),
        mm().prop_map(|depth| Piece::Bubbler {
            diameter: Length::from_mm(14.1),
            depth,
            tube_outer: Length::from_mm(9.3),
            tube_inner: Length::from_mm(6.9),
        }),
        mm().prop_map(|length| Piece::Annulus {
            outer: Length::from_mm(14.3),
            inner: Length::from_mm(9.1),
            length
        }),
    ];
    plain.prop_recursive(2, 12, 3, |inner| {
        prop::collection::vec(prop::collection::vec(inner, 1..3), 2..4)
            .prop_map(|branches| Piece::Split { branches })
    })
}

fn baseline() -> impl Strategy<Value = Baseline> {
    (uncertain(), of(uncertain()), of(uncertain()), of(day()), any::<bool>(), of(sweep())).prop_map(
        |(flow_factor_m3_h, filled_volume_ml, sonic_conductance_dm3_s_bar, date, open, sweep)| Baseline {
            flow_factor_m3_h,
            filled_volume_ml,
            sonic_conductance_dm3_s_bar,
            date,
            others: if open { Others::Open } else { Others::Closed },
            sweep,
        },
    )
}

fn sweep() -> impl Strategy<Value = BaselineSweep> {
    let point = (decimal(1, 50_000, 100.0), decimal(1, 9_000, 1000.0), decimal(1, 900, 10.0)).prop_map(
        |(flow, drop, water)| FlowPoint {
            flow: VolumeFlow::from_l_min(flow),
            drop: PressureDrop::from_bar(drop),
            temperature: Temperature::from_deg_c(water),
        },
    );
    let uncertainty = (decimal(1, 100, 10.0), decimal(1, 100, 1000.0), decimal(1, 30, 10.0));
    (prop::collection::vec(point, 1..5), uncertainty).prop_map(
        |(points, (percent, drop_bar, temperature_k))| {
            let uncertainty = PointUncertainty { flow_relative: percent / 100.0, drop_bar, temperature_k };
            BaselineSweep { points, uncertainty }
        },
    )
}

/// Probabilities of some states or of all; their sum is at most 1, or 1.
fn named_states(least: usize) -> impl Strategy<Value = BTreeMap<BoreState, f64>> {
    let some = prop::sample::subsequence(BoreState::ALL.to_vec(), least..6)
        .prop_map(|states| states.into_iter().map(|state| (state, 0.16)).collect());
    let all = (0..6_usize).prop_map(|sure| {
        let share = |at| if at == sure { 0.875 } else { 0.025 };
        BoreState::ALL.into_iter().enumerate().map(|(at, state)| (state, share(at))).collect()
    });
    prop_oneof![some, all]
}

fn earlier() -> impl Strategy<Value = Vec<Earlier>> {
    let thickness = (decimal(1, 300, 100.0), decimal(1, 100, 100.0))
        .prop_map(|(value, standard)| Uncertain::new(value, standard));
    let found = (named_states(1), named_states(0), of(thickness))
        .prop_map(|(state, before, thickness_mm)| EarlierFound { state, before, thickness_mm });
    let done = prop::collection::vec(prop::sample::select(Done::ALL.to_vec()), 0..3);
    let one = (of(words()), of(found), done, of(words()));
    prop::collection::vec(one, 0..4).prop_map(|days| {
        let dated = |(at, (visit, found, mut done, remark)): (usize, (_, Option<_>, Vec<Done>, _))| {
            if found.is_none() && done.is_empty() {
                done.push(Done::Treated);
            }
            let year = 2010 + i16::try_from(at).unwrap_or(0);
            let date = jiff::civil::date(year, 3, 4);
            Earlier { date, visit, found, done, remark }
        };
        days.into_iter().enumerate().map(dated).collect()
    })
}

const IDS: [&str; 3] = ["F1", "F 2", "ü\"3"];

fn circuit(id: &'static str) -> impl Strategy<Value = Circuit> {
    let list = || prop::collection::vec(words(), 0..3);
    let known = prop::sample::select(vec![Known::Drawing, Known::Measured, Known::Guessed, Known::Unknown]);
    let others = prop::sample::subsequence(IDS.to_vec(), 0..3).prop_map(move |ids| {
        ids.into_iter().filter(|other| *other != id).map(|id| CircuitId(id.to_owned())).collect::<Vec<_>>()
    });
    let first = (words(), of(words()), list(), list(), others.clone(), others);
    let pieces = prop::collection::vec(piece(), 0..4).prop_map(|pieces| {
        // Neighbours that are equal are written as one with a count.
        pieces.into_iter().flat_map(|piece| [piece.clone(), piece]).collect::<Vec<_>>()
    });
    let second = (of(baseline()), pieces, known, of(mm()), of(mm()), earlier());
    (first, second).prop_map(
        move |(
            (half, serves, metals, seals, sisters, neighbours),
            (baseline, pieces, known, bore, length, earlier),
        )| {
            let id = CircuitId(id.to_owned());
            Circuit {
                id,
                half,
                serves,
                metals,
                seals,
                sisters,
                neighbours,
                baseline,
                pieces,
                known,
                rough_bore: bore,
                rough_length: length,
                earlier,
            }
        },
    )
}

fn mould() -> impl Strategy<Value = Mould> {
    (words(), words(), any::<bool>(), IDS.map(circuit)).prop_map(|(id, name, die, circuits)| Mould {
        id: MouldId(id),
        name,
        process: if die { Process::DieCasting } else { Process::InjectionMoulding },
        circuits: circuits.to_vec(),
    })
}

fn rig() -> impl Strategy<Value = Rig> {
    let share = || decimal(0, 200, 10.0).prop_map(|percent| percent / 100.0);
    let pump = prop::sample::subsequence(vec![(0.0, 6.0), (12.5, 5.3), (25.0, 4.7), (50.1, 0.0)], 2..5);
    let ml = || decimal(1, 90_000, 10.0).prop_map(Volume::from_ml);
    let first =
        (of(words()), share(), decimal(0, 500, 1000.0), decimal(0, 200, 1000.0), decimal(0, 30, 10.0), pump);
    let second = (
        of(decimal(1, 9_000, 1000.0).prop_map(FlowFactor::from_m3_h)),
        share(),
        of(ml()),
        of(decimal(1, 9_000, 1000.0).prop_map(SonicConductance::from_dm3_s_bar)),
        of(ml()),
        of(ml()),
        decimal(900, 1100, 1000.0).prop_map(AbsolutePressure::from_bar),
        (of(day()), of(day()), of(day()), of(day())),
    );
    (first, second).prop_map(|(first, second)| Rig {
        name: first.0,
        flow_uncertainty_relative: first.1,
        pressure_uncertainty_bar: first.2,
        gauge_step_bar: first.3,
        temperature_uncertainty_k: first.4,
        pump_curve: first
            .5
            .into_iter()
            .map(|(flow, pressure)| (VolumeFlow::from_l_min(flow), GaugePressure::from_bar(pressure)))
            .collect(),
        fixture_flow_factor: second.0,
        fixture_uncertainty_relative: second.1,
        fixture_volume: second.2,
        fixture_sonic_conductance: second.3,
        reference_volume: second.4,
        reservoir_volume: second.5,
        atmosphere: second.6,
        calibrated_until: second.7.0,
        flow_calibrated_until: second.7.1,
        pressure_calibrated_until: second.7.2,
        temperature_calibrated_until: second.7.3,
    })
}

/// A trace with both columns, so that it serves as pressure and as flow; no gaps, since a gap equals nothing.
fn trace() -> impl Strategy<Value = Trace> {
    (prop::collection::vec((1..1000_i32, 0.0..9.0_f64, 0.0..99.0_f64), 2..20), any::<bool>()).prop_map(
        |(rows, warm)| {
            let steps = rows.iter().scan(-f64::from(rows[0].0), |time, row| {
                *time += f64::from(row.0);
                Some(*time / 16.0)
            });
            Trace {
                time_s: steps.collect(),
                pressure_bar_g: Some(rows.iter().map(|row| row.1).collect()),
                flow_l_min: Some(rows.iter().map(|row| row.2).collect()),
                temperature_deg_c: warm.then(|| rows.iter().map(|row| row.2 + 1.0 / 3.0).collect()),
            }
        },
    )
}

fn decay() -> impl Strategy<Value = Decay> {
    prop_oneof![
        trace().prop_map(Decay::Trace),
        (bar(0), bar(0), decimal(1, 6000, 10.0).prop_map(Duration::from_s))
            .prop_map(|(start, end, time)| Decay::TwoReadings { start, end, time }),
    ]
}

fn rig_run() -> impl Strategy<Value = RigRun> {
    let deg_c = || decimal(1, 900, 10.0).prop_map(Temperature::from_deg_c);
    let low = GaugePressure::from_bar(-0.25);
    let orifice = (decimal(1, 9_000, 1000.0), decimal(0, 400, 10.0)).prop_map(|(factor, percent)| {
        RigOn::Orifice { flow_factor: FlowFactor::from_m3_h(factor), relative: percent / 100.0 }
    });
    let flowing = (prop_oneof![Just(RigOn::Fixture), orifice], decimal(0, 900, 10.0), bar(1), of(deg_c()));
    let flowing = flowing.prop_map(move |(on, flow, inlet, water_temperature)| RigRun {
        on,
        flow: Some(VolumeFlow::from_l_min(flow)),
        pressure_in: Some(inlet),
        pressure_out: Some(low),
        water_temperature,
        reference_pressure: None,
        reference_temperature: None,
    });
    let idle = (of((bar(0), decimal(0, 90, 100.0))), bar(0), of((deg_c(), deg_c(), decimal(0, 90, 10.0))));
    let idle = idle.prop_map(move |(reference_pressure, outlet, warm)| RigRun {
        on: if reference_pressure.is_some() { RigOn::ShutOff } else { RigOn::AtRest },
        flow: None,
        pressure_in: None,
        pressure_out: Some(outlet),
        water_temperature: warm.map(|warm| warm.0),
        reference_pressure,
        reference_temperature: warm.map(|warm| (warm.1, warm.2)),
    });
    prop_oneof![flowing, idle]
}

fn bucket_run() -> impl Strategy<Value = BucketRun> {
    let filling = (decimal(1, 900, 10.0), decimal(1, 900, 10.0), decimal(1, 900, 10.0)).prop_map(
        |(caught, seconds, meter)| Filling {
            caught_l_or_kg: caught,
            time: Duration::from_s(seconds),
            meter: VolumeFlow::from_l_min(meter),
        },
    );
    let about = (any::<bool>(), decimal(0, 90, 100.0), decimal(0, 90, 100.0), of(decimal(1, 900, 10.0)));
    (prop::collection::vec(filling, 1..4), about).prop_map(|(fillings, about)| BucketRun {
        by: if about.0 { BucketBy::Weight } else { BucketBy::Mark },
        fillings,
        caught_uncertainty_l_or_kg: about.1,
        timing_uncertainty: Duration::from_s(about.2),
        water_temperature: about.3.map(Temperature::from_deg_c),
    })
}

fn what() -> impl Strategy<Value = What> {
    let deg_c = || decimal(1, 900, 10.0).prop_map(Temperature::from_deg_c);
    let ml = || decimal(1, 90_000, 10.0).prop_map(Volume::from_ml);
    prop_oneof![
        (decay(), of(deg_c()), decimal(0, 300, 10.0)).prop_map(|(decay, wall_temperature, hold)| {
            What::LeakDown(LeakDown { decay, wall_temperature, hold: Duration::from_s(hold) })
        }),
        (of(ml()), decay(), of(deg_c())).prop_map(|(vessel, decay, air_temperature)| {
            let charged = vessel.map_or(Charged::Circuit, Charged::Reservoir);
            What::AirPassage(AirPassage { charged, decay, air_temperature })
        }),
        (
            prop_oneof![
                decimal(0, 900, 10.0).prop_map(|flow| FlowReading::Mean(VolumeFlow::from_l_min(flow))),
                trace().prop_map(FlowReading::Trace)
            ],
            (bar(1), deg_c(), any::<bool>(), any::<bool>())
        )
            .prop_map(|(flow, (pressure_in, water_temperature, open, through_fixture))| {
                What::Flow(Flow {
                    flow,
                    pressure_in,
                    pressure_out: GaugePressure::from_bar(-0.25),
                    water_temperature,
                    others: if open { Others::Open } else { Others::Closed },
                    through_fixture,
                })
            }),
        (of(decay()), decay(), of(of(decay()))).prop_map(|(charged_decay, seen, also)| {
            What::CrossWatch(CrossWatch {
                open: if also.is_none() { vec![CircuitId(IDS[2].to_owned())] } else { vec![] },
                charged_decay,
                also_charged: also.into_iter().map(|decay| (CircuitId(IDS[2].to_owned()), decay)).collect(),
                watched: vec![(CircuitId(IDS[1].to_owned()), seen)],
            })
        }),
        (ml(), any::<bool>()).prop_map(|(reference, through_fixture)| {
            let method = VolumeMethod::AirExpansion {
                reference,
                reference_before: GaugePressure::from_bar(5.3),
                circuit_before: GaugePressure::from_bar(0.1),
                joined: GaugePressure::from_bar(2.7),
            };
            What::Volume(VolumeReading { method, through_fixture, from: End::Outlet })
        }),
        (decimal(1, 90_000, 10.0), decimal(0, 90, 10.0)).prop_map(|(value, standard)| {
            let method = VolumeMethod::Drained { volume_ml: Uncertain::new(value, standard) };
            What::Volume(VolumeReading { method, through_fixture: true, from: End::Inlet })
        }),
        rig_run().prop_map(What::RigCheck),
        bucket_run().prop_map(What::Bucket),
        words().prop_map(What::Note),
        of(words()).prop_map(|remark| What::Treatment(Treatment { kind: TreatmentKind::Descale, remark })),
    ]
}

fn visit(mould: MouldId) -> impl Strategy<Value = Visit> {
    let entries = (prop::collection::vec((what(), any::<bool>()), 0..6), any::<bool>());
    (rig(), words(), entries, prop::collection::vec((1..4_u32, 0..3_usize), 0..5)).prop_map(
        move |(rig, by, (entries, timed), hook_ups)| {
            let started: jiff::Timestamp = "2026-11-24T08:40:00.5Z".parse().expect("a moment");
            let entry = |(at, (what, whole)): (i64, (What, bool))| Entry {
                place: String::new(),
                at: timed.then(|| started + jiff::SignedDuration::from_secs(at)),
                circuit: (!matches!(what, What::RigCheck(_) | What::Bucket(_))
                    && (!whole || !matches!(what, What::Note(_) | What::Treatment(_))))
                .then(|| CircuitId(IDS[0].to_owned())),
                what,
            };
            Visit {
                id: "visit 7".to_owned(),
                mould: mould.clone(),
                started,
                by,
                rig,
                hook_ups: hook_ups
                    .into_iter()
                    .map(|(port, at)| HookUp { port, circuit: CircuitId(IDS[at].to_owned()) })
                    .collect(),
                entries: (0..).zip(entries).map(entry).collect(),
            }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn a_mould_and_a_visit(
        (mould, visit) in mould().prop_flat_map(|mould| { let id = mould.id.clone(); (Just(mould), visit(id)) }),
        own_rig in any::<bool>(),
    ) {
        let rig = own_rig.then_some("B2.rig.toml");
        let mut files: BTreeMap<String, Vec<u8>> = visit_files(&visit, Beside { mould: "m.toml", rig }).into_iter().collect();
        files.insert("m.toml".to_owned(), mould_text(&mould).into_bytes());
        files.extend(rig.map(|name| (name.to_owned(), rig_text(&visit.rig).into_bytes())));
        let text = String::from_utf8(files["visit 7.visit.toml"].clone()).expect("UTF-8");
        let loaded = load_visit_from(&files, "visit 7.visit.toml");
        let mut loaded = loaded.map_err(|faults| TestCaseError::fail(format!("{faults}\n{text}\n{}", mould_text(&mould))))?;
        for entry in &mut loaded.visit.entries {
            prop_assert!(entry.place.starts_with("visit 7.visit.toml, line "));
            entry.place.clear();
        }
        prop_assert_eq!(loaded.mould, mould);
        prop_assert_eq!(loaded.visit, visit, "{}", text);
    }
}

#[test]
fn files_look_as_people_write_them() {
    let piece = |length| Piece::Bore {
        diameter: Length::from_mm(10.3),
        length: Length::from_mm(length),
        roughness: Length::from_um(10.0),
    };
    let circuit = Circuit {
        id: CircuitId("F2".to_owned()),
        half: "fixed".to_owned(),
        serves: None,
        metals: vec!["1.2311".to_owned()],
        seals: Vec::new(),
        sisters: Vec::new(),
        neighbours: Vec::new(),
        baseline: Some(Baseline {
            flow_factor_m3_h: Uncertain::relative(0.71, 0.02),
            filled_volume_ml: None,
            sonic_conductance_dm3_s_bar: None,
            date: Some("2025-11-03".to_owned()),
            others: Others::Closed,
            sweep: None,
        }),
        pieces: vec![piece(420.0), piece(60.7), piece(60.7)],
        known: Known::Drawing,
        rough_bore: None,
        rough_length: None,
        earlier: vec![Earlier {
            date: "2026-03-04".parse().unwrap(),
            visit: Some("M-214-2026-03-04".to_owned()),
            found: Some(EarlierFound {
                state: BTreeMap::from([(BoreState::EvenDeposit, 0.8), (BoreState::AsNew, 0.1)]),
                before: BTreeMap::new(),
                thickness_mm: Some(Uncertain::new(0.5, 0.1)),
            }),
            done: vec![Done::Descaled],
            remark: None,
        }],
    };
    let mould = Mould {
        id: MouldId("M-214".to_owned()),
        name: "Seed-tray lid, 4 cavities".to_owned(),
        process: Process::InjectionMoulding,
        circuits: vec![circuit],
    };
    let expected = r#"format = "borewise-mould/1"

[mould]
id = "M-214"
name = "Seed-tray lid, 4 cavities"
process = "injection-moulding"

[[circuit]]
id = "F2"
half = "fixed"
metals = ["1.2311"]
baseline_flow_factor_m3_h = 0.71
baseline_uncertainty_percent = 2
baseline_date = 2025-11-03
baseline_others = "closed"
pieces = [
    { kind = "bore", diameter_mm = 10.3, length_mm = 420, roughness_um = 10 },
    { kind = "bore", diameter_mm = 10.3, length_mm = 60.7, roughness_um = 10, count = 2 },
]
known = "drawing"
earlier = [
    { date = "2026-03-04", visit = "M-214-2026-03-04", state = { as-new = 0.1, even-deposit = 0.8 }, deposit_thickness_mm = 0.5, deposit_thickness_uncertainty_mm = 0.1, done = ["descaled"] },
]
"#;
    assert_eq!(mould_text(&mould), expected);
}
