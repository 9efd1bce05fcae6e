//! How a plan is written in a file: `borewise-plan/1`.

use calc::form::{Field, Kind, Preset, Variant};
use calc::hydraulics::piece_form::PIECE;

/// Value of `format`.
pub const FORMAT: &str = "borewise-plan/1";

const WORDS: Kind = Kind::List { of: &Kind::Text, least: 0 };
const SHARE: Kind = Kind::Number { low: 0.0, high: 1.0 };
const BORE_MM: Kind = Kind::Number { low: 0.5, high: 100.0 };
const RATE_MBAR_L_S: Kind = Kind::Number { low: 1e-5, high: 1000.0 };
const TEST_BAR_G: Kind = Kind::Number { low: 0.5, high: 12.0 };
const LAW: Field = Field::preset(
    "law",
    Kind::Choice(&["laminar", "orifice", "seat", "opening-crack", "opens-above"]),
    Preset::Text("laminar"),
    "how the leak depends on pressure: narrow crack, short hole, seat pressed shut, crack pushed open, crack shut below a pressure",
);
const LAW_PRESSURE: Field = Field::preset(
    "law_pressure_bar",
    Kind::Number { low: 0.3, high: 50.0 },
    Preset::Number(3.0),
    "pressure in which a seat shrinks to 1/e, at which an opening crack has doubled its width, or above which a leak of law \
     opens-above is open",
);

/// The fields of a plan file.
#[must_use]
pub fn plan_form() -> &'static [Field] {
    PLAN
}

static PLAN: &[Field] = &[
    Field::required("format", Kind::Choice(&[FORMAT]), "format and version of this file"),
    Field::preset(
        "seed",
        Kind::Number { low: 0.0, high: 9e15 },
        Preset::Number(1.0),
        "seed of all draws, a whole number",
    ),
    Field::preset(
        "physics",
        Kind::Choice(&["matching", "other"]),
        Preset::Text("matching"),
        "loss laws of the simulated world: those that the judgement believes in, or other ones",
    ),
    Field::required("mould", Kind::Record(MOULD), "the tool"),
    Field::required("circuit", Kind::List { of: &Kind::Record(CIRCUIT), least: 1 }, "its circuits"),
    Field::optional(
        "leak_across",
        Kind::List { of: &Kind::Record(ACROSS), least: 0 },
        "leaks from circuit to circuit",
    ),
    Field::required("rig", Kind::Record(RIG), "the rig"),
    Field::required("visit", Kind::Record(VISIT), "the visit"),
    Field::required("reading", Kind::List { of: &READING, least: 1 }, "readings and treatments in order"),
    Field::optional("slips", Kind::Record(SLIPS), "what the operator does wrong"),
];

static MOULD: &[Field] = &[
    Field::required("id", Kind::Text, "asset id"),
    Field::required("name", Kind::Text, "what it makes"),
    Field::preset(
        "process",
        Kind::Choice(&["injection-moulding", "die-casting"]),
        Preset::Text("injection-moulding"),
        "what the tool is for",
    ),
];

static CIRCUIT: &[Field] = &[
    Field::required("id", Kind::Text, "id within the mould, as stamped"),
    Field::required("half", Kind::Text, "fixed, moving, or a named plate or slide"),
    Field::optional("serves", Kind::Text, "what it cools"),
    Field::optional("metals", WORDS, "metals that the water touches, as the file says"),
    Field::optional("seals", WORDS, "seals that the water touches, as the file says"),
    Field::optional("sisters", WORDS, "circuits of the same geometry"),
    Field::optional("neighbours", WORDS, "circuits that run beside it in the same steel"),
    Field::required("pieces", PIECES_KIND, "pieces in flow order, as drawn"),
    Field::preset(
        "known",
        Kind::Choice(&["drawing", "measured", "guessed", "unknown"]),
        Preset::Text("drawing"),
        "how much of the pieces the mould file shows",
    ),
    Field::optional("rough_bore_mm", BORE_MM, "main bore that the file gives beside missing pieces"),
    Field::optional(
        "rough_length_mm",
        Kind::Number { low: 1.0, high: 100_000.0 },
        "length that the file gives beside missing pieces",
    ),
    Field::optional("baseline", Kind::Record(BASELINE), "readings on record, taken as new"),
    Field::optional("truth", Kind::Record(TRUTH), "what is wrong with it, hidden from the files"),
];

