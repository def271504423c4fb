//! `import` of tables and tank files, on simulated histories.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::home::Home;

fn tank(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/cycles").join(name)
}

fn cells(path: &Path) -> Vec<csv::StringRecord> {
    csv::Reader::from_path(path).unwrap().into_records().map(Result::unwrap).collect()
}

fn count(lines: &[Value], name: &str) -> u64 {
    lines.iter().map(|line| line[name].as_u64().unwrap()).sum()
}

#[test]
fn all_simulated_histories_go_in_once_and_only_once() {
    let home = Home::new();
    let folder = tank("");
    let first = home.done(["--json", "import", folder.to_str().unwrap()]).lines();
    let (mut files, mut rows) = (0, 0);
    for entry in walkdir::WalkDir::new(&folder) {
        let path = entry.unwrap().into_path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name == "readings.csv" || name == "events.csv" {
            rows += cells(&path).len() as u64;
            files += 1;
        } else if name == "tank.json" {
            rows += 1;
            files += 1;
        }
    }
    assert!(files >= 180);
    assert_eq!((first.len(), count(&first, "added"), count(&first, "known")), (files, rows, 0));
    let log = fs::read(home.log()).unwrap();
    let again = home.done(["--json", "import", folder.to_str().unwrap()]).lines();
    assert_eq!((count(&again, "added"), count(&again, "known")), (0, rows));
    assert_eq!(fs::read(home.log()).unwrap(), log, "a repeated import writes nothing");
}

/// The log against the table, cell by cell, by another reader of CSV and JSON.
#[test]
fn every_cell_of_a_table_is_in_the_log() {
    let home = Home::new();
    let folder = tank("tank_012");
    let files = ["readings.csv", "events.csv", "tank.json"].map(|name| folder.join(name));
    home.done(["import".into()].into_iter().chain(files.clone()));
    let lines = home.done(["log", "--json"]).lines();
    let of_kind = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).collect::<Vec<_>>();
    let number = |cell: &str| cell.parse::<f64>().ok();
    let mut above = 0;
    for (row, line) in cells(&files[0]).iter().zip(of_kind("reading")) {
        assert_eq!(
            [&row[0], &row[1], &row[2], &row[4], &row[7]],
            ["taken_at", "tank", "analyte", "unit", "note"].map(|name| line[name].as_str().unwrap())
        );
        assert_eq!((number(&row[5]), number(&row[6])), (line["low"].as_f64(), line["high"].as_f64()));
        if row[6].is_empty() {
            assert_eq!((&line["status"], &line["value"]), (&"above_range".into(), &Value::Null));
            above += 1;
        } else {
            assert_eq!((number(&row[3]), &line["status"]), (line["value"].as_f64(), &"read".into()));
        }
    }
    assert!(above < lines.len());
    for (row, line) in cells(&files[1]).iter().zip(of_kind("event")) {
        assert_eq!(
            [&row[0], &row[1], &row[2], &row[4], &row[5]],
            ["at", "tank", "event", "unit", "note"].map(|name| line[name].as_str().unwrap())
        );
        assert_eq!(number(&row[3]), line["amount"].as_f64());
    }
    assert_eq!(lines.len(), cells(&files[0]).len() + cells(&files[1]).len());
    let facts = &home.done(["tank", "tank_012", "--json"]).lines()[0];
    let file: Value = serde_json::from_str(&fs::read_to_string(&files[2]).unwrap()).unwrap();
    for (name, fact) in file.as_object().unwrap() {
        match fact.as_f64() {
            Some(fact) => assert_eq!(facts[name].as_f64(), Some(fact), "{name}"),
            None if fact.is_string() => assert_eq!(&facts[name], fact, "{name}"),
            None => fact.as_object().unwrap().iter().for_each(|(inner, fact)| match fact.as_f64() {
                Some(fact) => assert_eq!(facts[name][inner].as_f64(), Some(fact), "{name}.{inner}"),
                None => assert_eq!(&facts[name][inner], fact, "{name}.{inner}"),
            }),
        }
    }
}

#[test]
fn two_imports_at_once_add_everything_once() {
    let home = Home::new();
    let folder = tank("tank_012");
    let run = || home.run(["--json", "import", folder.to_str().unwrap()]);
    let (left, right) = std::thread::scope(|scope| {
        let left = scope.spawn(run);
        let right = scope.spawn(run);
        (left.join().unwrap(), right.join().unwrap())
    });
    assert_eq!((left.status, right.status), (0, 0));
    let both = [left.lines(), right.lines()].concat();
    assert_eq!(count(&both, "added"), count(&both, "known"));
    assert_eq!(home.done(["log", "--json"]).lines().len() as u64 + 1, count(&both, "added"));
}

#[test]
fn bad_rows_are_named_with_file_and_line_and_the_rest_goes_in() {
    let home = Home::new();
    let file = home.path().join("mine.csv");
    let text = "\u{feff}taken_at;tank;analyte;value\r\n2025-02-01 12:00;A;ammonia;1,5\r\nsome \u{1b}[31mday;A;ammonia;1\r\n2025-02-01 12:00;A;nitrite;0,5\r\n";
    fs::write(&file, text).unwrap();
    let run = home.run(["import", file.to_str().unwrap()]);
    assert_eq!(run.status, 1);
    assert!(run.out.contains("2 added, 0 known already, 1 rejected"), "{}", run.out);
    assert!(run.err.contains("mine.csv:3: rejected: taken_at"), "{}", run.err);
    for said in ["semicolons", "decimal", "time zone", "default units"] {
        assert!(run.err.contains(said), "{said}: {}", run.err);
    }
    assert!(!run.err.contains('\u{1b}'));
    let values: Vec<_> =
        home.done(["log", "--json"]).lines().iter().map(|line| line["value"].as_f64().unwrap()).collect();
    assert_eq!(values, [1.5, 0.5]);
    assert_eq!(home.run(["import", file.to_str().unwrap()]).status, 1);
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2);
}

#[test]
fn what_is_no_table_is_refused_when_named_and_passed_over_in_a_folder() {
    let home = Home::new();
    let folder = home.path().join("in");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("other.csv"), "name,age\nx,1\n").unwrap();
    fs::write(folder.join("chart.json"), "{\"levels\":[]}").unwrap();
    fs::write(folder.join("readme.txt"), "").unwrap();
    let run = home.done(["import", folder.to_str().unwrap()]);
    assert!(run.err.contains("other.csv was passed over") && run.err.contains("1 files"), "{}", run.err);
    let run = home.run(["import", folder.join("other.csv").to_str().unwrap()]);
    assert_eq!(run.status, 2);
    assert!(run.err.contains("taken_at,tank,analyte,value"), "{}", run.err);
    assert_eq!(home.run(["import", folder.join("missing.csv").to_str().unwrap()]).status, 2);
}

#[test]
fn a_row_of_a_day_to_come_is_taken_and_told() {
    let home = Home::new();
    let file = home.path().join("readings.csv");
    let rows = "taken_at,tank,analyte,value,unit\n2031-02-01 10:00,hall,ammonia,1,\n2999-02-01 10:00,hall,ammonia,1,\n";
    fs::write(&file, rows).unwrap();
    let run = home.done(["import", file.to_str().unwrap()]);
    assert!(run.out.contains("2 added"), "{}", run.out);
    let said: Vec<&str> = run.err.lines().filter(|line| line.contains("lies in the future")).collect();
    assert!(said.last().is_some_and(|line| line.contains(":3: warning: 2999-02-01")), "{}", run.err);
}
