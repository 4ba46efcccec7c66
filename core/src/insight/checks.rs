//! The group checks of a day: who failed what, weak batteries, electronics too near. The season's shares are in `season`.

use super::left_out::{Tally, reason};
use super::thresholds::Thresholds;
use super::view::{Told, View};
use crate::entry::{Body, Check, EntryId, Time};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeSet, HashMap};

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
    /// Of the people who were checked, those of whom no check tested a part; parts that were tested of everybody are left out
    pub not_tested: Vec<NotTested>,
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

/// A part of the check that was not tested of everybody who was checked.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NotTested {
    /// What was not tested
    pub what: CheckPart,
    /// Of whom, by call sign
    pub call_signs: Vec<String>,
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

    /// Whether a check found this part in order; `None` where it did not test it.
    #[must_use]
    pub fn passed(self, check: &Check) -> Option<bool> {
        match self {
            CheckPart::Transmits => check.transmits,
            CheckPart::Receives => check.receives,
            CheckPart::Fault => Some(check.fault.as_ref().is_none_or(|f| f.trim().is_empty())),
        }
    }

    /// The parts that a check found not in order.
    #[must_use]
    pub fn failed(check: &Check) -> Vec<CheckPart> {
        CheckPart::ALL.into_iter().filter(|part| part.passed(check) == Some(false)).collect()
    }

    /// The parts that a check did not test.
    #[must_use]
    pub fn not_tested(check: &Check) -> Vec<CheckPart> {
        CheckPart::ALL.into_iter().filter(|part| part.passed(check).is_none()).collect()
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
            let own: Vec<&(String, Told<'_>, Check)> = all.iter().filter(|(of, _, _)| of == *who).collect();
            let call_sign = view.call_sign(who);
            for (i, (_, told, check)) in own.iter().enumerate() {
                for what in CheckPart::failed(check) {
                    checks.failed.push(Failure {
                        call_sign: call_sign.clone(),
                        what,
                        fault: check.fault.clone(),
                        at: told.entry.common.at,
                        passed_later: own[i + 1..]
                            .iter()
                            .any(|(_, _, later)| what.passed(later) == Some(true)),
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
        let untested = CheckPart::ALL.into_iter().map(|what| {
            let tested =
                |who: &&&String| all.iter().any(|(of, _, check)| of == **who && what.passed(check).is_some());
            let of = people.iter().filter(|who| !tested(who)).map(|who| view.call_sign(who));
            NotTested { what, call_signs: of.collect() }
        });
        checks.not_tested = untested.filter(|part| !part.call_signs.is_empty()).collect();
        let declared = view.things.people.iter().filter(|(_, t)| !t.declared_by.is_empty());
        let unchecked = declared.filter(|(who, _)| !people.contains(who));
        checks.not_checked = unchecked.map(|(_, t)| t.label.clone()).collect();
        checks
    }
}

/// The checks that count, by folded call sign, in the order of time.
pub(super) fn checks<'a>(view: &View<'a>, left_out: &mut Tally) -> Vec<(String, Told<'a>, Check)> {
    let fields = ["transmits", "receives", "battery_pct", "nearest_electronics_cm", "fault", "person"];
    let mut found = once(view);
    found.retain(|(_, told, _)| {
        let settled = told.settled(&fields);
        if !settled {
            left_out.add(reason::CONFLICT);
        }
        settled
    });
    found
}

/// The checks of a day by folded call sign, in the order of time. The same check by two writers counts once: a part was tested if one of them
/// tested it, and failed if one of them says so.
pub(super) fn once<'a>(view: &View<'a>) -> Vec<(String, Told<'a>, Check)> {
    let both = |one: Option<bool>, other: Option<bool>| match (one, other) {
        (Some(one), Some(other)) => Some(one && other),
        _ => one.or(other),
    };
    let mut places: HashMap<EntryId, usize> = HashMap::new();
    let mut found: Vec<(String, Told<'a>, Check)> = Vec::new();
    for told in view.told() {
        let Body::Check(check) = &told.entry.body else { continue };
        let place = *places.entry(view.groups.first(told.noted.id)).or_insert(found.len());
        match found.get_mut(place) {
            None => found.push((view.things.person(&check.person.0), told, check.clone())),
            Some((_, _, first)) => {
                first.transmits = both(first.transmits, check.transmits);
                first.receives = both(first.receives, check.receives);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::testing::record_with;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    #[test]
    fn what_was_not_tested_neither_passed_nor_failed() {
        let record = record_with(
            r#"
            {"kind":"check","at":"09:00:00","person":"P1","transmits":true}
            {"kind":"check","at":"09:01:00","person":"P2","transmits":true,"receives":true}
            {"kind":"check","at":"09:01:03","person":"P2","receives":false,"by":"Obs2"}
            {"kind":"check","at":"09:02:00","person":"P3","receives":false}
            {"kind":"check","at":"09:05:00","person":"P2","transmits":true}
            {"kind":"check","at":"09:06:00","person":"P3","receives":true}
        "#,
            &[("#2~#3", json!(true))],
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let checks = Checks::of(&view, &Thresholds::default(), &mut Tally::default());
        assert_eq!((checks.n, checks.people), (5, 3));
        let failed: Vec<_> =
            checks.failed.iter().map(|f| (f.call_sign.as_str(), f.what, f.passed_later)).collect();
        // A later check that does not test it passes nothing.
        assert_eq!(failed, [("P2", CheckPart::Receives, false), ("P3", CheckPart::Receives, true)]);
        let untested: Vec<_> =
            checks.not_tested.iter().map(|part| (part.what, part.call_signs.concat())).collect();
        assert_eq!(
            untested,
            [(CheckPart::Transmits, "P3".to_owned()), (CheckPart::Receives, "P1".to_owned())]
        );
    }
}
