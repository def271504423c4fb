//! Names, notes and photos of unknown origin on their way to the terminal, files and the page.

use std::fs;
use std::path::Path;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

use crate::support::home::Home;
use crate::support::reading::file;

/// A terminal escape, a line break, turned text, HTML, a formula, quotes.
const HOSTILE: &str =
    "=1+1;\u{1b}[2J\u{1b}]0;x\u{7}\n\u{202e}<img src=x onerror=alert(1)>\"',\u{200b}\r\u{9b}31m";

fn is_tame(text: &str) -> bool {
    let is_trick = |c: char| {
        c.is_control() && c != '\n' || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
    };
    !text.chars().any(is_trick)
}

/// A tank with a name of markup, and hostile notes; where the system allows it, a hostile photo name.
fn hostile_home() -> Home {
    let home = Home::new();
    let name = if cfg!(windows) {
        "<b>x'&.jpg".replace(['<', '>'], "_")
    } else {
        format!("{}.jpg", HOSTILE.replace('/', "_"))
    };
    let photo = home.path().join(name);
    fs::copy(file("series/001.jpg"), &photo).unwrap();
    let tank = "<script>alert(1)</script> & \"co\"";
    let at = "2031-03-04T18:05:00+01:00";
    home.done(["tank", tank, "--volume", "60"]);
    home.done(["add", "--tank", tank, "--at", at, "--note", HOSTILE, "ph=7"]);
    home.done(["event", "--tank", tank, "--at", at, "--note", HOSTILE, "food=1"]);
    home.done([
        "read".as_ref(),
        "--chart".as_ref(),
        "rendered-ammonia".as_ref(),
        "--tank".as_ref(),
        tank.as_ref(),
        photo.as_os_str(),
    ]);
    home
}

#[test]
fn nothing_hostile_reaches_the_terminal_from_any_command() {
    let home = hostile_home();
    for args in [
        &["log"][..],
        &["log", "--all"],
        &["log", "history", "2"],
        &["log", "history", "4"],
        &["tank"],
        &["assess"],
        &["log", "withdraw", "2", "--reason", HOSTILE],
        &["read", "--chart", HOSTILE, "none.jpg"],
        &["read", "--dry-run", "--chart", "rendered-ammonia", HOSTILE],
        &["verify", HOSTILE],
        &["import", HOSTILE],
        &["add", "--tank", HOSTILE, "ph=7"],
        &["add", "--tank", "A", HOSTILE],
        &["log", "history", HOSTILE],
    ] {
        let run = home.run(args);
        assert!(is_tame(&run.out) && is_tame(&run.err), "{args:?}: {:?} {:?}", run.out, run.err);
        assert!(!run.out.is_empty() || !run.err.is_empty(), "{args:?}");
    }
}

/// A chart made by somebody else, with tricks in every word that it can hold.
#[test]
fn nothing_hostile_in_a_chart_from_elsewhere_reaches_the_terminal() {
    let home = Home::new();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/rendered-ammonia.json");
    let mut chart: serde_json::Value = serde_json::from_slice(&fs::read(shipped).unwrap()).unwrap();
    chart["name"] = HOSTILE.into();
    chart["leaflet"] = serde_json::json!({ "shake": HOSTILE, "wait_minutes": 5.0 });
    let own = home.path().join("calibration");
    fs::create_dir_all(&own).unwrap();
    fs::write(own.join("elsewhere.json"), chart.to_string()).unwrap();
    let photo = file("series/001.jpg");
    let photo = photo.to_str().unwrap();
    for args in [
        &["read", "--dry-run", "--chart", "elsewhere", "--temperature", "10", photo][..],
        &["read", "--tank", "A", "--mixed-at", "2031-03-04 18:00", "--chart", "elsewhere", photo],
        &["calibrate", "elsewhere", "--temperature", "18..28"],
        &["calibrate", "elsewhere", "--add", &format!("{photo}=2")],
        &["log", "--all"],
        &["log", "checks"],
    ] {
        let run = home.run(args);
        assert!(is_tame(&run.out) && is_tame(&run.err), "{args:?}: {:?} {:?}", run.out, run.err);
        assert!(!run.out.is_empty() || !run.err.is_empty(), "{args:?}");
    }
}

#[test]
fn every_line_of_json_is_one_object_and_keeps_the_words_whole() {
    let home = hostile_home();
    let lines = home.done(["log", "--json"]).lines();
    assert!(lines.iter().all(serde_json::Value::is_object));
    assert_eq!(lines.iter().filter(|line| line["note"] == HOSTILE).count(), 2);
    let stored = fs::read_to_string(home.log()).unwrap();
    assert_eq!(stored.lines().count(), 4, "a line for each entry");
    assert!(is_tame(&stored.replace(['\u{202e}', '\u{200b}', '\u{9b}'], "")), "{stored:?}");
}

#[test]
fn tables_come_back_with_the_same_words_and_start_no_formula() {
    let home = hostile_home();
    for kind in ["readings", "events"] {
        let run = home.done(["log", "export", kind]);
        let mut reader = csv::Reader::from_reader(run.out.as_bytes());
        let headers = reader.headers().unwrap().clone();
        for row in reader.records() {
            let row = row.unwrap();
            assert_eq!(row.len(), headers.len());
            assert!(row.iter().all(|cell| !cell.starts_with(['=', '+', '@'])), "{row:?}");
        }
        let table = home.path().join(format!("{kind}.csv"));
        fs::write(&table, &run.out).unwrap();
        let other = Home::new();
        other.done(["import".as_ref(), table.as_os_str()]);
        assert!(other.done(["log", "--json"]).lines().iter().any(|line| line["note"] == HOSTILE), "{kind}");
    }
}

