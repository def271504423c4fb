//! The program needs no network and has nothing to reach one with.

use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Crates that open connections, and those that others open them with.
const NETWORKING: [&str; 34] = [
    "actix-web",
    "async-net",
    "async-std",
    "attohttpc",
    "axum",
    "curl",
    "curl-sys",
    "git2",
    "h2",
    "hickory-resolver",
    "hyper",
    "isahc",
    "lettre",
    "libp2p",
    "mio",
    "minreq",
    "native-tls",
    "openssl",
    "openssl-sys",
    "quinn",
    "reqwest",
    "rustls",
    "smol",
    "socket2",
    "ssh2",
    "surf",
    "tokio",
    "tonic",
    "tungstenite",
    "ureq",
    "warp",
    "webbrowser",
    "websocket",
    "zbus",
];

#[test]
fn no_crate_in_the_tree_opens_connections() {
    let lock = std::fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let names: Vec<&str> =
        lock.lines().filter_map(|line| line.strip_prefix("name = \"")?.strip_suffix('"')).collect();
    assert!(names.len() > 50 && names.contains(&"tintwell"));
    let met: Vec<&&str> = names.iter().filter(|name| NETWORKING.contains(name)).collect();
    assert!(met.is_empty(), "{met:?}");
}

fn sources(folder: &Path, found: &mut Vec<(PathBuf, String)>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let text = std::fs::read_to_string(&path).unwrap();
            let code = text.lines().map(|line| line.split("//").next().unwrap_or_default());
            found.push((path, code.collect::<Vec<_>>().join("\n")));
        }
    }
}

fn assert_absent(what: &[&str]) {
    let mut found = Vec::new();
    sources(&root().join("src"), &mut found);
    assert!(found.len() > 100, "{} sources", found.len());
    for (path, code) in &found {
        for word in what {
            assert!(!code.contains(word), "{} holds {word}", path.display());
        }
    }
}

#[test]
fn no_source_names_a_socket_or_starts_another_program() {
    assert_absent(&[
        "std::net",
        "TcpStream",
        "TcpListener",
        "UdpSocket",
        "UnixStream",
        "Command::new",
        "process::Command",
    ]);
}

/// Paths, locks and terminals go through portable crates and the standard library.
#[test]
fn no_source_is_tied_to_one_operating_system() {
    let ties = [
        "std::os::",
        "libc::",
        "nix::",
        "windows_sys",
        "winapi",
        "cfg(unix",
        "cfg(windows",
        "target_os",
        "target_family",
        "\"/dev/",
        "\"/etc/",
        "\"/home/",
        "\"/proc/",
        "\"/tmp",
        "\"/usr/",
        "\"/var/",
        "C:\\\\",
        "cmd.exe",
        "\"HOME\"",
        "\"APPDATA\"",
        "\"USERPROFILE\"",
    ];
    assert_absent(&ties);
}

/// Runs the main commands where there is no network device but an unconfigured loopback. A system that
/// lets nobody make such a place cannot show it: the test then says so.
#[cfg(target_os = "linux")]
#[test]
fn the_main_commands_run_without_a_network() {
    use std::process::Command;
    let inside = |arguments: &[&str]| Command::new("unshare").args(["-r", "-n"]).args(arguments).output();
    let devices = inside(&["cat", "/proc/net/route"]);
    if !devices.as_ref().is_ok_and(|output| output.status.success()) {
        eprintln!(
            "NOT SHOWN: this system does not let a test take the network away (unshare -r -n): {devices:?}"
        );
        return;
    }
    let routes = String::from_utf8(devices.unwrap().stdout).unwrap();
    assert!(routes.lines().count() <= 1, "a route out of the place without a network: {routes}");
    let home = tempfile::tempdir().unwrap();
    let program = env!("CARGO_BIN_EXE_tintwell");
    let photo = root().join("fixtures/photos/series/001.jpg");
    let (photo, page, demo) = (photo.to_str().unwrap(), home.path().join("p.html"), home.path().join("demo"));
    let card = home.path().join("card.pdf");
    for arguments in [
        &["card", "--out", card.to_str().unwrap()][..],
        &["standards", "ammonia"],
        &["add", "--tank", "A", "ph=7.4"],
        &["read", "--tank", "A", "--chart", "rendered-ammonia", photo],
        &["log"],
        &["assess"],
        &["report", "--out", page.to_str().unwrap()],
        &["demo", demo.to_str().unwrap()],
        &["import", "--tank", "B", demo.join("readings.csv").to_str().unwrap()],
    ] {
        let all = [&[program, "--home", home.path().to_str().unwrap()], arguments].concat();
        let output = inside(&all).unwrap();
        assert_eq!(
            output.status.code(),
            Some(0),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
}
