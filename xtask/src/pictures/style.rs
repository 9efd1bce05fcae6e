//! The sheet's style, cut down to what one drawing needs, with its colours written out.

use std::collections::{BTreeMap, BTreeSet};

/// Properties that place a drawing on the sheet and mean nothing inside one of its own.
const PLACING: &[&str] = &["display", "flex", "width", "height", "max-width", "margin-top"];

/// The rules of the style sheet whose classes all stand in the drawing; colours are those of the light scheme.
pub fn for_drawing(style: &str, drawing: &str) -> String {
    let classes = classes(drawing);
    let rules = rules(style);
    let colours: BTreeMap<&str, &str> = rules
        .iter()
        .filter(|(selector, _)| *selector == ":root")
        .flat_map(|(_, body)| declarations(body))
        .filter(|(name, _)| name.starts_with("--"))
        .collect();
    let mut text = String::new();
    for (selectors, body) in &rules {
        let selectors: Vec<&str> =
            selectors.split(',').map(str::trim).filter(|selector| applies(selector, &classes)).collect();
        let kept: Vec<String> = declarations(body)
            .into_iter()
            .filter(|(name, _)| !PLACING.contains(name) && !name.starts_with("--"))
            .map(|(name, value)| format!("{name}:{}", written_out(value, &colours)))
            .collect();
        if !selectors.is_empty() && !kept.is_empty() {
            text.push_str(&format!("{}{{{}}}", selectors.join(","), kept.join(";")));
        }
    }
    text
}

/// A colour of the light scheme.
pub fn colour(style: &str, name: &str) -> String {
    let found = rules(style)
        .into_iter()
        .filter(|(selector, _)| *selector == ":root")
        .flat_map(|(_, body)| declarations(body))
        .find(|(key, _)| *key == name);
    found.map_or_else(String::new, |(_, value)| value.to_owned())
}

/// Selector and body of every rule outside of blocks for other media.
fn rules(style: &str) -> Vec<(&str, &str)> {
    let mut found = Vec::new();
    let mut rest = style;
    while let Some((selector, after)) = rest.split_once('{') {
        // A comment before the selector belongs to no rule.
        let selector = selector.rsplit("*/").next().unwrap_or_default().trim();
        if selector.starts_with('@') {
            rest = after_block(after);
        } else if let Some((body, after)) = after.split_once('}') {
            found.push((selector, body));
            rest = after;
        } else {
            break;
        }
    }
    found
}

/// What follows the block whose opening brace was just passed.
fn after_block(text: &str) -> &str {
    let mut depth = 1_i32;
    let end = text.find(|letter: char| {
        match letter {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        depth == 0
    });
    end.and_then(|end| text.get(end + 1..)).unwrap_or_default()
}

fn declarations(body: &str) -> Vec<(&str, &str)> {
    body.split(';')
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.trim(), value.trim()))
        .collect()
}

/// Whether a selector is made of classes of the drawing, apart from the tags that it names.
fn applies(selector: &str, classes: &BTreeSet<&str>) -> bool {
    let mut named = false;
    for word in selector.split_whitespace() {
        if word.contains([':', '[', '>', '+', '*']) {
            return false;
        }
        for class in word.split('.').skip(1) {
            named = true;
            if !classes.contains(class) {
                return false;
            }
        }
    }
    named
}

fn classes(drawing: &str) -> BTreeSet<&str> {
    drawing
        .split("class=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .flat_map(|classes| classes.split(' '))
        .collect()
}

fn written_out(value: &str, colours: &BTreeMap<&str, &str>) -> String {
    let mut text = value.to_owned();
    for (name, colour) in colours {
        text = text.replace(&format!("var({name})"), colour);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: &str = "/* Colours */ :root { --ink: #111; --paper: #fff; } @media print { .axis { stroke: red; } }\n\
                         .plot { width: 100%; } .plot text { font-size: 13px; fill: var(--ink); } .axis, .grid { stroke: var(--ink); }\n\
                         .other { fill: var(--paper); } a:focus { color: red; }";

    #[test]
    fn only_what_the_drawing_uses_is_kept() {
        let text = for_drawing(STYLE, "<svg class=\"plot\"><line class=\"axis\"/></svg>");
        assert_eq!(text, ".plot text{font-size:13px;fill:#111}.axis{stroke:#111}");
        assert_eq!(colour(STYLE, "--paper"), "#fff");
    }
}
