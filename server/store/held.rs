//! The data folder is one server's: two on one file would each believe that they alone write it.

use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

/// Name of the file that a running server holds locked. The lock ends with the process, also when that is killed.
const LOCK_NAME: &str = "platemark.lock";

/// Why a folder cannot be had.
#[derive(Debug, Error)]
pub enum HeldError {
    /// Somebody else has it.
    #[error(
        "another Platemark server runs on the data folder {}. Stop that one first, or choose another folder with --data",
        folder.display()
    )]
    Taken {
        /// The folder.
        folder: PathBuf,
    },
    /// The lock file cannot be made.
    #[error(
        "the data folder {} cannot be written ({source}). Give the account that runs the server the right to write there",
        folder.display()
    )]
    CannotWrite {
        /// The folder.
        folder: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// A data folder that is this process's own as long as this lives.
#[derive(Debug)]
pub struct Held(#[expect(dead_code, reason = "the lock ends when the file is closed")] File);

impl Held {
    /// Takes the folder, which must be there.
    ///
    /// # Errors
    /// When another process has it, or nothing can be written there.
    pub fn take(folder: &Path) -> Result<Self, HeldError> {
        let cannot = |source| HeldError::CannotWrite {
            folder: folder.to_owned(),
            source,
        };
        let file = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(folder.join(LOCK_NAME))
            .map_err(cannot)?;
        match file.try_lock() {
            Ok(()) => Ok(Self(file)),
            Err(TryLockError::WouldBlock) => Err(HeldError::Taken {
                folder: folder.to_owned(),
            }),
            Err(TryLockError::Error(source)) => Err(cannot(source)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_had_once_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        let first = Held::take(folder.path()).unwrap();
        let second = Held::take(folder.path()).unwrap_err();
        assert!(matches!(second, HeldError::Taken { .. }), "{second}");
        drop(first);
        Held::take(folder.path()).unwrap();
    }
}