const PIECES_KIND: Kind = Kind::List { of: &PIECE, least: 1 };

static BASELINE: &[Field] = &[
    Field::optional("date", Kind::Text, "day that earned it, YYYY-MM-DD"),
    Field::preset(
        "uncertainty_percent",
        Kind::Number { low: 0.1, high: 20.0 },
        Preset::Number(2.0),
        "standard uncertainty of the flow factor",
    ),
    Field::preset("volume", Kind::Flag, Preset::Flag(false), "whether a filled volume was kept"),
    Field::preset("air", Kind::Flag, Preset::Flag(false), "whether a sonic conductance was kept"),
    Field::preset(
        "others",
        Kind::Choice(&["closed", "open"]),
        Preset::Text("closed"),
        "the other circuits meanwhile",
    ),
];

static TRUTH: &[Field] = &[
    Field::preset(
        "condition",
        Kind::Choice(&["as-new", "even-deposit", "local-plug", "mixed", "rough"]),
        Preset::Text("as-new"),
        "inside of the bore",
    ),
    Field::optional("thickness_mm", Kind::Number { low: 0.01, high: 20.0 }, "thickness of the layer"),
    Field::preset("share_of_length", SHARE, Preset::Number(1.0), "share of the path under the layer"),
    Field::optional("plug_bore_mm", BORE_MM, "bore that the plug leaves free"),
    Field::preset("plug_place", SHARE, Preset::Number(0.5), "place of the plug, share of the path"),
    Field::optional("roughness_um", Kind::Number { low: 10.0, high: 1000.0 }, "roughness of a corroded wall"),
    Field::optional("blocked_at", SHARE, "nothing passes from this share of the path on"),
    Field::optional("leak_out_mbar_l_s", RATE_MBAR_L_S, "leak to the outside at 7 bar absolute"),
    LAW,
    LAW_PRESSURE,
    Field::optional(
        "too_much",
        Kind::Choice(&["missing-baffle", "short-cut"]),
        "a missing part that lets more through",
    ),
    Field::optional(
        "plugged_branch",
        Kind::Count { low: 1, high: 50 },
        "branch of the first split that is plugged, from 1",
    ),
];

static ACROSS: &[Field] = &[
    Field::required("circuits", Kind::List { of: &Kind::Text, least: 2 }, "the two circuits"),
    Field::required("rate_mbar_l_s", RATE_MBAR_L_S, "rate at 7 bar absolute against the air"),
    LAW,
    LAW_PRESSURE,
];

static RIG: &[Field] = &[
    Field::optional("name", Kind::Text, "name"),
    Field::preset("ports", Kind::Count { low: 1, high: 64 }, Preset::Number(8.0), "number of ports"),
    Field::preset(
        "flow_uncertainty_percent",
        Kind::Number { low: 0.0, high: 20.0 },
        Preset::Number(2.0),
        "standard uncertainty of the flow meter",
    ),
    Field::preset(
        "pressure_uncertainty_bar",
        Kind::Number { low: 0.0, high: 1.0 },
        Preset::Number(0.05),
        "standard uncertainty of each gauge",
    ),
    Field::preset(
        "gauge_step_bar",
        Kind::Number { low: 0.0, high: 1.0 },
        Preset::Number(0.0),
        "smallest step that the gauges show",
    ),
    Field::preset(
        "temperature_uncertainty_k",
        Kind::Number { low: 0.0, high: 5.0 },
        Preset::Number(0.5),
        "standard uncertainty of the water thermometer",
    ),
    Field::required(
        "pump_curve",
        Kind::List { of: &Kind::List { of: &Kind::NOT_NEGATIVE, least: 2 }, least: 2 },
        "flow in l/min and pressure in bar, falling",
    ),
    Field::required("supply", PIECES_KIND, "hoses and couplings from rig to mould"),
    Field::required("return", PIECES_KIND, "hoses and couplings from mould to rig"),
    Field::preset(
        "dead_volume_ml",
        Kind::Number { low: 0.0, high: 5000.0 },
        Preset::Number(20.0),
        "dead ends of the rig on the supply side",
    ),
    Field::preset(
        "fixture_stated",
        Kind::Flag,
        Preset::Flag(true),
        "whether the rig's file states what hoses and couplings do",
    ),
    Field::optional(
        "reference_volume_ml",
        Kind::Number { low: 10.0, high: 100_000.0 },
        "vessel of known volume, for filled volumes by air",
    ),
    Field::optional(
        "reservoir_volume_ml",
        Kind::Number { low: 100.0, high: 500_000.0 },
        "vessel that empties through a circuit; the one of known volume if left out",
    ),
    Field::preset(
        "atmosphere_bar_abs",
        Kind::Number { low: 0.7, high: 1.1 },
        Preset::Number(1.013_25),
        "pressure of the surrounding air",
    ),
    Field::optional("calibrated_until", Kind::Text, "date until which the calibration holds, YYYY-MM-DD"),
    Field::preset(
        "gauges",
        Kind::Choice(&["rig", "mould"]),
        Preset::Text("rig"),
        "where the pressure gauges sit",
    ),
];

