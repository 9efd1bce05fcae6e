//! A mould as it is written to a file.

use bench::mould::{Baseline, Circuit, Known, Mould, Process};
use bench::visit::Others;
use calc::estimate::Uncertain;
use calc::form::Value;
use calc::hydraulics::piece::{ElbowMake, Piece, Restrictor};
use calc::quantity::Length;

use super::earlier::earlier_value;
use super::{exactly, mould::FORMAT, shortest, sparse, sweep};
use crate::toml_text::{Section, Sheet};

/// The mould file.
#[must_use]
pub fn mould_sheet(mould: &Mould) -> Sheet {
    let process = match mould.process {
        Process::InjectionMoulding => "injection-moulding",
        Process::DieCasting => "die-casting",
    };
    let about = Value::record([
        ("id", Value::from(mould.id.0.as_str())),
        ("name", mould.name.as_str().into()),
        ("process", process.into()),
    ]);
    let circuits = mould.circuits.iter().map(|circuit| Section::repeated("circuit", circuit_value(circuit)));
    Sheet {
        head: vec![("format".to_owned(), FORMAT.into())],
        sections: std::iter::once(Section::once("mould", about)).chain(circuits).collect(),
    }
}

fn circuit_value(circuit: &Circuit) -> Value {
    let known = match circuit.known {
        Known::Drawing => "drawing",
        Known::Measured => "measured",
        Known::Guessed => "guessed",
        Known::Unknown => "unknown",
    };
    let mut fields = vec![
        ("id", Value::from(circuit.id.0.as_str())),
        ("half", circuit.half.as_str().into()),
        ("serves", circuit.serves.clone().into()),
        ("metals", texts(&circuit.metals)),
        ("seals", texts(&circuit.seals)),
        ("sisters", texts(circuit.sisters.iter().map(|id| &id.0))),
        ("neighbours", texts(circuit.neighbours.iter().map(|id| &id.0))),
    ];
    fields.extend(circuit.baseline.iter().flat_map(baseline_fields));
    let pieces = if circuit.pieces.is_empty() { Value::Null } else { pieces_value(&circuit.pieces) };
    fields.extend([
        ("pieces", pieces),
        ("known", known.into()),
        ("rough_bore_mm", circuit.rough_bore.map(mm).into()),
        ("rough_length_mm", circuit.rough_length.map(mm).into()),
        ("earlier", earlier_value(&circuit.earlier)),
    ]);
    Value::record(fields.into_iter().filter(|(_, value)| !matches!(value, Value::Null)))
}

fn texts<'a>(texts: impl IntoIterator<Item = &'a String>) -> Value {
    let texts: Vec<Value> = texts.into_iter().map(|text| text.as_str().into()).collect();
    if texts.is_empty() { Value::Null } else { Value::List(texts) }
}

fn baseline_fields(baseline: &Baseline) -> Vec<(&'static str, Value)> {
    let value = |uncertain: Option<Uncertain>| uncertain.map(|uncertain| uncertain.value).into();
    let percent = |uncertain: Option<Uncertain>| uncertain.map(percent).into();
    let others = match baseline.others {
        Others::Closed => "closed",
        Others::Open => "open",
    };
    let (flow_factor, volume) = (Some(baseline.flow_factor_m3_h), baseline.filled_volume_ml);
    let sonic = baseline.sonic_conductance_dm3_s_bar;
    let mut fields = vec![
        ("baseline_flow_factor_m3_h", value(flow_factor)),
        ("baseline_uncertainty_percent", percent(flow_factor)),
        ("baseline_date", baseline.date.clone().into()),
        ("baseline_others", others.into()),
        ("baseline_filled_volume_ml", value(volume)),
        ("baseline_filled_volume_uncertainty_percent", percent(volume)),
        ("baseline_sonic_conductance_dm3_s_bar", value(sonic)),
        ("baseline_sonic_conductance_uncertainty_percent", percent(sonic)),
    ];
    fields.extend(baseline.sweep.iter().flat_map(sweep::fields));
    fields
}

fn percent(uncertain: Uncertain) -> f64 {
    let same = |percent: f64| Uncertain::relative(uncertain.value, percent / 100.0) == uncertain;
    shortest(uncertain.relative_standard() * 100.0, same)
}

fn mm(length: Length) -> Value {
    exactly(length, |length| length.mm(), Length::from_mm)
}

fn um(length: Length) -> Value {
    exactly(length, |length| length.um(), Length::from_um)
}

/// Pieces as a list; equal neighbours become one with a count.
#[must_use]
pub fn pieces_value(pieces: &[Piece]) -> Value {
    // A count above this is refused when read.
    const MOST: usize = 500;
    let runs = pieces.chunk_by(|one, next| one == next).flat_map(|run| run.chunks(MOST));
    Value::List(runs.filter_map(|run| Some(piece_value(run.first()?, run.len()))).collect())
}

fn piece_value(piece: &Piece, count: usize) -> Value {
    let own = match piece {
        Piece::Bore { diameter, length, roughness } | Piece::Hose { diameter, length, roughness } => {
            sparse([
                ("diameter_mm", mm(*diameter)),
                ("length_mm", mm(*length)),
                ("roughness_um", um(*roughness)),
            ])
        }
        Piece::Elbow { diameter, make, loss_k } => sparse([
            ("diameter_mm", mm(*diameter)),
            ("make", if *make == ElbowMake::Bent { "bent".into() } else { "drilled".into() }),
            ("loss_k", (*loss_k).into()),
        ]),
        Piece::Coupling { flow_factor } | Piece::Restrictor(Restrictor::Measured { flow_factor }) => {
            sparse([("flow_factor_m3_h", flow_factor.m3_h().into())])
        }
        Piece::Restrictor(Restrictor::Hole { diameter, discharge_coefficient }) => sparse([
            ("diameter_mm", mm(*diameter)),
            ("discharge_coefficient", (*discharge_coefficient).into()),
        ]),
        Piece::Baffle { diameter, depth, blade } => {
            sparse([("diameter_mm", mm(*diameter)), ("depth_mm", mm(*depth)), ("blade_mm", mm(*blade))])
        }
        Piece::Bubbler { diameter, depth, tube_outer, tube_inner } => sparse([
            ("diameter_mm", mm(*diameter)),
            ("depth_mm", mm(*depth)),
            ("tube_outer_mm", mm(*tube_outer)),
            ("tube_inner_mm", mm(*tube_inner)),
        ]),
        Piece::Annulus { outer, inner, length } => {
            sparse([("outer_mm", mm(*outer)), ("inner_mm", mm(*inner)), ("length_mm", mm(*length))])
        }
        Piece::Split { branches } => {
            sparse([("branches", Value::List(branches.iter().map(|branch| pieces_value(branch)).collect()))])
        }
    };
    #[expect(clippy::cast_precision_loss, reason = "at most 500")]
    let count = (count > 1).then(|| ("count".to_owned(), Value::Number(count as f64)));
    let kind = ("kind".to_owned(), Value::from(piece.kind()));
    Value::Record(std::iter::once(kind).chain(own.fields().to_vec()).chain(count).collect())
}
