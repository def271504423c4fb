//! Which tank and which chart a photo is of: from its slips and from what is told beside it.
//!
//! Neither overrules the other in silence: a slip that contradicts an option or a folder's mapping
//! refuses the photo and names both. A slip without a meaning tells nothing; it is said, and matters
//! only where nothing else tells what it should.

use std::sync::Arc;

use super::kits::Kits;
use super::slips::{Meaning, Slips};
use crate::card::slips::{AtPlace, Laid, laid};
use crate::chart::Chart;
use crate::pipeline::View;

/// What is told beside the photo.
#[derive(Debug, Clone, Default)]
pub struct Told {
    /// The tank, and who says so, such as `--tank`.
    pub tank: Option<(String, &'static str)>,
    /// Charts of the windows, `None` for one that stays empty; no items if not told.
    pub charts: Vec<Option<Arc<Chart>>>,
    /// Who says so.
    pub charts_by: &'static str,
}

/// Whose a photo is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Identity {
    /// Its tank, if anything tells it.
    pub tank: Option<String>,
    /// Its charts, `None` for a window that stays empty; no items if nothing tells them.
    pub charts: Vec<Option<Arc<Chart>>>,
    /// What the slips told, in words.
    pub by_slips: Vec<String>,
    /// What was not heeded, and why.
    pub notes: Vec<String>,
    /// Whether a slip lies at the tank's place and neither it nor anything else tells the tank.
    pub is_tank_unclear: bool,
}

/// Why slips leave a photo without a tank or a chart that could be trusted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SlipError {
    /// Two slips at one place.
    #[error("two slips lie at the place for {side} (slips {first} and {second}): lay down one of them")]
    Two {
        /// Which place.
        side: Side,
        /// The ids.
        first: u16,
        /// The ids.
        second: u16,
    },
    /// A slip at the other's place.
    #[error(
        "slip {id} stands for {meaning} but lies at the place for {side}: a tank's slip lies on the left of the card, a kit's on the right; swap them"
    )]
    Swapped {
        /// The slip.
        id: u16,
        /// What it stands for.
        meaning: Meaning,
        /// Where it lies.
        side: Side,
    },
    /// A slip against an option or a folder.
    #[error(
        "slip {id} stands for {meaning}, but {by} says {told:?}: take away the one that is wrong, or add --ignore-slips if it is the slip"
    )]
    Contradicts {
        /// The slip.
        id: u16,
        /// What it stands for.
        meaning: Meaning,
        /// What is told beside it.
        told: String,
        /// Who says so.
        by: &'static str,
    },
    /// The kit's slip has no meaning, and no chart is told.
    #[error(
        "slip {id} at the kit's place stands for nothing yet: tell it once with `tintwell card --slip {id} --chart NAME`, or give --chart"
    )]
    UnknownKit {
        /// The slip.
        id: u16,
    },
    /// The chart of the slip is gone.
    #[error(
        "slip {id} stands for chart {chart:?}, which cannot be used: {why}; make that chart anew, or tell the slip's new meaning after `tintwell card --forget-slip {id}`"
    )]
    NoSuchChart {
        /// The slip.
        id: u16,
        /// The chart's name.
        chart: String,
        /// What is wrong with it.
        why: String,
    },
}

/// One of the two places for slips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Left.
    Tank,
    /// Right.
    Kit,
}

impl std::fmt::Display for Side {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Tank => "the tank's slip, on the left",
            Self::Kit => "the kit's slip, on the right",
        })
    }
}

/// What a place tells.
enum Tells {
    Nothing,
    /// A slip with a meaning of the right kind: id, name.
    Name(u16, String),
    /// A slip without a meaning.
    Unknown(u16),
}

/// Whose photo this is; without `slips`, what lies on the card is not looked at.
///
/// # Errors
/// The slips contradict what is told, or each other, or cannot be used.
pub fn identify(view: &View, told: &Told, slips: Option<&Slips>, kits: &Kits) -> Result<Identity, SlipError> {
    let mut identity = Identity {
        tank: told.tank.as_ref().map(|(tank, _)| tank.clone()),
        charts: told.charts.clone(),
        ..Identity::default()
    };
    let Some(slips) = slips else { return Ok(identity) };
    let laid = laid(&view.photo.pixels, &view.card);
    let mut places = laid.places.iter();
    let tank = tells(places.next(), Side::Tank, slips, &mut identity.notes)?;
    let kit = tells(places.next(), Side::Kit, slips, &mut identity.notes)?;
    settle_tank(&mut identity, told, tank)?;
    settle_chart(&mut identity, told, kit, kits)?;
    note_elsewhere(&mut identity, &laid, slips);
    Ok(identity)
}

