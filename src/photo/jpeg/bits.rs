//! Bits of entropy-coded picture data, and the Huffman codes they form (ITU-T T.81, annexes B, C and F).

use super::Fault;

/// Bits of a code that are looked up at once.
const LOOKUP_BITS: u32 = 10;
/// The longest code, bits.
const LONGEST_CODE: usize = 16;

/// Largest size of a difference of means, 8-bit samples (T.81, F.1.2.1).
pub(super) const MOST_SIZE: u8 = 11;

/// Bytes of zeros that may fill up picture data.
const MOST_PADDING: u32 = 4;

/// A Huffman table.
pub(super) struct Table {
    /// Length and value of the code that the next bits begin with; length 0 where it is longer.
    lookup: Vec<(u8, u8)>,
    /// For coefficients of a sequential picture that are passed over: as many codes with their
    /// coefficients as the next bits hold whole. Empty unless it was made [`Self::ready`] for that.
    leaps: Vec<Leap>,
    /// The difference of means that the next bits hold, with its code. Empty in a table of coefficients.
    differences: Vec<Difference>,
    /// For each length, the code that follows the last of this length, left-aligned to 16 bits.
    limits: [u32; LONGEST_CODE + 1],
    /// For each length, what to add to a code to get the place of its value.
    offsets: [i32; LONGEST_CODE + 1],
    values: Vec<u8>,
}

impl Table {
    /// Codes of the differences of means; see [`Self::new`].
    pub(super) fn of_means(counts: [u8; LONGEST_CODE], values: &[u8]) -> Option<Self> {
        let table = Self::new(counts, values)?;
        let differences = (0..1 << LOOK_BITS).map(|next| Difference::of(&table.lookup, next)).collect();
        Some(Self { differences, ..table })
    }

    /// Makes it ready for passing over the coefficients of a sequential picture.
    pub(super) fn ready(&mut self) {
        if self.leaps.is_empty() {
            self.leaps = (0..1 << LOOK_BITS).map(|next| Leap::of(&self.lookup, next)).collect();
        }
    }

    /// From the numbers of codes of each length and their values (annex C); `None` if they make no table.
    pub(super) fn new(counts: [u8; LONGEST_CODE], values: &[u8]) -> Option<Self> {
        let mut lookup = vec![(0, 0); 1 << LOOKUP_BITS];
        let (mut limits, mut offsets) = ([0; LONGEST_CODE + 1], [0; LONGEST_CODE + 1]);
        let (mut code, mut at) = (0_u32, 0_usize);
        for length in 1..=LONGEST_CODE {
            let count = usize::from(counts[length - 1]);
            offsets[length] = at as i32 - code as i32;
            for &value in values.get(at..at + count)? {
                if length <= LOOKUP_BITS as usize {
                    let spare = LOOKUP_BITS as usize - length;
                    let first = (code as usize) << spare;
                    lookup.get_mut(first..first + (1 << spare))?.fill((length as u8, value));
                }
                code += 1;
            }
            if code > 1 << length {
                return None;
            }
            at += count;
            limits[length] = code << (LONGEST_CODE - length);
            code <<= 1;
        }
        let (leaps, differences) = (Vec::new(), Vec::new());
        Some(Self { lookup, leaps, differences, limits, offsets, values: values[..at].to_vec() })
    }

    /// The code of a value and its length; `None` if it has none.
    pub(super) fn code_of(&self, value: u8) -> Option<(u32, u32)> {
        let at = self.values.iter().position(|&own| own == value)? as i32;
        (1..=LONGEST_CODE).find_map(|length| {
            let code = at - self.offsets[length];
            let is_whole = code < (self.limits[length] >> (LONGEST_CODE - length)) as i32;
            is_whole.then_some((code as u32, length as u32))
        })
    }
}

/// Bits of several codes, or of one with what follows it, that are looked up at once: few enough for
/// the nearest cache.
const LOOK_BITS: u32 = 13;
/// Places by which the end of a block leads on, beyond those of the coefficients before it: farther
/// than any coefficients.
const TO_THE_END: usize = 128;
/// Places where it is not understood what comes: farther than anything else from any place.
const NOT_UNDERSTOOD: u8 = 192;

