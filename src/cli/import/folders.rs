//! Which folder's photos are of which tank, told once and remembered.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use serde::{Deserialize, Serialize};

use crate::cli::home_file;
use crate::log::check_name;

/// Tanks and charts by the full path of a folder; kept in `folders.json` in the home folder.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Folders {
    tanks: BTreeMap<PathBuf, String>,
    charts: BTreeMap<PathBuf, String>,
}

impl Folders {
    /// What is remembered, with `tanks` (`FOLDER=TANK`) and `charts` (`FOLDER=CHART`) added and remembered.
    ///
    /// # Errors
    /// If a text is not of that form, a folder is not there, or the file cannot be read or written.
    pub fn load(home: &Path, tanks: &[String], charts: &[String]) -> Result<Self> {
        let path = home.join("folders.json");
        let tanks = tanks.iter().map(|text| pair(text)).collect::<Result<Vec<_>>>()?;
        let charts = charts.iter().map(|text| pair(text)).collect::<Result<Vec<_>>>()?;
        if tanks.is_empty() && charts.is_empty() {
            return Self::parse(home_file::read(&path)?.as_deref(), &path);
        }
        let mut folders = Self::default();
        home_file::change(&path, |bytes| {
            folders = Self::parse(bytes.as_deref(), &path)?;
            folders.tanks.extend(tanks);
            folders.charts.extend(charts);
            Ok(serde_json::to_vec_pretty(&folders)?)
        })?;
        Ok(folders)
    }

    fn parse(bytes: Option<&[u8]>, path: &Path) -> Result<Self> {
        let Some(bytes) = bytes else { return Ok(Self::default()) };
        serde_json::from_slice(bytes).with_context(|| format!("cannot read {}", path.display()))
    }

    /// The tank of the innermost folder that `photo` lies in.
    pub fn tank(&self, photo: &Path) -> Option<&str> {
        innermost(&self.tanks, photo)
    }

    /// The chart of the innermost folder that `photo` lies in.
    pub fn chart(&self, photo: &Path) -> Option<&str> {
        innermost(&self.charts, photo)
    }
}

fn innermost<'a>(map: &'a BTreeMap<PathBuf, String>, photo: &Path) -> Option<&'a str> {
    let full = fs::canonicalize(photo).ok()?;
    full.ancestors().skip(1).find_map(|folder| map.get(folder)).map(String::as_str)
}

/// Reads `FOLDER=NAME`.
fn pair(text: &str) -> Result<(PathBuf, String)> {
    let Some((folder, name)) = text.rsplit_once('=') else {
        bail!("{text:?} is not of the form FOLDER=NAME");
    };
    check_name(name).map_err(anyhow::Error::msg)?;
    let folder = fs::canonicalize(folder).with_context(|| format!("cannot find the folder {folder:?}"))?;
    Ok((folder, name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_innermost_folder_counts_and_is_remembered() {
        let home = tempfile::tempdir().unwrap();
        let inner = home.path().join("big/left");
        fs::create_dir_all(&inner).unwrap();
        fs::write(inner.join("a.jpg"), "").unwrap();
        fs::write(home.path().join("big/b.jpg"), "").unwrap();
        let told = [("big", "Big"), ("big/left", "Left")]
            .map(|(folder, tank)| format!("{}={tank}", home.path().join(folder).display()));
        Folders::load(home.path(), &told, &told[..1]).unwrap();
        let folders = Folders::load(home.path(), &[], &[]).unwrap();
        assert_eq!(folders.tank(&inner.join("a.jpg")), Some("Left"));
        assert_eq!(folders.tank(&home.path().join("big/b.jpg")), Some("Big"));
        assert_eq!(folders.tank(&home.path().join("folders.json")), None);
        assert_eq!(folders.chart(&inner.join("a.jpg")), Some("Big"));
    }

    #[test]
    fn what_is_no_pair_is_refused() {
        let home = tempfile::tempdir().unwrap();
        for text in ["big", "nowhere=A", &format!("{}=", home.path().display())] {
            assert!(Folders::load(home.path(), &[text.to_owned()], &[]).is_err(), "{text}");
        }
        assert!(!home.path().join("folders.json").exists());
    }
}
