//! Which column means what: by many wordings of its header, or because the caller says so.

use super::ColumnUse;
use super::grid::{Cell, Grid};
use crate::fault::FileFault;

/// Rows among which the headers are looked for.
const HEADER_ROWS: usize = 30;

/// What a column may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// Id of the mould.
    Mould,
    /// What the mould makes.
    Name,
    /// Injection moulding or die casting.
    Process,
    /// Id of the circuit.
    Circuit,
    /// Half, plate or slide.
    Half,
    /// What the circuit cools.
    Serves,
    /// Metals that the water touches.
    Metals,
    /// Seals that the water touches.
    Seals,
    /// Main bore.
    Bore,
    /// Length of the path.
    Length,
    /// Baseline flow factor.
    FlowFactor,
    /// Its standard uncertainty.
    FlowFactorUncertainty,
    /// Day of the baseline.
    BaselineDate,
    /// Filled volume of the baseline.
    FilledVolume,
}

/// A unit and how many of the target's own unit it is.
pub type Unit = (&'static str, f64);

/// One thing that a column may hold.
struct Known {
    target: Target,
    /// Its word for the caller.
    word: &'static str,
    /// Field of a circuit, or of the mould, in a mould file.
    field: &'static str,
    /// Headers, lower case, without umlauts, numbers words and units.
    headers: &'static [&'static str],
    /// Units of its numbers, the mould file's own first; none for texts.
    units: &'static [Unit],
}

const LENGTHS: &[Unit] =
    &[("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("inch", 25.4), ("zoll", 25.4)];
const FLOW_FACTORS: &[Unit] = &[("m3/h", 1.0), ("m³/h", 1.0)];
const PERCENTS: &[Unit] = &[("%", 1.0), ("percent", 1.0), ("prozent", 1.0)];
const VOLUMES: &[Unit] = &[("ml", 1.0), ("cm3", 1.0), ("cm³", 1.0), ("ccm", 1.0), ("l", 1000.0)];

const KNOWN: &[Known] = &[
    Known {
        target: Target::Mould,
        word: "mould",
        field: "id",
        headers: &[
            "mould",
            "mold",
            "tool",
            "die",
            "asset",
            "mould asset",
            "tool asset",
            "werkzeug",
            "form",
            "wkz",
            "inventar",
        ],
        units: &[],
    },
    Known {
        target: Target::Name,
        word: "name",
        field: "name",
        headers: &[
            "name",
            "mould name",
            "mold name",
            "tool name",
            "description",
            "part",
            "part name",
            "product",
            "makes",
            "bezeichnung",
            "benennung",
            "artikel",
            "teil",
            "werkzeugname",
            "werkzeugbezeichnung",
        ],
        units: &[],
    },
    Known {
        target: Target::Process,
        word: "process",
        field: "process",
        headers: &["process", "verfahren"],
        units: &[],
    },
    Known {
        target: Target::Circuit,
        word: "circuit",
        field: "id",
        headers: &[
            "circuit",
            "cooling circuit",
            "water circuit",
            "circuit name",
            "line",
            "cooling line",
            "water line",
            "loop",
            "channel",
            "cooling channel",
            "kreis",
            "kuehlkreis",
            "kreislauf",
            "kuehlkreislauf",
            "temperierkreis",
            "kanal",
            "kuehlkanal",
        ],
        units: &[],
    },
    Known {
        target: Target::Half,
        word: "half",
        field: "half",
        headers: &[
            "half",
            "mould half",
            "mold half",
            "side",
            "plate",
            "haelfte",
            "werkzeughaelfte",
            "formhaelfte",
            "seite",
            "platte",
        ],
        units: &[],
    },
    Known {
        target: Target::Serves,
        word: "serves",
        field: "serves",
        headers: &["serves", "cools", "zone", "area", "location", "region", "kuehlt", "bereich", "zweck"],
        units: &[],
    },
    Known {
        target: Target::Metals,
        word: "metals",
        field: "metals",
        headers: &[
            "metal",
            "metals",
            "steel",
            "steels",
            "material",
            "materials",
            "werkstoff",
            "werkstoffe",
            "stahl",
        ],
        units: &[],
    },
    Known {
        target: Target::Seals,
        word: "seals",
        field: "seals",
        headers: &[
            "seal",
            "seals",
            "o ring",
            "o rings",
            "oring",
            "gasket",
            "dichtung",
            "dichtungen",
            "o ringe",
        ],
        units: &[],
    },
    Known {
        target: Target::Bore,
        word: "bore_mm",
        field: "rough_bore_mm",
        headers: &[
            "bore",
            "rough bore",
            "diameter",
            "dia",
            "bore diameter",
            "channel diameter",
            "line diameter",
            "drill",
            "hole",
            "bohrung",
            "durchmesser",
            "bohrungsdurchmesser",
            "kanaldurchmesser",
        ],
        units: LENGTHS,
    },
    Known {
        target: Target::Length,
        word: "length_mm",
        field: "rough_length_mm",
        headers: &[
            "length",
            "rough length",
            "path length",
            "circuit length",
            "channel length",
            "laenge",
            "kanallaenge",
            "kreislaenge",
        ],
        units: LENGTHS,
    },
    Known {
        target: Target::FlowFactor,
        word: "baseline_flow_factor_m3_h",
        field: "baseline_flow_factor_m3_h",
        headers: &[
            "flow factor",
            "baseline flow factor",
            "kv",
            "kv value",
            "baseline kv",
            "baseline",
            "kv wert",
            "durchflussfaktor",
        ],
        units: FLOW_FACTORS,
    },
    Known {
        target: Target::FlowFactorUncertainty,
        word: "baseline_uncertainty_percent",
        field: "baseline_uncertainty_percent",
        headers: &[
            "baseline uncertainty",
            "flow factor uncertainty",
            "kv uncertainty",
            "uncertainty",
            "unsicherheit",
        ],
        units: PERCENTS,
    },
    Known {
        target: Target::BaselineDate,
        word: "baseline_date",
        field: "baseline_date",
        headers: &["baseline date", "date", "measured on", "measured", "datum", "gemessen am", "messdatum"],
        units: &[],
    },
    Known {
        target: Target::FilledVolume,
        word: "baseline_filled_volume_ml",
        field: "baseline_filled_volume_ml",
        headers: &[
            "volume",
            "filled volume",
            "water volume",
            "baseline filled volume",
            "volumen",
            "fuellvolumen",
            "inhalt",
        ],
        units: VOLUMES,
    },
];

/// Words of a header that say nothing about what the column holds.
const FILLERS: &[&str] = &["no", "nr", "number", "nummer", "id", "ident", "code", "the", "of", "der", "des"];

impl Target {
    fn known(self) -> Option<&'static Known> {
        KNOWN.iter().find(|known| known.target == self)
    }

    /// Its word for the caller.
    #[must_use]
    pub fn word(self) -> &'static str {
        self.known().map_or("", |known| known.word)
    }

    /// Field of a mould file.
    pub(super) fn field(self) -> &'static str {
        self.known().map_or("", |known| known.field)
    }

    /// Units of its numbers; none for texts.
    pub(super) fn units(self) -> &'static [Unit] {
        self.known().map_or(&[], |known| known.units)
    }

    /// Whether it is said of the mould rather than of the circuit.
    pub(super) const fn of_mould(self) -> bool {
        matches!(self, Self::Mould | Self::Name | Self::Process)
    }

    /// Words of everything that a column may hold.
    #[must_use]
    pub fn words() -> String {
        KNOWN.iter().map(|known| known.word).collect::<Vec<_>>().join(", ")
    }
}

