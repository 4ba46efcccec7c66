//! Packs out and packs in, as bytes or as files.

use crate::Logbook;
use crate::listen::LongWork;
use firnbook_core::day::DayId;
use firnbook_core::logbook::{Merged, Packed};
use firnbook_core::phone::FirnbookError;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

#[uniffi::export]
impl Logbook {
    /// Packs days for handing over.
    #[uniffi::method(default(watch = None))]
    pub fn pack(&self, days: Vec<DayId>, watch: Option<Arc<dyn LongWork>>) -> Result<Packed, FirnbookError> {
        self.watched(watch, |log| log.pack(&days))
    }

    /// Packs days into a file, whole or not at all; answers its size in bytes.
    #[uniffi::method(default(watch = None))]
    pub fn pack_file(
        &self,
        days: Vec<DayId>,
        path: String,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<u64, FirnbookError> {
        let bytes = self.pack(days, watch)?.bytes;
        write_whole(Path::new(&path), &bytes).map_err(|why| storage(&path, &why))?;
        Ok(bytes.len() as u64)
    }

    /// Takes a pack in, whole or not at all. With `dry_run` it only says what would happen.
    #[uniffi::method(default(dry_run = false, watch = None))]
    pub fn merge(
        &self,
        bytes: Vec<u8>,
        dry_run: bool,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<Merged, FirnbookError> {
        let merged = self.watched(watch, |log| log.merge(&bytes, dry_run))?;
        if !dry_run {
            self.tell(|listener| listener.merged(merged.clone()));
        }
        Ok(merged)
    }

    /// Takes a pack in from a file.
    #[uniffi::method(default(dry_run = false, watch = None))]
    pub fn merge_file(
        &self,
        path: String,
        dry_run: bool,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<Merged, FirnbookError> {
        let bytes = std::fs::read(&path).map_err(|why| storage(&path, &why))?;
        self.merge(bytes, dry_run, watch)
    }
}

/// A new file takes the place of the old one only when it is on the disk.
fn write_whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path)?;
    Ok(())
}

fn storage(path: &str, why: &std::io::Error) -> FirnbookError {
    FirnbookError::Storage {
        path: Some(path.to_owned()),
        says: format!("{path:.1000} can't be read or written ({why})"),
    }
}
