//! Who may depend on whom, and under which licences.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use super::Finding;

/// What each of our crates may depend on (not counting tests).
const ALLOWED: &[(&str, &[&str])] = &[
    (
        "calc",
        &["libm", "levenberg-marquardt", "nalgebra", "nalgebra-sparse", "seuif97", "statrs", "thiserror"],
    ),
    ("bench", &["calc", "jiff", "thiserror"]),
    (
        "exchange",
        &[
            "bench",
            "calamine",
            "calc",
            "csv",
            "csv-core",
            "encoding_rs",
            "jiff",
            "memchr",
            "serde",
            "serde_json",
            "sha2",
            "thiserror",
            "toml",
            "toml_edit",
            "toml_parser",
            "toml_datetime",
        ],
    ),
    (
        "paper",
        &[
            "bench",
            "calc",
            "jiff",
            "qrcode",
            "report",
            "serde_json",
            "thiserror",
            "typst",
            "typst-assets",
            "typst-layout",
            "typst-pdf",
        ],
    ),
    ("report", &["bench", "calc", "jiff", "maud", "unicode-width"]),
    ("store", &["bench", "calc", "flate2", "jiff", "rusqlite", "serde", "serde_json", "sha2", "thiserror"]),
    ("speech", &["toml"]),
    (
        "web",
        &[
            "argon2",
            "axum",
            "bench",
            "calc",
            "exchange",
            "futures-util",
            "getrandom",
            "hmac",
            "jiff",
            "maud",
            "report",
            "schemars",
            "serde",
            "serde_json",
            "sha2",
            "speech",
            "store",
            "thiserror",
            "tokio",
        ],
    ),
    ("link", &["bench", "calc", "rand", "rand_chacha", "rand_distr", "thiserror", "jiff"]),
];

/// Licences that the product may carry (SPDX words).
const LICENCES: &[&str] = &[
    "MIT",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "Unlicense",
    "0BSD",
    "BSL-1.0",
    "CC0-1.0",
    "MIT-0",
];

/// Packages that must not creep in, and why.
const BANNED: &[(&str, &str)] = &[
    ("aws-lc-sys", "a second TLS provider with a long C build"),
    ("openssl-sys", "needs a system library"),
    ("option-ext", "licence outside the list"),
];

/// Every dependency that breaks a rule.
pub fn check(root: &Path) -> Result<Vec<Finding>, String> {
    let metadata = metadata(root)?;
    let packages = metadata["packages"].as_array().ok_or("cargo metadata lists no packages")?;
    let mut findings = Vec::new();
    for package in packages {
        let name = package["name"].as_str().unwrap_or_default();
        if let Some((_, allowed)) =
            ALLOWED.iter().find(|(ours, _)| *ours == name && package["source"].is_null())
        {
            findings.extend(direction(name, allowed, package));
        }
        if let Some((_, why)) = BANNED.iter().find(|(banned, _)| *banned == name) {
            findings.push(finding("house: banned package", name, why));
        }
        let licence = package["license"].as_str().unwrap_or("none named");
        if !allowed_licence(licence) {
            findings.push(finding("house: licence", name, licence));
        }
        let source = package["source"].as_str().unwrap_or("registry+");
        if !source.starts_with("registry+") {
            findings.push(finding("house: source of packages", name, source));
        }
    }
    Ok(findings)
}

fn finding(rule: &'static str, name: &str, text: &str) -> Finding {
    Finding { rule, place: format!("package {name}"), text: text.to_owned() }
}

fn metadata(root: &Path) -> Result<Value, String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--locked"])
        .current_dir(root)
        .output()
        .map_err(|error| format!("cannot run cargo metadata: {error}"))?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    serde_json::from_slice(&output.stdout).map_err(|error| format!("cargo metadata: {error}"))
}

fn direction(name: &str, allowed: &[&str], package: &Value) -> Vec<Finding> {
    let empty = Vec::new();
    let dependencies = package["dependencies"].as_array().unwrap_or(&empty);
    dependencies
        .iter()
        .filter(|dependency| dependency["kind"].is_null())
        .filter_map(|dependency| dependency["name"].as_str())
        .filter(|dependency| !allowed.contains(dependency))
        .map(|dependency| finding("direction of dependencies", name, dependency))
        .collect()
}

/// Whether some choice of an SPDX expression uses only listed licences. `AND` needs all, `OR` needs one.
fn allowed_licence(expression: &str) -> bool {
    let plain = expression.replace('/', " OR ").replace(['(', ')'], " ");
    let known: BTreeSet<&str> = LICENCES.iter().copied().collect();
    plain.split(" AND ").all(|part| {
        part.split(" OR ")
            .any(|word| known.contains(word.trim().trim_end_matches(" WITH LLVM-exception").trim()))
    })
}

#[cfg(test)]
mod tests {
    use super::allowed_licence;

    #[test]
    fn licences_are_read_as_choices() {
        assert!(allowed_licence("MIT OR Apache-2.0"));
        assert!(allowed_licence("MIT/Apache-2.0"));
        assert!(allowed_licence("(MIT OR Apache-2.0) AND Unicode-3.0"));
        assert!(!allowed_licence("MPL-2.0"));
        assert!(!allowed_licence("MIT AND GPL-3.0"));
    }
}
