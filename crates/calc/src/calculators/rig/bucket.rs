//! Calculator: flow by bucket and stopwatch.

use crate::calculators::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::quantity::{Duration, Temperature, VolumeFlow};
use crate::readings::bucket::{BucketFlow, Doubt, Measure, Meter, Run, bucket_flow};

const CAUGHT: Kind = Kind::Number { low: 1e-6, high: 1e6 };
const SECONDS: Kind = Kind::Number { low: 1e-3, high: 1e6 };
const FLOW: Kind = Kind::Number { low: 1e-3, high: 1e5 };
const SMALL: Kind = Kind::Number { low: 0.0, high: 1_000.0 };

const MASS: Field = Field::optional("mass_kg", CAUGHT, "water caught, bucket taken off, by weight");
const VOLUME: Field = Field::optional("volume_l", CAUGHT, "water caught, by mark, instead of by weight");
const TIME: Field = Field::optional("time_s", SECONDS, "filling time");
const METER: Field = Field::optional("meter_flow_l_min", FLOW, "what the flow meter showed meanwhile");

pub(super) static BUCKET_CHECK: Calculator = Calculator {
    name: "bucket-check",
    title: "Flow by bucket and stopwatch",
    text: "Flow from water caught in a time, by scales (ISO 4185, with the air's buoyancy) or by mark, with its budget. \
           Beside a flow meter: whether the meter is off by more than twice its stated standard uncertainty. Also how \
           long to collect for a wanted precision.",
    inputs: &[
        MASS,
        VOLUME,
        TIME,
        METER,
        Field::optional(
            "runs",
            Kind::List { of: &Kind::Record(&[MASS, VOLUME, TIME, METER]), least: 1 },
            "several fillings, instead of one",
        ),
        Field::preset(
            "water_temperature_deg_c",
            Kind::Number { low: 0.1, high: 95.0 },
            Preset::Number(20.0),
            "temperature of the water",
        ),
        Field::preset(
            "temperature_uncertainty_k",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(0.0),
            "standard uncertainty of that temperature",
        ),
        Field::preset(
            "air_density_kg_m3",
            Kind::Number { low: 0.0, high: 2.0 },
            Preset::Number(1.2),
            "density of the air",
        ),
        Field::preset(
            "weights_density_kg_m3",
            Kind::Number { low: 2_000.0, high: 22_000.0 },
            Preset::Number(8_000.0),
            "density of the weights that the scales were adjusted with",
        ),
        Field::preset(
            "mass_uncertainty_kg",
            Kind::NOT_NEGATIVE,
            Preset::Number(0.01),
            "standard uncertainty of the scales",
        ),
        Field::preset(
            "volume_uncertainty_l",
            Kind::NOT_NEGATIVE,
            Preset::Number(0.1),
            "standard uncertainty of the mark",
        ),
        Field::preset(
            "step_kg",
            SMALL,
            Preset::Number(0.0),
            "smallest step of the scales (litres by mark); read full and empty",
        ),
        Field::preset(
            "lost_kg",
            SMALL,
            Preset::Number(0.0),
            "most that splashes out or stays as a film (litres by mark); half of it is added",
        ),
        Field::preset(
            "time_uncertainty_s",
            Kind::NOT_NEGATIVE,
            Preset::Number(0.3),
            "standard uncertainty of start and stop together; 0.3 s by hand",
        ),
        Field::preset(
            "time_step_s",
            Kind::Number { low: 0.0, high: 60.0 },
            Preset::Number(0.0),
            "smallest step of the watch",
        ),
        Field::preset(
            "meter_uncertainty_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(2.0),
            "stated standard uncertainty of the flow meter",
        ),
        Field::preset(
            "meter_repeatability_percent",
            Kind::Number { low: 0.0, high: 50.0 },
            Preset::Number(0.3),
            "scatter of one reading of the meter",
        ),
        Field::preset(
            "wanted_percent",
            Kind::Number { low: 0.01, high: 50.0 },
            Preset::Number(1.0),
            "half width at 95 % that is wanted of the flow",
        ),
    ],
    outputs: &[
        Output { name: "flow_l_min", text: "flow; Student's t for the effective degrees of freedom" },
        Output { name: "standard_percent", text: "combined standard uncertainty, of the flow" },
        Output { name: "coverage_factor", text: "expanded over standard uncertainty" },
        Output { name: "buoyancy_factor", text: "factor by which the scales read too little" },
        Output { name: "budget", text: "lines of the budget: name, percent, share of the variance" },
        Output { name: "meter_ratio", text: "meter over bucket; null without the meter's reading" },
        Output {
            name: "meter_off",
            text: "whether the meter is off by more than it states: yes, no, cannot-tell or null",
        },
        Output {
            name: "seconds_needed",
            text: "collecting time of each run for wanted_percent; null if more than an hour or never",
        },
    ],
    sources: &["iso-4185", "jcgm-100", "iapws-r7-97"],
    run: run_bucket,
};

