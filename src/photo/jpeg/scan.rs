//! Whether the picture data of a JPEG file are whole.
//!
//! Decoders show what they can: after a hole or a turned bit they go on with whatever the bits then
//! mean. But Huffman codes do not stay in step by themselves: as many blocks as the picture has must
//! use up the data exactly, up to each marker, without a code that is none and without a mean that no
//! picture has. All data are walked through once for that (ITU-T T.81, annexes F and G); on the way the
//! blocks' means are gathered, which are the picture at an eighth of its size, and where units begin.

use super::Fault;
use super::bits::{Bits, Table};
use super::frame::{Frame, Scan};

/// Largest size of a difference of means, and of another coefficient, 8-bit samples (T.81, F.1.2).
const MOST_SIZES: (u8, u8) = (11, 10);

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
                at = Walk::new(&scan, bytes, at).through(&mut frame)?;
            }
            _ => {}
        }
    }
}

/// Whether every coefficient has been received down to its last bit.
fn is_complete(frame: &Frame) -> bool {
    frame.components.iter().all(|component| component.low_bit.iter().all(|&bit| bit == 0))
}

/// The way through one scan.
struct Walk<'a> {
    scan: &'a Scan,
    bytes: &'a [u8],
    bits: Bits<'a>,
    /// The last mean of each part.
    means: [i64; 4],
    /// Blocks that still hold nothing but zeros (T.81, G.1.2.2).
    empty_blocks: u32,
}

impl<'a> Walk<'a> {
    fn new(scan: &'a Scan, bytes: &'a [u8], at: usize) -> Self {
        Self { scan, bytes, bits: Bits::new(bytes, at), means: [0; 4], empty_blocks: 0 }
    }

    /// Walks through all units; gives the place of the marker behind them.
    fn through(mut self, frame: &mut Frame) -> Result<usize, Fault> {
        let alone = (self.scan.parts.len() == 1).then(|| self.scan.parts[0].0);
        let (across, along) = alone.map_or(frame.units, |component| frame.components[component].blocks);
        let units = across * along;
        let interval = if frame.restart_interval == 0 { units } else { frame.restart_interval };
        let is_marked = !frame.is_progressive && self.scan.parts.len() == 3 && frame.scans == 1;
        if is_marked {
            frame.marks.reserve_exact(units);
        }
        for unit in 0..units {
            if unit > 0 && unit % interval == 0 {
                if is_marked {
                    frame.ends.push(self.bits.mark());
                }
                self.restart((unit / interval - 1) % 8)?;
            }
            let place = (unit % across, unit / across);
            if is_marked {
                frame.marks.push(self.bits.mark());
            }
            match alone {
                Some(_) => self.block(frame, 0, place)?,
                None => self.unit(frame, place)?,
            }
        }
        if is_marked {
            frame.ends.push(self.bits.mark());
        }
        for &(component, ..) in &self.scan.parts {
            let received = &mut frame.components[component].low_bit[self.scan.band.0..=self.scan.band.1];
            received.fill(self.scan.bits.1);
        }
        if self.empty_blocks > 0 { Err(Fault::EndsEarly) } else { self.bits.end() }
    }

    /// Passes the restart marker of this number.
    fn restart(&mut self, number: usize) -> Result<(), Fault> {
        if self.empty_blocks > 0 {
            return Err(Fault::EndsEarly);
        }
        let mut at = std::mem::replace(&mut self.bits, Bits::new(&[], 0)).end()?;
        if super::next_marker(self.bytes, &mut at) != Some(0xd0 + number as u8) {
            return Err(Fault::Restart);
        }
        self.bits = Bits::new(self.bytes, at);
        self.means = [0; 4];
        Ok(())
    }

    /// All blocks of a unit of interleaved data.
    fn unit(&mut self, frame: &mut Frame, (column, row): (usize, usize)) -> Result<(), Fault> {
        for part in 0..self.scan.parts.len() {
            let (across, along) = frame.components[self.scan.parts[part].0].unit;
            for block in 0..across * along {
                self.block(frame, part, (column * across + block % across, row * along + block / across))?;
            }
        }
        Ok(())
    }

