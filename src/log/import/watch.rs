//! Which files of a folder have come to rest.
//!
//! A phone or a sync service may still be writing a file that is already to be seen. It is taken once its
//! size and time of change have been the same at two looks in a row, and again if they change later.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// What tells that a file has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Size, bytes.
    pub length: u64,
    /// Time of the last change, where the system tells it.
    pub changed: Option<SystemTime>,
}

impl Stamp {
    /// The stamp of a file; `None` if it has gone.
    pub fn of(path: &Path) -> Option<Self> {
        let meta = std::fs::metadata(path).ok()?;
        Some(Self { length: meta.len(), changed: meta.modified().ok() })
    }
}

/// Remembers the last look.
#[derive(Debug, Default)]
pub struct Watch {
    /// Each file's stamp, and whether it has been given out with it.
    files: HashMap<PathBuf, (Stamp, bool)>,
}

impl Watch {
    /// Takes in a look at the folder; gives back the files that have come to rest since the last.
    pub fn look(&mut self, listing: impl IntoIterator<Item = (PathBuf, Stamp)>) -> Vec<PathBuf> {
        let mut rested = Vec::new();
        let mut now = HashMap::new();
        for (path, stamp) in listing {
            let given = match self.files.get(&path) {
                Some((before, given)) if *before == stamp => {
                    if !given && stamp.length > 0 {
                        rested.push(path.clone());
                    }
                    *given || stamp.length > 0
                }
                _ => false,
            };
            now.insert(path, (stamp, given));
        }
        self.files = now;
        rested.sort();
        rested
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(watch: &mut Watch, files: &[(&str, u64)]) -> Vec<String> {
        let listing = files.iter().map(|&(name, length)| (name.into(), Stamp { length, changed: None }));
        watch.look(listing).into_iter().map(|path| path.display().to_string()).collect()
    }

    #[test]
    fn a_file_is_given_out_once_when_it_no_longer_grows() {
        let mut watch = Watch::default();
        assert!(look(&mut watch, &[("a", 0)]).is_empty());
        assert!(look(&mut watch, &[("a", 0)]).is_empty(), "an empty file is not complete");
        assert!(look(&mut watch, &[("a", 10)]).is_empty());
        assert!(look(&mut watch, &[("a", 20), ("b", 5)]).is_empty());
        assert_eq!(look(&mut watch, &[("a", 20), ("b", 6)]), ["a"]);
        assert_eq!(look(&mut watch, &[("a", 20), ("b", 6)]), ["b"]);
        assert!(look(&mut watch, &[("a", 20), ("b", 6)]).is_empty());
    }

    #[test]
    fn a_file_that_changes_or_comes_back_is_given_out_again() {
        let mut watch = Watch::default();
        for files in [&[("a", 5)][..], &[("a", 5)], &[("a", 9)]] {
            look(&mut watch, files);
        }
        assert_eq!(look(&mut watch, &[("a", 9)]), ["a"]);
        assert!(look(&mut watch, &[]).is_empty());
        assert!(look(&mut watch, &[("a", 9)]).is_empty());
        assert_eq!(look(&mut watch, &[("a", 9)]), ["a"]);
    }
}
