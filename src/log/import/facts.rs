//! A tank file: one JSON object with what the keeper says of a tank.

use crate::log::{Entry, check};
use crate::terms::TankFacts;

/// Reads a tank file; beside the facts, what was left out of it.
///
/// # Errors
/// Says what is wrong and where.
pub fn read(bytes: &[u8]) -> Result<(TankFacts, Vec<String>), String> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let facts: TankFacts = serde_json::from_slice(bytes).map_err(|error| format!("no tank file: {error}"))?;
    check::entry(&Entry::Tank(facts.clone())).map_err(|error| error.to_string())?;
    let written: serde_json::Value = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
    let known = serde_json::to_value(&facts).map_err(|error| error.to_string())?;
    let mut unknown = Vec::new();
    collect_unknown(&written, &known, "", &mut unknown);
    let said = (!unknown.is_empty())
        .then(|| format!("fields that are not known were left out: {}", unknown.join(", ")));
    Ok((facts, said.into_iter().collect()))
}

fn collect_unknown(
    written: &serde_json::Value,
    known: &serde_json::Value,
    prefix: &str,
    unknown: &mut Vec<String>,
) {
    for (name, value) in written.as_object().into_iter().flatten() {
        match known.get(name) {
            None => unknown.push(format!("{:?}", format!("{prefix}{name}"))),
            Some(known) => collect_unknown(value, known, &format!("{prefix}{name}."), unknown),
        }
    }
}
