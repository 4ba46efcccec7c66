//! One drill with what every question about it starts from: its setup, targets, times and depths, computed once.

use super::depth::TargetDepth;
use super::left_out::Tally;
use super::timeline::DrillTimes;
use super::view::{TargetRef, View};
use crate::entry::Drill;

/// A drill, read.
pub struct DrillRead {
    /// Its folded label.
    pub folded: String,
    /// As it was set up.
    pub setup: Drill,
    /// Its targets, in the order of [`View::targets`].
    pub targets: Vec<TargetRef>,
    /// When their steps were reached; its own tally is part of `left_out`.
    pub times: DrillTimes,
    /// How deep they lay, in the same order.
    pub depths: Vec<TargetDepth>,
    /// What could not be used.
    pub left_out: Tally,
}

impl DrillRead {
    /// Reads a drill by its folded label.
    #[must_use]
    pub fn of(view: &View<'_>, folded: &str) -> DrillRead {
        let (setup, targets) = (view.drill(folded), view.targets(folded));
        let times = DrillTimes::of(view, folded, &targets);
        let mut left_out = times.left_out.clone();
        let slope_deg = setup.slope_deg.map(|s| s.0);
        let depths = targets
            .iter()
            .map(|target| TargetDepth::of(view, folded, target, &targets, slope_deg, &mut left_out))
            .collect();
        DrillRead { folded: folded.to_owned(), setup, targets, times, depths, left_out }
    }

    /// Every drill of a day.
    #[must_use]
    pub fn all(view: &View<'_>) -> Vec<DrillRead> {
        view.drills().iter().map(|drill| DrillRead::of(view, drill)).collect()
    }
}
