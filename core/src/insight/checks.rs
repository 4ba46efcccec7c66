//! The group checks of a day: who failed what, weak batteries, electronics too near. The season's shares are in `season`.

use super::left_out::{Tally, reason};
use super::thresholds::Thresholds;
use super::view::{Told, View};
use crate::entry::{Body, Check, Time};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// The checks of a day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Checks {
    /// Number of checks, the same check by two writers once
    pub n: usize,
    /// Number of people checked
    pub people: usize,
    /// Each failure
    pub failed: Vec<Failure>,
    /// Batteries below the threshold at the person's last check that says it
    pub battery_below: Vec<LowBattery>,
    /// Number of people whose battery was read
    pub battery_n: usize,
    /// Electronics nearer than the thresholds at the person's last check that says it
    pub electronics: Vec<NearElectronics>,
    /// Number of people whose distance to electronics was measured
    pub electronics_n: usize,
    /// People of the day, by call sign, of whom no check was written
    pub not_checked: Vec<String>,
}

/// Something that a check found wrong.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Failure {
    /// Whose transceiver
    pub call_sign: String,
    /// What failed
    pub what: CheckPart,
    /// What the device or the checker said
    pub fault: Option<String>,
    /// When it was checked
    pub at: Time,
    /// A later check of the same person found this in order
    pub passed_later: bool,
}

/// The parts of a check.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum CheckPart {
    /// it did not send
    Transmits,
    /// it did not receive
    Receives,
    /// the device showed a fault
    Fault,
}

impl CheckPart {
    /// Every part.
    pub const ALL: [CheckPart; 3] = [CheckPart::Transmits, CheckPart::Receives, CheckPart::Fault];

    /// Whether a check found this part in order.
    #[must_use]
    pub fn passed(self, check: &Check) -> bool {
        match self {
            CheckPart::Transmits => check.transmits,
            CheckPart::Receives => check.receives,
            CheckPart::Fault => check.fault.as_ref().is_none_or(|f| f.trim().is_empty()),
        }
    }
}

/// A battery below the threshold.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LowBattery {
    /// Whose transceiver
    pub call_sign: String,
    /// Battery as the device showed it, %
    pub pct: f64,
}

/// Electronics near a transceiver.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NearElectronics {
    /// Whose transceiver
    pub call_sign: String,
    /// Distance to the nearest electronics or metal, cm
    pub distance_cm: f64,
    /// Nearer than the threshold for sending
    pub too_near_to_send: bool,
    /// Nearer than the threshold for searching
    pub too_near_to_search: bool,
}

impl Checks {
    /// The checks of a day.
    #[must_use]
    pub fn of(view: &View<'_>, thresholds: &Thresholds, left_out: &mut Tally) -> Checks {
        let all = checks(view, left_out);
        let mut checks = Checks { n: all.len(), ..Checks::default() };
        let people: BTreeSet<&String> = all.iter().map(|(who, _, _)| who).collect();
        checks.people = people.len();
        for who in &people {
            let own: Vec<&(String, Told<'_>, &Check)> = all.iter().filter(|(of, _, _)| of == *who).collect();
            let call_sign = view.call_sign(who);
            for (i, (_, told, check)) in own.iter().enumerate() {
                for what in CheckPart::ALL.into_iter().filter(|part| !part.passed(check)) {
                    checks.failed.push(Failure {
                        call_sign: call_sign.clone(),
                        what,
                        fault: check.fault.clone(),
                        at: told.entry.common.at,
                        passed_later: own[i + 1..].iter().any(|(_, _, later)| what.passed(later)),
                    });
                }
            }
            if let Some(pct) = own.iter().rev().find_map(|(_, _, c)| c.battery_pct) {
                checks.battery_n += 1;
                if pct.0 < thresholds.battery_pct {
                    checks.battery_below.push(LowBattery { call_sign: call_sign.clone(), pct: pct.0 });
                }
            }
            if let Some(distance) = own.iter().rev().find_map(|(_, _, c)| c.nearest_electronics_cm) {
                checks.electronics_n += 1;
                let near = NearElectronics {
                    call_sign,
                    distance_cm: distance.0,
                    too_near_to_send: distance.0 < thresholds.electronics_send_cm,
                    too_near_to_search: distance.0 < thresholds.electronics_search_cm,
                };
                if near.too_near_to_send || near.too_near_to_search {
                    checks.electronics.push(near);
                }
            }
        }
        let declared = view.things.people.iter().filter(|(_, t)| !t.declared_by.is_empty());
        let unchecked = declared.filter(|(who, _)| !people.contains(who));
        checks.not_checked = unchecked.map(|(_, t)| t.label.clone()).collect();
        checks
    }
}

/// The checks that count, by folded call sign, twins once, in the order of time.
pub(super) fn checks<'a>(view: &View<'a>, left_out: &mut Tally) -> Vec<(String, Told<'a>, &'a Check)> {
    let told = view.told().filter(|t| matches!(t.entry.body, Body::Check(_)));
    let mut found = Vec::new();
    for told in view.once(told) {
        let Body::Check(check) = &told.entry.body else { continue };
        let fields = ["transmits", "receives", "battery_pct", "nearest_electronics_cm", "fault", "person"];
        if told.settled(&fields) {
            found.push((view.things.person(&check.person.0), told, check));
        } else {
            left_out.add(reason::CONFLICT);
        }
    }
    found
}
