//! `add`, `event`, `tank` and `log` as typed.

use serde_json::json;

use crate::support::home::Home;

#[test]
fn readings_are_converted_to_default_units_and_listed_with_what_the_contract_names() {
    let home = Home::new();
    let at = ["--at", "2031-03-04T18:05:00+01:00"];
    let run = home.done(["add", "--tank", "A", at[0], at[1], "ammonia=1.0N", "nitrite=0", "ph=7.4"]);
    assert!(run.err.contains("A is a new tank"), "{}", run.err);
    home.done(["event", "--tank", "A", at[0], at[1], "ammonia_dose=2"]);
    let lines = home.done(["log", "--json", "--tank", "A"]).lines();
    let ammonia = lines[0]["value"].as_f64().unwrap();
    // 17.031 / 14.007 from the IUPAC atomic weights.
    approx::assert_relative_eq!(ammonia, 1.215_89, epsilon = 1e-5);
    assert_eq!(lines[1]["value"], 0.0);
    assert_eq!(lines[2]["unit"], "pH");
    for line in &lines[..3] {
        assert_eq!((&line["kind"], &line["tank"]), (&json!("reading"), &json!("A")));
        assert_eq!(line["taken_at"], "2031-03-04T18:05:00+01:00");
    }
    assert_eq!((&lines[3]["kind"], &lines[3]["at"]), (&json!("event"), &json!("2031-03-04T18:05:00+01:00")));
    assert_eq!((&lines[3]["event"], &lines[3]["amount"]), (&json!("ammonia_dose"), &json!(2.0)));
}

#[test]
fn ammonia_for_a_tank_with_animals_is_not_reckoned_and_a_dose_that_went_in_is_warned_of() {
    let home = Home::new();
    home.done(["tank", "A", "--volume", "100", "--ammonia-source", "fish"]);
    let dose = ["dose", "--tank", "A", "ammonia"];
    let refused = home.run(dose);
    assert_eq!((refused.status, refused.out.as_str()), (2, ""));
    assert!(refused.err.contains("animals live in this tank"), "{}", refused.err);
    home.done(["event", "--tank", "A", "fish_added=2"]);
    assert_eq!(home.run(dose).status, 2);
    let logged = home.done(["event", "--tank", "A", "ammonia_dose=2"]);
    assert!(logged.err.contains("change half the water now"), "{}", logged.err);
    home.done(["event", "--tank", "A", "fish_added=-2"]);
    assert!(home.done(dose).out.contains("ammonium chloride"));
    assert!(!home.done(["event", "--tank", "A", "ammonia_dose=2"]).err.contains("animals"));
}

#[test]
fn a_colour_between_two_is_logged_with_both_as_bounds_and_corrected_with_a_plain_value_only() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "ammonia=0.25..0.5"]);
    let line = &home.done(["log", "--json", "--tank", "A"]).lines()[0];
    assert_eq!((&line["status"], &line["value"]), (&json!("read"), &json!(0.375)));
    assert_eq!((&line["low"], &line["high"]), (&json!(0.25), &json!(0.5)));
    for args in [["log", "correct", "1", "ammonia=1..2"], ["tank", "A", "--tap-nitrate", "5..10"]] {
        let run = home.run(args);
        assert!(run.status == 2 && run.err.contains("plain"), "{}", run.err);
    }
}

#[test]
fn a_bad_word_among_good_ones_logs_nothing() {
    let home = Home::new();
    for args in [
        ["add", "--tank", "A", "ammonia=1", "amonia=2"],
        ["add", "--tank", "A", "ammonia=1", "nitrite=-2"],
        ["add", "--tank", "A", "ammonia=1", "nitrite=NaN"],
        ["add", "--tank", "A", "ammonia=1", "ph"],
        ["add", "--tank", " ", "ammonia=1", "ph=7"],
        ["add", "--tank", "A\u{1b}[2J", "ammonia=1", "ph=7"],
        ["event", "--tank", "A", "food=1", "water_change=130"],
        ["event", "--tank", "A", "food=1", "ammonia_dose"],
    ] {
        let run = home.run(args);
        assert_eq!((run.status, run.out.as_str()), (2, ""), "{args:?}");
        assert!(run.err.starts_with("tintwell: ") && !run.err.contains('\u{1b}'), "{:?}", run.err);
    }
    assert!(!home.log().exists());
}

