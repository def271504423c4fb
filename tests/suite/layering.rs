//! Imports go one way: a test reads the sources and holds the table of who may use whom.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Each part of the crate and the parts it may use; every one may use `terms` and `math` besides.
const MAY_USE: [(&str, &[&str]); 14] = [
    ("math", &[]),
    ("terms", &[]),
    ("photo", &[]),
    ("card", &["photo"]),
    ("colour", &["photo", "card"]),
    ("sample", &["photo", "card", "colour"]),
    ("chart", &["colour", "sample"]),
    ("reading", &["sample", "chart"]),
    ("pipeline", &["photo", "card", "colour", "sample", "chart", "reading"]),
    ("standards", &[]),
    ("log", &["reading"]),
    ("cycle", &["reading"]),
    ("report", &["card", "chart", "reading", "standards", "log", "cycle"]),
    (
        "cli",
        &[
            "photo",
            "card",
            "colour",
            "sample",
            "chart",
            "reading",
            "pipeline",
            "standards",
            "log",
            "cycle",
            "report",
        ],
    ),
];

/// Parts that nearly all may use.
const SHARED: [&str; 2] = ["terms", "math"];

/// One source file: its path below `src`, the part it belongs to, its code without comments.
struct Source {
    path: PathBuf,
    part: String,
    code: String,
}

impl Source {
    fn read(root: &Path, path: &Path) -> Self {
        let path_below = path.strip_prefix(root).unwrap().to_owned();
        let first = path_below.components().next().unwrap().as_os_str().to_string_lossy();
        let part = first.trim_end_matches(".rs").to_owned();
        let text = fs::read_to_string(path).unwrap();
        let code = text.lines().map(|line| line.split("//").next().unwrap()).collect::<Vec<_>>().join("\n");
        Self { path: path_below, part, code }
    }

    /// Parts named after `crate::`, alone or in braces.
    fn uses(&self) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        for (at, _) in self.code.match_indices("crate::") {
            let rest = &self.code[at + "crate::".len()..];
            let is_name = |c: char| c.is_ascii_alphanumeric() || c == '_';
            if let Some(list) = rest.strip_prefix('{') {
                let heads = top_level_items(list);
                names.extend(heads.iter().map(|item| item.chars().take_while(|&c| is_name(c)).collect()));
            } else {
                names.insert(rest.chars().take_while(|&c| is_name(c)).collect());
            }
        }
        names
    }
}

/// The items of a brace list, up to its closing brace; nested lists stay within their item.
fn top_level_items(list: &str) -> Vec<String> {
    let (mut depth, mut items) = (0, vec![String::new()]);
    for c in list.chars() {
        match c {
            '}' if depth == 0 => break,
            ',' if depth == 0 => items.push(String::new()),
            _ => {
                depth += i32::from(c == '{') - i32::from(c == '}');
                items.last_mut().unwrap().push(c);
            }
        }
    }
    items.iter().map(|item| item.trim().to_owned()).filter(|item| !item.is_empty()).collect()
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let files: Vec<_> = walkdir::WalkDir::new(&root)
        .sort_by_file_name()
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.path().extension().is_some_and(|ending| ending == "rs"))
        .map(|entry| Source::read(&root, entry.path()))
        .collect();
    assert!(files.len() > 20, "the sources were not found");
    files
}

/// Paths of the files whose code has one of the words, but for those of a part.
fn files_with(words: &[&str], except: &[&str]) -> Vec<String> {
    let named = |source: &Source| words.iter().any(|word| source.code.contains(word));
    let is_excepted = |source: &Source| except.contains(&source.part.as_str());
    sources()
        .iter()
        .filter(|source| named(source) && !is_excepted(source))
        .map(|source| source.path.display().to_string().replace('\\', "/"))
        .collect()
}

#[test]
fn every_part_uses_only_earlier_ones() {
    let mut wrong = Vec::new();
    for source in sources().iter().filter(|source| !["lib", "main"].contains(&source.part.as_str())) {
        let row = MAY_USE.iter().find(|(part, _)| *part == source.part);
        let (_, allowed) =
            row.unwrap_or_else(|| panic!("{} is in no row of the table", source.path.display()));
        for used in source.uses() {
            let is_fine =
                used == source.part || SHARED.contains(&used.as_str()) || allowed.contains(&used.as_str());
            if !is_fine {
                wrong.push(format!("{} uses {used}", source.path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "imports against the table:\n{}", wrong.join("\n"));
}

#[test]
fn the_table_itself_has_no_circle() {
    for (place, (part, allowed)) in MAY_USE.iter().enumerate() {
        for used in *allowed {
            let earlier = MAY_USE[..place].iter().any(|(name, _)| name == used);
            assert!(earlier, "{part} may use {used}, which does not come before it");
        }
    }
}

#[test]
fn the_search_tree_is_named_in_one_file_at_most() {
    let files = files_with(&["kiddo"], &[]);
    assert!(files.len() <= 1, "{files:?}");
}

#[test]
fn the_clock_is_read_only_at_the_command_line() {
    assert_eq!(files_with(&["Utc::now", "Local::now", "SystemTime::now"], &["cli"]), [""; 0]);
}

#[test]
fn only_the_command_line_prints() {
    let printing = ["println!", "print!(", "eprint!(", "io::stdout", "io::stderr", "dbg!("];
    assert_eq!(files_with(&printing, &["cli", "main"]), [""; 0]);
}

#[test]
fn arguments_and_any_errors_stay_at_the_command_line() {
    assert_eq!(files_with(&["use clap", "anyhow::"], &["cli", "main"]), [""; 0]);
}

#[test]
fn brace_lists_are_read_by_their_heads() {
    let code =
        "use crate::{card::{layout, print}, terms::Unit};\nfn f() { crate::math::stats::mean(&[]) }".into();
    let source = Source { path: PathBuf::new(), part: "x".into(), code };
    assert_eq!(source.uses().into_iter().collect::<Vec<_>>(), ["card", "math", "terms"]);
}