/// What lies before the first bits that are not understood at one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Leap {
    /// Bits of all codes and their coefficients.
    bits: u8,
    /// Places to the next coefficient.
    places: u8,
    /// Bits of the first code and its coefficient; none where that is not so simple.
    first_bits: u8,
    /// Places by which that leads on.
    first_places: u8,
}

impl Leap {
    fn of(lookup: &[(u8, u8)], next: u32) -> Self {
        let Some((bits, places)) = single(lookup, next) else {
            return Self { bits: 0, places: NOT_UNDERSTOOD, first_bits: 0, first_places: 0 };
        };
        // The bits of the first coefficient may lie beyond those looked at: they need not be known.
        let mut leap = Self { bits, places, first_bits: bits, first_places: places };
        while leap.places < 63 && u32::from(leap.bits) < LOOK_BITS {
            let rest = next << leap.bits & ((1 << LOOK_BITS) - 1);
            let Some((bits, places)) = single(lookup, rest) else { break };
            if u32::from(leap.bits + bits) > LOOK_BITS {
                break;
            }
            leap.bits += bits;
            leap.places += places;
        }
        leap
    }
}

/// Bits of a code and its coefficient, and places to the next (T.81, F.1.2.2).
fn single(lookup: &[(u8, u8)], next: u32) -> Option<(u8, u8)> {
    let (length, value) = lookup[(next >> (LOOK_BITS - LOOKUP_BITS)) as usize];
    match (value >> 4, value & 15) {
        (0, 0) if length > 0 => Some((length, TO_THE_END as u8)),
        (run, size @ 1..=10) if length > 0 => Some((length + size, run + 1)),
        _ => None,
    }
}

/// A difference of means that is seen whole at one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Difference {
    /// Bits of its code and itself; none where it is not seen whole.
    bits: u8,
    value: i16,
}

impl Difference {
    fn of(lookup: &[(u8, u8)], next: u32) -> Self {
        let (length, size) = lookup[(next >> (LOOK_BITS - LOOKUP_BITS)) as usize];
        let bits = u32::from(length) + u32::from(size);
        if length == 0 || size > MOST_SIZE || bits > LOOK_BITS {
            return Self { bits: 0, value: 0 };
        }
        let value = next >> (LOOK_BITS - bits) & ((1 << size) - 1);
        Self { bits: bits as u8, value: signed(value, size.into()) as i16 }
    }
}

/// Bits of this number as a signed one (T.81, table F.1 and figure F.12).
fn signed(value: u32, size: u32) -> i32 {
    let is_negative = size > 0 && value < 1 << (size - 1);
    if is_negative { value as i32 - (1 << size) + 1 } else { value as i32 }
}

/// A place between two bits of the picture data: the byte that is to be taken in next, and how many
/// bits before it are still to come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark {
    /// Index of the byte.
    pub at: u32,
    /// Bits that are taken in and not yet used.
    pub held: u8,
}

/// The byte in which a mark lies, and how many of its bits lie before the mark.
pub(super) fn first_byte(bytes: &[u8], mark: Mark) -> (usize, u32) {
    let mut at = mark.at as usize;
    for _ in 0..mark.held.div_ceil(8) {
        let is_stuffed = at >= 2 && bytes[at - 2..at] == [0xff, 0];
        at = at.saturating_sub(if is_stuffed { 2 } else { 1 });
    }
    (at, (8 - u32::from(mark.held) % 8) % 8)
}

/// Whether one of eight bytes is FF: then its complement is zero, and borrows from the byte above.
#[inline]
pub(super) fn holds_marker(eight: u64) -> bool {
    (!eight).wrapping_sub(0x0101_0101_0101_0101) & eight & 0x8080_8080_8080_8080 != 0
}

/// Most bits that one step uses: a code that is looked up and its coefficient.
const MOST_AT_ONCE: u32 = 20;

