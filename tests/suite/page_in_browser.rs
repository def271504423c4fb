//! The page in a headless Chromium: phone and desktop, light and dark, keyboard and print.
//!
//! Where no browser is installed every test here says so on standard error and checks nothing; `.ci/run`
//! installs one.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use tempfile::TempDir;

use crate::browser::Browser;
use crate::support::home;
use crate::support::reading::file;

/// What a script finds wrong with an open page.
const CHECKS: &str = include_str!("browser/checks.js");
/// CSS pixels of a narrow window (WCAG 2.2, success criterion 1.4.10), a phone and a desktop.
const WIDTHS: [u32; 3] = [320, 360, 1280];
const SCHEMES: [&str; 2] = ["light", "dark"];
/// A4 and US Letter, inches.
const PAPERS: [(f64, f64); 2] = [(8.27, 11.69), (8.5, 11.0)];
const HOSTILE: &str = "<script>alert(1)</script><img src=x onerror=alert(2)>";

/// Pages of invented tanks.
struct Pages {
    /// A tank that is ready, with a photo among its readings.
    ready: PathBuf,
    /// The same tank weeks before, with a forecast.
    waiting: PathBuf,
    /// Two tanks, one with hostile words wherever a keeper can put words, and a withdrawn reading.
    all: PathBuf,
    /// The contact sheet of an import, one photo of which is refused.
    sheet: PathBuf,
}

fn tintwell(home: &Path, words: &[&str]) {
    home::tintwell(home).args(words).assert().success();
}

/// The pages, written once.
fn pages() -> &'static Pages {
    static PAGES: OnceLock<(TempDir, Pages)> = OnceLock::new();
    &PAGES
        .get_or_init(|| {
            let folder = tempfile::tempdir().unwrap();
            let pages = write_pages(folder.path());
            (folder, pages)
        })
        .1
}

fn write_pages(folder: &Path) -> Pages {
    let demo = folder.join("demo");
    tintwell(folder, &["demo", demo.to_str().unwrap()]);
    let home = demo.join("home");
    let waiting = demo.join("waiting.html");
    let all = demo.join("all.html");
    tintwell(&home, &["report", "--at", "2024-02-20T12:00:00+01:00", "--out", waiting.to_str().unwrap()]);
    let at = ["--at", "2024-03-09T12:00:00+01:00"];
    let add = |words: &[&str]| {
        tintwell(&home, &[&["add", "--tank", HOSTILE, "--note", HOSTILE], &at[..], words].concat());
    };
    add(&["ammonia=1.5", "nitrite=0.2", "nitrate=20", "ph=7.2", "alkalinity=2"]);
    tintwell(
        &home,
        &[&["event", "--tank", HOSTILE, "--note", HOSTILE], &at[..], &["ammonia_dose=2"]].concat(),
    );
    tintwell(&home, &["log", "withdraw", "102", "--reason", HOSTILE]);
    tintwell(&home, &["report", "--at", "2024-03-10T19:00:00+01:00", "--out", all.to_str().unwrap()]);
    let sheet = demo.join("sheet.html");
    let import = ["import", "--tank", HOSTILE, "--chart", "rendered-ammonia", "--contact-sheet"];
    home::tintwell(folder.join("import"))
        .args(import)
        .args([sheet.as_path(), &file("refuse/005.jpg"), &file("ammonia_unknown/003.jpg")])
        .assert()
        .code(1);
    Pages { ready: demo.join("north-window.html"), waiting, all, sheet }
}

fn each() -> [(&'static str, &'static Path); 4] {
    let pages = pages();
    [("ready", &pages.ready), ("waiting", &pages.waiting), ("all", &pages.all), ("sheet", &pages.sheet)]
}

#[test]
fn every_page_fits_and_can_be_read_at_every_width_in_both_schemes() {
    let Some(mut browser) = Browser::start() else { return };
    for (name, page) in each() {
        for (width, scheme) in WIDTHS.into_iter().flat_map(|width| SCHEMES.map(|scheme| (width, scheme))) {
            browser.open(page, width, scheme);
            let found = browser.value(CHECKS);
            assert_eq!(found, serde_json::json!([]), "{name}, {width} px, {scheme}");
            let opened = "document.querySelectorAll('details').forEach(part => part.open = true)";
            browser.value(opened);
            let found = browser.value(CHECKS);
            assert_eq!(found, serde_json::json!([]), "{name}, {width} px, {scheme}, all unfolded");
            assert_eq!(browser.complaints(), Vec::<String>::new(), "{name}");
            assert_eq!(browser.fetched(), Vec::<String>::new(), "{name}");
            if let Some(folder) = std::env::var_os("TINTWELL_SCREENSHOTS") {
                browser.open(page, width, scheme);
                browser.picture(&Path::new(&folder).join(format!("{name}-{width}-{scheme}.png")));
            }
        }
    }
}

