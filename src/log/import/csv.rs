//! A table of readings or events, row by row.

use std::collections::{BTreeSet, HashSet};

use chrono::{DateTime, FixedOffset, TimeZone};

use super::decode::{self, Row};
use super::seen;
use crate::log::table::{EVENTS, READINGS, unguarded};
use crate::log::when::{self, Assumed};
use crate::log::{Entry, Event, Reading, Source, check, quantity};
use crate::reading::{Measurement, Status};
use crate::terms::{Analyte, EventKind};

/// What came of a table.
#[derive(Debug, Default, PartialEq)]
pub struct Imported {
    /// Entries in the order of the rows.
    pub entries: Vec<Entry>,
    /// The line of each entry in a table.
    pub lines: Vec<u64>,
    /// Rows that were left out: line, and what to mend.
    pub rejected: Vec<(u64, String)>,
    /// Rows that were taken and are odd: line, and why.
    pub odd: Vec<(u64, String)>,
    /// What the file does not say and was assumed.
    pub assumed: Vec<String>,
}

/// A table of something else.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "no table of readings or events: the first line must name the columns {} or {} (unit, low, high and note may be missing), and here it names {found}",
    READINGS.join(","), EVENTS.join(",")
)]
pub struct UnknownTable {
    found: String,
}

/// Reads a table; `name` is the file's name without its folder, `zone` the keeper's time zone.
///
/// # Errors
/// If the header is neither that of readings nor that of events.
pub fn read<Z: TimeZone>(bytes: &[u8], name: &str, zone: &Z) -> Result<Imported, UnknownTable> {
    let table = decode::table(bytes);
    let has = |columns: &[&str]| columns.iter().all(|column| table.header.iter().any(|name| name == column));
    let (columns, numeric, is_readings): (&[&str], &[&str], bool) = if has(&READINGS[..4]) {
        (&READINGS, &["value", "low", "high"], true)
    } else if has(&EVENTS[..3]) {
        (&EVENTS, &["amount"], false)
    } else {
        let found: Vec<&str> = table.header.iter().map(String::as_str).take(12).collect();
        return Err(UnknownTable { found: format!("{:.200}", format!("{:?}", found.join(","))) });
    };
    let numbers = table.rows.iter().flat_map(|row| numeric.iter().map(|name| cell(&table.header, row, name)));
    let mut reader = Reader {
        header: &table.header,
        file: name,
        zone,
        decimal_comma: decode::has_decimal_commas(numbers),
        times: BTreeSet::new(),
        assumed: table.assumed,
        odd: Vec::new(),
    };
    if reader.decimal_comma {
        reader.assumed.push("commas in numbers are decimal marks".to_owned());
    }
    reader.say_columns(columns);
    let mut imported = Imported { rejected: table.broken, ..Imported::default() };
    let mut met = HashSet::new();
    for row in &table.rows {
        let entry = if is_readings { reader.reading(row) } else { reader.event(row) };
        match entry.and_then(|entry| check::entry(&entry).map(|()| entry).map_err(|error| error.to_string()))
        {
            Ok(entry) => {
                if !seen::key(&entry).is_none_or(|key| met.insert(key)) {
                    let twice =
                        "stands in this file already, and both are taken: withdraw one if it is a slip";
                    reader.odd.push((row.line, twice.to_owned()));
                }
                imported.entries.push(entry);
                imported.lines.push(row.line);
            }
            Err(why) => imported.rejected.push((row.line, why)),
        }
    }
    reader.assumed.extend(reader.times.iter().map(ToString::to_string));
    (imported.odd, imported.assumed) = (reader.odd, reader.assumed);
    Ok(imported)
}

fn cell<'r>(header: &[String], row: &'r Row, name: &str) -> &'r str {
    header
        .iter()
        .position(|column| column == name)
        .and_then(|at| row.cells.get(at))
        .map_or("", String::as_str)
}

struct Reader<'a, Z> {
    header: &'a [String],
    file: &'a str,
    zone: &'a Z,
    decimal_comma: bool,
    times: BTreeSet<Assumed>,
    assumed: Vec<String>,
    odd: Vec<(u64, String)>,
}