/// Reads bits up to the next marker; beyond it there are none.
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    /// The next bits. Behind those that are counted may stand some of the bits that follow.
    held: u64,
    count: u32,
    /// Bits that were made up beyond the marker and stand at the end of those held.
    made_up: u32,
}

impl<'a> Bits<'a> {
    /// Begins at a byte.
    pub(super) fn new(bytes: &'a [u8], at: usize) -> Self {
        Self { bytes, at, held: 0, count: 0, made_up: 0 }
    }

    /// Holds at least as many bits as one step uses.
    #[inline]
    fn fill(&mut self) {
        if self.count >= MOST_AT_ONCE {
            return;
        }
        let next = self.bytes.get(self.at..).and_then(|rest| rest.first_chunk());
        match next.map(|&eight| u64::from_be_bytes(eight)) {
            Some(eight) if !holds_marker(eight) => {
                self.held |= eight >> self.count;
                let whole = (64 - self.count) / 8;
                self.at += whole as usize;
                self.count += 8 * whole;
            }
            _ => self.fill_by_bytes(),
        }
    }

    #[cold]
    fn fill_by_bytes(&mut self) {
        while self.count <= 48 {
            let byte = match (self.bytes.get(self.at), self.bytes.get(self.at + 1)) {
                (Some(0xff), Some(0)) => {
                    self.at += 2;
                    0xff
                }
                (Some(0xff) | None, _) => {
                    self.made_up += 8;
                    0
                }
                (Some(&byte), _) => {
                    self.at += 1;
                    byte
                }
            };
            self.held |= u64::from(byte) << (56 - self.count);
            self.count += 8;
        }
    }

    fn pass(&mut self, count: u32) -> Result<(), Fault> {
        self.held <<= count;
        self.count -= count;
        if self.count < self.made_up { Err(Fault::EndsEarly) } else { Ok(()) }
    }

    /// Where the next bit lies.
    pub(super) fn mark(&self) -> Mark {
        Mark { at: self.at as u32, held: self.count.saturating_sub(self.made_up) as u8 }
    }

    /// Goes on where a mark lies.
    pub(super) fn at_mark(bytes: &'a [u8], mark: Mark) -> Self {
        let (at, spare) = first_byte(bytes, mark);
        let mut bits = Self::new(bytes, at);
        bits.fill();
        bits.held <<= spare;
        bits.count -= spare;
        bits
    }

    /// Passes over the coefficients of a block of a sequential picture from this place on, as far as
    /// they are simple; gives the place of the next one, past the last if the block is done.
    #[inline]
    pub(super) fn leap(&mut self, table: &Table, mut k: usize) -> Result<usize, Fault> {
        let mut is_understood = true;
        while k < 64 && is_understood {
            self.fill();
            let (mut held, mut count) = (self.held, self.count);
            while k < 64 && count >= MOST_AT_ONCE {
                let leap = table.leaps[(held >> (64 - LOOK_BITS)) as usize];
                let (mut bits, mut next) = (leap.bits, k + usize::from(leap.places));
                // Several codes may reach into the next block: then they are passed one by one.
                if !matches!(next, 0..=64 | TO_THE_END..192) {
                    (bits, next) = (leap.first_bits, k + usize::from(leap.first_places));
                    is_understood = bits > 0;
                    if !is_understood {
                        break;
                    }
                }
                held <<= bits;
                count -= u32::from(bits);
                k = next;
            }
            (self.held, self.count) = (held, count);
        }
        self.pass(0)?;
        // Behind the end of a block no place is left.
        Ok(if k >= TO_THE_END { 64 } else { k })
    }

    /// The next difference of means.
    #[inline]
    pub(super) fn difference(&mut self, table: &Table) -> Result<i32, Fault> {
        self.fill();
        let seen = table.differences[(self.held >> (64 - LOOK_BITS)) as usize];
        if seen.bits > 0 {
            self.pass(seen.bits.into())?;
            return Ok(seen.value.into());
        }
        match self.decode(table)? {
            size @ 0..=MOST_SIZE => self.signed(size.into()),
            _ => Err(Fault::NoCode),
        }
    }

