//! The small files beside a store: its key and those of its crew. A disk keeps them as files; where there is no file system, as in a browser,
//! something else does.

use std::fmt;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Keeps small secrets beside a store, each under a name. They never travel.
pub trait SmallFiles: fmt::Debug + Send + Sync {
    /// The content under this name; `None` where there is none.
    ///
    /// # Errors
    /// What the system says.
    fn read(&self, name: &str) -> io::Result<Option<Vec<u8>>>;

    /// Puts a content under a name, whole or not at all, readable by the owner only; on the disk when this returns.
    ///
    /// # Errors
    /// What the system says.
    fn write(&self, name: &str, content: &[u8]) -> io::Result<()>;

    /// As [`SmallFiles::write`], but only where nothing is under this name yet. `false`: there is something.
    ///
    /// # Errors
    /// What the system says.
    fn create(&self, name: &str, content: &[u8]) -> io::Result<bool>;

    /// Removes what is under a name, if anything is.
    ///
    /// # Errors
    /// What the system says.
    fn remove(&self, name: &str) -> io::Result<()>;

    /// Where it is, for messages.
    fn path(&self, name: &str) -> PathBuf;
}

/// Files whose names are that of the store, a dot and the name.
#[derive(Clone, Debug)]
pub struct BesideStore(PathBuf);

impl BesideStore {
    /// Those of the store at this path.
    #[must_use]
    pub fn of(store: &Path) -> BesideStore {
        BesideStore(store.to_owned())
    }

    fn whole(&self, name: &str, content: &[u8]) -> io::Result<tempfile::NamedTempFile> {
        let path = self.path(name);
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // A temporary file is readable by its owner only, and stays so when it is renamed.
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        file.write_all(content)?;
        file.as_file().sync_all()?;
        Ok(file)
    }
}

impl SmallFiles for BesideStore {
    fn read(&self, name: &str) -> io::Result<Option<Vec<u8>>> {
        match std::fs::read(self.path(name)) {
            Ok(content) => Ok(Some(content)),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e),
        }
    }

    fn write(&self, name: &str, content: &[u8]) -> io::Result<()> {
        self.whole(name, content)?.persist(self.path(name)).map_err(|e| e.error)?;
        Ok(())
    }

    fn create(&self, name: &str, content: &[u8]) -> io::Result<bool> {
        match self.whole(name, content)?.persist_noclobber(self.path(name)) {
            Ok(_) => Ok(true),
            Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => Ok(false),
            Err(e) => Err(e.error),
        }
    }

    fn remove(&self, name: &str) -> io::Result<()> {
        match std::fs::remove_file(self.path(name)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => Err(e),
            _ => Ok(()),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        let mut path = self.0.as_os_str().to_owned();
        path.push(".");
        path.push(name);
        PathBuf::from(path)
    }
}
