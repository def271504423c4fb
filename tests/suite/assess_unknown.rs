//! What `assess` says where hardly anything is known, or only of days to come, through the binary.

use crate::support::home::Home;

const ZEROS: [&str; 4] = ["ammonia=0", "nitrite=0", "nitrate=20", "ph=7.2"];

/// The words of `assess` on a tank with one test of zeros at noon on 4 March 2031, judged then.
fn judged_by_one_test(home: &Home) -> String {
    let add = ["add", "--tank", "hall", "--at", "2031-03-04 12:00"];
    home.done(add.iter().chain(&ZEROS));
    home.done(["assess", "--at", "2031-03-04 12:00"]).out
}

/// It may have been running for years, or be as new as its log.
#[test]
fn a_single_test_says_nothing_of_the_bacteria_of_a_tank_of_unknown_age() {
    let home = Home::new();
    let words = judged_by_one_test(&home);
    assert!(words.contains("hall: NOT SHOWN YET: too little is known to judge by"), "{words}");
    assert!(words.contains("how a proof begun now would end is not known"), "{words}");
    assert!(words.contains("`tintwell tank hall --started-at DATE`"), "{words}");
    assert!(!words.contains("probability"), "nothing bears a number: {words}");
    let page = home.path().join("hall.html");
    home.done(["report", "--at", "2031-03-04 12:00", "--out", page.to_str().unwrap()]);
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("NOT SHOWN YET") && !page.contains("a proof begun now would pass"), "{page}");
}

#[test]
fn a_tank_that_is_told_to_be_new_is_judged_as_such() {
    let home = Home::new();
    home.done(["tank", "hall", "--started-at", "2031-03-02"]);
    let words = judged_by_one_test(&home);
    assert!(words.contains("hall: NOT READY") && words.contains("probability"), "{words}");
}

#[test]
fn one_that_is_told_to_be_old_is_not_called_new_for_want_of_tests() {
    let home = Home::new();
    home.done(["tank", "hall", "--started-at", "2029-03-02"]);
    let words = judged_by_one_test(&home);
    assert!(words.contains("NOT SHOWN YET") && !words.contains("--started-at"), "{words}");
}

/// A camera whose clock is a year ahead, say.
#[test]
fn entries_dated_later_than_now_are_said_to_be_left_out() {
    let home = Home::new();
    home.done(["add", "--tank", "hall", "--at", "2095-03-04 12:00", "ammonia=1", "nitrite=0"]);
    home.done(["event", "--tank", "hall", "--at", "2095-03-05 12:00", "ammonia_dose=2"]);
    let said = "note: hall: 3 entries are dated later than now and left out, the last 2095-03-05 12:00.";
    let page = home.path().join("hall.html");
    for command in [&["assess"][..], &["assess", "--json"], &["report", "--out", page.to_str().unwrap()]] {
        let run = home.done(command);
        assert!(run.err.contains(said) && run.err.contains("`tintwell log correct"), "{}", run.err);
    }
    let run = home.done(["assess", "--at", "2095-03-04 13:00"]);
    assert!(!run.err.contains("later than now"), "who names the moment knows: {}", run.err);
}