#[test]
fn an_unusual_value_is_logged_with_a_warning() {
    let home = Home::new();
    let run = home.done(["add", "--tank", "A", "--at", "1931-03-04 18:05", "ammonia=120"]);
    assert!(
        run.err.contains("ammonia of 120 mg/L NH3 is unusual") && run.err.contains("50 years"),
        "{}",
        run.err
    );
    assert_eq!(home.done(["log", "--json"]).lines().len(), 1);
}

#[test]
fn local_times_follow_the_clocks_and_doubtful_hours_are_said() {
    let home = Home::new();
    for (typed, kept, said) in [
        ("2025-02-01 12:00", "2025-02-01T12:00:00+01:00", ""),
        ("2025-07-01 12:00", "2025-07-01T12:00:00+02:00", ""),
        ("2025-03-30 02:30", "2025-03-30T02:30:00+01:00", "set forward"),
        ("2025-10-26 02:30", "2025-10-26T02:30:00+02:00", "twice"),
    ] {
        let run = home.done(["--json", "event", "--tank", "A", "--at", typed, "food=1"]);
        assert_eq!(run.lines()[0]["at"], kept);
        assert!(run.err.contains(said), "{typed}: {}", run.err);
        assert_eq!(run.err.contains("clocks"), !said.is_empty(), "{typed}: {}", run.err);
    }
    assert_eq!(home.run(["event", "--tank", "A", "--at", "03/04/2031", "food=1"]).status, 2);
}

#[test]
fn corrections_withdrawals_and_restorations_are_seen_and_the_history_stays() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "--at", "2025-02-01 12:00", "ammonia=2", "nitrite=1"]);
    let file = std::fs::read_to_string(home.log()).unwrap();
    home.done(["log", "correct", "1", "nitrite=2", "--reason", "swapped"]);
    home.done(["log", "withdraw", "2", "--reason", "swapped"]);
    let lines = home.done(["log", "--json"]).lines();
    assert_eq!(lines.len(), 1);
    assert_eq!(
        (&lines[0]["analyte"], &lines[0]["value"], &lines[0]["corrected"]),
        (&json!("nitrite"), &json!(2.0), &json!(true))
    );
    assert_eq!(home.done(["log", "--json", "--withdrawn"]).lines()[0]["id"], 2);
    let history = home.done(["log", "history", "1"]).out;
    assert!(
        history.contains("ammonia 2 mg/L NH3") && history.contains("nitrite 2 mg/L NO2 because: swapped"),
        "{history}"
    );
    home.done(["log", "restore", "2"]);
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2);
    assert!(std::fs::read_to_string(home.log()).unwrap().starts_with(&file), "nothing is ever rewritten");
}

#[test]
fn what_cannot_be_corrected_is_refused() {
    let home = Home::new();
    home.done(["tank", "A", "--volume", "110"]);
    home.done(["add", "--tank", "A", "ammonia=2"]);
    home.done(["log", "withdraw", "2"]);
    for args in [
        vec!["log", "correct", "9", "ammonia=1"],
        vec!["log", "correct", "1", "ammonia=1"],
        vec!["log", "correct", "2"],
        vec!["log", "correct", "2", "food=1"],
        vec!["log", "withdraw", "3"],
        vec!["log", "restore", "99999999999999999999"],
    ] {
        assert_eq!(home.run(&args).status, 2, "{args:?}");
    }
    assert_eq!(home.done(["log", "--json"]).lines().len(), 0);
}