/// What the slip at a place tells; a slip of the other kind there is an error.
fn tells(
    at: Option<&AtPlace>,
    side: Side,
    slips: &Slips,
    notes: &mut Vec<String>,
) -> Result<Tells, SlipError> {
    let id = match at {
        None | Some(AtPlace::Nothing) => return Ok(Tells::Nothing),
        Some(AtPlace::Unreadable) => {
            notes.push(format!("something dark lies at the place for {side}, but no slip can be read there"));
            return Ok(Tells::Nothing);
        }
        Some(AtPlace::Slips(ids)) => match ids[..] {
            [id] => id,
            [first, second, ..] => return Err(SlipError::Two { side, first, second }),
            [] => return Ok(Tells::Nothing),
        },
    };
    match (slips.meaning(id), side) {
        (Some(Meaning::Tank(name)), Side::Tank) | (Some(Meaning::Chart(name)), Side::Kit) => {
            Ok(Tells::Name(id, name.clone()))
        }
        (Some(meaning), _) => Err(SlipError::Swapped { id, meaning: meaning.clone(), side }),
        (None, _) => Ok(Tells::Unknown(id)),
    }
}

fn settle_tank(identity: &mut Identity, told: &Told, slip: Tells) -> Result<(), SlipError> {
    match (slip, &told.tank) {
        (Tells::Nothing, _) => {}
        (Tells::Name(id, tank), Some((told, by))) if *told != tank => {
            let meaning = Meaning::Tank(tank);
            return Err(SlipError::Contradicts { id, meaning, told: told.clone(), by });
        }
        (Tells::Name(id, tank), _) => {
            identity.by_slips.push(format!("tank {tank} (slip {id})"));
            identity.tank = Some(tank);
        }
        (Tells::Unknown(id), told) => {
            identity.is_tank_unclear = told.is_none();
            identity.notes.push(format!(
                "slip {id} at the tank's place stands for nothing yet: tell it once with `tintwell card --slip {id} --tank NAME`"
            ));
        }
    }
    Ok(())
}

fn settle_chart(identity: &mut Identity, told: &Told, slip: Tells, kits: &Kits) -> Result<(), SlipError> {
    let (id, name) = match slip {
        Tells::Nothing => return Ok(()),
        Tells::Unknown(id) if told.charts.is_empty() => return Err(SlipError::UnknownKit { id }),
        Tells::Unknown(id) => {
            identity.notes.push(format!(
                "slip {id} at the kit's place stands for nothing yet: tell it once with `tintwell card --slip {id} --chart NAME`"
            ));
            return Ok(());
        }
        Tells::Name(id, name) => (id, name),
    };
    let chart = kits.get(&name);
    let is_told = |own: &str| told.charts.iter().flatten().any(|chart| chart.name == own);
    if !told.charts.is_empty() && !is_told(&name) && !chart.as_ref().is_ok_and(|chart| is_told(&chart.name)) {
        let names: Vec<&str> = told.charts.iter().flatten().map(|chart| chart.name.as_str()).collect();
        let (meaning, by) = (Meaning::Chart(name), told.charts_by);
        return Err(SlipError::Contradicts { id, meaning, told: names.join(", "), by });
    }
    identity.by_slips.push(format!("chart {name} (slip {id})"));
    if told.charts.is_empty() {
        let chart = chart.map_err(|why| SlipError::NoSuchChart { id, chart: name, why })?;
        identity.charts = vec![Some(chart)];
    }
    Ok(())
}

/// Says which slips lie where they tell nothing.
fn note_elsewhere(identity: &mut Identity, laid: &Laid, slips: &Slips) {
    let mend = if laid.places.is_empty() {
        "this card has no places for slips: give --tank, and --chart for each window"
    } else {
        "lay a tank's slip on the left of the card between its tags, a kit's on the right"
    };
    for &id in &laid.elsewhere {
        let meaning = slips.meaning(id).map(|meaning| format!(" ({meaning})")).unwrap_or_default();
        identity
            .notes
            .push(format!("slip {id}{meaning} lies at no place for slips and was not heeded: {mend}"));
    }
}