/// A column whose meaning the caller tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Header, as it stands in the sheet, or letters of the column.
    pub header: String,
    /// What it holds; nothing if it is not to be used.
    pub target: Option<Target>,
}

impl Choice {
    /// A choice as it is written: `Ø Kanal=bore_mm`, `F=circuit`, `Remarks=` for a column not to be used.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (header, word) = text.rsplit_once('=').ok_or("write HEADER=MEANING")?;
        let (header, word) = (header.trim().to_owned(), word.trim());
        if word.is_empty() {
            return Ok(Self { header, target: None });
        }
        let target = KNOWN.iter().find(|known| known.word == word).map(|known| known.target);
        let target = target.ok_or_else(|| format!("{word} is no meaning; one of: {}", Target::words()))?;
        Ok(Self { header, target: Some(target) })
    }
}

/// The columns of a sheet.
pub struct Found {
    /// Place of the header row among the rows.
    pub header_at: usize,
    /// Its number in the sheet.
    pub header_row: u64,
    /// All columns that have a header.
    pub columns: Vec<Column>,
    /// Choices that no column has.
    pub unmet: Vec<String>,
}

/// A column with its place.
pub struct Column {
    /// From 0.
    pub at: usize,
    /// How it is used.
    pub shown: ColumnUse,
    /// What its numbers are to be multiplied with; nothing where the header has no unit.
    pub factor: Option<f64>,
}

