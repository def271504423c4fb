//! A headless Chromium, spoken to over its debugging pipe: JSON messages, each ended by a zero byte.
//!
//! The messages are those of the DevTools protocol (<https://chromedevtools.github.io/devtools-protocol/>).

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use serde_json::{Value, json};
use tempfile::TempDir;

/// Names under which systems know the browser.
const NAMES: [&str; 3] = ["chromium", "chromium-browser", "google-chrome"];
/// Longer than any page here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);
/// Nothing but the page is to be fetched, asked for or remembered.
const QUIET: [&str; 11] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
];

/// A running browser with one page.
pub struct Browser {
    child: Child,
    requests: ChildStdin,
    answers: Receiver<Value>,
    last_id: u64,
    session: Option<String>,
    /// What happened in the page since it was asked to open.
    events: Vec<Value>,
    _profile: TempDir,
}

impl Browser {
    /// Starts a browser; where there is none, says so on standard error.
    pub fn start() -> Option<Self> {
        let Some(name) = installed() else {
            eprintln!("SKIPPED: the page was not opened in a browser: none of {NAMES:?} can be run here");
            return None;
        };
        let profile = tempfile::tempdir().unwrap();
        // The browser reads requests from descriptor 3 and answers on 4; the shell puts our pipes there.
        let mut child = Command::new("sh")
            .args(["-c", r#"exec "$0" "$@" 3<&0 4>&1 0</dev/null 1>/dev/null 2>/dev/null"#, name])
            .args(QUIET)
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, answers) = channel();
        let output = child.stdout.take().unwrap();
        thread::spawn(move || {
            for message in BufReader::new(output).split(0).map_while(Result::ok) {
                if sender.send(serde_json::from_slice(&message).unwrap()).is_err() {
                    break;
                }
            }
        });
        let requests = child.stdin.take().unwrap();
        let mut browser = Self {
            child,
            requests,
            answers,
            last_id: 0,
            session: None,
            events: Vec::new(),
            _profile: profile,
        };
        browser.attach();
        Some(browser)
    }

    fn attach(&mut self) {
        let target = self.ask("Target.createTarget", json!({"url": "about:blank"}))["targetId"].clone();
        let attached = self.ask("Target.attachToTarget", json!({"targetId": target, "flatten": true}));
        self.session = Some(attached["sessionId"].as_str().unwrap().to_owned());
        for domain in ["Page", "Runtime", "Log", "Network"] {
            self.ask(&format!("{domain}.enable"), json!({}));
        }
        self.ask("Emulation.setFocusEmulationEnabled", json!({"enabled": true}));
    }

    /// Sends a command and returns its result.
    pub fn ask(&mut self, method: &str, params: Value) -> Value {
        self.last_id += 1;
        let mut message = json!({"id": self.last_id, "method": method});
        message["params"] = params;
        if let Some(session) = &self.session {
            message["sessionId"] = json!(session);
        }
        write!(self.requests, "{message}\0").unwrap();
        self.requests.flush().unwrap();
        loop {
            let answer = self.next(method);
            if answer["id"] == self.last_id {
                assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
                return answer["result"].clone();
            }
            self.events.push(answer);
        }
    }

    fn next(&self, waiting_for: &str) -> Value {
        self.answers
            .recv_timeout(PATIENCE)
            .unwrap_or_else(|_| panic!("the browser does not answer: {waiting_for}"))
    }

    /// Opens a file of `width` CSS pixels in a colour scheme, and waits until it is loaded.
    pub fn open(&mut self, page: &Path, width: u32, scheme: &str) {
        // The window is as high as any page, so that every part of it can be probed.
        let metrics =
            json!({"width": width, "height": 20_000, "deviceScaleFactor": 1, "mobile": width < 600});
        self.ask("Emulation.setDeviceMetricsOverride", metrics);
        let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
        self.ask("Emulation.setEmulatedMedia", json!({"media": "", "features": features}));
        self.events.clear();
        let url = format!("file://{}", page.canonicalize().unwrap().display());
        self.ask("Page.navigate", json!({"url": url}));
        while !self.events.iter().any(|event| event["method"] == "Page.loadEventFired") {
            let event = self.next("Page.loadEventFired");
            self.events.push(event);
        }
    }

    /// The value of a script's expression, waited for if it is a promise.
    pub fn value(&mut self, script: &str) -> Value {
        let params = json!({"expression": script, "returnByValue": true, "awaitPromise": true});
        let answer = self.ask("Runtime.evaluate", params);
        assert!(answer["exceptionDetails"].is_null(), "{script}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    /// Presses the key that moves the focus on.
    pub fn press_tab(&mut self) {
        for kind in ["rawKeyDown", "keyUp"] {
            let key = json!({"type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9});
            self.ask("Input.dispatchKeyEvent", key);
        }
    }

    /// Errors, warnings, refused contents and dialogs since the page was opened.
    pub fn complaints(&self) -> Vec<String> {
        let is_one = |event: &&Value| match event["method"].as_str().unwrap_or_default() {
            "Log.entryAdded" => event["params"]["entry"]["level"] != "verbose",
            "Runtime.exceptionThrown" | "Runtime.consoleAPICalled" | "Page.javascriptDialogOpening" => true,
            _ => false,
        };
        self.events.iter().filter(is_one).map(|event| event["params"].to_string()).collect()
    }

    /// Addresses that the page asked for, itself and what it carries within left out.
    pub fn fetched(&self) -> Vec<String> {
        let requests = self.events.iter().filter(|event| event["method"] == "Network.requestWillBeSent");
        let urls = requests.filter_map(|event| event["params"]["request"]["url"].as_str());
        urls.filter(|url| !url.starts_with("data:")).skip(1).map(str::to_owned).collect()
    }

    /// Number of pages on paper of a size in inches.
    pub fn printed_pages(&mut self, (width, height): (f64, f64)) -> usize {
        let paper = json!({"paperWidth": width, "paperHeight": height});
        let pdf = self.ask("Page.printToPDF", paper)["data"].as_str().unwrap().to_owned();
        let pdf = from_base64(&pdf);
        let count = |text: &[u8]| pdf.windows(text.len()).filter(|part| *part == text).count();
        count(b"/Type /Page") - count(b"/Type /Pages")
    }

    /// Saves a picture of the page, or of its printed form, for a person to look at.
    pub fn picture(&mut self, file: &Path) {
        let height = self.value("Math.ceil(document.documentElement.getBoundingClientRect().height)");
        let width = self.value("innerWidth");
        let clip = json!({"x": 0, "y": 0, "width": width, "height": height, "scale": 1});
        let png =
            self.ask("Page.captureScreenshot", json!({"clip": clip}))["data"].as_str().unwrap().to_owned();
        std::fs::write(file, from_base64(&png)).unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = write!(self.requests, "{}\0", json!({"id": 0, "method": "Browser.close"}));
        let _ = self.requests.flush();
        for _ in 0..50 {
            if matches!(self.child.try_wait(), Ok(Some(_))) {
                return;
            }
            thread::sleep(Duration::from_millis(100));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The first of the names that can be run.
fn installed() -> Option<&'static str> {
    NAMES.into_iter().find(|name| {
        let asked = Command::new(name).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
        asked.is_ok_and(|status| status.success())
    })
}

/// Bytes of a base64 text (RFC 4648, section 4).
fn from_base64(text: &str) -> Vec<u8> {
    let sextet = |letter: u8| match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let letters: Vec<u8> = text.bytes().filter(|letter| *letter != b'=').collect();
    let group = |four: &[u8]| {
        let word = four.iter().fold(0_u32, |word, &letter| word << 6 | u32::from(sextet(letter)));
        (word << (6 * (4 - four.len()))).to_be_bytes()[1..four.len()].to_vec()
    };
    letters.chunks(4).flat_map(group).collect()
}
