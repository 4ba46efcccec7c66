//! How far ways of measuring one depth agree: transceiver reading, probe, tape and the depth set at the burial, each against each, one pair a
//! target, all square to the slope. The statistics are in `stats::agreement` and `stats::rank`.

use super::super::cautions;
use super::super::depth::{DepthValue, TargetDepth, values};
use super::super::left_out::{Tally, reason};
use super::super::tables::homes;
use super::super::thresholds::Thresholds;
use super::super::timeline::DrillTimes;
use super::super::view::{TargetRef, View};
use super::footing::{Basis, Footing, Why, few, no_median_interval};
use super::group::GroupBy;
use super::keys::{Keys, NoSuchGroups, grouped, possible};
use crate::entry::{Datum, DrillForm, Method, Orientation};
use crate::stats::Interval;
use crate::stats::agreement::{concordance, limits_of_agreement};
use crate::stats::describe::{Sample, median};
use crate::stats::interval::median_interval;
use crate::stats::rank::theil_sen;
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// By what targets can be grouped.
pub const GROUPS: &[GroupBy] = &[
    GroupBy::Form,
    GroupBy::Team,
    GroupBy::Area,
    GroupBy::Day,
    GroupBy::Month,
    GroupBy::Season,
    GroupBy::Orientation,
];

/// A way to know a depth.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// the lowest distance a transceiver showed
    Reading,
    /// read off the probe
    Probe,
    /// tape in the hole
    Tape,
    /// as it was buried
    Set,
}

impl Way {
    /// Every way, in the order in which they stand against each other.
    pub const ALL: [Way; 4] = [Way::Reading, Way::Probe, Way::Tape, Way::Set];

    /// The ways that lead to a certain point of the target; a reading is of the transmitter, and no burial says a point.
    fn has_datum(self) -> bool {
        matches!(self, Way::Probe | Way::Tape)
    }
}

/// Two values of one target lead to different points of it.
pub const OTHER_DATUM: &str = "probe and tape lead to different points of the target";
/// A value whose method nobody said.
pub const NO_METHOD: &str = "depth of a method that nobody said";

/// One target and its values.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MethodRow {
    /// The date
    pub date: NaiveDate,
    /// The area
    pub area: String,
    /// What the drill in which it was set practised
    pub form: Option<DrillForm>,
    /// The team of that drill
    pub team: Option<String>,
    /// How the target lay
    pub orientation: Option<Orientation>,
    /// Its values, one an event
    pub values: Vec<MethodValue>,
}

/// One value of a target.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MethodValue {
    /// How it is known
    pub way: Way,
    /// The point of the target it leads to
    pub datum: Datum,
    /// The depth square to the slope, cm
    pub slope_normal_cm: f64,
}

/// The answer of `stats methods`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Methods {
    /// Number of targets with any value
    pub n: usize,
    /// Each way against each
    pub pairs: Vec<Pair>,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// The pairs of each group, by name
    pub groups: Vec<MethodsGroup>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// One group of targets.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MethodsGroup {
    /// What the group is called
    pub group: String,
    /// Number of its targets with any value
    pub n: usize,
    /// Each way against each
    pub pairs: Vec<Pair>,
}

/// One way against another, `a` minus `b`, one pair a target. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record), uniffi(name = "MethodPair"))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Pair {
    /// The first way
    pub a: Way,
    /// The second way
    pub b: Way,
    /// Number of targets with both
    pub n: usize,
    /// Mean of a - b, cm
    pub bias_cm: Option<f64>,
    /// Standard deviation of a - b with n - 1, cm
    pub sd_cm: Option<f64>,
    /// Lower limit of agreement (Bland and Altman 1999), bias - 1.96 sd, cm
    pub lower_cm: Option<f64>,
    /// Upper limit of agreement (Bland and Altman 1999), bias + 1.96 sd, cm
    pub upper_cm: Option<f64>,
    /// Interval of the bias, cm, by t
    pub bias_ci95: Option<Interval>,
    /// Interval of the lower limit, cm, by t
    pub lower_ci95: Option<Interval>,
    /// Interval of the upper limit, cm, by t
    pub upper_ci95: Option<Interval>,
    /// Concordance (Lin 1989), -1 to 1
    pub concordance: Option<f64>,
    /// Slope of a on b (Theil and Sen), cm for each cm
    pub slope: Option<f64>,
    /// Interval of the slope
    pub slope_ci95: Option<Interval>,
    /// Intercept of that line: median of a less slope times median of b, cm
    pub intercept_cm: Option<f64>,
    /// a over b
    pub ratio: Ratio,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// One way over another, since a reading errs in proportion.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Ratio {
    /// Number of pairs whose b is above 0
    pub n: usize,
    /// Median of a / b
    pub median: Option<f64>,
    /// Interval of the median between symmetric order statistics
    pub ci95: Option<Interval>,
    /// Exact probability with which that interval covers the median, at least 0.95
    pub coverage: Option<f64>,
}

