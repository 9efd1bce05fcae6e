//! Moulds, halves and circuits as they are stored.

use bench::mould::{Baseline, Circuit, CircuitId, Known, Mould, Others, Process};
use calc::hydraulics::piece::Piece;
use calc::quantity::Length;
use serde::{Deserialize, Serialize};

use super::{PastCard, PieceCard, SweepCard, UncertainCard, exactly, words};

words! {
    /// What a tool is for.
    ProcessWord for Process {
        /// Injection mould.
        InjectionMoulding,
        /// Die-casting die.
        DieCasting,
    }
}
words! {
    /// How far pieces are to be trusted.
    KnownWord for Known {
        /// From a drawing.
        Drawing,
        /// Measured on the steel.
        Measured,
        /// Guessed at the bench.
        Guessed,
        /// Nothing is known.
        Unknown,
    }
}
words! {
    /// Whether other circuits took water as well.
    OthersWord for Others {
        /// They did not.
        Closed,
        /// They did.
        Open,
    }
}

/// A mould, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MouldCard {
    /// Asset id.
    pub mould: String,
    /// What it makes.
    pub name: String,
    /// What the tool is for.
    pub process: ProcessWord,
    /// Whose tool it is, if that is another company's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<String>,
}

/// A half of a mould, or a named plate or slide, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HalfCard {
    /// Mould.
    pub mould: String,
    /// Fixed, moving, or the name of the plate or slide.
    pub half: String,
}

/// A circuit without its pieces, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CircuitCard {
    /// Mould.
    pub mould: String,
    /// Id within the mould.
    pub circuit: String,
    /// Place among the circuits of the mould, from 0.
    pub place: u32,
    /// Half.
    pub half: String,
    /// What it cools.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serves: Option<String>,
    /// Keys of the materials table.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub metals: Vec<String>,
    /// Keys of the materials table.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seals: Vec<String>,
    /// Circuits of the same geometry.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sisters: Vec<String>,
    /// Circuits beside it in the same steel.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub neighbours: Vec<String>,
    /// Main bore, where no pieces are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rough_bore_mm: Option<f64>,
    /// Length, where no pieces are known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rough_length_mm: Option<f64>,
}

/// The pieces of a circuit, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PiecesCard {
    /// Mould.
    pub mould: String,
    /// Circuit.
    pub circuit: String,
    /// How far they are to be trusted.
    pub known: KnownWord,
    /// In flow order, as new; equal neighbours once with their number.
    pub pieces: Vec<Repeated>,
}

/// A piece that comes so many times in a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Repeated {
    /// How many times.
    pub count: u32,
    /// The piece.
    #[serde(flatten)]
    pub piece: PieceCard,
}

/// A baseline of a circuit, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BaselineCard {
    /// Mould.
    pub mould: String,
    /// Circuit.
    pub circuit: String,
    /// Flow factor.
    pub flow_factor_m3_h: UncertainCard,
    /// Filled volume.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filled_volume_ml: Option<UncertainCard>,
    /// Sonic conductance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sonic_conductance_dm3_s_bar: Option<UncertainCard>,
    /// Date that earned it, YYYY-MM-DD.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// Whether the others took water as well.
    pub others: OthersWord,
    /// Flow points that it came from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sweep: Option<SweepCard>,
    /// Visit that earned it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visit: Option<String>,
}

fn ids(ids: &[CircuitId]) -> Vec<String> {
    ids.iter().map(|id| id.0.clone()).collect()
}

fn mm(length: Length) -> f64 {
    exactly(length, |length| length.mm(), Length::from_mm)
}

impl MouldCard {
    /// The card of a mould.
    #[must_use]
    pub fn of(mould: &Mould) -> Self {
        let (id, name) = (mould.id.0.clone(), mould.name.clone());
        Self { mould: id, name, process: mould.process.into(), owner: None }
    }
}

