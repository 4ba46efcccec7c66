//! The signed records of the crew: a set that only grows.

use super::{Store, StoreError};
use crate::crew::Record;

impl Store {
    /// Every record of the crew that is held.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn crew_records(&self) -> Result<Vec<Record>, StoreError> {
        let mut statement = self.sql().prepare_cached("SELECT bytes, id FROM crew_record")?;
        let mut rows = statement.query([])?;
        let mut records = Vec::new();
        while let Some(row) = rows.next()? {
            let bytes = row.get_ref(0)?.as_blob().unwrap_or_default();
            // What was no record never got in; damage of the file takes a record away, and a peer has it again.
            records.extend(
                Record::kept(bytes)
                    .filter(|r| row.get_ref(1).is_ok_and(|id| id.as_blob() == Ok(&r.id()[..]))),
            );
        }
        Ok(records)
    }

    /// How many records of the crew are held; as the set only grows, an equal number is an equal set.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn crew_record_count(&self) -> Result<i64, StoreError> {
        Ok(self.sql().prepare_cached("SELECT count(*) FROM crew_record")?.query_row([], |r| r.get(0))?)
    }

    /// Adds records; on the disk when this returns.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`]; none was added then.
    pub fn keep_crew_records(&mut self, records: &[Record]) -> Result<(), StoreError> {
        let tx = self.write_transaction()?;
        for record in records {
            tx.prepare_cached("INSERT OR IGNORE INTO crew_record VALUES (?1, ?2)")?
                .execute(rusqlite::params![record.id(), record.bytes()])?;
        }
        Ok(tx.commit()?)
    }
}
