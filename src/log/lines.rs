//! The file line by line, forwards, with a bound on what a line may cost.

use std::io::{self, BufRead, Read};

/// The longest line that is taken for a record, bytes.
pub const LINE_MAX: u64 = 1 << 20;

/// One line as it stands in the file.
pub(super) enum Piece<'a> {
    /// A whole line, without its line end.
    Whole(&'a [u8]),
    /// A line beyond [`LINE_MAX`], skipped.
    TooLong,
    /// Bytes behind the last line end.
    Unfinished(&'a [u8]),
}

/// Reads lines from `source` into one buffer that is used again and again.
pub(super) struct Lines<R> {
    source: R,
    buffer: Vec<u8>,
    /// Bytes of whole lines so far.
    pub(super) read: u64,
    /// Lines so far.
    pub(super) line: u64,
}

impl<R: BufRead> Lines<R> {
    pub(super) const fn new(source: R, read: u64, line: u64) -> Self {
        Self { source, buffer: Vec::new(), read, line }
    }

    /// The next line, or `None` at the end.
    pub(super) fn next(&mut self) -> io::Result<Option<Piece<'_>>> {
        self.buffer.clear();
        let mut count = self.source.by_ref().take(LINE_MAX).read_until(b'\n', &mut self.buffer)? as u64;
        if count == 0 {
            return Ok(None);
        }
        self.line += 1;
        let mut too_long = false;
        while self.buffer.last() != Some(&b'\n') {
            let more = {
                self.buffer.truncate(LINE_MAX as usize);
                let kept = self.buffer.len();
                let more = self.source.by_ref().take(LINE_MAX).read_until(b'\n', &mut self.buffer)? as u64;
                if more > 0 && self.buffer.last() != Some(&b'\n') {
                    self.buffer.truncate(kept);
                }
                more
            };
            if more == 0 {
                return Ok(Some(Piece::Unfinished(&self.buffer)));
            }
            too_long = true;
            count += more;
        }
        self.read += count;
        if too_long {
            return Ok(Some(Piece::TooLong));
        }
        let line = self.buffer.strip_suffix(b"\n").unwrap_or(&self.buffer);
        Ok(Some(Piece::Whole(line.strip_suffix(b"\r").unwrap_or(line))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(text: &[u8]) -> String {
        let mut lines = Lines::new(text, 0, 0);
        let mut kinds = String::new();
        while let Some(piece) = lines.next().unwrap() {
            kinds.push(match piece {
                Piece::Whole(_) => 'w',
                Piece::TooLong => 'l',
                Piece::Unfinished(_) => 'u',
            });
        }
        kinds
    }

    #[test]
    fn lines_are_told_apart_from_what_follows_the_last_line_end() {
        assert_eq!(kinds(b""), "");
        assert_eq!(kinds(b"a\n"), "w");
        assert_eq!(kinds(b"a\nb"), "wu");
        assert_eq!(kinds(b"\n\r\nb\n"), "www");
    }

    #[test]
    fn an_endless_line_is_skipped_without_being_kept() {
        let mut text = vec![b'x'; 3 * LINE_MAX as usize + 17];
        text.extend(b"\nshort\n");
        assert_eq!(kinds(&text), "lw");
        assert_eq!(kinds(&text[..text.len() - 7]), "u");
    }
}
