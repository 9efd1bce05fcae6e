//! From readings to rows of a linear model: deviation = sum of errors + noise.

use super::{INSTRUMENTS, KnownThing, RigCheckError, RigReading, Stated, drop_of};
use crate::estimate::root_sum_square;
use crate::hydraulics::circuit::reference_conditions;
use crate::hydraulics::flow_factor::{FlowFactorError, FlowPoint, PointUncertainty, flow_factor};
use crate::limits::within;
use crate::numeric::math;
use crate::quantity::{AbsolutePressure, FlowFactor, Temperature, VolumeFlow};
use crate::water;

/// Scatter of one meter reading, relative, and of one gauge reading, bar (own proposal).
const METER_REPEATS: f64 = 0.004;
const GAUGE_REPEATS_BAR: f64 = 0.002;
const THERMOMETER_REPEATS_K: f64 = 0.1;
/// Width of a rectangular distribution over its standard deviation.
const RECTANGLE: f64 = 3.464_101_615_137_754_4;
/// Pressure of the reference water: 1 bar above the air.
const REFERENCE_PRESSURE: AbsolutePressure = AbsolutePressure::from_bar(2.013_25);
/// Ordinary test water, where nobody took its temperature.
const ORDINARY_WATER: Temperature = Temperature::from_deg_c(20.0);

/// One equation: `deviation = sum(weight * error) + noise`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub weights: [f64; INSTRUMENTS],
    pub deviation: f64,
    pub noise: f64,
    /// Seen before the drift that is looked for.
    pub earlier: bool,
}

/// The gauges' noise of one reading.
pub(super) fn gauge_noise(stated: &Stated) -> f64 {
    root_sum_square(&[GAUGE_REPEATS_BAR, stated.gauge_step_bar / RECTANGLE])
}

/// The rows of all readings, and the flow factor of the fixture against which hoses count.
pub(super) fn rows(
    stated: &Stated,
    readings: &[RigReading],
) -> Result<(Vec<Row>, Option<FlowFactor>), RigCheckError> {
    let mut nominal = stated.fixture.map(|(factor, _)| factor);
    let mut rows = Vec::new();
    // Earlier runs first: where the rig states no fixture, one of them stands in.
    let order = readings.iter().enumerate();
    let (earlier, today): (Vec<_>, Vec<_>) = order.partition(|(_, reading)| reading.earlier);
    for (place, reading) in earlier.into_iter().chain(today) {
        ranges(reading)?;
        match reading.on {
            KnownThing::Fixture => {
                let (seen, model) = fixture_factor(place, reading)?;
                let known = *nominal.get_or_insert(FlowFactor::from_m3_h(seen));
                let deviation = math::ln(seen / known.m3_h());
                rows.push(drop_row(stated, reading, place, deviation, model, 1.0)?);
            }
            KnownThing::Orifice { flow_factor, relative } => {
                within("reference_flow_factor_m3_h", flow_factor.m3_h(), 1e-6, 1e6, "m3/h")?;
                within("reference_uncertainty_percent", relative * 100.0, 0.0, 50.0, "%")?;
                let point = point(place, reading)?;
                let seen = point.flow.m3_h() / quadratic_root_bar(&point)?;
                let deviation = math::ln(seen / flow_factor.m3_h());
                rows.push(drop_row(stated, reading, place, deviation, relative, 0.0)?);
            }
            KnownThing::Bucket { flow_l_min } => {
                let meter = flowing(place, reading)?.l_min();
                within("bucket_flow_l_min", flow_l_min.value, 1e-6, 1e4, "l/min")?;
                within(
                    "bucket_uncertainty_l_min",
                    flow_l_min.standard,
                    0.0,
                    flow_l_min.value / 2.0,
                    "l/min",
                )?;
                let noise = flow_l_min.relative_standard().max(1e-4);
                let deviation = math::ln(meter / flow_l_min.value);
                rows.push(row(reading, [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], deviation, noise));
            }
            KnownThing::AtRest => at_rest(stated, place, reading, &mut rows)?,
            KnownThing::ShutOff => shut_off(stated, place, reading, &mut rows)?,
        }
        against_references(stated, reading, &mut rows)?;
    }
    Ok((rows, nominal))
}

fn row(reading: &RigReading, weights: [f64; INSTRUMENTS], deviation: f64, noise: f64) -> Row {
    Row { weights, deviation, noise, earlier: reading.earlier }
}

fn ranges(reading: &RigReading) -> Result<(), RigCheckError> {
    let bar = |name, pressure: Option<crate::quantity::GaugePressure>| match pressure {
        Some(pressure) => within(name, pressure.bar(), -1.0, 400.0, "bar").map(|_| ()),
        None => Ok(()),
    };
    bar("pressure_in_bar_g", reading.pressure_in)?;
    bar("pressure_out_bar_g", reading.pressure_out)?;
    bar("reference_pressure_bar_g", reading.reference_pressure.map(|known| known.0))?;
    if let Some(flow) = reading.flow {
        within("flow_l_min", flow.l_min(), 0.0, 1e4, "l/min")?;
    }
    let water = [reading.water_temperature, reading.reference_temperature.map(|known| known.0)];
    for water in water.into_iter().flatten() {
        within("water_temperature_deg_c", water.deg_c(), 0.1, 180.0, "degC")?;
    }
    Ok(())
}

fn flowing(place: usize, reading: &RigReading) -> Result<VolumeFlow, RigCheckError> {
    reading
        .flow
        .filter(|flow| flow.l_min() > 0.0)
        .ok_or(RigCheckError::Missing { place, missing: "flow_l_min (above 0)" })
}

