//! Words that must not stand in a crate.

use super::Finding;
use super::source::File;

/// A rule: in these crates, none of these words in code outside tests.
struct Rule {
    name: &'static str,
    crates: &'static [&'static str],
    words: &'static [&'static str],
}

const RULES: &[Rule] = &[
    Rule {
        name: "1 calc does no I/O",
        crates: &["calc"],
        words: &[
            "std::fs",
            "std::env",
            "std::net",
            "std::io",
            "std::process",
            "std::time",
            "SystemTime",
            "Instant::now",
            "println!",
            "eprintln!",
            "print!(",
            "dbg!",
            "log::",
            "tracing::",
            "serde",
            "rand::",
            "thread_rng",
        ],
    },
    Rule {
        name: "1 calc never panics",
        crates: &["calc"],
        words: &["panic!(", ".expect(", ".unwrap()", "unreachable!("],
    },
    Rule {
        name: "2 calc knows no mould",
        crates: &["calc"],
        words: &["Mould", "mould_", "Visit", "Technician", "Certificate"],
    },
    Rule {
        name: "2 bench knows no SQL, HTTP, HTML or PDF",
        crates: &["bench"],
        words: &[
            "SELECT ", "INSERT ", "http", "<html", "<td", "<svg", "pdf", "std::fs", "std::net", "println!",
        ],
    },
    Rule {
        name: "3 same record, same bytes",
        crates: &["calc", "bench", "exchange", "paper", "report", "speech", "store"],
        words: &["HashMap", "HashSet", "SystemTime::now", "Instant::now", "Timestamp::now", "Zoned::now"],
    },
    Rule {
        name: "4 domain shapes are not file shapes",
        crates: &["calc", "bench"],
        words: &["Serialize", "Deserialize"],
    },
    Rule {
        name: "5 reports show, they do not compute",
        crates: &["paper", "report"],
        words: &[
            "calc::hydraulics",
            "calc::air",
            "calc::infer",
            "calc::readings",
            "calc::water",
            "calc::calculators",
        ],
    },
    Rule {
        name: "5 papers need no disk and no network",
        crates: &["paper"],
        words: &["std::fs", "std::env", "std::net", "judge::assess"],
    },
    Rule {
        name: "9 the store keeps and does not compute",
        crates: &["store"],
        words: &[
            "hydraulics::circuit",
            "hydraulics::network",
            "calc::air",
            "calc::infer",
            "calc::readings",
            "calc::water",
            "calc::calculators",
            "bench::judge",
        ],
    },
    Rule {
        name: "5 pages show, they do not compute",
        crates: &["web"],
        words: &[
            "calc::hydraulics",
            "calc::air",
            "calc::infer",
            "calc::readings",
            "calc::water",
            "calc::numeric",
            "judge::assess",
        ],
    },
    Rule {
        name: LISTENS,
        crates: &["calc", "bench", "exchange", "link", "paper", "report", "store", "borewise"],
        words: &["TcpListener", "UdpSocket", "0.0.0.0"],
    },
    Rule { name: LISTENS, crates: &["web"], words: &["UdpSocket", "UNSPECIFIED"] },
];

const LISTENS: &str = "8 nothing listens beyond loopback without passwords";
/// What may stand in one file of `web` alone: listening in `serve`, through `Loopback` or `Beyond`; the making of a `Beyond`,
/// which asks the record for passwords, in `access`.
const ONLY_IN: &[(&str, &str)] =
    &[("crates/web/src/serve.rs", "TcpListener"), ("crates/web/src/access.rs", "Beyond {")];

/// Endings that say the unit of a number, or that it has none.
const UNITS: &[&str] = &[
    "_mm",
    "_um",
    "_m",
    "_ml",
    "_l",
    "_bar",
    "_bar_g",
    "_bar_abs",
    "_mbar",
    "_pa",
    "_l_min",
    "_m3_h",
    "_s",
    "_min",
    "_k",
    "_deg_c",
    "_percent",
    "_mbar_l_s",
    "_dm3_s_bar",
    "_relative",
    "_ln",
    "_g",
    "_j",
    "_kg_m3",
    "_pa_s",
    "_w_m_k",
    "_j_kg_k",
    "_m2_s",
    "_pa_s_m3",
    "_share",
    "_ml_h",
    "_per_min",
    "_hz",
    "_kg",
    "_ohm",
    "_bits",
    "_min",
    "_probability",
];
/// Names of numbers that have no unit, or whose unit stands in a title beside them.
const PURE: &[&str] = &["value", "probability", "coverage", "standard", "low", "high"];

/// Every place that breaks a rule.
pub fn check(files: &[File]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in files {
        let folder = file.path.split('/').nth(1).unwrap_or_default();
        let source = file.path.contains("/src/");
        for rule in RULES.iter().filter(|rule| source && rule.crates.contains(&folder)) {
            for line in file.program() {
                if let Some(word) = rule.words.iter().find(|word| line.code.contains(**word)) {
                    findings.push(Finding {
                        rule: rule.name,
                        place: file.place(line),
                        text: (*word).to_owned(),
                    });
                }
            }
        }
        if folder == "web" && source {
            findings.extend(elsewhere(file));
        }
        if folder == "bench" && source {
            findings.extend(units(file));
        }
    }
    findings
}

/// What this file has that belongs in another one.
fn elsewhere(file: &File) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (_, word) in ONLY_IN.iter().filter(|(only, _)| file.path != *only) {
        for line in file.program().filter(|line| line.code.contains(word)) {
            findings.push(Finding { rule: LISTENS, place: file.place(line), text: (*word).to_owned() });
        }
    }
    findings
}

/// Public numbers of `bench` whose name does not end in a unit.
fn units(file: &File) -> Vec<Finding> {
    let mut findings = Vec::new();
    for line in file.program() {
        let code = line.code.trim();
        let Some((name, kind)) = code.strip_prefix("pub ").and_then(|rest| rest.split_once(": ")) else {
            continue;
        };
        let number =
            ["f64,", "Option<f64>,", "Estimate,", "Option<Estimate>,", "Uncertain,", "Option<Uncertain>,"];
        let named = UNITS.iter().any(|unit| name.ends_with(unit)) || PURE.contains(&name);
        if number.contains(&kind) && !named {
            findings.push(Finding {
                rule: "6 numbers carry their unit",
                place: file.place(line),
                text: name.to_owned(),
            });
        }
    }
    findings
}
