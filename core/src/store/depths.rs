//! The columns that depth statistics need, streamed: no document, no JSON.

use super::{Store, StoreError, rows};
use crate::day::DayId;

/// Which values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueOf {
    /// Depth entries.
    Depths,
    /// Probe strikes that hit and whose depth was read.
    Hits,
    /// Lowest readings beside probe strikes that hit, in cm.
    Readings,
}

/// One value, borrowed from the row it stands in.
#[derive(Clone, Copy, Debug)]
pub struct DepthLine<'a> {
    /// Id of the entry.
    pub id: &'a str,
    /// Who wrote it.
    pub by: &'a str,
    /// When, milliseconds since 1970 UTC by its clock.
    pub at_ms: i64,
    /// Label of the drill.
    pub drill: &'a str,
    /// Label of the target; a hit may lack it.
    pub target: Option<&'a str>,
    /// The depth, cm.
    pub depth_cm: f64,
    /// The word of the method; `None` for hits and where nobody said.
    pub method: Option<&'a str>,
    /// The word of the datum; `None` for hits and where nobody said.
    pub datum: Option<&'a str>,
    /// The word of the direction.
    pub direction: Option<&'a str>,
    /// Fields in open conflict, parted by spaces.
    pub unsettled: &'a str,
}

impl Store {
    /// Hands every value of a day that is not struck out to `each`.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn depth_lines(
        &self,
        day: DayId,
        of: ValueOf,
        mut each: impl FnMut(DepthLine<'_>),
    ) -> Result<(), StoreError> {
        let columns = match of {
            ValueOf::Depths => "depth_cm, method, datum, direction, unsettled FROM depth",
            ValueOf::Hits => "depth_cm, NULL, NULL, direction, unsettled FROM strike",
            ValueOf::Readings => "lowest_reading_m * 100.0, NULL, NULL, NULL, unsettled FROM strike",
        };
        let only = match of {
            ValueOf::Depths => "",
            ValueOf::Hits => "AND outcome = 'hit' AND depth_cm IS NOT NULL",
            ValueOf::Readings => "AND outcome = 'hit' AND lowest_reading_m IS NOT NULL",
        };
        let sql =
            format!("SELECT id, by, at_ms, drill, target, {columns} WHERE day = ?1 AND void IS NULL {only}");
        let mut statement = self.sql().prepare_cached(&sql)?;
        let mut found = statement.query([rows::number(self.sql(), day)?])?;
        while let Some(row) = found.next()? {
            let text = |i: usize| row.get_ref(i).map(|v| v.as_str().unwrap_or_default());
            let word = |i: usize| row.get_ref(i).map(|v| v.as_str().ok());
            each(DepthLine {
                id: text(0)?,
                by: text(1)?,
                at_ms: row.get::<_, Option<i64>>(2)?.unwrap_or_default(),
                drill: text(3)?,
                target: word(4)?,
                depth_cm: row.get(5)?,
                method: word(6)?,
                datum: word(7)?,
                direction: word(8)?,
                unsettled: text(9)?,
            });
        }
        Ok(())
    }
}

impl Store {
    /// How many depth entries and hits of a day are struck out.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn void_depths(&self, day: DayId) -> Result<usize, StoreError> {
        let sql = "SELECT (SELECT count(*) FROM depth WHERE day = ?1 AND void IS NOT NULL) + \
                   (SELECT count(*) FROM strike WHERE day = ?1 AND void IS NOT NULL AND outcome = 'hit' AND depth_cm IS NOT NULL)";
        let n: i64 =
            self.sql().prepare_cached(sql)?.query_row([rows::number(self.sql(), day)?], |r| r.get(0))?;
        Ok(usize::try_from(n).unwrap_or(0))
    }
}
