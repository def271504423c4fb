//! The log is readable by other engines as it is: the documented query, run by an independent one.

use std::fs;

use jaq_core::load::{Arena, File, Loader};
use jaq_core::{Compiler, Ctx, Vars, data, unwrap_valr};
use jaq_json::{Val, read};

/// Runs a program of the jq language on a text of JSON.
fn query(program: &str, input: &str) -> String {
    let arena = Arena::default();
    let defs = jaq_core::defs().chain(jaq_std::defs()).chain(jaq_json::defs());
    let funs = jaq_core::funs().chain(jaq_std::funs()).chain(jaq_json::funs());
    let modules = Loader::new(defs).load(&arena, File { code: program, path: () }).unwrap();
    let filter = Compiler::default().with_funs(funs).compile(modules).unwrap();
    let ctx = Ctx::<data::JustLut<Val>>::new(&filter.lut, Vars::new([]));
    let input = read::parse_single(input.as_bytes()).unwrap();
    let out = filter.id.run((ctx, input)).map(unwrap_valr);
    out.map(|value| value.unwrap().to_string()).collect::<Vec<_>>().join("\n")
}

/// The jq program of a guide.
fn documented(file: &str) -> String {
    let guide = fs::read_to_string(format!("{}/{file}", env!("CARGO_MANIFEST_DIR"))).unwrap();
    guide.split("```jq\n").nth(1).unwrap().split("```").next().unwrap().to_owned()
}

#[test]
fn the_documented_query_answers_from_the_bare_file() {
    let program = documented("src/log/FORMAT.md");
    assert_eq!(documented("README.md"), program, "both guides show the same query");
    let root = env!("CARGO_MANIFEST_DIR");
    let log = fs::read_to_string(format!("{root}/fixtures/log/version_1.jsonl")).unwrap();
    let list = format!("[{}]", log.lines().collect::<Vec<_>>().join(","));
    insta::assert_snapshot!(
        query(&program, &list),
        @r#"[{"analyte":"ammonia","tests":1,"highest":1.42},{"analyte":"nitrite","tests":1,"highest":0.0}]"#
    );
}
