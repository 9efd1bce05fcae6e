//! The forms at the bench: which fields of the visit file each asks for, and in which words.

use exchange::one_reading::List;

/// How a field is asked for.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Ask {
    /// A number.
    Number,
    /// A line.
    Line,
    /// Several lines.
    Lines,
    /// Lines of `name = meaning`.
    Columns,
    /// One of these: value of the file and words.
    Choice(&'static [(&'static str, &'static str)]),
}

/// A field of a form; its name is the one of the visit file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Asked {
    /// Name.
    pub name: &'static str,
    /// What to type.
    pub label: &'static str,
    /// More about it; may be empty.
    pub help: &'static str,
    /// How it is asked for.
    pub ask: Ask,
    /// Whether it may be left out.
    pub optional: bool,
}

/// A form.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Form {
    /// Word in the address.
    pub word: &'static str,
    /// Title.
    pub title: &'static str,
    /// What to do before typing.
    pub intro: &'static str,
    /// Step of the ladder that it belongs to.
    pub step: Option<bench::ladder::Step>,
    /// Where it belongs in the visit file.
    pub list: List,
    /// Fields that go without asking.
    pub fixed: &'static [(&'static str, &'static str)],
    /// Fields that are asked for.
    pub fields: &'static [Asked],
}

impl Form {
    /// The form of this word.
    pub(crate) fn of(word: &str) -> Option<&'static Self> {
        ALL.iter().find(|form| form.word == word)
    }

    /// What a field is called on the page.
    pub(crate) fn label(&self, name: &str) -> Option<String> {
        self.fields.iter().find(|field| field.name == name).map(|field| field.label.to_owned())
    }
}

pub(super) const fn number(name: &'static str, label: &'static str) -> Asked {
    Asked { name, label, help: "", ask: Ask::Number, optional: false }
}
pub(super) const fn maybe(name: &'static str, label: &'static str, help: &'static str) -> Asked {
    Asked { name, label, help, ask: Ask::Number, optional: true }
}
pub(super) const fn choice(
    name: &'static str,
    label: &'static str,
    choices: &'static [(&'static str, &'static str)],
) -> Asked {
    Asked { name, label, help: "", ask: Ask::Choice(choices), optional: false }
}
const TRACE: Asked = Asked {
    name: "trace",
    label: "Or paste what a logger wrote",
    help: "The lines of its file with the header; then leave the gauge readings above empty.",
    ask: Ask::Lines,
    optional: true,
};
const COLUMNS: Asked = Asked {
    name: "columns",
    label: "What the logger's columns hold",
    help: "Only where their names do not say it. One a line: the name, =, and time_s, clock, pressure_bar_g, flow_l_min, \
           temperature_deg_c or ignore.",
    ask: Ask::Columns,
    optional: true,
};
pub(super) const AT: Asked = Asked {
    name: "at",
    label: "Taken at, if not just now",
    help: "Day and time in UTC, such as 2026-11-24 08:40.",
    ask: Ask::Line,
    optional: true,
};
const FROM: Asked = choice("from", "Filled from", &[("inlet", "the inlet"), ("outlet", "the outlet")]);
const GAUGES: Asked = choice(
    "through_fixture",
    "Gauges",
    &[("true", "on the rig: hoses lie between"), ("false", "at the mould: no hoses between")],
);

pub(super) const DONE: Asked = choice(
    "kind",
    "What was done",
    &[
        ("blow-out", "blown out"),
        ("open", "opened"),
        ("repair", "repaired"),
        ("descale", "descaled"),
        ("neutralise", "neutralised"),
        ("rinse", "rinsed"),
        ("preserve", "preserved"),
        ("dry", "dried"),
    ],
);
pub(super) const REMARK: Asked =
    Asked { name: "remark", label: "Remark", help: "", ask: Ask::Line, optional: true };
pub(super) const WORDS: Asked =
    Asked { name: "text", label: "In your words", help: "", ask: Ask::Lines, optional: false };

