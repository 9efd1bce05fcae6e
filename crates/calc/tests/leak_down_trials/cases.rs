//! Simulated leak-downs: what is true, and what the bench knows of it.

use calc::air::leak_down::{DecayData, Gauge, LeakDownInput};
use calc::numeric::math;
use calc::quantity::{
    AbsolutePressure, Duration, GaugePressure, LeakRate, Length, PressureDrop, Temperature, Volume,
};
use calc::trace::Trace;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::air::{Circuit, Leak, Tube, Wall};

/// Limit of all trials, mbar l/s.
pub const LIMIT: f64 = 0.1;
const ATMOSPHERE_SPREAD_BAR: f64 = 0.012;

/// One simulated leak-down.
pub struct Case {
    pub truth_mbar_l_s: f64,
    pub volume_l: f64,
    pub with_hose: bool,
    pub step_mbar: f64,
    pub trace: Trace,
    told: Told,
    /// Start and end in bar by eye, and the seconds between.
    readings: (f64, f64, f64),
}

/// What the bench knows.
struct Told {
    volume_ml: f64,
    volume_relative: f64,
    hose_ml: Option<f64>,
    bore_mm: Option<f64>,
    atmosphere_bar: f64,
    wall_deg_c: Option<f64>,
    hold_s: f64,
    step_mbar: f64,
}

impl Case {
    /// The leak-down as logged.
    pub fn logged(&self) -> LeakDownInput<'_> {
        let gauge = Gauge { step: PressureDrop::from_mbar(self.told.step_mbar), ..Gauge::logger() };
        self.input(gauge, DecayData::Trace(&self.trace))
    }

    /// The same, read twice by eye.
    pub fn read_twice(&self) -> LeakDownInput<'_> {
        let (start, end, seconds) = self.readings;
        let decay = DecayData::TwoReadings {
            start: GaugePressure::from_bar(start),
            end: GaugePressure::from_bar(end),
            time: Duration::from_s(seconds),
        };
        self.input(Gauge { step: PressureDrop::from_mbar(20.0), ..Gauge::by_eye() }, decay)
    }

    /// Time watched.
    pub fn watched_s(&self) -> f64 {
        self.readings.2
    }

    /// The rule of thumb on the same samples: has the pressure fallen by 0.2 bar after 20 s?
    pub fn fails_rule_of_thumb(&self) -> bool {
        let pressure = self.trace.pressure_bar_g.as_deref().unwrap_or_default();
        let at_20_s = self.trace.time_s.iter().position(|time| *time >= 20.0 - 1e-9);
        match (pressure.first(), at_20_s.and_then(|at| pressure.get(at))) {
            (Some(first), Some(later)) => first - later >= 0.2,
            _ => unreachable!("every case is watched for 20 s"),
        }
    }

    fn input<'a>(&'a self, gauge: Gauge, decay: DecayData<'a>) -> LeakDownInput<'a> {
        LeakDownInput {
            volume: Volume::from_ml(self.told.volume_ml),
            volume_uncertainty_relative: self.told.volume_relative,
            hose_volume: self.told.hose_ml.map(Volume::from_ml),
            bore: self.told.bore_mm.map(Length::from_mm),
            atmosphere: AbsolutePressure::from_bar(self.told.atmosphere_bar),
            wall_temperature: self.told.wall_deg_c.map(Temperature::from_deg_c),
            hold: Duration::from_s(self.told.hold_s),
            gauge,
            limit: LeakRate::from_mbar_l_s(LIMIT),
            decay,
        }
    }
}

