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

    /// The numbers of these cautions, runs of three and more shortened: `1, 3 to 5`.
    pub(crate) fn numbers(&self, these: &[&'static str]) -> String {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for (number, _) in self.numbered().filter(|(_, text)| these.contains(text)) {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == number => *last = number,
                _ => runs.push((number, number)),
            }
        }
        let written = runs.into_iter().map(|(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        });
        written.collect::<Vec<_>>().join(", ")
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
