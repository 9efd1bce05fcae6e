//! The working of each number, for somebody who follows it with a calculator.
//!
//! The formulas here give what the full methods give, as far as a few lines can; each says what the method does beyond
//! them.

use calc::air::leak_down::LeakDownResult;
use calc::air::passage::PassageResult;
use calc::estimate::{Estimate, Uncertain};
use calc::hydraulics::flow_factor::{FlowFactorResult, FlowPoint};
use calc::numeric::math;
use calc::quantity::{AbsolutePressure, Temperature};
use calc::water;

use super::facts::Ratio;
use super::flow::FlowSeen;
use super::tight;
use crate::visit::{AirPassage, Charged, Decay, LeakDown, Rig, VolumeMethod, VolumeReading};
use crate::working::{Number, Term, Working};

/// Power with which the flow through a bore of turbulent water goes with its diameter: the square of the flow goes with the
/// fifth power of the diameter (Darcy and Weisbach, friction factor as it is).
const DIAMETER_POWER: f64 = 2.5;
/// Absolute pressure over that of the surroundings from which on air is surely let out at the speed of sound (ISO 6358: a
/// critical ratio of 0.5 is usual).
const CHOKED: f64 = 2.0;
const ZERO_K: f64 = 273.15;
const ROOM_DEG_C: f64 = 20.0;

fn term(letter: &'static str, name: impl Into<String>, value: f64, unit: &'static str) -> Term {
    Term { letter, name: name.into(), value, unit }
}

/// Leak rate of a leak-down.
pub(crate) fn leak_rate(
    test: &tight::Test<'_>,
    reading: &LeakDown,
    result: &LeakDownResult,
) -> Option<Working> {
    let air = test.rig.atmosphere.bar();
    let (start_bar_g, fall_mbar, time_s, what) = match &reading.decay {
        Decay::TwoReadings { start, end, time } => {
            let fall = (start.bar() - end.bar()) * 1e3;
            (start.bar(), fall, time.s(), "fall of the pressure, all of it taken for the leak")
        }
        Decay::Trace(_) => {
            let ((from_s, first), (to_s, last)) =
                result.curves.leak_only.first().zip(result.curves.leak_only.last())?;
            let what = "fall by the leak alone, from the fit: settling and drift taken out";
            (tight::start_bar_g(reading)?, (first - last) * 1e3, to_s - from_s, what)
        }
    };
    if fall_mbar < 0.0 || time_s <= 0.0 || start_bar_g <= 0.0 {
        return None;
    }
    let (gas_k, how_known) = gas_k(reading);
    let volume_l = test.volume.total_ml / 1e3;
    let start = start_bar_g + air;
    let middle = start - fall_mbar / 2e3;
    let slower = (start * start - air * air) / (middle * middle - air * air);
    let by_hand = volume_l * fall_mbar / time_s * (ZERO_K + ROOM_DEG_C) / gas_k * slower;
    Some(Working {
        number: Number::LeakRate,
        formulas: vec![
            "pm = p1 − Δp / 2000",
            "k = (p1² − pa²) / (pm² − pa²)",
            "Q = V · Δp / t · 293.15 / T · k",
        ],
        inputs: vec![
            term(
                "V",
                format!("air between the shut valves, hoses included ({})", test.volume.from),
                volume_l,
                "l",
            ),
            term("Δp", what, fall_mbar, "mbar"),
            term("t", "time between", time_s, "s"),
            term("T", format!("temperature of the air ({how_known})"), gas_k, "K"),
            term("p1", "absolute pressure at the start", start, "bar"),
            term("pa", "pressure of the surroundings", air, "bar"),
        ],
        by_hand: term("Q", "leak rate at the starting pressure, air of 20 °C", by_hand, "mbar·l/s"),
        value: Some(result.leak_rate),
        beyond: "The leak slows down as the pressure falls; k brings it back to the start, as for a fine crack. The method \
                 weighs cracks against holes, and adds to the interval what volume, settling, temperature and gauge leave open.",
        sources: vec!["en-13184", "astm-e2930"],
    })
}

fn gas_k(reading: &LeakDown) -> (f64, &'static str) {
    if let Some(wall) = reading.wall_temperature {
        return (wall.k(), "of the steel");
    }
    let logged = match &reading.decay {
        Decay::Trace(trace) => trace.temperatures().map(|(_, degrees)| degrees),
        Decay::TwoReadings { .. } => None,
    };
    match logged {
        Some(degrees) if !degrees.is_empty() => {
            #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
            let count = degrees.len() as f64;
            (ZERO_K + degrees.iter().sum::<f64>() / count, "mean of the logged ones")
        }
        _ => (ZERO_K + ROOM_DEG_C, "taken for 20 °C, nobody noted it"),
    }
}

