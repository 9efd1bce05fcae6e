//! A finished page, walked through text by text.

use crate::catalogue::Catalogue;
use crate::talk::Talk;

/// Elements whose text is nobody's language.
const KEPT: [&str; 6] = ["script", "style", "textarea", "code", "pre", "samp"];
/// Attributes that people read or hear.
const READ: [&str; 5] = ["title", "aria-label", "placeholder", "alt", "data-label"];
/// Elements that hold nothing and are not closed.
const EMPTY: [&str; 6] = ["input", "img", "br", "hr", "meta", "link"];
/// Elements in which text cannot be wrapped.
const BARE: [&str; 5] = ["title", "option", "text", "tspan", "desc"];

/// The page in the language of the catalogue; what looks English and no message knows is put on the list.
pub(crate) fn page(html: &str, tag: &str, catalogue: &Catalogue, missing: &mut Vec<String>) -> String {
    let mut walk = Walk {
        out: String::with_capacity(html.len() + html.len() / 8),
        talk: Talk::new(catalogue),
        catalogue,
        kept: None,
        opened: None,
        missing,
    };
    let mut rest = html;
    while let Some(start) = rest.find('<') {
        let (text, tagged) = rest.split_at(start);
        walk.text(text, tagged);
        let end = tagged.find('>').map_or(tagged.len(), |end| end + 1);
        let (element, after) = tagged.split_at(end);
        walk.element(element, tag);
        rest = after;
    }
    walk.text(rest, "");
    let Walk { out, talk, missing, .. } = walk;
    missing.extend(talk.left);
    out
}

struct Walk<'a> {
    out: String,
    talk: Talk<'a>,
    catalogue: &'a Catalogue,
    /// Element whose inside is kept, and how deep inside it one of its own kind is.
    kept: Option<(String, usize)>,
    /// Name of the element that was opened just now, and where its tag ends in `out`.
    opened: Option<(String, usize)>,
    missing: &'a mut Vec<String>,
}

impl Walk<'_> {
    fn text(&mut self, text: &str, next: &str) {
        if self.kept.is_some() || text.trim().is_empty() {
            self.out.push_str(text);
            return;
        }
        let plain = decoded(text);
        if let Some(found) = self.talk.node(&plain) {
            self.out.push_str(&encoded(&found));
            return;
        }
        if !self.catalogue.is_english(&plain) {
            self.out.push_str(text);
            return;
        }
        self.missing.push(plain.trim().to_owned());
        match self.opened.take() {
            Some((_, end)) if next.starts_with("</") => {
                self.out.insert_str(end - 1, " lang=\"en\"");
                self.out.push_str(text);
            }
            Some((name, _)) if BARE.contains(&name.as_str()) => self.out.push_str(text),
            _ => {
                self.out.push_str("<span lang=\"en\">");
                self.out.push_str(text);
                self.out.push_str("</span>");
            }
        }
    }

    fn element(&mut self, element: &str, tag: &str) {
        let name = element.trim_start_matches(['<', '/']);
        let name = name.split([' ', '>', '\n', '/']).next().unwrap_or_default().to_owned();
        let closes = element.starts_with("</");
        let start = self.out.len();
        if closes || element.starts_with("<!") {
            self.out.push_str(element);
        } else if name == "html" {
            self.out.push_str(&element.replace("lang=\"en-GB\"", &format!("lang=\"{tag}\"")));
        } else {
            self.attributes(element);
        }
        self.opened = (!closes && self.out.len() > start).then(|| (name.clone(), self.out.len()));
        self.kept = match self.kept.take() {
            None if closes => None,
            None => {
                // `data-as-typed="numbers"` keeps numbers as they are; the words around them are ours.
                let typed =
                    element.contains(" data-as-typed") && !element.contains(" data-as-typed=\"numbers\"");
                let foreign =
                    element.contains(" lang=") && name != "html" || element.contains(" translate=\"no\"");
                let is_kept =
                    !EMPTY.contains(&name.as_str()) && (KEPT.contains(&name.as_str()) || typed || foreign);
                is_kept.then_some((name, 0))
            }
            Some((own, depth)) if own == name && closes => depth.checked_sub(1).map(|depth| (own, depth)),
            Some((own, depth)) if own == name => Some((own, depth + 1)),
            kept => kept,
        };
    }

    /// A tag with the attributes that people read in their language.
    fn attributes(&mut self, element: &str) {
        let mut rest = element;
        while let Some((before, tail)) = rest.split_once("=\"") {
            let Some((value, after)) = tail.split_once('"') else { break };
            let attribute = before.rsplit(' ').next().unwrap_or_default();
            self.out.push_str(before);
            self.out.push_str("=\"");
            if (READ.contains(&attribute) || attribute.starts_with("data-say-")) && !value.trim().is_empty() {
                let plain = decoded(value);
                let found = self.talk.node(&plain);
                if found.is_none() && self.catalogue.is_english(&plain) {
                    self.missing.push(plain.clone());
                }
                self.out.push_str(&found.map_or_else(|| value.to_owned(), |found| encoded(&found)));
            } else {
                self.out.push_str(value);
            }
            self.out.push('"');
            rest = after;
        }
        self.out.push_str(rest);
    }
}

/// The signs that pages write in another way.
const SIGNS: [(&str, char); 5] =
    [("&lt;", '<'), ("&gt;", '>'), ("&quot;", '"'), ("&#39;", '\''), ("&amp;", '&')];

fn decoded(text: &str) -> String {
    if !text.contains('&') {
        return text.to_owned();
    }
    SIGNS.iter().fold(text.to_owned(), |text, (written, sign)| text.replace(written, &sign.to_string()))
}

fn encoded(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use crate::Language;

    #[test]
    fn words_are_put_into_the_language_and_what_a_person_wrote_is_not() {
        let page = "<html lang=\"en-GB\"><title>Today · Borewise</title><p title=\"Flow\">Flow</p>\
                    <p data-as-typed>Flow</p><input value=\"Flow\" placeholder=\"Flow\"><textarea>Flow</textarea>";
        let german = Language::German.page(page);
        assert!(german.starts_with("<html lang=\"de\"><title>Heute · Borewise</title>"), "{german}");
        assert!(
            german.contains("<p title=\"Durchfluss\">Durchfluss</p><p data-as-typed>Flow</p>"),
            "{german}"
        );
        assert!(
            german.contains("value=\"Flow\" placeholder=\"Durchfluss\"><textarea>Flow</textarea>"),
            "{german}"
        );
        assert_eq!(Language::British.page(page), page);
    }

    #[test]
    fn what_no_message_knows_is_marked() {
        let page =
            "<p>nobody wrote the flow of that mould</p><p><b>1</b> nobody wrote the flow of that mould</p>";
        let german = Language::German.page(page);
        assert!(german.contains("<p lang=\"en\">nobody wrote"), "{german}");
        assert!(german.contains("</b><span lang=\"en\"> nobody wrote"), "{german}");
        assert_eq!(Language::German.missing(page).len(), 2);
    }

    #[test]
    fn signs_of_the_page_stay_signs() {
        let german = Language::German.page("<p>Circuit A&lt;b&gt; of M&amp;1</p>");
        assert!(
            german.contains("A&lt;b&gt;") && german.contains("M&amp;1") && !german.contains("<b>"),
            "{german}"
        );
    }
}
