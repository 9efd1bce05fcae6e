//! Simulated discharges: conductance and its interval against the truth, and verdicts.
#[path = "air_passage_trials/world.rs"]
mod world;

use calc::air::discharge::{Charged, Discharge, Gauge, Seen, evaluate};
use calc::air::leak_down::DecayData;
use calc::quantity::{AbsolutePressure, PressureDrop, Temperature, Volume};
use calc::trace::Trace;
use world::*;

const KNOB: f64 = 20.0;

#[test]
fn probe() {
    let mut dice = Dice::new(1);
    let start = std::time::Instant::now();
    let (mut gen_s, mut fit_s) = (0.0, 0.0);
    let mut errors = Vec::new();
    let mut z = Vec::new();
    for trial in 0..300 {
        let circuit = circuit(&mut dice);
        let (before, after) = fixture(&mut dice);
        let way: Vec<Stretch> = before.iter().chain(&circuit.real).chain(&after).copied().collect();
        let truth = conductance(&way);
        let flag = |name: &str| std::env::var(name).is_ok();
        let clock = std::time::Instant::now();
        let own: f64 = way.iter().map(Stretch::volume_l).sum();
        let volume = dice.log_between(1.5, 6.0).max(own * KNOB);
        let tau = volume / truth;
        let rate = dice.log_between(12.0, 100.0) / tau;
        let atmosphere = dice.between(0.97, 1.03);
        let wall_k = 293.15 + 5.0 * dice.normal();
        let scene = Scene {
            chain: Chain::new(&way),
            source: Source::Vessel {
                volume,
                coefficient: dice.spread(35.0, 0.3),
                shape: dice.between(5.54, 7.0),
                exponent: if flag("NOEXP") { 0.0 } else { dice.between(0.0, 0.67) },
            },
            start_bar_g: dice.between(4.5, 6.5),
            atmosphere,
            gas_k: wall_k + if flag("NOGAS") { 0.0 } else { 1.0 } * dice.normal(),
            wall_k,
            opening_s: dice.between(0.3, 0.6) * tau,
            valve_s: dice.between(0.0, 0.03) * tau,
            transfer_units: transfer_units(&way) * dice.between(0.6, 1.1),
        };
        let watch = Watch {
            lag_s: dice.log_between(0.002, 0.05).min(0.1 * tau),
            noise: dice.log_between(0.001, 0.01),
            zero: 0.01 * dice.normal(),
            step: 0.0,
        };
        let count = ((rate * dice.between(3.0, 6.0) * tau) as usize).max(8);
        let times: Vec<f64> = (0..count).map(|i| i as f64 / rate).collect();
        let mut scene = scene;
        if flag("NOVOL") {
            for v in &mut scene.chain.volume {
                *v *= 0.2;
            }
        }
        if flag("WARM") {
            scene.transfer_units = 20.0;
        }
        let watch = if flag("NOLAG") { Watch { lag_s: 0.0, ..watch } } else { watch };
        let shown = seen(&watch, &mut dice, &scene, &times);
        gen_s += clock.elapsed().as_secs_f64();
        let clock = std::time::Instant::now();
        let volume_said = dice.spread(volume, 0.005);
        let trace = Trace { time_s: times.clone(), pressure_bar_g: Some(shown.clone()), ..Trace::default() };
        let discharge = Discharge {
            charged: Charged::Reservoir { volume: Volume::from_l(volume_said) },
            volume_standard: 0.005,
            circuit_volume: Some(Volume::from_l(if flag("NOVOL") { 0.2 * own } else { own })),
            volume_before_circuit: None,
            decay: DecayData::Trace(&trace),
            gauge: Gauge { noise: Some(PressureDrop::from_bar(watch.noise)), ..Gauge::default() },
            air_temperature: Temperature::from_k(wall_k),
            atmosphere: AbsolutePressure::from_bar(atmosphere),
        };
        let Ok(found) = evaluate(&discharge) else {
            println!(
                "FAIL C {truth} tau {tau} res {:?} vol {:?} end {} shown {:?}",
                scene.chain.resistance,
                scene.chain.volume,
                scene.chain.end,
                shown.iter().take(8).collect::<Vec<_>>()
            );
            continue;
        };
        fit_s += clock.elapsed().as_secs_f64();
        match found.seen {
            Seen::Value { conductance_dm3_s_bar: c, standard_ln_up, .. } => {
                let e = c.value / truth - 1.0;
                if trial < 25 {
                    println!(
                        "C {truth:.3} tau {tau:.2} own/V {:.3} n/tau {:.0} err {:+.2}% sd {:.2}% b {:?} chi {:?}",
                        own / volume,
                        rate * tau,
                        100.0 * e,
                        100.0 * standard_ln_up,
                        found
                            .critical_ratio
                            .map(|b| ((b.value * 1e3).round() / 1e3, (b.standard * 1e3).round() / 1e3)),
                        found.fit.map(|f| f.chi_square / f.degrees_of_freedom)
                    );
                }
                errors.push(e);
                z.push(e / standard_ln_up);
            }
            other => println!("C {truth:.3} tau {tau:.2} {other:?}"),
        }
    }
    let n = errors.len() as f64;
    let mean = errors.iter().sum::<f64>() / n;
    let mut a: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    a.sort_by(f64::total_cmp);
    let zs = (z.iter().map(|z| z * z).sum::<f64>() / n).sqrt();
    let cover = z.iter().filter(|z| z.abs() < 1.96).count() as f64 / n;
    println!(
        "n {n} mean {:+.2}% median|e| {:.2}% p95 {:.2}% z rms {zs:.2} cover {cover:.3}; gen {gen_s:.1} fit {fit_s:.1} all {:.1}",
        100.0 * mean,
        100.0 * a[a.len() / 2],
        100.0 * a[a.len() * 95 / 100],
        start.elapsed().as_secs_f64()
    );
}
