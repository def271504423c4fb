//! What happens to the log when the disk is full, the place read-only, or the file old or damaged.

use std::fs;
use std::io::Write;

use crate::support::home::Home;

/// Runs `add` with a limit on the size of any file, as a full disk would set it.
#[cfg(unix)]
fn add_within(home: &Home, kilobytes: u64, note: &str) -> (i32, String, String) {
    let program = assert_cmd::cargo::cargo_bin!("tintwell");
    // Blocks of 512 bytes, after POSIX; without the trap the system would end the program.
    let script = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" \"$@\"", 2 * kilobytes);
    let output = std::process::Command::new("sh")
        .args(["-c", &script])
        .arg(program)
        .args(["--json", "add", "--tank", "A", "--at", "2031-03-04T18:05:00Z", "--note", note, "ammonia=1"])
        .env("TINTWELL_HOME", home.path())
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap_or(-1), text(output.stdout), text(output.stderr))
}

#[cfg(unix)]
#[test]
fn a_full_disk_refuses_the_entry_and_keeps_every_earlier_one() {
    let home = Home::new();
    let mut reported = Vec::new();
    let mut refused = 0;
    for round in 0..30 {
        let note = format!("{round:0>300}");
        let (status, out, err) = add_within(&home, 4, &note);
        if status == 0 {
            let line: serde_json::Value = serde_json::from_str(out.trim()).unwrap();
            reported.push((line["id"].clone(), line["note"].clone()));
        } else {
            refused += 1;
            assert_eq!((status, out.as_str()), (2, ""));
            assert!(err.contains("no room left") && err.contains("nothing"), "{err}");
        }
    }
    assert!(reported.len() >= 5 && refused >= 5, "{} reported, {refused} refused", reported.len());
    let text = fs::read_to_string(home.log()).unwrap();
    assert!(text.ends_with('\n'), "a failed write is taken back");
    let held = home.done(["log", "--json"]).lines();
    let held: Vec<_> = held.iter().map(|line| (line["id"].clone(), line["note"].clone())).collect();
    assert_eq!(held, reported);
    home.done(["add", "--tank", "A", "ph=7"]);
}

/// The disk may be full where the output goes, and not where the log is.
#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written_is_said_and_nothing_panics() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "ammonia=1"]);
    for command in [
        &["assess"][..],
        &["log"],
        &["add", "--tank", "A", "nitrite=0"],
        &["dose", "ammonia", "--volume", "100"],
    ] {
        let full = fs::File::options().write(true).open("/dev/full").unwrap();
        let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("tintwell"))
            .args(command)
            .env("TINTWELL_HOME", home.path())
            .stdout(full)
            .output()
            .unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{command:?}: {err}");
        assert!(err.contains("No space left") && !err.contains("panicked"), "{command:?}: {err}");
    }
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2, "what was reported as kept is kept");
}

#[cfg(target_os = "linux")]
#[test]
fn a_log_on_a_read_only_place_is_refused_with_a_way_out() {
    use std::os::unix::fs::PermissionsExt;
    let home = Home::new();
    let locked = home.path().join("locked");
    fs::create_dir(&locked).unwrap();
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    // The administrator may write anywhere but into the kernel's own folders.
    let is_administrator = fs::write(locked.join("probe"), "").is_ok();
    let place = if is_administrator { "/sys/tintwell".into() } else { locked.join("home") };
    let run = home.run(["--home", place.to_str().unwrap(), "add", "--tank", "A", "ph=7"]);
    assert_eq!((run.status, run.out.as_str()), (2, ""));
    assert!(run.err.contains("read-only") && run.err.contains("--home"), "{}", run.err);
}

#[test]
fn a_home_that_is_a_file_is_refused_and_left_alone() {
    let home = Home::new();
    let file = home.path().join("file");
    fs::write(&file, "mine").unwrap();
    let run = home.run(["--home", file.to_str().unwrap(), "add", "--tank", "A", "ph=7"]);
    assert_eq!(run.status, 2);
    assert!(run.err.contains("file"), "{}", run.err);
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
}