/// Finds the header row: the first one that names a mould and a circuit.
pub fn find(grid: &Grid, choices: &[Choice]) -> Option<Found> {
    grid.rows.iter().enumerate().take(HEADER_ROWS).find_map(|(at, (number, cells))| {
        let below = grid.rows.get(at + 1..).unwrap_or_default();
        let columns: Vec<Column> = cells
            .iter()
            .enumerate()
            .filter_map(|(column, cell)| Some(heading(column, &cell.shown()?, below, choices)))
            .collect();
        let named = |target| columns.iter().any(|column| column.shown.target == Some(target));
        if !named(Target::Mould) || !named(Target::Circuit) {
            return None;
        }
        let met = |choice: &&Choice| columns.iter().any(|column| chosen(choice, &column.shown));
        let unmet =
            choices.iter().filter(|choice| !met(choice)).map(|choice| choice.header.clone()).collect();
        Some(Found { header_at: at, header_row: *number, unmet, columns })
    })
}

/// What is said where no sheet has such a row.
pub fn no_header(name: &str, grid: Option<&Grid>) -> FileFault {
    let seen: Vec<String> = grid
        .and_then(|grid| {
            grid.rows.iter().find(|(_, row)| row.iter().filter(|cell| **cell != Cell::Empty).count() > 1)
        })
        .map(|(_, row)| row.iter().filter_map(Cell::shown).take(20).collect())
        .unwrap_or_default();
    let problem = if seen.is_empty() {
        "no table is in it".to_owned()
    } else {
        format!(
            "no row names a mould and a circuit; the first row with several cells says: {}",
            seen.join(" | ")
        )
    };
    let hint = "name the columns, such as mould and circuit, or say which they are: --column HEADER=mould";
    FileFault::of_file(name, problem, hint)
}

fn chosen(choice: &Choice, column: &ColumnUse) -> bool {
    choice.header == column.header || choice.header.eq_ignore_ascii_case(&column.letters)
}

fn heading(at: usize, header: &str, below: &[(u64, Vec<Cell>)], choices: &[Choice]) -> Column {
    let example = below.iter().find_map(|(_, row)| Grid::cell(row, at).shown());
    let mut shown =
        ColumnUse { letters: letters(at), header: header.to_owned(), target: None, unit: None, example };
    let (words, unit) = reading(header);
    let choice = choices.iter().find(|choice| chosen(choice, &shown));
    shown.target = match choice {
        Some(choice) => choice.target,
        None => KNOWN.iter().find(|known| known.headers.contains(&words.as_str())).map(|known| known.target),
    };
    let units = shown.target.map(Target::units).unwrap_or_default();
    let own = units.iter().find(|(name, _)| unit.as_deref() == Some(name));
    // A told meaning tells the unit as well; Kv is in m3/h by its definition.
    let implied = choice.is_some() || words.split(' ').any(|word| word == "kv");
    let unit = own.or_else(|| units.first().filter(|_| implied));
    shown.unit = unit.map(|(name, _)| *name);
    Column { at, factor: unit.map(|(_, factor)| *factor), shown }
}

/// The letters of a column: A, B, ..., Z, AA, ...
pub fn letters(at: usize) -> String {
    let mut rest = at + 1;
    let mut letters = Vec::new();
    while rest > 0 {
        letters.push(char::from(b'A' + u8::try_from((rest - 1) % 26).unwrap_or_default()));
        rest = (rest - 1) / 26;
    }
    letters.iter().rev().collect()
}

/// A header's words without fillers, and its unit.
fn reading(header: &str) -> (String, Option<String>) {
    let mut text = header.to_lowercase();
    for (from, to) in
        [("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("ß", "ss"), ("ø", " diameter "), ("⌀", " diameter ")]
    {
        text = text.replace(from, to);
    }
    let mut unit = None;
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((before, rest)) = text.clone().split_once(open)
            && let Some((inside, after)) = rest.split_once(close)
        {
            unit = Some(inside.trim().to_owned());
            text = format!("{before} {after}");
        }
    }
    let text = text.replace("_m3_h", " m3/h").replace("in m3/h", "m3/h");
    let mut words: Vec<&str> = text
        .split(|c: char| !(c.is_alphanumeric() || matches!(c, '%' | '/' | '³')))
        .filter(|word| !word.is_empty())
        .collect();
    let units = || KNOWN.iter().flat_map(|known| known.units);
    if unit.is_none()
        && words.len() > 1
        && let Some(last) = words.last().copied()
        && units().any(|(name, _)| *name == last)
    {
        unit = Some(last.to_owned());
        words.pop();
        // 'length in mm'
        words.pop_if(|word| *word == "in");
    }
    words.retain(|word| !FILLERS.contains(word));
    (words.join(" "), unit)
}

/// Everything that a column may hold.
pub fn targets() -> impl Iterator<Item = Target> {
    KNOWN.iter().map(|known| known.target)
}
