//! What this device keeps for itself beside the days, under keys: it never travels and no answer stands on it.

use super::{Store, StoreError};
use rusqlite::OptionalExtension;

impl Store {
    /// What was kept under a key.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn recall(&self, key: &[String]) -> Result<Option<String>, StoreError> {
        let mut statement = self.conn.prepare_cached("SELECT value FROM meta WHERE key = ?1")?;
        Ok(statement.query_row([memory_key(key)], |r| r.get(0)).optional()?)
    }

    /// Keeps a text under a key, instead of the one before; on the disk when this returns.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn remember(&mut self, key: &[String], value: &str) -> Result<(), StoreError> {
        let mut statement = self.conn.prepare_cached("INSERT OR REPLACE INTO meta VALUES (?1, ?2)")?;
        statement.execute([memory_key(key).as_str(), value])?;
        Ok(())
    }
}

/// One text of the parts of a key: a JSON array, so that none is one of the store's own.
fn memory_key(parts: &[String]) -> String {
    serde_json::json!(parts).to_string()
}