impl<Z: TimeZone> Reader<'_, Z> {
    fn say_columns(&mut self, columns: &[&str]) {
        let names = |unknown: bool| -> Vec<String> {
            let header = self.header.iter().filter(|name| columns.contains(&name.as_str()) != unknown);
            header.filter(|name| !name.is_empty()).map(|name| format!("{name:?}")).collect()
        };
        let unknown = names(true);
        if !unknown.is_empty() {
            self.assumed.push(format!("columns that are not known were left out: {}", unknown.join(", ")));
        }
        if !self.header.iter().any(|name| name == "unit") {
            self.assumed.push("there is no column \"unit\": numbers are in default units".to_owned());
        }
    }

    fn text<'r>(&self, row: &'r Row, name: &str) -> &'r str {
        cell(self.header, row, name)
    }

    /// Refuses rows whose cells may stand under the wrong names.
    fn whole(&self, row: &Row) -> Result<(), String> {
        let (cells, columns) = (row.cells.len(), self.header.len());
        let surplus = row.cells.iter().skip(columns).any(|cell| !cell.is_empty());
        if surplus {
            return Err(format!(
                "has {cells} cells where the first line names {columns} columns: check quotes and separators"
            ));
        }
        Ok(())
    }

    fn time(&mut self, row: &Row, name: &str) -> Result<DateTime<FixedOffset>, String> {
        let when =
            when::parse(self.text(row, name), self.zone).map_err(|error| format!("{name}: {error}"))?;
        for assumed in when.assumed {
            match assumed {
                Assumed::Skipped | Assumed::Twice => self.odd.push((row.line, assumed.to_string())),
                general => {
                    self.times.insert(general);
                }
            }
        }
        Ok(when.at)
    }

    /// A number, or `None` from an empty cell.
    fn number(&self, row: &Row, name: &str) -> Result<Option<f64>, String> {
        let text = self.text(row, name);
        if text.is_empty() {
            return Ok(None);
        }
        let text = if self.decimal_comma { text.replace(',', ".") } else { text.to_owned() };
        quantity::number(&text).map(Some).map_err(|error| format!("{name}: {error}"))
    }

    fn reading(&mut self, row: &Row) -> Result<Entry, String> {
        self.whole(row)?;
        let taken_at = self.time(row, "taken_at")?;
        let analyte: Analyte =
            self.text(row, "analyte").parse().map_err(|error| format!("analyte: {error}"))?;
        let (convert, _) = quantity::converter(self.text(row, "unit"), analyte)?;
        let convert = |number: Option<f64>| number.map(&convert);
        let value = convert(self.number(row, "value")?).ok_or("value: the cell is empty")?;
        let (low, high) = (convert(self.number(row, "low")?), convert(self.number(row, "high")?));
        quantity::possible(analyte, value)?;
        let odd = quantity::doubt(analyte, value);
        self.odd.extend(odd.map(|why| (row.line, why)));
        let (status, value) = match (low, high) {
            (Some(_), None) => (Status::AboveRange, None),
            (None, Some(_)) if value == 0.0 => (Status::BelowDetection, Some(0.0)),
            _ => (Status::Read, Some(value)),
        };
        Ok(Entry::Reading(Reading {
            tank: unguarded(self.text(row, "tank")).to_owned(),
            measurement: Measurement { analyte, status, value, low, high, taken_at, flags: Vec::new() },
            source: Source::Csv { file: self.file.to_owned(), line: row.line },
            note: unguarded(self.text(row, "note")).to_owned(),
        }))
    }

    fn event(&mut self, row: &Row) -> Result<Entry, String> {
        self.whole(row)?;
        let at = self.time(row, "at")?;
        let kind: EventKind = self.text(row, "event").parse().map_err(|error| format!("event: {error}"))?;
        let amount = match self.number(row, "amount")? {
            None => None,
            Some(number) => {
                let typed = format!("{number} {}", self.text(row, "unit"));
                Some(quantity::amount(&typed, kind).map_err(|error| format!("amount: {error}"))?)
            }
        };
        let odd = amount.and_then(|amount| quantity::doubt_amount(kind, amount));
        self.odd.extend(odd.map(|why| (row.line, why)));
        let tank = unguarded(self.text(row, "tank")).to_owned();
        Ok(Entry::Event(Event { tank, kind, amount, at, note: unguarded(self.text(row, "note")).to_owned() }))
    }
}
