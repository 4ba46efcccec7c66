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
mod tests {
    use super::super::super::testing::record;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    fn row(values: &[(Way, Datum, f64)]) -> MethodRow {
        let value = |(way, datum, slope_normal_cm): &(Way, Datum, f64)| MethodValue {
            way: *way,
            datum: *datum,
            slope_normal_cm: *slope_normal_cm,
        };
        MethodRow {
            date: "2027-02-06".parse().unwrap(),
            area: "Upper Bowl".to_owned(),
            form: None,
            team: None,
            orientation: None,
            values: values.iter().map(value).collect(),
        }
    }

    fn asked(rows: &[MethodRow]) -> Methods {
        methods(rows, None, &Thresholds::default(), Basis::default()).unwrap()
    }

    fn of(methods: &Methods, a: Way, b: Way) -> &Pair {
        methods.pairs.iter().find(|p| (p.a, p.b) == (a, b)).unwrap()
    }

    #[test]
    fn one_pair_a_target_a_minus_b() {
        use Datum::{FirstContact, Unknown};
        let two = |a: f64, b: f64| row(&[(Way::Reading, Unknown, a), (Way::Probe, FirstContact, b)]);
        // Differences 20, 30 and 40 cm: bias 30, sd 10, limits 10.4 and 49.6; ratios 1.2, 1.25 and 1.4.
        let methods = asked(&[two(120.0, 100.0), two(150.0, 120.0), two(140.0, 100.0)]);
        let pair = of(&methods, Way::Reading, Way::Probe);
        assert_eq!((pair.n, pair.bias_cm, pair.sd_cm), (3, Some(30.0), Some(10.0)));
        assert!((pair.lower_cm.unwrap() - 10.4).abs() < 1e-9 && (pair.upper_cm.unwrap() - 49.6).abs() < 1e-9);
        assert_eq!((pair.ratio.n, pair.ratio.median, pair.ratio.ci95), (3, Some(1.25), None));
        assert!(pair.why.0["ratio_ci95"].contains("n = 3") && pair.few.is_some());
        // Slopes between targets that differ in b: (150 - 120) / 20 and (150 - 140) / 20; median 1; 140 - 1 * 100.
        assert_eq!((pair.slope, pair.intercept_cm), (Some(1.0), Some(40.0)));
        let none = of(&methods, Way::Tape, Way::Set);
        assert_eq!((none.n, none.bias_cm, none.ratio.median), (0, None, None));
        assert!(none.why.0["bias_cm"].contains("there are 0"));
    }

    #[test]
    fn probe_and_tape_are_compared_at_one_point_of_the_target() {
        use Datum::{Airway, FirstContact, Top};
        let rows = [
            // Two points in common, the airway with more values.
            row(&[
                (Way::Probe, FirstContact, 100.0),
                (Way::Probe, Airway, 110.0),
                (Way::Tape, FirstContact, 99.0),
                (Way::Tape, Airway, 121.0),
                (Way::Tape, Airway, 123.0),
            ]),
            row(&[(Way::Probe, FirstContact, 100.0), (Way::Tape, Top, 90.0)]),
            row(&[(Way::Probe, Top, 80.0), (Way::Tape, Top, 90.0)]),
        ];
        let methods = asked(&rows);
        let pair = of(&methods, Way::Probe, Way::Tape);
        // 110 - 122 and 80 - 90.
        assert_eq!((pair.n, pair.bias_cm), (2, Some(-11.0)));
        assert_eq!(
            (methods.footing.left_out[0].reason.as_str(), methods.footing.left_out[0].n),
            (OTHER_DATUM, 1)
        );
    }

    #[test]
    fn equal_and_zero_depths_have_sentences() {
        use Datum::Unknown;
        let zero = row(&[(Way::Reading, Unknown, 50.0), (Way::Set, Unknown, 0.0)]);
        let methods = asked(&vec![zero; 7]);
        let pair = of(&methods, Way::Reading, Way::Set);
        assert_eq!((pair.n, pair.bias_cm, pair.sd_cm, pair.slope), (7, Some(50.0), Some(0.0), None));
        assert!(pair.why.0["slope"].contains("same") && pair.why.0["ratio"].contains("above 0"));
        let equal = asked(&vec![row(&[(Way::Tape, Unknown, 50.0), (Way::Set, Unknown, 50.0)]); 7]);
        let pair = of(&equal, Way::Tape, Way::Set);
        assert!(pair.why.0["concordance"].contains("same"));
        assert_eq!((pair.ratio.median, pair.ratio.ci95.map(|c| c.upper)), (Some(1.0), Some(1.0)));
    }

    #[test]
    fn a_day_gives_each_target_once() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","team":"Red","slope_deg":60}
            {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":200,"direction":"vertical","orientation":"flat"}
            {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"hit","depth_cm":96,"lowest_reading_m":1.3}
            {"kind":"depth","at":"10:20:00","drill":"1","target":"A","depth_cm":210,"method":"tape","datum":"first_contact","direction":"vertical"}
            {"kind":"drill","at":"11:00:00","label":"2","team":"Blue","like":"1"}
            {"kind":"strike","at":"11:08:00","drill":"2","target":"A","outcome":"hit","depth_cm":98}
            {"kind":"drill","at":"12:00:00","label":"3","team":"Blue","like":"1"}
            {"kind":"strike","at":"12:08:00","drill":"3","target":"A","outcome":"hit","depth_cm":20}
            {"kind":"moment","at":"12:09:00","drill":"3","step":"end","why":"cancelled"}
            {"kind":"depth","at":"12:20:00","drill":"2","target":"A","depth_cm":50,"direction":"slope_normal"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let mut left_out = Tally::default();
        let rows = method_rows(&view, &mut left_out);
        assert_eq!((rows.len(), rows[0].orientation), (1, Some(Orientation::Flat)));
        let methods = asked(&rows);
        let value = |a, b| rows[0].pair(a, b).unwrap().unwrap();
        // 200 cm straight down under 60 degrees are 100 square to the slope; the two hits have the median 97.
        assert!((value(Way::Probe, Way::Set).0 - 97.0).abs() < 1e-9);
        assert!((value(Way::Probe, Way::Set).1 - 100.0).abs() < 1e-9);
        assert!((value(Way::Probe, Way::Tape).1 - 105.0).abs() < 1e-9);
        assert_eq!(value(Way::Reading, Way::Probe).0, 130.0);
        assert_eq!(methods.n, 1);
        let told: Vec<_> = left_out.list().into_iter().map(|l| (l.reason, l.n)).collect();
        assert_eq!(told, [(NO_METHOD.to_owned(), 1), (reason::CANCELLED.to_owned(), 1)]);
        let by_writer = self::methods(&rows, Some(GroupBy::Writer), &Thresholds::default(), Basis::default());
        assert!(by_writer.unwrap_err().to_string().contains("methods can't be grouped by writer"));
        let answer = serde_json::to_value(&methods).unwrap();
        assert_eq!(answer["pairs"][0]["a"], json!("reading"));
    }
}
