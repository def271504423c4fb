//! From a table's bytes to cells: encoding, separator, decimal mark, as spreadsheets write them.
//!
//! Everything that the file does not say itself and that is not the plain form (UTF-8, commas, decimal
//! points) is told in `assumed`.

use std::borrow::Cow;

/// A row of cells, trimmed, with its line.
pub(super) struct Row {
    /// Line of the file at which it begins, counted from 1.
    pub line: u64,
    /// Its cells.
    pub cells: Vec<String>,
}

/// A table's header and rows.
pub(super) struct Table {
    /// Column names in lower case.
    pub header: Vec<String>,
    /// Rows, blank ones left out.
    pub rows: Vec<Row>,
    /// Lines that could not be taken apart, with the reason.
    pub broken: Vec<(u64, String)>,
    /// What was assumed.
    pub assumed: Vec<String>,
}

/// Takes the bytes apart.
pub(super) fn table(bytes: &[u8]) -> Table {
    let mut assumed = Vec::new();
    let text = text(bytes, &mut assumed);
    let separator = separator(&text, &mut assumed);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut table = Table { header: Vec::new(), rows: Vec::new(), broken: Vec::new(), assumed };
    let mut lines = LineCounter { bytes: text.as_bytes(), counted: 0, line: 1 };
    for record in reader.records() {
        match record {
            Ok(record) => {
                let start = record.position().map_or(0, csv::Position::byte) as usize;
                let row = Row { line: lines.at(start), cells: record.iter().map(str::to_owned).collect() };
                if table.header.is_empty() {
                    table.header = row.cells.iter().map(|name| name.to_lowercase()).collect();
                } else if row.cells.iter().any(|cell| !cell.is_empty()) {
                    table.rows.push(row);
                }
            }
            Err(error) => {
                table.broken.push((error.position().map_or(0, csv::Position::line), error.to_string()));
            }
        }
    }
    table
}

/// Counts lines up to where a record begins; blank lines before it belong to none.
struct LineCounter<'a> {
    bytes: &'a [u8],
    counted: usize,
    line: u64,
}

impl LineCounter<'_> {
    fn at(&mut self, start: usize) -> u64 {
        let is_end = |byte: &&u8| matches!(byte, b'\r' | b'\n');
        let blank = self.bytes.iter().skip(start).take_while(is_end).count();
        let upto = (start + blank).min(self.bytes.len());
        let passed = self.bytes.get(self.counted..upto).unwrap_or_default();
        self.line += passed.iter().filter(|&&byte| byte == b'\n').count() as u64;
        self.counted = self.counted.max(upto);
        self.line
    }
}

fn text<'a>(bytes: &'a [u8], assumed: &mut Vec<String>) -> Cow<'a, str> {
    let (encoding, text) = match encoding_rs::Encoding::for_bom(bytes) {
        Some((encoding, mark)) => (encoding, encoding.decode_without_bom_handling(&bytes[mark..]).0),
        None if std::str::from_utf8(bytes).is_ok() => return String::from_utf8_lossy(bytes),
        None => (encoding_rs::WINDOWS_1252, encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0),
    };
    if encoding == encoding_rs::WINDOWS_1252 {
        assumed.push("the file is not UTF-8: it was read as Windows-1252 (Western European)".to_owned());
    } else if encoding != encoding_rs::UTF_8 {
        assumed.push(format!("the file's byte-order mark says {}", encoding.name()));
    }
    text
}

/// The separator that takes the first line apart best.
fn separator(text: &str, assumed: &mut Vec<String>) -> u8 {
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
    let count = |separator: char| header.matches(separator).count();
    let best = [(',', ""), (';', "semicolons"), ('\t', "tabs")]
        .into_iter()
        .rev()
        .max_by_key(|&(separator, _)| count(separator));
    match best {
        Some((separator, name)) if !name.is_empty() && count(separator) > 0 => {
            assumed.push(format!("cells are separated by {name}"));
            separator as u8
        }
        _ => b',',
    }
}

/// Whether the numeric cells are written with decimal commas.
///
/// They are if some hold one comma and none holds a point; if both occur nothing is assumed, and each
/// cell with a comma fails with its line.
pub(super) fn has_decimal_commas<'a>(numbers: impl Iterator<Item = &'a str>) -> bool {
    let (mut commas, mut points) = (0, 0);
    for number in numbers {
        commas += usize::from(number.matches(',').count() == 1);
        points += usize::from(number.contains('.') || number.matches(',').count() > 1);
    }
    commas > 0 && points == 0
}
