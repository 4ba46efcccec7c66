//! The device file beside the store: who this device is. It never travels.

use super::StoreError;
use crate::day::DeviceId;
use serde::{Deserialize, Serialize};
use std::io::Write;
use std::path::{Path, PathBuf};

#[derive(Serialize, Deserialize)]
struct DeviceFile {
    device: DeviceId,
}

/// The file that belongs to a store: its name with `.device` behind it.
#[must_use]
pub fn device_path(store: &Path) -> PathBuf {
    let mut name = store.as_os_str().to_owned();
    name.push(".device");
    PathBuf::from(name)
}

/// Reads the device id, or makes a new one where the file is missing.
pub(super) fn device_id(store: &Path) -> Result<DeviceId, StoreError> {
    let path = device_path(store);
    let failed = |source| StoreError::File { path: path.clone(), source };
    match std::fs::read(&path) {
        Ok(bytes) => {
            serde_json::from_slice::<DeviceFile>(&bytes).map(|f| f.device).map_err(|e| StoreError::NoStore {
                path: path.clone(),
                why: format!("its device file is damaged ({e}); remove the file to become a new device"),
            })
        }
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            let device = DeviceId(random()?);
            let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
            // A temporary file is readable by its owner only, and stays so when it is renamed.
            let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
            let text = serde_json::to_string(&DeviceFile { device }).unwrap_or_default();
            file.write_all(text.as_bytes()).and_then(|()| file.as_file().sync_all()).map_err(failed)?;
            match file.persist_noclobber(&path) {
                Ok(_) => Ok(device),
                // Another process was quicker: its id is the one.
                Err(e) if e.error.kind() == std::io::ErrorKind::AlreadyExists => device_id(store),
                Err(e) => Err(failed(e.error)),
            }
        }
        Err(e) => Err(failed(e)),
    }
}

/// Fresh random bytes from the operating system.
///
/// # Errors
/// [`StoreError::File`] where the system gives none.
pub fn random<const N: usize>() -> Result<[u8; N], StoreError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| StoreError::File {
        path: "random numbers".into(),
        source: std::io::Error::other(e.to_string()),
    })?;
    Ok(bytes)
}
