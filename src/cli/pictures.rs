//! Writing pictures: which kinds of file, and one name each where there are several.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use image::{ImageFormat, RgbImage};

/// The file format that a picture's name asks for.
///
/// # Errors
/// The name ends in none that is written.
pub fn format_of(path: &Path) -> Result<ImageFormat> {
    match ImageFormat::from_path(path) {
        Ok(format @ (ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::WebP)) => Ok(format),
        _ => bail!(
            "{}: a picture's name must end in .png, .jpg or .webp: it says how the file is written",
            path.display()
        ),
    }
}

/// Writes a picture.
///
/// # Errors
/// The file cannot be written.
pub fn save(picture: &RgbImage, path: &Path) -> Result<()> {
    let format = format_of(path)?;
    picture
        .save_with_format(path, format)
        .with_context(|| format!("{}: cannot write the picture: choose another file", path.display()))
}

/// The name for one of several pictures: `name.png` becomes `name-2.png`; of a single one it stays.
pub fn numbered(path: &Path, index: usize, count: usize) -> PathBuf {
    if count < 2 {
        return path.to_owned();
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
    path.with_file_name(format!("{stem}-{}{ending}", index + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_pictures_get_a_number_each() {
        let path = Path::new("out/look.png");
        assert_eq!(numbered(path, 0, 1), path);
        assert_eq!(numbered(path, 1, 3), Path::new("out/look-2.png"));
    }

    #[test]
    fn a_name_must_say_how_the_file_is_written() {
        assert_eq!(format_of(Path::new("a.JPG")).unwrap(), ImageFormat::Jpeg);
        assert!(format_of(Path::new("a.gif")).unwrap_err().to_string().contains(".png"));
        assert!(format_of(Path::new("a")).is_err());
    }
}
