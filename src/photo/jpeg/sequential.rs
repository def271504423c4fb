//! The way through a sequential scan, where each block is coded whole (ITU-T T.81, annex F).

use super::Fault;
use super::bits::{Bits, Table};
use super::frame::{Frame, Lane, Scan};
use super::scan::{Coding, split};

/// The scan's components.
pub(super) struct Sequential<'f> {
    lanes: Vec<Lane<'f>>,
}

impl<'f> Sequential<'f> {
    pub(super) fn new(scan: &Scan, frame: &'f mut Frame) -> Result<Self, Fault> {
        for &(.., ac) in &scan.parts {
            frame.ac_tables[ac].iter_mut().for_each(Table::ready);
        }
        Ok(Self { lanes: frame.lanes(scan)? })
    }
}

impl Coding for Sequential<'_> {
    fn unit(&mut self, bits: &mut Bits, (column, row): (usize, usize)) -> Result<(), Fault> {
        for lane in &mut self.lanes {
            let table = lane.ac.ok_or(Fault::Header)?;
            let (across, along) = lane.unit;
            for line in row * along..(row + 1) * along {
                for block in column * across..(column + 1) * across {
                    let mean = lane.next_mean(bits, 0)?;
                    *lane.mean_of(block, line)? = mean;
                    coefficients(bits, table)?;
                }
            }
        }
        Ok(())
    }

    fn end_run(&mut self) -> Result<(), Fault> {
        self.lanes.iter_mut().for_each(|lane| lane.last = 0);
        Ok(())
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
