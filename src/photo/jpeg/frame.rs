//! What a JPEG file says of its picture: components, sizes and tables (ITU-T T.81, annex B).

use std::ops::Range;

use super::Fault;
use super::bits::{Bits, Mark, Table};

/// Largest magnitude of a block's mean times eight, 8-bit samples (T.81, annex A.3).
const MOST_DC: i64 = 1024;

/// A colour component.
pub(super) struct Component {
    id: u8,
    /// Blocks across and along a unit of interleaved data.
    pub unit: (usize, usize),
    /// Blocks across and along that hold picture.
    pub blocks: (usize, usize),
    /// Blocks across with those that fill up the last unit.
    pub stride: usize,
    quantiser: u8,
    /// Each block's mean as coded: times eight, in units of the quantiser's first step.
    pub means: Vec<i16>,
    /// For each block, which coefficients are known not to be zero.
    pub nonzero: Vec<u64>,
    /// For each coefficient, the lowest bit received so far; 255 before the first.
    pub low_bit: [u8; 64],
}

/// The frame and the tables that hold for the next scan.
pub(super) struct Frame {
    pub is_progressive: bool,
    /// Width and height, pixels.
    pub size: (usize, usize),
    pub components: Vec<Component>,
    /// Units of interleaved data across and along.
    pub units: (usize, usize),
    /// Units between restart markers; 0 without them.
    pub restart_interval: usize,
    pub dc_tables: [Option<Table>; 4],
    pub ac_tables: [Option<Table>; 4],
    /// Divisor of each table for a block's mean.
    dc_steps: [i64; 4],
    /// Marker and place of each segment before the first scan's data, its header the last.
    pub segments: Vec<(u8, Range<usize>)>,
    /// Number of scans.
    pub scans: usize,
    /// Where each unit of interleaved data begins; empty for other data.
    pub marks: Vec<Mark>,
    /// Where the last unit before each restart marker ends, and the last of all.
    pub ends: Vec<Mark>,
}

/// What one scan brings.
pub(super) struct Scan {
    /// Component, DC table, AC table.
    pub parts: Vec<(usize, usize, usize)>,
    /// First and last coefficient.
    pub band: (usize, usize),
    /// Bit that was received before, and the lowest that is received now.
    pub bits: (u8, u8),
}

/// Tables may come before the frame's header.
impl Default for Frame {
    fn default() -> Self {
        Self {
            is_progressive: false,
            size: (0, 0),
            components: Vec::new(),
            units: (0, 0),
            restart_interval: 0,
            dc_tables: Default::default(),
            ac_tables: Default::default(),
            dc_steps: [1; 4],
            segments: Vec::new(),
            scans: 0,
            marks: Vec::new(),
            ends: Vec::new(),
        }
    }
}

impl Frame {
    /// Takes in a frame header (B.2.2). The caller has held the limit of pixels.
    pub(super) fn start(&mut self, is_progressive: bool, segment: &[u8]) -> Result<(), Fault> {
        let [_, h0, h1, w0, w1, _, parts @ ..] = segment else { return Err(Fault::Header) };
        let (width, height) = (u16::from_be_bytes([*w0, *w1]), u16::from_be_bytes([*h0, *h1]));
        let samplings =
            || parts.chunks_exact(3).map(|part| (usize::from(part[1] >> 4), usize::from(part[1] & 15)));
        let most = samplings().fold((1, 1), |most, (h, v)| (h.max(most.0), v.max(most.1)));
        if !self.components.is_empty()
            || samplings().any(|(h, v)| !(1..=4).contains(&h) || !(1..=4).contains(&v))
        {
            return Err(Fault::Header);
        }
        let (width, height) = (usize::from(width), usize::from(height));
        self.is_progressive = is_progressive;
        self.size = (width, height);
        self.units = (width.div_ceil(8 * most.0), height.div_ceil(8 * most.1));
        let units = self.units;
        let component = |part: &[u8]| {
            let unit = (usize::from(part[1] >> 4), usize::from(part[1] & 15));
            let blocks = (
                (width * unit.0).div_ceil(most.0).div_ceil(8),
                (height * unit.1).div_ceil(most.1).div_ceil(8),
            );
            let stride = units.0 * unit.0;
            let count = stride * units.1 * unit.1;
            let nonzero = if is_progressive { vec![0; count] } else { Vec::new() };
            Component {
                id: part[0],
                unit,
                blocks,
                stride,
                quantiser: part[2] & 3,
                means: vec![0; count],
                nonzero,
                low_bit: [255; 64],
            }
        };
        self.components = parts.chunks_exact(3).map(component).collect();
        if self.components.is_empty() || self.components.len() > 4 { Err(Fault::Header) } else { Ok(()) }
    }

    /// Width and height of a unit of interleaved data, pixels.
    pub(super) fn unit_pixels(&self) -> (usize, usize) {
        let most = self
            .components
            .iter()
            .fold((1, 1), |most, component| (component.unit.0.max(most.0), component.unit.1.max(most.1)));
        (8 * most.0, 8 * most.1)
    }

    /// Where a unit of interleaved data ends.
    pub(super) fn end_of(&self, unit: usize) -> Mark {
        match (unit + 1).checked_rem(self.restart_interval) {
            Some(0) => self.ends[(unit + 1) / self.restart_interval - 1],
            _ => self.marks.get(unit + 1).copied().unwrap_or(self.ends[self.ends.len() - 1]),
        }
    }