static VISIT: &[Field] = &[
    Field::required("id", Kind::Text, "name of the visit"),
    Field::required("started", Kind::Text, "when it began, such as 2026-11-24T08:40:00Z"),
    Field::required("by", Kind::Text, "initials or name"),
    Field::preset(
        "water_temperature_deg_c",
        Kind::Number { low: 1.0, high: 90.0 },
        Preset::Number(18.0),
        "test water",
    ),
    Field::preset(
        "steel_temperature_deg_c",
        Kind::Number { low: 0.0, high: 90.0 },
        Preset::Number(21.0),
        "steel and room",
    ),
];

const CIRCUITS: Field = Field::optional("circuits", WORDS, "circuits; all if left out");
const LOGGER: Field = Field::preset(
    "logger",
    Kind::Choice(&["own", "foreign", "hand"]),
    Preset::Text("own"),
    "what writes the numbers down",
);
const PRESSURE: Field = Field::preset("pressure_bar_g", TEST_BAR_G, Preset::Number(6.0), "test pressure");
const SECONDS: Kind = Kind::Number { low: 0.5, high: 3600.0 };
const RATE_HZ: Kind = Kind::Number { low: 0.1, high: 1000.0 };

static READING: Kind = Kind::Tagged { tag: "kind", variants: READINGS };

