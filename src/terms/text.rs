//! Words of unknown origin, made fit for a terminal.

use std::borrow::Cow;
use std::path::Path;

/// Whether `c` is invisible and turns or joins the text around it.
pub const fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

/// `text` with control characters, terminal escapes and invisible characters spelt out.
///
/// What comes from a file name, a table cell or a log line goes through here on its way to a terminal.
pub fn printable(text: &str) -> Cow<'_, str> {
    let is_unfit = |c: char| c.is_control() || is_invisible(c);
    if !text.contains(is_unfit) {
        return Cow::Borrowed(text);
    }
    let spell = |c: char| if is_unfit(c) { c.escape_default().to_string() } else { c.to_string() };
    Cow::Owned(text.chars().map(spell).collect())
}

/// `name` as one word of a command line, quoted only where it must be.
///
/// Double quotes do for a space in every shell; single ones, which some do not know, are left for what POSIX
/// shells take as more than itself within double ones.
pub fn shell_word(name: &str) -> Cow<'_, str> {
    let is_plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '+');
    let is_quiet = |c: char| !matches!(c, '"' | '$' | '`' | '\\' | '!' | '%');
    let name = printable(name);
    if !name.is_empty() && name.chars().all(is_plain) {
        return name;
    }
    if name.chars().all(is_quiet) {
        return Cow::Owned(format!("\"{name}\""));
    }
    Cow::Owned(format!("'{}'", name.replace('\'', r"'\''")))
}

/// A path with control characters and the like spelt out.
pub fn shown(path: &Path) -> String {
    printable(&path.display().to_string()).into_owned()
}

/// The same for a message of several lines, which stay lines.
pub fn printable_lines(text: &str) -> String {
    text.lines().map(printable).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_words_pass_as_they_are() {
        assert!(matches!(printable("Käfer & Söhne <60 L> 水"), Cow::Borrowed(_)));
    }

    #[test]
    fn a_name_is_quoted_for_a_shell_only_where_it_must_be() {
        let quoted =
            ["hallway-2", "Käfer", "north window", "Tom's", "5 $ \"x\"", "it's $HOME", ""].map(shell_word);
        let meant = [
            "hallway-2",
            "Käfer",
            "\"north window\"",
            "\"Tom's\"",
            "'5 $ \"x\"'",
            r"'it'\''s $HOME'",
            "\"\"",
        ];
        assert_eq!(quoted, meant);
    }

    #[test]
    fn escapes_and_turned_text_are_spelt_out() {
        assert_eq!(printable("a\u{1b}[31mb\r\n"), "a\\u{1b}[31mb\\r\\n");
        assert_eq!(printable_lines("a\u{7}\nb\n"), "a\\u{7}\nb");
        assert_eq!(printable("a\u{202e}b\u{9b}2J"), "a\\u{202e}b\\u{9b}2J");
    }
}
