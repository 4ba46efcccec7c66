//! The sheet that a person takes home from a day: their own hours, roles, times, turns, strikes, checks and the feedback meant for them. No
//! other person's figures stand on it.

use super::cautions;
use super::checks::{self, CheckPart};
use super::digging::{Digger, Digging};
use super::drill::DrillRead;
use super::left_out::Tally;
use super::notes::{NoteLine, Notes};
use super::probing::{StrikeLine, strikes};
use super::search::{Search, WalkLine};
use super::thresholds::Thresholds;
use super::timeline::DrillTimes;
use super::view::View;
use crate::day::DayId;
use crate::entry::{Body, Check, Role, Step, Time};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;

/// One person's day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sheet {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Its area
    pub area: String,
    /// Whose sheet it is
    pub call_sign: String,
    /// Their team
    pub team: Option<String>,
    /// When they arrived, as written
    pub joined_at: Option<Time>,
    /// When they left, as written
    pub left_at: Option<Time>,
    /// Hours between the two; null where one was not written
    pub hours: Option<f64>,
    /// What they did, on the day and in drills
    pub roles: Vec<RoleLine>,
    /// Steps that were written as theirs
    pub times: Vec<OwnTime>,
    /// Their turns at the shovels, one a drill
    pub turns: Vec<OwnTurns>,
    /// Their probe strikes
    pub strikes: Vec<OwnStrike>,
    /// Their ways through the field
    pub walks: Vec<OwnWalk>,
    /// Their group checks
    pub checks: Vec<OwnCheck>,
    /// Feedback meant for them
    pub feedback: Vec<NoteLine>,
    /// What these figures are for, and what not
    pub cautions: Vec<String>,
}

/// A role.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RoleLine {
    /// Label of the drill; null for the day
    pub drill: Option<String>,
    /// The role
    pub role: Role,
}

/// A step that was written as theirs.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OwnTime {
    /// Label of the drill
    pub drill: String,
    /// Label of the target
    pub target: Option<String>,
    /// The step
    pub step: Step,
    /// When, s from start; null without a start
    pub t_s: Option<f64>,
}

/// Turns at the shovels in one drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OwnTurns {
    /// Label of the drill
    pub drill: String,
    /// The turns
    #[serde(flatten)]
    pub turns: Digger,
}

/// A probe strike.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OwnStrike {
    /// Label of the drill
    pub drill: String,
    /// Label of the target
    pub target: String,
    /// The strike
    #[serde(flatten)]
    pub strike: StrikeLine,
}

/// A way through the field.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OwnWalk {
    /// Label of the drill
    pub drill: String,
    /// The way
    #[serde(flatten)]
    pub walk: WalkLine,
}

/// A group check of their transceiver.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OwnCheck {
    /// When
    pub at: Time,
    /// What failed
    pub failed: Vec<CheckPart>,
    /// What was not tested; empty as `failed` is where all was in order
    pub not_tested: Vec<CheckPart>,
    /// Battery as the device showed it, %
    pub battery_pct: Option<f64>,
    /// Distance to the nearest electronics or metal, cm
    pub nearest_electronics_cm: Option<f64>,
    /// What the device or the checker said
    pub fault: Option<String>,
}

/// The sheets of everyone whom an entry declares, in the order of their folded call signs.
#[must_use]
pub fn sheets(view: &View<'_>, thresholds: &Thresholds) -> Vec<Sheet> {
    let drills = DrillSeen::all(view, thresholds);
    let declared = view.things.people.iter().filter(|(_, t)| !t.declared_by.is_empty());
    declared.map(|(folded, _)| sheet_of(view, folded, &drills)).collect()
}

/// The sheet of one person; `None` if no entry names them.
#[must_use]
pub fn sheet(view: &View<'_>, call_sign: &str, thresholds: &Thresholds) -> Option<Sheet> {
    let folded = view.things.person(call_sign);
    view.things.people.get(&folded)?;
    let drills = DrillSeen::all(view, thresholds);
    Some(sheet_of(view, &folded, &drills))
}

