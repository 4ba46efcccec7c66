//! The key of this device, in a file beside the store. The device is this key; it never travels.

use super::{SmallFiles, StoreError};
use crate::crew::{hex, unhex};
use crate::day::DeviceId;
use ed25519_dalek::SigningKey;
use serde::{Deserialize, Serialize};

/// The name of the file beside the store.
pub const DEVICE_FILE: &str = "device";

#[derive(Serialize, Deserialize)]
struct DeviceFile {
    device: DeviceId,
    key: String,
}

/// Reads the key of this device, or makes one where there is none.
pub(super) fn device_key(files: &dyn SmallFiles) -> Result<SigningKey, StoreError> {
    let path = files.path(DEVICE_FILE);
    let failed = |source| StoreError::File { path: path.clone(), source };
    if let Some(content) = files.read(DEVICE_FILE).map_err(failed)? {
        let why = "this file with the device's key is damaged; put it back from a backup, or remove it: this device is then another one";
        return read(&content).ok_or(StoreError::Keys { path, why });
    }
    let key = SigningKey::from_bytes(&random()?);
    let device = DeviceId::of_key(&key.verifying_key().to_bytes());
    let file = DeviceFile { device, key: hex(key.as_bytes()) };
    let text = serde_json::to_string(&file).unwrap_or_default();
    if files.create(DEVICE_FILE, text.as_bytes()).map_err(failed)? {
        return Ok(key);
    }
    // Another process was quicker: its key is the one.
    device_key(files)
}

fn read(content: &[u8]) -> Option<SigningKey> {
    let file: DeviceFile = serde_json::from_slice(content).ok()?;
    let key = SigningKey::from_bytes(&unhex(&file.key)?);
    (DeviceId::of_key(&key.verifying_key().to_bytes()) == file.device).then_some(key)
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
