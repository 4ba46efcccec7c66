//! `stats digging`: turns at the shovels, and what digging times depend on.

use super::{Ran, RunGroups, Span, span, tell_fews, tell_footing, tell_whys};
use crate::desk::Desk;
use crate::ui::{HEADING, styled};
use crate::view::{stopwatch, table::Table};
use firnbook_core::insight::season::digging::{DiggingFigures, Fitted, Model, SeasonDigging};

/// Turns at the shovels, and how the time to the airway rises with depth and falls with people
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook stats digging --group-by team")]
pub struct DiggingArgs {
    #[command(flatten)]
    pub(super) span: Span,
    #[command(flatten)]
    groups: RunGroups,
}

/// Runs `stats digging`.
pub fn run(desk: &mut Desk, args: &DiggingArgs) -> Ran {
    let thresholds = desk.settings.thresholds()?;
    let digging = desk.logbook.digging(&args.span.season(), args.groups.group_by, &thresholds)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&digging, |digging| tell(digging, columns))
}

fn tell(digging: &SeasonDigging, columns: usize) -> String {
    let figures = &digging.figures;
    let interval_s = digging.footing.made.settings.get("rotation_interval_s").copied();
    let mut text = format!("{}\n", styled(HEADING, "Turns at the shovels"));
    let over = format!("over {}", stopwatch(interval_s));
    let mut table = Table::new(["", "turns", "median", "longest", "overdue", "digs"]).right([1, 2, 3, 4, 5]);
    let row = |name: String, f: &DiggingFigures| {
        [
            name,
            f.turns.n.to_string(),
            stopwatch(f.turns.median_s),
            stopwatch(f.turns.longest_s),
            f.turns.overdue.to_string(),
            digs(&f.model).to_string(),
        ]
    };
    table.row(row("all".to_owned(), figures));
    for group in &digging.groups {
        table.row(row(group.group.clone(), &group.figures));
    }
    text.push_str(&table.draw(columns));
    text.push_str(&format!("\n{}\n", styled(HEADING, "Time from the first stroke to the airway")));
    text.push_str(&tell_model(&figures.model, columns));
    for group in &digging.groups {
        if let Model::Fitted(fitted) = &group.figures.model {
            text.push_str(&format!("\n{}\n{}", group.group, tell_fitted(fitted, columns)));
        }
    }
    let legend = format!("overdue: {over}; digs: holes of which time, depth and people are known");
    text.push_str(&format!("\n{}", super::faint(&legend, columns)));
    text.push_str(&tell_whys(std::iter::once((String::new(), &figures.why)), columns));
    text.push_str(&tell_fews(std::iter::once((String::new(), figures.turns.n, &figures.turns.few)), columns));
    text + &tell_footing(&digging.footing, columns)
}

fn digs(model: &Model) -> usize {
    match model {
        Model::Fitted(fitted) => fitted.n,
        Model::Refused { n, .. } => *n,
    }
}

fn tell_model(model: &Model, columns: usize) -> String {
    match model {
        Model::Refused { refused, .. } => {
            let options = textwrap::Options::new(columns).initial_indent("  ").subsequent_indent("  ");
            format!("{}\n", textwrap::fill(refused, options))
        }
        Model::Fitted(fitted) => tell_fitted(fitted, columns),
    }
}

fn tell_fitted(fitted: &Fitted, columns: usize) -> String {
    let two = |value: f64| format!("{value:.2}");
    let mut table = Table::new(["", "", ""]).right([1]);
    table.row(["  digs".into(), fitted.n.to_string(), String::new()]);
    table.row([
        "  1 m by one person".into(),
        stopwatch(Some(fitted.a.exp())),
        format!("{} at 95 %, modelled", span(Some(fitted.ci95.a), |a| stopwatch(Some(a.exp())))),
    ]);
    table.row([
        "  power of depth".into(),
        two(fitted.b),
        format!("{} at 95 %; 1: twice as deep, twice as long", span(Some(fitted.ci95.b), two)),
    ]);
    table.row([
        "  power of people".into(),
        two(fitted.c),
        format!("{} at 95 %; -1: twice the people, half as long", span(Some(fitted.ci95.c), two)),
    ]);
    let range = format!(
        "  A model of these digs, {:.2} to {:.2} m deep with {} to {} people, and of nothing beyond; spread of ln T {}",
        fitted.depth_m[0],
        fitted.depth_m[1],
        fitted.people[0],
        fitted.people[1],
        two(fitted.residual_sd)
    );
    let options = textwrap::Options::new(columns).subsequent_indent("  ");
    format!("{}{}\n", table.draw(columns), textwrap::fill(&range, options))
}
