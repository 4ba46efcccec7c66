//! `stats checks`: what group checks found.

use super::{Ran, Span, by, one_of, percent, tell_fews, tell_footing, tell_share, tell_whys};
use crate::desk::Desk;
use crate::ui::{HEADING, styled};
use crate::view::forest::{self, Line};
use crate::view::{counted, maybe, number, table::Table, word};
use firnbook_core::insight::checks::CheckPart;
use firnbook_core::insight::season::checks::{ChecksGroup, SeasonChecks};
use firnbook_core::insight::season::group::GroupBy;

/// What group checks found: shares of what failed, batteries, electronics too near
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook stats checks --group-by month")]
pub struct ChecksArgs {
    #[command(flatten)]
    pub(super) span: Span,
    /// By team, area, day, month, season or writer
    #[arg(long, value_name = "FIELD", value_parser = one_of::<GroupBy>)]
    group_by: Option<GroupBy>,
}

/// Runs `stats checks`.
pub fn run(desk: &mut Desk, args: &ChecksArgs) -> Ran {
    let thresholds = desk.settings.thresholds()?;
    let checks = desk.logbook.checks(&args.span.season(), args.group_by, &thresholds)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&checks, |checks| tell(checks, columns))
}

fn tell(checks: &SeasonChecks, columns: usize) -> String {
    let figures = &checks.figures;
    let title = format!("Group checks: {}", counted(figures.n, "check", "checks"));
    let mut text = format!("{}\n", styled(HEADING, title));
    if figures.n > 0 {
        let mut table = Table::new(["", ""]);
        for failed in &figures.failed {
            let mut told = tell_share(failed.k, failed.n, failed.share, failed.ci95);
            if failed.not_tested > 0 {
                told.push_str(&format!("; not tested in {}", failed.not_tested));
            }
            table.row([format!("  {}", part(failed.what)), told]);
        }
        text.push_str(&table.draw(columns));
    }
    let battery = &figures.battery;
    if battery.n > 0 {
        let threshold = checks.footing.made.settings.get("battery_pct").copied();
        text.push_str(&format!(
            "\n{}  {} read, median {} %; {} below {} %\n",
            styled(HEADING, "Batteries"),
            battery.n,
            maybe(battery.median_pct),
            battery.below.len(),
            maybe(threshold)
        ));
        let mut table = Table::new(["", "", ""]).right([2]);
        for low in &battery.below {
            table.row([format!("  {}", low.date), low.call_sign.clone(), format!("{} %", number(low.pct))]);
        }
        text.push_str(&table.draw(columns));
    }
    let measured: usize = figures.electronics.iter().map(|e| e.n).sum();
    if measured > 0 {
        text.push_str(&format!("\n{}  {measured} measured\n", styled(HEADING, "Electronics")));
        let mut table = Table::new(["", ""]).right([1]);
        for class in &figures.electronics {
            table.row([format!("  {}", word(&class.class)), class.n.to_string()]);
        }
        text.push_str(&table.draw(columns));
    }
    text.push_str(&tell_groups(checks, columns));
    text.push('\n');
    text.push_str(&tell_whys(std::iter::once((String::new(), &figures.why)), columns));
    text.push_str(&tell_fews(std::iter::once((String::new(), figures.n, &figures.few)), columns));
    text.trim_end().to_owned() + "\n" + &tell_footing(&checks.footing, columns)
}

/// A part of a check that was not in order.
fn part(part: CheckPart) -> &'static str {
    match part {
        CheckPart::Transmits => "did not send",
        CheckPart::Receives => "did not receive",
        CheckPart::Fault => "showed a fault",
    }
}

/// The share that failed in each group, for each part that failed at all.
fn tell_groups(checks: &SeasonChecks, columns: usize) -> String {
    let mut text = String::new();
    if checks.groups.is_empty() {
        return text;
    }
    let mut table = Table::new(["group", "checks", "batteries", "median", "below"]).right([1, 2, 3, 4]);
    for group in &checks.groups {
        let battery = &group.figures.battery;
        table.row([
            group.group.clone(),
            group.figures.n.to_string(),
            battery.n.to_string(),
            battery.median_pct.map_or_else(|| "–".to_owned(), |pct| format!("{} %", number(pct))),
            battery.below.len().to_string(),
        ]);
    }
    text.push_str(&format!("\n{}", table.draw(columns)));
    for (i, part) in checks.figures.failed.iter().enumerate().filter(|(_, part)| part.k > 0) {
        let line = |g: &ChecksGroup| {
            let failed = g.figures.failed.get(i)?;
            let ends = [failed.ci95.map(|c| c.lower), failed.ci95.map(|c| c.upper)];
            Some(Line { name: g.group.clone(), n: failed.n, figure: failed.share, ends })
        };
        let lines: Vec<Line> = checks.groups.iter().filter_map(line).collect();
        let title = format!("Share that {} {}", self::part(part.what), by(checks.group_by));
        text.push_str(&format!("\n{}\n{}", styled(HEADING, title), forest::draw(&lines, percent, columns)));
    }
    text
}
