//! The way through a scan of a progressive picture, which brings some bits of some coefficients
//! (ITU-T T.81, annex G).

use super::Fault;
use super::bits::{Bits, Table};
use super::frame::{Frame, Lane, Scan};
use super::scan::{Coding, split};

/// The scan's components and where it stands.
pub(super) struct Progressive<'f> {
    lanes: Vec<Lane<'f>>,
    /// First and last coefficient.
    band: (usize, usize),
    /// Bit that was received before, and the lowest that is received now.
    low_bits: (u8, u8),
    /// Blocks that still hold nothing but zeros (T.81, G.1.2.2).
    empty_blocks: u32,
}

impl<'f> Progressive<'f> {
    pub(super) fn new(scan: &Scan, frame: &'f mut Frame) -> Result<Self, Fault> {
        Ok(Self { lanes: frame.lanes(scan)?, band: scan.band, low_bits: scan.bits, empty_blocks: 0 })
    }

    fn block(&mut self, bits: &mut Bits, lane: usize, (column, row): (usize, usize)) -> Result<(), Fault> {
        let own = &mut self.lanes[lane];
        // A scan holds means or others, never both.
        if self.band.0 == 0 {
            let mean = match self.low_bits {
                (0, low) => own.next_mean(bits, low)?,
                (_, low) => (bits.take(1)? as i16) << low,
            };
            *own.mean_of(column, row)? |= mean;
            return Ok(());
        }
        let table = own.ac.ok_or(Fault::Header)?;
        let place = row * own.component.stride + column;
        let mut nonzero = *own.component.nonzero.get(place).ok_or(Fault::Header)?;
        match self.low_bits.0 {
            0 => self.first_bits(bits, table, &mut nonzero)?,
            _ => self.next_bits(bits, table, &mut nonzero)?,
        }
        self.lanes[lane].component.nonzero[place] = nonzero;
        Ok(())
    }

    /// First bits of a band of a progressive picture (T.81, G.1.2.2).
    fn first_bits(&mut self, bits: &mut Bits, table: &Table, nonzero: &mut u64) -> Result<(), Fault> {
        if self.empty_blocks > 0 {
            self.empty_blocks -= 1;
            return Ok(());
        }
        let (mut k, last) = self.band;
        while k <= last {
            match split(bits.decode(table)?)? {
                (15, 0) => k += 16,
                (run, 0) => {
                    self.empty_blocks = (1 << run) - 1 + bits.take(run as u32)?;
                    return Ok(());
                }
                (run, size) => {
                    k += run;
                    if k > last {
                        return Err(Fault::Impossible);
                    }
                    bits.take(size)?;
                    *nonzero |= 1 << k;
                    k += 1;
                }
            }
        }
        if k > last + 1 { Err(Fault::Impossible) } else { Ok(()) }
    }

    /// Further bits of a band of a progressive picture (T.81, G.1.2.3).
    fn next_bits(&mut self, bits: &mut Bits, table: &Table, nonzero: &mut u64) -> Result<(), Fault> {
        let (mut k, last) = self.band;
        while self.empty_blocks == 0 && k <= last {
            let (run, size) = split(bits.decode(table)?)?;
            match (run, size) {
                (15, 0) => {}
                (_, 0) => {
                    self.empty_blocks = (1 << run) + bits.take(run as u32)?;
                    break;
                }
                (_, 1) => drop(bits.take(1)?),
                _ => return Err(Fault::NoCode),
            }
            k = self.pass(bits, k, run, *nonzero)?;
            if size == 1 {
                if k > last {
                    return Err(Fault::Impossible);
                }
                *nonzero |= 1 << k;
            }
            k += 1;
        }
        if self.empty_blocks > 0 {
            self.pass(bits, k, 64, *nonzero)?;
            self.empty_blocks -= 1;
        }
        Ok(())
    }

    /// Goes over this many coefficients that were zero, taking a bit for each that was not; stops at
    /// the next that was zero.
    fn pass(&self, bits: &mut Bits, mut k: usize, mut zeros: usize, nonzero: u64) -> Result<usize, Fault> {
        while k <= self.band.1 {
            if nonzero >> k & 1 == 1 {
                bits.take(1)?;
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

impl Coding for Progressive<'_> {
    fn unit(&mut self, bits: &mut Bits, (column, row): (usize, usize)) -> Result<(), Fault> {
        for lane in 0..self.lanes.len() {
            let (across, along) = self.lanes[lane].unit;
            for line in row * along..(row + 1) * along {
                for block in column * across..(column + 1) * across {
                    self.block(bits, lane, (block, line))?;
                }
            }
        }
        Ok(())
    }

    fn end_run(&mut self) -> Result<(), Fault> {
        self.lanes.iter_mut().for_each(|lane| lane.last = 0);
        if self.empty_blocks > 0 { Err(Fault::EndsEarly) } else { Ok(()) }
    }
}
