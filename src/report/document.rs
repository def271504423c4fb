//! What the pages share: a head with a strict policy, and pictures within the page.

use maud::{Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

/// The sheet that all pages are styled with.
pub const STYLE: &str = include_str!("style.css");

/// The head of a page: no scripts, nothing fetched, one style sheet known by its hash.
pub fn head(title: &str) -> Markup {
    let policy = format!(
        "default-src 'none'; img-src data:; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        base64(&Sha256::digest(STYLE))
    );
    html! {
        head {
            meta charset="utf-8";
            meta http-equiv="Content-Security-Policy" content=(policy);
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) }
            style { (PreEscaped(STYLE)) }
        }
    }
}

/// The address of a JPEG that lies in the page itself.
pub fn jpeg_address(jpeg: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", base64(jpeg))
}

/// Base64 of RFC 4648, section 4, as policies want hashes.
fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word = (0..3).fold(0_u32, |word, k| word << 8 | u32::from(chunk.get(k).copied().unwrap_or(0)));
        for k in 0..4 {
            let sextet = (word >> (18 - 6 * k) & 63) as usize;
            text.push(if k <= chunk.len() { char::from(ALPHABET[sextet]) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        for (plain, coded) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