/// The targets of a day with their values, drills that were called off apart.
#[must_use]
pub fn method_rows(view: &View<'_>, left_out: &mut Tally) -> Vec<MethodRow> {
    homes(view).iter().map(|(target, drills)| method_row(view, target, drills, left_out)).collect()
}

fn method_row(view: &View<'_>, target: &TargetRef, drills: &[String], left_out: &mut Tally) -> MethodRow {
    let mut found = Vec::new();
    let mut any_run = false;
    for drill in drills {
        let (setup, targets) = (view.drill(drill), view.targets(drill));
        let slope_deg = setup.slope_deg.map(|s| s.0);
        let values = values(view, drill, target, &targets, slope_deg, left_out);
        if DrillTimes::of(view, drill, &targets).cancelled() {
            left_out.add_n(reason::CANCELLED, values.len());
        } else {
            any_run = true;
            found.extend(values);
        }
    }
    let setup = view.drill(&target.home);
    let set = view.target(target);
    let slope_deg = setup.slope_deg.map(|s| s.0);
    // What the consensus leaves out is told with the depths.
    let buried = TargetDepth::from_values(view, target, Vec::new(), slope_deg, &mut Tally::default()).set;
    let mut values = measured(&found, left_out);
    if let Some(buried) = buried.filter(|_| any_run) {
        match buried.slope_normal_cm {
            Some(slope_normal_cm) => {
                values.push(MethodValue { way: Way::Set, datum: Datum::Unknown, slope_normal_cm });
            }
            None => left_out.add(reason::DIRECTION),
        }
    }
    MethodRow {
        date: view.record.date,
        area: view.record.area.clone(),
        form: setup.form,
        team: setup.team,
        orientation: set.and_then(|t| t.orientation),
        values,
    }
}

/// The values of a target; hits stand for probe depths only where no depth entry by probe does.
fn measured(found: &[DepthValue], left_out: &mut Tally) -> Vec<MethodValue> {
    let probed = found.iter().any(|v| v.method == Some(Method::Probe) && !v.of_strike);
    let mut values = Vec::new();
    for value in found {
        let way = match value.method {
            Some(Method::Probe) if value.of_strike && probed => continue,
            Some(Method::Reading) => Way::Reading,
            Some(Method::Probe) => Way::Probe,
            Some(Method::Tape) => Way::Tape,
            None => {
                left_out.add(NO_METHOD);
                continue;
            }
        };
        match value.slope_normal_cm {
            Some(slope_normal_cm) => values.push(MethodValue { way, datum: value.datum, slope_normal_cm }),
            None => left_out.add(reason::DIRECTION),
        }
    }
    values
}

/// Each way of measuring against each.
///
/// # Errors
/// A grouping that targets do not allow.
pub fn methods(
    rows: &[MethodRow],
    group_by: Option<GroupBy>,
    thresholds: &Thresholds,
    basis: Basis,
) -> Result<Methods, NoSuchGroups> {
    possible("methods", group_by, GROUPS)?;
    let mut left_out = Tally::default();
    let rows: Vec<&MethodRow> = rows.iter().filter(|row| !row.values.is_empty()).collect();
    let pairs = pairs(&rows, &mut left_out);
    let groups = group_by.map(|by| grouped(rows.iter().copied(), |row| row.keys().group(by, thresholds)));
    let groups = groups.into_iter().flatten().map(|(group, rows)| MethodsGroup {
        group,
        n: rows.len(),
        pairs: self::pairs(&rows, &mut Tally::default()),
    });
    let groups = groups.collect();
    let footing = basis.footing(&left_out, &[cautions::DEPTHS], &[]);
    Ok(Methods { n: rows.len(), pairs, group_by, groups, footing })
}