#[test]
fn the_page_holds_hostile_words_as_words_under_a_strict_policy() {
    let home = hostile_home();
    let out = home.path().join("page.html");
    home.done([
        "report".as_ref(),
        "--at".as_ref(),
        "2031-03-05T08:00:00+01:00".as_ref(),
        "--out".as_ref(),
        out.as_os_str(),
    ]);
    let page = fs::read_to_string(out).unwrap();
    assert!(is_tame(&page));
    assert!(!page.contains("<script") && !page.contains("<img src=x") && page.contains("&lt;img src=x"));
    let policy =
        page.split("Content-Security-Policy\" content=\"").nth(1).unwrap().split('"').next().unwrap();
    assert!(policy.starts_with("default-src 'none'; img-src data:; style-src 'sha256-"), "{policy}");
    assert!(policy.contains("base-uri 'none'") && policy.contains("form-action 'none'"), "{policy}");
    assert!(!policy.contains("unsafe"), "{policy}");
    for remote in ["http://", "https://", "src=\"/", "url("] {
        let without_names = page.replace("http://www.w3.org/", "");
        assert!(!without_names.contains(remote), "{remote}");
    }
}

/// Words that only the EXIF data of the photo below hold.
const PRIVATE: [&str; 5] = ["Ottilie Owner", "SERIAL-771", "Private Maker", "Secret comment", "48.137"];

/// The rendered photo with position, owner, serial number, comment and extended metadata.
fn private_photo() -> Vec<u8> {
    let text = |tag, text: &str| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Ascii(vec![text.as_bytes().to_vec()]),
    };
    let degrees =
        |parts: [u32; 3]| Value::Rational(parts.iter().map(|&num| Rational { num, denom: 1 }).collect());
    let fields = [
        text(Tag::Artist, PRIVATE[0]),
        text(Tag::CameraOwnerName, PRIVATE[0]),
        text(Tag::BodySerialNumber, PRIVATE[1]),
        text(Tag::Make, PRIVATE[2]),
        text(Tag::DateTimeOriginal, "2031:03:04 18:05:00"),
        text(Tag::OffsetTimeOriginal, "+01:00"),
        text(Tag::GPSLatitudeRef, "N"),
        Field { tag: Tag::GPSLatitude, ifd_num: In::PRIMARY, value: degrees([48, 8, 13]) },
    ];
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut tiff = std::io::Cursor::new(Vec::new());
    writer.write(&mut tiff, false).unwrap();
    let segment = |marker: u8, parts: &[&[u8]]| {
        let body = parts.concat();
        [&[0xff, marker][..], &((body.len() + 2) as u16).to_be_bytes(), &body].concat()
    };
    let old = fs::read(file("series/001.jpg")).unwrap();
    // The photo's own EXIF data stand first (APP1), or behind APP0.
    let mut rest = &old[2..];
    while matches!(rest[1], 0xe0..=0xe1) {
        rest = &rest[2 + usize::from(u16::from_be_bytes([rest[2], rest[3]]))..];
    }
    let extended = format!("http://ns.adobe.com/xap/1.0/\0<x:xmpmeta exif:GPSLatitude=\"{}N\"/>", PRIVATE[4]);
    [
        &[0xff, 0xd8][..],
        &segment(0xe1, &[b"Exif\0\0", tiff.get_ref()]),
        &segment(0xe1, &[extended.as_bytes()]),
        &segment(0xfe, &[PRIVATE[3].as_bytes()]),
        rest,
    ]
    .concat()
}

#[test]
fn nothing_of_place_owner_or_device_leaves_the_photo() {
    let home = Home::new();
    let photo = home.path().join("a.jpg");
    fs::write(&photo, private_photo()).unwrap();
    let holds = |bytes: &[u8], word: &str| bytes.windows(word.len()).any(|window| window == word.as_bytes());
    assert!(PRIVATE.iter().all(|word| holds(&fs::read(&photo).unwrap(), word)), "the photo carries them");
    let mut shown = Vec::new();
    for ending in ["png", "jpg", "webp"] {
        let picture = home.path().join(format!("look.{ending}"));
        let run = home.done([
            "--json".as_ref(),
            "read".as_ref(),
            "--chart".as_ref(),
            "rendered-ammonia".as_ref(),
            "--tank".as_ref(),
            "A".as_ref(),
            "--picture".as_ref(),
            picture.as_os_str(),
            photo.as_os_str(),
        ]);
        assert!(run.out.contains("2031-03-04T18:05:00+01:00"), "the time is read: {}", run.out);
        shown.push((ending, [run.out.as_bytes(), run.err.as_bytes()].concat()));
        let bytes = fs::read(&picture).unwrap();
        assert!(!holds(&bytes, "Exif") && !holds(&bytes, "EXIF") && !holds(&bytes, "eXIf"), "{ending}");
        shown.push((ending, bytes));
    }
    let page = home.path().join("page.html");
    home.done([
        "report".as_ref(),
        "--at".as_ref(),
        "2031-03-05T08:00:00+01:00".as_ref(),
        "--out".as_ref(),
        page.as_os_str(),
    ]);
    let html = fs::read_to_string(&page).unwrap();
    assert!(html.contains("data:image/jpeg;base64,"), "the page shows the sample");
    assert!(!html.contains("RXhpZg"), "no EXIF data in the pictures of the page");
    shown.push(("page", html.into_bytes()));
    shown.push(("log", fs::read(home.log()).unwrap()));
    shown.push(("export", home.done(["log", "export", "json"]).out.into_bytes()));
    shown.push(("table", home.done(["log", "export", "readings"]).out.into_bytes()));
    for (what, bytes) in &shown {
        for word in PRIVATE {
            assert!(!holds(bytes, word), "{what} holds {word}");
        }
    }
}
