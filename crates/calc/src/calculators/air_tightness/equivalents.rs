//! Calculators: a leak of air in other terms and units.

use super::ATMOSPHERE;
use crate::air::equivalents::{
    AirSide, LeakUnit, bubbles_per_second, capillary, from_unit, hole, to_unit, water_loss,
};
use crate::calculators::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::quantity::{AbsolutePressure, GaugePressure, LeakRate, Length, Temperature};

pub(super) static LEAK_EQUIVALENTS: Calculator = Calculator {
    name: "leak-equivalents",
    title: "A leak of air as water and as a hole",
    text: "Water that a leak measured with air would lose, through a narrow crack (laminar capillary) and through a short \
           hole (same discharge coefficient for air and water), and the hole or capillary that leaks as much.",
    inputs: &[
        Field::required(
            "leak_rate_mbar_l_s",
            Kind::Number { low: 0.0, high: 1e6 },
            "leak rate at the test pressure, 20 degC",
        ),
        Field::required("pressure_bar_g", Kind::Number { low: 0.05, high: 50.0 }, "test pressure of the air"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013_25),
            "pressure of the surrounding air",
        ),
        Field::preset(
            "temperature_deg_c",
            Kind::Number { low: 0.1, high: 95.0 },
            Preset::Number(20.0),
            "temperature of air and water",
        ),
        Field::optional(
            "water_pressure_bar_g",
            Kind::Number { low: 0.0, high: 45.0 },
            "pressure of the water; the test pressure if left out",
        ),
        Field::preset(
            "capillary_length_mm",
            Kind::Number { low: 0.01, high: 1000.0 },
            Preset::Number(10.0),
            "length of the capillary",
        ),
    ],
    outputs: &[
        Output { name: "water_ml_h_capillary", text: "water lost through a capillary, laminar" },
        Output { name: "water_ml_h_orifice", text: "water lost through a hole" },
        Output { name: "hole_um", text: "diameter of the hole, nozzle flow, discharge coefficient 0.7" },
        Output { name: "capillary_um", text: "diameter of the capillary of the given length" },
    ],
    sources: &["hagen-poiseuille", "white-fluid-mechanics", "en-1779", "iapws-r12-08", "iso-2533"],
    run: run_leak_equivalents,
};

fn run_leak_equivalents(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let leak = LeakRate::from_mbar_l_s(input.number("leak_rate_mbar_l_s"));
    let air = AirSide {
        pressure: GaugePressure::from_bar(input.number("pressure_bar_g")),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        temperature: Temperature::from_deg_c(input.number("temperature_deg_c")),
    };
    let water_pressure =
        input.optional_number("water_pressure_bar_g").map_or(air.pressure, GaugePressure::from_bar);
    let fault = |range: crate::limits::OutOfRange| vec![Fault::from(range)];
    let water = water_loss(leak, air, water_pressure).map_err(fault)?;
    let length = Length::from_mm(input.number("capillary_length_mm"));
    Ok(Answer::new()
        .with("water_ml_h_capillary", water.capillary.m3_h() * 1e6)
        .with("water_ml_h_orifice", water.orifice.m3_h() * 1e6)
        .with("hole_um", hole(leak, air).map_err(fault)?.um())
        .with("capillary_um", capillary(leak, air, length).map_err(fault)?.um())
        .warn(
            "model-not-known",
            "One pressure cannot tell a crack from a hole: the truth lies between the two. Very small leaks may be held \
             shut by surface tension or dry up unseen.",
        ))
}

pub(super) static LEAK_UNITS: Calculator = Calculator {
    name: "leak-units",
    title: "Units of leak rates",
    text: "One leak rate in the units in use. Pressure times volume per time counts at one temperature: published tables of \
           units mean 0 degC, this program's own leak rates 20 degC, which is worth 7 % in cubic centimetres.",
    inputs: &[
        Field::required("value", Kind::Number { low: 0.0, high: 1e12 }, "leak rate"),
        Field::required(
            "unit",
            Kind::Choice(&[
                "mbar_l_s",
                "pa_m3_s",
                "atm_cm3_s",
                "atm_cm3_min_0c",
                "atm_cm3_min_20c",
                "torr_l_s",
                "cm3_min_0c",
            ]),
            "unit of the value; cm3 are at 1 atm and the named temperature",
        ),
        Field::preset(
            "reference_temperature_deg_c",
            Kind::Number { low: -50.0, high: 100.0 },
            Preset::Number(0.0),
            "temperature at which pressure times volume counts: 0 as in published tables, 20 for a leak rate of this program",
        ),
    ],
    outputs: &[
        Output { name: "mbar_l_s", text: "millibar litre per second" },
        Output { name: "pa_m3_s", text: "pascal cubic metre per second" },
        Output {
            name: "atm_cm3_s",
            text: "cubic centimetre at 1 atm and the reference temperature, per second",
        },
        Output { name: "cm3_min_0c", text: "cubic centimetre at 1 atm and 0 degC, per minute" },
        Output { name: "cm3_min_20c", text: "cubic centimetre at 1 atm and 20 degC, per minute" },
        Output { name: "torr_l_s", text: "torr litre per second" },
        Output { name: "bubbles_2mm_per_s", text: "bubbles of 2 mm per second, at 1 atm" },
    ],
    sources: &["nist-sp-811", "liwo-leak-rate", "leak-guidelines"],
    run: run_leak_units,
};

fn run_leak_units(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let reference = Temperature::from_deg_c(input.number("reference_temperature_deg_c"));
    let unit = match input.text("unit") {
        "pa_m3_s" => LeakUnit::PaM3S,
        "atm_cm3_s" => LeakUnit::AtmCm3S,
        "atm_cm3_min_0c" | "cm3_min_0c" => LeakUnit::AtmCm3Min0C,
        "atm_cm3_min_20c" => LeakUnit::AtmCm3Min20C,
        "torr_l_s" => LeakUnit::TorrLS,
        _ => LeakUnit::MbarLS,
    };
    let leak = from_unit(input.number("value"), unit, reference);
    let outputs = [
        ("mbar_l_s", LeakUnit::MbarLS),
        ("pa_m3_s", LeakUnit::PaM3S),
        ("atm_cm3_s", LeakUnit::AtmCm3S),
        ("cm3_min_0c", LeakUnit::AtmCm3Min0C),
        ("cm3_min_20c", LeakUnit::AtmCm3Min20C),
        ("torr_l_s", LeakUnit::TorrLS),
    ];
    let answer = outputs
        .iter()
        .fold(Answer::new(), |answer, (name, unit)| answer.with(name, to_unit(leak, *unit, reference)));
    let answer = answer.with("bubbles_2mm_per_s", bubbles_per_second(leak, Length::from_mm(2.0)));
    Ok(answer.warn(
        "reference-temperature",
        format!(
            "Pressure times volume was taken at {} degC. Leak rates of this program count at 20 degC: give \
             reference_temperature_deg_c = 20 for them.",
            reference.deg_c().round()
        ),
    ))
}
