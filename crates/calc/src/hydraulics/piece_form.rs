//! How pieces are written in files and forms, and reading them.

use super::piece::{ElbowMake, Piece, Restrictor};
use super::thread;
use crate::form::{Fault, Field, Input, Kind, Preset, Value, Variant};
use crate::quantity::{FlowFactor, Length};

const BORE_MM: Kind = Kind::Number { low: 0.5, high: 100.0 };
const LENGTH_MM: Kind = Kind::Number { low: 0.1, high: 100_000.0 };
const ROUGHNESS_UM: Kind = Kind::Number { low: 0.0, high: 5_000.0 };
const COUNT: Field = Field::preset(
    "count",
    Kind::Count { low: 1, high: 500 },
    Preset::Number(1.0),
    "how many of these in a row",
);

/// One piece; its `kind` says which fields go with it.
pub static PIECE: Kind = Kind::Tagged { tag: "kind", variants: VARIANTS };

/// Pieces in flow order.
pub static PIECES: Kind = Kind::List { of: &PIECE, least: 1 };

static VARIANTS: &[Variant] = &[
    Variant {
        name: "bore",
        text: "straight drilled hole, by diameter or by the thread of its plug",
        fields: &[
            Field::optional("diameter_mm", BORE_MM, "diameter"),
            Field::optional("plug_thread", Kind::Text, "thread of the plug, such as NPT 1/4 or G 1/4"),
            Field::required("length_mm", LENGTH_MM, "length"),
            Field::preset("roughness_um", ROUGHNESS_UM, Preset::Number(10.0), "sand-grain roughness"),
            COUNT,
        ],
    },
    Variant {
        name: "elbow",
        text: "right-angle turn",
        fields: &[
            Field::required("diameter_mm", BORE_MM, "bore that it belongs to"),
            // The tag `kind` is taken by the piece itself, so the make of an elbow has its own name.
            Field::preset(
                "make",
                Kind::Choice(&["drilled", "bent"]),
                Preset::Text("drilled"),
                "how it is made",
            ),
            Field::optional(
                "loss_k",
                Kind::Number { low: 0.0, high: 100.0 },
                "loss number, where known better",
            ),
            COUNT,
        ],
    },
    Variant {
        name: "hose",
        text: "hose",
        fields: &[
            Field::required("diameter_mm", BORE_MM, "inner diameter"),
            Field::required("length_mm", LENGTH_MM, "length"),
            Field::preset("roughness_um", ROUGHNESS_UM, Preset::Number(2.0), "sand-grain roughness"),
            COUNT,
        ],
    },
    Variant {
        name: "coupling",
        text: "coupling, by its flow factor",
        fields: &[Field::required("flow_factor_m3_h", Kind::POSITIVE, "flow factor Kv"), COUNT],
    },
    Variant {
        name: "restrictor",
        text: "sharp-edged restriction, by its hole or its flow factor",
        fields: &[
            Field::optional("diameter_mm", BORE_MM, "hole"),
            Field::preset(
                "discharge_coefficient",
                Kind::Number { low: 0.1, high: 1.0 },
                Preset::Number(0.62),
                "discharge coefficient of the hole",
            ),
            Field::optional("flow_factor_m3_h", Kind::POSITIVE, "flow factor Kv, instead of the hole"),
            COUNT,
        ],
    },
    Variant {
        name: "baffle",
        text: "hole with a blade: up on one side, down on the other",
        fields: &[
            Field::required("diameter_mm", BORE_MM, "diameter of the hole"),
            Field::required("depth_mm", LENGTH_MM, "depth of the hole"),
            Field::required("blade_mm", Kind::Number { low: 0.1, high: 20.0 }, "thickness of the blade"),
            COUNT,
        ],
    },
    Variant {
        name: "bubbler",
        text: "hole with a tube: up the tube, back around it",
        fields: &[
            Field::required("diameter_mm", BORE_MM, "diameter of the hole"),
            Field::required("depth_mm", LENGTH_MM, "depth of the hole"),
            Field::required("tube_outer_mm", BORE_MM, "outer diameter of the tube"),
            Field::required("tube_inner_mm", BORE_MM, "inner diameter of the tube"),
            COUNT,
        ],
    },
    Variant {
        name: "annulus",
        text: "ring gap",
        fields: &[
            Field::required("outer_mm", BORE_MM, "outer diameter"),
            Field::required("inner_mm", BORE_MM, "inner diameter"),
            Field::required("length_mm", LENGTH_MM, "length"),
            COUNT,
        ],
    },
    Variant {
        name: "split",
        text: "parallel branches that join again",
        fields: &[
            Field::required(
                "branches",
                Kind::List { of: &PIECES, least: 2 },
                "branches, each a list of pieces",
            ),
            COUNT,
        ],
    },
];

/// Reads a checked list of pieces; `count` repeats a piece.
///
/// # Errors
/// Faults that no single field shows: a bore without diameter or with two, an unknown thread, a tube that does
/// not fit its hole. Field names are relative to the list.
pub fn pieces(list: &Value) -> Result<Vec<Piece>, Vec<Fault>> {
    let mut read = Vec::new();
    let mut faults = Vec::new();
    for (place, item) in list.items().iter().enumerate() {
        let input = Input::checked(item);
        match piece(input) {
            Ok(piece) => read.extend(std::iter::repeat_n(piece, count(input))),
            Err(found) => faults.extend(found.into_iter().map(|fault| fault.under(&place.to_string()))),
        }
    }
    if faults.is_empty() { Ok(read) } else { Err(faults) }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 500"
)]
fn count(input: Input<'_>) -> usize {
    input.optional_number("count").unwrap_or(1.0) as usize
}

