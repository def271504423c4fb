//! Licences, sources and duplicates of everything that is built in, from what cargo itself says offline.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Licences under which the program may be given away as it is.
const ALLOWED: [&str; 12] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Crates under another licence, and why that is no harm.
const EXCEPTIONS: [(&str, &str); 2] = [
    // Permissive (the Independent JPEG Group asks for its name where code is passed on); benches alone
    // use it, nothing of it is in the program.
    ("jpeg-encoder", "(MIT OR Apache-2.0) AND IJG"),
    // Its own files stay under MPL-2.0, unchanged; nothing else is touched by it (MPL-2.0, section 3.3).
    ("option-ext", "MPL-2.0"),
];

/// Crates that stand in the tree in more than one version, because their users ask for different ones.
const TWICE: [&str; 10] = [
    "glam",
    "miniz_oxide",
    "quick-error",
    "syn",
    "windows-core",
    "windows-implement",
    "windows-interface",
    "windows-link",
    "windows-result",
    "windows-strings",
];

/// The packages of this machine's build, tests left out or not.
fn packages() -> Vec<Value> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let output = Command::new(cargo)
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--filter-platform", host])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let mut all: Value = serde_json::from_slice(&output.stdout).unwrap();
    let used: BTreeSet<String> = all["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|node| node["id"].as_str().unwrap().to_owned())
        .collect();
    let Value::Array(packages) = all["packages"].take() else { panic!("no packages") };
    packages.into_iter().filter(|package| used.contains(package["id"].as_str().unwrap())).collect()
}

/// Whether an SPDX expression can be met by allowed licences alone. `/` is the old way to write OR.
fn is_allowed(expression: &str) -> bool {
    let expression = expression.replace(['(', ')'], " ").replace('/', " OR ");
    let meets = |part: &str| part.split(" OR ").any(|licence| ALLOWED.contains(&licence.trim()));
    expression.split(" AND ").all(meets)
}

#[test]
fn every_licence_lets_the_program_be_given_away() {
    let packages = packages();
    assert!(packages.len() > 100, "{} packages", packages.len());
    let known = |package: &Value| {
        EXCEPTIONS.iter().any(|(name, licence)| package["name"] == *name && package["license"] == *licence)
    };
    let bad: Vec<String> = packages
        .iter()
        .filter(|package| !is_allowed(package["license"].as_str().unwrap_or_default()) && !known(package))
        .map(|package| format!("{} {}", package["name"], package["license"]))
        .collect();
    assert!(bad.is_empty(), "{bad:#?}");
}

#[test]
fn the_reader_of_licence_expressions_tells_or_from_and() {
    assert!(is_allowed("MIT/Apache-2.0") && is_allowed("(Apache-2.0 OR GPL-2.0-only) AND BSD-3-Clause"));
    assert!(!is_allowed("GPL-3.0-only") && !is_allowed("MIT AND GPL-3.0-only") && !is_allowed(""));
}

#[test]
fn every_crate_comes_from_the_one_registry() {
    for package in packages() {
        match package["source"].as_str() {
            Some(source) => assert!(source.contains("crates.io-index"), "{} {source}", package["name"]),
            None => assert_eq!(package["name"], "tintwell"),
        }
    }
}

#[test]
fn no_further_crate_stands_in_the_tree_twice() {
    let lock = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.lock")).unwrap();
    let mut versions: BTreeMap<&str, usize> = BTreeMap::new();
    for line in lock.lines() {
        if let Some(name) = line.strip_prefix("name = \"") {
            *versions.entry(name.trim_end_matches('"')).or_default() += 1;
        }
    }
    let twice: BTreeSet<&str> =
        versions.into_iter().filter(|(_, count)| *count > 1).map(|(name, _)| name).collect();
    assert_eq!(twice, TWICE.into_iter().collect());
}
