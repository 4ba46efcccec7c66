//! One person over a season: the times of the steps that this person reached, strikes and turns, and whether they rise or fall. An answer holds
//! nobody else's figures.

use super::super::cautions;
use super::super::depth::TargetDepth;
use super::super::digging::{Digging, Turn};
use super::super::left_out::{Tally, reason};
use super::super::thresholds::Thresholds;
use super::super::timeline::{DrillTimes, STEPS};
use super::super::view::{TargetRef, Told, View};
use super::digging::NO_END;
use super::footing::{Basis, Footing, Why, few};
use super::group::GroupBy;
use super::keys::{Keys, NoSuchGroups, grouped, possible};
use super::who::{Sighting, Who};
use crate::day::DayId;
use crate::entry::{Body, DrillForm, Outcome, Step, fold};
use crate::stats::Interval;
use crate::stats::describe::median;
use crate::stats::rank::theil_sen;
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Fewest values from which a trend is answered (of this log, no source).
pub const FEWEST_FOR_A_TREND: usize = 5;

/// By what one person's values can be grouped.
pub const GROUPS: &[GroupBy] =
    &[GroupBy::Form, GroupBy::Team, GroupBy::Area, GroupBy::Day, GroupBy::Month, GroupBy::Season];

/// Writers who disagree about who it was.
pub const OTHER_PERSON: &str = "writers name different people for one step";

/// What is measured of a person.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// start to this person's first stable signal, s
    SignalS,
    /// start to the end of this person's coarse search, s
    CoarseS,
    /// start to this person's mark of the lowest reading, s
    FineS,
    /// start to this person's first probe hole, s
    ProbingS,
    /// start to this person's sure strike, s
    StrikeS,
    /// start to this person's first shovel stroke, s
    DiggingS,
    /// start to the airway that this person exposed, s
    AirwayS,
    /// start to the target that this person took out, s
    ExtricatedS,
    /// a turn of this person at the shovels, s
    TurnS,
    /// distance of this person's strike from the mark of the lowest reading, cm
    StrikeFromMarkCm,
    /// probe holes up to and with this person's strike
    Holes,
}

impl Measure {
    fn of(step: Step) -> Option<Measure> {
        let all = [
            Measure::SignalS,
            Measure::CoarseS,
            Measure::FineS,
            Measure::ProbingS,
            Measure::StrikeS,
            Measure::DiggingS,
            Measure::AirwayS,
            Measure::ExtricatedS,
        ];
        STEPS.into_iter().zip(all).find(|(s, _)| *s == step).map(|(_, measure)| measure)
    }
}

/// One value of the person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PersonRow {
    /// The date
    pub date: NaiveDate,
    /// The area
    pub area: String,
    /// What the drill practised
    pub form: Option<DrillForm>,
    /// The team of the drill
    pub team: Option<String>,
    /// The call sign on that day
    pub call_sign: String,
    /// What was measured
    pub what: Measure,
    /// The value, in the unit of the measure's name
    pub value: f64,
}

/// The answer of `stats person`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PersonStats {
    /// The call signs of this person on these days
    pub call_signs: Vec<String>,
    /// Number of days with a value
    pub n_days: usize,
    /// Each measure with any value
    pub trends: Vec<Trend>,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// The measures of each group, by name
    pub groups: Vec<PersonGroup>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// One group of a person's values.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PersonGroup {
    /// What the group is called
    pub group: String,
    /// Each measure with any value
    pub trends: Vec<Trend>,
}

/// One measure over the season. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Trend {
    /// What was measured; its name ends in its unit
    pub what: Measure,
    /// Number of values
    pub n: usize,
    /// Number of days they come from
    pub n_days: usize,
    /// The first of those days
    pub first: NaiveDate,
    /// The last of those days
    pub last: NaiveDate,
    /// Median, in the unit of the measure
    pub median: Option<f64>,
    /// Rise of the measure (Theil and Sen), in its unit for each day; from n = 5
    pub slope_per_day: Option<f64>,
    /// Interval of the slope (Sen 1968)
    pub slope_ci95: Option<Interval>,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// What a day tells of each of its people, whoever is asked for; drills that were called off apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DayPeople {
    day: DayId,
    date: NaiveDate,
    area: String,
    /// Form and team of each drill.
    drills: Vec<(Option<DrillForm>, Option<String>)>,
    people: Vec<DayPerson>,
    /// Folded names, each with the place of the person whom it means.
    names: BTreeMap<String, u32>,
}

/// One person of a day; call signs of one member code are one person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct DayPerson {
    call_sign: String,
    member: Option<String>,
    /// Each value with the place of its drill.
    values: Vec<(u32, Measure, f64)>,
    left_out: Tally,
}

