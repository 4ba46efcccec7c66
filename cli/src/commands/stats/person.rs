//! `stats person`: one person over the season, and nobody else.

use super::{Ran, Span, by, one_of, tell_fews, tell_footing, tell_whys};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::{HEADING, styled};
use crate::view::{counted, number, stopwatch, table::Table, word};
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::person::{PersonStats, Trend};

/// One person over the season: own times, strikes and turns, and whether they rise or fall
///
/// A call sign is a person on one day; days are joined only by the member code that was written for them.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook stats person Fox\n  firnbook stats person M12 --since 2026-12-01 --group-by form"
)]
pub struct PersonArgs {
    /// The call sign, or the member code
    #[arg(value_name = "PERSON")]
    pub(super) person: String,
    #[command(flatten)]
    pub(super) span: Span,
    /// Only this day
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
    /// By form, team, area, day, month or season
    #[arg(long, value_name = "FIELD", value_parser = one_of::<GroupBy>)]
    group_by: Option<GroupBy>,
}

/// Runs `stats person`.
pub fn run(desk: &mut Desk, args: &PersonArgs) -> Ran {
    let person = asked(desk, args)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&person, |person| tell(person, &args.person, columns))
}

/// The answer that these arguments ask for.
pub(super) fn asked(desk: &Desk, args: &PersonArgs) -> Result<PersonStats, Failure> {
    let thresholds = desk.settings.thresholds()?;
    let mut season = args.span.season();
    season.day = args.day.as_deref().map(|day| desk.logbook.find_day(day)).transpose()?;
    Ok(desk.logbook.person(&season, &args.person, args.group_by, &thresholds)?)
}

fn tell(person: &PersonStats, asked: &str, columns: usize) -> String {
    let known = if person.call_signs.is_empty() { asked.to_owned() } else { person.call_signs.join(", ") };
    let from = person.trends.iter().map(|t| t.first).min();
    let until = person.trends.iter().map(|t| t.last).max();
    let dates = match from.zip(until) {
        None => String::new(),
        Some((from, until)) if from == until => format!(" on {from}"),
        Some((from, until)) => format!(" from {from} to {until}"),
    };
    let title = format!("{known}, {}{dates}", counted(person.n_days, "day", "days"));
    let mut text = format!("{}\n", styled(HEADING, title));
    if person.trends.is_empty() {
        text.push_str("  nothing was written of this person that can be measured; n = 0\n");
    }
    text.push_str(&tell_trends(&person.trends, columns));
    for group in &person.groups {
        text.push_str(&format!(
            "\n{}\n",
            styled(HEADING, format!("{}: {}", by(person.group_by), group.group))
        ));
        text.push_str(&tell_trends(&group.trends, columns));
    }
    text.trim_end().to_owned() + "\n" + &tell_footing(&person.footing, columns)
}

fn tell_trends(trends: &[Trend], columns: usize) -> String {
    let mut table = Table::new(["", "n", "days", "median", "change a day"]).right([1, 2, 3]);
    for trend in trends {
        let change = trend.slope_per_day.map_or_else(
            || "–".to_owned(),
            |slope| {
                let ends = trend.slope_ci95.map(|i| format!(" ({:+.2} to {:+.2} at 95 %)", i.lower, i.upper));
                let told = format!("{slope:+.2} {}", unit(trend));
                format!("{}{}", told.trim_end(), ends.unwrap_or_default())
            },
        );
        table.row([
            name(trend),
            trend.n.to_string(),
            trend.n_days.to_string(),
            trend.median.map_or_else(|| "–".to_owned(), |m| value(trend, m)),
            change,
        ]);
    }
    let mut text = table.draw(columns) + "\n";
    let whys = trends.iter().map(|t| (name(t), &t.why));
    text.push_str(&tell_whys(whys, columns));
    let fews = trends.iter().map(|t| (name(t), t.n, &t.few));
    text.push_str(&tell_fews(fews, columns));
    text
}

/// The unit that stands at the end of a measure's name.
fn unit(trend: &Trend) -> &'static str {
    let measure = word(&trend.what);
    match measure.rsplit(' ').next() {
        Some("s") => "s",
        Some("cm") => "cm",
        _ => "",
    }
}

fn name(trend: &Trend) -> String {
    let measure = word(&trend.what);
    measure.strip_suffix(unit(trend)).unwrap_or(&measure).trim_end().to_owned()
}

fn value(trend: &Trend, value: f64) -> String {
    match unit(trend) {
        "s" => stopwatch(Some(value)),
        unit => format!("{} {unit}", number(value)).trim_end().to_owned(),
    }
}
