//! Moulds, halves and circuits as pages say and change them.

use std::collections::BTreeMap;

use bench::mould::{Circuit, CircuitId, Known, Mould};
use calc::form::{Fault, Value};
use exchange::one_mould::with_circuit;
use store::read::VisitRow;
use store::shapes::{
    BaselineCard, CircuitCard, FoundWord, HalfCard2, KnownWord, MarksCard, MouldCard, PiecesCard,
};
use store::{AsOf, Fact, Item, Reader, Subject};

use crate::problem::Problem;
use crate::typed::{Typed, number};

/// How something is known: value and words.
pub(crate) const KNOWN: [(&str, &str); 4] =
    [("unknown", "not said"), ("measured", "measured"), ("drawing", "drawing"), ("guessed", "guessed")];
/// How a circuit was found: value and words.
pub(crate) const FOUND: [(&str, &str); 5] = [
    ("", "not said"),
    ("blown", "blown through"),
    ("watched", "water watched"),
    ("drawing", "drawing"),
    ("told", "told"),
];
/// Facts of a circuit that carry a mark of their own, and their words.
pub(crate) const MARKED: [(&str, &str); 4] =
    [("metals", "Metals"), ("seals", "Seals"), ("size", "Bore and length"), ("neighbours", "Neighbours")];

/// A mould with the entries that say it.
pub(crate) struct OnRecord {
    pub mould: Mould,
    pub card: MouldCard,
    /// Newest entry of the mould itself.
    pub number: u64,
    pub halves: Vec<(HalfCard2, u64)>,
    /// Items about each circuit.
    pub circuits: BTreeMap<String, Vec<Item>>,
    pub visits: Vec<VisitRow>,
}

/// Everything that is on record of a mould.
pub(crate) fn on_record(reader: &Reader<'_>, id: &str) -> Result<OnRecord, Problem> {
    let mould = reader.mould(id, AsOf::Now)?;
    let about = reader.items(&Subject::mould(id), AsOf::Now)?;
    let found = about.into_iter().find_map(|item| match item.fact {
        Fact::Mould(card) => Some((card, item.entry.number)),
        _ => None,
    });
    let (card, number) = found.ok_or_else(|| Problem::Missing(format!("There is no mould {id}.")))?;
    let mut halves = Vec::new();
    for half in reader.halves(id)? {
        for item in reader.items(&Subject::half(id, &half), AsOf::Now)? {
            let number = item.entry.number;
            halves.extend(half_of(item.fact).map(|card| (card, number)));
        }
    }
    let mut circuits = BTreeMap::new();
    for circuit in &mould.circuits {
        let items = reader.items(&Subject::circuit(id, &circuit.id.0), AsOf::Now)?;
        circuits.insert(circuit.id.0.clone(), items);
    }
    Ok(OnRecord { mould, card, number, halves, circuits, visits: reader.visits(Some(id))? })
}

fn half_of(fact: Fact) -> Option<HalfCard2> {
    match fact {
        Fact::Half2(card) => Some(card),
        Fact::Half(card) => {
            Some(HalfCard2 { mould: card.mould, half: card.half, openings: None, known: KnownWord::Unknown })
        }
        _ => None,
    }
}

impl OnRecord {
    /// The circuit of this id.
    pub(crate) fn circuit(&self, id: &str) -> Result<&Circuit, Problem> {
        let circuit = self.mould.circuit(&CircuitId(id.to_owned()));
        circuit.ok_or_else(|| Problem::Missing(format!("Mould {} has no circuit {id}.", self.mould.id)))
    }

    /// The newest entry of this kind about a circuit.
    pub(crate) fn entry_of(&self, circuit: &str, kind: &str) -> Option<&Item> {
        self.circuits.get(circuit)?.iter().find(|item| item.fact.kind() == kind)
    }

    /// Where a circuit opens, and how its facts are known.
    pub(crate) fn marks(&self, circuit: &str) -> MarksCard {
        let known = self.entry_of(circuit, "marks").and_then(|item| match &item.fact {
            Fact::Marks(card) => Some(card.clone()),
            _ => None,
        });
        known.unwrap_or_else(|| MarksCard {
            mould: self.mould.id.0.clone(),
            circuit: circuit.to_owned(),
            found: None,
            inlet: None,
            outlet: None,
            known: BTreeMap::new(),
        })
    }

    /// Names of the halves.
    pub(crate) fn half_names(&self) -> Vec<String> {
        self.halves.iter().map(|(card, _)| card.half.clone()).collect()
    }
}

/// A typed list: words with a comma, a semicolon or a line between them; nothing where none is typed.
pub(crate) fn words(text: &str) -> Option<Value> {
    let words: Vec<Value> = text
        .split([',', ';', '\n'])
        .map(str::trim)
        .filter(|word| !word.is_empty())
        .map(Value::from)
        .collect();
    (!words.is_empty()).then_some(Value::List(words))
}

/// The typed text, if there is any.
pub(crate) fn line(typed: &Typed, name: &str) -> Option<Value> {
    typed.given(name).map(Value::from)
}

