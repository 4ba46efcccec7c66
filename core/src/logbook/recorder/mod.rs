//! The recorder: one observer at one drill, on the way from press to entry. It holds no truth of its own: all it knows follows from the
//! store, so that after a crash it stands where it stood. Which screen shows it is not known here.
//!
//! A [`Recorder`] is opened on a drill ([`Recorder::open`]), takes presses ([`Recorder::press`]), details ([`Recorder::add_details`]) and an
//! undo, and says where it stands ([`Recorder::standing`]). Its sheet is what this person wrote about this drill on this device; what others
//! wrote stays with them.

mod lacks;
mod open;
mod press;
mod sheet;
mod standing;
#[cfg(test)]
mod tests;

pub use lacks::{Lack, Lacking};
pub use open::{DrillOffer, DrillSetup};
pub use press::{Press, Stamped, Undone};
pub use standing::{LastPress, PersonStanding, Reached, Standing, TargetStanding, TurnStanding};

use crate::day::{DayId, Things};
use crate::entry::{EntryId, Time};
use sheet::Sheet;

/// How long after a press it can be undone, ms.
pub const UNDO_WINDOW_MS: i64 = 30_000;

/// One observer at one drill. Methods that write take the logbook; each returns when what it wrote is on the disk.
#[derive(Clone, Debug)]
pub struct Recorder {
    day: DayId,
    me: String,
    /// The drill's folded label.
    drill: String,
    /// The folded label of the target in focus; `None` in a drill without targets.
    focus: Option<String>,
    rotation_interval_s: f64,
    area: String,
    things: Things,
    /// The first start that someone else pressed.
    start_of_others: Option<(Time, String)>,
    sheet: Sheet,
    /// Entries that were written but could not be read back yet.
    unread: Vec<EntryId>,
}

impl Recorder {
    /// The day it writes into.
    #[must_use]
    pub fn day(&self) -> DayId {
        self.day
    }

    /// Call sign of the observer.
    #[must_use]
    pub fn me(&self) -> String {
        self.me.clone()
    }

    /// The drill's label, as it is shown.
    #[must_use]
    pub fn drill(&self) -> String {
        self.things.drills.get(&self.drill).map_or_else(|| self.drill.clone(), |d| d.label.clone())
    }

    /// Folded labels of the targets that someone declared for this drill or for the drill it is like, in their order.
    fn targets(&self) -> Vec<String> {
        let targets = self.things.targets_of(&self.drill);
        targets.into_iter().filter(|(_, t)| !t.declared_by.is_empty()).map(|(folded, _)| folded).collect()
    }

    /// A target's label, as it is shown.
    fn target_label(&self, folded: &str) -> String {
        self.things.targets_of(&self.drill).get(folded).map_or_else(|| folded.to_owned(), |t| t.label.clone())
    }
}
