//! Why a file gives no photo.

use std::io;

use super::{Format, MAX_FILE_BYTES, MAX_PIXELS};

/// What is wrong with a photo file, and how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// The file system gave no bytes.
    #[error("the file cannot be read ({0}): check its path and that you may open it")]
    Unreadable(#[source] io::Error),
    /// A folder where a file was wanted.
    #[error("this is a folder, not a photo: name the photo files in it")]
    Folder,
    /// No bytes at all.
    #[error("the file is empty (0 bytes): the copy from the phone failed, copy it again")]
    Empty,
    /// More bytes than any photo has.
    #[error(
        "the file has {} MB, more than the {} MB that are read: save the photo as JPEG",
        .bytes >> 20, MAX_FILE_BYTES >> 20
    )]
    TooManyBytes {
        /// Size of the file.
        bytes: u64,
    },
    /// More pixels than are decoded.
    #[error(
        "the picture claims {width} x {height} pixels, more than the {} million that are decoded: set the phone to at most 50 megapixels, or scale the picture down",
        MAX_PIXELS / 1_000_000
    )]
    TooManyPixels {
        /// Claimed width.
        width: u64,
        /// Claimed height.
        height: u64,
    },
    /// A HEIC or HEIF photo in a build that does not decode it.
    #[error(
        "this is a HEIC photo, which this build does not read: let the phone's camera save JPEG (often called \"most compatible\") or convert the photo, or build with `cargo build --release --features heic`"
    )]
    Heic,
    /// A known kind of file that is not read.
    #[error("this is {0}, which cannot be measured: give the photo as JPEG, PNG or WebP")]
    OtherKind(&'static str),
    /// More than one picture in turn.
    #[error("this {0} file holds an animation: give a single photo")]
    Animated(Format),
    /// Nothing known.
    #[error(
        "the content is no picture that is known here, whatever the file's name says: give the photo as JPEG, PNG or WebP"
    )]
    NotAPicture,
    /// The file stops early.
    #[error("the {0} file is cut off before its end: copy it from the phone again")]
    Truncated(Format),
    /// The file is there to its end but does not decode.
    #[error("the {format} file is damaged ({detail}): copy it from the phone again")]
    Damaged {
        /// Kind of file.
        format: Format,
        /// What the decoder said.
        detail: String,
    },
    /// A variant of the format that is not decoded.
    #[error("the {format} file is of an unusual kind ({detail}): save it as an ordinary RGB {format}")]
    Unsupported {
        /// Kind of file.
        format: Format,
        /// What is unusual.
        detail: String,
    },
}
