//! What was recorded, in one sentence for whoever has a page open that it concerns.

use store::shapes::{Person, ReadingCard, WhatCard};
use store::{Entry, Fact, Subject};

use crate::layout::encoded;

/// What a page is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum About {
    /// Every mould.
    All,
    /// One mould, as its name stands in an address.
    Mould(String),
}

impl About {
    /// What the page at this address is about; nothing for a page on which nothing happens.
    pub(crate) fn page(address: &str) -> Option<Self> {
        let path = address.split(['?', '#']).next().unwrap_or_default();
        match path {
            "/" | "/moulds" => Some(Self::All),
            _ => {
                let mould = path.strip_prefix("/moulds/")?.split('/').next()?;
                (!mould.is_empty()).then(|| Self::Mould(mould.to_owned()))
            }
        }
    }

    fn concerns(&self, subject: &Subject) -> bool {
        let mut parts = subject.as_str().split('/');
        match (parts.next(), parts.next(), self) {
            (Some("mould" | "half" | "circuit" | "visit"), Some(name), Self::Mould(own)) => {
                encoded(&name.replace("%2F", "/").replace("%25", "%")) == *own
            }
            // Rigs, instruments and tables of the plant bear on every visit.
            (Some(kind), ..) => kind != "person",
            (None, ..) => false,
        }
    }
}

/// What these entries say that concerns a page: the newest of it, and how much more there was.
pub(crate) fn told(entries: &[Entry], people: &[Person], about: &About) -> Option<String> {
    let mut said: Vec<String> = Vec::new();
    for entry in entries {
        let Some(fact) = entry.fact().ok().filter(|fact| about.concerns(&fact.subject())) else { continue };
        if let Some(what) = what(&fact, entry.corrects.is_some()) {
            let name = people.iter().find(|person| person.id == entry.person);
            let name = name.map_or(entry.person.as_str(), |person| person.name.as_str());
            said.push(format!("{name} {what}"));
        }
    }
    let newest = said.pop()?;
    Some(match said.len() {
        0 => format!("{newest}."),
        1 => format!("{newest}, and one thing more was recorded."),
        more => format!("{newest}, and {more} things more were recorded."),
    })
}

/// What somebody did; nothing for what follows by itself.
fn what(fact: &Fact, corrects: bool) -> Option<String> {
    let recorded = if corrects { "corrected" } else { "recorded" };
    let of = |circuit: &Option<String>| circuit.as_ref().map(|id| format!(" of {id}")).unwrap_or_default();
    Some(match fact {
        Fact::Finding(_) | Fact::Person(_) => return None,
        Fact::Reading(card) => format!("{recorded} {}{}", reading(card), of(&card.circuit)),
        Fact::Withdrawal(_) => "withdrew something that was recorded".to_owned(),
        Fact::Visit(card) => format!("began visit {}", card.visit),
        Fact::VisitEnd(card) => format!("ended visit {}", card.visit),
        Fact::HookUp(_) | Fact::HookUp2(_) => format!("{recorded} the hook-up"),
        Fact::Leak(card) => format!("{recorded} a leak of {}", card.circuit),
        Fact::Override(card) => format!("decided on a gate of {}", card.circuit),
        Fact::Certificate(_) => "issued a certificate".to_owned(),
        Fact::Note(_) => format!("{recorded} a note"),
        Fact::Photo(_) | Fact::Photo2(_) => format!("{recorded} a photo"),
        Fact::Outline(_) => format!("{recorded} an outline"),
        Fact::Pin(_) => format!("{recorded} a place on the mould"),
        Fact::Mould(_) | Fact::Half(_) | Fact::Half2(_) => "changed what is known of the mould".to_owned(),
        Fact::Circuit(card) => format!("changed what is known of {}", card.circuit),
        Fact::Pieces(card) => format!("changed the pieces of {}", card.circuit),
        Fact::Marks(card) => format!("changed what is known of {}", card.circuit),
        Fact::Baseline(card) => format!("changed the baseline of {}", card.circuit),
        Fact::Past(card) => format!("changed the past of {}", card.circuit),
        Fact::Rig(_) => "changed what is known of a rig".to_owned(),
        Fact::Instrument(_) | Fact::Calibration(_) => "changed what is known of an instrument".to_owned(),
        Fact::Limits(_) => "changed the limits".to_owned(),
        Fact::Materials(_) => "changed the materials".to_owned(),
    })
}

const fn reading(card: &ReadingCard) -> &'static str {
    match card.what {
        WhatCard::LeakDown { .. } => "a leak-down",
        WhatCard::AirPassage { .. } => "an air passage",
        WhatCard::Flow { .. } => "a flow",
        WhatCard::CrossWatch { .. } => "a cross-watch",
        WhatCard::Volume { .. } => "a filled volume",
        WhatCard::RigCheck(_) => "a check of the rig",
        WhatCard::Bucket { .. } => "a check of the flow meter",
        WhatCard::Note { .. } => "a note",
        WhatCard::Treatment { .. } => "something done",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_is_about_its_own_mould() {
        let one = About::page("/moulds/M%2F1/visits/first?recorded=3").expect("a mould's page");
        for (subject, concerned) in [
            (Subject::mould("M/1"), true),
            (Subject::visit("M/1", "first"), true),
            (Subject::circuit("M/1", "F1"), true),
            (Subject::mould("M"), false),
            (Subject::mould("M%2F1"), false),
            (Subject::visit("M/2", "first"), false),
            (Subject::table("limits"), true),
            (Subject::person("KD"), false),
        ] {
            assert_eq!(one.concerns(&subject), concerned, "{subject}");
        }
        assert!(About::page("/").expect("today").concerns(&Subject::mould("M/2")));
        for address in ["", "/calculators", "/me", "/moulds/", "moulds/M"] {
            assert_eq!(About::page(address), None, "{address}");
        }
    }
}
