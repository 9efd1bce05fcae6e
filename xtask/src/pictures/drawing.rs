//! Drawings that stand alone: the sheet's own elements on its paper, with style and key.

use super::sheet::{Chart, Cut};
use super::style;

/// Edge around a drawing.
const EDGE: f64 = 14.0;
/// Height of a line of the key, and where its text begins behind the swatch.
const LINE: f64 = 22.0;
const SWATCH: (f64, f64) = (30.0, 14.0);
/// Room for a bore eye with its words.
const EYE: f64 = 96.0;
const EYE_ROOM: f64 = 172.0;
const EYES_IN_A_ROW: usize = 4;
const EYE_LETTERS: usize = 24;

/// One drawing as it is.
pub fn alone(cut: &Cut, sheet_style: &str) -> String {
    let [_, _, width, height] = cut.view;
    let body = placed(cut, EDGE, EDGE, width, height);
    document((width + 2.0 * EDGE, height + 2.0 * EDGE), &cut.title, &cut.description, &body, sheet_style)
}

/// A chart with its key below.
pub fn chart(title: &str, chart: &Chart, sheet_style: &str) -> String {
    let [_, _, width, height] = chart.plot.view;
    let mut body = placed(&chart.plot, EDGE, EDGE, width, height);
    let mut down = EDGE + height + 10.0;
    for (swatch, name) in &chart.key {
        body.push_str(&placed(swatch, EDGE, down + 3.0, SWATCH.0, SWATCH.1));
        body.push_str(&text(EDGE + SWATCH.0 + 9.0, down + 14.5, "start", name));
        down += LINE;
    }
    document((width + 2.0 * EDGE, down + EDGE / 2.0), title, &chart.plot.description, &body, sheet_style)
}

/// Bore eyes beside and below each other, what each shows below it.
pub fn eyes(eyes: &[Cut], sheet_style: &str) -> String {
    let mut body = String::new();
    let mut top = EDGE;
    let mut widest = 0.0_f64;
    for row in eyes.chunks(EYES_IN_A_ROW) {
        let mut left = EDGE;
        let mut lines = 0;
        for eye in row {
            body.push_str(&placed(eye, left + (EYE_ROOM - EYE) / 2.0, top, EYE, EYE));
            let words = wrapped(&eye.title, EYE_LETTERS);
            lines = lines.max(words.len());
            for (place, line) in words.iter().enumerate() {
                body.push_str(&text(
                    left + EYE_ROOM / 2.0,
                    top + EYE + 20.0 + lines_high(place),
                    "middle",
                    line,
                ));
            }
            left += EYE_ROOM;
        }
        widest = widest.max(left);
        top += EYE + 24.0 + lines_high(lines);
    }
    let said = eyes.iter().map(|eye| eye.title.as_str()).collect::<Vec<_>>().join(". ");
    document((widest + EDGE, top), "Bore eyes", &said, &body, sheet_style)
}

/// Height of so many lines of words.
fn lines_high(lines: usize) -> f64 {
    17.0 * f64::from(u32::try_from(lines).unwrap_or_default())
}

fn document(size: (f64, f64), title: &str, description: &str, body: &str, sheet_style: &str) -> String {
    let (width, height) = (size.0.ceil(), size.1.ceil());
    let own = style::for_drawing(sheet_style, body);
    let (paper, ink) = (style::colour(sheet_style, "--paper"), style::colour(sheet_style, "--ink"));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
         role=\"img\">\n<title>{}</title>\n<desc>{}</desc>\n<style>text{{font-family:system-ui,\"Segoe UI\",Roboto,\"Noto \
         Sans\",\"Liberation Sans\",Arial,sans-serif;font-size:13px;fill:{ink}}}{own}</style>\n<rect width=\"{width}\" \
         height=\"{height}\" fill=\"{paper}\"/>\n{body}\n</svg>\n",
        escaped(title),
        escaped(description)
    )
}

/// An element of the sheet at a place and size of the drawing.
fn placed(cut: &Cut, left: f64, top: f64, width: f64, height: f64) -> String {
    let open = cut.element.find('>').unwrap_or_default();
    let (head, rest) = cut.element.split_at(open);
    // The sheet says a size for some drawings; here the place says it.
    let head: Vec<&str> = head.split(' ').filter(|word| !word.starts_with("width=")).collect();
    format!("{} x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\"{rest}\n", head.join(" "))
}

fn text(x: f64, y: f64, anchor: &str, words: &str) -> String {
    format!("<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{}</text>\n", escaped(words))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Lines of at most so many letters, broken between words.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_kept_whole() {
        assert_eq!(wrapped("Bore of M2: even deposit", 12), ["Bore of M2:", "even deposit"]);
        assert_eq!(wrapped("unbreakablelongword", 5), ["unbreakablelongword"]);
    }
}
