//! The key with which secrets in the database are sealed: 32 random bytes in a file of their own beside the database, so
//! that a backup of the database alone opens nothing.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use thiserror::Error;

use super::Store;

/// Its name in the data folder.
pub const KEY_FILE_NAME: &str = "platemark.key";

/// A key.
pub type Key = [u8; 32];

/// Why there is no key.
#[derive(Debug, Error)]
pub enum KeyError {
    /// The file cannot be read or written.
    #[error("{}: {source}", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The file is none of ours.
    #[error("{} does not hold a key of 32 bytes; put back the one that belongs to this school", file.display())]
    NoKey {
        /// The file.
        file: PathBuf,
    },
}

fn place(store: &Store) -> PathBuf {
    store.file.with_file_name(KEY_FILE_NAME)
}

/// The key; none where no file is there.
///
/// # Errors
/// When the file is there and holds no key, or cannot be read.
pub fn read(store: &Store) -> Result<Option<Key>, KeyError> {
    let file = place(store);
    match std::fs::read(&file) {
        Ok(bytes) => Key::try_from(bytes).map(Some).map_err(|_| KeyError::NoKey { file }),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(source) => Err(KeyError::File { file, source }),
    }
}

/// Held while a key is looked for and written, so that two who come at once have one key. A data folder is one process's.
static WRITING: Mutex<()> = Mutex::new(());

/// Writes a key durably, readable for this account of the machine alone, where none is there; gives the one that is there.
///
/// # Errors
/// When the file cannot be read or written.
pub fn read_or_write(store: &Store, new: &Key) -> Result<Key, KeyError> {
    let _held = WRITING.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = read(store)? {
        return Ok(known);
    }
    let file = place(store);
    let failed = |source| KeyError::File {
        file: file.clone(),
        source,
    };
    // Under another name first: a key that is half written would lock everybody out.
    let beside = file.with_extension("key.new");
    let mut open = OpenOptions::new();
    let mut out = open
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&beside)
        .map_err(failed)?;
    out.write_all(new).and_then(|()| out.sync_all()).map_err(failed)?;
    std::fs::rename(&beside, &file).map_err(failed)?;
    if let Some(folder) = file.parent() {
        File::open(folder).and_then(|f| f.sync_all()).map_err(failed)?;
    }
    Ok(*new)
}

#[cfg(test)]
mod tests {
    use std::sync::Barrier;

    use super::*;

    /// Whoever seals a secret does it with the key that stays: many who come at once are given one key, that of the file.
    #[tokio::test]
    async fn all_who_come_at_once_have_the_key_of_the_file() {
        for _ in 0..20 {
            let folder = tempfile::tempdir().unwrap();
            let store = Store::open(folder.path()).await.unwrap();
            let start = Barrier::new(8);
            let keys: Vec<Key> = std::thread::scope(|scope| {
                let threads: Vec<_> = (0..8_u8)
                    .map(|n| {
                        let (store, start) = (&store, &start);
                        scope.spawn(move || {
                            start.wait();
                            read_or_write(store, &[n; 32]).unwrap()
                        })
                    })
                    .collect();
                threads.into_iter().map(|t| t.join().unwrap()).collect()
            });
            let stays = read(&store).unwrap().unwrap();
            assert!(keys.iter().all(|key| *key == stays), "{keys:?}");
            assert_eq!(read_or_write(&store, &[99; 32]).unwrap(), stays);
            store.close().await;
        }
    }
}
