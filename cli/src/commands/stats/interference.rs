//! `stats interference`: what disturbed, and how runs with it compare with runs for which none was written.

use super::times::step;
use super::{Ran, RunGroups, Span, tell_fews, tell_footing, tell_whys};
use crate::desk::Desk;
use crate::ui::{HEADING, styled};
use crate::view::forest::{self, Line};
use crate::view::{maybe, stopwatch, table::Table, word};
use firnbook_core::entry::Step;
use firnbook_core::insight::season::interference::{RunTimes, SeasonInterference, SourceFigures};

/// What disturbed transceivers, and whether runs with it took longer than runs for which none was written
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook stats interference --step signal")]
pub struct InterferenceArgs {
    #[command(flatten)]
    pub(super) span: Span,
    #[command(flatten)]
    groups: RunGroups,
    /// The step whose times are compared
    #[arg(long, value_name = "STEP", default_value = "strike", value_parser = step)]
    step: Step,
}

/// Runs `stats interference`.
pub fn run(desk: &mut Desk, args: &InterferenceArgs) -> Ran {
    let thresholds = desk.settings.thresholds()?;
    let season = args.span.season();
    let interference = desk.logbook.interference(&season, args.step, args.groups.group_by, &thresholds)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&interference, |interference| tell(interference, columns))
}

fn tell(interference: &SeasonInterference, columns: usize) -> String {
    let title = format!("Disturbances, and times from start to {}", word(&interference.step));
    let mut text = format!("{}\n", styled(HEADING, title));
    if interference.sources.is_empty() {
        text.push_str("  nobody wrote a disturbance; n = 0\n");
    }
    text.push_str(&tell_sources(&interference.sources, columns));
    for group in interference.groups.iter().filter(|g| !g.sources.is_empty()) {
        text.push_str(&format!(
            "\n{}\n{}",
            styled(HEADING, &group.group),
            tell_sources(&group.sources, columns)
        ));
    }
    text.push_str(&format!("\n{}", super::faint(&interference.says, columns)));
    let whys = interference.sources.iter().map(|s| (word(&s.source), &s.why));
    text.push_str(&tell_whys(whys, columns));
    let fews = interference.sources.iter().map(|s| (word(&s.source), s.n, &s.few));
    text.push_str(&tell_fews(fews, columns));
    text + &tell_footing(&interference.footing, columns)
}

fn tell_sources(sources: &[SourceFigures], columns: usize) -> String {
    let mut table =
        Table::new(["source", "n", "distance", "runs with", "none written", "shift"]).right([1, 2, 3, 4, 5]);
    for source in sources {
        let distance = match source.median_distance_cm {
            Some(_) => format!("{} cm (n {})", maybe(source.median_distance_cm), source.distance_n),
            None => "–".to_owned(),
        };
        table.row([
            word(&source.source),
            source.n.to_string(),
            distance,
            runs(&source.times_with),
            runs(&source.none_written),
            stopwatch(source.shift_s),
        ]);
    }
    let lines: Vec<Line> = sources
        .iter()
        .filter(|s| s.shift_ci95.is_some())
        .map(|s| Line {
            name: word(&s.source),
            n: s.times_with.n,
            figure: s.shift_s,
            ends: [s.shift_ci95.map(|i| i.lower), s.shift_ci95.map(|i| i.upper)],
        })
        .collect();
    let forest = forest::draw(&lines, |s| stopwatch(Some(s)), columns);
    let heading = if forest.is_empty() { "" } else { "shift, with its interval at 95 %\n" };
    format!("{}{heading}{forest}", table.draw(columns))
}

/// Median of runs with their n, and how many never got there.
fn runs(times: &RunTimes) -> String {
    let never = if times.not_reached > 0 { format!(", {} never", times.not_reached) } else { String::new() };
    format!("{} (n {}{never})", stopwatch(times.median_s), times.n)
}