/// One file for each version of the format that was ever written.
#[test]
fn logs_of_every_version_are_read() {
    let home = Home::new();
    fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/log/version_1.jsonl"), home.log()).unwrap();
    let run = home.done(["log", "--json"]);
    assert_eq!(run.err, "");
    insta::assert_snapshot!(run.out, @r#"
    {"kind":"event","id":2,"tank":"Lily pond","at":"2031-02-20T09:30:00+01:00","event":"ammonia_dose","amount":2.5,"unit":"mg/L NH3","note":"half a spoon","logged_at":"2031-02-20T10:01:00+01:00","corrected":true}
    {"kind":"reading","id":3,"tank":"Lily pond","taken_at":"2031-02-20T10:50:00+01:00","analyte":"ammonia","status":"read","value":1.5,"low":null,"high":null,"unit":"mg/L NH3","flags":[],"source":"photo","photo":"first/a.jpg","hash":"scan:2f1c","chart":"blue kit","sample":{"x":812,"y":604,"width":96,"height":310},"note":"read by eye","logged_at":"2031-02-20T11:00:00+01:00","corrected":true}
    {"kind":"reading","id":4,"tank":"Lily pond","taken_at":"2031-02-20T10:55:00+01:00","analyte":"nitrite","status":"below_detection","value":0.0,"low":null,"high":0.06,"unit":"mg/L NO2","flags":[],"source":"hand","note":"","logged_at":"2031-02-20T11:01:00+01:00","corrected":false}
    "#);
    insta::assert_snapshot!(home.done(["tank", "Lily pond"]).out, @r"
    Lily pond: readings 2, events 1
      started_at: 2031-02-20T09:00:00+01:00
      tap.ph: 7.8
      volume_l: 110.0
      water: fresh
    ");
}

#[test]
fn a_log_of_a_newer_version_is_said_and_kept() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "ph=7"]);
    let newer = "{\"v\":2,\"kind\":\"dream\",\"id\":2}\n";
    fs::OpenOptions::new().append(true).open(home.log()).unwrap().write_all(newer.as_bytes()).unwrap();
    home.done(["add", "--tank", "A", "ph=7.5"]);
    let run = home.done(["log", "--json"]);
    assert_eq!(run.lines().iter().map(|line| line["id"].as_u64().unwrap()).collect::<Vec<_>>(), [1, 3]);
    assert!(run.err.contains("log.jsonl:2") && run.err.contains("version 2"), "{}", run.err);
    assert!(fs::read_to_string(home.log()).unwrap().contains(newer));
}

#[test]
fn a_torn_last_line_is_named_and_kept_aside_by_the_next_write() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "ph=7"]);
    let whole = fs::read_to_string(home.log()).unwrap();
    fs::write(home.log(), format!("{whole}{}", &whole[..40])).unwrap();
    let listed = home.done(["log", "--json"]);
    assert_eq!(listed.lines().len(), 1);
    let run = home.done(["add", "--tank", "A", "ph=8"]);
    assert!(run.err.contains("log-torn-") && run.err.contains("40 bytes"), "{}", run.err);
    let aside = home.path().join(format!("log-torn-{}-1.txt", whole.len()));
    assert_eq!(fs::read_to_string(aside).unwrap(), whole[..40]);
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2);
    assert_eq!(home.done(["add", "--tank", "A", "ph=9"]).err, "");
}

#[test]
fn hostile_lines_reach_neither_the_terminal_nor_the_other_entries() {
    let home = Home::new();
    home.done(["add", "--tank", "A", "ph=7"]);
    let line = r#"{"v":1,"kind":"reading","id":2,"logged_at":"2031-02-20T11:00:00Z","tank":"\u001b[2J\u202e<script>","taken_at":"0000-01-01T00:00:00Z","analyte":"ph","value":1e308,"note":"\u0007\u001b]0;x\u0007"}"#;
    let raw = b"\x1b[31m raw \xff\xfe\n";
    let mut file = fs::OpenOptions::new().append(true).open(home.log()).unwrap();
    file.write_all(&[line.as_bytes(), b"\n", raw].concat()).unwrap();
    for args in [
        vec!["log"],
        vec!["log", "--all"],
        vec!["tank"],
        vec!["log", "history", "2"],
        vec!["log", "export", "readings"],
    ] {
        let run = home.done(&args);
        let shown = format!("{}{}", run.out, run.err);
        assert!(!shown.contains(['\u{1b}', '\u{7}']) || args.contains(&"export"), "{args:?}: {shown:?}");
    }
    assert_eq!(home.done(["log", "--json"]).lines().len(), 2);
}
