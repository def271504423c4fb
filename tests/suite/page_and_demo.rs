//! The page, the pictures and the demo through the binary.

use predicates::str::contains;

use crate::support::home::tintwell;

/// The scenario is simulated, its photo rendered with 40 mg/L NO3.
#[test]
fn the_demo_proves_its_tank_and_leaves_a_page_and_a_picture() {
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("demo");
    tintwell(folder.path())
        .arg("demo")
        .arg(&demo)
        .assert()
        .success()
        .stdout(contains("simulated"))
        .stdout(contains("north window, as of 2024-03-10 18:30: READY for animals"))
        .stdout(contains("What to look at"));
    let page = std::fs::read_to_string(demo.join("north-window.html")).unwrap();
    assert!(page.contains("READY for animals") && page.contains("nitrate-rendered.jpg"));
    assert!(page.contains("data:image/jpeg;base64,"), "the sampled vial is missing");
    let picture = image::open(demo.join("nitrate-picture.png")).unwrap();
    assert_eq!((picture.width(), picture.height()), (1280 + 640, 960));
    // A second run must not touch what lies there.
    tintwell(folder.path()).arg("demo").arg(&demo).assert().failure().stderr(contains("not empty"));
}

#[test]
fn the_readme_shows_what_the_demo_prints() {
    let folder = tempfile::tempdir().unwrap();
    let run = tintwell(folder.path()).arg("demo").arg(folder.path().join("demo")).assert().success();
    let printed = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    let readme = include_str!("../../README.md");
    let shown = readme.split("```text\n").nth(1).unwrap().split("```").next().unwrap();
    let mut rest = printed.as_str();
    for line in shown.lines().filter(|line| !line.is_empty()) {
        let at = rest
            .find(&format!("\n{line}\n"))
            .unwrap_or_else(|| panic!("not printed, or not in this place: {line}"));
        rest = &rest[at + line.len() + 1..];
    }
    assert!(shown.lines().count() > 10 && shown.contains("READY"));
}

#[test]
fn a_hostile_tank_name_is_text_on_the_page() {
    let home = tempfile::tempdir().unwrap();
    let tank = "<script>alert(1)</script>";
    tintwell(home.path())
        .args(["add", "--tank", tank, "--at", "2024-03-10T18:30:00+01:00", "ammonia=1"])
        .assert()
        .success();
    let out = home.path().join("page.html");
    tintwell(home.path())
        .args(["report", "--at", "2024-03-11T18:30:00+01:00", "--out"])
        .arg(&out)
        .assert()
        .success();
    let page = std::fs::read_to_string(out).unwrap();
    assert!(page.contains("&lt;script&gt;") && !page.contains("<script"));
}

#[test]
fn a_picture_without_a_known_ending_is_refused_before_anything_is_read() {
    let home = tempfile::tempdir().unwrap();
    tintwell(home.path())
        .args(["read", "--chart", "rendered-nitrate", "--dry-run", "--picture", "a.gif", "none.jpg"])
        .assert()
        .code(2)
        .stderr(contains(".png"));
}

#[test]
fn every_shell_gets_completions_and_every_command_a_manual_page() {
    let home = tempfile::tempdir().unwrap();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        tintwell(home.path()).args(["completions", shell]).assert().success().stdout(contains("calibrate"));
    }
    let folder = home.path().join("man");
    tintwell(home.path()).arg("manual").arg(&folder).assert().success();
    let page = std::fs::read_to_string(folder.join("tintwell-read.1")).unwrap();
    assert!(page.contains("picture") && folder.join("tintwell.1").is_file());
}

#[test]
fn a_mistyped_tank_or_chart_is_met_with_the_right_name() {
    let home = tempfile::tempdir().unwrap();
    tintwell(home.path()).args(["add", "--tank", "hallway", "ammonia=1"]).assert().success();
    for command in
        [&["assess", "--tank", "halway"][..], &["report", "--tank", "halway", "--out", "none.html"]]
    {
        tintwell(home.path()).args(command).assert().code(2).stderr(contains("did you mean \"hallway\"?"));
    }
    tintwell(home.path())
        .args(["read", "--dry-run", "--chart", "rendred-ammonia", "none.jpg"])
        .assert()
        .code(2)
        .stderr(contains("did you mean \"rendered-ammonia\"?"));
}

#[test]
fn the_course_of_the_readings_is_drawn_as_the_terminal_can_show_it() {
    let home = tempfile::tempdir().unwrap();
    for (day, value) in [("01", "ammonia=2"), ("02", "ammonia=1"), ("03", "ammonia=0")] {
        let at = format!("2024-03-{day}T12:00:00Z");
        tintwell(home.path()).args(["add", "--tank", "pond", "--at", &at, value]).assert().success();
    }
    let course = |locale: &str| {
        let at = ["assess", "--at", "2024-03-04T12:00:00Z"];
        let output = tintwell(home.path()).env("LC_ALL", locale).args(at).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        text.lines().find(|line| line.starts_with("  ammonia")).unwrap().to_owned()
    };
    assert!(course("C.UTF-8").contains("█▅▁  from 2 on 1 Mar, at most 2, to 0 mg/L NH3 on 3 Mar"));
    assert!(course("C").contains("#~_  from 2"), "{}", course("C"));
}

#[test]
fn a_page_is_not_called_a_pdf() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("hall.pdf");
    let refused = tintwell(home.path()).args(["report", "--out"]).arg(&out).assert().code(2);
    refused.stderr(contains("hall.html")).stderr(contains("a browser prints it"));
    assert!(!out.exists());
}
