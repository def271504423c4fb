//! What the keeper's terminal can show.

use std::env;

/// Whether letters beyond ASCII arrive as they are: by the locale, as POSIX orders its variables.
pub fn has_unicode() -> bool {
    if cfg!(windows) {
        return true;
    }
    let set = |name: &&str| env::var(name).is_ok_and(|value| !value.is_empty());
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].iter().find(|name| set(name)).map(env::var);
    locale.and_then(Result::ok).is_some_and(|locale| is_utf8(&locale))
}

fn is_utf8(locale: &str) -> bool {
    let letters: String = locale.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
    letters.contains("utf8")
}

#[cfg(test)]
mod tests {
    use super::is_utf8;

    #[test]
    fn a_locale_names_its_letters() {
        assert!(is_utf8("de_DE.UTF-8") && is_utf8("C.utf8"));
        assert!(!is_utf8("C") && !is_utf8("de_DE.ISO-8859-1"));
    }
}