impl DayPeople {
    /// Takes the values of everyone from a day.
    #[must_use]
    pub fn of(view: &View<'_>, thresholds: &Thresholds) -> DayPeople {
        let names = view.things.names_of_people();
        let mut own: Vec<BTreeSet<String>> = Vec::new();
        let mut people: Vec<DayPerson> = Vec::new();
        for folded in view.things.people.keys() {
            let member = view.things.person_as_one(folded).and_then(|p| p.member);
            let same = member.as_ref().and_then(|m| people.iter().position(|p| p.member.as_ref() == Some(m)));
            match same {
                Some(place) => own[place].extend([folded.clone()]),
                None => {
                    own.push(BTreeSet::from([folded.clone()]));
                    let call_sign = view.call_sign(folded);
                    people.push(DayPerson {
                        call_sign,
                        member,
                        values: Vec::new(),
                        left_out: Tally::default(),
                    });
                }
            }
        }
        let mut drills = Vec::new();
        for (at, drill) in (0..).zip(view.drills()) {
            let setup = view.drill(drill);
            let targets = view.targets(drill);
            let times = DrillTimes::of(view, drill, &targets);
            let turns = turns(view, drill, &targets, &times, thresholds);
            for (person, own) in people.iter_mut().zip(&own) {
                let of_person = OfPerson { view, own };
                let left_out = &mut person.left_out;
                let mut found = of_person.steps(drill, &times, left_out);
                found.extend(of_person.strikes(drill, left_out));
                found.extend(of_person.turns(&turns, left_out));
                if times.cancelled() {
                    left_out.add_n(reason::CANCELLED, found.len());
                } else {
                    person.values.extend(found.into_iter().map(|(what, value)| (at, what, value)));
                }
            }
            drills.push((setup.form, setup.team));
        }
        let place = |folded: &String| own.iter().position(|own| own.contains(folded));
        let names = names.into_iter().filter_map(|(name, who)| Some((name, place(&who)? as u32))).collect();
        DayPeople {
            day: view.record.id,
            date: view.record.date,
            area: view.record.area.clone(),
            drills,
            people,
            names,
        }
    }

    fn called(&self, name: &str) -> Option<&DayPerson> {
        self.people.get(*self.names.get(&fold(name))? as usize)
    }

    fn member(&self, code: &str) -> Option<&DayPerson> {
        self.people.iter().find(|p| p.member.as_deref() == Some(code))
    }

    /// Whether and as whom a name was heard.
    #[must_use]
    pub fn sighting(&self, name: &str) -> Option<Sighting> {
        let person = self.called(name)?;
        Some(Sighting { day: self.day, date: self.date, member: person.member.clone() })
    }

    /// Whether someone has this member code.
    #[must_use]
    pub fn has_member(&self, code: &str) -> bool {
        self.member(code).is_some()
    }

    /// The values of one person; `left_out` counts what could not be used of that person.
    #[must_use]
    pub fn rows(&self, who: &Who, left_out: &mut Tally) -> Vec<PersonRow> {
        let person = match who {
            Who::Member(code) => self.member(code),
            Who::CallSign(day, name) => self.called(name).filter(|_| *day == self.day),
        };
        let Some(person) = person else { return Vec::new() };
        left_out.merge(&person.left_out);
        let row = |(drill, what, value): &(u32, Measure, f64)| {
            let (form, team) = self.drills.get(*drill as usize)?;
            Some(PersonRow {
                date: self.date,
                area: self.area.clone(),
                form: *form,
                team: team.clone(),
                call_sign: person.call_sign.clone(),
                what: *what,
                value: *value,
            })
        };
        person.values.iter().filter_map(row).collect()
    }
}

struct OfPerson<'a> {
    view: &'a View<'a>,
    /// The folded call signs of this person.
    own: &'a BTreeSet<String>,
}

impl OfPerson<'_> {
    fn is_own(&self, call_sign: &str) -> bool {
        self.own.contains(&self.view.things.person(call_sign))
    }

    /// Times of the steps of which every writer who names someone names this person.
    fn steps(&self, drill: &str, times: &DrillTimes, left_out: &mut Tally) -> Vec<(Measure, f64)> {
        let mut named: BTreeMap<(usize, Step), (bool, bool)> = BTreeMap::new();
        for told in self.view.of_drill(drill) {
            let Some((step, person)) = reached(*told) else { continue };
            let Some(target) = told.at_target else { continue };
            if !told.settled(&["at", "step", "person", "outcome"]) {
                if self.is_own(person) {
                    left_out.add(reason::CONFLICT);
                }
                continue;
            }
            let (own, other) = named.entry((target, step)).or_default();
            *(if self.is_own(person) { own } else { other }) = true;
        }
        let mut found = Vec::new();
        for ((target, step), by) in named {
            match by {
                (true, true) => left_out.add(OTHER_PERSON),
                (true, false) => {
                    let t_s = times.targets[target].t_s(step).filter(|t| *t >= 0.0);
                    found.extend(Measure::of(step).zip(t_s));
                }
                (false, _) => {}
            }
        }
        found
    }

    /// What this person's hits say besides their time, the same hit by two writers once.
    fn strikes(&self, drill: &str, left_out: &mut Tally) -> Vec<(Measure, f64)> {
        let mut found = Vec::new();
        let hits = self.view.of_drill(drill).iter().copied().filter(|told| match &told.entry.body {
            Body::Strike(s) => {
                s.outcome == Some(Outcome::Hit) && s.person.as_ref().is_some_and(|p| self.is_own(&p.0))
            }
            _ => false,
        });
        for told in self.view.once(hits) {
            let Body::Strike(strike) = &told.entry.body else { continue };
            if !told.settled(&["person", "outcome", "from_mark_cm", "holes"]) {
                left_out.add(reason::CONFLICT);
                continue;
            }
            found.extend(strike.from_mark_cm.map(|cm| (Measure::StrikeFromMarkCm, cm.0)));
            found.extend(strike.holes.map(|n| (Measure::Holes, f64::from(n))));
        }
        found
    }

    fn turns(&self, turns: &[Turn], left_out: &mut Tally) -> Vec<(Measure, f64)> {
        let mut found = Vec::new();
        for turn in turns {
            if turn.front.iter().chain(&turn.shovellers).any(|who| self.is_own(who)) {
                match turn.to_s {
                    Some(to_s) => found.push((Measure::TurnS, to_s - turn.from_s)),
                    None => left_out.add(NO_END),
                }
            }
        }
        found
    }
}

