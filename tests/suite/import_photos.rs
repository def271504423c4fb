//! A folder of dated photos goes into the log once, however often it is imported.

use std::path::Path;

use serde_json::Value;

use crate::support::home::tintwell;
use crate::support::reading::file;

fn import(home: &Path, folder: &Path) -> (String, i32) {
    let output = tintwell(home)
        .args(["import", "--tank", "pond", "--chart", "rendered-ammonia"])
        .arg(folder)
        .output()
        .unwrap();
    let told = [output.stdout, output.stderr].concat();
    (String::from_utf8(told).unwrap(), output.status.code().unwrap())
}

fn log(home: &Path) -> Vec<Value> {
    let output = tintwell(home).args(["--json", "log"]).output().unwrap();
    String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

#[test]
fn a_folder_of_photos_is_logged_once_under_any_names() {
    let home = tempfile::tempdir().unwrap();
    let (told, status) = import(home.path(), &file("ammonia_unknown"));
    assert!(told.contains("12 logged (12 readings)"), "{told}");
    assert_eq!(status, 0);
    let (told, _) = import(home.path(), &file("ammonia_unknown"));
    assert!(told.contains("0 logged (0 readings), 12 known already"), "{told}");
    let renamed = tempfile::tempdir().unwrap();
    std::fs::copy(file("ammonia_unknown/003.jpg"), renamed.path().join("another name.JPG")).unwrap();
    let (told, _) = import(home.path(), renamed.path());
    assert!(told.contains("1 known already"), "{told}");
    let log = log(home.path());
    assert_eq!(log.len(), 12);
    assert!(log.iter().all(|entry| entry["kind"] == "reading" && entry["tank"] == "pond"));
}

#[test]
fn the_contact_sheet_shows_every_photo_and_what_became_of_it() {
    let home = tempfile::tempdir().unwrap();
    let sheet = home.path().join("sheet.html");
    let import = |out: &Path| {
        let mut command = tintwell(&home);
        command.args(["import", "--tank", "pond"]);
        command.args(["--chart", "rendered-ammonia", "--contact-sheet"]).arg(out);
        command.args([file("refuse/005.jpg"), file("ammonia_unknown/003.jpg")]).assert()
    };
    import(&sheet).code(1);
    let page = std::fs::read_to_string(&sheet).unwrap();
    assert_eq!(page.matches("data:image/jpeg;base64,").count(), 2, "both photos are shown");
    assert!(page.contains("✕ ") && page.contains("✓ ") && page.contains("003.jpg"), "{page}");
    assert!(page.contains("1 logged (1 readings)") && page.ends_with("</html>\n"));
    // The sample is kept for the page, and a second import knows the photo.
    assert_eq!(std::fs::read_dir(home.path().join("samples")).unwrap().count(), 1);
    import(&sheet).code(1);
    assert!(std::fs::read_to_string(&sheet).unwrap().contains("in the log already"));
    import(&home.path().join("sheet.txt")).code(2);
}

#[test]
fn one_bad_photo_never_stops_the_rest() {
    let home = tempfile::tempdir().unwrap();
    let folder = tempfile::tempdir().unwrap();
    for (from, to) in
        [("refuse/029.jpg", "a.jpg"), ("ammonia_unknown/003.jpg", "b.jpg"), ("refuse/005.jpg", "c.jpg")]
    {
        std::fs::copy(file(from), folder.path().join(to)).unwrap();
    }
    let (told, status) = import(home.path(), folder.path());
    assert!(told.contains("1 logged (1 readings)") && told.contains("2 to mend"), "{told}");
    assert!(told.contains("window is empty"), "{told}");
    assert_eq!(status, 1);
    assert_eq!(log(home.path()).len(), 1);
}