/// Random numbers of one seed.
pub struct Dice(ChaCha8Rng);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    fn even(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }
    fn even_ln(&mut self, low: f64, high: f64) -> f64 {
        math::exp(self.even(math::ln(low), math::ln(high)))
    }
    fn chance(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }
    fn pick(&mut self, list: &[f64]) -> f64 {
        let at = (self.0.random::<f64>() * list.len() as f64) as usize;
        list[at.min(list.len() - 1)]
    }
    /// Standard normal variable (Box and Muller).
    fn normal(&mut self) -> f64 {
        let (a, b) = (1.0 - self.0.random::<f64>(), self.0.random::<f64>());
        (-2.0 * math::ln(a)).sqrt() * math::cos(std::f64::consts::TAU * b)
    }

    /// One leak-down.
    pub fn case(&mut self) -> Case {
        let (steel_m3, bore_m, hose_m3, hose_bore_m) = self.geometry();
        let total_l = (steel_m3 + hose_m3) * 1e3;
        let truth = if self.chance(0.15) { 0.0 } else { self.even_ln(1e-4, 10.0) };
        let warm = self.warmth();
        let hold_s = self.pick(&[0.0, 5.0, 10.0, 10.0, 10.0, 15.0, 30.0]);
        let atmosphere_bar = 1.0 + ATMOSPHERE_SPREAD_BAR * self.normal();
        let start_bar = if self.chance(0.6) { self.even(5.8, 6.2) } else { self.even(3.6, 7.5) };
        let stirring = self.even(1.0, 2.0);
        let steel = Wall {
            conductivity: self.even(20.0, 40.0),
            heat_capacity_j_m3_k: 3.6e6,
            thickness_m: 0.025,
            outside_w_m2_k: 2000.0,
        };
        let rubber = Wall {
            conductivity: self.even(0.17, 0.30),
            heat_capacity_j_m3_k: self.even(1.6e6, 2.3e6),
            thickness_m: self.even(0.002, 0.004),
            outside_w_m2_k: 8.0,
        };
        let mut circuit = Circuit {
            steel: Tube::new(steel_m3, bore_m, steel, stirring),
            hose: (hose_m3 > 0.0).then(|| Tube::new(hose_m3, hose_bore_m, rubber, stirring)),
            start_pa: (start_bar + atmosphere_bar) * 1e5,
            atmosphere_pa: atmosphere_bar * 1e5,
            wall_k: warm.wall_deg_c + 273.15,
            leak: Leak { pa_m3_s: truth * 0.1, crack_share: self.pick(&[0.0, 1.0, 0.5]) },
            creep: self.even(0.0, 1.5e-3),
            warm_share: self.even(0.2, 0.8),
            hold_s,
            steel_drift: |time, drift| drift[0] * time + drift[1] * (time / drift[2]).powi(2),
            drift: [warm.drift_k_s, warm.bend_k, 60.0],
            hose_drift_k_s: 0.05 / 60.0 * self.normal(),
        };
        let watch_s = self.pick(&[20.0, 30.0, 60.0, 60.0, 60.0, 120.0, 180.0]);
        let every_s = self.pick(&[0.1, 0.2, 0.5, 1.0]);
        let count = (watch_s / every_s + 0.5) as usize;
        let time_s: Vec<f64> = (0..=count).map(|at| at as f64 * every_s).collect();
        let true_bar: Vec<f64> = circuit.decay(&time_s).iter().map(|pa| pa / 1e5 - atmosphere_bar).collect();
        let step_mbar = self.pick(&[0.0, 0.0, 1.0, 1.0, 5.0, 10.0]);
        let pressure_bar_g = self.gauge(&time_s, &true_bar, step_mbar);
        let temperature_deg_c = self.chance(0.5).then(|| self.thermometer(&time_s, &warm, circuit.drift));
        let readings = self.by_eye(&true_bar, watch_s);
        let volume_relative = self.pick(&[0.01, 0.02, 0.05, 0.1]);
        let told = Told {
            volume_ml: total_l * 1e3 * (1.0 + volume_relative * self.normal()),
            volume_relative,
            hose_ml: self.chance(0.75).then(|| hose_m3 * 1e6 * (1.0 + 0.05 * self.normal())),
            bore_mm: self.chance(0.7).then(|| bore_m * 1e3 * (1.0 + 0.03 * self.normal())),
            atmosphere_bar,
            wall_deg_c: (warm.hot || self.chance(0.7)).then(|| warm.wall_deg_c + 1.0 * self.normal()),
            hold_s: hold_s * self.even(0.9, 1.1),
            step_mbar: if self.chance(0.5) { step_mbar } else { 0.0 },
        };
        let told = Told { hose_ml: told.hose_ml.map(|hose| hose.min(told.volume_ml)), ..told };
        let trace =
            Trace { time_s, pressure_bar_g: Some(pressure_bar_g), temperature_deg_c, ..Trace::default() };
        Case {
            truth_mbar_l_s: truth,
            volume_l: total_l,
            with_hose: hose_m3 > 0.0,
            step_mbar,
            trace,
            told,
            readings,
        }
    }

    /// Volume and bore of the steel, volume and bore of the hose: 5 ml to about 3 l together.
    fn geometry(&mut self) -> (f64, f64, f64, f64) {
        let steel_ml = self.even_ln(5.0, 3000.0);
        // A bore that makes a length between 0.15 and 20 m of this volume.
        let quarter_pi = std::f64::consts::FRAC_PI_4;
        let bore_of = |length_m: f64| (steel_ml * 1e-6 / (quarter_pi * length_m)).sqrt();
        let bore_m = self.even(bore_of(20.0).max(0.004), bore_of(0.15).min(0.016).max(bore_of(20.0)));
        let hose_bore_m = self.even(0.009, 0.013);
        let hose_m3 = if self.chance(0.55) {
            self.even(0.5, 5.0) * quarter_pi * hose_bore_m * hose_bore_m
        } else {
            0.0
        };
        ((steel_ml * 1e-6).min(3.1e-3 - hose_m3), bore_m, hose_m3, hose_bore_m)
    }

    fn warmth(&mut self) -> Warmth {
        let hot = self.chance(0.3);
        let hall_deg_c = 20.0 + 3.0 * self.normal();
        let wall_deg_c = if hot { self.even(28.0, 50.0) } else { hall_deg_c + 1.5 * self.normal() };
        let cooling_s = self.even(120.0, 300.0) * 60.0;
        let drift_k_s = (hall_deg_c - wall_deg_c) / cooling_s + 0.05 / 60.0 * self.normal();
        Warmth { hot, wall_deg_c, drift_k_s, bend_k: 0.01 * self.normal() }
    }

    fn gauge(&mut self, time_s: &[f64], true_bar: &[f64], step_mbar: f64) -> Vec<f64> {
        let noise_bar = self.even_ln(0.3e-3, 3e-3);
        let together = if self.chance(0.3) { 0.5_f64 } else { 0.0 };
        let fresh = (1.0 - together * together).sqrt();
        let drift_bar_s = (0.3e-3 * self.normal() + 0.03e-3 * self.normal()) / 60.0;
        let mut noise = self.normal();
        time_s
            .iter()
            .zip(true_bar)
            .map(|(time, bar)| {
                noise = together * noise + fresh * self.normal();
                let shown = bar + drift_bar_s * time + noise_bar * noise;
                if step_mbar > 0.0 { (shown * 1e3 / step_mbar).round() * step_mbar / 1e3 } else { shown }
            })
            .collect()
    }

    fn thermometer(&mut self, time_s: &[f64], warm: &Warmth, drift: [f64; 3]) -> Vec<f64> {
        let follows = 1.0 + 0.1 * self.normal();
        let offset = 0.5 * self.normal();
        let step = self.pick(&[0.0, 0.0, 0.1]);
        time_s
            .iter()
            .map(|time| {
                let warming = drift[0] * time + drift[1] * (time / drift[2]).powi(2);
                let shown = warm.wall_deg_c + offset + follows * warming + 0.02 * self.normal();
                if step > 0.0 { (shown / step).round() * step } else { shown }
            })
            .collect()
    }

    /// Start, end and seconds of two readings by eye: 10 mbar and steps of 20 mbar.
    fn by_eye(&mut self, true_bar: &[f64], watch_s: f64) -> (f64, f64, f64) {
        let mut read = |bar: f64| ((bar + 0.01 * self.normal()) / 0.02).round() * 0.02;
        let (first, last) = (true_bar.first().copied(), true_bar.last().copied());
        (read(first.unwrap_or_default()), read(last.unwrap_or_default()), watch_s)
    }
}

struct Warmth {
    hot: bool,
    wall_deg_c: f64,
    drift_k_s: f64,
    bend_k: f64,
}
