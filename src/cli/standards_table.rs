//! The table of photos of known standards that `calibrate` and `verify` take.

use std::path::{Path, PathBuf};
use std::str::FromStr;

use anyhow::{Context, Result, bail};

use crate::card::layout::{Layout, RectMm};
use crate::terms::Analyte;

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Line in the file, from 1.
    pub line: u64,
    /// The photo as written in the table.
    pub name: String,
    /// The photo's path.
    pub path: PathBuf,
    /// What the standard holds.
    pub analyte: Analyte,
    /// Its value, default unit.
    pub value: f64,
    /// Relative standard uncertainty of the value, from a column `uncertainty_percent` if there is one.
    pub uncertainty: f64,
    /// Number of the strip's pad from the dipped end, from 1, from a column `pad` if there is one.
    pub pad: Option<usize>,
    /// Number of the card's window from the left, from 1, from a column `window` if there is one.
    pub window: Option<usize>,
}

impl Row {
    /// The window that the row tells of, on the card in its photo.
    ///
    /// # Errors
    /// The card has no such window, or several and the row names none.
    pub fn window_on(&self, layout: &Layout) -> Result<RectMm, WindowError> {
        let count = layout.windows.len();
        match self.window {
            None if count == 1 => Ok(layout.windows[0]),
            None => Err(WindowError::NotTold { count }),
            Some(number) => {
                layout.windows.get(number - 1).copied().ok_or(WindowError::NoSuch { number, count })
            }
        }
    }
}

/// Why a row's window is not on the photo's card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WindowError {
    /// The card has several.
    #[error(
        "the card has {count} windows and the table does not say which holds this sample: add a column window with its number from the left, from 1"
    )]
    NotTold {
        /// How many windows the card has.
        count: usize,
    },
    /// The card has fewer.
    #[error("the card in the photo has no window {number}: it has {count}, counted from the left from 1")]
    NoSuch {
        /// What the row says.
        number: usize,
        /// How many windows the card has.
        count: usize,
    },
}

/// Reads a table; with `only`, rows of other analytes are left out.
///
/// # Errors
/// The file cannot be read, lacks a column, or has rows that make no sense: all of them are named.
pub fn read(path: &Path, only: Option<Analyte>) -> Result<Vec<Row>> {
    let shown = path.display();
    let text = std::fs::read(path).with_context(|| format!("{shown}: cannot read the table of standards"))?;
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&text);
    let mut table = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text);
    let header = table.headers().with_context(|| format!("{shown}: cannot read the first line"))?.clone();
    let column = |name: &str| header.iter().position(|own| own.eq_ignore_ascii_case(name));
    let needed = |name: &str| {
        column(name).with_context(|| {
            format!(
                "{shown}: line 1: there is no column {name:?}: the first line must be photo,analyte,value"
            )
        })
    };
    let columns = Columns {
        photo: needed("photo")?,
        analyte: needed("analyte")?,
        value: needed("value")?,
        uncertainty: column("uncertainty_percent"),
        pad: column("pad"),
        window: column("window"),
    };
    let folder = path.parent().unwrap_or(Path::new(""));
    let (mut rows, mut troubles) = (Vec::new(), Vec::new());
    for record in table.records() {
        match record.map_err(|error| error.to_string()).and_then(|record| row(&record, &columns, folder)) {
            Ok(row) => rows.push(row),
            Err(trouble) => troubles.push(format!("{shown}: {trouble}")),
        }
    }
    troubles.extend(doubled(&rows).map(|trouble| format!("{shown}: {trouble}")));
    if !troubles.is_empty() {
        bail!("{}", troubles.join("\n"));
    }
    rows.retain(|row: &Row| only.is_none_or(|only| row.analyte == only));
    if rows.is_empty() {
        let of = only.map(|analyte| format!(" of {analyte}")).unwrap_or_default();
        bail!("{shown}: there is no row{of}: list at least one photo with its value");
    }
    Ok(rows)
}

/// Where each column stands.
struct Columns {
    photo: usize,
    analyte: usize,
    value: usize,
    uncertainty: Option<usize>,
    pad: Option<usize>,
    window: Option<usize>,
}

fn row(record: &csv::StringRecord, columns: &Columns, folder: &Path) -> Result<Row, String> {
    let &Columns { photo, analyte, value, uncertainty, pad, window } = columns;
    let line = record.position().map_or(0, csv::Position::line);
    let at = |message: String| format!("line {line}: {message}");
    let cell = |column: usize| record.get(column).unwrap_or_default();
    let name = cell(photo);
    if name.is_empty() {
        return Err(at("the photo is missing".to_owned()));
    }
    let path = folder.join(name);
    if !path.is_file() {
        return Err(at(format!(
            "there is no file {}: correct the name, or the table's folder",
            path.display()
        )));
    }
    let analyte = Analyte::from_str(cell(analyte)).map_err(|error| at(error.to_string()))?;
    let number = |text: &str, what: &str| -> Result<f64, String> {
        let parsed = text.parse::<f64>().ok().filter(|value| value.is_finite() && *value >= 0.0);
        parsed.ok_or_else(|| {
            at(format!("the {what} {text:?} is not a number of 0 or more (write it like 0.25)"))
        })
    };
    let value = number(cell(value), "value")?;
    let uncertainty = match uncertainty.map(cell) {
        None | Some("") => 0.0,
        Some(text) => number(text, "uncertainty")? / 100.0,
    };
    let counted = |column: Option<usize>, mend: &str| match column.map(cell) {
        None | Some("") => Ok(None),
        Some(text) => match text.parse::<usize>() {
            Ok(number) if number > 0 => Ok(Some(number)),
            _ => Err(at(format!("{text:?} is not a number from 1: {mend}"))),
        },
    };
    let pad = counted(pad, "count pads from the dipped end")?;
    let window = counted(window, "count the card's windows from the left")?;
    Ok(Row { line, name: name.to_owned(), path, analyte, value, uncertainty, pad, window })
}

/// Rows that give one photo and analyte twice.
fn doubled(rows: &[Row]) -> impl Iterator<Item = String> {
    rows.iter().enumerate().filter_map(|(k, row)| {
        let same = |other: &&Row| {
            other.path == row.path && other.analyte == row.analyte && other.window == row.window
        };
        let earlier = rows[..k].iter().find(same)?;
        Some(format!(
            "line {}: {} of {} was given in line {} already: leave one of them out",
            row.line, row.analyte, row.name, earlier.line
        ))
    })
}
