//! `assess` on tanks without animals, through the binary: when to dose, and when not.

use serde_json::Value;

use crate::support::home::Home;

const FACTS: [&str; 10] = [
    "--volume",
    "100",
    "--temperature",
    "25",
    "--tap-ph",
    "8",
    "--started-at",
    "2031-03-01",
    "--ammonia-source",
    "ammonium chloride",
];

fn tank(name: &str) -> Home {
    let home = Home::new();
    home.done([&["tank", name][..], &FACTS].concat());
    home
}

fn log(home: &Home, command: &str, at: &str, words: &[&str]) {
    home.done([&[command, "--tank", "hall", "--at", at][..], words].concat());
}

/// What to do at `at`, each with its amount.
fn advice(home: &Home, at: &str) -> Vec<(String, String)> {
    let said = home.done(["assess", "--json", "--at", at]).lines().remove(0);
    let text = |line: &Value, key: &str| line[key].as_str().unwrap().to_owned();
    said["advice"].as_array().unwrap().iter().map(|line| (text(line, "do"), text(line, "amount"))).collect()
}

#[test]
fn a_dose_that_is_logged_is_not_asked_for_again() {
    let home = tank("hall");
    log(&home, "event", "2031-03-01 10:00", &["ammonia_dose=2"]);
    log(&home, "add", "2031-03-10 10:00", &["ammonia=0", "nitrite=2", "nitrate=20", "ph=7.8"]);
    let told = |at: &str| advice(&home, at);
    let doses = |list: &[(String, String)]| list.iter().any(|(action, _)| action.contains("dose ammonia"));
    assert!(doses(&told("2031-03-10 11:00")));
    log(&home, "event", "2031-03-10 12:00", &["ammonia_dose=2"]);
    let after = told("2031-03-10 13:00");
    assert!(!doses(&after), "{after:?}");
    assert!(after[0].0.starts_with("do not dose before a test"), "{after:?}");
}

#[test]
fn an_old_test_does_not_tell_to_dose() {
    let home = tank("hall");
    log(&home, "event", "2031-03-01 10:00", &["ammonia_dose=2"]);
    log(&home, "add", "2031-03-08 10:00", &["ammonia=0", "nitrite=2", "nitrate=20", "ph=7.8"]);
    let list = advice(&home, "2031-03-20 10:00");
    assert!(!list.iter().any(|(action, _)| action.contains("dose ammonia")), "{list:?}");
}

/// From 16 mg/L half a change leaves 8 and another 4, which is where common practice stops.
#[test]
fn far_too_much_ammonia_is_thinned_by_reckoned_changes() {
    let home = tank("hall");
    log(&home, "event", "2031-03-01 10:00", &["ammonia_dose=8", "ammonia_dose=8"]);
    log(&home, "add", "2031-03-02 10:00", &["ammonia=16", "nitrite=0", "nitrate=10", "ph=8"]);
    let list = advice(&home, "2031-03-02 11:00");
    assert_eq!(list[0].0, "do not dose now; change water to get on faster", "{list:?}");
    assert_eq!(list[0].1, "50 % (50 litres), 2 times");
}

/// An hour after a test of the alkalinity its value is what is left, however much ammonia stands.
#[test]
fn a_fresh_test_of_the_alkalinity_is_repeated_as_it_was() {
    let home = tank("hall");
    log(&home, "event", "2031-03-01 10:00", &["ammonia_dose=8"]);
    log(&home, "add", "2031-03-01 18:00", &["ammonia=8", "nitrite=0", "ph=7.8", "alkalinity=1.4"]);
    let words = home.done(["assess", "--at", "2031-03-01 19:00"]).out;
    assert!(words.contains("about 1.4 meq/L (4 dKH)"), "{words}");
}

/// A name of spaces and signs in a command to be typed is quoted for a shell.
#[test]
fn advised_commands_can_be_typed_as_they_stand() {
    for (name, quoted) in
        [("hall", "hall"), ("north window", "\"north window\""), ("5 $ \"x\"", "'5 $ \"x\"'")]
    {
        let home = Home::new();
        home.done(["event", "--tank", name, "--at", "2031-03-01 10:00", "food=1"]);
        let words = home.done(["assess", "--at", "2031-03-01 11:00"]).out;
        assert!(words.contains(&format!("`tintwell event --tank {quoted} fish_added=6`")), "{words}");
    }
}