/// Conductance of all that the air went through, from two points of the fitted curve.
pub(crate) fn conductance(
    volume_ml: f64,
    reading: &AirPassage,
    rig: &Rig,
    result: &PassageResult,
) -> Option<Working> {
    let air = rig.atmosphere.bar();
    let volume_l = match reading.charged {
        Charged::Circuit => volume_ml / 1e3,
        Charged::Reservoir(vessel) => vessel.l(),
    };
    let curve = if result.curves.fitted.len() > 1 { &result.curves.fitted } else { &result.curves.measured };
    let choked: Vec<(f64, f64)> = curve
        .iter()
        .map(|(at_s, bar_g)| (*at_s, bar_g + air))
        .filter(|(_, bar)| *bar >= CHOKED * air)
        .collect();
    let ((from_s, high), (to_s, low)) = choked.first().zip(choked.last())?;
    let time_s = to_s - from_s;
    if time_s <= 0.0 || high <= low {
        return None;
    }
    let by_hand = volume_l / time_s * math::ln(high / low);
    Some(Working {
        number: Number::Conductance,
        formulas: vec!["C = V / t · ln(p1 / p2)"],
        inputs: vec![
            term("V", "volume that was charged", volume_l, "dm³"),
            term("p1", "absolute pressure at the beginning of that time, on the fitted curve", *high, "bar"),
            term("p2", "at its end, still above twice that of the surroundings", *low, "bar"),
            term("t", "time between", time_s, "s"),
        ],
        by_hand: term("C", "conductance of circuit and hoses together", by_hand, "dm³/(s·bar)"),
        value: result.sonic_conductance,
        beyond: "The formula is that of air let out at the speed of sound while it keeps its temperature. The method reckons with \
                 the air growing cold and warm again (up to a fifth), and takes hoses and couplings out; so what is found for the \
                 circuit alone is more than what they pass together.",
        sources: vec!["iso-6358-1", "iso-6358-2"],
    })
}

/// Filled volume.
pub(crate) fn volume(reading: &VolumeReading, hoses_ml: f64, found: Uncertain) -> Working {
    let hoses = term("Vh", "hoses, from the rig's fixture run (0 if they are not in it)", hoses_ml, "ml");
    let all = |by_hand| term("V", "volume of the circuit", by_hand, "ml");
    let working = |formulas, inputs, by_hand, beyond, sources| Working {
        number: Number::FilledVolume,
        formulas,
        inputs,
        by_hand: all(by_hand),
        value: Some(found.estimate()),
        beyond,
        sources,
    };
    match reading.method {
        VolumeMethod::Drained { volume_ml } => working(
            vec!["V = Vw − Vh"],
            vec![term("Vw", "water that came out", volume_ml.value, "ml"), hoses],
            volume_ml.value - hoses_ml,
            "The interval holds what was told of the water, a hundredth for the film that stays behind, and the hoses.",
            vec!["jcgm-100"],
        ),
        VolumeMethod::AirExpansion { reference, reference_before, circuit_before, joined } => {
            let (vessel, before, after) = (reference_before.bar(), circuit_before.bar(), joined.bar());
            let by_hand = reference.ml() * (vessel - after) / (after - before) - hoses_ml;
            working(
                vec!["V = Vr · (p1 − p2) / (p2 − p0) − Vh"],
                vec![
                    term("Vr", "volume of the known vessel", reference.ml(), "ml"),
                    term("p1", "pressure in the vessel before", vessel, "bar"),
                    term("p0", "pressure in the circuit before", before, "bar"),
                    term("p2", "pressure in both after", after, "bar"),
                    hoses,
                ],
                by_hand,
                "Boyle's law: what leaves the vessel is in the circuit. The interval holds vessel, gauge, temperatures and hoses.",
                vec!["jcgm-100"],
            )
        }
    }
}

