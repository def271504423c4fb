//! Every promise names the tests that show it, and they are there.

use std::path::Path;

/// `file::test` in backticks, as `PROMISES.md` names tests.
fn named(text: &str) -> Vec<(&str, &str)> {
    text.split('`').skip(1).step_by(2).filter_map(|word| word.split_once("::")).collect()
}

#[test]
fn every_test_that_a_promise_names_exists() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let promises = std::fs::read_to_string(root.join("src/PROMISES.md")).unwrap();
    let named = named(&promises);
    assert!(named.len() > 40, "{} tests named", named.len());
    for (file, test) in named {
        let places =
            [format!("tests/suite/{file}.rs"), format!("tests/{file}/main.rs"), format!("src/{file}.rs")];
        let source = places.iter().find_map(|place| std::fs::read_to_string(root.join(place)).ok());
        let source = source.unwrap_or_else(|| panic!("no file for {file}"));
        assert!(source.contains(&format!("fn {test}(")), "{file} holds no {test}");
    }
}

#[test]
fn every_row_of_a_promise_names_a_test() {
    let promises = include_str!("../../src/PROMISES.md");
    let table = promises.lines().skip_while(|line| !line.starts_with("| promised")).skip(2);
    let rows: Vec<&str> = table.take_while(|line| line.starts_with('|')).collect();
    assert!(rows.len() > 15, "{} rows", rows.len());
    for row in rows {
        assert!(!named(row).is_empty(), "{row}");
    }
}
