//! Calculators: filled volume by air, and the energy in it.

use super::{ATMOSPHERE, GAUGE, VOLUME_ML, in_words};
use crate::air::energy::{self, stored_energy};
use crate::air::trapped::{Expansion, Fixture, Measurable, TrappedError, by_expansion};
use crate::calculators::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::quantity::{AbsolutePressure, GaugePressure, PressureDrop, TemperatureDifference, Volume};

pub(super) static TRAPPED_VOLUME: Calculator = Calculator {
    name: "trapped-volume",
    title: "Filled volume by air expansion",
    text: "Volume of a circuit from the pressures before and after air of a known volume was let into it; no wetting. \
           Ideal gas, same temperature before and long after; one gauge for all readings, so that its gain and zero cancel.",
    inputs: &[
        Field::required("reference_volume_ml", VOLUME_ML, "known volume, up to the valve"),
        Field::required("reference_bar_g", GAUGE, "pressure in the known volume before"),
        Field::preset("circuit_bar_g", GAUGE, Preset::Number(0.0), "pressure in the circuit before"),
        Field::required("joined_bar_g", GAUGE, "pressure in both, half a minute after they were joined"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013),
            "pressure of the surrounding air",
        ),
        Field::preset(
            "pressure_repeatability_bar",
            Kind::Number { low: 0.0, high: 10.0 },
            Preset::Number(0.01),
            "standard uncertainty of one reading against another of the same gauge",
        ),
        Field::preset(
            "reference_volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(0.5),
            "standard uncertainty of the known volume",
        ),
        Field::preset(
            "temperature_difference_k",
            Kind::Number { low: 0.0, high: 100.0 },
            Preset::Number(1.0),
            "standard uncertainty of the difference between the two temperatures",
        ),
        Field::optional(
            "fixture_volume_ml",
            Kind::NOT_NEGATIVE,
            "hoses and dead ends between valve and circuit, to be taken off",
        ),
        Field::preset(
            "fixture_volume_uncertainty_percent",
            Kind::PERCENT,
            Preset::Number(4.0),
            "standard uncertainty of the fixture's volume",
        ),
    ],
    outputs: &[
        Output { name: "volume_ml", text: "volume of the circuit, fixture taken off" },
        Output { name: "with_fixture_ml", text: "volume with the fixture" },
        Output {
            name: "measurable",
            text: "yes, coarse (above 10 %), or behind-fixture (not measurable behind this hose)",
        },
    ],
    sources: &["en-13184", "jcgm-100"],
    run: run_trapped_volume,
};

fn run_trapped_volume(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pressure = |name| GaugePressure::from_bar(input.number(name));
    let reading = Expansion {
        reference: Volume::from_ml(input.number("reference_volume_ml")),
        reference_uncertainty_relative: input.number("reference_volume_uncertainty_percent") / 100.0,
        reference_before: pressure("reference_bar_g"),
        circuit_before: pressure("circuit_bar_g"),
        joined: pressure("joined_bar_g"),
        atmosphere: AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        repeatability: PressureDrop::from_bar(input.number("pressure_repeatability_bar")),
        temperature_difference: TemperatureDifference::from_k(input.number("temperature_difference_k")),
        fixture: input.optional_number("fixture_volume_ml").map(|ml| Fixture {
            volume: Volume::from_ml(ml),
            uncertainty_relative: input.number("fixture_volume_uncertainty_percent") / 100.0,
        }),
    };
    let found = by_expansion(&reading).map_err(|error| match error {
        TrappedError::Range(range) => vec![Fault::from(range)],
        TrappedError::NoDifference { .. } => {
            vec![in_words("reference_bar_g", &error.to_string()).with_value(input.number("reference_bar_g"))]
        }
        TrappedError::NotBetween { joined_bar_g } => {
            vec![in_words("joined_bar_g", &error.to_string()).with_value(joined_bar_g)]
        }
    })?;
    let answer = Answer::new()
        .with("volume_ml", found.volume_ml.estimate())
        .with("with_fixture_ml", found.with_fixture_ml.estimate());
    Ok(match found.measurable {
        Measurable::Yes => answer.with("measurable", "yes"),
        Measurable::Coarse => answer.with("measurable", "coarse").warn(
            "coarse",
            "Uncertainty above 10 %: use a vessel of about the circuit's volume, a finer gauge, or shorter hoses.",
        ),
        Measurable::BehindFixture => answer.with("measurable", "behind-fixture").warn(
            "behind-fixture",
            "Not measurable behind this hose: the uncertainty is as large as the circuit. Use short adapters, or measure \
             the hoses joined to each other.",
        ),
    })
}

pub(super) static STORED_ENERGY: Calculator = Calculator {
    name: "stored-energy",
    title: "Energy in compressed air",
    text: "Work that compressed air gives off when it is let go: isentropic expansion to the surrounding air.",
    inputs: &[
        Field::required("volume_ml", Kind::Number { low: 0.0, high: 1e6 }, "volume under pressure"),
        Field::required("pressure_bar_g", Kind::Number { low: 0.0, high: 50.0 }, "gauge pressure"),
        Field::preset(
            "atmosphere_bar_abs",
            ATMOSPHERE,
            Preset::Number(1.013_25),
            "pressure of the surrounding air",
        ),
    ],
    outputs: &[Output { name: "energy_j", text: "stored energy" }],
    sources: &["asme-pcc-2", "hse-gs4"],
    run: |input| {
        let energy = stored_energy(
            Volume::from_ml(input.number("volume_ml")),
            GaugePressure::from_bar(input.number("pressure_bar_g")),
            AbsolutePressure::from_bar(input.number("atmosphere_bar_abs")),
        )
        .map_err(|range| vec![Fault::from(range)])?;
        Ok(Answer::new().with("energy_j", energy.j()).warn("compressed-air", energy::CAUTION))
    },
};
