//! The name that was probably meant: a typing mistake is best met with the right word.

use strsim::damerau_levenshtein;

use crate::terms::text::printable;

/// Share of a name's letters that may be mistyped, and how many letters may always be.
const MISTYPED_SHARE: f64 = 0.34;
const ALWAYS: usize = 1;

/// The known name closest to what was typed, if it is close.
pub fn closest<'a>(typed: &str, known: &[&'a str]) -> Option<&'a str> {
    let folded = |name: &str| name.to_lowercase();
    let distance = |name: &str| damerau_levenshtein(&folded(typed), &folded(name));
    let nearest = known.iter().copied().min_by_key(|name| distance(name))?;
    let letters = typed.chars().count().max(nearest.chars().count());
    let allowed = ((letters as f64 * MISTYPED_SHARE) as usize).max(ALWAYS);
    (distance(nearest) <= allowed).then_some(nearest)
}

/// That there is no such tank, with the names that there are.
pub fn no_tank(typed: &str, known: &[&str]) -> String {
    if known.is_empty() {
        return format!(
            "there is no tank {typed:?}, nor any other yet: log a reading of it with `tintwell add`"
        );
    }
    let names: Vec<_> = known.iter().map(|name| printable(name)).collect();
    let meant = closest(typed, known).map(|name| format!(" did you mean {name:?}?")).unwrap_or_default();
    format!(
        "there is no tank {typed:?}:{meant} log a reading of it with `tintwell add`, or name one of: {}",
        names.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_name_finds_the_one_that_was_meant() {
        let known = ["hallway", "north window", "pond"];
        let found =
            ["halway", "Hallway", "hlalway", "norht window", "pnd"].map(|typed| closest(typed, &known));
        assert_eq!(found.map(Option::unwrap), ["hallway", "hallway", "hallway", "north window", "pond"]);
    }

    #[test]
    fn a_name_like_no_other_finds_none() {
        assert_eq!(closest("kitchen", &["hallway", "pond"]), None);
        assert_eq!(closest("a", &[]), None);
    }
}
