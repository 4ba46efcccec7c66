//! What an answer could not use, counted by reason: nothing is dropped in silence.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// How many things were left out of an answer for one reason.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct LeftOut {
    /// Why, for a person to read.
    pub reason: String,
    /// How many.
    pub n: usize,
}

/// Counts what is left out while an answer is made.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally(BTreeMap<Cow<'static, str>, usize>);

/// Reasons that several answers share.
pub mod reason {
    /// A struck-out entry.
    pub const VOID: &str = "struck out";
    /// A body of a newer version.
    pub const OPAQUE: &str = "written by a newer version, not readable here";
    /// Concurrent amendments disagree.
    pub const CONFLICT: &str = "in open conflict until someone settles it";
    /// The drill has several targets and none is named.
    pub const NO_TARGET: &str = "no target named in a drill of several";
    /// No drill is named.
    pub const NO_DRILL: &str = "no drill named";
    /// The clock could not be compared with those of the drill.
    pub const CLOCK: &str = "written by a clock that was never compared with the others";
    /// A step reached before the one it follows.
    pub const ORDER: &str = "steps out of order";
    /// A direction or a slope is missing.
    pub const DIRECTION: &str = "depth of another or unknown direction, not convertible";
    /// A number beyond what can be a measurement; it came by merge, since the door refuses it.
    pub const ABSURD: &str = "a number that no measurement gives";
    /// The drill was called off.
    pub const CANCELLED: &str = "drill called off";
    /// Feedback without the person it is meant for stands on no sheet.
    pub const FEEDBACK_TO_NOBODY: &str = "feedback that names nobody";
    /// Settled as another, later event of one step.
    pub const LATER: &str = "settled as another event, after the first";
}

impl Tally {
    /// Counts one thing left out.
    pub fn add(&mut self, reason: &'static str) {
        self.add_n(reason, 1);
    }

    /// Counts `n` things left out; none is no reason.
    pub fn add_n(&mut self, reason: &'static str, n: usize) {
        self.add_named(Cow::Borrowed(reason), n);
    }

    /// Adds what another tally counted.
    pub fn merge(&mut self, other: &Tally) {
        for (reason, n) in &other.0 {
            self.add_named(reason.clone(), *n);
        }
    }

    fn add_named(&mut self, reason: Cow<'static, str>, n: usize) {
        if n > 0 {
            *self.0.entry(reason).or_default() += n;
        }
    }

    /// The reasons in alphabetical order.
    #[must_use]
    pub fn list(&self) -> Vec<LeftOut> {
        self.0.iter().map(|(reason, n)| LeftOut { reason: reason.clone().into_owned(), n: *n }).collect()
    }
}
