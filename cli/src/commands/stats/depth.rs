//! `stats depth`: how deep targets lie.

use super::{Ran, Span, below, one_of};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::{HEADING, styled};
use crate::view::{self, counted, table::Table};
use firnbook_core::entry::{Datum, Direction, Method};
use firnbook_core::insight::season::depth::{DepthAsk, DepthFigures, DepthGroup, DepthOf, DepthStats};
use firnbook_core::insight::season::group::GroupBy;

/// How deep targets lie: one value a target, square to the slope
///
/// Values are depth entries, and hits for targets that have none. Targets buried by instructors, not accident burials.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook stats depth\n  firnbook stats depth --of set --direction vertical --group-by team\n  firnbook stats depth --method tape --cluster day --since 2026-12-01"
)]
pub struct DepthArgs {
    #[command(flatten)]
    pub(super) span: Span,
    /// Depths as found, or as the targets were set
    #[arg(long, value_name = "found|set", default_value = "found", hide_default_value = true, value_parser = one_of::<DepthOf>)]
    of: DepthOf,
    /// Every value, not one a target
    #[arg(long)]
    each: bool,
    /// The direction in which depths are compared [default: slope_normal]
    #[arg(long, value_name = "slope_normal|vertical", value_parser = one_of::<Direction>)]
    direction: Option<Direction>,
    /// Only depths measured so
    #[arg(long, value_name = "reading|probe|tape", value_parser = one_of::<Method>)]
    method: Option<Method>,
    /// Only depths to this point
    #[arg(long, value_name = "first_contact|airway|top|unknown", value_parser = one_of::<Datum>)]
    datum: Option<Datum>,
    /// The interval of the mean allows for values of one day being alike
    #[arg(long, value_name = "day", value_parser = ["day"])]
    cluster: Option<String>,
    /// By form, team, area, day, month, season, method, datum, orientation or writer
    #[arg(long, value_name = "FIELD", value_parser = one_of::<GroupBy>)]
    group_by: Option<GroupBy>,
}

/// Runs `stats depth`.
pub fn run(desk: &mut Desk, args: &DepthArgs) -> Ran {
    let direction = args.direction.unwrap_or(Direction::SlopeNormal);
    if direction == Direction::Unknown {
        return Err(Failure::Usage(
            "--direction takes slope_normal or vertical; depths can't be compared along no line".to_owned(),
        ));
    }
    let ask = DepthAsk {
        of: args.of,
        each: args.each,
        direction,
        method: args.method,
        datum: args.datum,
        cluster_day: args.cluster.is_some(),
        group_by: args.group_by,
    };
    let thresholds = desk.settings.thresholds()?;
    let stats = desk.logbook.depth(&args.span.season(), ask, &thresholds)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&stats, |s| tell(s, columns))
}

fn tell(stats: &DepthStats, columns: usize) -> String {
    let of = if stats.of == DepthOf::Found { "as found" } else { "as set" };
    let along = if stats.direction == Direction::Vertical { "plumb" } else { "square to the slope" };
    let each = if stats.each { ", every value" } else { "" };
    let mut text =
        format!("{}\n", styled(HEADING, format!("Depths of training targets {of}, {along}{each}")));
    text.push_str(&tell_figures(&stats.figures, columns));
    if !stats.groups.is_empty() {
        let mut table =
            Table::new(["group", "n", "days", "median", "95 %", "mean", "sd", "smallest", "largest"])
                .right([1, 2, 3, 4, 5, 6, 7, 8]);
        for group in &stats.groups {
            let f = &group.figures;
            table.row([
                group.group.clone(),
                f.n.to_string(),
                f.n_days.to_string(),
                view::maybe(f.median_cm),
                f.median_ci95
                    .map(|i| format!("{} to {}", view::number(i.lower), view::number(i.upper)))
                    .unwrap_or_default(),
                view::maybe(f.mean_cm),
                view::maybe(f.sd_cm),
                view::maybe(f.min_cm),
                view::maybe(f.max_cm),
            ]);
        }
        text.push_str(&format!("\n{}", table.draw(columns)));
        text.push_str(&format!("median, cm\n{}", view::forest::draw(&medians(stats), view::number, columns)));
    }
    let mut remarks = Vec::new();
    if stats.assumed_direction > 0 {
        remarks.push(format!(
            "{} without a direction taken as square to the slope, as a probe goes in",
            counted(stats.assumed_direction, "value", "values")
        ));
    }
    text + &below(&remarks, &stats.left_out, stats.assumed_twins, &stats.cautions, columns)
}

/// The medians of the groups with their intervals.
fn medians(stats: &DepthStats) -> Vec<view::forest::Line> {
    let line = |group: &DepthGroup| view::forest::Line {
        name: group.group.clone(),
        n: group.figures.n,
        figure: group.figures.median_cm,
        ends: [group.figures.median_ci95.map(|i| i.lower), group.figures.median_ci95.map(|i| i.upper)],
    };
    stats.groups.iter().map(line).collect()
}

fn tell_figures(figures: &DepthFigures, columns: usize) -> String {
    let why = |name: &str| figures.why.get(name).map(|w| format!("none: {w}")).unwrap_or_default();
    let mut table = Table::new(["", "", ""]);
    let datums: Vec<String> =
        figures.datums.iter().map(|d| format!("{} {}", d.n, d.datum.word().replace('_', " "))).collect();
    table.row([
        "n".into(),
        figures.n.to_string(),
        format!("from {}; {}", counted(figures.n_days, "day", "days"), datums.join(", ")),
    ]);
    if figures.of_readings > 0 {
        table.row([
            String::new(),
            figures.of_readings.to_string(),
            "of them lowest readings, not true depths".into(),
        ]);
    }
    let cm = |n: Option<f64>| n.map_or_else(|| "–".to_owned(), |n| format!("{} cm", view::number(n)));
    let interval = |i: Option<firnbook_core::stats::Interval>, what: String, name: &str| match i {
        Some(i) => format!("{} to {} cm {what}", view::number(i.lower), view::number(i.upper)),
        None => why(name),
    };
    let coverage =
        figures.median_coverage.map_or_else(String::new, |c| format!("covers it with {:.1} %", c * 100.0));
    table.row([
        "median".into(),
        cm(figures.median_cm),
        interval(figures.median_ci95, coverage, "median_ci95"),
    ]);
    table.row([
        "mean".into(),
        cm(figures.mean_cm),
        interval(figures.mean_ci95, "at 95 %".into(), "mean_ci95"),
    ]);
    table.row(["sd".into(), cm(figures.sd_cm), why("sd_cm")]);
    table.row([
        "range".into(),
        format!("{} to {}", view::maybe(figures.min_cm), cm(figures.max_cm)),
        String::new(),
    ]);
    if let Some(q) = &figures.quantiles {
        let of = [("10", q.p10), ("25", q.p25), ("75", q.p75), ("90", q.p90)];
        let of: Vec<String> = of.iter().map(|(p, v)| format!("{p} %: {}", view::number(*v))).collect();
        table.row(["below".into(), String::new(), of.join("   ")]);
    }
    let mut text = table.draw(columns);
    if let Some(histogram) = figures.histogram.as_ref().filter(|h| h.counts.len() > 1) {
        text.push_str(&format!("\n{}", view::histogram::draw(&histogram.edges, &histogram.counts, columns)));
    }
    text
}