/// What of a drill may stand on someone's sheet.
struct DrillSeen {
    folded: String,
    label: String,
    times: DrillTimes,
    digging: Digging,
    search: Search,
    strikes: Vec<(String, StrikeLine)>,
}

impl DrillSeen {
    fn of(view: &View<'_>, drill: DrillRead, thresholds: &Thresholds) -> DrillSeen {
        // What could not be used is told in the debrief, not on a sheet.
        let unused = &mut Tally::default();
        let DrillRead { folded, setup, targets, times, depths, .. } = drill;
        let struck = targets.iter().flat_map(|target| {
            let label = target.label.clone();
            strikes(view, &folded, target, &targets, &times).into_iter().map(move |s| (label.clone(), s))
        });
        DrillSeen {
            strikes: struck.collect(),
            digging: Digging::of(view, &folded, &targets, &times, &depths, thresholds, unused),
            search: Search::of(view, &folded, &setup, &times, thresholds, unused),
            label: setup.label.0,
            folded,
            times,
        }
    }

    fn all(view: &View<'_>, thresholds: &Thresholds) -> Vec<DrillSeen> {
        DrillRead::all(view).into_iter().map(|drill| DrillSeen::of(view, drill, thresholds)).collect()
    }
}

fn sheet_of(view: &View<'_>, folded: &str, drills: &[DrillSeen]) -> Sheet {
    let call_sign = view.call_sign(folded);
    let person = view.things.person_as_one(folded);
    let (joined_at, left_at) = person.as_ref().map_or((None, None), |p| (p.joined_at, p.left_at));
    let own = |who: &str| who == call_sign;
    let feedback = Notes::of(view, &mut Tally::default()).feedback;
    let mut sheet = Sheet {
        day: view.record.id,
        date: view.record.date,
        area: view.record.area.clone(),
        team: person.as_ref().and_then(|p| p.team.clone()),
        joined_at,
        left_at,
        hours: joined_at.zip(left_at).map(|(from, to)| (to.millis() - from.millis()) as f64 / 3_600_000.0),
        roles: roles(view, folded, person.and_then(|p| p.role), drills),
        times: Vec::new(),
        turns: Vec::new(),
        strikes: Vec::new(),
        walks: Vec::new(),
        checks: own_checks(view, folded),
        feedback: feedback.into_iter().filter(|n| n.person.as_deref().is_some_and(own)).collect(),
        cautions: cautions::of_a_debrief().into_iter().map(str::to_owned).collect(),
        call_sign: call_sign.clone(),
    };
    for drill in drills {
        let label = || drill.label.clone();
        sheet.times.extend(own_times(view, folded, drill));
        let turns = drill.digging.people.iter().filter(|p| own(&p.call_sign));
        sheet.turns.extend(turns.map(|t| OwnTurns { drill: label(), turns: t.clone() }));
        let struck = drill.strikes.iter().filter(|(_, s)| s.person.as_deref().is_some_and(own));
        sheet.strikes.extend(struck.map(|(target, s)| OwnStrike {
            drill: label(),
            target: target.clone(),
            strike: s.clone(),
        }));
        let walks = drill.search.walks.iter().filter(|w| own(&w.call_sign));
        sheet.walks.extend(walks.map(|w| OwnWalk { drill: label(), walk: w.clone() }));
    }
    sheet
}

fn roles(view: &View<'_>, folded: &str, of_day: Option<Role>, drills: &[DrillSeen]) -> Vec<RoleLine> {
    let in_drill = |drill: &DrillSeen| {
        let role = *view.things.roles.get(&(drill.folded.clone(), folded.to_owned()))?;
        Some(RoleLine { drill: Some(drill.label.clone()), role })
    };
    let day = of_day.map(|role| RoleLine { drill: None, role });
    day.into_iter().chain(drills.iter().filter_map(in_drill)).collect()
}