impl CircuitCard {
    /// The card of a circuit at this place of its mould.
    #[must_use]
    pub fn of(mould: &Mould, place: u32, circuit: &Circuit) -> Self {
        Self {
            mould: mould.id.0.clone(),
            circuit: circuit.id.0.clone(),
            place,
            half: circuit.half.clone(),
            serves: circuit.serves.clone(),
            metals: circuit.metals.clone(),
            seals: circuit.seals.clone(),
            sisters: ids(&circuit.sisters),
            neighbours: ids(&circuit.neighbours),
            rough_bore_mm: circuit.rough_bore.map(mm),
            rough_length_mm: circuit.rough_length.map(mm),
        }
    }

    /// The circuit with its pieces, baseline and past, as far as they are on record.
    #[must_use]
    pub fn circuit(
        &self,
        pieces: Option<&PiecesCard>,
        baseline: Option<&BaselineCard>,
        past: Option<&PastCard>,
    ) -> Circuit {
        let ids = |ids: &[String]| ids.iter().cloned().map(CircuitId).collect();
        Circuit {
            id: CircuitId(self.circuit.clone()),
            half: self.half.clone(),
            serves: self.serves.clone(),
            metals: self.metals.clone(),
            seals: self.seals.clone(),
            sisters: ids(&self.sisters),
            neighbours: ids(&self.neighbours),
            baseline: baseline.map(BaselineCard::baseline),
            pieces: pieces.map(PiecesCard::list).unwrap_or_default(),
            known: pieces.map(|pieces| pieces.known.into()).unwrap_or_default(),
            rough_bore: self.rough_bore_mm.map(Length::from_mm),
            rough_length: self.rough_length_mm.map(Length::from_mm),
            earlier: past.map(PastCard::earlier).unwrap_or_default(),
        }
    }
}

impl PiecesCard {
    /// The pieces of a circuit; nothing where none are known.
    #[must_use]
    pub fn of(mould: &Mould, circuit: &Circuit) -> Option<Self> {
        if circuit.pieces.is_empty() && circuit.known == Known::Unknown {
            return None;
        }
        let mut pieces: Vec<Repeated> = Vec::new();
        for piece in circuit.pieces.iter().map(PieceCard::from) {
            match pieces.last_mut() {
                Some(last) if last.piece == piece => last.count += 1,
                _ => pieces.push(Repeated { count: 1, piece }),
            }
        }
        let (mould, circuit_id) = (mould.id.0.clone(), circuit.id.0.clone());
        Some(Self { mould, circuit: circuit_id, known: circuit.known.into(), pieces })
    }

    fn list(&self) -> Vec<Piece> {
        self.pieces
            .iter()
            .flat_map(|repeated| (0..repeated.count).map(|_| Piece::from(&repeated.piece)))
            .collect()
    }
}

impl BaselineCard {
    /// The baseline of a circuit, if it has one.
    #[must_use]
    pub fn of(mould: &Mould, circuit: &Circuit) -> Option<Self> {
        circuit.baseline.as_ref().map(|baseline| Self {
            mould: mould.id.0.clone(),
            circuit: circuit.id.0.clone(),
            flow_factor_m3_h: baseline.flow_factor_m3_h.into(),
            filled_volume_ml: baseline.filled_volume_ml.map(Into::into),
            sonic_conductance_dm3_s_bar: baseline.sonic_conductance_dm3_s_bar.map(Into::into),
            date: baseline.date.clone(),
            others: baseline.others.into(),
            sweep: baseline.sweep.as_ref().map(Into::into),
            visit: None,
        })
    }

    fn baseline(&self) -> Baseline {
        Baseline {
            flow_factor_m3_h: self.flow_factor_m3_h.into(),
            filled_volume_ml: self.filled_volume_ml.map(Into::into),
            sonic_conductance_dm3_s_bar: self.sonic_conductance_dm3_s_bar.map(Into::into),
            date: self.date.clone(),
            others: self.others.into(),
            sweep: self.sweep.as_ref().map(Into::into),
        }
    }
}