fn mm(input: Input<'_>, name: &str) -> Length {
    Length::from_mm(input.number(name))
}

fn piece(input: Input<'_>) -> Result<Piece, Vec<Fault>> {
    let made = match input.text("kind") {
        "bore" => Piece::Bore {
            diameter: bore_diameter(input).map_err(|fault| vec![fault])?,
            length: mm(input, "length_mm"),
            roughness: Length::from_um(input.number("roughness_um")),
        },
        "elbow" => Piece::Elbow {
            diameter: mm(input, "diameter_mm"),
            make: if input.text("make") == "bent" { ElbowMake::Bent } else { ElbowMake::Drilled },
            loss_k: input.optional_number("loss_k"),
        },
        "hose" => Piece::Hose {
            diameter: mm(input, "diameter_mm"),
            length: mm(input, "length_mm"),
            roughness: Length::from_um(input.number("roughness_um")),
        },
        "coupling" => {
            Piece::Coupling { flow_factor: FlowFactor::from_m3_h(input.number("flow_factor_m3_h")) }
        }
        "restrictor" => Piece::Restrictor(restrictor(input).map_err(|fault| vec![fault])?),
        "baffle" => Piece::Baffle {
            diameter: mm(input, "diameter_mm"),
            depth: mm(input, "depth_mm"),
            blade: fits_inside(input, "blade_mm", "diameter_mm", 0.8).map_err(|fault| vec![fault])?,
        },
        "bubbler" => bubbler(input)?,
        "annulus" => Piece::Annulus {
            outer: mm(input, "outer_mm"),
            inner: fits_inside(input, "inner_mm", "outer_mm", 1.0).map_err(|fault| vec![fault])?,
            length: mm(input, "length_mm"),
        },
        _ => split(input)?,
    };
    Ok(made)
}

fn bore_diameter(input: Input<'_>) -> Result<Length, Fault> {
    match (input.optional_number("diameter_mm"), input.has("plug_thread")) {
        (Some(diameter), false) => Ok(Length::from_mm(diameter)),
        (None, true) => thread::drilled_diameter(input.text("plug_thread")).ok_or_else(|| {
            Fault::new("plug_thread", "unknown thread", format!("one of: {}", thread::known_names()))
                .with_value(input.text("plug_thread"))
        }),
        (Some(_), true) => Err(Fault::new("plug_thread", "given beside diameter_mm", "give one of the two")),
        (None, false) => {
            Err(Fault::new("diameter_mm", "missing", "give diameter_mm, or plug_thread instead"))
        }
    }
}

fn restrictor(input: Input<'_>) -> Result<Restrictor, Fault> {
    match (input.optional_number("diameter_mm"), input.optional_number("flow_factor_m3_h")) {
        (Some(diameter), None) => Ok(Restrictor::Hole {
            diameter: Length::from_mm(diameter),
            discharge_coefficient: input.number("discharge_coefficient"),
        }),
        (None, Some(factor)) => Ok(Restrictor::Measured { flow_factor: FlowFactor::from_m3_h(factor) }),
        (Some(_), Some(_)) => {
            Err(Fault::new("flow_factor_m3_h", "given beside diameter_mm", "give one of the two"))
        }
        (None, None) => {
            Err(Fault::new("diameter_mm", "missing", "give diameter_mm, or flow_factor_m3_h instead"))
        }
    }
}

/// The inner of two widths, which has to be smaller than `share` of the outer one.
fn fits_inside(input: Input<'_>, inner: &str, outer: &str, share: f64) -> Result<Length, Fault> {
    let (width, room) = (input.number(inner), input.number(outer) * share);
    if width < room {
        Ok(Length::from_mm(width))
    } else {
        Err(Fault::new(inner, format!("does not fit inside {outer}"), format!("give less than {room}"))
            .with_value(width))
    }
}

fn bubbler(input: Input<'_>) -> Result<Piece, Vec<Fault>> {
    let outer = fits_inside(input, "tube_outer_mm", "diameter_mm", 1.0);
    let inner = fits_inside(input, "tube_inner_mm", "tube_outer_mm", 1.0);
    match (outer, inner) {
        (Ok(tube_outer), Ok(tube_inner)) => Ok(Piece::Bubbler {
            diameter: mm(input, "diameter_mm"),
            depth: mm(input, "depth_mm"),
            tube_outer,
            tube_inner,
        }),
        (outer, inner) => Err([outer.err(), inner.err()].into_iter().flatten().collect()),
    }
}

fn split(input: Input<'_>) -> Result<Piece, Vec<Fault>> {
    let mut branches = Vec::new();
    let mut faults = Vec::new();
    for (place, branch) in input.items("branches").iter().enumerate() {
        match pieces(branch) {
            Ok(read) => branches.push(read),
            Err(found) => {
                faults.extend(found.into_iter().map(|fault| fault.under(&format!("branches.{place}"))));
            }
        }
    }
    if faults.is_empty() { Ok(Piece::Split { branches }) } else { Err(faults) }
}
