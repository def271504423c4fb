//! Which files there are to import, and of what kind each is.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

/// What a file is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A tank file.
    Facts,
    /// A table of readings or events.
    Table,
    /// A photo.
    Photo,
}

/// A file to import.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// Where it is.
    pub path: PathBuf,
    /// What it is taken for.
    pub kind: Kind,
    /// Whether it was named itself and not found in a folder; then it must be importable.
    pub named: bool,
}

/// What was found under the paths given.
#[derive(Debug, Default)]
pub struct Found {
    /// Tank files first, then tables, then photos, each by path.
    pub files: Vec<Candidate>,
    /// What could not be looked at, and why.
    pub unreadable: Vec<(PathBuf, String)>,
    /// Files in folders that are none of these.
    pub passed_over: Vec<PathBuf>,
}

/// Looks at files, and into folders and the folders in them.
pub fn find(paths: &[PathBuf]) -> Found {
    let mut found = Found::default();
    for path in paths {
        if path.is_dir() {
            search(path, &mut found);
            continue;
        }
        match kind_by_content(path) {
            Ok(kind) => found.files.push(Candidate { path: path.clone(), kind, named: true }),
            Err(error) => found.unreadable.push((path.clone(), format!("cannot be read: {error}"))),
        }
    }
    found.files.sort_by(|a, b| (a.kind as u8, &a.path).cmp(&(b.kind as u8, &b.path)));
    found.files.dedup_by(|a, b| a.path == b.path);
    found
}

fn search(folder: &Path, found: &mut Found) {
    // Links are not followed: a circle of them would never end.
    for entry in WalkDir::new(folder).sort_by_file_name() {
        match entry {
            Ok(entry) if entry.file_type().is_file() => {
                let path = entry.into_path();
                match kind_by_name(&path) {
                    Some(kind) => found.files.push(Candidate { path, kind, named: false }),
                    None => found.passed_over.push(path),
                }
            }
            Ok(_) => {}
            Err(error) => {
                let path = error.path().unwrap_or(folder).to_owned();
                found.unreadable.push((path, format!("cannot be looked at: {error}")));
            }
        }
    }
}

/// What the name of a file in a folder promises; hidden and half-copied files promise nothing.
pub fn kind_by_name(path: &Path) -> Option<Kind> {
    if path.file_name()?.to_string_lossy().starts_with('.') {
        return None;
    }
    match path.extension()?.to_string_lossy().to_lowercase().as_str() {
        "json" => Some(Kind::Facts),
        "csv" | "tsv" => Some(Kind::Table),
        "jpg" | "jpeg" | "png" | "webp" | "heic" | "heif" => Some(Kind::Photo),
        _ => None,
    }
}

/// What the first bytes of a file say.
fn kind_by_content(path: &Path) -> std::io::Result<Kind> {
    let mut head = Vec::new();
    File::open(path)?.take(64).read_to_end(&mut head)?;
    if kind_by_name(path) == Some(Kind::Photo) || is_picture(&head) {
        return Ok(Kind::Photo);
    }
    let text = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&head);
    let is_object = text.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'{');
    Ok(if is_object { Kind::Facts } else { Kind::Table })
}

fn is_picture(head: &[u8]) -> bool {
    head.starts_with(b"\xff\xd8\xff")
        || head.starts_with(b"\x89PNG")
        || (head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP"))
        || head.get(4..8) == Some(b"ftyp")
}
