//! Small files of the home folder that several processes may change: whole or not at all, one at a time.

use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

use anyhow::{Context, Result};

/// The contents of a file; `None` if there is none.
///
/// # Errors
/// It is there and cannot be read.
pub fn read(path: &Path) -> Result<Option<Vec<u8>>> {
    match fs::read(path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error).with_context(|| format!("cannot read {}", path.display())),
    }
}

/// Reads a file, has it changed and writes it, while no other process does the same: an
/// operating-system lock on the file of the same name that ends in `.lock` is held meanwhile. The new
/// contents take the old ones' place in one step.
///
/// # Errors
/// The file cannot be read or written, or `change` refuses; then it stays as it was.
pub fn change(path: &Path, change: impl FnOnce(Option<Vec<u8>>) -> Result<Vec<u8>>) -> Result<()> {
    let writing = || format!("cannot write {}: check that its folder can be written", path.display());
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).with_context(writing)?;
    let lock = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .open(path.with_extension("lock"))
        .with_context(writing)?;
    lock.lock().with_context(writing)?;
    let contents = change(read(path)?)?;
    let mut file = tempfile::NamedTempFile::new_in(folder).with_context(writing)?;
    file.write_all(&contents).with_context(writing)?;
    file.as_file().sync_all().with_context(writing)?;
    file.persist(path).with_context(writing)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_change_is_lost_among_many_at_once() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("count.json");
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    for _ in 0..25 {
                        change(&path, |bytes| {
                            let count = bytes.map_or(0, |b| String::from_utf8(b).unwrap().parse().unwrap());
                            Ok((count + 1_u32).to_string().into_bytes())
                        })
                        .unwrap();
                    }
                });
            }
        });
        assert_eq!(read(&path).unwrap().unwrap(), b"100");
    }

    #[test]
    fn a_change_that_is_refused_leaves_the_file_alone() {
        let home = tempfile::tempdir().unwrap();
        let path = home.path().join("facts.json");
        change(&path, |_| Ok(b"first".to_vec())).unwrap();
        assert!(change(&path, |_| anyhow::bail!("no")).is_err());
        assert_eq!(read(&path).unwrap().unwrap(), b"first");
        let names: Vec<_> =
            fs::read_dir(home.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert_eq!(names.len(), 2, "the file and its lock: {names:?}");
    }
}