#[test]
fn filters_choose_by_tank_analyte_event_source_and_time() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "--at", "2025-02-01 12:00", "ammonia=2", "nitrite=1"]);
    home.done(["add", "--tank", "B", "--at", "2025-02-02 12:00", "ammonia=3"]);
    home.done(["event", "--tank", "B", "--at", "2025-02-03 12:00", "food=1", "medicine"]);
    for (filter, ids) in [
        (vec!["--tank", "B"], vec![3, 4, 5]),
        (vec!["--analyte", "ammonia"], vec![1, 3]),
        (vec!["--event", "medicine"], vec![5]),
        (vec!["--source", "hand"], vec![1, 2, 3]),
        (vec!["--source", "photo"], vec![]),
        (vec!["--since", "2025-02-02 12:00", "--until", "2025-02-03 12:00"], vec![3]),
        (vec!["--last", "2"], vec![4, 5]),
    ] {
        let args: Vec<&str> = ["log", "--json"].into_iter().chain(filter.clone()).collect();
        let found: Vec<u64> =
            home.done(&args).lines().iter().map(|line| line["id"].as_u64().unwrap()).collect();
        assert_eq!(found, ids, "{filter:?}");
    }
}

#[test]
fn the_list_for_people_is_in_order_of_time() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "--at", "2025-02-02 12:00", "nitrate=>100", "--note", "after <lunch>"]);
    home.done(["event", "--tank", "A", "--at", "2025-02-01 12:00", "water_change=30%"]);
    insta::assert_snapshot!(home.done(["log"]).out, @r"
    #  when                     tank  what                         from  doubts and notes
    2  2025-02-01 12:00 +01:00  A     water_change 30 % of volume
    1  2025-02-02 12:00 +01:00  A     nitrate above 100 mg/L NO3   hand  after <lunch>
    ");
}

#[test]
fn facts_of_a_tank_are_kept_and_changed_one_by_one() {
    let home = Home::new();
    assert_eq!(home.run(["tank", "A"]).status, 2);
    home.done([
        "tank",
        "A",
        "--volume",
        "110",
        "--water",
        "fresh",
        "--tap-alkalinity",
        "10dKH",
        "--chart-top",
        "ammonia=8",
    ]);
    let facts = &home.done(["tank", "A", "--json", "--volume", "105L"]).lines()[0];
    assert_eq!((&facts["volume_l"], &facts["water"]), (&json!(105.0), &json!("fresh")));
    assert_eq!(facts["chart_top"]["ammonia"], 8.0);
    // 1 dKH = 0.35665 meq/L by definition.
    approx::assert_relative_eq!(facts["tap"]["alkalinity_meq_l"].as_f64().unwrap(), 3.5665, epsilon = 1e-4);
    assert_eq!(home.run(["tank", "A", "--volume", "0"]).status, 2);
    assert_eq!(home.run(["tank", "A", "--water", "holy"]).status, 2);
}

#[test]
fn a_charts_last_level_is_one_plain_number() {
    let home = Home::new();
    home.done(["tank", "A", "--volume", "110"]);
    for level in ["ammonia=>8", "ammonia=<8", "ammonia=4..8"] {
        let refused = home.run(["tank", "A", "--chart-top", level]);
        assert_eq!(refused.status, 2, "{level}: {}", refused.out);
        assert!(refused.err.contains("one plain number, such as ammonia=8"), "{}", refused.err);
    }
}

#[test]
fn an_export_is_guarded_against_formulas_and_comes_back_as_nothing_new() {
    let home = Home::new();
    let note = "=HYPERLINK(\"x\")";
    home.done(["add", "--tank", "+A;\"B\"", "--note", note, "ammonia=2", "nitrate=>100", "nitrite=<0.1"]);
    home.done(["event", "--tank", "+A;\"B\"", "--note", "-", "ammonia_dose=2"]);
    for what in ["readings", "events"] {
        let file = home.path().join(format!("{what}.csv"));
        home.done(["log", "export", what, "--out", file.to_str().unwrap()]);
        let text = std::fs::read_to_string(&file).unwrap();
        let cells = csv::Reader::from_reader(text.as_bytes())
            .into_records()
            .flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>())
            .collect::<Vec<_>>();
        assert!(cells.iter().all(|cell| !cell.starts_with(['=', '+', '-', '@'])), "{text}");
        let run = home.done(["--json", "import", file.to_str().unwrap()]);
        assert_eq!(run.lines()[0]["added"], 0);
        let other = Home::new();
        assert_eq!(other.done(["--json", "import", file.to_str().unwrap()]).lines()[0]["known"], 0);
        let strip = |home: &Home| {
            home.done(["log", "--json"])
                .lines()
                .iter()
                .map(|line| {
                    (
                        line["tank"].clone(),
                        line["note"].clone(),
                        line["status"].clone(),
                        line["low"].clone(),
                        line["amount"].clone(),
                    )
                })
                .collect::<Vec<_>>()
        };
        let expected: Vec<_> =
            strip(&home).into_iter().filter(|line| line.2.is_null() == (what == "events")).collect();
        assert_eq!(strip(&other), expected);
    }
}

