//! `borewise check`: runs the outside checks that the binary carries and shows how far off it is.

use std::collections::{BTreeMap, BTreeSet};

use calc::form::Fault;
use exchange::reference::{Case, CheckKind, Outcome, load_cases, report, run_case};
use include_dir::{Dir, include_dir};

use crate::output::{Failure, Verdict, print};

static REFERENCE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../data/reference");

/// Deviations that are shown even though they hold.
const SHOWN: usize = 10;

/// Runs all checks, or those of one topic.
pub fn run(topic: Option<&str>, as_json: bool) -> Result<Verdict, Failure> {
    let outcomes: Vec<Outcome> = cases(topic)?.iter().map(run_case).collect();
    if as_json {
        print(&format!("{:#}", report(&outcomes)))?;
    } else {
        print(&table(&outcomes))?;
    }
    Ok(if outcomes.iter().all(|outcome| outcome.passed) { Verdict::Done } else { Verdict::No })
}

fn cases(topic: Option<&str>) -> Result<Vec<Case>, Failure> {
    let mut source = BTreeMap::new();
    collect(&REFERENCE, &mut source);
    let names: Vec<String> = source.keys().filter(|name| name.ends_with(".toml")).cloned().collect();
    let mut cases = load_cases(&source, &names).map_err(|faults| {
        Failure::could(format!("the reference cases inside this program are broken:\n{faults}"), "")
    })?;
    let Some(topic) = topic else { return Ok(cases) };
    let topics: BTreeSet<&str> = cases.iter().map(|case| case.topic.as_str()).collect();
    if !topics.contains(topic) {
        let hint = format!("one of: {}", topics.into_iter().collect::<Vec<_>>().join(", "));
        let problem = format!("no check has the topic {topic}");
        return Err(Failure::input(&Fault::new("topic", problem, hint).with_value(topic)));
    }
    cases.retain(|case| case.topic == topic);
    Ok(cases)
}

fn collect(folder: &Dir<'_>, source: &mut BTreeMap<String, Vec<u8>>) {
    for file in folder.files() {
        // Names inside the binary use `/` on every platform.
        source.insert(file.path().to_string_lossy().replace('\\', "/"), file.contents().to_vec());
    }
    for inner in folder.dirs() {
        collect(inner, source);
    }
}

fn table(outcomes: &[Outcome]) -> String {
    let mut order: Vec<&Outcome> = outcomes.iter().collect();
    order.sort_by(|a, b| b.worst.total_cmp(&a.worst));
    let failed = order.iter().filter(|outcome| !outcome.passed).count();
    let mut lines = vec!["worst deviations, in shares of the tolerance (above 1 fails):".to_owned()];
    for outcome in order.iter().take(SHOWN.max(failed)) {
        lines.push(format!(
            "{:>6}  {}  {}: {} [{}, {}]",
            if outcome.worst.is_finite() { format!("{:.2}", outcome.worst) } else { "-".to_owned() },
            if outcome.passed { "holds" } else { "FAILS" },
            outcome.topic,
            outcome.title,
            outcome.kind.word(),
            outcome.source
        ));
        let points = outcome.deviations.iter().filter(|deviation| deviation.share > 1.0).take(3);
        lines.extend(points.map(|point| {
            format!(
                "        {}: expected {}, found {}",
                point.what,
                shown(&point.expected),
                shown(&point.found)
            )
        }));
        lines.extend(outcome.problems.iter().take(3).map(|problem| format!("        {problem}")));
    }
    lines.push(String::new());
    lines.extend(by_topic(outcomes));
    let points: usize = outcomes.iter().map(|outcome| outcome.points).sum();
    let sources: BTreeSet<&str> = outcomes.iter().map(|outcome| outcome.source.as_str()).collect();
    lines.push(format!(
        "{} checks over {points} values from {} sources: {} passed, {failed} failed",
        outcomes.len(),
        sources.len(),
        outcomes.len() - failed
    ));
    lines.join("\n")
}

fn shown(value: &calc::form::Value) -> String {
    exchange::json::to_json(value).to_string()
}

fn by_topic(outcomes: &[Outcome]) -> Vec<String> {
    let kinds = [
        CheckKind::Published,
        CheckKind::ReferenceLibrary,
        CheckKind::Trade,
        CheckKind::Identity,
        CheckKind::Pinned,
    ];
    let mut topics: BTreeMap<&str, Vec<&Outcome>> = BTreeMap::new();
    for outcome in outcomes {
        topics.entry(&outcome.topic).or_default().push(outcome);
    }
    topics
        .into_iter()
        .map(|(topic, group)| {
            let counts = kinds.iter().filter_map(|kind| {
                let count = group.iter().filter(|outcome| outcome.kind == *kind).count();
                (count > 0).then(|| format!("{count} {}", kind.word()))
            });
            format!("{topic:<14} {:>4}  {}", group.len(), counts.collect::<Vec<_>>().join(", "))
        })
        .collect()
}