    fn block(&mut self, frame: &mut Frame, part: usize, (column, row): (usize, usize)) -> Result<(), Fault> {
        let (component, dc, ac) = self.scan.parts[part];
        let block = row * frame.components[component].stride + column;
        if self.scan.band.0 == 0 {
            let mean = if self.scan.bits.0 > 0 {
                (self.bits.take(1)? as i16) << self.scan.bits.1
            } else {
                self.mean(frame, part, component, dc)?
            };
            *frame.components[component].means.get_mut(block).ok_or(Fault::Header)? |= mean;
        }
        if self.scan.band.1 == 0 {
            return Ok(());
        }
        let table = frame.ac_tables[ac].as_ref().ok_or(Fault::Header)?;
        if !frame.is_progressive {
            return coefficients(&mut self.bits, table);
        }
        let component = &mut frame.components[component];
        let nonzero = component.nonzero.get_mut(block).ok_or(Fault::Header)?;
        match self.scan.bits.0 {
            0 => self.first_bits(table, nonzero),
            _ => self.next_bits(table, nonzero),
        }
    }

    /// The block's mean, as a difference to the last one.
    fn mean(&mut self, frame: &Frame, part: usize, component: usize, dc: usize) -> Result<i16, Fault> {
        let size = self.bits.decode(frame.dc_tables[dc].as_ref().ok_or(Fault::Header)?)?;
        if size > MOST_SIZES.0 {
            return Err(Fault::NoCode);
        }
        self.means[part] += i64::from(self.bits.signed(size.into())?);
        let mean = self.means[part] << self.scan.bits.1;
        if frame.is_possible_mean(component, mean) { Ok(mean as i16) } else { Err(Fault::Impossible) }
    }

    /// First bits of a band of a progressive picture (T.81, G.1.2.2).
    fn first_bits(&mut self, table: &Table, nonzero: &mut u64) -> Result<(), Fault> {
        if self.empty_blocks > 0 {
            self.empty_blocks -= 1;
            return Ok(());
        }
        let (mut k, last) = self.scan.band;
        while k <= last {
            match split(self.bits.decode(table)?)? {
                (15, 0) => k += 16,
                (run, 0) => {
                    self.empty_blocks = (1 << run) - 1 + self.bits.take(run as u32)?;
                    return Ok(());
                }
                (run, size) => {
                    k += run;
                    if k > last {
                        return Err(Fault::Impossible);
                    }
                    self.bits.take(size)?;
                    *nonzero |= 1 << k;
                    k += 1;
                }
            }
        }
        if k > last + 1 { Err(Fault::Impossible) } else { Ok(()) }
    }

    /// Further bits of a band of a progressive picture (T.81, G.1.2.3).
    fn next_bits(&mut self, table: &Table, nonzero: &mut u64) -> Result<(), Fault> {
        let (mut k, last) = self.scan.band;
        while self.empty_blocks == 0 && k <= last {
            let (run, size) = split(self.bits.decode(table)?)?;
            match (run, size) {
                (15, 0) => {}
                (_, 0) => {
                    self.empty_blocks = (1 << run) + self.bits.take(run as u32)?;
                    break;
                }
                (_, 1) => drop(self.bits.take(1)?),
                _ => return Err(Fault::NoCode),
            }
            k = self.pass(k, run, *nonzero)?;
            if size == 1 {
                if k > last {
                    return Err(Fault::Impossible);
                }
                *nonzero |= 1 << k;
            }
            k += 1;
        }
        if self.empty_blocks > 0 {
            self.pass(k, 64, *nonzero)?;
            self.empty_blocks -= 1;
        }
        Ok(())
    }

    /// Goes over this many coefficients that were zero, taking a bit for each that was not; stops at
    /// the next that was zero.
    fn pass(&mut self, mut k: usize, mut zeros: usize, nonzero: u64) -> Result<usize, Fault> {
        while k <= self.scan.band.1 {
            if nonzero >> k & 1 == 1 {
                self.bits.take(1)?;
            } else if zeros == 0 {
                break;
            } else {
                zeros -= 1;
            }
            k += 1;
        }
        Ok(k)
    }
}

/// Passes over the other coefficients of a block of a sequential picture (T.81, F.2.2.2).
pub(super) fn coefficients(bits: &mut Bits, table: &Table) -> Result<(), Fault> {
    let mut k = 1;
    loop {
        k = bits.leap(table, k)?;
        if k >= 64 {
            break;
        }
        let (run, size) = split(bits.decode(table)?)?;
        match (run, size) {
            (0, 0) => return Ok(()),
            (15, 0) => k += 16,
            (_, 0) => return Err(Fault::NoCode),
            _ => {
                k += run + 1;
                bits.take(size)?;
            }
        }
    }
    if k > 64 { Err(Fault::Impossible) } else { Ok(()) }
}

/// Run of zeros and size of what follows it.
fn split(code: u8) -> Result<(usize, u32), Fault> {
    let (run, size) = (code >> 4, code & 15);
    if size > MOST_SIZES.1 { Err(Fault::NoCode) } else { Ok((run.into(), size.into())) }
}
