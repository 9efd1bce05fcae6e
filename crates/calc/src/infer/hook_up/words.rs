//! What a doubt means, and what would settle it, in plain words.

use super::{Doubt, Slip};

impl Doubt {
    /// One or two sentences; `names` are the circuits in the order of the ports.
    #[must_use]
    pub fn text(&self, names: &[&str]) -> String {
        let all: Vec<&str> = self.ports.iter().filter_map(|port| names.get(*port)).copied().collect();
        let first = all.first().copied().unwrap_or_default();
        let rest = one_of(all.get(1..).unwrap_or_default());
        match (self.slip, self.sure_of_all) {
            (Slip::Exchanged, true) if all.len() == 2 => format!(
                "What was measured on {first} fits {rest}, and the other way round: check whether their hoses are exchanged."
            ),
            (Slip::Exchanged, true) => {
                let steps: Vec<String> = all
                    .iter()
                    .zip(all.iter().cycle().skip(1))
                    .map(|(on, fits)| format!("on {on} fits {fits}"))
                    .collect();
                format!("What was measured {}: check whether their hoses are exchanged.", steps.join(", "))
            }
            (Slip::Exchanged, false) if rest.is_empty() => format!(
                "What was measured on {first} does not fit it, and no single other circuit clearly better: check where its hoses end."
            ),
            (Slip::Exchanged, false) => format!(
                "What was measured on {first} fits {rest} better: check whether its hoses are exchanged with theirs."
            ),
            (Slip::Missing, _) => format!(
                "The hoses of {first} seem to lead to nothing: one is off, or has come off; or a plug of the circuit is out."
            ),
            (Slip::Doubled, _) => format!(
                "Nothing seems to hang on the port of {rest}, and what was measured on {first} fits both side by side: check \
                 for a tee or a double adapter."
            ),
            (Slip::Bridged, _) => format!(
                "Nothing passes on {first} nor on {rest}, and both fill like whole circuits: check whether the supply of one \
                 goes with the return of the other before anybody opens the mould."
            ),
            (Slip::Reversed, _) => format!(
                "The gauges show more pressure at the outlet of {first} than at its inlet: supply and return seem exchanged."
            ),
        }
    }

    /// The further reading that would settle it, with its minutes (own estimate); `names` as for [`Doubt::text`].
    #[must_use]
    pub fn settled_by(&self, names: &[&str]) -> String {
        let all: Vec<&str> = self.ports.iter().filter_map(|port| names.get(*port)).copied().collect();
        let list = all.join(", ");
        match self.slip {
            Slip::Exchanged => {
                format!(
                    "blow low-pressure air into the inlet of each of {list} and feel which outlet answers, then the flow of each again (6 minutes)"
                )
            }
            Slip::Missing => {
                format!("look at both hoses and the plugs of {list}, then leak-down again (4 minutes)")
            }
            Slip::Doubled => {
                format!(
                    "follow the hoses of {list} from port to mould, then leak-down of each again (6 minutes)"
                )
            }
            Slip::Bridged => format!(
                "open the returns of {list} together and let air through each: if it passes now, the returns are crossed (4 minutes)"
            ),
            Slip::Reversed => format!(
                "follow the supply hose of {list} to the mark on the mould; a circuit's flow does not tell its direction (2 minutes)"
            ),
        }
    }
}

impl Slip {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Exchanged => "exchanged",
            Self::Missing => "missing",
            Self::Doubled => "doubled",
            Self::Bridged => "bridged",
            Self::Reversed => "reversed",
        }
    }
}

fn one_of(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}
