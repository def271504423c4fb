//! `assess` on tanks with animals in them, through the binary: what they need, and what must not be done.

use serde_json::Value;

use crate::support::cycles::folder;
use crate::support::home::Home;
use crate::support::reading::file;

/// A tank whose log a test writes, in March 2031.
struct Stocked {
    home: Home,
}

impl Stocked {
    /// A tank of 100 litres with these further facts.
    fn new(facts: &[&str]) -> Self {
        let home = Home::new();
        home.done([&["tank", "hall", "--volume", "100"], facts].concat());
        Self { home }
    }

    fn at(day: u32, hour: u32) -> String {
        format!("2031-03-{day:02}T{hour:02}:00:00+01:00")
    }

    fn event(&self, at: &str, deeds: &[&str]) {
        self.home.done([&["event", "--tank", "hall", "--at", at], deeds].concat());
    }

    fn add(&self, at: &str, readings: &[&str]) {
        self.home.done([&["add", "--tank", "hall", "--at", at], readings].concat());
    }

    fn words(&self, at: &str) -> String {
        self.home.done(["assess", "--at", at]).out
    }

    fn judged(&self, at: &str) -> Value {
        self.home.done(["assess", "--json", "--at", at]).lines().remove(0)
    }

    /// What to do, each with its amount.
    fn advice(&self, at: &str) -> Vec<(String, String)> {
        let text = |line: &Value, key: &str| line[key].as_str().unwrap().to_owned();
        let said = self.judged(at);
        said["advice"]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| (text(line, "do"), text(line, "amount")))
            .collect()
    }

    fn is_told(&self, at: &str, action: &str) -> bool {
        self.advice(at).iter().any(|(told, _)| told.starts_with(action))
    }
}