/// Four significant digits of 4 dKH, 0.35665 meq/L each; what looks like gallons or Fahrenheit is asked about.
#[test]
fn facts_of_a_tank_are_shown_short_and_doubted_where_they_are_odd() {
    let home = Home::new();
    let run = home.done(["tank", "hall", "--tap-alkalinity", "4dKH", "--temperature", "77"]);
    assert!(run.out.contains("  tap.alkalinity_meq_l: 1.427\n"), "{}", run.out);
    assert!(run.err.contains("temperature of 77 degC is unusual") && run.err.contains("77F"), "{}", run.err);
    let run = home.run(["tank", "hall", "--volume", "40gal"]);
    assert_eq!(run.status, 2);
    assert!(run.err.contains("\"40gal\"") && run.err.contains("3.785"), "{}", run.err);
}

#[test]
fn an_entry_typed_twice_is_logged_and_told() {
    let home = Home::new();
    let dose = |at: &str| home.done(["event", "--tank", "hall", "--at", at, "ammonia_dose=2"]).err;
    assert!(!dose("2031-02-20 10:00").contains("says ammonia_dose"));
    let told = dose("2031-02-20 10:05");
    assert!(
        told.contains("entry 1 of hall says ammonia_dose 2 mg/L NH3") && told.contains("log withdraw 1"),
        "{told}"
    );
    assert!(!dose("2031-02-21 10:00").contains("says ammonia_dose"));
}

#[test]
fn more_fish_that_leave_than_came_are_told() {
    let home = Home::new();
    let moved = |fish: &str| home.done(["event", "--tank", "hall", "--at", "2025-02-20 10:00", fish]).err;
    assert!(!moved("fish_added=4").contains("by the log"));
    assert!(!moved("fish_added=-3").contains("by the log"));
    assert!(moved("fish_added=-2").contains("by the log 1 fish lived in hall, and 2 left"));
    let half = home.run(["event", "--tank", "hall", "fish_added=1.5"]);
    assert_eq!(half.status, 2);
    assert!(half.err.contains("count whole ones"), "{}", half.err);
}

#[test]
fn a_home_that_is_no_folder_is_named_with_the_mend() {
    let home = Home::new();
    let file = home.path().join("file");
    std::fs::write(&file, "").unwrap();
    let run = home.run(["--home", file.to_str().unwrap(), "log"]);
    assert_eq!(run.status, 2);
    assert!(run.err.contains("log.jsonl") && run.err.contains("another folder with --home"), "{}", run.err);
}

/// In January last year's date is soon typed; by it today's reading would be as good as none.
#[test]
fn an_entry_of_long_before_the_tanks_others_is_warned_of_with_how_to_mend_it() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "--at", "2026-01-02 18:00", "ammonia=0"]);
    let of_year = |at: &str| home.done(["add", "--tank", "A", "--at", at, "ammonia=1"]).err;
    let said = of_year("2025-01-03 18:00");
    assert!(said.contains("364 days before the latest entry of A: check the year"), "{said}");
    assert!(said.contains("tintwell log correct 2 --at TIME"), "{said}");
    assert!(!of_year("2025-12-03 18:00").contains("check the year"));
}
