//! `import --watch`: a photo is taken up once it is complete, and only once.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

#[test]
fn a_photo_that_arrives_slowly_is_taken_up_whole() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("in");
    fs::create_dir(&folder).unwrap();
    let mut program = Command::new(assert_cmd::cargo::cargo_bin!("tintwell"))
        .args(["--json", "import", "--watch", "--tank", "A"])
        .arg(&folder)
        .env("TINTWELL_HOME", home.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(program.stderr.take().unwrap()).lines();
    assert!(said.next().unwrap().unwrap().contains("watching"));
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photo/orientation_1.jpg");
    let bytes = fs::read(photo).unwrap();
    let arriving = folder.join("20310304_180500.jpg");
    let mut file = fs::File::create(&arriving).unwrap();
    for part in bytes.chunks(bytes.len().div_ceil(12)) {
        file.write_all(part).unwrap();
        file.flush().unwrap();
        std::thread::sleep(Duration::from_millis(250));
    }
    // The picture shows no card, so it is refused. Should this test have been held up for seconds, it is
    // refused for being cut off before, and tried again when it has grown.
    let lines = BufReader::new(program.stdout.take().unwrap()).lines();
    let mut lines = lines.map(|line| serde_json::from_str::<serde_json::Value>(&line.unwrap()).unwrap());
    let line = lines.find(|line| !line["reason"].as_str().unwrap().contains("cut off")).unwrap();
    program.kill().unwrap();
    program.wait().unwrap();
    assert_eq!(
        (&line["photo"], &line["status"]),
        (&arriving.display().to_string().into(), &"refused".into())
    );
}
