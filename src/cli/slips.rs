//! What tag slips stand for: kept in `slips.json` in the home folder.
#![doc = include_str!("slips/FORMAT.md")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use serde::{Deserialize, Serialize};

use super::{charts, home_file};
use crate::card::layout::SLIP_IDS;
use crate::log::check_name;
use crate::terms::stamp::{self, StampError};

/// What the file says it is.
const FORMAT: &str = "tintwell slips";
/// Version of the file's layout that is written; earlier ones are read.
const VERSION: u64 = 1;

/// What a slip stands for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meaning {
    /// A tank.
    Tank(String),
    /// A kit, by its chart.
    Chart(String),
}

impl std::fmt::Display for Meaning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tank(name) => write!(f, "tank {name:?}"),
            Self::Chart(name) => write!(f, "chart {name:?}"),
        }
    }
}

/// The slips whose meaning is known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Slips {
    format: String,
    version: u64,
    slips: BTreeMap<u16, Meaning>,
}

impl Default for Slips {
    fn default() -> Self {
        Self { format: FORMAT.to_owned(), version: VERSION, slips: BTreeMap::new() }
    }
}

impl Slips {
    /// What is remembered in the home folder.
    ///
    /// # Errors
    /// The file cannot be read, is damaged, or comes from a later version.
    pub fn load(home: &Path) -> Result<Self> {
        let path = file_in(home);
        Self::parse(home_file::read(&path)?.as_deref(), &path)
    }

    /// Remembers what a slip stands for.
    ///
    /// # Errors
    /// It stands for something else already, or the file cannot be read or written.
    pub fn remember(home: &Path, id: u16, meaning: &Meaning) -> Result<()> {
        Self::change(home, |slips| match slips.slips.get(&id) {
            Some(known) if known != meaning => bail!(
                "slip {id} stands for {known} already: take another id for {meaning}, or forget the old one with `tintwell card --forget-slip {id}`"
            ),
            _ => {
                slips.slips.insert(id, meaning.clone());
                Ok(())
            }
        })
    }

    /// Forgets what a slip stands for.
    ///
    /// # Errors
    /// It stands for nothing, or the file cannot be read or written.
    pub fn forget(home: &Path, id: u16) -> Result<()> {
        Self::change(home, |slips| {
            let known = slips.slips.remove(&id);
            known.map(drop).with_context(|| {
                format!("slip {id} stands for nothing: `tintwell card --list-slips` shows those that do")
            })
        })
    }

    fn change(home: &Path, change: impl FnOnce(&mut Self) -> Result<()>) -> Result<()> {
        let path = file_in(home);
        home_file::change(&path, |bytes| {
            let mut slips = Self::parse(bytes.as_deref(), &path)?;
            change(&mut slips)?;
            slips.version = VERSION;
            let mut text = serde_json::to_vec_pretty(&slips)?;
            text.push(b'\n');
            Ok(text)
        })
    }

    fn parse(bytes: Option<&[u8]>, path: &Path) -> Result<Self> {
        let Some(bytes) = bytes else { return Ok(Self::default()) };
        let damaged = |what: String| {
            anyhow::anyhow!(
                "{}: this is not a usable file of slips ({what}): restore it from a copy, or remove it and tell each slip's meaning anew with `tintwell card --slip ID --tank NAME` or `--chart NAME`",
                path.display()
            )
        };
        let value = stamp::parse(bytes, FORMAT, VERSION).map_err(|error| match error {
            StampError::TooNew { found } => anyhow::anyhow!(
                "{}: written by a later version of Tintwell (file version {found}, this one reads up to {VERSION}): update Tintwell",
                path.display()
            ),
            other => damaged(other.to_string()),
        })?;
        let slips: Self = serde_json::from_value(value).map_err(|error| damaged(error.to_string()))?;
        slips.check().map_err(damaged)?;
        Ok(slips)
    }

