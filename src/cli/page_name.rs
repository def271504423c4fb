//! What a page's file may be called.

use std::path::Path;

use anyhow::{Result, bail};

use crate::terms::text::shown;

/// Refuses a name that is not that of a page.
///
/// # Errors
/// Says what to call it, and how to come by a PDF.
pub fn check(path: &Path) -> Result<()> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    if matches!(ending.as_deref(), Some("html" | "htm")) {
        return Ok(());
    }
    bail!(
        "{}: this is a page: give it a name that ends in .html, such as {}; a browser prints it, to a PDF file too",
        shown(path),
        shown(&path.with_extension("html"))
    )
}
