//! A tank file: one JSON object with what the keeper says of a tank.

use crate::log::{Entry, check};
use crate::terms::TankFacts;

/// Why a file gives no facts.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FactsError {
    /// It is something else.
    #[error("no tank file: it must be one JSON object with the tank's name in the field \"tank\"")]
    OtherKind,
    /// It is a tank file with something wrong in it.
    #[error("in this tank file: {0}")]
    Bad(String),
}

/// Reads a tank file; beside the facts, what was left out of it.
///
/// # Errors
/// Says what is wrong and where.
pub fn read(bytes: &[u8]) -> Result<(TankFacts, Vec<String>), FactsError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let written: serde_json::Value = serde_json::from_slice(bytes).map_err(|_| FactsError::OtherKind)?;
    if !written.get("tank").is_some_and(serde_json::Value::is_string) {
        return Err(FactsError::OtherKind);
    }
    let bad = |error: &dyn std::fmt::Display| FactsError::Bad(error.to_string());
    let facts: TankFacts = serde_json::from_slice(bytes).map_err(|error| bad(&error))?;
    check::entry(&Entry::Tank(facts.clone())).map_err(|error| bad(&error))?;
    let known = serde_json::to_value(&facts).map_err(|error| bad(&error))?;
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
