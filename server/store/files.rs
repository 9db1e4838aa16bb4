//! Files beside the database that are there whole or not at all, also after a power cut.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Puts what was written to a file onto the disk.
///
/// # Errors
/// When the disk does not take it.
pub async fn sync(file: &Path) -> io::Result<()> {
    tokio::fs::File::open(file).await?.sync_all().await
}

/// Puts the names of a folder onto the disk: a file that was made, renamed or removed there.
///
/// # Errors
/// When the disk does not take it.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// The folder in which a file lies.
#[must_use]
pub fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The name beside a file under which its next content is written.
#[must_use]
pub fn beside(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".new");
    PathBuf::from(name)
}

/// Writes a file: after a power cut the old content is there, or the new one, and never a part.
///
/// # Errors
/// When it cannot be written; then the old content stands.
pub fn write_whole(file: &Path, bytes: &[u8]) -> io::Result<()> {
    let beside = beside(file);
    let passing = Passing::new(&beside);
    let mut out = File::create(&beside)?;
    out.write_all(bytes)?;
    out.sync_all()?;
    std::fs::rename(&beside, file)?;
    passing.keep();
    sync_folder(folder_of(file))
}

/// A file that goes unless it is kept: also where whoever waits for it is gone and the work is never run to its end.
#[derive(Debug)]
pub struct Passing(Option<PathBuf>);

impl Passing {
    /// Of a file that is there or about to be.
    #[must_use]
    pub fn new(file: &Path) -> Self {
        Self(Some(file.to_owned()))
    }

    /// It stays.
    pub fn keep(mut self) {
        self.0 = None;
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        if let Some(file) = &self.0 {
            std::fs::remove_file(file).ok();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_written_beside_and_takes_the_place_whole() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("some.json");
        std::fs::write(&file, "what was there").unwrap();
        // Whoever has the old one open still reads it whole: it was not written into.
        let mut old = File::open(&file).unwrap();
        write_whole(&file, b"new").unwrap();
        assert_eq!(std::fs::read(&file).unwrap(), b"new");
        assert_eq!(io::read_to_string(&mut old).unwrap(), "what was there");
        assert!(!beside(&file).exists());
        // Where it cannot be written the old one stands, and nothing lies beside it.
        std::fs::create_dir(beside(&file)).unwrap();
        assert!(write_whole(&file, b"newer").is_err());
        assert_eq!(std::fs::read(&file).unwrap(), b"new");
    }

    #[test]
    fn a_passing_file_goes_unless_it_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        for kept in [false, true] {
            let file = folder.path().join("copy.tmp");
            let passing = Passing::new(&file);
            std::fs::write(&file, "names").unwrap();
            if kept {
                passing.keep();
            } else {
                drop(passing);
            }
            assert_eq!(file.exists(), kept);
        }
    }

    #[test]
    fn a_name_alone_lies_in_the_folder_where_we_are() {
        assert_eq!(folder_of(Path::new("school.db")), Path::new("."));
        assert_eq!(folder_of(Path::new("/srv/school.db")), Path::new("/srv"));
    }
}
