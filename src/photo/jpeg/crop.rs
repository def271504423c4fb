//! A part of a JPEG file as a JPEG file of its own, without decoding it.
//!
//! Units of blocks (8 or 16 pixels wide) are coded one behind the other and depend on their neighbours
//! by nothing but the differences of their means. So the bits of those that are wanted are copied as
//! they are, with the first difference of each run written anew, behind the headers with another size.
//! What the decoder makes of them is what it would have made of them in the whole. Units within the
//! part's bounds that are not wanted are left flat, which costs a decoder nearly nothing.

use std::ops::Range;

use super::area::Area;
use super::bits::{Bits, MOST_SIZE, Mark, Table, first_byte, holds_marker};
use super::frame::{Frame, Scan};

/// The file that shows the units of an area; `None` where that is not so simple: other kinds of file,
/// several scans, or a code that its tables do not have.
pub(super) fn crop(bytes: &[u8], frame: &Frame, area: &Area) -> Option<Vec<u8>> {
    let (units, restart) = (frame.units.0, frame.restart_interval);
    if frame.marks.len() != units * frame.units.1 || frame.scans != 1 {
        return None;
    }
    let mut file = headers(bytes, frame, area)?;
    let (_, last) = frame.segments.last()?;
    let scan = frame.scan(bytes.get(last.start + 2..last.end)?).ok()?;
    let mut copy = Copy { bytes, frame, scan: &scan, out: Writer::new(&mut file), means: [0; 3] };
    let flat = copy.flat_unit()?;
    for (row, kept) in area.rows.clone().zip(&area.kept) {
        let kept = kept.clone();
        (area.columns.start..kept.start).for_each(|_| copy.write_flat(&flat));
        let mut from = kept.start;
        while from < kept.end {
            // A restart marker within the row ends the run.
            let first = row * units + from;
            let to_restart = if restart == 0 { units } else { restart - first % restart };
            let to = kept.end.min(from + to_restart);
            copy.run(row, from..to)?;
            from = to;
        }
        (kept.end..area.columns.end).for_each(|_| copy.write_flat(&flat));
    }
    copy.out.finish();
    file.extend([0xff, super::END_OF_IMAGE]);
    Some(file)
}

/// Everything before the data, with the area's size; what the picture does not need is left out.
fn headers(bytes: &[u8], frame: &Frame, area: &Area) -> Option<Vec<u8>> {
    let pixels =
        |units: &Range<usize>, unit: usize, whole: usize| (units.end * unit).min(whole) - units.start * unit;
    let unit = frame.unit_pixels();
    let width = pixels(&area.columns, unit.0, frame.size.0) as u16;
    let height = pixels(&area.rows, unit.1, frame.size.1) as u16;
    let mut file = vec![0xff, 0xd8];
    for (marker, place) in &frame.segments {
        // JFIF and Adobe segments say what the colours are; restart markers are not written.
        if !matches!(marker, 0xc0 | 0xc1 | 0xc4 | 0xda | 0xdb | 0xe0 | 0xee) {
            continue;
        }
        file.extend([0xff, *marker]);
        let begin = file.len();
        file.extend(bytes.get(place.clone())?);
        if matches!(marker, 0xc0 | 0xc1) {
            file.get_mut(begin + 3..begin + 5)?.copy_from_slice(&height.to_be_bytes());
            file.get_mut(begin + 5..begin + 7)?.copy_from_slice(&width.to_be_bytes());
        }
    }
    Some(file)
}

struct Copy<'a> {
    bytes: &'a [u8],
    frame: &'a Frame,
    scan: &'a Scan,
    out: Writer<'a>,
    /// The mean of each part's last block that was written.
    means: [i32; 3],
}

