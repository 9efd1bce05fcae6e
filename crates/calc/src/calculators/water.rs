//! Calculators: water. Also the fields by which every calculator is told the coolant.

use super::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset};
use crate::quantity::{AbsolutePressure, Temperature};
use crate::water::{
    Coolant, PRESSURE_RANGE_BAR_ABS, Properties, TEMPERATURE_RANGE_DEG_C, glycol, properties,
    saturation_pressure,
};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&WATER];

/// Temperature of the coolant.
pub(super) const TEMPERATURE: Field = Field::required(
    "temperature_deg_c",
    Kind::Number { low: -60.0, high: TEMPERATURE_RANGE_DEG_C.1 },
    "temperature of the coolant",
);
/// Which glycol, if any.
pub(super) const GLYCOL: Field = Field::preset(
    "glycol",
    Kind::Choice(&["none", "ethylene", "propylene"]),
    Preset::Text("none"),
    "glycol in the water",
);
/// How much glycol.
pub(super) const GLYCOL_MASS_PERCENT: Field = Field::preset(
    "glycol_mass_percent",
    Kind::Number { low: glycol::MASS_PERCENT_RANGE.0, high: glycol::MASS_PERCENT_RANGE.1 },
    Preset::Number(0.0),
    "glycol, by mass",
);

/// The coolant that [`GLYCOL`] and [`GLYCOL_MASS_PERCENT`] name.
///
/// # Errors
/// A fault if there is an amount of no glycol.
pub(super) fn coolant(input: Input<'_>) -> Result<Coolant, Fault> {
    let mass_percent = input.number("glycol_mass_percent");
    match input.text("glycol") {
        "ethylene" => Ok(Coolant::EthyleneGlycol { mass_percent }),
        "propylene" => Ok(Coolant::PropyleneGlycol { mass_percent }),
        _ if mass_percent > 0.0 => {
            let hint = "say which glycol, or leave the amount out";
            Err(Fault::new("glycol", "an amount is given, but no glycol", hint)
                .with_value(input.text("glycol")))
        }
        _ => Ok(Coolant::Water),
    }
}

/// Properties of the coolant that an input with [`TEMPERATURE`] and the glycol fields names.
///
/// # Errors
/// A fault if the coolant is not liquid there or its formula does not reach so far.
pub(super) fn coolant_properties(
    input: Input<'_>,
    pressure: AbsolutePressure,
) -> Result<Properties, Vec<Fault>> {
    let coolant = coolant(input).map_err(|fault| vec![fault])?;
    let temperature = Temperature::from_deg_c(input.number("temperature_deg_c"));
    properties(coolant, temperature, pressure).map_err(|range| vec![Fault::from(range)])
}

static WATER: Calculator = Calculator {
    name: "water",
    title: "Water and glycol mixtures",
    text: "Properties of liquid water (IAPWS: density 0.01 %, viscosity 1 %, conductivity 2 %, heat capacity \
           0.2 %) and of water with glycol (density 0.5 %, viscosity 5 %, conductivity 3 %, heat capacity 2 %; \
           standard uncertainties, the latter our judgement). Plain water from 0.1 to 180 degC, mixtures from \
           their freezing point to 100 degC.",
    inputs: &[
        TEMPERATURE,
        Field::preset(
            "pressure_bar_abs",
            Kind::Number { low: PRESSURE_RANGE_BAR_ABS.0, high: PRESSURE_RANGE_BAR_ABS.1 },
            Preset::Number(3.0),
            "pressure against vacuum",
        ),
        GLYCOL,
        GLYCOL_MASS_PERCENT,
    ],
    outputs: &[
        Output { name: "density_kg_m3", text: "density" },
        Output { name: "viscosity_mpa_s", text: "dynamic viscosity" },
        Output { name: "conductivity_w_m_k", text: "thermal conductivity" },
        Output { name: "heat_capacity_j_kg_k", text: "specific heat capacity at constant pressure" },
        Output { name: "prandtl", text: "Prandtl number" },
        Output {
            name: "saturation_pressure_bar_abs",
            text: "boiling pressure of plain water at this temperature; for a mixture an upper bound",
        },
        Output { name: "freezing_point_deg_c", text: "temperature at which the first ice forms" },
    ],
    sources: &["iapws-r7-97", "iapws-r12-08", "iapws-r15-11", "coolprop-2014", "melinder-2010"],
    run: run_water,
};

