//! What can go wrong with the log, and how to mend it.

use std::io;
use std::path::PathBuf;

use super::Id;

/// Why the log could not be read or written.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The place cannot be written to.
    #[error(
        "cannot write the log in {}: the place is read-only ({cause}); nothing was logged. Choose a folder of yours with --home DIR, or change its permissions",
        folder.display()
    )]
    ReadOnly {
        /// The folder of the log.
        folder: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// The place has no room left.
    #[error(
        "no room left in {}: nothing of this entry was logged, and what was logged before is whole ({cause}). Free some space and repeat the command",
        folder.display()
    )]
    Full {
        /// The folder of the log.
        folder: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// Anything else the system reports.
    #[error("cannot {what} {}: {cause}: check the path, or choose another folder with --home DIR", path.display())]
    Io {
        /// What was tried, as a verb.
        what: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// An entry that must not be written.
    #[error("cannot log this {kind}: {why}")]
    Invalid {
        /// The kind of record.
        kind: &'static str,
        /// What is wrong and how to mend it.
        why: String,
    },
    /// A correction, withdrawal or restoration of something that is not there.
    #[error("the log has no entry {0}: list the entries with `tintwell log`")]
    NoSuchEntry(Id),
    /// A correction of an entry whose number stands twice in the file.
    #[error(
        "the number {0} stands more than once in the log, so it is not clear which entry is meant: give one of the lines another \"id\" in the file"
    )]
    Ambiguous(Id),
    /// The numbers have run out.
    #[error("the last entry of the log has the number {0}, which leaves none for another: mend its \"id\"")]
    NoNumberLeft(Id),
}

impl LogError {
    /// Sorts an error of the system by what the keeper can do about it.
    pub(super) fn io(what: &'static str, path: impl Into<PathBuf>, cause: io::Error) -> Self {
        let path = path.into();
        let folder = || path.parent().unwrap_or(&path).to_owned();
        match cause.kind() {
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                Self::ReadOnly { folder: folder(), cause }
            }
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
                Self::Full { folder: folder(), cause }
            }
            _ => Self::Io { what, path, cause },
        }
    }
}