impl Copy<'_> {
    fn tables(&self, part: usize) -> Option<(&Table, &Table)> {
        let (_, dc, ac) = *self.scan.parts.get(part)?;
        Some((self.frame.dc_tables[dc].as_ref()?, self.frame.ac_tables[ac].as_ref()?))
    }

    /// Codes of a unit as flat as its predecessor, with their lengths.
    fn flat_unit(&self) -> Option<Vec<(u32, u32)>> {
        let mut codes = Vec::new();
        for (part, &(component, ..)) in self.scan.parts.iter().enumerate() {
            let (dc, ac) = self.tables(part)?;
            let block = [dc.code_of(0)?, ac.code_of(0)?];
            let (across, along) = self.frame.components[component].unit;
            (0..across * along).for_each(|_| codes.extend(block));
        }
        Some(codes)
    }

    fn write_flat(&mut self, codes: &[(u32, u32)]) {
        codes.iter().for_each(|&(code, length)| self.out.put(code.into(), length));
    }

    /// Copies a run of units of a row that no restart marker parts.
    fn run(&mut self, row: usize, columns: Range<usize>) -> Option<()> {
        let first = row * self.frame.units.0 + columns.start;
        let behind = self.first_unit(row, columns.start, self.frame.marks[first])?;
        self.out.copy(self.bytes, behind, self.frame.end_of(first + columns.len() - 1));
        let (means, scan, frame) = (&mut self.means, self.scan, self.frame);
        for (mean, &(component, ..)) in means.iter_mut().zip(&scan.parts) {
            let component = &frame.components[component];
            let (across, along) = component.unit;
            let block = (row * along + along - 1) * component.stride + columns.end * across - 1;
            *mean = component.means[block].into();
        }
        Some(())
    }

    /// Copies a unit whose predecessor is another than in the file; gives the place behind it.
    fn first_unit(&mut self, row: usize, column: usize, mark: Mark) -> Option<Mark> {
        let mut bits = Bits::at_mark(self.bytes, mark);
        for part in 0..self.scan.parts.len() {
            let component = &self.frame.components[self.scan.parts[part].0];
            let (across, along) = component.unit;
            for block in 0..across * along {
                let place =
                    (row * along + block / across) * component.stride + column * across + block % across;
                let mean = i32::from(component.means[place]);
                self.difference(part, mean - self.means[part])?;
                self.means[part] = mean;
                let (dc, ac) = self.tables(part)?;
                bits.difference(dc).ok()?;
                let begin = bits.mark();
                super::sequential::coefficients(&mut bits, ac).ok()?;
                let end = bits.mark();
                self.out.copy(self.bytes, begin, end);
            }
        }
        Some(bits.mark())
    }

    /// Writes a difference of means (T.81, F.1.2.1).
    fn difference(&mut self, part: usize, difference: i32) -> Option<()> {
        let size = 32 - difference.unsigned_abs().leading_zeros();
        let (code, length) = self.tables(part)?.0.code_of(u8::try_from(size).ok()?)?;
        if size > u32::from(MOST_SIZE) {
            return None;
        }
        let value = if difference < 0 { difference - 1 } else { difference };
        self.out.put(code.into(), length);
        self.out.put(value as u64 & ((1 << size) - 1), size);
        Some(())
    }
}

/// Writes bits, with FF stuffed.
struct Writer<'a> {
    file: &'a mut Vec<u8>,
    /// Bits to be written, from the highest on; zeros behind them.
    held: u64,
    count: u32,
}

impl<'a> Writer<'a> {
    fn new(file: &'a mut Vec<u8>) -> Self {
        Self { file, held: 0, count: 0 }
    }

    /// Writes up to 64 bits; no higher ones may be set.
    #[inline]
    fn put(&mut self, value: u64, count: u32) {
        let spare = 64 - self.count;
        if count < spare {
            self.held |= value.unbounded_shl(spare - count);
            self.count += count;
            return;
        }
        let rest = count - spare;
        let eight = self.held | value >> rest;
        (self.held, self.count) = (value.unbounded_shl(64 - rest), rest);
        if holds_marker(eight) {
            eight.to_be_bytes().into_iter().for_each(|byte| self.byte(byte));
        } else {
            self.file.extend_from_slice(&eight.to_be_bytes());
        }
    }

    fn byte(&mut self, byte: u8) {
        self.file.push(byte);
        if byte == 0xff {
            self.file.push(0);
        }
    }

    /// Copies the data from one mark to another.
    fn copy(&mut self, bytes: &[u8], from: Mark, to: Mark) {
        let (mut at, mut skip) = first_byte(bytes, from);
        let (end, left) = first_byte(bytes, to);
        while at < end {
            let eight = bytes[at..end].first_chunk().map(|eight| u64::from_be_bytes(*eight));
            if let Some(eight) = eight.filter(|&eight| skip == 0 && !holds_marker(eight)) {
                self.put(eight, 64);
                at += 8;
                continue;
            }
            let byte = bytes[at];
            self.put(u64::from(byte) & (0xff >> skip), 8 - skip);
            skip = 0;
            at += if byte == 0xff { 2 } else { 1 };
        }
        if left > 0 {
            let byte = u64::from(bytes[end]) & (0xff >> skip);
            self.put(byte >> (8 - left), left - skip);
        }
    }

    /// Fills up the last byte with ones (T.81, F.1.2.3).
    fn finish(&mut self) {
        let spare = (8 - self.count % 8) % 8;
        self.put((1 << spare) - 1, spare);
        let whole = (self.count / 8) as usize;
        self.held.to_be_bytes().into_iter().take(whole).for_each(|byte| self.byte(byte));
    }
}
