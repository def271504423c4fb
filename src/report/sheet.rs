//! The contact sheet of an import: each photo, small, with what was found in it.
//!
//! It is written piece by piece, [`head`], [`shot`] after [`shot`], [`foot`], so that no import is too large.

use maud::{Markup, html};

use super::document;

/// A photo on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Shot<'a> {
    /// Its file, as given.
    pub name: &'a str,
    /// The photo with what was measured outlined, if it can be opened: a small JPEG, its width and height.
    pub picture: Option<(Vec<u8>, (u32, u32))>,
    /// What was found, a line each.
    pub found: Vec<String>,
    /// What could not be read, and how to mend it.
    pub refused: Vec<String>,
}

/// Everything before the first photo.
pub fn head() -> String {
    let intro = html! {
        h1 { "Tintwell: contact sheet of an import" }
        p.small {
            "✓ logged or known before · ✕ to mend, with the reason. Outlined: the card and its patches, and the liquid \
             or the pads that were measured. Photos are shown as taken."
        }
    };
    let head = document::head("Contact sheet of an import").into_string();
    format!("<!DOCTYPE html><html lang=\"en\">{head}<body><main>{}<ul class=\"sheet\">", intro.into_string())
}

/// A photo.
pub fn shot(shot: &Shot) -> String {
    html! { li { (picture(shot)) p.name { (shot.name) } (told("✓ ", "found", &shot.found)) (told("✕ ", "mend", &shot.refused)) } }
        .into_string()
}

fn picture(shot: &Shot) -> Markup {
    html! {
        @match &shot.picture {
            Some((jpeg, (width, height))) => {
                img alt="the photo with what was measured outlined" width=(width) height=(height) src=(document::jpeg_address(jpeg));
            }
            None => div.blank { "not shown" },
        }
    }
}

fn told(sign: &str, class: &str, lines: &[String]) -> Markup {
    html! { @for line in lines { p class=(class) { (sign) (line) } } }
}

/// Everything after the last photo; `summary` says how many ended how.
pub fn foot(summary: &str) -> String {
    let last = html! { p { (summary) } };
    format!("</ul>{}</main></body></html>\n", last.into_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_reasons_are_text_and_the_sheet_is_whole() {
        let hostile = "<img src=x onerror=alert(1)>.jpg";
        let one = Shot {
            name: hostile,
            picture: Some((vec![0xff, 0xd8], (320, 240))),
            found: vec!["nitrate 5 <b>".to_owned()],
            refused: vec![hostile.to_owned()],
        };
        let page = head() + &shot(&one) + &shot(&Shot { picture: None, ..one.clone() }) + &foot("2 photos");
        assert_eq!(page.matches("<img").count(), 1, "only the photo itself");
        assert!(page.contains("width=\"320\"") && page.contains("data:image/jpeg;base64,/9g="));
        assert_eq!(page.matches("✕ &lt;img").count(), 2);
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
    }
}