/// The turns of a drill. They need no depth; what the drill's digging leaves out is told with the digging.
fn turns(
    view: &View<'_>,
    drill: &str,
    targets: &[TargetRef],
    times: &DrillTimes,
    thresholds: &Thresholds,
) -> Vec<Turn> {
    let depths = vec![TargetDepth::default(); targets.len()];
    let digging = Digging::of(view, drill, targets, times, &depths, thresholds, &mut Tally::default());
    digging.heads.into_iter().flat_map(|head| head.turns).collect()
}

/// The step that an entry says someone reached, and who.
fn reached<'a>(told: Told<'a>) -> Option<(Step, &'a str)> {
    match &told.entry.body {
        Body::Moment(m) => Some((m.step, m.person.as_ref()?.0.as_str())),
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => {
            Some((Step::Strike, s.person.as_ref()?.0.as_str()))
        }
        _ => None,
    }
}

impl PersonRow {
    fn keys(&self) -> Keys<'_> {
        Keys {
            date: self.date,
            area: &self.area,
            form: self.form,
            team: self.team.as_deref(),
            orientation: None,
            writer: None,
        }
    }
}

/// The season of one person, from the rows of that person alone.
///
/// # Errors
/// A grouping that these rows do not allow.
pub fn person(
    rows: &[PersonRow],
    by: Option<GroupBy>,
    thresholds: &Thresholds,
    basis: Basis,
) -> Result<PersonStats, NoSuchGroups> {
    possible("one person's values", by, GROUPS)?;
    let call_signs: BTreeSet<&String> = rows.iter().map(|row| &row.call_sign).collect();
    let groups = by.map(|by| grouped(rows, |row| row.keys().group(by, thresholds))).unwrap_or_default();
    Ok(PersonStats {
        call_signs: call_signs.into_iter().cloned().collect(),
        n_days: days(rows.iter()).len(),
        trends: trends(rows),
        group_by: by,
        groups: groups.into_iter().map(|(group, rows)| PersonGroup { group, trends: trends(rows) }).collect(),
        footing: basis.footing(&Tally::default(), &[cautions::CLOCKS, cautions::CURVES], &[]),
    })
}

fn trends<'r>(rows: impl IntoIterator<Item = &'r PersonRow>) -> Vec<Trend> {
    let mut by_measure: BTreeMap<Measure, Vec<&PersonRow>> = BTreeMap::new();
    for row in rows {
        by_measure.entry(row.what).or_default().push(row);
    }
    by_measure.into_iter().filter_map(|(what, rows)| Trend::of(what, &rows)).collect()
}

fn days<'r>(rows: impl Iterator<Item = &'r PersonRow>) -> BTreeSet<NaiveDate> {
    rows.map(|row| row.date).collect()
}

impl Trend {
    /// `None` without rows.
    fn of(what: Measure, rows: &[&PersonRow]) -> Option<Trend> {
        let days = days(rows.iter().copied());
        let (first, last) = (*days.first()?, *days.last()?);
        let values: Vec<f64> = rows.iter().map(|row| row.value).collect();
        let since: Vec<f64> = rows.iter().map(|row| (row.date - first).num_days() as f64).collect();
        let n = values.len();
        let mut why = Why::default();
        let median = why.kept("median", median(&values));
        let line = if n < FEWEST_FOR_A_TREND {
            Err(format!("a trend is told from n = {FEWEST_FOR_A_TREND} on; n = {n}"))
        } else if days.len() == 1 {
            Err("a trend needs values of at least two days".to_owned())
        } else {
            theil_sen(&values, &since).map_err(|refused| refused.to_string())
        };
        let line = why.kept("slope_per_day", line);
        let too_few = || format!("so few or so equal values allow no interval; n = {n}");
        let slope_ci95 = line.and_then(|l| why.some("slope_ci95", l.slope_ci95, too_few));
        Some(Trend {
            what,
            n,
            n_days: days.len(),
            first,
            last,
            median,
            slope_per_day: line.map(|l| l.slope),
            slope_ci95,
            few: few(n),
            why,
        })
    }
}

#[cfg(test)]
mod tests;