    /// The next bits as a number; up to 16.
    pub(super) fn take(&mut self, count: u32) -> Result<u32, Fault> {
        if count == 0 {
            return Ok(0);
        }
        self.fill();
        let value = (self.held >> (64 - count)) as u32;
        self.pass(count)?;
        Ok(value)
    }

    /// The next bits as a signed number of this size.
    fn signed(&mut self, size: u32) -> Result<i32, Fault> {
        Ok(signed(self.take(size)?, size))
    }

    /// The value of the next code.
    pub(super) fn decode(&mut self, table: &Table) -> Result<u8, Fault> {
        self.fill();
        let (length, value) = table.lookup[(self.held >> (64 - LOOKUP_BITS)) as usize];
        if length > 0 {
            self.pass(length.into())?;
            return Ok(value);
        }
        let next = (self.held >> 48) as u32;
        let longer = LOOKUP_BITS as usize + 1..=LONGEST_CODE;
        let length = longer.into_iter().find(|&length| next < table.limits[length]).ok_or(Fault::NoCode)?;
        let code = (next >> (LONGEST_CODE - length)) as i32;
        self.pass(length as u32)?;
        table.values.get((code + table.offsets[length]) as usize).copied().ok_or(Fault::NoCode)
    }

    /// Ends a run of picture data: nothing but padding may be left before the next marker, whose place
    /// is given. A few bytes of zeros are padding too: encoders that write whole words leave them.
    pub(super) fn end(mut self) -> Result<usize, Fault> {
        self.fill_by_bytes();
        let left = self.count.saturating_sub(self.made_up);
        self.pass(left % 8)?;
        // Whoever held few bytes has met the marker.
        if self.held == 0 && left / 8 <= MOST_PADDING { Ok(self.at) } else { Err(Fault::GoesOn) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes 0, 10, 110 and 1111111110 (a long one).
    fn table() -> Table {
        let mut counts = [0; 16];
        (counts[0], counts[1], counts[2], counts[9]) = (1, 1, 1, 1);
        // T.81, annex C: codes of one length follow each other, so the long one is 1110000000.
        Table::new(counts, &[5, 6, 7, 8]).unwrap()
    }

    #[test]
    fn codes_give_their_values_and_then_the_padding_ends() {
        // 0, 10, 110, 1110000000, padding.
        let bytes = [0b0101_1011, 0b1000_0000, 0xff, 0xd9];
        let mut bits = Bits::new(&bytes, 0);
        let values: Vec<u8> = (0..4).map(|_| bits.decode(&table()).unwrap()).collect();
        assert_eq!(values, [5, 6, 7, 8]);
        assert_eq!(bits.end(), Ok(2));
    }

    #[test]
    fn stuffed_bytes_are_data_and_markers_are_none() {
        let mut bits = Bits::new(&[0xff, 0x00, 0xff, 0xd9], 0);
        assert_eq!(bits.take(8), Ok(0xff));
        assert_eq!(bits.take(1), Err(Fault::EndsEarly));
    }

    #[test]
    fn data_left_over_are_told() {
        let mut bits = Bits::new(&[0x12, 0x34, 0xff, 0xd9], 0);
        bits.take(3).unwrap();
        assert_eq!(bits.end(), Err(Fault::GoesOn));
    }

    /// T.81, table F.1: size 3 holds -7 to -4 and 4 to 7.
    #[test]
    fn signed_numbers_follow_the_standard() {
        let mut bits = Bits::new(&[0b0000_1110, 0b0111_0000], 0);
        assert_eq!(
            [bits.signed(3), bits.signed(3), bits.signed(3), bits.signed(3)],
            [Ok(-7), Ok(-4), Ok(4), Ok(7)]
        );
    }

    #[test]
    fn overfull_tables_are_none() {
        let mut counts = [0; 16];
        counts[0] = 3;
        assert!(Table::new(counts, &[1, 2, 3]).is_none());
        counts[0] = 2;
        assert!(Table::new(counts, &[1]).is_none());
    }
}
