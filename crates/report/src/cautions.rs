//! Cautions with a number each, so that a row can name them in little room.

use bench::finding::Findings;

/// Every caution of the visit, once, in the order of first mention.
pub(crate) struct Cautions(Vec<&'static str>);

impl Cautions {
    /// Those of the whole mould first, then those of each circuit.
    pub(crate) fn of(findings: &Findings) -> Self {
        let mut all: Vec<&'static str> = Vec::new();
        let each = findings.circuits.iter().flat_map(|circuit| &circuit.cautions);
        for caution in findings.cautions.iter().chain(each) {
            if !all.contains(caution) {
                all.push(caution);
            }
        }
        Self(all)
    }

    /// Number, from 1, and text.
    pub(crate) fn numbered(&self) -> impl Iterator<Item = (usize, &'static str)> + '_ {
        self.0.iter().enumerate().map(|(index, text)| (index + 1, *text))
    }

    /// The numbers of these cautions: `1, 3`.
    pub(crate) fn numbers(&self, these: &[&'static str]) -> String {
        let numbers = self.numbered().filter(|(_, text)| these.contains(text)).map(|(number, _)| number.to_string());
        numbers.collect::<Vec<_>>().join(", ")
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
