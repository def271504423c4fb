//! Whether the picture data of a JPEG file are whole.
//!
//! Decoders show what they can: after a hole or a turned bit they go on with whatever the bits then
//! mean. But Huffman codes do not stay in step by themselves: as many blocks as the picture has must
//! use up the data exactly, up to each marker, without a code that is none and without a mean that no
//! picture has. All data are walked through once for that (ITU-T T.81, annexes F and G); on the way the
//! blocks' means are gathered, which are the picture at an eighth of its size, and where units begin.

use super::Fault;
use super::bits::{Bits, Mark};
use super::frame::{Frame, Scan};
use super::progressive::Progressive;
use super::sequential::Sequential;

/// Largest size of a coefficient that is no mean, 8-bit samples (T.81, F.1.2.2).
const MOST_SIZE: u8 = 10;

/// How the blocks of a scan are coded.
pub(super) trait Coding {
    /// Walks through a unit at this column and row.
    fn unit(&mut self, bits: &mut Bits, place: (usize, usize)) -> Result<(), Fault>;

    /// Forgets what leads from one unit to the next, where a run of units ends.
    fn end_run(&mut self) -> Result<(), Fault>;
}

/// Walks through the file up to its end marker, and gives what was met. Kinds of file that the decoder
/// refuses pass.
pub(super) fn walk(bytes: &[u8]) -> Result<Frame, Fault> {
    let mut frame = Frame::default();
    let mut at = 2;
    loop {
        let marker = super::next_marker(bytes, &mut at).ok_or(Fault::EndsEarly)?;
        if marker == super::END_OF_IMAGE {
            return if is_complete(&frame) { Ok(frame) } else { Err(Fault::EndsEarly) };
        }
        if matches!(marker, 0x01 | 0xd0..=0xd8) {
            continue;
        }
        let length = bytes.get(at..at + 2).ok_or(Fault::EndsEarly)?;
        let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
        let segment = bytes.get(at + 2..at + length).ok_or(Fault::EndsEarly)?;
        if frame.scans == 0 {
            frame.segments.push((marker, at..at + length));
        }
        at += length;
        match marker {
            0xc0..=0xc2 => frame.start(marker == 0xc2, segment)?,
            0xc4 => frame.codes(segment)?,
            // Lossless, hierarchical and arithmetic-coded pictures; numbers of lines behind the scan.
            0xc3 | 0xc5..=0xcf | 0xdc => return Ok(frame),
            0xdb => frame.quantisers(segment)?,
            0xdd => {
                let interval = segment.first_chunk().ok_or(Fault::Header)?;
                frame.restart_interval = usize::from(u16::from_be_bytes(*interval));
            }
            0xda => {
                let scan = frame.scan(segment)?;
                frame.scans += 1;
                at = data(&scan, &mut frame, bytes, at)?;
            }
            _ => {}
        }
    }
}

/// Whether every coefficient has been received down to its last bit.
fn is_complete(frame: &Frame) -> bool {
    frame.components.iter().all(|component| component.low_bit.iter().all(|&bit| bit == 0))
}

/// Walks through the data of one scan; gives the place of the marker behind them.
fn data(scan: &Scan, frame: &mut Frame, bytes: &[u8], at: usize) -> Result<usize, Fault> {
    let alone = (scan.parts.len() == 1).then(|| scan.parts[0].0);
    let units = alone.map_or(frame.units, |component| frame.components[component].blocks);
    let is_marked = !frame.is_progressive && scan.parts.len() == 3 && frame.scans == 1;
    let mut way = Way { bytes, at, units, interval: frame.restart_interval, marks: None };
    way.marks = is_marked.then(|| (Vec::with_capacity(units.0 * units.1), Vec::new()));
    if frame.is_progressive {
        way.walk(Progressive::new(scan, frame)?)?;
    } else {
        way.walk(Sequential::new(scan, frame)?)?;
    }
    if let Some((marks, ends)) = way.marks {
        (frame.marks, frame.ends) = (marks, ends);
    }
    for &(component, ..) in &scan.parts {
        frame.components[component].low_bit[scan.band.0..=scan.band.1].fill(scan.bits.1);
    }
    Ok(way.at)
}

/// The way through all units of a scan.
struct Way<'a> {
    bytes: &'a [u8],
    at: usize,
    /// Units across and along.
    units: (usize, usize),
    /// Units between restart markers; 0 without them.
    interval: usize,
    /// Where units begin, and where the last of each run ends, if it is wanted.
    marks: Option<(Vec<Mark>, Vec<Mark>)>,
}

impl Way<'_> {
    fn walk(&mut self, mut coding: impl Coding) -> Result<(), Fault> {
        let (across, along) = self.units;
        let all = across * along;
        let interval = if self.interval == 0 { all } else { self.interval };
        let mut bits = Bits::new(self.bytes, self.at);
        let mut to_marker = interval;
        for unit in 0..all {
            if to_marker == 0 {
                self.end_run(&mut coding, bits)?;
                self.pass_restart((unit / interval - 1) % 8)?;
                bits = Bits::new(self.bytes, self.at);
                to_marker = interval;
            }
            to_marker -= 1;
            if let Some((marks, _)) = &mut self.marks {
                marks.push(bits.mark());
            }
            coding.unit(&mut bits, (unit % across, unit / across))?;
        }
        self.end_run(&mut coding, bits)
    }

    fn end_run(&mut self, coding: &mut impl Coding, bits: Bits) -> Result<(), Fault> {
        if let Some((_, ends)) = &mut self.marks {
            ends.push(bits.mark());
        }
        coding.end_run()?;
        self.at = bits.end()?;
        Ok(())
    }

    /// Passes the restart marker of this number.
    fn pass_restart(&mut self, number: usize) -> Result<(), Fault> {
        match super::next_marker(self.bytes, &mut self.at) {
            Some(marker) if marker == 0xd0 + number as u8 => Ok(()),
            _ => Err(Fault::Restart),
        }
    }
}

/// Run of zeros and size of what follows it.
pub(super) fn split(code: u8) -> Result<(usize, u32), Fault> {
    let (run, size) = (code >> 4, code & 15);
    if size > MOST_SIZE { Err(Fault::NoCode) } else { Ok((run.into(), size.into())) }
}
