//! The pieces of a circuit, in flow order.

use crate::quantity::{FlowFactor, Length};

/// One part of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// A straight drilled hole.
    Bore {
        /// Diameter.
        diameter: Length,
        /// Length.
        length: Length,
        /// Sand-grain roughness of the wall.
        roughness: Length,
    },
    /// A right-angle turn in the bore.
    Elbow {
        /// Bore that it belongs to.
        diameter: Length,
        /// How it is made.
        make: ElbowMake,
        /// Loss number on the velocity in the bore, where the user knows better; it then holds at any flow.
        loss_k: Option<f64>,
    },
    /// A hose.
    Hose {
        /// Inner diameter.
        diameter: Length,
        /// Length.
        length: Length,
        /// Sand-grain roughness of the wall.
        roughness: Length,
    },
    /// A coupling, known by its flow factor.
    Coupling {
        /// Flow factor.
        flow_factor: FlowFactor,
    },
    /// A sharp-edged restriction.
    Restrictor(Restrictor),
    /// A hole with a blade in it: up on one side, over the tip, down on the other.
    Baffle {
        /// Diameter of the hole.
        diameter: Length,
        /// Depth of the hole.
        depth: Length,
        /// Thickness of the blade.
        blade: Length,
    },
    /// A hole with a tube in it: up the tube, back around it.
    Bubbler {
        /// Diameter of the hole.
        diameter: Length,
        /// Depth of the hole.
        depth: Length,
        /// Outer diameter of the tube.
        tube_outer: Length,
        /// Inner diameter of the tube.
        tube_inner: Length,
    },
    /// A ring gap.
    Annulus {
        /// Outer diameter.
        outer: Length,
        /// Inner diameter.
        inner: Length,
        /// Length.
        length: Length,
    },
    /// Parallel branches that join again.
    Split {
        /// The branches, each in flow order.
        branches: Vec<Vec<Piece>>,
    },
}

/// How a restrictor is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Restrictor {
    /// By its hole.
    Hole {
        /// Diameter.
        diameter: Length,
        /// Discharge coefficient.
        discharge_coefficient: f64,
    },
    /// By its flow factor.
    Measured {
        /// Flow factor.
        flow_factor: FlowFactor,
    },
}

/// How an elbow is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ElbowMake {
    /// Two drilled holes that meet.
    Drilled,
    /// A bent tube.
    Bent,
}

impl Piece {
    /// The word of the file format for this piece.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Bore { .. } => "bore",
            Self::Elbow { .. } => "elbow",
            Self::Hose { .. } => "hose",
            Self::Coupling { .. } => "coupling",
            Self::Restrictor(_) => "restrictor",
            Self::Baffle { .. } => "baffle",
            Self::Bubbler { .. } => "bubbler",
            Self::Annulus { .. } => "annulus",
            Self::Split { .. } => "split",
        }
    }
}
