//! A visit sheet of the invented plant, made as `borewise demo` makes it, and its drawings.

use std::collections::BTreeMap;
use std::path::Path;

use exchange::intake::Intake;
use exchange::source::Folder;
use exchange::tables::read_tables;
use exchange::write::{Beside, mould_text, rig_text, visit_files};
use link::Plan;
use roxmltree::{Document, Node, ParsingOptions};

/// Plays a plan of the demo, judges its files and makes the sheet.
pub fn made(root: &Path, plan_name: &str) -> Result<String, String> {
    let plan = plan(root, plan_name)?;
    let played = link::simulate(&plan, plan.seed).map_err(|error| error.to_string())?;
    let beside = Beside { mould: "mould.toml", rig: Some("rig.toml") };
    let visit_name = format!("{}.visit.toml", played.visit.id);
    let mut files: BTreeMap<String, Vec<u8>> = visit_files(&played.visit, beside).into_iter().collect();
    files.insert(beside.mould.to_owned(), mould_text(&played.mould).into_bytes());
    files.insert("rig.toml".to_owned(), rig_text(&played.visit.rig).into_bytes());
    let loaded = exchange::load_visit_from(&files, &visit_name).map_err(|faults| faults.to_string())?;
    let data = Folder::new(root.join("data"));
    let tables = read_tables(&data, "limits/default.toml", "materials/materials.toml")
        .map_err(|faults| faults.to_string())?;
    let findings = bench::judge::assess(&loaded.mould, &loaded.visit, &tables);
    let footer = report::Footer { program_version: "borewise", digest: &loaded.digest, printed_at: None };
    Ok(report::visit_sheet(&findings, &footer))
}

fn plan(root: &Path, name: &str) -> Result<Plan, String> {
    let folder = Folder::new(root.join("data/demo/plans"));
    let mut intake = Intake::new(&folder);
    let sheet = intake.sheet(name, link::plan_form());
    intake.finish().map_err(|faults| faults.to_string())?;
    let filled = sheet.and_then(|sheet| sheet.filled).ok_or_else(|| format!("{name}: no plan"))?;
    Plan::from_value(&filled)
        .map_err(|faults| faults.iter().map(|fault| fault.problem.clone()).collect::<Vec<_>>().join("; "))
}

/// A drawing as it stands in the sheet.
pub struct Cut {
    /// The whole element.
    pub element: String,
    /// Its viewBox: left, top, width, height.
    pub view: [f64; 4],
    /// What it says to those who do not see it: title and description.
    pub title: String,
    /// Description.
    pub description: String,
}

/// A chart with its key: a swatch and a name for each layer.
pub struct Chart {
    /// The plot.
    pub plot: Cut,
    /// The key.
    pub key: Vec<(Cut, String)>,
}

/// A visit sheet that has been read.
pub struct Sheet<'a> {
    page: &'a str,
    read: Document<'a>,
}

impl<'a> Sheet<'a> {
    /// Reads the page as XML.
    pub fn read(page: &'a str) -> Result<Self, String> {
        let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
        let read = Document::parse_with_options(page, options).map_err(|error| error.to_string())?;
        Ok(Self { page, read })
    }

    /// The page's style sheet.
    pub fn style(&self) -> &str {
        self.read
            .descendants()
            .find(|node| node.has_tag_name("style"))
            .and_then(|node| node.text())
            .unwrap_or_default()
    }

    /// The section of a circuit.
    fn circuit(&self, id: &str) -> Result<Node<'_, '_>, String> {
        self.read
            .descendants()
            .filter(|node| node.has_tag_name("article"))
            .find(|article| {
                let heading = article.children().find(|child| child.has_tag_name("h3"));
                heading.and_then(|heading| heading.text()).is_some_and(|text| text.trim() == id)
            })
            .ok_or_else(|| format!("the sheet has no circuit {id}"))
    }

    /// The chart of this title in a circuit's section.
    pub fn chart(&self, circuit: &str, title: &str) -> Result<Chart, String> {
        let missing = || format!("circuit {circuit} has no chart '{title}'");
        let section = self.circuit(circuit)?;
        let mut charts = section.descendants().filter(|node| has_class(node, "chart"));
        let chart = charts
            .find(|chart| drawing_in(*chart).is_some_and(|svg| text_of(svg, "title") == title))
            .ok_or_else(missing)?;
        let plot = drawing_in(chart).ok_or_else(missing)?;
        let key = chart
            .descendants()
            .filter(|node| node.has_tag_name("li"))
            .filter_map(|item| {
                let name = item.children().find(|child| child.has_tag_name("span"))?.text()?.to_owned();
                Some((self.cut(drawing_in(item)?).ok()?, name))
            })
            .collect();
        Ok(Chart { plot: self.cut(plot)?, key })
    }

    /// The map of leaks.
    pub fn leak_map(&self) -> Result<Cut, String> {
        let map = self.read.descendants().find(|node| node.has_tag_name("svg") && has_class(node, "map"));
        self.cut(map.ok_or("the sheet has no map of leaks")?)
    }

    /// The bore eye in a circuit's section.
    pub fn bore_eye(&self, circuit: &str) -> Result<Cut, String> {
        let eye = self.circuit(circuit)?.descendants().find(|node| has_class(node, "eye"));
        self.cut(eye.ok_or_else(|| format!("circuit {circuit} has no bore eye"))?)
    }

    fn cut(&self, svg: Node<'_, '_>) -> Result<Cut, String> {
        let view: Vec<f64> = svg
            .attribute("viewBox")
            .map(|text| text.split(' ').filter_map(|number| number.parse().ok()).collect())
            .unwrap_or_default();
        let view = view.try_into().map_err(|_| "a drawing without a viewBox".to_owned())?;
        let element = self.page.get(svg.range()).unwrap_or_default().to_owned();
        Ok(Cut { element, view, title: text_of(svg, "title"), description: text_of(svg, "desc") })
    }
}

fn drawing_in<'a, 'b>(node: Node<'a, 'b>) -> Option<Node<'a, 'b>> {
    node.descendants().find(|inner| inner.has_tag_name("svg"))
}

fn has_class(node: &Node<'_, '_>, class: &str) -> bool {
    node.attribute("class").is_some_and(|classes| classes.split(' ').any(|word| word == class))
}

fn text_of(node: Node<'_, '_>, tag: &str) -> String {
    let inner = node.children().find(|child| child.has_tag_name(tag));
    inner.and_then(|child| child.text()).unwrap_or_default().to_owned()
}