/// The typed number, if there is any.
pub(crate) fn figure(typed: &Typed, name: &str) -> Option<Value> {
    typed.given(name).map(number)
}

/// Stored word of a typed one.
pub(crate) fn known_word(text: &str) -> KnownWord {
    match text {
        "measured" => KnownWord::Measured,
        "drawing" => KnownWord::Drawing,
        "guessed" => KnownWord::Guessed,
        _ => KnownWord::Unknown,
    }
}

/// Typed word of a stored one.
pub(crate) const fn known_text(word: KnownWord) -> &'static str {
    match word {
        KnownWord::Measured => "measured",
        KnownWord::Drawing => "drawing",
        KnownWord::Guessed => "guessed",
        KnownWord::Unknown => "unknown",
    }
}

/// The same of the bench's own word.
pub(crate) const fn pieces_known(word: Known) -> &'static str {
    match word {
        Known::Measured => "measured",
        Known::Drawing => "drawing",
        Known::Guessed => "guessed",
        Known::Unknown => "unknown",
    }
}

/// Stored word of how a circuit was found.
pub(crate) fn found_word(text: &str) -> Option<FoundWord> {
    Some(match text {
        "blown" => FoundWord::Blown,
        "watched" => FoundWord::Watched,
        "drawing" => FoundWord::Drawing,
        "told" => FoundWord::Told,
        _ => return None,
    })
}

/// Typed word of it.
pub(crate) const fn found_text(word: Option<FoundWord>) -> &'static str {
    match word {
        Some(FoundWord::Blown) => "blown",
        Some(FoundWord::Watched) => "watched",
        Some(FoundWord::Drawing) => "drawing",
        Some(FoundWord::Told) => "told",
        None => "",
    }
}

/// The marks that were typed: `known-metals` and so on.
pub(crate) fn typed_marks(typed: &Typed) -> BTreeMap<String, KnownWord> {
    let mark = |name: &str| {
        let word = known_word(typed.get(&format!("known-{name}")));
        (word != KnownWord::Unknown).then(|| (name.to_owned(), word))
    };
    MARKED.iter().filter_map(|(name, _)| mark(name)).collect()
}

/// A circuit by the rules of the mould file; faults of one word of a list belong to the list.
pub(crate) fn circuit_said(
    mould: &Mould,
    id: &str,
    said: &[(&str, Option<Value>)],
) -> Result<Circuit, Vec<Fault>> {
    with_circuit(mould, &CircuitId(id.to_owned()), said).map_err(|faults| {
        let own = |fault: Fault| match fault.field.split_once('.') {
            Some((list, _)) if list != "pieces" => Fault { field: list.to_owned(), ..fault },
            _ => fault,
        };
        faults.into_iter().map(own).collect()
    })
}

/// The circuit's own card, at its place in the mould.
pub(crate) fn circuit_card(on: &OnRecord, circuit: &Circuit) -> CircuitCard {
    let stored = on.entry_of(&circuit.id.0, "circuit").and_then(|item| match &item.fact {
        Fact::Circuit(card) => Some(card.place),
        _ => None,
    });
    CircuitCard::of(&on.mould, stored.unwrap_or_else(|| next_place(on)), circuit)
}

/// The first place behind all circuits.
pub(crate) fn next_place(on: &OnRecord) -> u32 {
    let places = on.circuits.values().flatten().filter_map(|item| match &item.fact {
        Fact::Circuit(card) => Some(card.place + 1),
        _ => None,
    });
    places.max().unwrap_or_default()
}

/// The card of a circuit's pieces; an empty one where nothing is known of them any more.
pub(crate) fn pieces_card(mould: &Mould, circuit: &Circuit) -> PiecesCard {
    PiecesCard::of(mould, circuit).unwrap_or_else(|| PiecesCard {
        mould: mould.id.0.clone(),
        circuit: circuit.id.0.clone(),
        known: KnownWord::Unknown,
        pieces: Vec::new(),
    })
}

/// The card of a circuit's baseline, with the visit that earned it.
pub(crate) fn baseline_card(mould: &Mould, circuit: &Circuit, visit: Option<String>) -> Option<BaselineCard> {
    BaselineCard::of(mould, circuit).map(|card| BaselineCard { visit, ..card })
}

/// What is wrong with a name that people type and read.
pub(crate) fn name_fault(field: &str, text: &str) -> Option<Fault> {
    const MOST: usize = 80;
    if text.is_empty() {
        return Some(Fault::new(field, "missing", "type it here"));
    }
    let long = text.chars().count() > MOST || text.chars().any(char::is_control);
    long.then(|| Fault::new(field, "too long", format!("give up to {MOST} letters on one line")))
}

/// A typed whole number up to a limit; nothing where none is typed.
pub(crate) fn count(typed: &Typed, field: &str, most: u32) -> Result<Option<u32>, Fault> {
    let Some(text) = typed.given(field) else { return Ok(None) };
    let wrong = || Fault::new(field, "not a whole number", format!("give 0 to {most}"));
    let Value::Number(value) = number(text) else { return Err(wrong()) };
    (0..=most).find(|whole| (f64::from(*whole) - value).abs() < f64::EPSILON).map(Some).ok_or_else(wrong)
}
