//! How often the question before an entry is asked of somebody who typed no slip, and how often it finds one: simulated visits
//! with all their faults, typed entry by entry.

use bench::plausible::{Number, questions};
use bench::visit::{Decay, Entry, FlowReading, Visit, What};
use calc::quantity::{Duration, GaugePressure, Temperature, VolumeFlow};
use link::{Invention, random_plan, simulate};

const VISITS: u64 = 150;
const FIRST_SEED: u64 = 9_000;

/// What a person would have typed in place of a logged trace: the first and the last reading.
fn typed(decay: &Decay) -> Decay {
    let Decay::Trace(trace) = decay else { return decay.clone() };
    let pressures = trace.pressure_bar_g.as_deref().unwrap_or_default();
    let (Some(start), Some(end)) = (pressures.first(), pressures.last()) else { return decay.clone() };
    let time =
        trace.time_s.last().copied().unwrap_or_default() - trace.time_s.first().copied().unwrap_or_default();
    let bar = |value: f64| GaugePressure::from_bar((value * 100.0).round() / 100.0);
    Decay::TwoReadings { start: bar(*start), end: bar(*end), time: Duration::from_s(time.round()) }
}

fn by_hand(entry: &Entry) -> Entry {
    let mut entry = entry.clone();
    match &mut entry.what {
        What::LeakDown(test) => test.decay = typed(&test.decay),
        What::AirPassage(test) => test.decay = typed(&test.decay),
        _ => {}
    }
    entry
}

/// The same entry with one slip, its number, and what was meant.
fn slips(entry: &Entry) -> Vec<(Entry, Number, f64)> {
    let with = |change: &dyn Fn(&mut What)| {
        let mut slipped = entry.clone();
        change(&mut slipped.what);
        slipped
    };
    let start_of = |what: &What| match what {
        What::LeakDown(test) => Some(test.decay.clone()),
        What::AirPassage(test) => Some(test.decay.clone()),
        _ => None,
    };
    let mut all = Vec::new();
    if let What::Flow(flow) = &entry.what
        && let FlowReading::Mean(mean) = &flow.flow
    {
        for factor in [10.0, 0.1, 60.0] {
            let slipped = with(&|what| {
                if let What::Flow(flow) = what {
                    flow.flow = FlowReading::Mean(VolumeFlow::from_l_min(mean.l_min() * factor));
                }
            });
            all.push((slipped, Number::Flow, mean.l_min()));
        }
        let deg_c = flow.water_temperature.deg_c();
        let slipped = with(&|what| {
            if let What::Flow(flow) = what {
                flow.water_temperature = Temperature::from_deg_c(Temperature::from_deg_c(deg_c).deg_f());
            }
        });
        all.push((slipped, Number::WaterTemperature, deg_c));
    }
    if let Some(Decay::TwoReadings { start, end, time }) = start_of(&entry.what) {
        for factor in [10.0, 0.1, 14.503_77] {
            let slipped = with(&|what| {
                let start = GaugePressure::from_bar(start.bar() * factor);
                let decay = Decay::TwoReadings { start, end, time };
                match what {
                    What::LeakDown(test) => test.decay = decay,
                    What::AirPassage(test) => test.decay = decay,
                    _ => {}
                }
            });
            all.push((slipped, Number::Start, start.bar()));
        }
    }
    all
}

#[derive(Default, Debug)]
struct Count {
    entries: u32,
    asked_in_vain: u32,
    slips: u32,
    found: u32,
}

#[test]
fn questions_are_rare_without_a_slip_and_find_most_slips() {
    let (mut flows, mut airs, mut others) = (Count::default(), Count::default(), Count::default());
    for seed in FIRST_SEED..FIRST_SEED + VISITS {
        let plan = random_plan(seed, &Invention { circuits: (3, 8), ..Invention::default() });
        let Ok(played) = simulate(&plan, seed) else { continue };
        let entries: Vec<Entry> = played.visit.entries.iter().map(by_hand).collect();
        for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.circuit.is_some()) {
            let before = Visit { entries: entries[..at].to_vec(), ..played.visit.clone() };
            let count = match &entry.what {
                What::Flow(_) => &mut flows,
                What::LeakDown(_) | What::AirPassage(_) => &mut airs,
                _ => &mut others,
            };
            count.entries += 1;
            count.asked_in_vain += u32::from(!questions(&played.mould, &before, entry).is_empty());
            for (slipped, number, meant) in slips(entry) {
                count.slips += 1;
                let asked = questions(&played.mould, &before, &slipped);
                let right = |question: &bench::plausible::Question| {
                    question.number == number && (question.meant() - meant).abs() < 0.01 * meant.abs()
                };
                count.found += u32::from(asked.iter().any(right));
            }
        }
    }
    println!("flow {flows:?}\nair {airs:?}\nother {others:?}");
    // Seen: asked in vain 13 of 1987, 7 of 1587, 0 of 465; found 5931 of 6132, 4209 of 4761. The bars are our own choice.
    for (count, found_percent) in [(&flows, 90), (&airs, 80), (&others, 0)] {
        assert!(count.entries > 50, "{count:?}");
        assert!(100 * count.asked_in_vain <= 2 * count.entries, "{count:?}");
        assert!(100 * count.found >= found_percent * count.slips, "{count:?}");
    }
}