/// So that silence means something: each of these is a fault that the checks are there to find.
#[test]
fn the_checks_find_what_is_wrong_with_a_bad_page() {
    let Some(mut browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let faults = [
        ("<h1>a</h1><p style='color:#999'>pale</p>", "contrast 2.85"),
        ("<h1>a</h1><div style='width:2000px'>wide</div>", "px wide in a window"),
        ("<h1>a</h1><h3>b</h3>", "skips to h3"),
        ("<h1>a</h1><a href='#none'>b</a>", "leads nowhere"),
        ("<h1>a</h1><img src='data:image/gif;base64,R0lGODlhAQABAAAAACw=' alt='b'>", "takes its room"),
        ("<h1>a</h1><svg viewBox='0 0 2000 9'><text y='9' font-size='9'>tiny</text></svg>", "px high"),
    ];
    for (body, complaint) in faults {
        let page = folder.path().join("bad.html");
        std::fs::write(&page, format!("<!DOCTYPE html><html lang=en><title>bad</title><body>{body}"))
            .unwrap();
        browser.open(&page, 1280, "light");
        let found = browser.value(CHECKS).to_string();
        assert!(found.contains(complaint), "{body}: {found}");
    }
    let page = folder.path().join("noisy.html");
    let policy = "<meta http-equiv=Content-Security-Policy content=\"default-src 'none'\">";
    std::fs::write(&page, format!("{policy}<style>p{{color:red}}</style><img src='file:///none.png'>"))
        .unwrap();
    browser.open(&page, 1280, "light");
    assert!(browser.complaints().len() >= 2, "{:?}", browser.complaints());
}

#[test]
fn nothing_moves_while_a_page_is_shown() {
    let Some(mut browser) = Browser::start() else { return };
    let shift = "new Promise(done => {
        let sum = 0;
        new PerformanceObserver(list => list.getEntries().forEach(entry => sum += entry.value))
            .observe({ type: 'layout-shift', buffered: true });
        setTimeout(() => done(sum), 300);
    })";
    for (name, page) in each() {
        for width in WIDTHS {
            browser.open(page, width, "light");
            assert_eq!(browser.value(shift), 0, "{name}, {width} px");
        }
    }
}

/// An outline round what holds the focus, or for a reading in a plot the ring round it.
const SHOWS_FOCUS: &str = "(node => {
    const ring = node.querySelector('.ring');
    const style = getComputedStyle(node);
    return ring ? getComputedStyle(ring.parentNode).display !== 'none' : style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
})(document.activeElement)";

#[test]
fn the_tab_key_reaches_everything_in_order_and_shows_where_it_is() {
    let Some(mut browser) = Browser::start() else { return };
    browser.open(&pages().all, 1280, "light");
    let count = browser.value(
        "window.reachable = [...document.querySelectorAll('a[href], summary, [tabindex=\"0\"]')]
            .filter(node => node.checkVisibility()); reachable.length",
    );
    let count = count.as_u64().unwrap();
    assert!(count > 10, "{count}");
    for place in 0..count {
        browser.press_tab();
        let reached = browser.value("reachable.indexOf(document.activeElement)");
        let node = browser.value("document.activeElement.outerHTML.slice(0, 200)");
        assert_eq!(reached, place, "{node}");
        let shows = browser.value(SHOWS_FOCUS);
        assert_eq!(shows, true, "the focus does not show: {node}");
    }
}

#[test]
fn a_reading_that_is_pointed_at_or_focused_is_told_with_its_photo() {
    let Some(mut browser) = Browser::start() else { return };
    browser.open(&pages().ready, 1280, "light");
    let told =
        "[...document.querySelectorAll('.told')].filter(node => getComputedStyle(node).display !== 'none')
        .map(node => [node.textContent, node.querySelector('use')?.getBoundingClientRect().height > 20])";
    assert_eq!(browser.value(told), serde_json::json!([]));
    let place = browser.value(
        "window.spot = [...document.querySelectorAll('.at')].find(node => node.querySelector('use'));
        (box => [box.x + box.width / 2, box.y + box.height / 2])(spot.querySelector('.spot').getBoundingClientRect())",
    );
    let (x, y) = (&place[0], &place[1]);
    browser.ask("Input.dispatchMouseEvent", serde_json::json!({"type": "mouseMoved", "x": x, "y": y}));
    let hovered = browser.value(told);
    assert_eq!(hovered[0][1], true, "{hovered}");
    assert!(hovered[0][0].as_str().unwrap().contains("mg/L NO3"), "{hovered}");
    browser.ask("Input.dispatchMouseEvent", serde_json::json!({"type": "mouseMoved", "x": 1, "y": 1}));
    assert_eq!(browser.value(told), serde_json::json!([]));
    browser.value("spot.focus()");
    assert_eq!(browser.value(told), hovered);
}

#[test]
fn hostile_names_and_notes_are_text() {
    let Some(mut browser) = Browser::start() else { return };
    browser.open(&pages().all, 1280, "light");
    assert_eq!(browser.value("document.querySelectorAll('script, [onerror]').length"), 0);
    let headings = browser.value("[...document.querySelectorAll('h2')].map(node => node.textContent)");
    assert!(headings.as_array().unwrap().iter().any(|name| name == HOSTILE), "{headings}");
    let notes = browser.value(&format!(
        "[...document.querySelectorAll('td')].filter(node => node.textContent.includes({HOSTILE:?})).length"
    ));
    assert!(notes.as_u64().unwrap() >= 6, "{notes} notes");
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn an_ordinary_tank_prints_on_two_pages() {
    let Some(mut browser) = Browser::start() else { return };
    let pages = pages();
    for (name, page) in [("ready", &pages.ready), ("waiting", &pages.waiting)] {
        for paper in PAPERS {
            browser.open(page, 1280, "dark");
            assert!(
                browser.printed_pages(paper) <= 2,
                "{name} takes more than two pages of {paper:?} inches"
            );
        }
    }
}