/// All forms, in the order of the ladder.
pub(crate) static ALL: &[Form] = &[
    Form {
        word: "leak-down",
        title: "Leak-down",
        intro: "Fill with air, let it settle, shut the supply. Read the gauge, wait, and read it again.",
        step: Some(bench::ladder::Step::LeakDown),
        list: List::Reading,
        fixed: &[("kind", "leak-down")],
        fields: &[
            number("start_bar_g", "Pressure at the start"),
            number("end_bar_g", "Pressure at the end"),
            number("seconds", "Time between the two"),
            maybe("hold_s", "Supply held before it was shut", "A longer hold lets the air settle."),
            maybe("wall_temperature_deg_c", "Temperature of the steel", ""),
            TRACE,
            COLUMNS,
            AT,
        ],
    },
    Form {
        word: "air-passage",
        title: "Air passage",
        intro: "Charge with air, open the return, and read the gauge before and some seconds after.",
        step: Some(bench::ladder::Step::AirPassage),
        list: List::Reading,
        fixed: &[("kind", "air-passage")],
        fields: &[
            choice(
                "charged",
                "What was charged",
                &[
                    ("circuit", "the circuit itself"),
                    ("reservoir", "a vessel of the rig that empties through it"),
                ],
            ),
            number("start_bar_g", "Pressure before the return was opened"),
            number("end_bar_g", "Pressure after"),
            number("seconds", "Time between the two"),
            maybe(
                "reservoir_volume_ml",
                "Volume of the vessel",
                "Only for a vessel; the rig's own if left out.",
            ),
            maybe("air_temperature_deg_c", "Temperature of the air", ""),
            TRACE,
            COLUMNS,
            AT,
        ],
    },
    Form {
        word: "volume-air",
        title: "Filled volume, by air",
        intro: "Fill a known volume with air, read it, join it to the circuit, and read both. No water goes in.",
        step: None,
        list: List::Reading,
        fixed: &[("kind", "volume"), ("method", "air-expansion")],
        fields: &[
            number("reference_bar_g", "Pressure in the known volume before"),
            number("joined_bar_g", "Pressure in both after joining"),
            maybe("circuit_bar_g", "Pressure in the circuit before", "0 if left out."),
            maybe("reference_volume_ml", "Known volume", "The rig's own if left out."),
            GAUGES,
            FROM,
            AT,
        ],
    },
    Form {
        word: "volume-water",
        title: "Filled volume, drained",
        intro: "Drain the filled circuit into a measure, or weigh what comes out.",
        step: None,
        list: List::Reading,
        fixed: &[("kind", "volume"), ("method", "drained")],
        fields: &[
            maybe("drained_ml", "Water drained", "By the measure; or give its weight below."),
            maybe("drained_g", "Water drained, weighed", ""),
            maybe("water_temperature_deg_c", "Temperature of the water", "Weighed water needs it."),
            maybe("uncertainty_ml", "Standard uncertainty", "2 ml if left out."),
            GAUGES,
            FROM,
            AT,
        ],
    },
    Form {
        word: "flow",
        title: "Flow",
        intro: "Pump water through until it runs steadily. Several points at different pressures tell more than one.",
        step: Some(bench::ladder::Step::Flow),
        list: List::Reading,
        fixed: &[("kind", "flow")],
        fields: &[
            number("flow_l_min", "Flow"),
            number("pressure_in_bar_g", "Pressure at the inlet"),
            number("pressure_out_bar_g", "Pressure at the outlet"),
            number("water_temperature_deg_c", "Temperature of the water"),
            choice("others", "The other circuits meanwhile", &[("closed", "closed"), ("open", "open")]),
            GAUGES,
            TRACE,
            COLUMNS,
            AT,
        ],
    },
    Form {
        word: "treatment",
        title: "Something was done",
        intro: "What was done to this circuit. Readings from before an opening, a repair or a descale no longer count.",
        step: None,
        list: List::Treatment,
        fixed: &[],
        fields: &[DONE, REMARK, AT],
    },
    Form {
        word: "note",
        title: "Note",
        intro: "What was seen.",
        step: None,
        list: List::Reading,
        fixed: &[("kind", "note")],
        fields: &[WORDS, AT],
    },
];