/// One run as given, and whether by mark.
fn run(input: Input<'_>, path: &str) -> Result<(Run, bool), Vec<Fault>> {
    let at = |field: &str| if path.is_empty() { field.to_owned() } else { format!("{path}.{field}") };
    let (caught, by_mark) = match (input.optional_number("mass_kg"), input.optional_number("volume_l")) {
        (Some(mass), None) => (mass, false),
        (None, Some(volume)) => (volume, true),
        (Some(_), Some(_)) => {
            return Err(vec![Fault::new(at("volume_l"), "given beside mass_kg", "give one of the two")]);
        }
        (None, None) => return Err(vec![Fault::new(at("mass_kg"), "missing", "give mass_kg or volume_l")]),
    };
    let Some(time_s) = input.optional_number("time_s") else {
        return Err(vec![Fault::new(at("time_s"), "missing", "give the filling time")]);
    };
    let meter = input.optional_number("meter_flow_l_min").map(VolumeFlow::from_l_min);
    Ok((Run { caught, time: Duration::from_s(time_s), meter }, by_mark))
}

fn runs(input: Input<'_>) -> Result<(Vec<Run>, bool), Vec<Fault>> {
    const ONE: [&str; 4] = ["mass_kg", "volume_l", "time_s", "meter_flow_l_min"];
    if !input.has("runs") {
        let (run, by_mark) = run(input, "")?;
        return Ok((vec![run], by_mark));
    }
    let beside: Vec<Fault> = ONE
        .into_iter()
        .filter(|name| input.has(name))
        .map(|name| Fault::new(name, "given beside runs", "put it into runs"))
        .collect();
    if !beside.is_empty() {
        return Err(beside);
    }
    let mut found = Vec::new();
    for (place, one) in input.records("runs").enumerate() {
        found.push(run(one, &format!("runs.{place}"))?);
    }
    let by_mark = found.first().is_some_and(|first| first.1);
    match found.iter().position(|one| one.1 != by_mark) {
        Some(place) => {
            let problem = "some runs by weight, some by mark";
            Err(vec![Fault::new(format!("runs.{place}"), problem, "measure all runs the same way")])
        }
        None => Ok((found.into_iter().map(|one| one.0).collect(), by_mark)),
    }
}

fn run_bucket(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let (runs, by_mark) = runs(input)?;
    let measure = if by_mark {
        Measure::Mark
    } else {
        Measure::Scales {
            air_density_kg_m3: input.number("air_density_kg_m3"),
            weights_density_kg_m3: input.number("weights_density_kg_m3"),
        }
    };
    let doubt = Doubt {
        caught: input.number(if by_mark { "volume_uncertainty_l" } else { "mass_uncertainty_kg" }),
        step: input.number("step_kg"),
        lost: input.number("lost_kg"),
        reaction: Duration::from_s(input.number("time_uncertainty_s")),
        watch_step: Duration::from_s(input.number("time_step_s")),
        temperature_k: input.number("temperature_uncertainty_k"),
    };
    let meter = Meter {
        stated: input.number("meter_uncertainty_percent") / 100.0,
        repeatability: input.number("meter_repeatability_percent") / 100.0,
    };
    let water = Temperature::from_deg_c(input.number("water_temperature_deg_c"));
    let found = bucket_flow(&runs, measure, &doubt, water, meter, input.number("wanted_percent"))
        .map_err(|range| vec![Fault::from(range)])?;
    Ok(answer(&found, input.number("wanted_percent")))
}

fn answer(found: &BucketFlow, wanted_percent: f64) -> Answer {
    let variance = (found.relative * found.relative).max(f64::MIN_POSITIVE);
    let budget: Vec<Value> = found
        .budget
        .iter()
        .map(|line| {
            Value::record([
                ("name", Value::from(line.name)),
                ("percent", Value::from(100.0 * line.relative)),
                ("share", Value::from(line.relative * line.relative / variance)),
            ])
        })
        .collect();
    let off = found.meter.map(|meter| match meter.off {
        Some(true) => "yes",
        Some(false) => "no",
        None => "cannot-tell",
    });
    let answer = Answer::new()
        .with("flow_l_min", found.flow_l_min)
        .with("standard_percent", 100.0 * found.relative)
        .with("coverage_factor", found.coverage_factor)
        .with("buoyancy_factor", found.buoyancy_factor)
        .with("budget", Value::List(budget))
        .with("meter_ratio", found.meter.map(|meter| meter.ratio))
        .with("meter_off", off)
        .with("seconds_needed", found.seconds_needed);
    if off == Some("cannot-tell") {
        let longer = found.seconds_needed.map_or_else(
            || "no collecting time would do: find better scales".to_owned(),
            |seconds| format!("collect for {seconds:.0} s to be good to {wanted_percent} %"),
        );
        return answer.warn("cannot-tell", format!("The bucket is too coarse for this meter; {longer}."));
    }
    answer
}