/// Flow factor, from the point with most flow.
pub(crate) fn flow_factor(seen: &FlowSeen, result: &FlowFactorResult) -> Option<Working> {
    let point = largest(seen)?;
    let (here, there) = (properties(point.temperature)?, properties(Temperature::from_deg_c(ROOM_DEG_C))?);
    let (flow, drop) = (point.flow.m3_h(), point.drop.bar());
    let relative = here.density_kg_m3 / 1000.0;
    let hoses = seen.fixture.map(|fixture| fixture.flow_factor.m3_h());
    let taken_out = hoses.map_or(0.0, |hoses| relative * (flow / hoses) * (flow / hoses));
    let thinner = there.kinematic_viscosity_m2_s() / here.kinematic_viscosity_m2_s();
    let twin_flow = flow * thinner;
    let twin_drop = (drop - taken_out) * there.density_kg_m3 / here.density_kg_m3 * thinner * thinner;
    if twin_drop <= 0.0 {
        return None;
    }
    let mut inputs = vec![
        term("q", "largest flow", flow, "m³/h"),
        term("Δp", "pressure drop at that flow, both gauges", drop, "bar"),
        term("ρ", "density of the water", here.density_kg_m3, "kg/m³"),
        term("ν", "kinematic viscosity of the water", here.kinematic_viscosity_m2_s() * 1e6, "mm²/s"),
        term("ρ20", "density at 20 °C", there.density_kg_m3, "kg/m³"),
        term("ν20", "kinematic viscosity at 20 °C", there.kinematic_viscosity_m2_s() * 1e6, "mm²/s"),
        term(
            "n",
            "steepness of the circuit's own curve: the drop goes with the n-th power of the flow",
            result.exponent,
            "",
        ),
    ];
    let mut formulas =
        vec!["q20 = q · ν20 / ν", "d20 = d · ρ20 / ρ · (ν20 / ν)²", "K = q20 · (1 / d20)^(1 / n)"];
    match hoses {
        Some(hoses) => {
            inputs.insert(
                2,
                term("Kh", "flow factor of hoses and couplings, from the rig's fixture run", hoses, "m³/h"),
            );
            formulas.insert(0, "d = Δp − ρ / 1000 · (q / Kh)²");
        }
        None => formulas.insert(0, "d = Δp"),
    }
    Some(Working {
        number: Number::FlowFactor,
        formulas,
        inputs,
        by_hand: term(
            "K",
            "flow factor",
            twin_flow * math::powf(1.0 / twin_drop, 1.0 / result.exponent),
            "m³/h",
        ),
        value: Some(result.estimate),
        beyond: "q20 and d20 are what water of 20 °C would show at the same Reynolds number; the last line goes along the \
                 circuit's curve to 1 bar. The method does so with all points at once, and lets the curve bend. Behind hoses \
                 that nobody measured, it allows for ordinary ones.",
        sources: vec!["iec-60534-2-1", "white-fluid-mechanics", "iapws-r7-97", "iapws-r12-08"],
    })
}

fn largest(seen: &FlowSeen) -> Option<&FlowPoint> {
    seen.points.iter().max_by(|a, b| a.flow.m3_s().total_cmp(&b.flow.m3_s()))
}

fn properties(temperature: Temperature) -> Option<water::Properties> {
    water::water(temperature, AbsolutePressure::from_bar(3.0)).ok()
}

/// A value against what it should be.
pub(crate) fn percent(number: Number, measured: f64, unit: &'static str, ratio: &Ratio) -> Working {
    let (value, new) = match number {
        Number::FilledVolumePercent => ("filled volume found", "filled volume that it should have"),
        _ => ("flow factor found", "flow factor that it should have"),
    };
    Working {
        number,
        formulas: vec!["s = 100 · X / X0"],
        inputs: vec![
            term("X", value, measured, unit),
            term("X0", format!("{new} ({})", ratio.compared_with), measured / ratio.value, unit),
        ],
        by_hand: term("s", "share of what it should be", 100.0 * ratio.value, "%"),
        value: Some(ratio.percent()),
        beyond: "The interval holds what is open of both: squares of relative standard uncertainties add.",
        sources: vec!["jcgm-100"],
    }
}

/// Thickness of a layer all along, as the flow that is lost would have it.
pub(crate) fn thickness(bore_mm: f64, share: f64, layer_share: Estimate, found: Estimate) -> Option<Working> {
    let extra = layer_share.value * (1.0 / (share * share) - 1.0);
    let left = 1.0 / (1.0 + extra).sqrt();
    let by_hand = bore_mm / 2.0 * (1.0 - math::powf(left, 1.0 / DIAMETER_POWER));
    (share > 0.0 && by_hand.is_finite() && by_hand > 0.0).then(|| Working {
        number: Number::Thickness,
        formulas: vec!["e = a · (1 / s² − 1)", "h = D / 2 · (1 − (1 + e)^(−1 / 5))"],
        inputs: vec![
            term("D", "main bore", bore_mm, "mm"),
            term("s", "flow factor over what it should be", share, ""),
            term("a", "share of the layer in the extra pressure loss, from the state of the bore", layer_share.value, ""),
        ],
        by_hand: term("h", "thickness of a layer that is alike all along", by_hand, "mm"),
        value: Some(found),
        beyond: "The pressure loss goes with the fifth power of the bore. The method computes every piece with its layer, \
                 rough wall included, and weighs it against volume, air and the circuit's past by probability, so that the \
                 figure found may lie beside this one.",
        sources: vec!["white-fluid-mechanics"],
    })
}
