//! What hangs on each port: the listed circuit, another, none, two side by side, or one with another's return.

use bench::visit::End;
use calc::hydraulics::piece::Piece;
use calc::quantity::{LeakRate, Volume};

use super::SimulationError;
use super::bench::{Bench, place_of};
use crate::air::leak::Passage;
use crate::air::path::AirPath;
use crate::plan::{Leak, LeakLaw, Plan};

/// What hangs on a port, as places in the list of circuits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum On {
    /// One circuit.
    One(usize),
    /// Nothing: the supply hose ends in the open.
    Nothing,
    /// Two circuits side by side.
    Both(usize, usize),
    /// The supply of a circuit; the way out is the return of another port.
    Bridged {
        /// The circuit.
        circuit: usize,
        /// Listed place whose port has the other end of the return.
        back: usize,
    },
}

/// What hangs on the port of each circuit of the list.
pub(super) fn on(plan: &Plan, really: &[usize]) -> Result<Vec<On>, SimulationError> {
    let mut on: Vec<On> = really.iter().map(|circuit| On::One(*circuit)).collect();
    let place = |id| place_of(plan, id, "slips");
    for id in &plan.slips.missing {
        on[place(id)?] = On::Nothing;
    }
    for (first, second) in &plan.slips.doubled {
        let (first, second) = (place(first)?, place(second)?);
        on[first] = On::Both(really[first], really[second]);
        on[second] = On::Nothing;
    }
    for (first, second) in &plan.slips.bridged {
        let (first, second) = (place(first)?, place(second)?);
        on[first] = On::Bridged { circuit: really[first], back: second };
        on[second] = On::Bridged { circuit: really[second], back: first };
    }
    Ok(on)
}

impl Bench<'_> {
    /// Circuits that the port's air and water reach.
    pub fn circuits_on(&self, listed: usize) -> Vec<usize> {
        match self.on[listed] {
            On::One(circuit) | On::Bridged { circuit, .. } => vec![circuit],
            On::Nothing => Vec::new(),
            On::Both(a, b) => vec![a, b],
        }
    }

    /// Listed place whose port's supply reaches a circuit; none if its hoses hang in the open.
    pub fn port_of(&self, circuit: usize) -> Option<usize> {
        (0..self.on.len()).find(|listed| self.circuits_on(*listed).contains(&circuit))
    }

    pub fn is_open_hose(&self, listed: usize) -> bool {
        self.on[listed] == On::Nothing
    }

    /// Whether something in the circuits on this port stops all flow, whatever the other ports do.
    pub fn is_blocked(&self, listed: usize) -> bool {
        let circuits = self.circuits_on(listed);
        !circuits.is_empty() && circuits.iter().all(|circuit| self.blocked_at(*circuit).is_some())
    }

    /// Whether nothing passes while the other ports are shut.
    pub fn is_dead_end(&self, listed: usize) -> bool {
        matches!(self.on[listed], On::Bridged { .. }) || self.is_blocked(listed)
    }

    /// Pieces of the circuits on this port, without hoses; a blocked one beside an open one takes no part.
    pub fn pieces_on(&self, listed: usize) -> Vec<Piece> {
        let pieces = |circuit: usize| self.today[circuit].pieces.clone();
        match self.on[listed] {
            On::One(circuit) | On::Bridged { circuit, .. } => pieces(circuit),
            On::Nothing => Vec::new(),
            On::Both(a, b) => match (self.blocked_at(a), self.blocked_at(b)) {
                (Some(_), None) => pieces(b),
                (None, Some(_)) => pieces(a),
                _ => vec![Piece::Split { branches: vec![pieces(a), pieces(b)] }],
            },
        }
    }

    /// The way from the rig and back; an open hose ends at its coupling.
    pub fn on_the_way(&self, listed: usize) -> Vec<Piece> {
        let port = self.port(listed);
        if self.is_open_hose(listed) {
            return port.supply.clone();
        }
        [port.supply.as_slice(), &self.pieces_on(listed), port.back.as_slice()].concat()
    }

    /// Volume of the circuits on this port from one end: all of it, or up to a block.
    pub fn filled_from(&self, listed: usize, end: End) -> Volume {
        self.circuits_on(listed)
            .into_iter()
            .map(|circuit| self.bore_from(circuit, end))
            .fold(Volume::from_ml(0.0), |sum, volume| sum + volume)
    }

    /// Volume of the bore from one end: all of it, or up to a block.
    fn bore_from(&self, circuit: usize, end: End) -> Volume {
        let today = &self.today[circuit];
        let Some(place) = self.blocked_at(circuit) else { return today.volume() };
        let before = today.volume_before(place);
        match end {
            End::Inlet => before,
            End::Outlet => today.volume() - before,
        }
    }

    /// Volume that the supply side can charge: all of it, or up to a block.
    pub fn chargeable(&self, listed: usize) -> Volume {
        self.chargeable_from(listed, End::Inlet)
    }

    /// The same from either end: hoses and couplings of that end, the bore up to the block, or all of it and the hoses of
    /// the other end.
    pub fn chargeable_from(&self, listed: usize, end: End) -> Volume {
        let side = |listed: usize, end: End| {
            let port = self.port(listed);
            match end {
                End::Inlet => port.supply_volume,
                End::Outlet => port.volume - port.supply_volume,
            }
        };
        let beyond = |reached: usize, other_end: usize| match (self.is_blocked(reached), end) {
            (true, _) => self.filled_from(reached, end),
            (false, End::Inlet) => self.filled_from(reached, end) + side(other_end, End::Outlet),
            (false, End::Outlet) => self.filled_from(reached, end) + side(other_end, End::Inlet),
        };
        let more = match (self.on[listed], end) {
            (On::Nothing, _) => Volume::from_ml(0.0),
            (On::One(_) | On::Both(..), _) => beyond(listed, listed),
            (On::Bridged { back, .. }, End::Inlet) => beyond(listed, back),
            // The return of this port lies on the other's circuit.
            (On::Bridged { back, .. }, End::Outlet) => beyond(back, back),
        };
        let volume = side(listed, end) + more;
        // Even a block right behind the coupling leaves the coupling's own room.
        if volume.ml() < 0.5 { Volume::from_ml(0.5) } else { volume }
    }

    /// An open hose as a leak: its supply side lets out what it can.
    pub fn open_hose(&self, listed: usize) -> Option<Passage> {
        if !self.is_open_hose(listed) {
            return None;
        }
        let steel = self.plan.visit.steel;
        let path = AirPath::new(&self.port(listed).supply, steel, self.air).ok();
        // A hose without resistance lets out what a 10 mm bore does, about 10 dm3/(s bar).
        let sonic = path.map_or(10.0, |path| path.sonic_conductance().dm3_s_bar());
        let rate = LeakRate::from_mbar_l_s(7.0 * 1000.0 * sonic);
        Some(Passage::new(Leak { rate, law: LeakLaw::Orifice }, self.air))
    }
}
