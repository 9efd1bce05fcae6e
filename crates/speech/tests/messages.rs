//! The message files against the program's own texts, and against texts that nobody thought of.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;

use proptest::prelude::*;
use speech::Language;

/// Words of a text without marks, between blanks.
fn plain(text: &str) -> String {
    let letters = text.to_lowercase().replace(|letter: char| !letter.is_alphanumeric(), " ");
    format!(" {} ", letters.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Everything that the program may say: its sources, and the tables that pages show.
fn said(folder: &Path, all: &mut String) {
    let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !["speech", "tests", "messages", "reference", "target"].contains(&name.as_str()) {
            said(&path, all);
        } else if [".rs", ".toml", ".js"].iter().any(|ending| name.ends_with(ending)) {
            let text = fs::read_to_string(&path)
                .unwrap()
                .replace("\\\n", " ")
                .replace("\\u{202f}", " ")
                .replace("\\u{a0}", " ");
            all.push_str(&plain(&text));
        }
    }
}

/// What a library says, and no source of ours.
const OF_LIBRARIES: [&str; 1] = ["expected value at line {n} column {n}"];

#[test]
fn no_message_is_dead() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut all = String::new();
    said(&root.join("crates"), &mut all);
    said(&root.join("data"), &mut all);
    let mut dead = Vec::new();
    for (key, mark) in Language::German.catalogue().unwrap().marks() {
        // A sentence is put together from pieces: three words of its longest part in a row are enough, and of a short part
        // each word by itself.
        let words = plain(mark);
        let words: Vec<&str> = words.split_whitespace().collect();
        let is_said = |words: &[&str]| all.contains(&format!(" {} ", words.join(" ")));
        let found = words.windows(words.len().clamp(1, 3)).any(is_said)
            || words.len() <= 3 && words.iter().all(|word| is_said(&[*word]))
            || OF_LIBRARIES.contains(&key);
        if !words.is_empty() && !found {
            dead.push(key);
        }
    }
    assert!(dead.is_empty(), "nothing in the program says this: {dead:#?}");
}

#[test]
fn cautions_are_whole_in_every_language() {
    // Each number of a caution stands in its translation, and no caution stays English.
    let cautions = [
        (
            "Water above 60 °C scalds and above 100 °C flashes to steam when opened: cool down first.",
            &["60", "100", "abkühlen"][..],
        ),
        (
            "Die-casting: water that meets melt can explode; no release with an open leak question.",
            &["explodieren", "keine Freigabe"],
        ),
        (
            "Descaling medium: safety data sheet first, gloves and goggles, acid into water, ventilate (carbon dioxide and hydrogen form), never dead-end it, dispose of it by local rules.",
            &[
                "Sicherheitsdatenblatt",
                "Handschuhe",
                "Schutzbrille",
                "Säure ins Wasser",
                "lüften",
                "Wasserstoff",
                "entsorgen",
            ],
        ),
    ];
    for (english, words) in cautions {
        let german = Language::German.text(english).unwrap();
        for word in words {
            assert!(german.contains(word), "{word}: {german}");
        }
    }
}

#[test]
fn american_words_stand_in_messages_and_not_in_names() {
    let american = |text: &str| Language::American.text(text);
    assert_eq!(american("Moulds").as_deref(), Some("Molds"));
    assert_eq!(american("Edit mould Neighbour 3").as_deref(), Some("Edit mold Neighbour 3"));
    assert_eq!(american("0.8 mm (0.6 to 1.1)").as_deref(), Some("0.8\u{202f}mm (0.6\u{a0}to\u{a0}1.1)"));
    assert_eq!(Language::American.page("<p data-as-typed>mould</p>"), "<p data-as-typed>mould</p>");
}

#[test]
fn texts_are_put_together_from_messages() {
    let german = |text: &str| Language::German.text(text).unwrap_or_default();
    for (english, other) in [
        ("5 leak: A1, A2 and M3", "5 lecken: A1, A2 und M3"),
        ("under 0.03 mbar·l/s", "unter 0,03\u{202f}mbar·l/s"),
        (
            "flow not measured; not dried since it was last wet; blow out, dry and note it",
            "Durchfluss nicht gemessen; nicht getrocknet, seit er zuletzt nass war; ausblasen, trocknen und notieren",
        ),
        (
            "Tight, free, and 98 % of baseline of 2025-03-12 (94 to 103)",
            "Dicht, frei, und 98\u{202f}% vom Soll (94\u{a0}bis\u{a0}103; Soll: Referenz vom 2025-03-12)",
        ),
        ("Note: rinsed, flow 1.5", "Notiz: rinsed, flow 1.5"),
        ("Descaled: half an hour, with care", "Entkalkt: half an hour, with care"),
        ("3 Dec 2026, 08:00 UTC, T. Marsh", "3.\u{a0}Dez. 2026, 08:00 UTC, T. Marsh"),
    ] {
        assert_eq!(german(english), other, "{english}");
    }
}

proptest! {
    #[test]
    fn any_page_can_be_brought_into_any_language(text in ".{0,200}", inner in "[a-z <>&\"=/]{0,80}") {
        for (language, ..) in Language::ALL {
            let page = format!("<p title=\"{inner}\">{text}</p>{inner}");
            let brought = language.page(&page);
            prop_assert!(!brought.is_empty());
        }
    }

    #[test]
    fn no_text_becomes_a_tag(text in "[a-z <>&;:.,0-9]{0,60}") {
        let safe = text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
        for (language, ..) in Language::ALL {
            let page = language.page(&format!("<p>Note: {safe}</p>"));
            prop_assert!(!page.trim_start_matches("<p").replace("</p>", "").replace(" lang=\"en\"", "").contains('<'), "{}", page);
        }
    }
}
