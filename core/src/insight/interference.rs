//! What disturbed transceivers on a day, as it was written. What it cost over a season is in `season`.

use super::left_out::{Tally, reason};
use super::view::View;
use crate::entry::{Body, DeviceMode, InterferenceEffect, InterferenceSource, Time};
use crate::stats::total;
use schemars::JsonSchema;
use serde::Serialize;

/// The disturbances of a day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct DayInterference {
    /// Number of disturbances, the same one by two writers once
    pub n: usize,
    /// Time lost, summed over those that say it, s
    pub lost_s: f64,
    /// Number of those that say how much time was lost
    pub lost_n: usize,
    /// Each of them, in the order of time
    pub events: Vec<Disturbance>,
}

/// One disturbance.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Disturbance {
    /// What disturbed
    pub source: InterferenceSource,
    /// What the disturbed device was doing
    pub mode: Option<DeviceMode>,
    /// What was seen
    pub effect: Option<InterferenceEffect>,
    /// Whose source it was, by call sign
    pub person: Option<String>,
    /// Distance from the source to the transceiver, cm
    pub distance_cm: Option<f64>,
    /// Time it cost, s
    pub lost_s: Option<f64>,
    /// What helped
    pub remedy: Option<String>,
    /// Label of the drill
    pub drill: Option<String>,
    /// When
    pub at: Time,
}

/// The longest time that one disturbance can cost, s: a day.
const LONGEST_S: f64 = 86_400.0;

impl DayInterference {
    /// The disturbances of a day.
    #[must_use]
    pub fn of(view: &View<'_>, left_out: &mut Tally) -> DayInterference {
        let told = view.told().filter(|t| matches!(t.entry.body, Body::Interference(_)));
        let mut events = Vec::new();
        for told in view.once(told) {
            let Body::Interference(i) = &told.entry.body else { continue };
            if !told.settled(&["source", "mode", "effect", "distance_cm", "lost_s"]) {
                left_out.add(reason::CONFLICT);
                continue;
            }
            events.push(Disturbance {
                source: i.source,
                mode: i.mode,
                effect: i.effect,
                person: i.person.as_ref().map(|p| view.call_sign(&view.things.person(&p.0))),
                distance_cm: i.distance_cm.map(|d| d.0),
                lost_s: i.lost_s.map(|s| s.0).filter(|s| (0.0..=LONGEST_S).contains(s)),
                remedy: i.remedy.clone(),
                drill: told.entry.common.drill.as_ref().map(|d| d.0.clone()),
                at: told.entry.common.at,
            });
        }
        DayInterference {
            n: events.len(),
            lost_s: total(events.iter().filter_map(|e| e.lost_s)),
            lost_n: events.iter().filter(|e| e.lost_s.is_some()).count(),
            events,
        }
    }
}