fn own_times(view: &View<'_>, folded: &str, drill: &DrillSeen) -> Vec<OwnTime> {
    let moments = view.of_drill(&drill.folded).iter().copied().filter(|t| {
        matches!(&t.entry.body, Body::Moment(m) if m.person.as_ref().is_some_and(|p| view.things.person(&p.0) == folded))
    });
    let told = view.once(moments).into_iter().filter(|t| t.settled(&["at", "step", "person"]));
    let line = |told: super::view::Told<'_>| {
        let Body::Moment(moment) = &told.entry.body else { return None };
        Some(OwnTime {
            drill: drill.label.clone(),
            target: told.entry.common.target.as_ref().map(|t| t.0.clone()),
            step: moment.step,
            t_s: drill.times.since_start_s(view, told, told.entry.common.at),
        })
    };
    told.filter_map(line).collect()
}

fn own_checks(view: &View<'_>, folded: &str) -> Vec<OwnCheck> {
    let own = checks::once(view).into_iter().filter(|(who, _, _)| who == folded);
    let line = |(_, told, check): (String, super::view::Told<'_>, Check)| OwnCheck {
        at: told.entry.common.at,
        failed: CheckPart::failed(&check),
        not_tested: CheckPart::not_tested(&check),
        battery_pct: check.battery_pct.map(|p| p.0),
        nearest_electronics_cm: check.nearest_electronics_cm.map(|d| d.0),
        fault: check.fault,
    };
    own.map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn a_sheet_holds_ones_own_figures_alone() {
        let record = record(
            r#"
            {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"S1","team":"Red","joined_at":"08:30:00","left_at":"16:00:00"}
            {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"S2","team":"Red","role":"trainee"}
            {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"S1","drill":"1","role":"searcher"}
            {"kind":"check","at":"08:40:00","by":"Lead","person":"S1","transmits":true,"receives":true,"battery_pct":81}
            {"kind":"check","at":"08:41:00","by":"Lead","person":"S2","transmits":false,"receives":true}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:01:30","drill":"1","step":"signal","person":"s1"}
            {"kind":"moment","at":"10:02:30","drill":"1","step":"coarse","person":"S2"}
            {"kind":"strike","at":"10:05:00","drill":"1","outcome":"hit","person":"S1","depth_cm":100}
            {"kind":"rotation","at":"10:06:00","drill":"1","front":"S2","shovellers":["S1"],"ended_at":"10:08:00"}
            {"kind":"note","at":"11:00:00","topic":"feedback","person":"S1","note":"keep the device low"}
            {"kind":"note","at":"11:00:00","topic":"feedback","person":"S2","note":"call out readings"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let all = sheets(&view, &Thresholds::default());
        assert_eq!(all.iter().map(|s| s.call_sign.as_str()).collect::<Vec<_>>(), ["S1", "S2"]);
        let own = &all[0];
        assert_eq!((own.hours, own.team.as_deref()), (Some(7.5), Some("Red")));
        assert_eq!(own.roles, [RoleLine { drill: Some("1".to_owned()), role: Role::Searcher }]);
        assert_eq!(
            own.times.iter().map(|t| (t.step, t.t_s)).collect::<Vec<_>>(),
            [(Step::Signal, Some(90.0))]
        );
        assert_eq!((own.turns[0].turns.work_s, own.turns[0].turns.head_s), (120.0, 0.0));
        assert_eq!((own.strikes.len(), own.checks[0].battery_pct), (1, Some(81.0)));
        assert_eq!(own.feedback[0].text, "keep the device low");
        let text = serde_json::to_string(own).unwrap();
        assert!(!text.contains("S2") && !text.contains("call out"), "{text}");
        assert_eq!(all[1].checks[0].failed, [CheckPart::Transmits]);
        assert!(sheet(&view, "nobody", &Thresholds::default()).is_none());
        assert_eq!(sheet(&view, " s2 ", &Thresholds::default()).as_ref(), all.get(1));
    }
}