/// Four fish, fed daily; nitrite rose and went, and nitrate rises.
#[test]
fn a_tank_whose_bacteria_keep_up_with_its_animals_is_told_so_and_never_called_ready() {
    let tank = Stocked::new(&["--tap-nitrate", "5", "--temperature", "25"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    for day in 1..=30 {
        tank.event(&Stocked::at(day, 9), &["food=0.2"]);
        let nitrite = if (8..18).contains(&day) { "nitrite=0.8" } else { "nitrite=0" };
        let nitrate = format!("nitrate={}", 5 + day / 2);
        if day % 2 == 0 {
            tank.add(&Stocked::at(day, 18), &["ammonia=0", nitrite, &nitrate, "ph=7.2"]);
        }
    }
    assert!(!tank.words(&Stocked::at(20, 20)).contains("KEEPS UP"));
    let (end, words) = (Stocked::at(30, 20), tank.words(&Stocked::at(30, 20)));
    for said in ["KEEPS UP with its animals", "in 7 tests over 12 days", "for more it is not shown"] {
        assert!(words.contains(said), "{words}");
    }
    let said = tank.judged(&end);
    assert_eq!((&said["ready"], &said["proof"]), (&Value::from(false), &Value::from("not_shown")));
    assert!(!tank.advice(&end).iter().any(|(action, _)| action.contains("dose")), "{said}");
}

/// Traces below every criterion that asks for more, with fish in the tank.
#[test]
fn traces_with_animals_in_the_tank_mean_to_feed_less_before_they_harm() {
    let tank = Stocked::new(&[]);
    tank.event(&Stocked::at(1, 10), &["fish_added=2"]);
    let (tested, now) = (Stocked::at(5, 18), Stocked::at(5, 19));
    tank.add(&tested, &["ammonia=0", "nitrate=5", "ph=7"]);
    assert!(!tank.is_told(&now, "feed half"));
    tank.add(&tested, &["nitrite=0.15"]);
    assert!(tank.is_told(&now, "feed half"));
}

#[test]
fn an_unknown_ph_and_temperature_are_answered_by_asking_for_them() {
    let tank = Stocked::new(&[]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    tank.add(&Stocked::at(5, 18), &["ammonia=1", "nitrite=0"]);
    assert!(tank.is_told(&Stocked::at(5, 19), "test the pH, temperature, nitrate"));
}

/// 0.25 mg/L NO2 may harm in the long run, and more of it is to come.
#[test]
fn what_may_harm_is_thinned_daily_and_what_is_about_to_harm_is_told_of() {
    let tank = Stocked::new(&["--temperature", "25"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=8"]);
    for (day, ammonia, nitrite) in [(4, "0.2", "0"), (7, "0.6", "0.05"), (10, "1.2", "0.25")] {
        let readings = [format!("ammonia={ammonia}"), format!("nitrite={nitrite}")];
        tank.add(&Stocked::at(day, 18), &[&readings[0], &readings[1], "ph=7", "nitrate=5"]);
    }
    let advice = tank.advice(&Stocked::at(10, 19));
    assert_eq!(advice[0].0, "change water today, and daily while this lasts", "{advice:?}");
    assert!(advice[0].1.contains("litres"), "{advice:?}");
    let rise = advice.iter().find(|(action, _)| action.starts_with("expect nitrite to rise")).unwrap();
    assert!(rise.1.contains("mg/L (80 %: ") && rise.1.contains("March"), "{rise:?}");
}

/// Ammonia was dosed until the fish came; nobody goes on dosing it with them in.
#[test]
fn a_forecast_with_fish_in_supposes_no_further_doses() {
    let home = Home::new();
    let tank = folder().join("tank_023");
    home.done(
        [&["import".into()], &["tank.json", "readings.csv", "events.csv"].map(|name| tank.join(name))[..]]
            .concat(),
    );
    let now = std::fs::read_to_string(tank.join("now.txt")).unwrap().trim().to_owned();
    home.done(["event", "--tank", "tank_023", "--at", &now, "fish_added=1", "water_change=30"]);
    home.done(["add", "--tank", "tank_023", "--at", &now, "ammonia=0.4", "nitrite=0.4"]);
    let words = home.done(["assess", "--at", &now]).out;
    assert!(words.contains("As the animals are kept and fed now"), "{words}");
    assert!(!words.contains("above 0.25 mg/L for months"), "{words}");
}

/// Five months without enough changes: nitrate is high, and the buffer is used up.
#[test]
fn old_water_is_renewed_in_steps_before_further_animals_come() {
    let old = |tap_alkalinity: &str, alkalinity: &str, nitrate: &str| {
        let tank = Stocked::new(&["--tap-nitrate", "10", "--tap-alkalinity", tap_alkalinity]);
        tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
        for day in 1..=30 {
            tank.event(&Stocked::at(day, 9), &["food=0.2"]);
            if day % 3 == 0 {
                let risen = format!("nitrate={}", nitrate.parse::<u32>().unwrap() + day / 2);
                let alkalinity = format!("alkalinity={alkalinity}");
                tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", &risen, "ph=6.8", &alkalinity]);
            }
        }
        tank.advice(&Stocked::at(30, 20))
    };
    let named = |advice: &[(String, String)], action: &str| {
        advice.iter().find(|(told, _)| told.starts_with(action)).map(|(_, amount)| amount.clone())
    };
    // From 175 mg/L with 10 in the tap water three quarters of the excess of 165 are left after each change: 39
    // after five, 29 after six, and 30 are wanted.
    let both = old("3", "0.5", "160");
    assert_eq!(named(&both, "thin the nitrate").unwrap(), "25 % (25 litres), 6 times, two days apart");
    assert!(named(&both, "put in no further animals").is_some(), "{both:?}");
    assert!(named(&both, "feed as you do").is_none(), "{both:?}");
    let raise = named(&both, "raise the alkalinity").unwrap();
    assert!(raise.contains("bicarbonate") && raise.ends_with("in portions over several days"), "{raise}");
    // Soft water has little buffer from the beginning.
    let soft = old("0.6", "0.5", "10");
    assert!(named(&soft, "thin the nitrate").or(named(&soft, "put in no further")).is_none(), "{soft:?}");
    assert!(named(&soft, "feed as you do").is_some(), "{soft:?}");
}

/// The log of a tank that ran out of buffer: ammonia stands in acid water.
fn acid(facts: &[&str]) -> Stocked {
    let tank = Stocked::new(
        &[&["--temperature", "25", "--tap-alkalinity", "4", "--tap-nitrate", "10"], facts].concat(),
    );
    tank.event(&Stocked::at(1, 10), &["fish_added=12"]);
    for day in (2..=14).step_by(4) {
        tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", "nitrate=60", "ph=7.0"]);
    }
    tank.add(&Stocked::at(18, 18), &["ammonia=2", "nitrite=0.1", "nitrate=140", "ph=6.2"]);
    tank.add(&Stocked::at(21, 18), &["ammonia=6", "nitrite=0.1", "nitrate=160", "ph=5.8", "alkalinity=0.2"]);
    tank
}

/// At pH 5.8 6 mg/L ammonia hold 0.002 mg/L NH3; half a change of water of pH 8 brings it to pH 7.7, and what is
/// left of the ammonia to 0.08 mg/L NH3 (Emerson 1975; the mixing by hand in `acid.rs`).
#[test]
fn ammonia_in_acid_water_is_thinned_little_by_little_and_the_buffer_left_alone() {
    let tank = acid(&["--tap-ph", "8"]);
    let at = Stocked::at(21, 20);
    let advice = tank.advice(&at);
    assert!(advice[0].0.starts_with("change only a little water at a time"), "{advice:?}");
    assert!(advice[0].1.starts_with("5 % (5 litres) a day"), "{advice:?}");
    for harm in ["restore the buffer", "raise the alkalinity", "thin the nitrate", "change water"] {
        assert!(!tank.is_told(&at, harm), "{advice:?}");
    }
    assert!(tank.words(&at).contains("ask a vet"));
}

/// Tap water that is as acid sets nothing free, but a spoon of bicarbonate would.
#[test]
fn no_buffer_is_raised_while_ammonia_stands_with_animals_in_it() {
    let tank = acid(&["--tap-ph", "5.8"]);
    let at = Stocked::at(21, 20);
    let advice = tank.advice(&at);
    for harm in ["restore the buffer", "raise the alkalinity"] {
        assert!(!tank.is_told(&at, harm), "{advice:?}");
    }
}

#[test]
fn animals_of_soft_water_are_not_told_to_harden_it() {
    let tank = Stocked::new(&["--temperature", "23", "--tap-ph", "6.4", "--tap-alkalinity", "0.3"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=30"]);
    for day in (2..=30).step_by(4) {
        tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", "nitrate=4", "ph=6.3"]);
    }
    assert!(!tank.is_told(&Stocked::at(30, 20), "raise the alkalinity"));
}

/// A quarter of 0.5 mg/L, read to 0.13 and changed to five points of a hundred: 0.125 mg/L, within
/// hypot(0.13 / 4, 1.96 * 0.05 * 0.5) = 0.06.
#[test]
fn a_change_of_water_that_is_logged_is_not_asked_for_again() {
    let tank = Stocked::new(&["--temperature", "25", "--tap-nitrate", "0"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=6"]);
    tank.add(&Stocked::at(10, 10), &["ammonia=0", "nitrite=0.5", "nitrate=90", "ph=7.2"]);
    let amount = |at: &str| {
        let advice = tank.advice(at);
        advice.iter().find(|(action, _)| action.starts_with("change water")).map(|(_, amount)| amount.clone())
    };
    assert!(amount(&Stocked::at(10, 11)).unwrap().contains("2 times"));
    tank.event(&Stocked::at(10, 12), &["water_change=75"]);
    let after = amount(&Stocked::at(10, 13)).unwrap_or_default();
    assert!(!after.contains("times"), "{after}");
    assert!(
        tank.words(&Stocked::at(10, 13)).contains("nitrite 0.07 to 0.18"),
        "{}",
        tank.words(&Stocked::at(10, 13))
    );
}

/// A proof, then fish, and zeros in all tests since: what the proof left in doubt they have shown.
#[test]
fn a_week_of_zeros_is_not_asked_for_twice() {
    let tank = Stocked::new(&[
        "--temperature",
        "25",
        "--tap-ph",
        "8",
        "--tap-alkalinity",
        "4",
        "--tap-nitrate",
        "10",
        "--tap-disinfectant",
        "none",
        "--ammonia-source",
        "ammonium chloride",
        "--seeding",
        "mature_medium",
        "--started-at",
        "2031-03-01",
    ]);
    let hour = |day: u32| Stocked::at(day, 18);
    tank.event(&hour(1), &["ammonia_dose=2", "mature_medium=50"]);
    tank.add(&hour(2), &["ammonia=1", "nitrite=0.5", "nitrate=12", "ph=7.8"]);
    for (day, nitrite, nitrate) in [(3, 1.0, 13), (5, 0.5, 20), (8, 0.0, 35), (10, 0.0, 35), (12, 0.0, 40)] {
        let (nitrite, nitrate) = (format!("nitrite={nitrite}"), format!("nitrate={nitrate}"));
        tank.add(&hour(day), &["ammonia=0", &nitrite, &nitrate, "ph=7.6"]);
    }
    for day in [3, 5] {
        tank.event(&Stocked::at(day, 20), &["ammonia_dose=2"]);
    }
    tank.add(&hour(6), &["ammonia=0.25", "nitrite=0.5", "nitrate=25", "ph=7.8"]);
    for day in [7, 9, 11] {
        tank.event(&hour(day), &["ammonia_dose=2"]);
    }
    tank.event(&hour(9), &["water_change=30"]);
    tank.event(&Stocked::at(12, 20), &["water_change=50", "fish_added=6"]);
    for day in 13..=29 {
        tank.event(&Stocked::at(day, 9), &["food=0.3"]);
        if day % 2 == 1 {
            tank.add(&hour(day), &["ammonia=0", "nitrite=0", "nitrate=25", "ph=7.4"]);
        }
    }
    for at in [Stocked::at(12, 22), Stocked::at(29, 20)] {
        let advice = tank.advice(&at);
        let tests = advice
            .iter()
            .filter(|(action, amount)| action.starts_with("test ammonia") || amount.starts_with("test "));
        assert_eq!(tests.count(), 1, "{advice:?}");
    }
    assert!(!tank.is_told(&Stocked::at(29, 20), "put in no further animals until"));
}

#[test]
fn ammonia_that_came_from_nowhere_is_looked_for_among_the_animals() {
    let tank = Stocked::new(&["--temperature", "25", "--tap-nitrate", "5"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    for day in (2..=26).step_by(3) {
        tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", "nitrate=20", "ph=7.2"]);
    }
    tank.add(&Stocked::at(27, 18), &["ammonia=2", "nitrite=1", "nitrate=20", "ph=7.2"]);
    let at = Stocked::at(27, 20);
    assert!(tank.is_told(&at, "look for a dead animal"), "{:?}", tank.advice(&at));
}

#[test]
fn animals_of_cold_water_are_not_told_to_be_heated() {
    let tank = Stocked::new(&["--temperature", "6", "--tap-ph", "7.5", "--tap-alkalinity", "4"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=5"]);
    for day in (1..=28).step_by(4) {
        let at = Stocked::at(day, 18);
        tank.add(&at, &["ammonia=0.5", "nitrite=0.2", "nitrate=10", "ph=7.6", "temperature=6"]);
    }
    let said = tank.judged(&Stocked::at(28, 20));
    assert_eq!(said["stall_cause"], "cold", "{said}");
    assert!(!tank.is_told(&Stocked::at(28, 20), "set the heater"));
    assert!(tank.words(&Stocked::at(28, 20)).contains("not while ammonia or nitrite stand"));
}

/// With animals in the tank no dose may prove anything, whatever undid the proof of before.
#[test]
fn nobody_with_animals_is_told_to_prove_it_again() {
    let tank = Stocked::new(&[
        "--temperature",
        "25",
        "--tap-nitrate",
        "10",
        "--ammonia-source",
        "ammonium chloride",
    ]);
    tank.event(&Stocked::at(1, 10), &["ammonia_dose=2", "mature_medium=50"]);
    for day in [3, 5, 7] {
        tank.event(&Stocked::at(day, 10), &["ammonia_dose=2"]);
        let nitrate = format!("nitrate={}", 10 + 7 * (day - 1) / 2);
        tank.add(&Stocked::at(day + 1, 10), &["ammonia=0", "nitrite=0", &nitrate, "ph=7.6"]);
    }
    tank.event(&Stocked::at(8, 14), &["fish_added=4"]);
    tank.event(&Stocked::at(9, 14), &["medicine"]);
    let words = tank.words(&Stocked::at(9, 20));
    assert!(words.contains("medicine was given") && !words.contains("prove it"), "{words}");
}

/// Ammonia was not tested for ten days: whether a higher pH would free any is not known.
#[test]
fn no_buffer_is_raised_before_ammonia_is_known() {
    let tank = Stocked::new(&["--temperature", "25", "--tap-ph", "8", "--tap-alkalinity", "4"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=12"]);
    for day in (2..=18).step_by(4) {
        tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", "nitrate=60", "ph=7.0"]);
    }
    tank.add(&Stocked::at(28, 18), &["ph=5.9", "alkalinity=0.2"]);
    let at = Stocked::at(28, 20);
    for harm in ["restore the buffer", "raise the alkalinity"] {
        assert!(!tank.is_told(&at, harm), "{:?}", tank.advice(&at));
    }
    assert!(tank.is_told(&at, "test ammonia"), "{:?}", tank.advice(&at));
}

#[test]
fn a_low_ph_asks_for_a_test_of_the_buffer_whatever_the_log_reckons() {
    let tank = Stocked::new(&["--temperature", "25", "--tap-ph", "8", "--tap-alkalinity", "4"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    tank.add(&Stocked::at(20, 18), &["ammonia=0", "nitrite=0", "nitrate=60", "ph=6.2"]);
    let at = Stocked::at(20, 20);
    assert!(tank.is_told(&at, "test the alkalinity"), "{:?}", tank.advice(&at));
}

/// A dose by mistake: what zeros showed until then holds no more, and the page says the same of proofs.
#[test]
fn ammonia_dosed_among_animals_ends_what_was_shown() {
    let tank = Stocked::new(&["--temperature", "25", "--tap-nitrate", "5"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    for day in (2..=26).step_by(3) {
        let nitrate = format!("nitrate={}", 5 + day);
        tank.event(&Stocked::at(day, 9), &["food=0.5"]);
        tank.add(&Stocked::at(day, 18), &["ammonia=0", "nitrite=0", &nitrate, "ph=7.2"]);
    }
    let words = |hour| tank.words(&Stocked::at(26, hour));
    assert!(words(19).contains("KEEPS UP"), "{}", words(19));
    tank.event(&Stocked::at(26, 20), &["ammonia_dose=2"]);
    assert!(!words(21).contains("KEEPS UP") && !tank.is_told(&Stocked::at(26, 21), "feed as you do"));
    assert!(tank.advice(&Stocked::at(26, 21))[0].0.starts_with("change water"), "{}", words(21));
    let page = tank.home.path().join("page.html");
    tank.home.done([
        "report",
        "--tank",
        "hall",
        "--at",
        &Stocked::at(26, 21),
        "--out",
        page.to_str().unwrap(),
    ]);
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("none is made with animals in the tank"));
}

/// Un-ionised ammonia of 4 mg/L at pH 8.2 and 25 degrees: about 0.33 mg/L NH3, far above every criterion.
#[test]
fn who_only_types_readings_is_told_of_harm_at_once() {
    let home = Home::new();
    home.done(["tank", "hall", "--volume", "100", "--temperature", "25"]);
    let typed = ["add", "--tank", "hall", "ammonia=4", "ph=8.2"];
    assert!(!home.done(typed).err.contains("change water"), "nobody lives there");
    home.done(["event", "--tank", "hall", "--at", "2024-05-01 12:00", "fish_added=4"]);
    let told = home.done(["add", "--tank", "hall", "ammonia=4.1", "ph=8.2"]).err;
    assert!(told.contains("un-ionised ammonia") && told.contains("today: change water now"), "{told}");
    let old = ["add", "--tank", "hall", "--at", "2024-05-02 12:00", "nitrite=9"];
    assert!(!home.done(old).err.contains("un-ionised"), "no news of today");
}

/// The rendered photo shows 4.09 mg/L NO2, above every criterion for nitrite.
#[test]
fn who_only_reads_photos_is_told_of_harm_at_once() {
    let read = |fish: bool, at: &str| {
        let home = Home::new();
        home.done(["tank", "hall", "--volume", "100", "--temperature", "25"]);
        if fish {
            home.done(["event", "--tank", "hall", "--at", "2024-05-01 12:00", "fish_added=4"]);
        }
        let photo = file("nitrite_unknown/010.jpg");
        let chart = ["read", "--tank", "hall", "--chart", "rendered-nitrite", "--at", at];
        home.done(chart.map(std::ffi::OsString::from).into_iter().chain([photo.into_os_string()])).out
    };
    let now = chrono::Local::now().to_rfc3339();
    let told = read(true, &now);
    assert!(told.contains("for animals: nitrite") && told.contains("acute danger"), "{told}");
    assert!(told.contains("today: change water now: 50 % (50 litres)"), "{told}");
    assert!(!read(false, &now).contains("today: change water"), "nobody lives there");
}

/// Four fish for a month: nitrite rose and went, and both have been at zero for twelve days.
fn settled(facts: &[&str]) -> Stocked {
    let tank = Stocked::new(facts);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    for day in 1..=30 {
        tank.event(&Stocked::at(day, 9), &["food=0.2"]);
        if day % 2 == 1 {
            continue;
        }
        let nitrite = if (8..18).contains(&day) { "nitrite=0.8" } else { "nitrite=0" };
        let nitrate = format!("nitrate={}", 5 + day / 2);
        tank.add(&Stocked::at(day, 18), &["ammonia=0", nitrite, &nitrate, "ph=7.2"]);
    }
    tank
}

const KEEPS_UP: [&str; 4] = ["--tap-nitrate", "5", "--temperature", "25"];

/// Four fish for 24 days: first ammonia, then nitrite rose and went, and nitrate came of it.
fn just_settled() -> Stocked {
    const AMMONIA: [f64; 12] = [0.25, 0.5, 0.5, 0.5, 0.25, 0.25, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    const NITRITE: [f64; 12] = [0.0, 0.0, 0.25, 0.5, 0.75, 1.0, 1.0, 1.0, 0.75, 0.5, 0.25, 0.0];
    const NITRATE: [f64; 12] = [5.0, 5.0, 5.0, 6.0, 8.0, 9.0, 11.0, 12.0, 13.0, 15.0, 16.0, 18.0];
    let tank = Stocked::new(&["--temperature", "25", "--started-at", "2031-03-01"]);
    tank.event(&Stocked::at(1, 10), &["fish_added=4"]);
    for day in 1..=24 {
        tank.event(&Stocked::at(day, 9), &["food=0.3"]);
    }
    for (index, day) in (2..=24).step_by(2).enumerate() {
        let [ammonia, nitrite, nitrate] = [AMMONIA, NITRITE, NITRATE].map(|levels| levels[index]);
        let read = [format!("ammonia={ammonia}"), format!("nitrite={nitrite}"), format!("nitrate={nitrate}")];
        tank.add(&Stocked::at(day, 18), &[&read[0], &read[1], &read[2], "ph=7.4"]);
    }
    tank
}

#[test]
fn nobody_is_promised_low_water_after_what_may_have_killed_bacteria() {
    let (cleaned, next) = (Stocked::at(24, 21), Stocked::at(25, 8));
    for deed in [&["filter_cleaned", "--note", "in tap water, not treated"][..], &["medicine"]] {
        let tank = just_settled();
        assert!(tank.words(&cleaned).contains("likely to stay below 0.25"), "{}", tank.words(&cleaned));
        tank.event(&cleaned, deed);
        let words = tank.words(&next);
        assert!(!words.contains("likely to stay below"), "{words}");
        assert!(words.contains("how many live is not known before a week of tests"), "{words}");
        assert!(!words.contains("would probably pass") && !words.contains("may be ready already"), "{words}");
        assert_eq!(tank.judged(&next)["ready_on"], Value::Null);
        let compared = tank.home.done(["assess", "--json", "--what-if", "--at", &next]).lines().remove(0);
        assert_eq!(compared["what_if"][0]["reliable"], Value::from(false), "{compared}");
        let page = tank.home.path().join("hall.html");
        tank.home.done(["report", "--at", &next, "--out", page.to_str().unwrap()]);
        assert!(!std::fs::read_to_string(page).unwrap().contains(">forecast<"), "no course is drawn");
    }
}

#[test]
fn untreated_water_since_the_last_test_ends_what_a_row_of_zeros_shows() {
    let (poured, next) = (Stocked::at(30, 21), Stocked::at(31, 8));
    for deed in ["filter_cleaned", "water_change=30"] {
        let tank = settled(&KEEPS_UP);
        assert!(tank.words(&poured).contains("KEEPS UP"));
        tank.event(&poured, &[deed, "--note", "tap water, not treated"]);
        let words = tank.words(&next);
        assert!(!words.contains("KEEPS UP") && !words.contains("if more animals are to come"), "{words}");
        assert!(words.contains("daily until 6 April"), "{words}");
    }
}

#[test]
fn no_more_animals_are_spoken_of_in_the_week_after_a_filter_was_cleaned() {
    let tank = settled(&[&KEEPS_UP[..], &["--water-conditioner", "always"]].concat());
    let (cleaned, next) = (Stocked::at(30, 21), Stocked::at(31, 8));
    assert!(tank.is_told(&cleaned, "feed as you do; if more animals are to come"));
    tank.event(&cleaned, &["filter_cleaned", "--note", "in tank water"]);
    assert!(!tank.is_told(&next, "feed as you do; if more animals are to come"));
    assert!(tank.is_told(&next, "put in no further animals for now"));
}

/// More than twice the fish there were: what they give off doubles overnight, and a colony takes weeks.
#[test]
fn many_fish_at_once_are_answered_by_a_week_of_watching() {
    let (came, next) = (Stocked::at(30, 21), Stocked::at(31, 8));
    let told = |fish: &str| {
        let tank = settled(&KEEPS_UP);
        tank.event(&came, &[fish]);
        tank.words(&next)
    };
    let many = told("fish_added=20");
    assert!(many.contains("20 fish were added to 4"), "{many}");
    assert!(many.contains("change water as soon as either shows — daily until 6 April"), "{many}");
    let few = told("fish_added=1");
    assert!(!few.contains("fish were added"), "{few}");
}

/// Poured into a reef, fresh water harms as surely as ammonia does.
#[test]
fn in_salt_water_the_caution_with_changes_names_the_salt() {
    for (water, named) in [("sea", true), ("brackish", true), ("fresh", false)] {
        let tank = Stocked::new(&["--water", water]);
        tank.event(&Stocked::at(1, 10), &["fish_added=2"]);
        tank.add(&Stocked::at(10, 18), &["ammonia=0.5", "nitrite=1", "nitrate=10", "ph=8.2"]);
        let said = tank.words(&Stocked::at(10, 20));
        assert!(said.contains("change water"), "{said}");
        assert_eq!(said.contains("the tank's own salinity"), named, "{water}: {said}");
    }
}
