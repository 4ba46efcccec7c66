//! What answers made of a day, kept beside the day until it says something else: no answer stands on it that could not be made again.

use super::migrations::BUSY;
use super::{Store, StoreError, rows};
use crate::day::DayId;
use rusqlite::{OptionalExtension, params};
use std::time::Duration;

/// The rows that one question takes from a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The day.
    pub day: DayId,
    /// The question.
    pub question: &'static str,
    /// What they follow from; rows of another origin are not these.
    pub from: [u8; 32],
    /// The rows, as the question writes them.
    pub rows: Vec<u8>,
}

impl Store {
    /// The rows kept for a question, if they follow from the same.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn kept(&self, day: DayId, question: &str, from: [u8; 32]) -> Result<Option<Vec<u8>>, StoreError> {
        let sql = "SELECT rows FROM kept WHERE day = ?1 AND question = ?2 AND made_from = ?3";
        let mut statement = self.sql().prepare_cached(sql)?;
        Ok(statement
            .query_row(params![rows::number(self.sql(), day)?, question, from], |r| r.get(0))
            .optional()?)
    }

    /// The rows kept for a question about all days, if they follow from the same.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn kept_over(&self, question: &str, from: [u8; 32]) -> Result<Option<Vec<u8>>, StoreError> {
        let sql = "SELECT rows FROM kept WHERE day = 0 AND question = ?1 AND made_from = ?2";
        Ok(self.sql().prepare_cached(sql)?.query_row(params![question, from], |r| r.get(0)).optional()?)
    }

    /// Keeps rows for a question about all days, as [`Store::keep`] does.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn keep_over(&self, question: &str, from: [u8; 32], rows: &[u8]) -> Result<(), StoreError> {
        self.without_waiting(|| {
            let sql = "INSERT OR REPLACE INTO kept VALUES (0, ?1, ?2, ?3)";
            self.sql().prepare_cached(sql)?.execute(params![question, from, rows])?;
            Ok(())
        })
    }

    /// Keeps rows instead of those of another origin, all or none. It waits for no other writer: they can be made again.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn keep(&self, all: &[Kept]) -> Result<(), StoreError> {
        self.without_waiting(|| self.keep_now(all))
    }

    fn without_waiting(&self, keep: impl FnOnce() -> Result<(), StoreError>) -> Result<(), StoreError> {
        self.sql().busy_timeout(Duration::ZERO)?;
        let kept = keep();
        self.sql().busy_timeout(BUSY)?;
        kept
    }

    fn keep_now(&self, all: &[Kept]) -> Result<(), StoreError> {
        let tx = self.sql().unchecked_transaction()?;
        for kept in all {
            let mut statement = tx.prepare_cached("INSERT OR REPLACE INTO kept VALUES (?1, ?2, ?3, ?4)")?;
            statement.execute(params![rows::number(&tx, kept.day)?, kept.question, kept.from, kept.rows])?;
        }
        Ok(tx.commit()?)
    }

    /// How many entries of a day this version can't read.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn opaque(&self, day: DayId) -> Result<usize, StoreError> {
        let mut statement =
            self.sql().prepare_cached("SELECT count(*) FROM entry WHERE day = ?1 AND opaque")?;
        let n: i64 = statement.query_row([rows::number(self.sql(), day)?], |r| r.get(0))?;
        Ok(usize::try_from(n).unwrap_or(0))
    }
}