    fn check(&self) -> Result<(), String> {
        self.slips.iter().try_for_each(|(id, meaning)| {
            if !SLIP_IDS.contains(id) {
                return Err(format!("slip {id}: ids go from {} to {}", SLIP_IDS.start(), SLIP_IDS.end()));
            }
            let checked = match meaning {
                Meaning::Tank(name) => check_name(name),
                Meaning::Chart(name) => charts::check_name(name),
            };
            checked.map_err(|why| format!("slip {id}: {why}"))
        })
    }

    /// What a slip stands for.
    pub fn meaning(&self, id: u16) -> Option<&Meaning> {
        self.slips.get(&id)
    }

    /// All that is known, by id.
    pub fn iter(&self) -> impl Iterator<Item = (u16, &Meaning)> {
        self.slips.iter().map(|(&id, meaning)| (id, meaning))
    }

    /// Whether some slip stands for a kit.
    pub fn know_kits(&self) -> bool {
        self.slips.values().any(|meaning| matches!(meaning, Meaning::Chart(_)))
    }
}

fn file_in(home: &Path) -> PathBuf {
    home.join("slips.json")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tank(name: &str) -> Meaning {
        Meaning::Tank(name.to_owned())
    }

    #[test]
    fn a_meaning_is_remembered_until_it_is_forgotten_and_never_overwritten() {
        let home = tempfile::tempdir().unwrap();
        let home = home.path();
        assert_eq!(Slips::load(home).unwrap(), Slips::default());
        Slips::remember(home, 101, &tank("Hallway")).unwrap();
        Slips::remember(home, 101, &tank("Hallway")).unwrap();
        let refused = Slips::remember(home, 101, &tank("Porch")).unwrap_err().to_string();
        assert!(refused.contains("Hallway") && refused.contains("--forget-slip 101"), "{refused}");
        assert_eq!(Slips::load(home).unwrap().meaning(101), Some(&tank("Hallway")));
        Slips::forget(home, 101).unwrap();
        assert!(Slips::forget(home, 101).unwrap_err().to_string().contains("--list-slips"));
        Slips::remember(home, 101, &Meaning::Chart("june".to_owned())).unwrap();
        assert!(Slips::load(home).unwrap().know_kits());
    }

    #[test]
    fn the_file_is_as_its_description_says() {
        let home = tempfile::tempdir().unwrap();
        Slips::remember(home.path(), 102, &Meaning::Chart("ammonia-june".to_owned())).unwrap();
        Slips::remember(home.path(), 101, &tank("hallway")).unwrap();
        let text = std::fs::read_to_string(file_in(home.path())).unwrap();
        let described = include_str!("slips/FORMAT.md").split("```").nth(1).unwrap();
        assert_eq!(text, described.trim_start_matches("json\n"));
    }

    #[test]
    fn unusable_files_are_explained_and_kept() {
        let cases = [
            ("nonsense", "not a usable file of slips"),
            ("{}", "does not say that it is one"),
            (r#"{"format":"tintwell slips","version":2,"slips":[]}"#, "later version"),
            (
                r#"{"format":"tintwell slips","version":1,"slips":{"7":{"tank":"A"}}}"#,
                "ids go from 100 to 586",
            ),
            (r#"{"format":"tintwell slips","version":1,"slips":{"101":{"tank":"\u001b[2J"}}}"#, "slip 101"),
            (r#"{"format":"tintwell slips","version":1,"slips":{"101":{"chart":"../x"}}}"#, "slip 101"),
            (r#"{"format":"tintwell slips","version":1,"slips":{"101":{"fish":"x"}}}"#, "unknown variant"),
        ];
        for (text, words) in cases {
            let home = tempfile::tempdir().unwrap();
            std::fs::write(file_in(home.path()), text).unwrap();
            let why = Slips::load(home.path()).unwrap_err().to_string();
            assert!(why.contains(words) && why.contains("slips.json"), "{why}");
            assert!(Slips::remember(home.path(), 101, &tank("A")).is_err());
            assert_eq!(std::fs::read_to_string(file_in(home.path())).unwrap(), text);
        }
    }
}
