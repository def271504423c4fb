//! Plain letters drawn with strokes: for the few words round the card, and for pictures.
//!
//! Each glyph is a list of lines separated by spaces; a line is a list of points, two base-36 digits
//! each (x, y), on a grid where capitals are 12 high, small letters 8, and y runs downwards.

use super::scene::{BLACK, Item};
use crate::card::layout::PointMm;

/// Height of capitals, grid units.
const CAPITAL: f64 = 12.0;
/// Space between letters, grid units.
const GAP: f64 = 3.5;
/// Width of a space, grid units.
const SPACE: f64 = 4.0;
/// Stroke thickness as a share of the capitals' height.
pub const WEIGHT: f64 = 0.11;

const fn glyph(letter: char) -> Option<&'static str> {
    Some(match letter {
        'A' => "0c408c 1878",
        'B' => "0656737150000c5c7a7856",
        'C' => "826020020a2c6c8a",
        'D' => "00407183897b4c0c00",
        'E' => "80000c8c 0666",
        'F' => "80000c 0666",
        'G' => "826020020a2c6c8a8757",
        'H' => "000c 808c 0686",
        'I' => "000c",
        'J' => "606a4c2c0a",
        'K' => "000c 7007 348c",
        'L' => "000c7c",
        'M' => "0c0047808c",
        'N' => "0c008c80",
        'O' => "20020a2c6c8a826020",
        'P' => "0c006082856707",
        'Q' => "20020a2c6c8a826020 598c",
        'R' => "0c006082856707 478c",
        'S' => "81602002042666888a6c2c0b",
        'T' => "0080 404c",
        'U' => "000a2c6c8a80",
        'V' => "004c80",
        'W' => "002c446c80",
        'X' => "008c 800c",
        'Y' => "004680 464c",
        'Z' => "00800c8c",
        'a' => "052444666c 6828090a1c4c6a",
        'b' => "000c 062444666a4c2c0a",
        'c' => "655424060a2c5c6b",
        'd' => "606c 664424060a2c4c6a",
        'e' => "0868664424060a2c5c6b",
        'f' => "5040222c 0454",
        'g' => "646e4g2g0f 664424060a2c4c6a",
        'h' => "000c 062444666c",
        'i' => "040c 0001",
        'j' => "343e2g0g 3031",
        'k' => "000c 5409 276c",
        'l' => "000b1c",
        'm' => "040c 062434464c 466474868c",
        'n' => "040c 062444666c",
        'o' => "24060a2c4c6a664424",
        'p' => "040g 062444666a4c2c0a",
        'q' => "646g 664424060a2c4c6a",
        'r' => "040c 072444",
        's' => "65442405072848696b4c2c0b",
        't' => "212a3c5c 0454",
        'u' => "040a2c4c6a 646c",
        'v' => "043c64",
        'w' => "042c456c84",
        'x' => "046c 640c",
        'y' => "043c 643c1g0g",
        'z' => "04640c6c",
        '0' => "20020a2c5c7a725020",
        '1' => "02303c",
        '2' => "02205072740c7c",
        '3' => "01205072745636 56787a5c2c0b",
        '4' => "5c500878",
        '5' => "70100555777a5c2c0b",
        '6' => "614020030a2c5c7a78562608",
        '7' => "00702c",
        '8' => "2002042656787a5c2c0a0826 5674725020",
        '9' => "1c3c5b797250200204265674",
        '.' => "0b0c",
        ',' => "1b1c0e",
        ':' => "0506 0b0c",
        '(' => "30130a3d",
        ')' => "00232a0d",
        '\'' => "0003",
        '-' => "0848",
        '+' => "0888 444c",
        '/' => "0c60",
        '<' => "74087c",
        '>' => "04780c",
        '=' => "0686 0a8a",
        '!' => "0008 0b0c",
        '?' => "02205072553738 3b3c",
        ';' => "1516 1b1c0e",
        '[' => "30000d3d",
        ']' => "00303d0d",
        '_' => "0d8d",
        '"' => "0003 3033",
        '%' => "900c 100103142433312010 78696b7c8c9b998878",
        _ => return None,
    })
}

/// A letter's lines in grid units; a letter without a glyph has none.
fn lines(letter: char) -> Vec<Vec<(f64, f64)>> {
    let digit = |byte: u8| f64::from(char::from(byte).to_digit(36).unwrap_or(0));
    let line = |text: &str| text.as_bytes().chunks_exact(2).map(|p| (digit(p[0]), digit(p[1]))).collect();
    glyph(letter).into_iter().flat_map(|all| all.split(' ')).map(line).collect()
}

/// Whether a letter can be drawn; a blank counts as drawn.
pub fn is_known(letter: char) -> bool {
    letter == ' ' || glyph(letter).is_some()
}

/// Width of a letter without the gap after it, grid units.
fn width(letter: char) -> f64 {
    let drawn = lines(letter);
    if drawn.is_empty() { SPACE } else { drawn.iter().flatten().fold(0.0, |most, point| point.0.max(most)) }
}

/// Width of a text whose capitals have a height, in the height's unit.
pub fn text_width(text: &str, height: f64) -> f64 {
    let units: f64 = text.chars().map(|letter| width(letter) + GAP).sum();
    (units - GAP).max(0.0) * height / CAPITAL
}

/// The lines of a text from its left end and baseline, with capitals of a height.
pub fn strokes(text: &str, left: f64, baseline: f64, height: f64) -> Vec<Vec<PointMm>> {
    let scale = height / CAPITAL;
    let mut pen = left;
    let mut all = Vec::new();
    for letter in text.chars() {
        let at = |&(x, y): &(f64, f64)| PointMm { x: pen + x * scale, y: baseline + (y - CAPITAL) * scale };
        all.extend(lines(letter).iter().map(|line| line.iter().map(at).collect::<Vec<_>>()));
        pen += (width(letter) + GAP) * scale;
    }
    all
}

/// A line of text from its left end and baseline, with capitals of a height, mm.
pub(super) fn text(text: &str, left: f64, baseline: f64, height: f64) -> Item {
    Item::Stroke { lines: strokes(text, left, baseline, height), width: WEIGHT * height, rgb: BLACK }
}

/// A line of text whose middle lies at `centre`.
pub(super) fn centred(words: &str, centre: f64, baseline: f64, height: f64) -> Item {
    text(words, centre - text_width(words, height) / 2.0, baseline, height)
}

/// Whether every letter of a text can be drawn.
#[cfg(test)]
pub(super) fn can_draw(text: &str) -> bool {
    text.chars().all(is_known)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_glyph_is_well_formed() {
        let drawn: Vec<char> = ('!'..='~').filter(|&letter| glyph(letter).is_some()).collect();
        assert!(('a'..='z').chain('A'..='Z').chain('0'..='9').all(|letter| drawn.contains(&letter)));
        for letter in drawn {
            for line in glyph(letter).unwrap().split(' ') {
                assert!(line.len() >= 4 && line.len() % 2 == 0, "{letter}: {line}");
                assert!(
                    line.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'g')),
                    "{letter}: {line}"
                );
            }
        }
    }
}