impl MethodRow {
    fn keys(&self) -> Keys<'_> {
        Keys {
            date: self.date,
            area: &self.area,
            form: self.form,
            team: self.team.as_deref(),
            orientation: self.orientation,
            writer: None,
        }
    }

    /// The medians of a way by the point they lead to, with their n; one entry for a way that leads to none.
    fn medians(&self, way: Way) -> BTreeMap<Datum, (f64, usize)> {
        let mut by_datum: BTreeMap<Datum, Vec<f64>> = BTreeMap::new();
        for value in self.values.iter().filter(|v| v.way == way) {
            let datum = if way.has_datum() { value.datum } else { Datum::Unknown };
            by_datum.entry(datum).or_default().push(value.slope_normal_cm);
        }
        by_datum.into_iter().filter_map(|(d, cm)| Some((d, (median(&cm).ok()?, cm.len())))).collect()
    }

    /// The values of two ways, to one point of the target: the one with most values, of equal ones first contact. `Err`: no point in common.
    fn pair(&self, a: Way, b: Way) -> Option<Result<(f64, f64), &'static str>> {
        let (of_a, of_b) = (self.medians(a), self.medians(b));
        if of_a.is_empty() || of_b.is_empty() {
            return None;
        }
        let most = |of: &BTreeMap<Datum, (f64, usize)>, n: &dyn Fn(Datum, usize) -> Option<usize>| {
            let counted = of.iter().filter_map(|(d, (_, own))| Some((n(*d, *own)?, Reverse(*d))));
            counted.max().map(|(_, Reverse(datum))| datum)
        };
        let (at_a, at_b) = if a.has_datum() && b.has_datum() {
            let both = |datum, own| of_b.get(&datum).map(|(_, other)| own + other);
            let Some(datum) = most(&of_a, &both) else { return Some(Err(OTHER_DATUM)) };
            (datum, datum)
        } else {
            let own = |_, own| Some(own);
            (most(&of_a, &own)?, most(&of_b, &own)?)
        };
        Some(Ok((of_a.get(&at_a)?.0, of_b.get(&at_b)?.0)))
    }
}

fn pairs(rows: &[&MethodRow], left_out: &mut Tally) -> Vec<Pair> {
    let each = Way::ALL.iter().enumerate().flat_map(|(i, a)| Way::ALL[i + 1..].iter().map(|b| (*a, *b)));
    each.map(|(a, b)| {
        let mut values = (Vec::new(), Vec::new());
        for pair in rows.iter().filter_map(|row| row.pair(a, b)) {
            match pair {
                Ok((of_a, of_b)) => {
                    values.0.push(of_a);
                    values.1.push(of_b);
                }
                Err(why) => left_out.add(why),
            }
        }
        Pair::of(a, b, &values.0, &values.1)
    })
    .collect()
}

impl Pair {
    fn of(a: Way, b: Way, of_a: &[f64], of_b: &[f64]) -> Pair {
        let mut why = Why::default();
        let agreement = why.kept("bias_cm", limits_of_agreement(of_a, of_b));
        let concordance = why.kept("concordance", concordance(of_a, of_b));
        let line = why.kept("slope", theil_sen(of_a, of_b));
        let slope_ci95 = line.and_then(|l| {
            why.some("slope_ci95", l.slope_ci95, || format!("so few pairs allow no interval; n = {}", l.n))
        });
        let ratio = Ratio::of(of_a, of_b, &mut why);
        Pair {
            a,
            b,
            n: of_a.len(),
            bias_cm: agreement.map(|l| l.bias),
            sd_cm: agreement.map(|l| l.sd),
            lower_cm: agreement.map(|l| l.lower),
            upper_cm: agreement.map(|l| l.upper),
            bias_ci95: agreement.map(|l| l.bias_ci95),
            lower_ci95: agreement.map(|l| l.lower_ci95),
            upper_ci95: agreement.map(|l| l.upper_ci95),
            concordance,
            slope: line.map(|l| l.slope),
            slope_ci95,
            intercept_cm: line.map(|l| l.intercept),
            ratio,
            few: few(of_a.len()),
            why,
        }
    }
}

impl Ratio {
    fn of(of_a: &[f64], of_b: &[f64], why: &mut Why) -> Ratio {
        let above_0 = of_a.iter().zip(of_b).filter(|(_, b)| **b > 0.0);
        let ratios: Vec<f64> = above_0.map(|(a, b)| a / b).filter(|r| r.is_finite()).collect();
        let n = ratios.len();
        let nothing = |_| "no pair whose second value is above 0".to_owned();
        let sample = why.kept("ratio", Sample::new(ratios).map_err(nothing));
        let interval = sample.as_ref().and_then(median_interval);
        let interval = why.some("ratio_ci95", interval, || no_median_interval(n));
        Ratio {
            n,
            median: sample.as_ref().map(Sample::median),
            ci95: interval.map(|i| i.ci95),
            coverage: interval.map(|i| i.coverage),
        }
    }
}

#[cfg(test)]
mod tests;
