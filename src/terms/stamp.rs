//! The stamp of the program's own JSON files: what kind a file says it is, and of which version.

/// Why a file's contents are not taken for what they should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StampError {
    /// No JSON.
    #[error("{0}")]
    NotJson(String),
    /// Another kind of file.
    #[error("it does not say that it is one")]
    Foreign,
    /// No version, or none that counts.
    #[error("its version is missing")]
    NoVersion,
    /// From a later version of the program.
    #[error("file version {found} is later than this program's")]
    TooNew {
        /// Version found.
        found: u64,
    },
}

/// The contents of a file of this format, if its version is not above `newest`.
///
/// # Errors
/// They are no JSON, of another kind, or of a later version.
pub fn parse(text: &[u8], format: &str, newest: u64) -> Result<serde_json::Value, StampError> {
    let value: serde_json::Value =
        serde_json::from_slice(text).map_err(|error| StampError::NotJson(error.to_string()))?;
    if value.get("format").and_then(serde_json::Value::as_str) != Some(format) {
        return Err(StampError::Foreign);
    }
    match value.get("version").and_then(serde_json::Value::as_u64) {
        Some(found) if found > newest => Err(StampError::TooNew { found }),
        Some(_) => Ok(value),
        None => Err(StampError::NoVersion),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_files_of_the_format_up_to_the_newest_version_pass() {
        let parsed = |text: &str| parse(text.as_bytes(), "pots", 2);
        assert!(parsed(r#"{"format":"pots","version":2,"lids":[]}"#).is_ok());
        assert_eq!(parsed(r#"{"format":"pots","version":3}"#), Err(StampError::TooNew { found: 3 }));
        assert_eq!(parsed(r#"{"format":"pans","version":1}"#), Err(StampError::Foreign));
        assert_eq!(parsed(r#"{"format":"pots","version":"1"}"#), Err(StampError::NoVersion));
        assert_eq!(parsed("[]"), Err(StampError::Foreign));
        assert!(matches!(parsed("{"), Err(StampError::NotJson(_))));
    }
}
