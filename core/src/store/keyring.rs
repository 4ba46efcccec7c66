//! The keys of this device and of its crew: a file beside the store that only its owner may read. It never travels.

use super::{SmallFiles, StoreError};
use crate::crew::{CrewId, CrewKey, DeviceKeys, KeyId, Secrets, hex, unhex};
use crate::day::DeviceId;
use serde::{Deserialize, Serialize};

/// The name of the file beside the store.
pub const KEYS_FILE: &str = "keys";

/// What a device of a crew keeps to itself.
#[derive(Clone, Debug)]
pub struct Keyring {
    /// The device whose keys these are.
    pub device: DeviceId,
    /// Its keys.
    pub keys: DeviceKeys,
    /// Its crew.
    pub crew: CrewId,
    /// The crew's keys, the latest last.
    pub crew_keys: Vec<CrewKey>,
    /// The record with which it asks to be let in, until someone did.
    pub joining: Option<Vec<u8>>,
    /// Where the other side was found last, or is said to be, the likeliest first.
    pub addresses: Vec<String>,
}

#[derive(Serialize, Deserialize)]
struct KeyFile {
    device: DeviceId,
    keys: Secrets,
    crew: String,
    crew_keys: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    joining: Option<String>,
    #[serde(default)]
    addresses: Vec<String>,
}

impl Keyring {
    /// Reads the keys beside a store; `None` where this device is in no crew.
    ///
    /// # Errors
    /// A file that can't be read, is damaged, or holds another device's keys.
    pub fn read(files: &dyn SmallFiles, device: DeviceId) -> Result<Option<Keyring>, StoreError> {
        let path = files.path(KEYS_FILE);
        let read_file = files.read(KEYS_FILE);
        let Some(bytes) = read_file.map_err(|source| StoreError::File { path: path.clone(), source })? else {
            return Ok(None);
        };
        let damaged = "this file of keys is damaged; move it away and ask your crew for a new invitation";
        let read = serde_json::from_slice::<KeyFile>(&bytes).ok().and_then(read);
        let ring = read.ok_or(StoreError::Keys { path: path.clone(), why: damaged })?;
        if ring.device != device {
            let why = "these keys belong to another device; move the file away and ask your crew for a new invitation";
            return Err(StoreError::Keys { path, why });
        }
        Ok(Some(ring))
    }

    /// Writes the keys beside a store, whole, readable by the owner only.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(&self, files: &dyn SmallFiles) -> Result<(), StoreError> {
        let file = KeyFile {
            device: self.device,
            keys: self.keys.secrets(),
            crew: hex(&self.crew),
            crew_keys: self.crew_keys.iter().map(|k| hex(&k.0)).collect(),
            joining: self.joining.as_deref().map(hex),
            addresses: self.addresses.clone(),
        };
        let text = serde_json::to_string(&file).unwrap_or_default();
        let failed = |source| StoreError::File { path: files.path(KEYS_FILE), source };
        files.write(KEYS_FILE, text.as_bytes()).map_err(failed)
    }

    /// The crew's key that holds now, as far as this device knows.
    #[must_use]
    pub fn newest(&self) -> Option<&CrewKey> {
        self.crew_keys.last()
    }

    /// It has this key of the crew.
    #[must_use]
    pub fn has(&self, key: KeyId) -> bool {
        self.crew_keys.iter().any(|k| k.id() == key)
    }
}

fn read(file: KeyFile) -> Option<Keyring> {
    let joining = match file.joining {
        None => None,
        Some(text) => Some(::hex::decode(text).ok()?),
    };
    Some(Keyring {
        device: file.device,
        keys: DeviceKeys::read(&file.keys)?,
        crew: unhex(&file.crew)?,
        crew_keys: file.crew_keys.iter().map(|k| unhex(k).map(CrewKey)).collect::<Option<_>>()?,
        joining,
        addresses: file.addresses,
    })
}

#[cfg(test)]
mod tests {
    use super::super::BesideStore;
    use super::*;

    fn ring(device: u8) -> Keyring {
        Keyring {
            device: DeviceId([device; 16]),
            keys: DeviceKeys::fresh().unwrap(),
            crew: [2; 16],
            crew_keys: vec![CrewKey([3; 32]), CrewKey([4; 32])],
            joining: Some(vec![1, 2, 255]),
            addresses: vec!["192.0.2.7:4711".to_owned()],
        }
    }

    #[test]
    fn it_reads_back_for_its_device_only_and_nobody_else_may_read_it() {
        let folder = tempfile::tempdir().unwrap();
        let store = BesideStore::of(&folder.path().join("store.firnstore"));
        assert!(Keyring::read(&store, DeviceId([1; 16])).unwrap().is_none());
        let written = ring(1);
        written.write(&store).unwrap();
        let read = Keyring::read(&store, DeviceId([1; 16])).unwrap().unwrap();
        assert_eq!(read.keys.signs_as(), written.keys.signs_as());
        assert_eq!(
            (read.crew_keys, read.joining, read.addresses),
            (written.crew_keys.clone(), written.joining.clone(), written.addresses.clone())
        );
        assert!(Keyring::read(&store, DeviceId([9; 16])).is_err());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = std::fs::metadata(store.path(KEYS_FILE)).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
        let secret = hex(&[4; 32]);
        assert!(!format!("{written:?}").contains(&secret));
        std::fs::write(store.path(KEYS_FILE), "{}").unwrap();
        let said = Keyring::read(&store, DeviceId([1; 16])).unwrap_err().to_string();
        assert!(said.contains("damaged") && !said.contains(&secret), "{said}");
    }
}