fn point(place: usize, reading: &RigReading) -> Result<FlowPoint, RigCheckError> {
    let drop = drop_of(reading)
        .ok_or(RigCheckError::Missing { place, missing: "pressure_in_bar_g or pressure_out_bar_g" })?;
    if drop.bar() < 1e-3 {
        return Err(RigCheckError::NoDrop { place, drop_bar: drop.bar() });
    }
    let temperature = reading.water_temperature.unwrap_or(ORDINARY_WATER);
    Ok(FlowPoint { flow: flowing(place, reading)?, drop, temperature })
}

/// Root of the drop that water of 20 degC would have at this flow where the drop goes with the square of flow.
fn quadratic_root_bar(point: &FlowPoint) -> Result<f64, RigCheckError> {
    let here = water::water(point.temperature, REFERENCE_PRESSURE)?.density_kg_m3;
    Ok((point.drop.bar() * reference_conditions().fluid.density_kg_m3 / here).sqrt())
}

/// Flow factor at 20 degC and 1 bar as the instruments show it, and how far the way there may be off.
fn fixture_factor(place: usize, reading: &RigReading) -> Result<(f64, f64), RigCheckError> {
    let point = point(place, reading)?;
    let exact = PointUncertainty { flow_relative: 0.0, drop_bar: 0.0, temperature_k: 0.0 };
    match flow_factor(&[point], exact, None, None) {
        Ok(found) => Ok((found.flow_factor_m3_h.value, found.flow_factor_m3_h.relative_standard())),
        Err(FlowFactorError::OutOfRange(range)) => Err(range.into()),
        // Too slow or too strange for a friction law: the plain square then, known to 5 % (own proposal).
        Err(_) => Ok((point.flow.m3_h() / quadratic_root_bar(&point)?, 0.05)),
    }
}

/// A flow factor as shown goes with the meter, and against half of the relative error of the drop.
fn drop_row(
    stated: &Stated,
    reading: &RigReading,
    place: usize,
    deviation: f64,
    model: f64,
    hoses: f64,
) -> Result<Row, RigCheckError> {
    let drop_bar = point(place, reading)?.drop.bar();
    let (inlet, outlet) = (pressure_bar(reading.pressure_in), pressure_bar(reading.pressure_out));
    let half = 0.5 / drop_bar;
    let noise = root_sum_square(&[METER_REPEATS, model, half * 2.0_f64.sqrt() * gauge_noise(stated)]);
    let weights = [1.0, -half, -half * inlet, half, half * outlet, hoses, 0.0];
    Ok(row(reading, weights, deviation, noise))
}

fn pressure_bar(pressure: Option<crate::quantity::GaugePressure>) -> f64 {
    pressure.map_or(0.0, crate::quantity::GaugePressure::bar)
}

fn at_rest(
    stated: &Stated,
    place: usize,
    reading: &RigReading,
    rows: &mut Vec<Row>,
) -> Result<(), RigCheckError> {
    let seen = [
        (reading.pressure_in, [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]),
        (reading.pressure_out, [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]),
    ];
    let before = rows.len();
    for (pressure, weights) in seen {
        let noise = gauge_noise(stated);
        rows.extend(pressure.map(|pressure| row(reading, weights, pressure.bar(), noise)));
    }
    if rows.len() == before && reading.reference_temperature.is_none() {
        return Err(RigCheckError::Missing { place, missing: "pressure_in_bar_g or pressure_out_bar_g" });
    }
    Ok(())
}

/// Both gauges on one pressure; a reference gauge, where there is one, says which of them is right.
fn shut_off(
    stated: &Stated,
    place: usize,
    reading: &RigReading,
    rows: &mut Vec<Row>,
) -> Result<(), RigCheckError> {
    match (reading.pressure_in, reading.pressure_out) {
        (Some(inlet), Some(outlet)) => {
            let weights = [0.0, 1.0, inlet.bar(), -1.0, -outlet.bar(), 0.0, 0.0];
            let noise = 2.0_f64.sqrt() * gauge_noise(stated);
            rows.push(row(reading, weights, (inlet - outlet).bar(), noise));
            Ok(())
        }
        _ if reading.reference_pressure.is_some() => Ok(()),
        _ => Err(RigCheckError::Missing { place, missing: "pressure_in_bar_g and pressure_out_bar_g" }),
    }
}

fn against_references(
    stated: &Stated,
    reading: &RigReading,
    rows: &mut Vec<Row>,
) -> Result<(), RigCheckError> {
    if let (Some((reference, standard)), KnownThing::ShutOff) = (reading.reference_pressure, reading.on) {
        let standard = within("reference_pressure_uncertainty_bar", standard, 0.0, 10.0, "bar")?;
        let noise = root_sum_square(&[standard, gauge_noise(stated)]);
        let bar = reference.bar();
        let seen = [
            (reading.pressure_in, [0.0, 1.0, bar, 0.0, 0.0, 0.0, 0.0]),
            (reading.pressure_out, [0.0, 0.0, 0.0, 1.0, bar, 0.0, 0.0]),
        ];
        // One reference stands behind both rows; the difference of the gauges is a row of its own, so one is enough.
        let first = seen.into_iter().find_map(|(pressure, weights)| Some((pressure?, weights)));
        rows.extend(
            first.map(|(pressure, weights)| row(reading, weights, (pressure - reference).bar(), noise)),
        );
    }
    if let (Some((reference, standard)), Some(shown)) =
        (reading.reference_temperature, reading.water_temperature)
    {
        let standard = within("reference_temperature_uncertainty_k", standard, 0.0, 50.0, "K")?;
        let noise = root_sum_square(&[standard, THERMOMETER_REPEATS_K]);
        let weights = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0];
        rows.push(row(reading, weights, (shown - reference).k(), noise));
    }
    Ok(())
}
