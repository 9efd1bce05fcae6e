//! The palette of the sheet against the contrast that WCAG 2.2 asks for: 4.5 to 1 for text (success criterion
//! 1.4.3, AA), 3 to 1 for drawings that carry meaning (1.4.11). Source: W3C, Web Content Accessibility Guidelines
//! 2.2, with its definitions of contrast ratio and relative luminance.

use std::collections::BTreeMap;

use calc::numeric::math::powf;

const STYLE: &str = include_str!("../src/style.css");

type Palette = BTreeMap<String, [f64; 3]>;

/// Each `--name: #rrggbb;` of the block that begins after a marker.
fn palette_after(marker: &str) -> Palette {
    let block = STYLE.split_once(marker).expect("the marker").1;
    let block = block.split_once('}').expect("an end").0;
    let mut palette = Palette::new();
    for line in block.lines() {
        let Some((name, value)) = line.trim().strip_prefix("--").and_then(|rest| rest.split_once(": #"))
        else {
            continue;
        };
        let hex = u32::from_str_radix(value.trim_end_matches(';'), 16).expect("a colour");
        let channel = |shift: u32| f64::from((hex >> shift) & 0xff) / 255.0;
        palette.insert(name.into(), [channel(16), channel(8), channel(0)]);
    }
    palette
}

fn luminance(colour: [f64; 3]) -> f64 {
    let linear = |part: f64| if part <= 0.04045 { part / 12.92 } else { powf((part + 0.055) / 1.055, 2.4) };
    0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
}

fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

fn schemes() -> [(&'static str, Palette); 2] {
    [("light", palette_after(":root {")), ("dark", palette_after("prefers-color-scheme: dark) {\n  :root {"))]
}

#[test]
fn published_contrast_of_black_and_white_is_21() {
    assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
}

#[test]
fn both_schemes_name_the_same_colours() {
    let [(_, light), (_, dark)] = schemes();
    assert_eq!(light.keys().collect::<Vec<_>>(), dark.keys().collect::<Vec<_>>());
    assert_eq!(light.len(), 13);
}

#[test]
fn text_stands_out_from_its_ground() {
    for (scheme, palette) in schemes() {
        for ink in ["ink", "quiet", "accent", "care", "alarm"] {
            for ground in ["paper", "panel"] {
                let ratio = contrast(palette[ink], palette[ground]);
                assert!(ratio >= 4.5, "{scheme}: {ink} on {ground} has {ratio:.2}");
            }
        }
    }
}

#[test]
fn text_stands_out_on_white_paper() {
    let [(_, light), _] = schemes();
    for ink in ["ink", "quiet", "accent", "care", "alarm"] {
        let ratio = contrast(light[ink], [1.0; 3]);
        assert!(ratio >= 4.5, "{ink} on white has {ratio:.2}");
    }
}

#[test]
fn drawings_stand_out_from_their_ground() {
    let pairs = [
        ("mark", "paper"),
        ("accent", "paper"),
        ("alarm", "paper"),
        ("deposit", "paper"),
        ("ink", "steel"),
        ("ink", "deposit"),
        ("ink", "unsure"),
        ("ink", "band"),
        ("accent", "band"),
    ];
    for (scheme, palette) in schemes() {
        for (drawn, ground) in pairs {
            let ratio = contrast(palette[drawn], palette[ground]);
            assert!(ratio >= 3.0, "{scheme}: {drawn} on {ground} has {ratio:.2}");
        }
    }
}

#[test]
fn the_style_uses_no_colour_outside_the_palette() {
    let [(_, palette), _] = schemes();
    let rules = STYLE.split_once("* { box-sizing").expect("the rules").1;
    for used in rules.split("var(--").skip(1) {
        let name = used.split_once(')').expect("an end").0;
        assert!(palette.contains_key(name), "{name}");
    }
    let literal: Vec<_> =
        rules.match_indices('#').map(|(at, _)| rules[at..].chars().take(5).collect::<String>()).collect();
    assert_eq!(literal, ["#fff;"], "only the white of paper");
}