fn run_water(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pressure = AbsolutePressure::from_bar(input.number("pressure_bar_abs"));
    let found = coolant_properties(input, pressure)?;
    let out = |range| vec![Fault::from(range)];
    let deg_c = input.number("temperature_deg_c");
    // Below the range of the boiling curve only mixtures are liquid, and for them it is a bound anyway.
    let boiling_at = Temperature::from_deg_c(deg_c.max(TEMPERATURE_RANGE_DEG_C.0));
    let boiling = saturation_pressure(boiling_at).map_err(out)?;
    let mixed = match coolant(input).map_err(|fault| vec![fault])? {
        Coolant::Water => None,
        Coolant::EthyleneGlycol { mass_percent } => Some((glycol::Glycol::Ethylene, mass_percent)),
        Coolant::PropyleneGlycol { mass_percent } => Some((glycol::Glycol::Propylene, mass_percent)),
    };
    let freezing = match mixed {
        Some((kind, percent)) => glycol::freezing_point(kind, percent).map_err(out)?.deg_c(),
        None => 0.0,
    };
    let answer = Answer::new()
        .with("density_kg_m3", found.density_kg_m3)
        .with("viscosity_mpa_s", found.viscosity_pa_s * 1e3)
        .with("conductivity_w_m_k", found.conductivity_w_m_k)
        .with("heat_capacity_j_kg_k", found.heat_capacity_j_kg_k)
        .with("prandtl", found.prandtl())
        .with("saturation_pressure_bar_abs", boiling.bar())
        .with("freezing_point_deg_c", freezing);
    Ok(boiling_warnings(answer, pressure, boiling, mixed.is_some()))
}

fn boiling_warnings(
    answer: Answer,
    pressure: AbsolutePressure,
    boiling: AbsolutePressure,
    mixed: bool,
) -> Answer {
    let below = pressure < boiling;
    let bar = boiling.bar();
    match (mixed, below) {
        (false, false) => answer,
        (false, true) => answer.warn(
            "boiling",
            format!(
                "At this temperature water boils below {bar:.2} bar absolute: it flashes to steam at this pressure. \
                 The values are those of the liquid at its boiling pressure."
            ),
        ),
        (true, _) => {
            let answer = answer.warn(
                "saturation-of-water",
                "The boiling pressure is that of plain water; the mixture's is lower, so it is an upper bound.",
            );
            if below {
                answer.warn(
                    "may-boil",
                    format!(
                        "Plain water would boil below {bar:.2} bar absolute; whether this mixture boils at this \
                         pressure cannot be told."
                    ),
                )
            } else {
                answer
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::Value;

    fn ask(fields: &[(&'static str, Value)]) -> Result<Answer, Vec<Fault>> {
        WATER.answer(&Value::record(fields.iter().cloned()))
    }

    fn codes(answer: &Answer) -> Vec<&str> {
        answer.warnings.iter().map(|warning| warning.code).collect()
    }

    #[test]
    fn water_at_20_degrees() {
        // IAPWS at 20 degC: 998.2 kg/m3 and 1.002 mPa s (steam tables; CoolProp 8.0.0 gives the same digits).
        let answer = ask(&[("temperature_deg_c", Value::Number(20.0))]).unwrap();
        assert!((answer.get("density_kg_m3").unwrap().as_number().unwrap() - 998.3).abs() < 0.1);
        assert!((answer.get("viscosity_mpa_s").unwrap().as_number().unwrap() - 1.0015).abs() < 1e-3);
        assert!((answer.get("prandtl").unwrap().as_number().unwrap() - 7.005).abs() < 0.02);
        assert!(answer.warnings.is_empty());
    }

    #[test]
    fn warns_of_boiling_and_of_the_bound() {
        let hot = ask(&[("temperature_deg_c", Value::Number(140.0))]).unwrap();
        assert_eq!(codes(&hot), ["boiling"]);
        let mixed = |deg_c: f64, bar: f64| {
            ask(&[
                ("temperature_deg_c", Value::Number(deg_c)),
                ("pressure_bar_abs", Value::Number(bar)),
                ("glycol", Value::from("ethylene")),
                ("glycol_mass_percent", Value::Number(40.0)),
            ])
            .unwrap()
        };
        assert_eq!(codes(&mixed(-10.0, 3.0)), ["saturation-of-water"]);
        assert_eq!(codes(&mixed(95.0, 0.6)), ["saturation-of-water", "may-boil"]);
    }

    #[test]
    fn names_the_faulty_field() {
        let field = |fields: &[(&'static str, Value)]| ask(fields).unwrap_err()[0].field.clone();
        let frozen = [("temperature_deg_c", Value::Number(-5.0))];
        assert_eq!(field(&frozen), "temperature_deg_c");
        let nameless =
            [("temperature_deg_c", Value::Number(5.0)), ("glycol_mass_percent", Value::Number(9.0))];
        assert_eq!(field(&nameless), "glycol");
        let strong = [
            ("temperature_deg_c", Value::Number(5.0)),
            ("glycol", Value::from("propylene")),
            ("glycol_mass_percent", Value::Number(70.0)),
        ];
        assert_eq!(field(&strong), "glycol_mass_percent");
    }
}
