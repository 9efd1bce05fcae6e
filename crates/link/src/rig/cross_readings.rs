//! One circuit or several charged, their neighbours closed at the air's pressure and watched.

use bench::mould::CircuitId;
use bench::visit::{CrossWatch, Decay};

use super::air_readings::{Test, Watched};
use super::bench::Bench;
use crate::air::leak::{Network, Vessel};
use crate::chance::Chance;
use crate::plan::Logger;

/// Leak that an operator notices in a leak-down and follows up, mbar l/s.
const NOTICED_MBAR_L_S: f64 = 0.08;
/// Drift of a watched circuit's pressure, standard deviation, mbar/s: an unpressurised volume feels the steel's
/// temperature a seventh as much as a charged one.
const WATCHED_DRIFT_MBAR_S: f64 = 0.003;

impl Bench<'_> {
    /// Circuits of the hook-up list that fell in a leak-down, in the operator's eyes.
    pub fn suspects(&self) -> Vec<usize> {
        let at = calc::quantity::AbsolutePressure::from_bar(7.0);
        let rate = |circuit: usize| -> f64 {
            self.leaks
                .iter()
                .filter(|(from, to, _)| *from == circuit || *to == Some(circuit))
                .map(|(_, _, passage)| passage.rate(at, self.air).mbar_l_s())
                .sum()
        };
        let of_port = |listed: &usize| self.circuits_on(*listed).into_iter().map(rate).sum::<f64>();
        (0..self.really.len()).filter(|listed| of_port(listed) > NOTICED_MBAR_L_S).collect()
    }

    /// Circuits that hang on the other ports meanwhile: known neighbours first, then the nearest of the list.
    fn watchers(&self, charged: &[usize]) -> Vec<usize> {
        let known = |other: usize| {
            charged
                .iter()
                .any(|one| self.plan.circuits[*one].neighbours.contains(&self.plan.circuits[other].id))
        };
        let mut others: Vec<usize> =
            (0..self.really.len()).filter(|other| !charged.contains(other)).collect();
        let nearest = |other: usize| charged.iter().map(|one| other.abs_diff(*one)).min();
        others.sort_by_key(|other| (!known(*other), nearest(*other), *other));
        others.truncate(self.ports.len().saturating_sub(charged.len()));
        others.sort_unstable();
        others
    }

    pub fn cross_watch(
        &self,
        charged: &[usize],
        test: Test,
        logger: Logger,
        chance: &mut Chance,
    ) -> CrossWatch {
        let watchers = self.watchers(charged);
        let (count, step_s) = (test.sampling.count(), test.sampling.step_s());
        let drift_k_s = 0.001 * chance.normal();
        let mut vessels = Vec::new();
        let mut places: Vec<(usize, usize)> = Vec::new();
        for one in charged {
            let supply = test.pressure.absolute(self.air).pa() + 5000.0 * chance.normal();
            places.extend(self.circuits_on(*one).into_iter().map(|circuit| (circuit, vessels.len())));
            let settling = self.settling(*one, test, drift_k_s, chance);
            vessels.push(Vessel {
                volume_m3: self.chargeable(*one).m3(),
                start_pa: supply,
                start_k: settling.start_k(),
                kept: false,
                factors: settling.factors(step_s, count),
            });
        }
        for other in &watchers {
            places.extend(self.circuits_on(*other).into_iter().map(|circuit| (circuit, vessels.len())));
            let drift = WATCHED_DRIFT_MBAR_S * 1e2 * chance.normal() / self.air.pa();
            vessels.push(Vessel {
                volume_m3: self.chargeable(*other).m3(),
                start_pa: self.air.pa(),
                start_k: self.plan.visit.steel.k(),
                kept: false,
                factors: (0..count).map(|step| 1.0 + drift * step_s * step as f64).collect(),
            });
        }
        let place = |circuit: usize| places.iter().find(|(real, _)| *real == circuit).map(|(_, at)| *at);
        let open_hoses = charged.iter().chain(&watchers).copied().enumerate();
        let mut leaks: Vec<_> =
            open_hoses.filter_map(|(at, port)| Some((at, None, self.open_hose(port)?))).collect();
        leaks.extend(self.leaks.iter().filter_map(|(from, to, passage)| {
            match (place(*from), to.map(place)) {
                (Some(from), Some(to)) => Some((from, to, *passage)),
                (Some(from), None) => Some((from, None, *passage)),
                // A leak is the same both ways.
                (None, Some(Some(to))) => Some((to, None, *passage)),
                (None, _) => None,
            }
        }));
        let seen = Network { vessels, leaks, air_pa: self.air.pa() }.run(step_s, count);
        let mut written = |column: &[f64]| {
            let watched = Watched { bar_g: self.gauge(column), drift_k_s };
            self.written(&watched, test.sampling, logger, chance)
        };
        let id = |listed: usize| -> CircuitId { self.plan.circuits[listed].id.clone() };
        let mut decays: Vec<Decay> = seen.iter().map(|column| written(column)).collect();
        let watched = watchers.iter().copied().map(id).zip(decays.split_off(charged.len().min(decays.len())));
        let watched: Vec<(CircuitId, Decay)> = watched.collect();
        let mut charged_decays = charged.iter().copied().map(id).zip(decays);
        let charged_decay = charged_decays.next().map(|(_, decay)| decay);
        let also_charged = charged_decays.map(|(id, decay)| (id, Some(decay))).collect();
        let open = (0..self.really.len())
            .filter(|other| !charged.contains(other) && !watchers.contains(other))
            .map(id)
            .collect();
        CrossWatch { open, charged_decay, also_charged, watched }
    }
}
