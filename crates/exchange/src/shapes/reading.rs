//! The readings and treatments of a visit file: their fields.

use calc::form::{Field, Kind, Preset, Variant};

pub(super) const BAR_G: Kind = Kind::Number { low: -1.0, high: 400.0 };
const DEG_C: Kind = Kind::Number { low: -30.0, high: 400.0 };
pub(super) const WATER_DEG_C: Kind = Kind::Number { low: 0.1, high: 180.0 };
const IDS: Kind = Kind::List { of: &Kind::Text, least: 0 };

pub(super) const AT: Field =
    Field::optional("at", Kind::Text, "when, with offset, such as 2026-11-24T08:40:00Z");
const CIRCUIT: Field = Field::required("circuit", Kind::Text, "circuit");
const TRACE: Field = Field::optional("trace", Kind::Text, "CSV file of a logger, beside this file");
const COLUMNS: Field = Field::optional(
    "columns",
    Kind::Map(&Kind::Text),
    "what the trace's columns hold: name = \"pressure_bar_g\", \"time_s\", \"clock\" or \"ignore\"",
);
const START: Field = Field::optional("start_bar_g", BAR_G, "pressure read at the start, instead of a trace");
const END: Field = Field::optional("end_bar_g", BAR_G, "pressure read at the end");
const SECONDS: Field =
    Field::optional("seconds", Kind::Number { low: 0.1, high: 1e7 }, "time between the two");
const THROUGH_FIXTURE: Field = Field::preset(
    "through_fixture",
    Kind::Flag,
    Preset::Flag(true),
    "whether the rig's hoses and couplings are in the reading",
);

static WATCHED: &[Field] =
    &[Field::required("circuit", Kind::Text, "the circuit"), TRACE, COLUMNS, START, END, SECONDS];

/// One reading; its `kind` says which fields go with it.
pub static READING: Kind = Kind::Tagged { tag: "kind", variants: VARIANTS };

static VARIANTS: &[Variant] = &[
    Variant {
        name: "leak-down",
        text: "air held in, pressure watched",
        fields: &[
            CIRCUIT,
            AT,
            TRACE,
            COLUMNS,
            START,
            END,
            SECONDS,
            Field::optional("wall_temperature_deg_c", DEG_C, "temperature of the steel"),
            Field::preset(
                "hold_s",
                Kind::Number { low: 0.0, high: 1e6 },
                Preset::Number(0.0),
                "how long the supply was held before it was shut",
            ),
        ],
    },
    Variant {
        name: "air-passage",
        text: "air let out through the circuit",
        fields: &[
            CIRCUIT,
            AT,
            TRACE,
            COLUMNS,
            START,
            END,
            SECONDS,
            Field::preset(
                "charged",
                Kind::Choice(&["circuit", "reservoir"]),
                Preset::Text("circuit"),
                "what was charged: the circuit itself, or a vessel of the rig that empties through it",
            ),
            Field::optional(
                "reservoir_volume_ml",
                Kind::POSITIVE,
                "volume of the vessel; the rig's if left out",
            ),
            Field::optional("air_temperature_deg_c", DEG_C, "temperature of the air at the start"),
        ],
    },
    Variant {
        name: "flow",
        text: "water flow at a pressure drop",
        fields: &[
            CIRCUIT,
            AT,
            TRACE,
            COLUMNS,
            Field::optional(
                "flow_l_min",
                Kind::Number { low: 0.0, high: 10_000.0 },
                "mean flow, instead of a trace",
            ),
            Field::required("pressure_in_bar_g", BAR_G, "gauge at the inlet"),
            Field::required("pressure_out_bar_g", BAR_G, "gauge at the outlet"),
            Field::required("water_temperature_deg_c", WATER_DEG_C, "water"),
            Field::preset(
                "others",
                Kind::Choice(&["closed", "open"]),
                Preset::Text("closed"),
                "the other circuits meanwhile",
            ),
            THROUGH_FIXTURE,
        ],
    },
    Variant {
        name: "cross-watch",
        text: "one circuit or several charged, others watched",
        fields: &[
            Field::required("circuit", Kind::Text, "the charged circuit"),
            AT,
            Field::optional(
                "also_charged",
                Kind::List { of: &Kind::Record(WATCHED), least: 1 },
                "circuits charged at the same time, each with its own readings, if taken",
            ),
            Field::optional("open", IDS, "circuits that were vented meanwhile"),
            Field::required(
                "watched",
                Kind::List { of: &Kind::Record(WATCHED), least: 1 },
                "what was seen in the watched circuits",
            ),
            TRACE,
            COLUMNS,
            START,
            END,
            SECONDS,
        ],
    },
    Variant {
        name: "volume",
        text: "filled volume of a circuit",
        fields: &[
            CIRCUIT,
            AT,
            Field::required("method", Kind::Choice(&["air-expansion", "drained"]), "how it was found"),
            Field::optional(
                "reference_volume_ml",
                Kind::POSITIVE,
                "known volume; the rig's reference_volume_ml if left out",
            ),
            Field::optional("reference_bar_g", BAR_G, "pressure in the known volume before"),
            Field::optional("circuit_bar_g", BAR_G, "pressure in the circuit before; 0 if left out"),
            Field::optional("joined_bar_g", BAR_G, "pressure in both after they were joined"),
            Field::optional("drained_ml", Kind::POSITIVE, "water drained, by volume"),
            Field::optional("drained_g", Kind::POSITIVE, "water drained, by weight"),
            Field::optional("water_temperature_deg_c", WATER_DEG_C, "of the weighed water"),
            Field::optional(
                "uncertainty_ml",
                Kind::NOT_NEGATIVE,
                "standard uncertainty of the drained volume; 2 if left out",
            ),
            THROUGH_FIXTURE,
            Field::preset(
                "from",
                Kind::Choice(&["inlet", "outlet"]),
                Preset::Text("inlet"),
                "end from which it was filled: in a blocked circuit each end tells another part",
            ),
        ],
    },
    Variant {
        name: "rig-check",
        text: "the rig on a known thing, without the mould",
        fields: super::rig_reading::RIG_CHECK,
    },
    Variant {
        name: "bucket",
        text: "water caught in a time, beside the flow meter",
        fields: super::rig_reading::BUCKET,
    },
    Variant {
        name: "note",
        text: "words",
        fields: &[
            Field::optional("circuit", Kind::Text, "circuit, unless it concerns the whole mould"),
            AT,
            Field::required("text", Kind::Text, "what was seen"),
        ],
    },
];

/// One treatment.
pub static TREATMENT: &[Field] = &[
    Field::required(
        "kind",
        Kind::Choice(&["blow-out", "open", "repair", "descale", "neutralise", "rinse", "preserve", "dry"]),
        "what was done",
    ),
    Field::optional("circuit", Kind::Text, "circuit, unless the whole mould was treated"),
    AT,
    Field::optional("remark", Kind::Text, "in the technician's words"),
];