    /// Takes in Huffman tables (B.2.4.2).
    pub(super) fn codes(&mut self, mut segment: &[u8]) -> Result<(), Fault> {
        while let [place, rest @ ..] = segment {
            let counts: [u8; 16] = *rest.first_chunk().ok_or(Fault::Header)?;
            let length: usize = counts.iter().map(|&count| usize::from(count)).sum();
            let values = rest.get(16..16 + length).ok_or(Fault::Header)?;
            let (tables, table) = if place >> 4 == 0 {
                (&mut self.dc_tables, Table::of_means(counts, values))
            } else {
                (&mut self.ac_tables, Table::new(counts, values))
            };
            tables[usize::from(place & 3)] = Some(table.ok_or(Fault::Header)?);
            segment = &rest[16 + length..];
        }
        Ok(())
    }

    /// Takes in quantisation tables (B.2.4.1), of which the first divisor is kept.
    pub(super) fn quantisers(&mut self, mut segment: &[u8]) -> Result<(), Fault> {
        while let [place, rest @ ..] = segment {
            let is_wide = place >> 4 > 0;
            let length = if is_wide { 128 } else { 64 };
            let table = rest.get(..length).ok_or(Fault::Header)?;
            let first =
                if is_wide { i64::from(u16::from_be_bytes([table[0], table[1]])) } else { table[0].into() };
            self.dc_steps[usize::from(place & 3)] = first;
            segment = &rest[length..];
        }
        Ok(())
    }

    /// Reads a scan header (B.2.3).
    pub(super) fn scan(&self, segment: &[u8]) -> Result<Scan, Fault> {
        let count = usize::from(*segment.first().ok_or(Fault::Header)?);
        let parts = segment.get(1..1 + 2 * count).ok_or(Fault::Header)?;
        let [first, last, bits] = *segment[1 + 2 * count..].first_chunk().ok_or(Fault::Header)?;
        let place = |part: &[u8]| {
            let component = self.components.iter().position(|component| component.id == part[0])?;
            Some((component, usize::from(part[1] >> 4 & 3), usize::from(part[1] & 3)))
        };
        let parts: Vec<_> = parts.chunks_exact(2).map(place).collect::<Option<_>>().ok_or(Fault::Header)?;
        let (band, bits) = if self.is_progressive {
            ((usize::from(first), usize::from(last)), (bits >> 4, bits & 15))
        } else {
            ((0, 63), (0, 0))
        };
        let mixes_kinds = self.is_progressive && band.0 == 0 && band.1 > 0;
        let is_sound = !parts.is_empty()
            && band.0 <= band.1
            && band.1 < 64
            && bits.1 < 14
            && !mixes_kinds
            && (band.0 == 0 || parts.len() == 1);
        is_sound.then_some(Scan { parts, band, bits }).ok_or(Fault::Header)
    }

    /// Eight-bit steps of a component's mean as coded, times eight.
    pub(super) fn mean_step(&self, component: &Component) -> i64 {
        self.dc_steps[usize::from(component.quantiser)]
    }

    /// The components of a scan, with its tables.
    pub(super) fn lanes(&mut self, scan: &Scan) -> Result<Vec<Lane<'_>>, Fault> {
        let (dc_tables, ac_tables, steps) = (&self.dc_tables, &self.ac_tables, self.dc_steps);
        let is_alone = scan.parts.len() == 1;
        let mut components: Vec<Option<&mut Component>> = self.components.iter_mut().map(Some).collect();
        let lane = |&(place, dc, ac): &(usize, usize, usize)| {
            // No component may come twice.
            let component = components[place].take().ok_or(Fault::Header)?;
            Ok(Lane {
                unit: if is_alone { (1, 1) } else { component.unit },
                step: steps[usize::from(component.quantiser)],
                component,
                dc: dc_tables[dc].as_ref(),
                ac: ac_tables[ac].as_ref(),
                last: 0,
            })
        };
        scan.parts.iter().map(lane).collect()
    }
}

/// One component in one scan.
pub(super) struct Lane<'f> {
    pub component: &'f mut Component,
    pub dc: Option<&'f Table>,
    pub ac: Option<&'f Table>,
    /// Blocks across and along a unit of this scan.
    pub unit: (usize, usize),
    /// The last block's mean.
    pub last: i64,
    /// Divisor of the means.
    step: i64,
}

impl Lane<'_> {
    /// The mean that comes next, as a difference to the last one, without so many lowest bits.
    #[inline]
    pub(super) fn next_mean(&mut self, bits: &mut Bits, low: u8) -> Result<i16, Fault> {
        self.last += i64::from(bits.difference(self.dc.ok_or(Fault::Header)?)?);
        let mean = self.last << low;
        // What no 8-bit samples have is none.
        if (mean * self.step).abs() <= MOST_DC + self.step { Ok(mean as i16) } else { Err(Fault::Impossible) }
    }

    /// Where the mean of the block at this column and row is kept.
    #[inline]
    pub(super) fn mean_of(&mut self, column: usize, row: usize) -> Result<&mut i16, Fault> {
        let component = &mut *self.component;
        component.means.get_mut(row * component.stride + column).ok_or(Fault::Header)
    }
}