static READINGS: &[Variant] = &[
    Variant {
        name: "leak-down",
        text: "air held in, pressure watched",
        fields: &[
            CIRCUITS,
            LOGGER,
            PRESSURE,
            Field::preset("seconds", SECONDS, Preset::Number(60.0), "length"),
            Field::preset("rate_hz", RATE_HZ, Preset::Number(10.0), "samples per second"),
            Field::preset(
                "hold_s",
                Kind::Number { low: 0.0, high: 600.0 },
                Preset::Number(10.0),
                "seconds on supply before it is shut",
            ),
            Field::preset(
                "together",
                Kind::Flag,
                Preset::Flag(false),
                "all circuits charged at once, instead of one with the others vented",
            ),
        ],
    },
    Variant {
        name: "air-passage",
        text: "air let out through the circuit",
        fields: &[
            CIRCUITS,
            LOGGER,
            PRESSURE,
            Field::preset(
                "charged",
                Kind::Choice(&["reservoir", "circuit"]),
                Preset::Text("reservoir"),
                "what empties: the rig's vessel, or the circuit's own volume",
            ),
            Field::preset("seconds", SECONDS, Preset::Number(6.0), "length"),
            Field::preset("rate_hz", RATE_HZ, Preset::Number(50.0), "samples per second"),
        ],
    },
    Variant {
        name: "flow",
        text: "water flow at a pressure drop",
        fields: &[
            CIRCUITS,
            LOGGER,
            Field::optional(
                "shares",
                Kind::List { of: &Kind::Number { low: 0.02, high: 1.0 }, least: 1 },
                "points, as shares of the flow with the valve fully open; 1 if left out",
            ),
            Field::preset(
                "others",
                Kind::Choice(&["closed", "open"]),
                Preset::Text("closed"),
                "the other circuits meanwhile",
            ),
            Field::preset("trace", Kind::Flag, Preset::Flag(true), "whether the first point is logged"),
            Field::preset("seconds", SECONDS, Preset::Number(60.0), "length of the logged point"),
            Field::preset("rate_hz", RATE_HZ, Preset::Number(10.0), "samples per second"),
        ],
    },
    Variant {
        name: "cross-watch",
        text: "one circuit charged, its neighbours watched; without circuits: those that fell",
        fields: &[
            CIRCUITS,
            Field::preset(
                "together",
                Kind::Flag,
                Preset::Flag(false),
                "the named circuits charged at the same time, instead of one after the other",
            ),
            LOGGER,
            PRESSURE,
            Field::preset("seconds", SECONDS, Preset::Number(60.0), "length"),
            Field::preset("rate_hz", RATE_HZ, Preset::Number(2.0), "samples per second"),
        ],
    },
    Variant {
        name: "volume",
        text: "filled volume",
        fields: &[
            CIRCUITS,
            Field::preset(
                "method",
                Kind::Choice(&["air-expansion", "drained"]),
                Preset::Text("air-expansion"),
                "air out of the rig's vessel, or water into a cup",
            ),
            Field::preset(
                "through_fixture",
                Kind::Flag,
                Preset::Flag(true),
                "whether hoses are in the number",
            ),
            Field::preset(
                "from",
                Kind::Choice(&["inlet", "outlet"]),
                Preset::Text("inlet"),
                "end from which it is filled",
            ),
        ],
    },
    Variant {
        name: "rig-check",
        text: "the rig on a known thing: hoses joined, an orifice between them, gauges at rest or at shut-off",
        fields: &[
            Field::required(
                "on",
                Kind::Choice(&["fixture", "orifice", "at-rest", "shut-off"]),
                "the known thing",
            ),
            Field::preset(
                "reference_flow_factor_m3_h",
                Kind::Number { low: 0.01, high: 100.0 },
                Preset::Number(0.5),
                "flow factor stated on the orifice",
            ),
            Field::preset(
                "reference_uncertainty_percent",
                Kind::Number { low: 0.0, high: 20.0 },
                Preset::Number(1.5),
                "how well that is known",
            ),
        ],
    },
    Variant {
        name: "bucket",
        text: "water caught and weighed beside the meter, hoses joined",
        fields: &[
            Field::preset("seconds", SECONDS, Preset::Number(60.0), "time of each filling"),
            Field::preset("fillings", Kind::Count { low: 1, high: 20 }, Preset::Number(1.0), "fillings"),
        ],
    },
    Variant {
        name: "treatment",
        text: "something done",
        fields: &[
            CIRCUITS,
            Field::required(
                "what",
                Kind::Choice(&[
                    "blow-out",
                    "open",
                    "repair",
                    "descale",
                    "neutralise",
                    "rinse",
                    "preserve",
                    "dry",
                ]),
                "what",
            ),
            Field::optional("remark", Kind::Text, "in words"),
        ],
    },
    Variant {
        name: "note",
        text: "words",
        fields: &[CIRCUITS, Field::required("text", Kind::Text, "the words")],
    },
];

static SLIPS: &[Field] = &[
    Field::optional(
        "swapped",
        Kind::List { of: &Kind::List { of: &Kind::Text, least: 2 }, least: 0 },
        "pairs of circuits whose hoses are exchanged against the hook-up list",
    ),
    Field::optional("missing", WORDS, "circuits whose port has an open hose, connected to nothing"),
    Field::optional(
        "doubled",
        Kind::List { of: &Kind::List { of: &Kind::Text, least: 2 }, least: 0 },
        "pairs of circuits that hang side by side on the port of the first; the hoses of the second's port are open",
    ),
    Field::optional(
        "bridged",
        Kind::List { of: &Kind::List { of: &Kind::Text, least: 2 }, least: 0 },
        "pairs of circuits whose returns are exchanged, supplies not",
    ),
    Field::optional("reversed", WORDS, "circuits whose supply and return are exchanged"),
    Field::optional("stopped_early", WORDS, "circuits whose leak-down was stopped after a few seconds"),
    Field::optional(
        "meter_drift_percent",
        Kind::Number { low: -50.0, high: 50.0 },
        "whole error of the flow meter, whatever its file states; below 0: it shows too little",
    ),
    Field::optional(
        "gauge_zero_drift_bar",
        Kind::Number { low: -5.0, high: 5.0 },
        "what the inlet gauge shows at rest, whatever its file states",
    ),
];
