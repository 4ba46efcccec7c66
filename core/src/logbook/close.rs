//! Closing a day: saying that it is whole, as far as this device knows.

use super::{DayBegun, Logbook, LogbookError};
use crate::day::{DayId, Key};
use crate::insight::debrief::Awaited;
use crate::review::{KitItem, KitState};
use serde_json::json;

impl Logbook {
    /// Who should have handed in and of whom nothing has come.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn awaited(&self, day: DayId) -> Result<Vec<Awaited>, LogbookError> {
        Ok(self.debrief(day, &super::Ask::default())?.awaited)
    }

    /// Closes a day: its heads as they are now are put down. What comes later is merged all the same and shows as after the closing.
    ///
    /// # Errors
    /// [`LogbookError::StillOpen`] while kit is out or someone is awaited and no reason is given to close it despite that.
    pub fn close_day(
        &mut self,
        day: DayId,
        despite: Option<&str>,
        by: &str,
    ) -> Result<DayBegun, LogbookError> {
        let mut because = Vec::new();
        let out: Vec<_> =
            self.kit()?.into_iter().filter(|k| k.state == KitState::InSnow && k.day == day).collect();
        if !out.is_empty() {
            let label =
                |k: &KitItem| k.item.clone().or_else(|| Some(format!("target {}", k.target.as_ref()?)));
            let labels: Vec<String> = out.iter().filter_map(label).collect();
            because.push(format!("in the snow: {}", labels.join(", ")));
        }
        let awaited = self.awaited(day)?;
        if !awaited.is_empty() {
            let names: Vec<String> = awaited.iter().filter_map(|a| a.call_sign.clone()).collect();
            because.push(format!("not handed in: {}", names.join(", ")));
        }
        if !because.is_empty() && despite.is_none_or(|d| d.trim().is_empty()) {
            return Err(LogbookError::StillOpen { day, because });
        }
        let stamp = self.clocked()?;
        let device = self.device();
        self.store.write::<_, LogbookError>(|seen| {
            let heads: Vec<String> = seen.heads(day)?.iter().map(ToString::to_string).collect();
            let text = stamp.register(json!({ "heads": heads, "despite": despite }), by).to_string();
            Ok((vec![(day, vec![(Key::Closed(device), text)])], ()))
        })?;
        self.day(day)
    }
}
